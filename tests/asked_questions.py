"""The questions of a chapter as its source stands, hidden checks and all, and somebody's answers to them."""

from __future__ import annotations

import ast
import contextlib
import importlib.util
import json
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from optics import checks as check
from optics.course.release import _parted
from optics.marking.telling import MARKS_MIME
from optics.project_files import project_folder

_spec = importlib.util.spec_from_file_location(
    "noisy_hands", Path(__file__).parent / "marking" / "noisy_hands.py"
)
hands = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)

SOURCE = project_folder("notebooks") / "source"
CHAPTERS = sorted(path.name for path in SOURCE.iterdir() if (path / f"{path.name}.ipynb").is_file())


class Asked(NamedTuple):
    """One check cell: whole, as it marks; and as a learner holds it before hand-in."""

    chapter: str
    cell: str
    name: str
    given: dict[str, Any]
    answer: str
    points: float
    whole: str
    shown: str


def cells_of(chapter: str) -> list[dict]:
    cells = json.loads((SOURCE / chapter / f"{chapter}.ipynb").read_text("utf-8"))["cells"]
    return [cell | {"source": "".join(cell["source"])} for cell in cells if cell["cell_type"] == "code"]


def points_of(chapter: str) -> float:
    """The marks of a chapter, with those given by hand."""
    cells = json.loads((SOURCE / chapter / f"{chapter}.ipynb").read_text("utf-8"))["cells"]
    return sum(cell["metadata"].get("nbgrader", {}).get("points") or 0.0 for cell in cells)


@lru_cache(maxsize=20)
def asked_of(chapter: str) -> list[Asked]:
    found = []
    for cell in cells_of(chapter):
        calls = [
            node
            for node in ast.walk(ast.parse(cell["source"]))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
            if getattr(node.func.value, "id", "") == "check" and not node.func.attr.startswith("recorded")
        ]
        for call in calls:
            given = {}
            for each in call.keywords:
                with contextlib.suppress(ValueError):  # another answer
                    given[each.arg] = ast.literal_eval(each.value)
            shown = "\n".join(_parted(cell["source"])[0])
            points = float(given.get("points", 0.0))
            found.append(
                Asked(
                    chapter, cell["id"], call.func.attr, given, call.args[0].id, points, cell["source"], shown
                )
            )
    return found


@lru_cache(maxsize=60)
def answers_of(
    chapter: str, learner: str, folder: Path | None = None
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The answers as they are handed out, and the right ones for this learner; in the folder of an intake."""
    empty: dict[str, Any] = {}
    right: dict[str, Any] = {}
    with contextlib.chdir(folder or SOURCE / chapter):
        for cell in cells_of(chapter):
            if cell["metadata"].get("nbgrader", {}).get("solution"):
                exec("\n".join(_parted(cell["source"])[0]), empty)
                exec(cell["source"], right)
                if "learner" in right:
                    right["learner"] = empty["learner"] = learner
    return empty, right


def marked(asked: Asked, answers: dict[str, Any], folder: Path | None = None) -> tuple[float, str, dict]:
    """The mark, the reply as text and its data, as marking has them."""
    *before, last = ast.parse(asked.whole).body
    names = answers | {"check": check}
    with contextlib.chdir(folder or SOURCE / asked.chapter), check.collecting() as said:
        for line in before:
            exec(compile(ast.Module([line], []), "cell", "exec"), names)
        mark = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
    return mark, said[-1]["text/plain"], said[-1][MARKS_MIME]


def by_hand(pair, *habits: str) -> dict[str, str]:
    """A ticket of somebody with these habits whose hand does not shake."""
    hand = hands.Hand(pair, np.random.default_rng(len(habits[0]) if habits else 0), 0.0)
    for name in habits:
        hands.HABITS[name](hand)
    return dict(hand.ticket().typed)


def as_asked(asked: Asked, ticket: dict[str, str], empty: Any) -> dict[str, Any]:
    """A ticket as the answers of one question: its fields, or one lens and the other."""
    if asked.name == "ticket":
        return {asked.answer: {name: ticket.get(name, "") for name in empty[asked.answer]}}
    sides = {"R": "right", "L": "left"}
    mine = sides[asked.given["eye"]]
    other = {"right": "left", "left": "right"}[mine]
    both = {asked.answer: ticket[mine]}
    if asked.answer.endswith(mine) and (beside := asked.answer.removesuffix(mine) + other) in empty:
        both[beside] = ticket[other]
    return both
