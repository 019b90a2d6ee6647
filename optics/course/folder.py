"""The course folder: where source, submissions, marks and the intake's secret lie."""

from __future__ import annotations

import csv
import io
import json
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from time import time
from typing import Any

from optics.errors import OpticsError
from optics.project_files import project_folder

CONFIGURATION = "nbgrader_config.py"
INTAKE = "intake.json"
CLASS_LIST = "class-list.csv"
HANDED_OUT = "handed-out"
"""Keeps every pair box that was ever released, so that what comes back late finds its own."""
# What running a course leaves behind; never copied from one course to another.
LEFT_BY_RUNNING = (
    "release", "submitted", "inbox", "autograded", "feedback", "reports",
    "gradebook.db*", HANDED_OUT, "removed", "to-hand-out", "kit", ".releasing*", INTAKE, CLASS_LIST, "pairs.sealed",
    ".nbgrader.log", ".ipynb_checkpoints", "__pycache__",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """One class, and the secret from which its unknown pairs are drawn.

    Parameters
    ----------
    name : str
        Shown to learners.
    secret : str
        Stays with the instructor; another secret gives other pairs.
    deadlines : dict of str to str
        By chapter, "" for all others; each as "2026-03-02 18:00".
    extensions : dict of str to dict
        The same for single learners, by identifier.
    chapters : tuple of str
        The only chapters that it has; none for all of them.
    points : dict of str to dict
        By chapter the points of its questions that are not as the chapter has them, "" for its sum.
    tolerance : str
        The edition that its verdict questions are judged by, "" for that of the chapter.
    """

    name: str
    secret: str
    deadlines: Mapping[str, str] = field(default_factory=dict)
    extensions: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    chapters: tuple[str, ...] = ()
    points: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    tolerance: str = ""

    def deadline(self, chapter: str, learner: str = "") -> str:
        """When a chapter is due from a learner, "" where nothing is set."""
        for dates in (self.extensions.get(learner, {}), self.deadlines):
            if due := dates.get(chapter) or dates.get(""):
                return due
        return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A course folder.

    Parameters
    ----------
    root : Path
        The folder that holds `nbgrader_config.py` and `source`.
    """

    root: Path

    def step(self, step: str, learner: str = ".", chapter: str = ".") -> Path:
        """Folder of a chapter at one step of nbgrader's way, such as "submitted"."""
        return self.root / step / learner / chapter

    def notebook(self, step: str, chapter: str, learner: str = ".") -> Path:
        """The chapter's notebook at that step."""
        return self.step(step, learner, chapter) / f"{chapter}.ipynb"

    def chapters(self, step: str = "source") -> tuple[str, ...]:
        """Graded chapters in the order of the course, as they stand in source or release."""
        found = (
            path.parent.name for path in (self.root / step).glob("*/*.ipynb") if path.stem == path.parent.name
        )
        return tuple(sorted(found))

    def chosen(self, names: Sequence[str], step: str = "source") -> tuple[str, ...]:
        """The chapters asked for, by name or by number; all of them where none is."""
        known = self.chapters(step)
        if not names:
            return known
        chosen = []
        for name in names:
            fits = [chapter for chapter in known if name in (chapter, chapter.partition("-")[0])]
            if len(fits) != 1:
                raise OpticsError(
                    f'There is no chapter "{name}" in the {step} folder of {self.root}.',
                    f"The chapters there are: {', '.join(known) or 'none'}.",
                    "Give the whole name, or the number it begins with.",
                )
            chosen.append(fits[0])
        return tuple(chosen)

    def learners(self, step: str = "submitted", chapter: str = "*") -> tuple[str, ...]:
        """Identifiers of the learners who have that chapter at that step."""
        folders = (self.root / step).glob(f"*/{chapter}")
        return tuple(sorted({folder.parent.name for folder in folders if folder.is_dir()}))

    @property
    def gradebook(self) -> str:
        """Where the gradebook lies, unless the course's configuration names a database for it."""
        return f"sqlite:///{self.root / 'gradebook.db'}"

    @property
    def intake(self) -> Intake:
        """The intake in hand."""
        return self.intakes()[0]

    def intakes(self) -> tuple[Intake, ...]:
        """Every intake of this course, the one in hand first."""
        try:
            plain = json.loads((self.root / INTAKE).read_text("utf-8"))
            return tuple(_intake(each) for each in (plain, *plain.get("earlier", ())))
        except FileNotFoundError:
            raise OpticsError(
                f"The course in {self.root} has no intake yet.",
                "Every class has its own set of unknown pairs, drawn from a secret of its own.",
                "Start one with `python -m optics intake NAME`, for instance `python -m optics intake autumn`.",
            ) from None
        except (ValueError, KeyError, TypeError, AttributeError):
            raise OpticsError(
                f"The file {INTAKE} in {self.root} cannot be read.",
                "It holds the intake's name and its secret.",
                "Put back the copy you kept; a new secret would give other pairs than those handed out.",
            ) from None

    def keep_intakes(self, intakes: Sequence[Intake]) -> None:
        """Write the intakes down, the one in hand first."""
        plain, *earlier = (asdict(intake) for intake in intakes)
        write_whole(self.root / INTAKE, json.dumps(plain | {"earlier": earlier}, indent=1) + "\n")


def _intake(plain: dict) -> Intake:
    return Intake(
        name=str(plain["name"]),
        secret=str(plain["secret"]),
        deadlines=dict(plain.get("deadlines", {})),
        extensions={who: dict(dates) for who, dates in plain.get("extensions", {}).items()},
        chapters=tuple(plain.get("chapters", ())),
        points={chapter: dict(mine) for chapter, mine in plain.get("points", {}).items()},
        tolerance=str(plain.get("tolerance", "")),
    )


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that it is there whole or not at all, even if interrupted."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{secrets.token_hex(4)}.part")
    try:
        part.write_bytes(data)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def sweep(folder: Path) -> None:
    """Remove the parts that `write_whole` left below a folder when it was killed; one younger than a minute may be in use."""
    for part in folder.rglob(f".{'[0-9a-f]' * 8}.part"):
        with suppress(FileNotFoundError):
            if time() - part.stat().st_mtime > 60.0:
                part.unlink()


