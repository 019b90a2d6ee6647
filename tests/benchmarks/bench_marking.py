"""Marking a class beside nbgrader's own way, which starts a kernel for each submission.

Run by hand::

    python tests/benchmarks/bench_marking.py [APPRENTICES] [CHAPTER ...]

Releases chapters of the workbook, lets invented apprentices hand them in
undamaged, and marks the same notebooks twice in the same run: as this course
does, and with nbgrader's own preprocessors. Prints seconds a submission, the
ratio, and whether the marks are the same; the aim is at most 1/15. The first
submission of each way loads what is needed and is counted apart.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

from nbgrader.converters import Autograde

from optics.course.class_maker import make_class
from optics.course.folder import Course, make_course, start_intake
from optics.course.gather import gather
from optics.course.grader import run_step
from optics.course.marking import mark
from optics.course.release import release
from optics.course.results import results

APPRENTICES, CHAPTERS, AIM = 8, ("01", "02"), 15
NOT_OURS = """
from nbgrader.converters import Autograde

c.Autograde.sanitize_preprocessors = Autograde.sanitize_preprocessors.default()
c.Autograde.autograde_preprocessors = Autograde.autograde_preprocessors.default()
"""


def handed_in(folder: Path, apprentices: int, chapters: tuple[str, ...]) -> Course:
    """A course with what an invented class handed in, undamaged."""
    course = make_course(folder / "ours")
    start_intake(course, "benchmark")
    chosen = course.chosen(chapters)
    release(course, chosen)
    import optics.course.class_maker as class_maker

    class_maker.DAMAGED_SHARE = 0.0
    made = make_class(course, apprentices, folder / "class", chapters=chosen)
    gather(course, [made.handed_in], made.class_list)
    return course


def timed(course: Course, way: Callable[[str, str], bool]) -> tuple[float, float]:
    """Seconds for the first submission, and for one of the others on average."""
    waiting = [
        (learner, chapter)
        for chapter in course.chapters("release")
        for learner in course.learners("submitted", chapter)
    ]
    times = []
    for learner, chapter in waiting:
        begin = perf_counter()
        if not way(learner, chapter):
            sys.exit(f"{learner}, {chapter} could not be marked.")
        times.append(perf_counter() - begin)
    return times[0], sum(times[1:]) / len(times[1:])


def marks(course: Course) -> dict[tuple[str, str, str], float]:
    """Every mark in the gradebook."""
    return {(r.learner, r.chapter, r.question): r.mark for r in results(course) if not r.practice}


def main(apprentices: int = APPRENTICES, chapters: tuple[str, ...] = CHAPTERS) -> None:
    """Mark both ways and print the comparison."""
    with tempfile.TemporaryDirectory() as place:
        course = handed_in(Path(place).resolve(), apprentices, chapters)
        plain = Course(root=course.root.with_name("plain"))
        shutil.copytree(course.root, plain.root)
        with (plain.root / "nbgrader_config.py").open("a", encoding="utf-8") as file:
            file.write(NOT_OURS)
        count = sum(len(course.learners("submitted", chapter)) for chapter in course.chapters("release"))
        print(f"{count} submissions of {', '.join(course.chapters('release'))}")
        first, ours = timed(course, lambda learner, chapter: mark(course, [chapter], [learner])[0].marked)
        print(f"reading answers      {ours:7.3f} s a submission (the first {first:.2f} s)")
        first, theirs = timed(
            plain, lambda learner, chapter: run_step(plain, Autograde, chapter, learner).success
        )
        print(f"a kernel for each    {theirs:7.3f} s a submission (the first {first:.2f} s)")
        same = marks(course) == marks(plain)
        print(f"ratio                1/{theirs / ours:.1f} (aim: at most 1/{AIM})")
        print(f"marks                {'the same' if same else 'NOT the same'}: {len(marks(course))}")
        if not same:
            for where, mark_given in marks(course).items():
                if marks(plain).get(where) != mark_given:
                    print("   ", *where, mark_given, marks(plain).get(where))


if __name__ == "__main__":
    main(*([int(sys.argv[1])] if sys.argv[1:] else []), *([tuple(sys.argv[2:])] if sys.argv[2:] else []))
