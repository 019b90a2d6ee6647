"""What an intake chooses: its chapters, other points, and the table that verdicts are judged by.

A release puts points and table into the pair box of its chapter, so that whatever is chosen
later, what comes back is marked by what it was handed out with. The gradebook keeps the points
that the chapters are written with, because it knows one number for everybody; marks are told in
the points chosen.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import nbformat
from nbconvert.preprocessors import Preprocessor
from nbformat.notebooknode import NotebookNode
from nbgrader.preprocessors import NbGraderPreprocessor

from optics.course.folder import Course, Intake
from optics.errors import OpticsError
from optics.judging.standards import available, for_pairs, load
from optics.marking.telling import amount
from optics.specimens.briefs import Brief
from optics.specimens.sealed import SEALED, PairBox, open_pairs

NONE = "none"
MOST_POINTS = 1000
_VERDICT = re.compile(r"check\.verdict\([^)]*pair=\"(\w+)\"")
_JUDGE_BY = re.compile(rf"\bJudge by (?:{'|'.join(map(re.escape, available()))})\.")
_TOGETHER = re.compile(r"\b\d+(?:\.\d+)? marks together")
_NEXT = re.compile(r"^Next: \[.*\]\(\.\./([^/]+)/.*\)\.$", re.MULTILINE)
_POINTS = re.compile(r"\bpoints=[\d.]+")


def read_choices(
    course: Course, chapters: Sequence[str] = (), points: Sequence[str] = (), tolerance: str = ""
) -> dict[str, Any]:
    """What is to be chosen for an intake, as its fields; what was not said is left out.

    Parameters
    ----------
    course : Course
        The course.
    chapters : sequence of str
        Its only chapters, by name or number; "all" gives it every one again.
    points : sequence of str
        "11=30" for the points of a chapter, "11/pair-a=10" for those of a question; "none" for
        those that the chapters have. They take the place of all that were chosen before.
    tolerance : str
        The edition of the table that verdict questions are judged by; "none" for that of the chapter.

    Raises
    ------
    OpticsError
        For a chapter, a question, a number or an edition that cannot be.
    """
    given: dict[str, Any] = {}
    if chapters:
        given["chapters"] = () if list(chapters) == ["all"] else tuple(sorted({*course.chosen(chapters)}))
    if points:
        wanted: dict[str, dict[str, float]] = {}
        for each in points if list(points) != [NONE] else ():
            chapter, question, number = _taken(course, each)
            mine = wanted.setdefault(chapter, {})
            if question in mine or chapter not in (given.get("chapters") or (chapter,)):
                raise OpticsError(
                    f'"{each[:60]}" says other points for what has been given some already.'
                    if question in mine
                    else f'"{each[:60]}" gives points to {chapter}, which is not among the chapters chosen.',
                    "Points are said once for a chapter or a question that the intake has.",
                    "Leave one of the two out.",
                )
            mine[question] = number
        for chapter, mine in wanted.items():
            _shared(course, chapter, mine)
        given["points"] = wanted
    if tolerance:
        given["tolerance"] = "" if tolerance == NONE else _table(course, tolerance)
    return given


def _taken(course: Course, text: str) -> tuple[str, str, float]:
    where, _, number = text.partition("=")
    chapter, _, question = where.strip().partition("/")
    try:
        value = float(number)
    except ValueError:
        value = 0.0
    if not 0.0 < value <= MOST_POINTS:
        raise OpticsError(
            f'"{text[:60]}" gives no points.',
            f"Points are a number above 0, at most {MOST_POINTS}, for a chapter or for one of its questions.",
            'Try "11=30", or "11/pair-a=10".',
        )
    return course.chosen([chapter])[0], question.strip(), value


def _table(course: Course, name: str) -> str:
    """The edition's full name, where every verdict question of the course can be asked by it."""
    table = load(name).name
    if table not in for_pairs():
        raise OpticsError(
            f"By {table} no pair could pass: it has no row for what a verdict on a pair needs.",
            f"Pairs can be judged by {', '.join(for_pairs())}.",
            "Choose one of these.",
        )
    silent = [
        chapter
        for chapter in course.chapters()
        if verdict_pairs(course, chapter)
        and not any(_JUDGE_BY.search(cell.source) for cell in _cells(course, chapter))
    ]
    if silent:
        raise OpticsError(
            f"In {', '.join(silent)} no sentence says by which table a pair is judged.",
            f"An edition can be chosen where one does, such as: Judge by {table}.",
            "Write that sentence into its source, or leave the edition as it is.",
        )
    return table


