"""An invented apprentice who fills in a chapter, with or without wrong habits.

Questions are found in the chapter's own check cells. What can be worked out is
worked out; what must be read is read at the simulated instrument, lens by lens.
Beside each answer stands the mark it ought to earn. That comes from what each
habit declares to spoil (`Slip.spoils`), never from the marking itself, so that
a class of apprentices tests the marking from outside.

A habit is only given way to where it shows cleanly: what it spoils must be
wrong well beyond any tolerance, and the rest right well within it. Elsewhere
the apprentice answers with care and the record says that the habit did not show.
"""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from optics.apprentices.bench_work import SPHERE_SKILLS, Made, at_the_bench, noted, seen_so
from optics.apprentices.paper_work import on_paper
from optics.lens.prism import EYES
from optics.marking.marks import ASKS, WEIGHTS
from optics.marking.replies import LENS_SKILLS
from optics.specimens.random import seed_from
from optics.specimens.right_ticket import right_end, right_ticket
from optics.specimens.sealed import PairBox, open_pairs

RIGHT = "right"
BLANK = "left blank"


class Question(NamedTuple):
    """One question: its check cell, the check called there, what that is given, and other answers by name."""

    cell: str
    check: str
    variables: tuple[str, ...]
    given: dict[str, Any]
    marked: bool
    beside: dict[str, str]


def questions(notebook: Path | str) -> Iterator[Question]:
    """The questions of a chapter, in order; practice too.

    Parameters
    ----------
    notebook : path
        The chapter's source, with its hidden checks.
    """
    for cell in json.loads(Path(notebook).read_text("utf-8"))["cells"]:
        entry = cell["metadata"].get("nbgrader", {})
        if not entry.get("locked") or cell["cell_type"] != "code":
            continue
        for node in ast.walk(ast.parse("".join(cell["source"]))):
            match node:
                case ast.Call(func=ast.Attribute(value=ast.Name(id="check"), attr=name)):
                    # What is said before the hand-in is not what is marked.
                    if not name.startswith("recorded"):
                        asked = tuple(part.id for part in node.args if isinstance(part, ast.Name))
                        beside = {
                            each.arg: each.value.id
                            for each in node.keywords
                            if each.arg and isinstance(each.value, ast.Name)
                        }
                        yield Question(cell["id"], name, asked, _given(node), bool(entry["grade"]), beside)


def _given(call: ast.Call) -> dict[str, Any]:
    literals = {}
    for keyword in call.keywords:
        assert keyword.arg is not None, "our own cells name what they give"
        try:
            literals[keyword.arg] = ast.literal_eval(keyword.value)
        except ValueError:  # another answer, such as `learner`
            continue
    return literals


