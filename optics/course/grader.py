"""Running nbgrader's own steps, set as the course's `nbgrader_config.py` says."""

from __future__ import annotations

import functools
import logging
import os
import re
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbgrader.api
from nbgrader.api import Gradebook
from nbgrader.converters.base import BaseConverter
from nbgrader.coursedir import CourseDirectory
from nbgrader.dbutil import ALEMBIC_DIR
from nbgrader.utils import capture_log
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError
from traitlets.config import Config
from traitlets.config.loader import PyFileConfigLoader

from optics.course.folder import CONFIGURATION, Course
from optics.errors import OpticsError

# nbgrader would print its log among our sentences; it is kept and shown on failure.
_log = logging.getLogger("optics.course.nbgrader")
_log.propagate = False
_log.addHandler(logging.NullHandler())
_log.setLevel(logging.WARNING)


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one step of nbgrader went."""

    success: bool
    log: str

    @property
    def reason(self) -> str:
        """Why it failed, as a sentence."""
        for sign, sentence in _REASONS:
            if sign in self.log:
                return sentence
        # The exception at the end of the first traceback; what nbgrader says after it only points there.
        said = [found for found in _ERROR.findall(self.log) if "NbGraderException" not in found]
        lines = said or [
            line for line in self.log.splitlines() if line.strip() and "traceback" not in line.casefold()
        ]
        if not lines:
            return "nbgrader gave no reason."
        name, _, words = lines[0].strip().partition(": ")
        return f"It could not be marked or written ({(words or name)[:300].rstrip('.')})."


# A line of an exception, at the left edge and named.
_ERROR = re.compile(r"^ {0,4}([\w.]+(?:Error|Exception|Invalid\w+): .+)$", re.MULTILINE)
_REASONS = (
    ("database is locked", "Another program keeps the gradebook locked. Close it, and run this again."),
    ("no such table", "The gradebook is damaged. Put back your copy of gradebook.db."),
    ("file is not a database", "The gradebook is damaged. Put back your copy of gradebook.db."),
    ("database disk image is malformed", "The gradebook is damaged. Put back your copy of gradebook.db."),
    ("connection to server", "The gradebook's database does not answer. Start it, and run this again."),
    ("server closed the connection", "The gradebook's database went away. Start it, and run this again."),
    ("terminating connection", "The gradebook's database went away. Start it, and run this again."),
    ("No space left on device", "The disk is full."),
    ("MemoryError", "It takes more memory than a submission may."),
)


def tools_on_path() -> None:
    """Put this environment's programs on PATH, because nbgrader calls one of them by name."""
    programs = str(Path(sys.executable).parent)
    if programs not in os.environ.get("PATH", "").split(os.pathsep):
        os.environ["PATH"] = os.pathsep.join([programs, os.environ.get("PATH", "")])


def configuration(course: Course) -> Config:
    """The course's settings for nbgrader."""
    config = PyFileConfigLoader(CONFIGURATION, path=str(course.root)).load_config()
    config.CourseDirectory.root = str(course.root)
    if "db_url" not in config.CourseDirectory:
        config.CourseDirectory.db_url = course.gradebook
    elif not config.CourseDirectory.get("course_id"):
        # A file lets a chapter belong to a course without a name; a database does not.
        config.CourseDirectory.course_id = "course"
    return config


WAIT_S = 45
"""Seconds that one process waits for another to be done with a gradebook in a file."""


@functools.lru_cache(maxsize=4)
def _engine(address: str, **options: bool) -> Any:
    # Five seconds are SQLite's own, and a busy machine with a slow disk takes longer.
    patience = {"connect_args": {"timeout": WAIT_S}} if address.startswith("sqlite") else {}
    return _create_engine(address, **options, **patience)


_create_engine = nbgrader.api.create_engine


def _version_of_tables() -> str:
    """The version that a new gradebook is stamped with.

    nbgrader starts another program to ask for it: most of the time that a first release takes.
    """
    from alembic.script import ScriptDirectory

    return str(ScriptDirectory(ALEMBIC_DIR).get_current_head())


nbgrader.api.get_alembic_version = _version_of_tables


@contextmanager
def _one_engine() -> Iterator[None]:
    """Let nbgrader keep one database engine for a gradebook.

    It opens the gradebook some ten times a submission, and each time would work
    out its queries anew: nearly half of the time that marking takes.
    """
    before = nbgrader.api.create_engine
    nbgrader.api.create_engine = _engine
    try:
        yield
    finally:
        nbgrader.api.create_engine = before


@contextmanager
def gradebook(course: Course) -> Iterator[Gradebook]:
    """The course's gradebook, closed afterwards.

    Raises
    ------
    OpticsError
        Where the configuration names a database that cannot be reached.
    """
    tools_on_path()
    folder = configuration(course).CourseDirectory
    address, name = str(folder.db_url), str(folder.get("course_id", ""))
    if address == course.gradebook:
        book = Gradebook(address, name)
    else:
        try:
            book = Gradebook(address, name)
        except (SQLAlchemyError, ImportError) as reason:
            raise _unreachable(address, reason) from None
    with book:
        yield book


def _unreachable(address: str, reason: Exception) -> OpticsError:
    """Say that a database cannot be reached, without the password in its address."""
    try:
        shown = make_url(address).render_as_string(hide_password=True)
    except ArgumentError:
        shown = "an address that is none"
    said = str(getattr(reason, "orig", None) or reason).strip().splitlines()
    if isinstance(reason, ImportError):
        what = 'Install what it needs with `python -m pip install "optics-workbook[campus]"`.'
    else:
        what = f"Start the database, or mend `db_url` in {CONFIGURATION}, and run this again."
    return OpticsError(
        f"The gradebook cannot be opened at {shown} ({said[0][:200] if said else 'no reason given'}).",
        "A course keeps it in a file of its own, or in a database that its configuration names, "
        'such as "postgresql+psycopg:///spring".',
        what,
    )


def run_step(
    course: Course, step: type[BaseConverter], chapter: str, learner: str | None = None, **settings: str
) -> Outcome:
    """Run one of nbgrader's converters for a chapter, and for one learner where given.

    Settings are those of nbgrader's `CourseDirectory`. Never raises for what went wrong
    inside: the outcome says so.
    """
    tools_on_path()
    config = configuration(course)
    config.CourseDirectory.update(settings)
    folder = CourseDirectory(config=config, log=_log)
    folder.assignment_id = chapter
    if learner is not None:
        folder.student_id = learner
    converter = step(coursedir=folder, config=config, log=_log)
    converter.force = True
    with _one_engine(), warnings.catch_warnings():
        # nbgrader's database layer and its upgrade path warn about themselves.
        warnings.simplefilter("ignore")
        result = capture_log(converter)
    if result.get("error", "").rstrip().endswith("KeyboardInterrupt"):
        # nbgrader takes Ctrl-C for a fault of the chapter.
        raise KeyboardInterrupt
    return Outcome(result["success"], result.get("log", "") + result.get("error", ""))
