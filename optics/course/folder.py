"""The course folder: where source, submissions, marks and the intake's secret lie."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from optics.errors import OpticsError
from optics.project_files import project_folder

__all__ = [
    "CONFIGURATION",
    "Course",
    "Intake",
    "checked_intake_name",
    "make_course",
    "open_course",
    "start_intake",
    "write_whole",
]

CONFIGURATION = "nbgrader_config.py"
INTAKE = "intake.json"
CLASS_LIST = "class-list.csv"
# What running a course leaves behind; never copied from one course to another.
LEFT_BY_RUNNING = (
    "release", "submitted", "inbox", "autograded", "feedback", "reports",
    "gradebook.db*", INTAKE, CLASS_LIST, "pairs.sealed",
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
    """

    name: str
    secret: str


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
        """Address of the gradebook for nbgrader."""
        return f"sqlite:///{self.root / 'gradebook.db'}"

    @property
    def intake(self) -> Intake:
        """The intake in hand."""
        try:
            plain = json.loads((self.root / INTAKE).read_text("utf-8"))
            return Intake(name=str(plain["name"]), secret=str(plain["secret"]))
        except FileNotFoundError:
            raise OpticsError(
                f"The course in {self.root} has no intake yet.",
                "Every class has its own set of unknown pairs, drawn from a secret of its own.",
                "Start one with `optics intake NAME`, for instance `optics intake autumn`.",
            ) from None
        except (ValueError, KeyError, TypeError):
            raise OpticsError(
                f"The file {INTAKE} in {self.root} cannot be read.",
                "It holds the intake's name and its secret.",
                "Put back the copy you kept; a new secret would give other pairs than those handed out.",
            ) from None


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
            "Make one with `optics intake NAME --course FOLDER`, and then work in it.",
        )
    if not (root / CONFIGURATION).is_file() or not (root / "source").is_dir():
        raise OpticsError(
            f"There is no course in {root}.",
            f"A course folder holds the file {CONFIGURATION} and the folder source.",
            "Make one with `optics intake NAME --course FOLDER`.",
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


def start_intake(course: Course, name: str, secret: str | None = None) -> Intake:
    """Start an intake: a new class, with a new set of unknown pairs.

    The intake before it is kept in the same file, under "earlier".

    Raises
    ------
    OpticsError
        Where submissions are already there: they belong to the pairs handed out.
    """
    name = checked_intake_name(name)
    if course.learners("submitted") or course.learners("autograded"):
        raise OpticsError(
            f"The course in {course.root} already holds submissions.",
            "They were made with the pairs of the intake in hand, and a new one would exchange those pairs.",
            "Make a new course folder for the new class: `optics intake NAME --course FOLDER`.",
        )
    earlier = []
    if (course.root / INTAKE).is_file():
        before = course.intake
        kept = json.loads((course.root / INTAKE).read_text("utf-8")).get("earlier", [])
        earlier = [*kept, {"name": before.name, "secret": before.secret}]
    intake = Intake(name=name, secret=secret or secrets.token_hex(16))
    plain = {"name": intake.name, "secret": intake.secret, "earlier": earlier}
    write_whole(course.root / INTAKE, json.dumps(plain, indent=1) + "\n")
    return intake
