"""The workbook for somebody who learns alone: the chapters, and marks for one's own work.

The chapters are released on the learner's own machine from the workbook's
source, once, and kept. Their unknown pairs are drawn from a public secret, so
that they are the same wherever somebody learns alone.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import nbformat
from jupyter_core.paths import jupyter_data_dir

from optics.course.feedback import write_feedback
from optics.course.folder import LEFT_BY_RUNNING, Course, make_course, start_intake, write_whole
from optics.course.handed_out import keep_box, set_stamp, stamp_of
from optics.course.marking import Marked, mark
from optics.course.names import chapter_of
from optics.course.opening import load_notebook, to_text
from optics.course.release import release
from optics.course.results import Result, results, sums
from optics.errors import OpticsError
from optics.marking.telling import LATER, NO_NAME, amount, not_yet, so_far
from optics.progress.file import PROGRESS_FILE, note_chapter
from optics.progress.progress import Chapter, skills_met
from optics.project_files import project_folder
from optics.specimens.sealed import MAKER, SEALED, SELF_STUDY

LEARNER = "me"
LARGEST_FILE = 200_000_000


def _fingerprint(folder: Path) -> str:
    """Changes whenever the workbook's chapters, or what releases them, do."""
    digest = hashlib.sha256(f"{_version()} {MAKER}".encode())
    skipped = shutil.ignore_patterns(*LEFT_BY_RUNNING)
    for here, folders, files in os.walk(folder):
        left_out = skipped(here, [*folders, *files])
        folders[:] = sorted(set(folders) - left_out)
        for name in sorted(set(files) - left_out):
            path = Path(here, name)
            digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def _version() -> str:
    try:
        return version("optics-workbook")
    except PackageNotFoundError:
        return "unpacked"


def study_course(kept: Path | None = None) -> Course:
    """The released workbook for self-study, made once and then kept.

    Parameters
    ----------
    kept : Path, optional
        Where it is kept; among Jupyter's own data where none is given.
    """
    kept = kept or Path(jupyter_data_dir()) / "optics-workbook"
    whole = kept / f"self-study-{_fingerprint(project_folder('notebooks'))}"
    if whole.is_dir():
        return Course(root=whole.resolve())
    kept.mkdir(parents=True, exist_ok=True)
    building = Path(tempfile.mkdtemp(dir=kept, prefix=".building-"))
    try:
        course = make_course(building / "course")
        start_intake(course, SELF_STUDY, secret=SELF_STUDY)
        release(course)
        try:
            # Moved only when whole, so that an interrupted start leaves nothing half made.
            os.replace(course.root, whole)
        except OSError:
            if not whole.is_dir():  # otherwise somebody else finished it meanwhile
                raise
    finally:
        shutil.rmtree(building, ignore_errors=True)
    return Course(root=whole.resolve())


# --- laying out a work folder -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Laid:
    """A work folder laid out.

    Parameters
    ----------
    folder : Path
        Where.
    laid, kept : tuple of str
        Files put there now, and files that were there already and were left as they are.
    """

    folder: Path
    laid: tuple[str, ...]
    kept: tuple[str, ...]

    def __str__(self) -> str:
        if not self.laid:
            return f"Your workbook lies in {self.folder}, as you left it."
        said = f"{len(self.laid)} files of the workbook were put into {self.folder}"
        return said + ("; what was there is as you left it." if self.kept else ".")


def _remembered() -> Path:
    """The file that says where somebody's workbook lies."""
    return Path(jupyter_data_dir()) / "optics-workbook" / "my-folder.txt"


