"""Handing back: a feedback page for every marked chapter, in one zip a learner."""

from __future__ import annotations

import os
import re
import tempfile
import zipfile
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from nbgrader.converters import GenerateFeedback
from tqdm import tqdm

from optics.course.class_list import class_list
from optics.course.folder import Course, write_table
from optics.course.gather import ledger
from optics.course.grader import gradebook, run_step

ALL = "all.zip"


class HandedBack:
    """Where the zips lie, and what could not be written.

    Parameters
    ----------
    folder : Path
        Holds `ID.zip` for every learner, `all.zip` with a folder for each as a platform takes
        them back, and `names.csv`.
    zips : int
        How many.
    troubles : list of str
        A sentence for each page that could not be made.
    """

    def __init__(self, folder: Path, zips: int, troubles: list[str]) -> None:
        self.folder, self.zips, self.troubles = folder, zips, troubles

    def __str__(self) -> str:
        said = (
            f"Feedback for {self.zips} learners lies in {self.folder}, one zip for each; names.csv says whose is whose. "
            f"{ALL} holds every page in the folder that its submission came in, for a platform that takes them back so."
        )
        return "\n".join([said, *self.troubles])


def new_folder(course: Course, name: str) -> Path:
    """A new folder under the course's reports, with the time in its name."""
    stamp = datetime.now().strftime("%Y-%m-%d %H%M%S")
    path = course.root / "reports" / f"{stamp} {name}"
    number = 1
    while True:
        try:
            path.mkdir(parents=True)
            return path
        except FileExistsError:  # of the same second, perhaps another instructor's
            number += 1
            path = path.with_name(f"{stamp} {name} {number}")


def write_feedback(course: Course, chapters: Sequence[str] = (), learners: Sequence[str] = ()) -> list[str]:
    """Write the feedback pages of marked chapters into the course's feedback folder.

    Returns
    -------
    list of str
        A sentence for each page that could not be made.
    """
    marked = [
        (chapter, learner)
        for chapter in course.chosen(chapters, "release")
        for learner in course.learners("autograded", chapter)
        if not learners or learner in learners
    ]
    troubles = []
    for chapter, learner in tqdm(marked, desc="Writing feedback", unit="page", disable=None):
        outcome = run_step(course, GenerateFeedback, chapter, learner)
        if not outcome.success:
            troubles.append(f"No page for {learner}, {chapter}. {outcome.reason}")
    return troubles


def _came_from(came_as: str, learner: str) -> str:
    """The folder a submission came in, as far as its name reaches nowhere else; else the learner's own."""
    parts = [part for part in came_as.split("/")[:-1] if part.strip(". ")]
    return re.sub(r'[\x00-\x1f<>:"|?*\\]', "_", parts[0])[:120] if parts else learner


def hand_back(course: Course, chapters: Sequence[str] = (), learners: Sequence[str] = ()) -> HandedBack:
    """Write feedback and pack it, one zip for each learner.

    Parameters
    ----------
    course : Course
        The course, marked.
    chapters, learners : sequence of str
        Which; all where none is given.
    """
    troubles = write_feedback(course, chapters, learners)
    folder = new_folder(course, "hand-back")
    # Packed beside its place, so that a folder in the reports is never half a hand-back.
    folder.rmdir()
    building = Path(tempfile.mkdtemp(dir=folder.parent, prefix=".packing-"))
    with gradebook(course) as book:
        names = {s.id: " ".join(filter(None, (s.first_name, s.last_name))) for s in book.students}
    chosen = course.chosen(chapters, "release")
    rows = []
    emails = {each.identifier: each.email for each in class_list(course)}
    came = {(row["learner"], row["chapter"]): row["came as"] for row in ledger(course)}
    whole = zipfile.ZipFile(building / ALL, "x", zipfile.ZIP_DEFLATED)
    with whole:
        for learner in course.learners("feedback"):
            if learners and learner not in learners:
                continue
            pages = [
                page for c in chosen if (page := course.step("feedback", learner, c) / f"{c}.html").is_file()
            ]
            if not pages:
                continue
            with zipfile.ZipFile(building / f"{learner}.zip", "x", zipfile.ZIP_DEFLATED) as archive:
                for page in pages:
                    archive.write(page, page.name)
                    # In the folder that it came from, where the platform looks for it.
                    whole.write(
                        page, f"{_came_from(came.get((learner, page.stem), ''), learner)}/{page.name}"
                    )
            covered = " ".join(page.stem for page in pages)
            rows.append((learner, names.get(learner, ""), emails.get(learner, ""), f"{learner}.zip", covered))
    write_table(building / "names.csv", ("id", "name", "email", "file", "chapters"), rows)
    os.replace(building, folder)
    return HandedBack(folder, len(rows), troubles)
