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

from optics.course.class_list import Learner, checked_identifier, keep_class_list
from optics.course.class_list import class_list as listed
from optics.course.dates import date_in, lateness, without_dates
from optics.course.folder import Course, sweep, write_whole
from optics.course.grader import gradebook
from optics.course.handed_out import Stamp, box_of_intake, set_stamp, stamp_of
from optics.course.names import Who, chapter_of, sender_of, who_sent
from optics.course.opening import NotebookError, load_notebook, to_text
from optics.course.unpack import Received, received
from optics.errors import OpticsError

LEDGER = "received.csv"
OWN_FOLDERS = ("source", "release", "submitted", "inbox", "autograded", "feedback", "handed-out")
UNSETTLED = "unsettled"
"""Of the inbox, where files lie that need a look."""
COLUMNS = (
    "gathered",
    "learner",
    "chapter",
    "sent",
    "fingerprint",
    "file",
    "came as",
    "from",
    "sender",
    "intake",
)
"""Of a line in the ledger; the intake stands there where it was said in gathering, because the stamp was lost."""
STAMP = "%Y-%m-%d %H:%M:%S"
# Work that came in another form than the notebook itself.
NEARLY = {".pdf", ".html", ".htm", ".docx", ".py", ".rar", ".7z", ".tar", ".gz"}
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
    left : list of str
        Names of files that are no notebooks, and were left where they are.
    preview : bool
        Whether nothing was written.
    """

    taken: dict[str, str] = field(default_factory=dict)
    kept_aside: list[str] = field(default_factory=list)
    unsettled: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    preview: bool = False

    def __str__(self) -> str:
        state = "would be ready" if self.preview else "is ready" if len(self.taken) == 1 else "are ready"
        parts = [f"{_many(len(self.taken), 'submission')} {state} to be marked.", *self.taken.values()]
        parts += [*self.kept_aside, *self.notes]
        if self.left:
            parts.append(f"Left in place, because no notebook ({len(self.left)}):")
            parts += [f'"{name}"' for name in self.left]
        if self.unsettled:
            parts += [f"{_many(len(self.unsettled), 'file')} to look at:", *self.unsettled]
            parts.append("Where you know whose a notebook is, gather it alone with --learner and the id.")
        if self.preview:
            parts.append("Nothing was written. Gather without --preview to take them.")
        return "\n".join(parts)


def _many(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _attempt(name: str) -> int:
    """Which attempt a file's name says it is; 0 where it says nothing."""
    found = ATTEMPT.search(without_dates(PurePosixPath(name).name))
    return int(found[1]) if found else 0


