"""Arrows point down only: who may import whom, read from the source of `optics`.

An import inside a function counts like any other: an arrow is an arrow, however late.
"""

import ast
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import optics

PACKAGE = Path(optics.__file__).parent

CORE = ("errors", "angles", "power", "prescription")
BENCH = {
    "comparing",
    "crossed_line",
    "focimeter",
    "judging",
    "many_lenses",
    "neutralizing",
    "reader",
    "records",
    "repeats",
    "rounding",
    "standards",
    "tolerance",
    "truing",
}
TOP = {"lesson", "cli", "__main__"}

# The rooms and, for each, the rooms it may look into. A file at the top of the package
# that is not named above is one of the lens room. Inside a room there is no circle.
BELOW = {
    "located": set(),
    "errors": {"located"},
    "angles": {"located", "errors"},
    "power": {"located", "errors", "angles"},
    "prescription": {"located", "errors", "angles", "power"},
}
BELOW["lens"] = {*BELOW, "lens"}
BELOW["bench"] = {*BELOW["lens"], "bench"}
BELOW["drawing"] = {*BELOW["bench"], "drawing"}
BELOW["practice"] = {*BELOW["bench"], "practice"}
BELOW["interactive"] = {*BELOW["drawing"], "practice", "interactive"}
BELOW["course"] = {*BELOW["drawing"], "practice", "course"}
BELOW["lesson"] = {*BELOW["interactive"], "lesson"}
BELOW["cli"] = {*BELOW["lesson"], "course", "cli"}
BELOW["__main__"] = {"cli"}
BELOW["__init__"] = BELOW["bench"]

PURE = {"numpy", "scipy"}
NOTEBOOK_FORMAT = {"nbformat", "nbconvert", "traitlets", "jupyter_core", "jinja2", "bleach"}
# What each room may use from outside; the rooms not named here are pure.
OUTSIDE = {
    "drawing": PURE | {"matplotlib"},
    "practice": PURE | {"IPython"},
    "interactive": PURE | {"IPython", "ipywidgets", "anywidget", "traitlets"},
    "course": PURE | NOTEBOOK_FORMAT | {"nbgrader", "tqdm"},
    "lesson": PURE | {"IPython"},
    "cli": PURE | {"tqdm"},
}

HEAVY = ("matplotlib", "ipywidgets", "anywidget", "nbgrader", "IPython", "scipy.optimize")


def modules():
    """Every module of the package: dotted name within it, and its file."""
    for path in sorted(PACKAGE.rglob("*.py")):
        if "_packed" not in path.parts:
            yield ".".join(path.relative_to(PACKAGE).with_suffix("").parts), path


FILES = dict(modules())


def room_of(name):
    first = name.split(".")[0]
    if first in BELOW:
        return first
    return "bench" if first in BENCH else "lens"


def imported(path):
    """Dotted names imported anywhere in a file, a name from a package spelled out."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are written out in full"
            for alias in node.names:
                longer = f"{node.module}.{alias.name}"
                inside = longer.removeprefix("optics.")
                yield longer if inside in FILES or f"{inside}.__init__" in FILES else node.module


def arrows(name):
    """The modules of the package that a module imports."""
    for target in imported(FILES[name]):
        if target == "optics":
            yield "__init__"
        elif target.startswith("optics."):
            inside = target.removeprefix("optics.")
            yield inside if inside in FILES else f"{inside}.__init__"


def faults(name, targets):
    room = room_of(name)
    return [target for target in targets if room_of(target) not in BELOW[room]]


@pytest.mark.parametrize("name", FILES)
def test_arrows_point_down(name):
    targets = list(arrows(name))
    assert all(target in FILES for target in targets), "an import of a module that is not there"
    assert not faults(name, targets), f"optics.{name} may not import {faults(name, targets)}"


@pytest.mark.parametrize("name", FILES)
def test_each_room_keeps_to_its_tools(name):
    outside = {target.split(".")[0] for target in imported(FILES[name])} - {"optics"}
    foreign = outside - set(sys.stdlib_module_names) - OUTSIDE.get(room_of(name), PURE)
    assert not foreign, f"optics.{name} may not import {sorted(foreign)}"


@pytest.mark.parametrize("name", FILES)
def test_nothing_draws_by_pyplot(name):
    assert not [target for target in imported(FILES[name]) if target.startswith("matplotlib.pyplot")]


def test_there_is_no_circle():
    graph = {name: {target for target in arrows(name) if target != name} for name in FILES}
    # A package's own list of names draws on its modules; it is no step between them.
    for name in list(graph):
        if name.endswith("__init__"):
            del graph[name]
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as circle:
        pytest.fail(f"a circle: {' -> '.join(circle.args[1])}")


def test_the_rule_sees_an_arrow_that_points_up():
    """Guards the guard."""
    assert faults("power", ["prescription"]) and faults("lens", ["focimeter"])
    assert faults("drawing.style", ["practice.marks"]) and faults("course.report", ["interactive.bench"])
    assert not faults("interactive.bench", ["drawing.diagram", "practice.sealed", "focimeter"])
    assert {"errors", "located"} <= set(FILES) and len(FILES) > 20
    assert all(name in FILES for name in BENCH | set(CORE))


def test_importing_optics_stays_light():
    """A fresh process, so that what other tests have loaded does not count."""
    code = f"import sys, optics; print([m for m in {HEAVY!r} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_pure_modules_load_nothing_that_draws():
    pure = [name for name in FILES if "." not in name and room_of(name) in {*CORE, "lens", "bench"}]
    assert len(pure) > 15
    loads = "; ".join(f"import optics.{name}" for name in pure)
    code = f"import sys; {loads}; print([m for m in {HEAVY[:5]!r} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