def _cells(course: Course, chapter: str) -> list[NotebookNode]:
    return nbformat.read(course.notebook("source", chapter), as_version=4).cells


def verdict_pairs(course: Course, chapter: str) -> set[str]:
    """The letters of the pairs whose end against their order a chapter marks."""
    return {letter for cell in _cells(course, chapter) for letter in _VERDICT.findall(cell.source)}


def tables_chosen(course: Course, intake: Intake, chapter: str) -> dict[str, str]:
    """By letter the table that a pair of this chapter is made for, where the intake chose one."""
    return dict.fromkeys(verdict_pairs(course, chapter), intake.tolerance) if intake.tolerance else {}


def chosen_points(course: Course, intake: Intake, chapter: str) -> dict[str, float]:
    """By the name of its check the points of each question for which the intake chose others."""
    mine = intake.points.get(chapter, {})
    return _shared(course, chapter, mine) if mine else {}


def _shared(course: Course, chapter: str, mine: Mapping[str, float]) -> dict[str, float]:
    """Points by check: a question's own as they are, the rest of a chapter's among the others."""
    written: dict[str, float] = {}
    by_hand: dict[str, float] = {}
    for cell in _cells(course, chapter):
        key = cell.metadata.get("nbgrader", {})
        if key.get("grade"):
            (by_hand if key.get("solution") else written)[key["grade_id"]] = float(key["points"])
    names = {name.removesuffix("-check"): name for name in written}
    for question in mine:
        if question and question not in names:
            why = (
                f"{question} of {chapter} is marked by hand, and its words say what each mark is for."
                if question in by_hand
                else f'No question "{question}" of {chapter} carries marks.'
            )
            raise OpticsError(
                why, f"Points can be chosen for: {', '.join(names) or 'none'}.", "Check the name."
            )
    own = {names[question]: value for question, value in mine.items() if question}
    rest = {name: value for name, value in written.items() if name not in own}
    if "" in mine:
        left = mine[""] - sum(own.values()) - sum(by_hand.values())
        if (left <= 0.0) if rest else (abs(left) > 1e-9):
            raise OpticsError(
                f"{mine['']:g} points for {chapter} do not go with those of its questions.",
                f"{mine[''] - left:g} are spoken for, by what you chose and by what is marked by hand; "
                f"{len(rest)} other questions share what is left.",
                "Give the chapter more, or leave its sum to its questions.",
            )
        own |= {name: round(left * value / sum(rest.values()), 4) for name, value in rest.items()}
    return own


def chapters_for(course: Course, names: Sequence[str]) -> tuple[str, ...]:
    """The chapters asked for, or all of the intake in hand; none that it does not have."""
    own = course.intake.chapters
    chosen = course.chosen(names or [each for each in own if each in course.chapters()])
    if others := [each for each in chosen if own and each not in own]:
        raise OpticsError(
            f'The intake "{course.intake.name}" does not have {", ".join(others)}.',
            f"Its chapters are: {', '.join(own)}.",
            f'Add it with `python -m optics intake "{course.intake.name}"` and all the chapters it is to have.',
        )
    return chosen


def described(intake: Intake) -> str:
    """What an intake chose, in sentences; "" where it has everything as the chapters are."""
    said = [f"Its chapters: {', '.join(intake.chapters)}."] if intake.chapters else []
    points = [
        f"{chapter}{f', {question}' if question else ''}: {value:g}"
        for chapter, mine in sorted(intake.points.items())
        for question, value in mine.items()
    ]
    said += [f"Its points: {'; '.join(points)}."] if points else []
    said += [f"Its verdicts are judged by {intake.tolerance}."] if intake.tolerance else []
    return " ".join(said)


