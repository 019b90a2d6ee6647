"""Gathering what a class handed in, from any zip or folder.

Every file is kept as it came, under `inbox`; what is marked is a plain copy of
its cells without outputs, under `submitted`. The newest version of a chapter is
the one that is marked, and an older one never takes its place.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path, PurePosixPath

import nbformat
from tqdm import tqdm

from optics.course.folder import Course, write_whole
from optics.course.grader import gradebook
from optics.course.handed_out import Stamp, box_of_intake, set_stamp, stamp_of
from optics.course.names import Learner, chapter_of, checked_identifier, who_sent
from optics.course.names import class_list as listed
from optics.course.opening import NotebookError, load_notebook, to_text
from optics.course.unpack import Received, received
from optics.errors import OpticsError

__all__ = ["Gathered", "gather"]

LEDGER = "received.csv"
COLUMNS = ("gathered", "learner", "chapter", "sent", "fingerprint", "file", "came as", "from")
STAMP = "%Y-%m-%d %H:%M:%S"
# How platforms and browsers number a second attempt: "-2", " (1)", "_v3".
ATTEMPT = re.compile(r"(?:[-_ ]v?|\s*\()(\d{1,2})\)?(?:\.ipynb)?(?:\.json|\.txt)?$", re.IGNORECASE)


@dataclass(slots=True)
class Gathered:
    """What was gathered, and what needs a look.

    Parameters
    ----------
    taken : dict of str to str
        By learner and chapter, a sentence on what is now ready to be marked.
    kept_aside : list of str
        A sentence for each that is older than, or the same as, one already there.
    unsettled : list of str
        A sentence for each file that nobody's submission could be made of.
    notes : list of str
        A sentence for whatever else is worth knowing.
    """

    taken: dict[str, str] = field(default_factory=dict)
    kept_aside: list[str] = field(default_factory=list)
    unsettled: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        headline = f"{len(self.taken)} submissions are ready to be marked."
        parts = [headline, *self.taken.values(), *self.kept_aside, *self.notes]
        if self.unsettled:
            parts += [
                f"{len(self.unsettled)} files need a look; they lie in the folder inbox.",
                *self.unsettled,
            ]
        return "\n".join(parts)


def _attempt(name: str) -> int:
    """Which attempt a file's name says it is; 0 where it says nothing."""
    found = ATTEMPT.search(PurePosixPath(name).name)
    return int(found[1]) if found else 0


def gather(
    course: Course,
    places: Sequence[Path | str],
    class_list: Path | str | None = None,
    learner: str | None = None,
    intake: str | None = None,
) -> Gathered:
    """Gather submissions.

    Parameters
    ----------
    course : Course
        The course.
    places : sequence of Path
        Zips, folders or single notebooks.
    class_list : Path, optional
        CSV with the columns id and name; without it `class-list.csv` in the
        course folder, where there is one.
    learner : str, optional
        Whose they are, where you know better than the files do.
    intake : str, optional
        The intake of files that have lost their stamp.

    Returns
    -------
    Gathered
        What was done, in sentences.
    """
    learners = listed(course, class_list)
    if learner is not None:
        learner = checked_identifier(learner)
    released = {
        chapter: nbformat.read(course.notebook("release", chapter), as_version=4)
        for chapter in course.chapters("release")
    }
    if not released:
        raise OpticsError(
            f"The course in {course.root} has released no chapter yet.",
            "A submission is known by the cells of the chapter that was handed out.",
            "Release the chapters first: `optics release`.",
        )
    for place in map(Path, places):
        if not place.exists():
            raise OpticsError(
                f"There is nothing at {place}.",
                "Give the zip, the folder or the notebook that came back.",
                "Check the name.",
            )
    desk = _Desk(course, learners, released, learner, intake)
    try:
        for place in map(Path, places):
            for file in tqdm(received(place), desc=f"Gathering {place.name}", unit="file", disable=None):
                desk.take(file, place.name)
    finally:
        desk.close()
    return desk.result


