"""Arrows point down only: who may import whom, read from the folder that a file lies in.

An import inside a function counts like any other: an arrow is an arrow, however late.
"""

import ast
import subprocess
import sys
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import optics

PACKAGE = Path(optics.__file__).parent

# From the ground up; a room may look into the rooms below its own floor.
FLOORS = (
    ("errors", "project_files"),
    ("lens",),
    ("pair",),
    ("instrument",),
    ("judging",),
    ("__init__",),
    ("drawing", "specimens"),
    ("marking",),
    ("checks", "apprentices", "progress"),
    ("widgets", "course"),
    ("lesson",),
    ("cli",),
    ("__main__",),
)
FLOOR = {room: number for number, floor in enumerate(FLOORS) for room in floor}
# Nobody but the command line imports the course machinery.
COURSE_IS_FOR = {"course", "cli"}

PURE = {"numpy", "scipy"}
NOTEBOOK_FORMAT = {"nbformat", "nbconvert", "traitlets", "jupyter_core", "jinja2", "nh3"}
# What each room may use from outside; the rooms not named here are pure.
OUTSIDE = {
    "__init__": {"lazy_loader"},
    "drawing": PURE | {"matplotlib"},
    "marking": PURE | {"IPython"},
    "checks": PURE | {"IPython"},
    "widgets": PURE | {"IPython", "ipywidgets", "anywidget", "traitlets"},
    "course": PURE | NOTEBOOK_FORMAT | {"distributed", "alembic", "nbgrader", "segno", "sqlalchemy", "tqdm"},
    "lesson": PURE | {"IPython"},
    "cli": PURE | {"tqdm"},
}

HEAVY = ("matplotlib", "ipywidgets", "anywidget", "nbgrader", "IPython", "scipy")


def modules():
    """Every module of the package: dotted name within it, and its file."""
    for path in sorted(PACKAGE.rglob("*.py")):
        if "_packed" not in path.parts:
            yield ".".join(path.relative_to(PACKAGE).with_suffix("").parts), path


FILES = dict(modules())


def room_of(name):
    return name.split(".")[0]


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


def allowed(name, target):
    here, there = room_of(name), room_of(target)
    if there == "course" and here not in COURSE_IS_FOR:
        return False
    return here == there or FLOOR[there] < FLOOR[here]


def test_every_file_lies_in_a_room():
    assert len(FILES) > 80
    homeless = [name for name in FILES if room_of(name) not in FLOOR]
    assert not homeless, f"no floor for {homeless}"


def test_arrows_point_down():
    offenders = {}
    for name in FILES:
        targets = list(arrows(name))
        missing = [target for target in targets if target not in FILES]
        wrong = [target for target in targets if target in FILES and not allowed(name, target)]
        if missing or wrong:
            offenders[name] = {"not there": missing, "may not be imported": wrong}
    assert not offenders, offenders


def test_each_room_keeps_to_its_tools():
    offenders = {}
    for name, path in FILES.items():
        outside = {target.split(".")[0] for target in imported(path)} - {"optics"}
        foreign = outside - set(sys.stdlib_module_names) - OUTSIDE.get(room_of(name), PURE)
        if foreign:
            offenders[name] = sorted(foreign)
    assert not offenders, offenders


def test_nothing_draws_by_pyplot():
    offenders = [
        name
        for name, path in FILES.items()
        if any(target.startswith("matplotlib.pyplot") for target in imported(path))
    ]
    assert not offenders


def test_there_is_no_circle():
    graph = {name: {target for target in arrows(name) if target != name} for name in FILES}
    # A package's own list of names draws on its modules; it is no step between them.
    for name in list(graph):
        if name.endswith("__init__"):
            del graph[name]
    try:
        tuple(TopologicalSorter(graph).static_order())
    except CycleError as circle:
        raise AssertionError(f"a circle: {' -> '.join(circle.args[1])}") from circle


def test_the_rule_sees_an_arrow_that_points_up():
    """Guards the guard."""
    assert not allowed("lens.power", "instrument.focimeter")
    assert not allowed("judging.verify", "marking.marks") and not allowed("lens.power", "__init__")
    assert not allowed("drawing.style", "specimens.briefs") and not allowed("checks.bench", "progress.file")
    assert not allowed("widgets.panels.panels", "course.marking") and not allowed("lesson", "course.marking")
    assert allowed("cli", "course.marking") and allowed("widgets.panels.panels", "drawing.diagram")
    assert allowed("lens.prescription", "lens.power") and allowed("marking.marks", "specimens.briefs")


def test_importing_optics_stays_light():
    """A fresh process, so that what other tests have loaded does not count."""
    everything = "[getattr(optics, name) for name in optics.__all__]"
    code = f"import sys, optics; {everything}; print([m for m in {HEAVY!r} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_pure_modules_load_nothing_that_draws():
    pure = [name for name in FILES if 0 < FLOOR[room_of(name)] < FLOOR["__init__"]]
    assert len(pure) > 30
    loads = "; ".join(f"import optics.{name.removesuffix('.__init__')}" for name in pure)
    code = f"import sys; {loads}; print([m for m in {HEAVY!r} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