def write_table(path: Path, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write a CSV that a spreadsheet opens as it is meant."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(heads)
    writer.writerows([_plain_field(value) for value in row] for row in rows)
    # Spreadsheets take a file without this mark for another alphabet.
    write_whole(path, "\ufeff" + text.getvalue())


def _plain_field(value: object) -> object:
    """A value that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        return "'" + value
    return value


def _checked_root(root: Path) -> Path:
    root = root.expanduser().resolve()
    # nbgrader looks for files by pattern and would take these as part of one.
    if any(character in str(root) for character in "[]*?"):
        raise OpticsError(
            f"The course folder is {root}.",
            "Its path may not hold any of the characters [ ] * ?",
            "Choose another place, or rename the folder.",
        )
    return root


def open_course(root: Path | str | None = None) -> Course:
    """The course in a folder.

    Parameters
    ----------
    root : Path or str, optional
        The course folder. Without one: the working folder if it is a course,
        else the notebooks of the checkout.

    Raises
    ------
    OpticsError
        Where there is no course, or it lies inside the installed package.
    """
    here = Path.cwd()
    if root is None:
        root = here if (here / CONFIGURATION).is_file() else project_folder("notebooks")
    root = _checked_root(Path(root))
    if root.parent.name == "_packed":
        raise OpticsError(
            "No course folder was given.",
            "A course is kept in a folder of its own, with the marks and the class's work in it.",
            "Make one with `python -m optics intake NAME --course FOLDER`, and then work in it.",
        )
    if not (root / CONFIGURATION).is_file() or not (root / "source").is_dir():
        raise OpticsError(
            f"There is no course in {root}.",
            f"A course folder holds the file {CONFIGURATION} and the folder source.",
            "Make one with `python -m optics intake NAME --course FOLDER`.",
        )
    return Course(root=root)


def make_course(root: Path | str) -> Course:
    """Make a fresh course folder with the workbook's chapters in it.

    Raises
    ------
    OpticsError
        Where the folder exists and is not empty.
    """
    root = _checked_root(Path(root))
    if root.exists() and (not root.is_dir() or any(root.iterdir())):
        raise OpticsError(
            f"The folder {root} is not empty.",
            "A new course needs a new or empty folder.",
            "Give another name.",
        )
    root.parent.mkdir(parents=True, exist_ok=True)
    # Copied beside its place and then moved, so that a course is never half there.
    building = Path(tempfile.mkdtemp(dir=root.parent, prefix=f".{root.name}-"))
    try:
        whole = building / "course"
        shutil.copytree(project_folder("notebooks"), whole, ignore=shutil.ignore_patterns(*LEFT_BY_RUNNING))
        if root.exists():
            root.rmdir()
        os.replace(whole, root)
    finally:
        shutil.rmtree(building, ignore_errors=True)
    return Course(root=root)


def checked_intake_name(name: str) -> str:
    """The name of an intake without needless spaces; it may not be empty."""
    name = " ".join(name.split())
    if not name:
        raise OpticsError("The intake has no name.", "A short name tells the classes apart.", 'Try "autumn".')
    return name


def start_intake(course: Course, name: str, secret: str | None = None, **choices: Any) -> Intake:
    """Take an intake in hand: a new class with new unknown pairs, or an earlier one again.

    The others are kept, and so are the pairs that they were given; what comes back from
    any of them is marked with its own.

    Parameters
    ----------
    course : Course
        The course.
    name : str
        The name of an earlier intake goes back to it.
    secret : str, optional
        Of a new intake; a fresh one where none is given.
    **choices
        Its chapters, points and tolerance, from `optics.course.choices.read_choices`; what is
        not given stays as it is.
    """
    name = checked_intake_name(name)
    others = course.intakes() if (course.root / INTAKE).is_file() else ()
    for known in others:
        if known.name.casefold() == name.casefold():
            intake = known
            break
    else:
        intake = Intake(name=name, secret=secret or secrets.token_hex(16))
    chosen = replace(intake, **choices)
    course.keep_intakes([chosen, *(other for other in others if other is not intake)])
    return chosen


def set_deadline(course: Course, due: str, chapters: Sequence[str] = (), learners: Sequence[str] = ()) -> str:
    """Say by when the intake in hand is to hand in; with learners, an extension for them.

    Parameters
    ----------
    course : Course
        The course.
    due : str
        A day, or a day and a time, as in "2026-03-02 18:00"; "none" takes it away.
    chapters, learners : sequence of str
        For which only; all where none is given.

    Returns
    -------
    str
        The deadline as it was written down, "" where it was taken away.
    """
    try:
        moment = "" if due == "none" else datetime.fromisoformat(due)
    except ValueError:
        raise OpticsError(
            f'"{due}" is no date.', "A deadline is a day, with a time or without.", 'Try "2026-03-02 18:00".'
        ) from None
    if isinstance(moment, datetime):
        if len(due) <= len("2026-03-02"):
            moment = moment.replace(hour=23, minute=59)
        moment = f"{moment:%Y-%m-%d %H:%M}"
    intake, *others = course.intakes()
    names = course.chosen(chapters) if chapters else ("",)
    extensions = {who: dict(dates) for who, dates in intake.extensions.items()}
    deadlines = dict(intake.deadlines)
    for dates in [extensions.setdefault(who, {}) for who in learners] or [deadlines]:
        dates.update(dict.fromkeys(names, moment))
    course.keep_intakes([replace(intake, deadlines=deadlines, extensions=extensions), *others])
    return moment
