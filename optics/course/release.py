"""Releasing chapters: seal the pairs, take out the answers, and look that none is left."""

from __future__ import annotations

import ast
import json
import logging
import os
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import nbformat
from nbformat.notebooknode import NotebookNode
from nbgrader.converters import GenerateAssignment
from nbgrader.converters.base import NbGraderException
from nbgrader.preprocessors import NbGraderPreprocessor
from nbgrader.utils import is_solution
from tqdm import tqdm

from optics.course.choices import as_chosen, chapters_for, chosen_points, led_on, tables_chosen
from optics.course.class_list import aliases, class_list
from optics.course.folder import Course, write_whole
from optics.course.grader import gradebook, run_step
from optics.course.handed_out import Stamp, keep_box, set_stamp, stamp_of_box
from optics.errors import OpticsError
from optics.lens.parsing import parse_pair
from optics.specimens.sealed import BRIEFS, SEALED, VARIANTS, briefs_in, mark_of, open_pairs, sealed

REGIONS = (("BEGIN SOLUTION", "END SOLUTION"), ("BEGIN HIDDEN TESTS", "END HIDDEN TESTS"))
MARKERS = tuple(marker for pair in REGIONS for marker in pair)
# Shorter texts ("in", "R", "DS") stand in prose as well as in answers.
SHORTEST_ANSWER = 6


class LockProse(NbGraderPreprocessor):
    """Locks the words of a chapter, so that a stray double click cannot open them.

    Only in what is handed out: an instructor edits the source as they like.
    """

    def preprocess_cell(
        self, cell: NotebookNode, resources: dict, cell_index: int
    ) -> tuple[NotebookNode, dict]:
        """Lock one cell of words, unless it is a learner's to write in."""
        if cell.cell_type == "markdown" and not is_solution(cell):
            cell.metadata |= {"editable": False, "deletable": False}
        return cell, resources


@dataclass(frozen=True, slots=True)
class Released:
    """A chapter as it was released, with a sentence about it."""

    chapter: str
    folder: Path
    sealed: bool
    replaced: bool = False

    def __str__(self) -> str:
        pairs = ", with its unknown pairs sealed" if self.sealed else ""
        before = " It takes the place of what was released before." if self.replaced else ""
        return f"{self.chapter} is ready to hand out{pairs}.{before}"


class HandedOutError(OpticsError):
    """A release would take the place of what has been handed out."""


class ReleaseFromFormgrader(GenerateAssignment):
    """Formgrader's button for the student version: the same release as from the command line.

    nbgrader's own would carry no stamp, and would take the place of what was handed out unasked.
    """

    def start(self) -> None:
        """Release the chapter and pack the zip to hand out, or say why not."""
        if LockProse not in self.preprocessors:  # another course of the same Jupyter
            return super().start()
        from optics.course.learner_side import pack

        course = Course(root=Path(self.coursedir.root))
        before = self.log.level
        # Of what nbgrader tells its log, an instructor needs nothing here but the sentences.
        self.log.setLevel(logging.WARNING)
        try:
            for done in release(course, [self.coursedir.assignment_id]):
                self.log.warning("%s", done)
            self.log.warning("One zip for the class lies in %s.", pack(course))
        except OpticsError as error:
            self.log.error("%s", error)
            raise NbGraderException("Nothing was released; what was released before still stands.") from None
        finally:
            self.log.setLevel(before)


def release(
    course: Course,
    chapters: Sequence[str] = (),
    variants: int = VARIANTS,
    secret: str | None = None,
    replace: bool = False,
) -> list[Released]:
    """Make the copies that learners get, in the course's release folder.

    All chapters asked for are released, or none: they are made beside and moved into
    place when every one of them is whole.

    Parameters
    ----------
    course : Course
        The course; it needs an intake.
    chapters : sequence of str
        Names or numbers; all that the intake has where none is given.
    variants : int
        How many different pairs share one letter.
    secret : str, optional
        Instead of the intake's own.
    replace : bool
        Whether chapters that were released before may be exchanged for different ones.

    Raises
    ------
    HandedOutError
        Where something else was released before and `replace` is not given.
    OpticsError
        Where a chapter cannot be released, or one trace of an answer is left in
        it; what was released before still stands.
    """
    intake = course.intake
    chosen = chapters_for(course, chapters)
    people = {
        mark_of(intake.name, alias): mark_of(intake.name, identifier)
        for alias, identifier in aliases(class_list(course)).items()
    }
    boxes = {
        chapter: sealed(
            course.root / "source" / chapter,
            intake=intake.name,
            secret=secret or intake.secret,
            variants=variants,
            people=people,
            points=chosen_points(course, intake, chapter),
            tables=tables_chosen(course, intake, chapter),
        )
        for chapter in chosen
    }
    building = Path(tempfile.mkdtemp(dir=course.root, prefix=".releasing-"))
    try:
        standing = [chapter for chapter in chosen if course.step("release", chapter=chapter).is_dir()]
        # What stands is compared with what would come, away from the gradebook.
        trial = f"sqlite:///{building / 'trial.db'}"
        changed = [
            chapter
            for chapter in standing
            if _contents(_made(course, chapter, boxes[chapter], building / "trial", trial))
            != _contents(course.step("release", chapter=chapter))
        ]
        if changed and not replace:
            raise HandedOutError(
                f"Another version has been released already of: {', '.join(changed)}.",
                "Whoever holds it keeps its pairs, and what they hand in is marked with those.",
                "Release again with --replace, where the new version is to be handed out from now on.",
            )
        with gradebook(course) as book:
            # A gradebook that was lost is made again from the same release.
            in_book = {assignment.name for assignment in book.assignments}
        wanted = [chapter for chapter in chosen if chapter in changed or chapter not in {*standing} & in_book]
        for chapter in tqdm(wanted, desc="Releasing", unit="chapter", disable=None):
            _made(course, chapter, boxes[chapter], building / "new")
        for chapter in wanted:
            if boxes[chapter]:
                keep_box(course, chapter, boxes[chapter])
            if boxes[chapter] and (course.root / "source" / chapter / BRIEFS).is_file():
                write_whole(course.root / "source" / chapter / SEALED, boxes[chapter])
            stands = course.step("release", chapter=chapter)
            if stands.exists():
                os.replace(stands, building / f"old-{chapter}")
            stands.parent.mkdir(exist_ok=True)
            os.replace(building / "new" / chapter, stands)
    finally:
        shutil.rmtree(building, ignore_errors=True)
    return [
        Released(
            chapter,
            course.root / "release" / chapter,
            (course.root / "source" / chapter / BRIEFS).is_file(),
            chapter in changed,
        )
        for chapter in chosen
    ]