@dataclass(frozen=True, slots=True, kw_only=True)
class Apprentice:
    """Somebody who learns.

    Parameters
    ----------
    name : str
        What they type at the top of a chapter.
    habits : tuple of str
        Names from `optics.marking.habits`, the firmest first.
    seed : int
        How their hand shakes and which questions they leave out.
    leaves_blank : float
        Share of the questions that they do not answer, 0 to 1.
    """

    name: str
    habits: tuple[str, ...] = ()
    seed: int = 0
    leaves_blank: float = 0.0

    def answers(
        self, notebook: Path | str, folder: Path | str
    ) -> tuple[dict[str, Any], list[dict[str, Any]]]:
        """Fill in a chapter.

        Parameters
        ----------
        notebook : path
            The chapter's source, with its checks.
        folder : path
            The chapter as handed out, with its sealed pairs.

        Returns
        -------
        dict
            Answers by name, as the learner would type them; `learner` is among them.
        list of dict
            For each question "question" (id of the check cell), "marked" (False for
            practice), "made to" (a habit, "right" or "left blank"), "answer", "not
            shown" (habits that would not have shown here) and "expected": for each
            skill the marks that ought to be got, and the marks possible; "spoiled" (skills that
            are wrong) and "at most" (the share of the marks that may be had).
        """
        box = open_pairs(folder)
        chosen: dict[str, Any] = {"learner": self.name}
        record: list[dict[str, Any]] = []
        beside: list[tuple[Question, dict[str, Any]]] = []
        for question in questions(notebook):
            made_to, attempt, not_shown = self._attempt(question, box)
            chosen |= dict(zip(question.variables, attempt.answers, strict=True))
            record.append(
                {
                    "question": question.cell,
                    "marked": question.marked,
                    "made to": made_to,
                    "answer": "; ".join(_typed(answer) for answer in attempt.answers),
                    "not shown": not_shown,
                    "spoiled": sorted(attempt.spoiled),
                    "expected": _expected(question, attempt),
                    "at most": attempt.at_most,
                }
            )
            if question.check == "noted" and "lens" in question.beside:
                beside.append((question, record[-1]))
        for question, entry in beside:
            eye, written_so = question.given.get("eye", "R"), chosen[question.beside["lens"]]
            if not seen_so(box.pair(question.given["pair"], self.name), eye, written_so):
                entry["expected"] = {skill: [0.0, of] for skill, (_, of) in entry["expected"].items()}
        return chosen, record

    def _attempt(self, question: Question, box: PairBox) -> tuple[str, Made, list[str]]:
        careful = self._try(question, box, None)
        assert careful is not None, "without a habit there is always an answer"
        if self._chance("blank", question.cell).random() < self.leaves_blank:
            # On paper an empty lens is marked for everything a lens might be marked for.
            sphere = careful.skills == SPHERE_SKILLS and question.check != "reading"
            skills = LENS_SKILLS if sphere else careful.skills
            return BLANK, Made(("",) * len(careful.answers), skills, frozenset(skills)), []
        not_shown: list[str] = []
        for habit in self.habits:
            spoiled = self._try(question, box, habit)
            if spoiled is not None:
                return habit, spoiled, not_shown
            not_shown.append(habit)
        return RIGHT, careful, not_shown

    def _try(self, question: Question, box: PairBox, habit: str | None) -> Made | None:
        """The answer with this habit, or None where the habit does not show cleanly."""
        made: Made | None
        match question.check:
            case "reading":
                letter, eye = question.given["pair"], question.given["eye"]
                form = question.given.get("form", "minus")

                def chance(of_eye: str) -> np.random.Generator:
                    return self._chance(letter, of_eye)

                made = at_the_bench(box.pair(letter, self.name), eye, form, chance, habit)
            case "noted":
                hand = self._chance(question.cell)
                made = noted(box, question.given, self.name, hand) if habit is None else None
            case "ticket":
                made = self._ticket(question, box) if habit is None else None
            case "verdict":
                end = right_end(box.pair(question.given["pair"], self.name))
                made = Made((end,), ("verdict", "deciding row")) if habit is None else None
            case _:
                made = on_paper(question.check, question.given, habit)
        return made

    def _ticket(self, question: Question, box: PairBox) -> Made:
        """A whole ticket with care: lines read at the instrument, the rest on its step."""
        pair = box.pair(question.given["pair"], self.name)
        form, asks = question.given.get("form", "minus"), question.given.get("asks", tuple(ASKS))
        ticket: dict[str, str] = right_ticket(pair, form)
        skills: dict[str, None] = {}
        for eye, side in EYES.items():
            made = at_the_bench(pair, eye, form, lambda e: self._chance(question.given["pair"], e), None)
            assert made is not None, "without a habit there is always an answer"
            (ticket[side],) = made.answers
            skills |= dict.fromkeys(made.skills)
        skills |= dict.fromkeys(skill for each in asks if each != "lines" for skill in ASKS[each])
        has_no = {"add", "heights"} if pair.addition("R") is None else set()
        lines = ASKS["lines"] if "lines" in asks else ()
        asked = tuple(
            skill
            for skill in skills
            if skill not in has_no and (skill in lines or skill not in ASKS["lines"])
        )
        return Made((ticket,), asked)

    def _chance(self, *what: object) -> np.random.Generator:
        return np.random.default_rng(seed_from(self.name, self.seed, *what))


def expected_mark(entry: dict[str, Any]) -> tuple[float, float]:
    """The marks that an answer ought to get, and the marks possible, from its entry in the record."""
    got, of = (sum(pair[side] for pair in entry["expected"].values()) for side in (0, 1))
    return min(got, entry["at most"] * of), of


def _typed(answer: Any) -> str:
    """An answer as one line of text."""
    if isinstance(answer, dict):
        return ", ".join(f"{name} {text}" for name, text in answer.items())
    return str(answer)


def _expected(question: Question, attempt: Made) -> dict[str, list[float]]:
    # Practice without marks is still told skill by skill, as shares of one.
    points = float(question.given.get("points", 0.0)) or 1.0
    whole = sum(WEIGHTS.get(skill, 1) for skill in attempt.skills)
    lost = attempt.spoiled | attempt.uncounted
    shares = {skill: points * WEIGHTS.get(skill, 1) / whole for skill in attempt.skills}
    return {
        skill: [0.0 if skill in lost else round(share, 3), round(share, 3)] for skill, share in shares.items()
    }