def own_folder(asked: Path | None = None, blank: bool = False) -> Path:
    """Where this learner's workbook lies: the same the next day, from wherever it is asked.

    Parameters
    ----------
    asked : Path, optional
        A folder that was named; otherwise the one of last time, and at first
        "optics workbook" in the learner's home.
    blank : bool
        Whether a second workbook, without answers, is wanted.

    Raises
    ------
    OpticsError
        Where a second workbook would be laid unasked, where the old one has gone, or
        inside a copy of the program, which an update may replace.
    """
    home = Path.home() / "optics workbook"
    last = _last() or (home if _is_workbook(home) else None)
    if blank and asked is None and last:
        raise OpticsError(
            f"Your workbook lies in {last}.",
            "A second one needs a folder of its own.",
            'Name it: python -m optics learn "another folder" --blank.',
        )
    folder = (asked or last or home).expanduser().resolve()
    outside_the_program(folder)
    if last and not blank and not _is_workbook(folder):
        if folder != last:
            raise OpticsError(
                f"Your workbook lies in {last}; one in {folder} would be blank.",
                "Without a folder's name, your own opens.",
                "Add --blank where a second one is wanted.",
            )
        raise OpticsError(
            f"Your workbook lay in {last} and is not there any more.",
            "It opens from a new place where you name that.",
            "Add --blank to start again without your answers.",
        )
    return folder


def outside_the_program(folder: Path) -> None:
    """Refuse a folder inside a copy of the program, which an update may replace."""
    folder = folder.expanduser().resolve()
    for above in (folder, *folder.parents):
        project = above / "pyproject.toml"
        if project.is_file() and 'name = "optics-workbook"' in project.read_text("utf-8", "replace"):
            raise OpticsError(
                f"{folder} lies inside the program's own folder.",
                "Your workbook needs a place that an update leaves alone.",
                f'Try: python -m optics learn "{Path.home() / "optics workbook"}".',
            )


def remember(folder: Path) -> None:
    """Note where a workbook was laid, so that it opens again the next day."""
    write_whole(_remembered(), str(folder).encode())


def _last() -> Path | None:
    """Where the workbook was last time; nothing where the note cannot be read."""
    try:
        said = _remembered().read_text("utf-8").strip()
    except (OSError, ValueError):
        return None
    return Path(said) if said else None


def _is_workbook(folder: Path) -> bool:
    chapters = folder.glob("[0-9][0-9]-*/[0-9][0-9]-*.ipynb")
    return any(path.stem == path.parent.name for path in chapters)


def lay_out(folder: Path | str, study: Course | None = None) -> Laid:
    """Put the workbook's chapters into a work folder, beside whatever is there.

    A file that is there already is never touched, and a new one is there whole or
    not at all, so that it does no harm to be interrupted or to run this again.

    Parameters
    ----------
    folder : Path
        The work folder; made where it is missing.
    study : Course, optional
        The released workbook.
    """
    folder = Path(folder).expanduser().resolve()
    if folder.exists() and not folder.is_dir():
        raise OpticsError(f"{folder} is a file.", "The workbook needs a folder.", "Give another name.")
    study = study or study_course()
    wanted = {path.relative_to(study.root / "release"): path for path in (study.root / "release").rglob("*")}
    # Notebooks for learners that carry no marks stand beside the course's folders.
    wanted |= {Path(path.name): path for path in study.root.glob("*.ipynb") if not _for_instructors(path)}
    laid, kept = [], []
    for inside, path in sorted(wanted.items()):
        if not path.is_file():
            continue
        target = folder / inside
        if target.exists():
            kept.append(inside.as_posix())
            continue
        write_whole(target, path.read_bytes())
        laid.append(inside.as_posix())
    return Laid(folder, tuple(laid), tuple(kept))


def _for_instructors(path: Path) -> bool:
    return "instructor" in path.stem


# --- marking one's own notebook --------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MarkedMine:
    """One's own chapter, marked.

    Parameters
    ----------
    page : Path or None
        The feedback page, where one was wanted.
    marked : Marked
        What there was to say.
    results : tuple of Result
        Question by question: practice, and for who learns alone what counts.
    kept_back : int
        Questions that count, which an instructor marks after the hand-in.
    """

    page: Path | None
    marked: Marked
    results: tuple[Result, ...] = ()
    kept_back: int = 0

    def __str__(self) -> str:
        lies = f"; the feedback lies in {self.page}" if self.page else ""
        return "\n".join([f"{self.marked.chapter} is marked{lies}.", *self._marks(), *self.marked.notes])

    def _marks(self) -> list[str]:
        practice = [each for each in self.results if each.practice]
        counts = [each for each in self.results if not each.practice and not each.by_hand]
        told = []
        if practice:
            told.append(so_far(_whole(practice)))
        if counts:
            got, out_of = sum(each.mark for each in counts), sum(each.out_of for each in counts)
            told.append(f"Marks: {amount(got)} of {amount(out_of)}.{not_yet(_whole(counts))}")
        if self.kept_back:
            told.append(LATER)
        return told


