"""The whole course in one run with an invented class, compared with what it ought to give."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from optics.apprentices.apprentice import BLANK, RIGHT, expected_mark
from optics.course.class_maker import MadeClass, make_class
from optics.course.feedback import hand_back
from optics.course.folder import Course, start_intake
from optics.course.gather import gather
from optics.course.marking import mark
from optics.course.release import release
from optics.course.report import write_report
from optics.course.results import Result, results

SMALLEST_DIFFERENCE = 0.011
"""Marks are rounded to the hundredth, once for a question and once for each skill."""


@dataclass(slots=True)
class Rehearsed:
    """How a rehearsal went.

    Parameters
    ----------
    said : list of str
        A sentence for each step.
    answers, agreed : int
        How many marked answers, and how many got just the expected mark.
    named : int
        How many answers spoiled by a habit were told so by that habit's name.
    habitual : int
        How many answers were spoiled by a habit.
    differences : list of str
        A sentence for each that did not agree.
    """

    said: list[str]
    answers: int
    agreed: int
    named: int
    habitual: int
    differences: list[str]

    @property
    def success(self) -> bool:
        """Whether every mark is the expected one."""
        return not self.differences

    def __str__(self) -> str:
        lines = [
            *self.said,
            f"{self.agreed} of {self.answers} answers got just the mark they ought to get.",
            f"In {self.named} of {self.habitual} answers spoiled by a habit, that habit was named.",
            *self.differences[:20],
        ]
        if len(self.differences) > 20:
            lines.append(f"And {len(self.differences) - 20} more.")
        return "\n".join(lines)


def compare(truth: Sequence[dict[str, Any]], found: Sequence[Result]) -> tuple[int, int, int, int, list[str]]:
    """Compare the marks given with the marks expected.

    Returns
    -------
    answers, agreed, named, habitual : int
        As in `Rehearsed`.
    differences : list of str
        A sentence each.
    """
    marked = {(result.learner, result.chapter, result.question): result for result in found}
    counts: Counter[str] = Counter()
    differences = []
    for entry in truth:
        for question in entry["questions"]:
            where = (entry["learner"], entry["chapter"], question["question"])
            expected, _ = expected_mark(question)
            result = marked.get(where)
            counts["answers"] += 1
            if result is None:
                differences.append(f"{', '.join(where)}: it was not marked.")
                continue
            if abs(result.mark - expected) <= SMALLEST_DIFFERENCE:
                counts["agreed"] += 1
            else:
                differences.append(
                    f"{', '.join(where)}: {result.mark:g} instead of {expected:g}, made to: {question['made to']}; "
                    f'the answer was "{question["answer"]}".'
                )
            if question["made to"] not in {RIGHT, BLANK}:
                counts["habitual"] += 1
                counts["named"] += question["made to"] in result.slips
    return counts["answers"], counts["agreed"], counts["named"], counts["habitual"], differences


def rehearse(
    course: Course, count: int, seed: int = 0, chapters: Sequence[str] = (), variants: int | None = None
) -> Rehearsed:
    """Run a course from the release to the hand-back with an invented class.

    Parameters
    ----------
    course : Course
        A course of its own, without submissions; never a real one.
    count : int
        How many apprentices.
    seed : int
        Another seed gives another class.
    chapters : sequence of str
        Which; all where none is given.
    variants : int, optional
        How many different pairs share one letter.
    """
    start_intake(course, "rehearsal")
    options: dict[str, Any] = {} if variants is None else {"variants": variants}
    said = [str(done) for done in release(course, chapters, **options)]
    made: MadeClass = make_class(course, count, course.root / "handed in", seed, chapters)
    said.append(str(made))
    gathered = gather(course, [made.handed_in], made.class_list)
    said.append(
        f"{len(gathered.taken)} submissions were gathered, {len(gathered.unsettled)} files need a look."
    )
    said += gathered.unsettled
    marked = mark(course)
    said.append(f"{sum(each.marked for each in marked)} submissions were marked.")
    said += [str(each) for each in marked if not each.marked]
    said.append(str(hand_back(course)))
    report = write_report(course)
    said.append(f"The class report lies in {report}.")
    return Rehearsed(said, *compare(made.truth, results(course)))