def gather(
    course: Course,
    places: Sequence[Path | str],
    class_list: Path | str | None = None,
    learner: str | None = None,
    intake: str | None = None,
    preview: bool = False,
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
        course folder, where there is one. The first that is given is kept there, so
        that the next gathering knows the same people.
    learner : str, optional
        Whose they are, where you know better than the files do.
    intake : str, optional
        The intake of files that have lost their stamp.
    preview : bool
        Whether only to say what would be taken, from whom, sent when and how late.

    Returns
    -------
    Gathered
        What was done, in sentences.
    """
    learners = listed(course, Path(class_list) if class_list is not None else None)
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
            "Release the chapters first: `python -m optics release`.",
        )
    for place in map(Path, places):
        if not place.exists():
            raise OpticsError(
                f"There is nothing at {place}.",
                "Give the zip, the folder or the notebook that came back.",
                "Check the name.",
            )
        _refuse_own_folders(course, place.resolve())
    desk = _Desk(course, learners, released, learner, intake, preview)
    if class_list is not None and not preview and not listed(course):
        keep_class_list(course, learners)
        desk.result.notes.append("The class list is kept in the course; the next gathering needs none.")
    for step in () if preview else ("inbox", "submitted"):
        sweep(course.root / step)
    try:
        for place in map(Path, places):
            for file in tqdm(received(place), desc=f"Gathering {place.name}", unit="file", disable=None):
                desk.take(desk.as_it_came(file, place), place.name)
    finally:
        desk.close()
    return desk.result


def _refuse_own_folders(course: Course, place: Path) -> None:
    if place.is_file() and place.parent == (course.root / "inbox" / UNSETTLED).resolve():
        return  # one that needed a look, and has had it
    own = [course.root / step for step in OWN_FOLDERS]
    if course.root.is_relative_to(place) or any(place.is_relative_to(folder) for folder in own):
        raise OpticsError(
            f"{place} belongs to the course itself.",
            "What comes from learners lies in a place of its own.",
            "Give the zip or the folder that came back.",
        )


class _Desk:
    """Takes one file after the other and remembers what has come before."""

    def __init__(
        self,
        course: Course,
        learners: Sequence[Learner],
        released: dict[str, nbformat.NotebookNode],
        learner: str | None,
        intake: str | None,
        preview: bool = False,
    ) -> None:
        self.course, self.learners, self.released, self.learner = course, learners, released, learner
        self.stamps: dict[str, Stamp] = {}
        if intake is not None:
            self.stamps = {chapter: box_of_intake(course, chapter, intake) for chapter in released}
        self.result = Gathered(preview=preview)
        self.intakes = {known.name: known for known in reversed(course.intakes())}
        self.in_hand = course.intake.name
        self.inbox = course.root / "inbox"
        self.rows = _ledger(self.inbox / LEDGER)
        self.from_before = len(self.rows)
        self.filed: set[tuple[str, str]] = set()
        self.intake, self.given = intake or "", ""
        self.now = datetime.now().strftime(STAMP)

    def as_it_came(self, file: Received, place: Path) -> Received:
        """A file that lay aside for a look, with the name and the time that it came with."""
        if place.resolve().parent == (self.inbox / UNSETTLED).resolve():
            for row in self.rows:
                if (self.course.root / row["file"]).name == place.name and not row["learner"]:
                    file.name = row["came as"]
                    file.time = datetime.strptime(row["sent"], STAMP) if row["sent"] else file.time
        return file

    def take(self, file: Received, came_from: str) -> None:
        """File one received file."""
        # A platform that writes a date into the name gives its zip the day of the download.
        file.time = date_in(file.name) or file.time
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
        self.given = "" if stamp_of(notebook.metadata).pairs else self.intake
        if self.given:
            set_stamp(notebook, self.stamps[chapter])
        stamp = stamp_of(notebook.metadata)
        who = Who(self.learner or "")
        if self.learner is None:
            who = who_sent(file.name, notebook, self.learners, tuple(self.released))
        whose = (who.identifier, chapter)
        sender = sender_of(file.name, tuple(self.released))
        # Without a class list a name is all there is, over all chapters.
        known = [
            row
            for row in self.rows
            if row["learner"] == who.identifier and (not self.learners or row["chapter"] == chapter)
        ]
        others = {row["sender"] for row in known} - {"", sender} if sender else set()
        if who.trouble:
            self._unsettled(file, fingerprint, came_from, who.trouble)
            return
        notes += [who.note] if who.note else []
        if others and who.typed:
            # The name typed inside is all that tells; it may be somebody else's.
            self._unsettled(
                file,
                fingerprint,
                came_from,
                f'It says inside that it is {who.identifier}\'s, whose work came from "{min(others)}" before. '
                "Gather it with --learner, once you know whose it is.",
            )
            return
        if others and not self.learners and self.learner is None and sender.isdigit():
            whose = (f"{who.identifier}-{sender}", chapter)
            notes.append("Somebody else of this name has handed in; the platform's number tells them apart.")
        elif others:
            notes.append(f"It came from another place than the one before: {sender}.")
        if late := self._late(stamp.intake, whose, file.time):
            notes.append(late)
        self._file(file, fingerprint, came_from, whose, to_text(notebook), " ".join(notes))

    def _before(self, whose: tuple[str, str]) -> list[dict[str, str]]:
        return [row for row in self.rows if (row["learner"], row["chapter"]) == whose]

    def _late(self, intake: str, whose: tuple[str, str], sent: datetime | None) -> str:
        """A sentence on the time of handing in, where a deadline is set or a preview asks."""
        known = self.intakes.get(intake or self.in_hand)
        said = [f"Of the intake {intake}."] if intake and intake != self.in_hand else []
        due = known.deadline(whose[1], whose[0]) if known else ""
        late = lateness(due, sent)
        if self.result.preview:
            said.append(f"Sent {sent:{STAMP}}." if sent else "It does not say when it was sent.")
        if late:
            said.append(f"{late} late.")
        return " ".join(said)

    def _not_a_notebook(self, file: Received) -> None:
        if PurePosixPath(file.name).suffix.lower() in NEARLY:
            self.result.unsettled.append(f'"{file.name}" is no notebook; ask for the file ending in .ipynb.')
        else:
            self.result.left.append(file.name)

    def _keep(self, file: Received, fingerprint: str, *folders: str) -> Path:
        """Keep a file as it came, once; its name is ours, so that it reaches nowhere else."""
        stem = re.sub(r"[^A-Za-z0-9 ._()-]+", "_", PurePosixPath(file.name).name)[-80:].strip(" .") or "file"
        path = self.inbox.joinpath(*folders, f"{fingerprint} {stem}")
        if not path.exists() and not self.result.preview:
            write_whole(path, file.data)
        return path

    def _unsettled(self, file: Received, fingerprint: str, came_from: str, why: str) -> None:
        self.given = ""
        path = self._keep(file, fingerprint, UNSETTLED)
        where = "" if self.result.preview else f" It lies in inbox/{UNSETTLED}, as {path.name}."
        self.result.unsettled.append(f'"{file.name}": {why}{where}')
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
            "sender": sender_of(file.name, tuple(self.released)),
            "intake": self.given,
        }
        if learner == chapter == "" and any(
            (each["fingerprint"], each["came as"], each["learner"]) == (fingerprint, file.name, "")
            for each in self.rows
        ):
            return  # it needed a look before, and still does
        self.rows.append(row)
        if not self.result.preview:
            # At once, so that whatever happens later, this file is known.
            _append(self.inbox / LEDGER, row)

    def _file(
        self, file: Received, fingerprint: str, came_from: str, whose: tuple[str, str], text: str, said: str
    ) -> None:
        """Make this file the one that is marked, unless a newer one is there."""
        title = ", ".join(whose)
        before = self._before(whose)
        same = [row for row in before if row["fingerprint"] == fingerprint]
        # Gathered again to say its intake, it is handed in anew; without that word nothing has changed.
        if same and self.given in ("", same[-1]["intake"]):
            twice = any(row is same[-1] for row in self.rows[self.from_before :])
            why = "the same file came twice." if twice else "this version was gathered before."
            self.result.kept_aside.append(f"{title}: {why}")
            # What lies beside it is compared with it, as if nothing had come between.
            self.filed.add(whose)
            return
        path = self._keep(file, fingerprint, *whose)
        why_not = self._older(file, [row for row in before if row not in same], whose)
        if why_not:
            self.result.kept_aside.append(f"{title}: {why_not}")
            self._note(file, fingerprint, came_from, *whose, path)
            return
        submitted = self.course.notebook("submitted", whose[1], whose[0])
        replaced = submitted.is_file() and submitted.read_text("utf-8", "replace") != text
        if self.result.preview:
            pass
        elif replaced:
            stood = submitted.read_bytes()
            print_of_it = hashlib.sha256(stood).hexdigest()[:16]
            self._keep(Received("replaced.ipynb", stood), print_of_it, *whose)
        if not self.result.preview:
            hand_in(self.course, whose, text, file.time)
        # Noted last, so that an interrupted gathering takes this file again.
        self._note(file, fingerprint, came_from, *whose, path)
        self.filed.add(whose)
        again = " It takes the place of an older version, which is kept." if replaced else ""
        name = next(
            (f" ({each.name})" for each in self.learners if each.identifier == whose[0] and each.name), ""
        )
        self.result.taken[title] = f"{title}{name}.{again}{' ' + said if said else ''}"

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
        """Say who is missing, and write the names of the class into the gradebook."""
        missing = {row["learner"] for row in self.rows}
        absent = [learner for learner in self.learners if learner.identifier not in missing]
        if absent:
            names = ", ".join(learner.name or learner.identifier for learner in absent)
            self.result.notes.append(f"Nothing has come from: {names}.")
        if self.learners and not self.result.preview:
            _name_in_gradebook(self.course, self.learners)


def hand_in(course: Course, whose: tuple[str, str], text: str, sent: datetime | None) -> None:
    """Put a notebook where nbgrader looks for a submission, with the time of handing in."""
    submitted = course.notebook("submitted", whose[1], whose[0])
    time = (sent or datetime.now().replace(microsecond=0)).astimezone()
    write_whole(submitted.with_name("timestamp.txt"), time.isoformat(sep=" ") + "\n")
    write_whole(submitted, text)


def choose(course: Course, learner: str, chapter: str, number: int | None = None) -> str:
    """Choose which version of a chapter is marked, or say which there are.

    Parameters
    ----------
    course : Course
        The course.
    learner, chapter : str
        Whose, and which.
    number : int, optional
        Counted from 1 in the order in which they were sent.

    Returns
    -------
    str
        The versions, a line each, or what was chosen.
    """
    (chapter,) = course.chosen([chapter], "release")
    # One line a version, the last word on each.
    versions = {
        row["fingerprint"]: row
        for row in ledger(course)
        if (row["learner"], row["chapter"]) == (learner, chapter)
    }
    rows = list(versions.values())
    rows.sort(key=lambda row: (row["sent"], _attempt(row["came as"])))
    if not rows:
        raise OpticsError(
            f"Nothing has come from {learner} for {chapter}.",
            f"Work has come from: {', '.join(sorted({row['learner'] for row in ledger(course)} - {''})) or 'nobody'}.",
            "Check the identifier.",
        )
    if number is None:
        return "\n".join(
            f"{place}  sent {row['sent'] or '?'}  {row['came as']}" for place, row in enumerate(rows, 1)
        )
    if not 1 <= number <= len(rows):
        raise OpticsError(
            f"There is no version {number}.", f"The versions are 1 to {len(rows)}.", "Choose one of them."
        )
    row = rows[number - 1]
    notebook, _ = load_notebook((course.root / row["file"]).read_bytes())
    if row["intake"]:
        set_stamp(notebook, box_of_intake(course, chapter, row["intake"]))
    hand_in(
        course,
        (learner, chapter),
        to_text(notebook),
        datetime.strptime(row["sent"], STAMP) if row["sent"] else None,
    )
    return f"Version {number} of {learner}, {chapter} is the one that is marked, sent {row['sent'] or 'at a time unknown'}."


def ledger(course: Course) -> list[dict[str, str]]:
    """Every file that was ever gathered, a row each, in the order of gathering."""
    return _ledger(course.root / "inbox" / LEDGER)


def _append(path: Path, row: dict[str, str]) -> None:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    if not path.is_file():
        path.parent.mkdir(parents=True, exist_ok=True)
        writer.writeheader()
    writer.writerow(row)
    with path.open("ab") as file:
        file.write(text.getvalue().encode("utf-8", "replace"))


def _ledger(path: Path) -> list[dict[str, str]]:
    if not path.is_file():
        return []
    with path.open(encoding="utf-8", errors="replace", newline="") as file:
        rows = [{column: row.get(column) or "" for column in COLUMNS} for row in csv.DictReader(file)]
    # A line that broke off, or an older ledger's, is as if it had not been written.
    return [row for row in rows if row["file"] and row["came as"]]


def _name_in_gradebook(course: Course, learners: Sequence[Learner]) -> None:
    """So that formgrader shows people and not numbers."""
    with gradebook(course) as book:
        for learner in learners:
            first, _, last = learner.name.rpartition(" ")
            book.update_or_create_student(
                learner.identifier, first_name=first or None, last_name=last or None
            )