def _made(course: Course, chapter: str, box: str, place: Path, book: str = "") -> Path:
    """A chapter as it would be released, made in another place."""
    settings = {"release_directory": str(place.relative_to(course.root))} | ({"db_url": book} if book else {})
    outcome = run_step(course, GenerateAssignment, chapter, **settings)
    folder = place / chapter
    if not outcome.success:
        raise OpticsError(
            f"The chapter {chapter} could not be released: {outcome.reason}",
            "Every answer cell needs its own name, and a chapter that has been marked keeps its cells.",
            "Mend the chapter in the source folder and release it again.",
        )
    stamp = Stamp(course.intake.name)
    if box:
        (folder / SEALED).write_text(box, "utf-8")
        stamp = stamp_of_box(box)
    for path in folder.glob("*.ipynb"):
        notebook = nbformat.read(path, as_version=4)
        set_stamp(notebook, stamp)
        if box:
            as_chosen(notebook, open_pairs(folder))
        led_on(notebook, course, chapter)
        nbformat.write(notebook, path)
    left = traces(course, chapter, folder)
    if left:
        raise OpticsError(
            f"The released chapter {chapter} still showed answers: {'; '.join(left[:3])}.",
            "Not one line of a solution or a hidden check may be left.",
            "Nothing was released. Put the answer between the markers in the source.",
        )
    return folder


def _contents(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def _parted(source: str) -> tuple[list[str], list[str]]:
    """Lines of a cell outside and inside the solution and hidden-check regions."""
    outside: list[str] = []
    inside: list[str] = []
    ending: str | None = None
    for line in source.splitlines():
        started = next((end for begin, end in REGIONS if begin in line), None)
        if started:
            ending = started
        elif ending and ending in line:
            ending = None
        else:
            (inside if ending else outside).append(line.strip())
    return outside, inside


def _texts(code: Sequence[str]) -> set[str]:
    """Text values in lines of code that are long enough to be told from prose."""
    found = set()
    for line in code:
        try:
            tree = ast.parse(line)
        except (SyntaxError, ValueError):
            continue
        found |= {
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and len(node.value) >= SHORTEST_ANSWER
        }
    return found


def _cells(path: Path) -> list[dict]:
    cells = json.loads(path.read_text("utf-8"))["cells"]
    for cell in cells:
        if isinstance(cell["source"], list):
            cell["source"] = "".join(cell["source"])
    return cells


def traces(course: Course, chapter: str, folder: Path | None = None) -> list[str]:
    """What the release of a chapter still gives away, each as a few words.

    A trace is a marker, an output, a line or text of the source that stood only
    in a solution or a hidden check, or a lens of a pair whose brief names it.
    The release is looked at where it stands, or in the folder given.
    """
    folder = folder or course.step("release", chapter=chapter)
    found = []
    on_the_bench = [
        line.distance
        for brief in briefs_in(course.root / "source" / chapter).values()
        if brief.lenses
        for line in parse_pair(brief.lenses)
        if len(line.distance) >= SHORTEST_ANSWER
    ]
    for source in sorted((course.root / "source" / chapter).glob("*.ipynb")):
        allowed: list[str] = []
        secret: list[str] = []
        for cell in _cells(source):
            outside, inside = _parted(cell["source"])
            whole = cell["metadata"].get("nbgrader", {}).get("solution", False) and not inside
            allowed += [] if whole else outside
            secret += outside if whole else inside
        hidden_lines = {line for line in secret if line} - set(allowed)
        allowed_text = "\n".join(allowed)
        hidden_texts = {text for text in _texts(secret) if text not in allowed_text}
        released = _cells(folder / source.name)
        for cell in released:
            lines = {line.strip() for line in cell["source"].splitlines()}
            where = f"cell {cell.get('id', '?')}"
            found += [f"{where} has the marker {marker}" for marker in MARKERS if marker in cell["source"]]
            found += [f"{where} has a line of the solution" for _ in lines & hidden_lines]
            found += [f"{where} has an answer's text" for text in hidden_texts if text in cell["source"]]
            found += [f"{where} names a lens of the bench" for lens in on_the_bench if lens in cell["source"]]
            if cell.get("outputs"):
                found.append(f"{where} has an output")
    if (folder / BRIEFS).exists():
        found.append("the briefs of the pairs lie beside it")
    return found
