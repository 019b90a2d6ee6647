"""What the marks and the checks say, question by question and learner by learner."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from nbgrader.api import SubmittedAssignment

from optics.apprentices.apprentice import questions
from optics.course.choices import points_beside
from optics.course.folder import Course
from optics.course.grader import gradebook
from optics.course.reading import answers_in
from optics.marking.telling import NO_NAME, last_word, skills_told

ELSEWHERE = 2
"""So many clear answers of a learner settle what an unclear one is counted as."""


@dataclass(frozen=True, slots=True)
class Result:
    """One question of one learner.

    Parameters
    ----------
    learner, name, chapter, question : str
        Whose and which; the question by the name of its check cell.
    mark, out_of : float
        Marks got and marks possible; in practice, as the check told them.
    by_hand : bool
        Whether it still waits for a mark given by hand.
    practice : bool
        Whether it is practice, which counts for nothing but tells of habits.
    skills : dict of str to (float, float)
        For each skill the marks got and possible, as the check gave them.
    slips : tuple of str
        Habits that explain a wrong answer.
    answer : str
        As typed, where it is one line of text or a number.
    taken : bool
        Whether there was an answer that could be marked.
    harmful : bool
        Whether what was written would hurt its wearer.
    where : {"", "bench", "paper"}
        Whether it was read or worked out, if that is known.
    offs : tuple of (str, str, float)
        Eye, skill and how far off, for what was read of an unknown pair.
    either : tuple of tuple of str
        The habits of each explanation, where the numbers cannot tell between them.
    empty : bool
        Whether nothing was answered.
    nameless : bool
        Whether it rests on a name, and none was typed.
    """

    learner: str
    name: str
    chapter: str
    question: str
    mark: float
    out_of: float
    by_hand: bool
    practice: bool
    skills: Mapping[str, tuple[float, float]]
    slips: tuple[str, ...]
    answer: str = ""
    taken: bool = False
    harmful: bool = False
    where: str = ""
    offs: tuple[tuple[str, str, float], ...] = ()
    either: tuple[tuple[str, ...], ...] = ()
    empty: bool = False
    nameless: bool = False

    @property
    def wrong(self) -> bool:
        """Whether something was answered and something in it is not right."""
        return self.taken and any(got < of - 1e-9 for got, of in self.skills.values())


def _told(path: Path, asked: Mapping[str, str]) -> dict[str, dict]:
    """What each check had to say as data, and the answer it was asked of, by the name of its cell."""
    found: dict[str, dict] = {}
    if not path.is_file():
        return found
    cells = json.loads(path.read_text("utf-8"))["cells"]
    typed = answers_in("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    for cell in cells:
        name = cell["metadata"].get("nbgrader", {}).get("grade_id", "")
        if name and (said := last_word(cell)):
            found[name] = said | {"answer": typed.get(asked.get(name, ""), "")}
    return found


@lru_cache(maxsize=32)
def _asked(source: Path, _changed: int) -> Mapping[str, str]:
    """The name of the answer that each question asks for, where it asks for one."""
    return {each.cell: each.variables[0] for each in questions(source) if len(each.variables) == 1}


def results(course: Course, chapters: Sequence[str] = ()) -> list[Result]:
    """Every question of every learner, in the order of chapter, learner, question."""
    found = []
    chosen = course.chosen(chapters, "release")
    with gradebook(course) as book:
        known = {assignment.name for assignment in book.assignments}
        for chapter in chosen:
            source = course.notebook("source", chapter)
            asked = _asked(source, source.stat().st_mtime_ns) if source.is_file() else {}
            submissions = book.assignment_submissions(chapter) if chapter in known else []
            order = _order(course.notebook("release", chapter))
            for submission in sorted(submissions, key=lambda each: each.student.id):
                marked = course.notebook("autograded", chapter, submission.student.id)
                found += _of_one(submission, chapter, _told(marked, asked), order, points_beside(marked))
    return gathered(found)


def gathered(found: list[Result]) -> list[Result]:
    """Where numbers cannot tell between habits, count the one that the learner's other answers show."""
    clear = Counter((r.learner, habit) for r in found if not r.either for habit in r.slips)

    def told(result: Result) -> Result:
        def shown(names: tuple[str, ...]) -> int:
            return min(clear[result.learner, name] for name in names)

        likeliest = max(result.either, key=shown, default=())
        return replace(result, slips=likeliest) if likeliest and shown(likeliest) >= ELSEWHERE else result

    return [told(result) for result in found]