class _Desk:
    """Takes one file after the other and remembers what has come before."""

    def __init__(
        self,
        course: Course,
        learners: Sequence[Learner],
        released: dict[str, nbformat.NotebookNode],
        learner: str | None,
        intake: str | None,
    ) -> None:
        self.course, self.learners, self.released, self.learner = course, learners, released, learner
        self.stamps: dict[str, Stamp] = {}
        if intake is not None:
            self.stamps = {chapter: box_of_intake(course, chapter, intake) for chapter in released}
        self.result = Gathered()
        self.inbox = course.root / "inbox"
        self.rows = _ledger(self.inbox / LEDGER)
        self.filed: set[tuple[str, str]] = set()
        self.others = 0
        self.now = datetime.now().strftime(STAMP)

    def take(self, file: Received, came_from: str) -> None:
        """File one received file."""
        if file.trouble:
            self.result.unsettled.append(file.trouble)
            return
        if not file.is_notebook:
            self._not_a_notebook(file)
            return
        fingerprint = hashlib.sha256(file.data).hexdigest()[:16]
        try:
            notebook, notes = load_notebook(file.data)
        except NotebookError as reason:
            self._unsettled(file, fingerprint, came_from, str(reason))
            return
        chapter = chapter_of(file.name, notebook, self.released)
        if not chapter:
            self._unsettled(file, fingerprint, came_from, "It is none of the chapters that were released.")
            return
        if not stamp_of(notebook.metadata).pairs and chapter in self.stamps:
            set_stamp(notebook, self.stamps[chapter])
        identifier = self.learner
        if identifier is None:
            who = who_sent(file.name, notebook, self.learners, tuple(self.released))
            if who.trouble:
                self._unsettled(file, fingerprint, came_from, who.trouble)
                return
            identifier = who.identifier
        self._file(file, fingerprint, came_from, (identifier, chapter), to_text(notebook), " ".join(notes))

    def _not_a_notebook(self, file: Received) -> None:
        if PurePosixPath(file.name).suffix.lower() in {".pdf", ".html", ".htm", ".docx", ".py"}:
            self.result.unsettled.append(f'"{file.name}" is no notebook; ask for the file ending in .ipynb.')
        else:
            self.others += 1

    def _keep(self, file: Received, fingerprint: str, *folders: str) -> Path:
        """Keep a file as it came, once; its name is ours, so that it reaches nowhere else."""
        stem = re.sub(r"[^A-Za-z0-9 ._()-]+", "_", PurePosixPath(file.name).name)[-80:].strip(" .") or "file"
        path = self.inbox.joinpath(*folders, f"{fingerprint} {stem}")
        if not path.exists():
            write_whole(path, file.data)
        return path

    def _unsettled(self, file: Received, fingerprint: str, came_from: str, why: str) -> None:
        path = self._keep(file, fingerprint, "unsettled")
        self.result.unsettled.append(f'"{file.name}": {why}')
        self._note(file, fingerprint, came_from, "", "", path)

    def _note(
        self, file: Received, fingerprint: str, came_from: str, learner: str, chapter: str, path: Path
    ) -> None:
        row = {
            "gathered": self.now,
            "learner": learner,
            "chapter": chapter,
            "sent": file.time.strftime(STAMP) if file.time else "",
            "fingerprint": fingerprint,
            "file": path.relative_to(self.course.root).as_posix(),
            "came as": file.name,
            "from": came_from,
        }
        self.rows.append(row)

    def _file(
        self, file: Received, fingerprint: str, came_from: str, whose: tuple[str, str], text: str, said: str
    ) -> None:
        """Make this file the one that is marked, unless a newer one is there."""
        title = ", ".join(whose)
        before = [row for row in self.rows if (row["learner"], row["chapter"]) == whose]
        if any(row["fingerprint"] == fingerprint for row in before):
            self.result.kept_aside.append(f"{title}: this version was gathered before.")
            return
        path = self._keep(file, fingerprint, *whose)
        why_not = self._older(file, before, whose)
        if why_not:
            self.result.kept_aside.append(f"{title}: {why_not}")
            self._note(file, fingerprint, came_from, *whose, path)
            return
        submitted = self.course.notebook("submitted", whose[1], whose[0])
        replaced = submitted.is_file()
        if replaced:
            stood = submitted.read_bytes()
            print_of_it = hashlib.sha256(stood).hexdigest()[:16]
            self._keep(Received("replaced.ipynb", stood), print_of_it, *whose)
        write_whole(submitted, text)
        # nbgrader reads this as the time of handing in.
        time = (file.time or datetime.now().replace(microsecond=0)).astimezone()
        write_whole(submitted.with_name("timestamp.txt"), time.isoformat(sep=" ") + "\n")
        # Noted last, so that an interrupted gathering takes this file again.
        self._note(file, fingerprint, came_from, *whose, path)
        self.filed.add(whose)
        again = " It takes the place of an older version, which is kept." if replaced else ""
        self.result.taken[title] = f"{title}.{again}{' ' + said if said else ''}"

    def _older(self, file: Received, before: Sequence[dict[str, str]], whose: tuple[str, str]) -> str:
        """Why this version does not take the place of those before it; "" where it does."""
        if not before:
            return ""
        sent = file.time.strftime(STAMP) if file.time else ""
        latest = max((row["sent"], _attempt(row["came as"])) for row in before)
        if whose not in self.filed:
            # Gathered on another day: what comes later is newer, unless it says otherwise.
            return f"an older version, sent {sent}, was kept aside." if sent and sent < latest[0] else ""
        this = (sent, _attempt(file.name))
        if this < latest:
            return "an older version was kept aside."
        return "a second version of the same time was kept aside; look at both." if this == latest else ""

    def close(self) -> None:
        """Write the ledger, and the names of the class into the gradebook."""
        if self.others:
            self.result.notes.append(f"{self.others} other files, no notebooks, were left where they are.")
        missing = {row["learner"] for row in self.rows}
        absent = [learner for learner in self.learners if learner.identifier not in missing]
        if absent:
            names = ", ".join(learner.name or learner.identifier for learner in absent)
            self.result.notes.append(f"Nothing has come from: {names}.")
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(self.rows)
        write_whole(self.inbox / LEDGER, text.getvalue())
        if self.learners:
            _name_in_gradebook(self.course, self.learners)


def _ledger(path: Path) -> list[dict[str, str]]:
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", newline="") as file:
        return [{column: row.get(column) or "" for column in COLUMNS} for row in csv.DictReader(file)]


def _name_in_gradebook(course: Course, learners: Sequence[Learner]) -> None:
    """So that formgrader shows people and not numbers."""
    with gradebook(course) as book:
        for learner in learners:
            first, _, last = learner.name.rpartition(" ")
            book.update_or_create_student(
                learner.identifier, first_name=first or None, last_name=last or None
            )
