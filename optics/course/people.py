"""Mending who is who after gathering: merge two learners, rename one, take one out.

Nothing is thrown away: what loses its place is kept in the inbox, or under `removed`.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from optics.course.class_list import checked_identifier, class_list, keep_class_list
from optics.course.folder import Course, write_whole
from optics.course.gather import COLUMNS, LEDGER, ledger
from optics.course.grader import gradebook
from optics.errors import OpticsError

STEPS = ("submitted", "autograded", "feedback")


def _known(course: Course, learner: str) -> None:
    known = {each.identifier for each in class_list(course)}
    known |= {row["learner"] for row in ledger(course)} | set(course.learners())
    if learner not in known:
        raise OpticsError(
            f'There is no learner "{learner}" in this course.',
            f"There are: {', '.join(sorted(known - {''})) or 'none'}.",
            "Check the identifier.",
        )


def _write_ledger(course: Course, rows: Sequence[dict[str, str]]) -> None:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_whole(course.root / "inbox" / LEDGER, text.getvalue())


def _move(path: Path, into: Path) -> None:
    if path.exists() and not into.exists():
        into.parent.mkdir(parents=True, exist_ok=True)
        os.replace(path, into)


def merge(course: Course, learner: str, into: str) -> str:
    """Make one learner of two who are the same person, or give a learner another identifier.

    Where both handed in a chapter, that of `into` is marked; `python -m optics choose` changes it.

    Parameters
    ----------
    course : Course
        The course.
    learner, into : str
        Identifiers; the first one goes. The second may be new.
    """
    _known(course, learner)
    into = checked_identifier(into)
    if learner.casefold() == into.casefold():
        raise OpticsError(
            f'"{learner}" cannot be merged with itself.', "Two learners become one.", "Give two."
        )
    both = {
        chapter
        for chapter in course.chapters("release")
        if all(course.step("submitted", who, chapter).exists() for who in (learner, into))
    }
    with gradebook(course) as book:
        book.update_or_create_student(into)
        if learner in {student.id for student in book.students}:
            old, new = book.find_student(learner), book.find_student(into)
            taken = {submission.assignment.name for submission in new.submissions}
            for submission in list(old.submissions):
                if submission.assignment.name not in taken | both:
                    submission.student = new
            if not (new.first_name or new.last_name):
                new.first_name, new.last_name = old.first_name, old.last_name
            book.db.commit()
            book.remove_student(learner)
    for step in STEPS:
        for folder in sorted((course.root / step / learner).glob("*")):
            aside = (
                course.root / "removed" / f"{datetime.now():%Y-%m-%d %H%M%S} {learner}" / step / folder.name
            )
            _move(folder, aside if folder.name in both else course.step(step, into, folder.name))
        _clear(course.root / step / learner)
    for path in sorted(path for path in (course.root / "inbox" / learner).rglob("*") if path.is_file()):
        _move(path, course.root / "inbox" / into / path.relative_to(course.root / "inbox" / learner))
    rows = ledger(course)
    for row in rows:
        if row["learner"] == learner:
            row["learner"] = into
            row["file"] = row["file"].replace(f"inbox/{learner}/", f"inbox/{into}/", 1)
    _write_ledger(course, rows)
    listed = class_list(course)
    if any(each.identifier == learner for each in listed):
        if any(each.identifier == into for each in listed):
            listed = tuple(each for each in listed if each.identifier != learner)
        else:
            listed = tuple(
                replace(each, identifier=into) if each.identifier == learner else each for each in listed
            )
        keep_class_list(course, listed)
    said = f" Both had handed in {', '.join(sorted(both))}; that of {into} stands." if both else ""
    return f"{learner} is {into} now, with everything that came from both.{said}"


def rename(course: Course, learner: str, name: str) -> str:
    """Give a learner another name, in the class list and in the gradebook."""
    _known(course, learner)
    name = " ".join(name.split())
    listed = class_list(course)
    if listed:
        keep_class_list(
            course, [replace(each, name=name) if each.identifier == learner else each for each in listed]
        )
    first, _, last = name.rpartition(" ")
    with gradebook(course) as book:
        book.update_or_create_student(learner, first_name=first or None, last_name=last or None)
    return f"{learner} is called {name} now."


def remove(course: Course, learner: str) -> str:
    """Take a learner out of the course; the files are kept under `removed`."""
    _known(course, learner)
    aside = course.root / "removed" / f"{datetime.now():%Y-%m-%d %H%M%S} {learner}"
    for step in (*STEPS, "inbox"):
        _move(course.root / step / learner, aside / step)
    _write_ledger(course, [row for row in ledger(course) if row["learner"] != learner])
    keep = [each for each in class_list(course) if each.identifier != learner]
    if len(keep) != len(class_list(course)):
        keep_class_list(course, keep)
    with gradebook(course) as book:
        if learner in {student.id for student in book.students}:
            book.remove_student(learner)
    return f"{learner} is taken out. The files are kept in {aside}."


def _clear(folder: Path) -> None:
    """Take an empty folder away; one with something in it stays."""
    if folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()