def _order(path: Path) -> dict[str, int]:
    """Where each check stands in its chapter; a database has no order of its own."""
    cells = json.loads(path.read_text("utf-8"))["cells"] if path.is_file() else ()
    names = (cell["metadata"].get("nbgrader", {}).get("grade_id", "") for cell in cells)
    return {name: place for place, name in enumerate(names) if name}


def _of_one(
    submission: SubmittedAssignment,
    chapter: str,
    told: dict[str, dict],
    order: Mapping[str, int],
    chosen: Mapping[str, float],
) -> list[Result]:
    """One learner's questions of one chapter: those with marks, in the points chosen, then practice."""
    student = submission.student
    whose = (student.id, " ".join(filter(None, (student.first_name, student.last_name))), chapter)
    found = []
    grades = [grade for notebook in submission.notebooks for grade in notebook.grades]
    for grade in sorted(grades, key=lambda each: (order.get(each.name, len(order)), each.name)):
        said = told.pop(grade.name, {})
        score, written, by_hand = grade.score or 0.0, grade.max_score, grade.needs_manual_grade
        points = chosen.get(grade.name, written)
        found.append(
            Result(
                *whose,
                grade.name,
                float(score * points / written) if written else 0.0,
                float(points),
                bool(by_hand),
                False,
                *_of_the_check(
                    said, empty=grade.cell_type == "markdown" and grade.manual_score is None and not by_hand
                ),
            )
        )
    for name, said in told.items():
        data = _of_the_check(said)
        got, of = (round(sum(pair[side] for pair in data[0].values()), 2) for side in (0, 1))
        # The same cap as for answers with marks.
        got = min(got, round(float(said.get("at most", 1.0)) * of, 2))
        found.append(Result(*whose, name, got, of, False, True, *data))
    return found


def _of_the_check(said: dict, empty: bool = False) -> tuple[Any, ...]:
    """Skills, slips, answer, taken, harmful, where, how far off, either, empty and nameless, as `Result` has them.

    A reason that waits for no mark by hand, and has none, is `empty`: it was never changed.
    """
    skills = skills_told(said)
    typed = said.get("answer", "")
    answer = str(typed).strip()[:60] if isinstance(typed, str | int | float) else ""
    # What could not be read, or was left empty, is no wrong answer that a habit might explain.
    taken = said.get("state") in ("Right", "Not yet") and said.get("taken", True)
    offs = tuple((str(eye), str(skill), float(amount)) for eye, skill, amount in said.get("offs", ()))
    return (
        skills,
        tuple(said.get("slips", ())),
        answer,
        taken,
        "at most" in said,
        str(said.get("where", "")),
        offs,
        tuple(tuple(map(str, names)) for names in said.get("either", ())),
        empty or said.get("state") == "Not answered yet",
        said.get("state") == NO_NAME,
    )


def sums(pairs: Iterable[tuple[object, float, float]]) -> dict:
    """Marks got and possible, summed by key, in order of appearance."""
    found: dict = {}
    for key, got, of in pairs:
        before = found.get(key, (0.0, 0.0))
        found[key] = (before[0] + got, before[1] + of)
    return found


def skill_pairs(found: Sequence[Result]) -> Iterable[tuple[str, float, float]]:
    """Each skill of each question, with marks got and possible."""
    return ((skill, got, of) for result in found for skill, (got, of) in result.skills.items())