def _whole(results: Sequence[Result]) -> dict[str, bool | str | None]:
    return {
        each.question: NO_NAME
        if each.nameless
        else None
        if each.empty
        else bool(each.mark >= each.out_of - 0.01)
        for each in results
    }


def mark_mine(file: Path | str, study: Course | None = None, *, page: bool = True) -> MarkedMine:
    """Mark a learner's own notebook and write the feedback page beside it.

    Parameters
    ----------
    file : Path
        The notebook, in its chapter's folder.
    study : Course, optional
        The released workbook.
    page : bool
        Whether the page is wanted; for a chapter that an instructor handed out there is none.
    """
    file = Path(file).expanduser().resolve()
    if not file.is_file():
        raise OpticsError(
            f"There is no file {file}.", "Give a notebook, ending in .ipynb.", "Check the name."
        )
    if file.stat().st_size > LARGEST_FILE:
        raise OpticsError(
            f"The file {file} is larger than {LARGEST_FILE // 1_000_000} MB.",
            "A notebook with its answers is far smaller.",
            "Clear its outputs in JupyterLab and save it.",
        )
    notebook, notes = load_notebook(file.read_bytes())
    study = study or study_course()
    released = {
        c: nbformat.read(study.notebook("release", c), as_version=4) for c in study.chapters("release")
    }
    chapter = chapter_of(file.name, notebook, released)
    if not chapter:
        raise OpticsError(
            f"The notebook {file} is none of the workbook's chapters.",
            f"The chapters with marks are: {', '.join(released)}.",
            "Give the notebook of one of them.",
        )
    with tempfile.TemporaryDirectory(prefix="marking-") as place:
        own = Course(root=Path(place).resolve() / "course")
        # A course of one, so that the kept one stays as it is.
        shutil.copytree(study.root, own.root)
        if (file.parent / SEALED).is_file():
            # The pairs that lay on this learner's bench, whoever sealed them.
            set_stamp(notebook, keep_box(own, chapter, (file.parent / SEALED).read_text("utf-8")))
        # In a class what counts is answered after the hand-in, however often one marks oneself.
        alone = stamp_of(notebook.metadata).intake in ("", SELF_STUDY)
        page = page and alone
        write_whole(own.notebook("submitted", chapter, LEARNER), to_text(notebook))
        marked = mark(own, [chapter])[0]
        troubles = write_feedback(own, [chapter]) if marked.marked and page else []
        if not marked.marked or troubles:
            raise OpticsError(
                f"The notebook {file} could not be marked.",
                " ".join([*marked.notes, *troubles]),
                "Show it to your instructor.",
            )
        lies = _free_name(file.with_name(f"{file.stem}-feedback.html")) if page else None
        if lies:
            write_whole(lies, (own.step("feedback", LEARNER, chapter) / f"{chapter}.html").read_bytes())
        found = results(own, [chapter])
    marked.notes[:0] = notes
    told = tuple(each for each in found if alone or each.practice)
    if file.parent.name == chapter:  # not a copy that lies by itself
        marked.notes += _noted(chapter, told, file.parent.parent / PROGRESS_FILE)
    return MarkedMine(lies, marked, told, len(found) - len(told))


def _noted(chapter: str, told: Sequence[Result], path: Path) -> list[str]:
    """Put what may be told into the learner's own progress; why not, where it cannot be."""
    asked = [(skill, *each.skills[skill]) for each in told for skill in skills_met(each.skills)]
    # An answer that is missing counts against what others show, and brings nothing that nobody tried.
    tried = {skill for each in told if each.taken for skill in skills_met(each.skills)}
    skills = sums(entry for entry in asked if entry[0] in tried)
    if not any(got for got, _ in skills.values()):  # nothing was tried yet
        return []
    slips = tuple(name for each in told for name in each.slips)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    try:
        note_chapter(chapter, Chapter(when=now, skills=skills, slips=slips), path)
    except OpticsError as error:
        return [str(error)]
    return []


def _free_name(path: Path) -> Path:
    number, free = 1, path
    while free.exists():
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free