# --- in a notebook -------------------------------------------------------------------------


def as_chosen(notebook: NotebookNode, box: PairBox) -> None:
    """Let a released notebook, of whichever intake, say the points and the table of its box."""
    keys = [cell.metadata.get("nbgrader", {}) for cell in notebook.cells]
    graded = {key["grade_id"]: float(key["points"]) for key in keys if key.get("grade")}
    total = sum((graded | box.points).values())
    table = next((brief.table for brief in box.briefs.values() if not brief.lenses), Brief().table)
    for cell, key in zip(notebook.cells, keys, strict=True):
        if key.get("solution"):
            continue
        if cell.cell_type == "markdown":
            cell.source = _JUDGE_BY.sub(f"Judge by {table}.", cell.source)
            cell.source = _TOGETHER.sub(f"{amount(total)} marks together", cell.source)
        elif key.get("grade"):
            points = box.points.get(key["grade_id"], key["points"])
            # Told as everywhere; never "points=0", which is practice. The mark rests on the points kept in the box.
            told = amount(points) if points >= 0.05 else f"{points:g}"
            cell.source = _POINTS.sub(f"points={told}", cell.source)


def led_on(notebook: NotebookNode, course: Course, chapter: str) -> None:
    """Let a chapter lead to the next one that the intake in hand has."""
    own = course.intake.chapters
    for cell in notebook.cells:
        found = _NEXT.search(cell.source) if own and cell.cell_type == "markdown" else None
        if found and found[1] not in own:
            following = next((each for each in own if each > chapter), "")
            title = _cells(course, following)[0].source.splitlines()[0].lstrip("# ") if following else ""
            line = f"Next: [{title}](../{following}/{following}.ipynb)." if following else ""
            cell.source = cell.source.replace(found[0], line).rstrip()


def points_beside(notebook: Path) -> dict[str, float]:
    """By check the points chosen for a marked notebook, from the pair box beside it."""
    if not (notebook.parent / SEALED).is_file():
        return {}
    try:
        return open_pairs(notebook.parent).points
    except OpticsError:  # marked by a version with another maker of pairs, which knew no choice
        return {}


class InChosenPoints(NbGraderPreprocessor):
    """After nbgrader has put the marks of its gradebook into a page: tells them in the points chosen."""

    def preprocess(self, nb: NotebookNode, resources: dict) -> tuple[NotebookNode, dict]:
        """Scale the marks of a page."""
        names = resources["nbgrader"]
        chosen = points_beside(Path(resources["metadata"]["path"] or ".") / f"{names['notebook']}.ipynb")
        if chosen:
            keys = [key for cell in nb.cells if (key := cell.metadata.get("nbgrader", {})).get("grade")]
            for key in keys:
                points = chosen.get(key["grade_id"], key["points"])
                key["score"], key["points"] = key["score"] * points / key["points"], points
            names["score"] = sum(key["score"] for key in keys) - names["late_penalty"]
            names["max_score"] = sum(key["points"] for key in keys)
        return nb, resources


class TellsBothScales(Preprocessor):
    """Of formgrader's page: says under a question, where a mark is typed, that it is told in other points."""

    def preprocess(self, nb: NotebookNode, resources: dict) -> tuple[NotebookNode, dict]:
        """Put a sentence under each question for which the intake chose other points."""
        chosen: dict[str, float] = {}
        if "submission_id" in resources:  # a feedback page goes through the same exporter
            folder = Path(resources["metadata"]["path"] or ".")
            chosen = points_beside(folder / f"{resources['notebook_id']}.ipynb")
        for cell in nb.cells:
            key = cell.metadata.get("nbgrader", {})
            if key.get("grade") and key["grade_id"] in chosen:
                said = (
                    f"Give it out of {amount(key['points'])} here. This intake chose {amount(chosen[key['grade_id']])}, "
                    "and reports and feedback tell it so."
                )
                cell.outputs.insert(0, nbformat.v4.new_output("stream", text=said))
        return nb, resources
