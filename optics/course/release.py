"""Releasing chapters: seal the pairs, take out the answers, and look that none is left."""

from __future__ import annotations

import ast
import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from nbformat.notebooknode import NotebookNode
from nbgrader.converters import GenerateAssignment
from nbgrader.preprocessors import NbGraderPreprocessor
from nbgrader.utils import is_solution
from tqdm import tqdm

from optics.course.folder import Course
from optics.course.grader import run_step
from optics.errors import OpticsError
from optics.lens.parsing import parse_pair
from optics.specimens.sealed import VARIANTS, briefs_in, seal

__all__ = ["LockProse", "Released", "release", "traces"]

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

    def __str__(self) -> str:
        pairs = ", with its unknown pairs sealed" if self.sealed else ""
        return f"{self.chapter} is ready to hand out{pairs}."


def release(
    course: Course, chapters: Sequence[str] = (), variants: int = VARIANTS, secret: str | None = None
) -> list[Released]:
    """Make the copies that learners get, in the course's release folder.

    Parameters
    ----------
    course : Course
        The course; it needs an intake.
    chapters : sequence of str
        Names or numbers; all of them where none is given.
    variants : int
        How many different pairs share one letter.
    secret : str, optional
        Instead of the intake's own.

    Raises
    ------
    OpticsError
        Where a chapter cannot be released, or one trace of an answer is left in
        it; that chapter's release is taken away again.
    """
    intake = course.intake
    done = []
    for chapter in tqdm(course.chosen(chapters), desc="Releasing", unit="chapter", disable=None):
        sealed = seal(
            course.root / "source" / chapter,
            intake=intake.name,
            secret=secret or intake.secret,
            variants=variants,
        )
        outcome = run_step(course, GenerateAssignment, chapter)
        folder = course.root / "release" / chapter
        if not outcome.success:
            raise OpticsError(
                f"The chapter {chapter} could not be released: {outcome.reason}",
                "Every answer cell needs its own name, and a chapter that has been marked keeps its cells.",
                "Mend the chapter in the source folder and release it again.",
            )
        left = traces(course, chapter)
        if left:
            shutil.rmtree(folder, ignore_errors=True)
            raise OpticsError(
                f"The released chapter {chapter} still showed answers: {'; '.join(left[:3])}.",
                "Not one line of a solution or a hidden check may be left.",
                "Its release has been taken away. Put the answer between the markers in the source.",
            )
        done.append(Released(chapter, folder, sealed is not None))
    return done


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


def traces(course: Course, chapter: str) -> list[str]:
    """What the release of a chapter still gives away, each as a few words.

    A trace is a marker, an output, a line or text of the source that stood only
    in a solution or a hidden check, or a lens of a pair whose brief names it.
    """
    found = []
    on_the_bench = [
        line.distance
        for brief in briefs_in(course.root / "source" / chapter).values()
        if brief.lenses
        for line in parse_pair(brief.lenses)
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
        released = _cells(course.root / "release" / chapter / source.name)
        for cell in released:
            lines = {line.strip() for line in cell["source"].splitlines()}
            where = f"cell {cell.get('id', '?')}"
            found += [f"{where} has the marker {marker}" for marker in MARKERS if marker in cell["source"]]
            found += [f"{where} has a line of the solution" for _ in lines & hidden_lines]
            found += [f"{where} has an answer's text" for text in hidden_texts if text in cell["source"]]
            found += [f"{where} names a lens of the bench" for lens in on_the_bench if lens in cell["source"]]
            if cell.get("outputs"):
                found.append(f"{where} has an output")
    if (course.root / "release" / chapter / "pairs.json").exists():
        found.append("the briefs of the pairs lie beside it")
    return found
