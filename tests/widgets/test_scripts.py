"""The front-end scripts without a browser: their unit tests, their syntax, a few rules of the house."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from optics.widgets.focimeter.bench import Bench

HERE = Path(__file__).parent
WIDGETS = HERE.parents[1] / "optics" / "widgets"
SCRIPTS = sorted(WIDGETS.rglob("*.js"))
NODE = shutil.which("node")
needs_node = pytest.mark.skipif(NODE is None, reason="node is not on this machine")


@needs_node
@pytest.mark.parametrize("script", sorted((HERE / "scripts").glob("*.mjs")), ids=lambda path: path.stem)
def test_unit_tests_of_the_scripts(script):
    done = subprocess.run([NODE, "--test", script], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-3000:]
    assert int(re.search(r"^# pass (\d+)", done.stdout, re.M)[1]) > 0


@needs_node
def test_the_bench_is_one_script_that_can_be_read(tmp_path):
    whole = tmp_path / "bench.mjs"
    whole.write_text(Bench._esm, "utf-8")
    done = subprocess.run([NODE, "--check", whole], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def faults(text):
    """Rules of the house that a script breaks, with the line."""
    rules = {
        "a line is at most 170 characters": r".{171,}",
        "no var": r"^\s*var\s",
        "no == or !=": r"[^=!<>]([=!]=)[^=]",
        "nothing left for the console": r"\bconsole\.|\bdebugger\b",
        "no HTML from text": r"\.innerHTML|insertAdjacentHTML|document\.write",
        "no code from text": r"\beval\(|new Function",
        "no trailing space": r"[ \t]$",
    }
    return [
        (rule, number, line)
        for number, line in enumerate(text.splitlines(), 1)
        for rule, pattern in rules.items()
        if re.search(pattern, line)
    ]


KERNELS_OWN = {("ticket.js", "no HTML from text")}
"""The power cross under a ticket is drawn by the kernel, and holds nothing that was typed."""


def longest(text):
    """Lines of the longest top-level function."""
    sizes, start = [0], None
    for number, line in enumerate(text.splitlines()):
        if re.match(r"(export )?(async )?function ", line):
            start = number
        if line == "}" and start is not None:
            sizes.append(number - start + 1)
            start = None
    return max(sizes)


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_scripts_keep_the_rules_of_the_house(script):
    found = faults(script.read_text("utf-8"))
    assert [fault for fault in found if (script.name, fault[0]) not in KERNELS_OWN] == []


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_functions_are_small(script):
    assert 0 < longest(script.read_text("utf-8")) <= 40


def test_the_rules_find_what_they_forbid():
    assert [rule for rule, *_ in faults("if (a == b) console.log(a);")] == [
        "no == or !=",
        "nothing left for the console",
    ]
    assert longest("function f() {\n  return 1;\n}\n") == 3
