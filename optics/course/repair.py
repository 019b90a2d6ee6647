"""Putting a learner's answers into the released notebook.

Submissions come back copied, cut, renamed, re-saved by other programs, and now
and then tampered with. Rather than mend each of these, the released notebook is
taken again and the learner's answers are put into it: check cells, points,
flags and names are then right by construction. The learner's own extra cells
stay in as notes, and a sentence tells of everything that was not as released.
"""

from __future__ import annotations

import copy
import uuid
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import nbformat
from nbformat.notebooknode import NotebookNode
from nbgrader.preprocessors import NbGraderPreprocessor

from optics.course.choices import as_chosen
from optics.course.folder import Course
from optics.course.handed_out import STAMP, box_for, set_stamp, stamp_of
from optics.course.opening import load_notebook
from optics.course.reading import LONGEST_CELL, assigned_names
from optics.specimens.sealed import PairBox, open_pairs

MOST_NOTES = 100
"""Own cells of a learner that are kept."""
OWN = "learners-own"
"""Tag of a cell that the learner added."""
MENDED = "mended-before-marking"
"""Identifier of the cell that tells what was mended."""


@dataclass(slots=True)
class Restored:
    """The released notebook with a learner's answers in it.

    Parameters
    ----------
    notebook : NotebookNode
        Ready for marking.
    notes : list of str
        A sentence for everything that was not as released.
    """

    notebook: NotebookNode
    notes: list[str] = field(default_factory=list)


def _key(cell: NotebookNode) -> dict:
    key = cell.metadata.get("nbgrader", {})
    return key if isinstance(key, dict) else {}


def _name(cell: NotebookNode) -> str:
    """The name a cell was released under, "" for prose."""
    return str(_key(cell).get("grade_id", "") or "")


def _is_answer(cell: NotebookNode) -> bool:
    return bool(_key(cell).get("solution", False))


def _same(a: str, b: str) -> bool:
    return a.split() == b.split()


class _Submission:
    """The submitted cells, each with the released cell it stands for, if any."""

    def __init__(self, released: NotebookNode, submitted: NotebookNode) -> None:
        self.cells = submitted.cells
        named = {_name(cell): place for place, cell in enumerate(released.cells) if _name(cell)}
        by_id = {cell.id: place for place, cell in enumerate(released.cells) if "id" in cell}
        # Where another program took away names and identifiers, the text tells; but
        # the same words may stand in two places.
        texts = [" ".join(cell.source.split()) for cell in released.cells]
        by_text = {text: place for place, text in enumerate(texts) if texts.count(text) == 1}
        self.place: list[int | None] = []
        for cell in self.cells:
            found = named.get(_name(cell))
            if found is None:
                found = by_id.get(cell.get("id"))
            if found is None:
                found = by_text.get(" ".join(cell.source.split()))
            self.place.append(found)

    def standing_for(self, place: int) -> list[int]:
        return [index for index, found in enumerate(self.place) if found == place]


def _chosen_copy(answer: NotebookNode, copies: list[NotebookNode], notes: list[str]) -> NotebookNode:
    """The one of several copies of an answer cell that is marked."""
    original = next((cell for cell in copies if cell.get("id") == answer.get("id")), copies[0])
    if len(copies) == 1:
        return original
    others = [
        c for c in copies if not _same(c.source, answer.source) and not _same(c.source, original.source)
    ]
    if _same(original.source, answer.source) and len({" ".join(c.source.split()) for c in others}) == 1:
        notes.append(
            f"The answer cell {_name(answer)} is there {len(copies)} times; "
            "the original was left empty, so the copy was marked."
        )
        return others[0]
    notes.append(f"The answer cell {_name(answer)} is there {len(copies)} times; the original was marked.")
    return original


def _found_elsewhere(answer: NotebookNode, submission: _Submission) -> NotebookNode | None:
    """A cell, not known otherwise, that gives values to the names asked for here."""
    wanted = set(assigned_names(answer.source))
    fits = [
        cell
        for cell, place in zip(submission.cells, submission.place, strict=True)
        if place is None
        and cell.cell_type == "code"
        and wanted
        and wanted <= set(assigned_names(cell.source))
    ]
    return fits[0] if len(fits) == 1 else None


def put_into_release(released: NotebookNode, submitted: NotebookNode) -> Restored:
    """Put a learner's answers into the released notebook.

    Parameters
    ----------
    released : NotebookNode
        The chapter's notebook as it was handed out.
    submitted : NotebookNode
        What came back, from `load_notebook`.

    Returns
    -------
    Restored
        The released notebook with the answers, the learner's own cells as notes
        between, and sentences about the rest.
    """
    submission = _Submission(released, submitted)
    result = Restored(copy.deepcopy(released))
    used: set[int] = set()
    for place, cell in enumerate(result.notebook.cells):
        standing = submission.standing_for(place)
        used.update(standing)
        copies = [submission.cells[index] for index in standing]
        if _is_answer(cell):
            _answer(cell, copies, submission, result.notes)
        elif _key(cell).get("grade", False):
            _check(cell, copies, result.notes)
    _keep_notes(result, submission)
    return result


def _answer(
    cell: NotebookNode, copies: list[NotebookNode], submission: _Submission, notes: list[str]
) -> None:
    if copies:
        taken = _chosen_copy(cell, copies, notes)
    else:
        found = _found_elsewhere(cell, submission)
        if found is None:
            notes.append(f"The answer cell {_name(cell)} was deleted; it counts as not answered.")
            return
        notes.append(f"The answer cell {_name(cell)} was deleted; its answer was found in another cell.")
        taken = found
    key = _key(taken)
    if key and any(
        bool(key.get(flag, False)) != bool(_key(cell).get(flag, False))
        for flag in ("grade", "solution", "locked")
    ):
        notes.append(f"The flags of the answer cell {_name(cell)} had been altered and were put right.")
    cell.source = taken.source
    if taken.get("attachments"):
        cell.attachments = taken.attachments


def _check(cell: NotebookNode, copies: list[NotebookNode], notes: list[str]) -> None:
    name = _name(cell)
    if not copies:
        notes.append(f"The check cell {name} was deleted and has been put back.")
        return
    if len(copies) > 1:
        notes.append(f"The check cell {name} is there {len(copies)} times; one is enough.")
    if not any(_same(found.source, cell.source) for found in copies):
        notes.append(f"The check cell {name} had been edited; the instructor's own was used.")
    points = _key(copies[0]).get("points", _key(cell).get("points"))
    if points != _key(cell).get("points"):
        notes.append(f"The points of the check cell {name} had been altered and were put right.")


def _keep_notes(result: Restored, submission: _Submission) -> None:
    """Keep the learner's own cells after the released cell they followed."""
    following: dict[int, list[NotebookNode]] = defaultdict(list)
    last, kept, left_out = -1, 0, 0
    taken = {" ".join(cell.source.split()) for cell in result.notebook.cells}
    for cell, place in zip(submission.cells, submission.place, strict=True):
        text = " ".join(cell.source.split())
        if place is not None:
            last = place
        if not text or text in taken or (place is not None and not _is_answer(result.notebook.cells[place])):
            continue
        if kept >= MOST_NOTES or len(cell.source) > LONGEST_CELL:
            left_out += 1
            continue
        note = copy.deepcopy(cell)
        note.metadata = NotebookNode(tags=[OWN])
        note.id = uuid.uuid4().hex[:8]
        following[last].append(note)
        kept += 1
    if left_out:
        result.notes.append(f"{left_out} of the learner's own cells, very long or very many, were left out.")
    cells = list(following[-1])
    for place, cell in enumerate(result.notebook.cells):
        cells += [cell, *following[place]]
    result.notebook.cells = cells


def put_into_own_release(course: Course, chapter: str, name: str, submitted: NotebookNode) -> Restored:
    """Put a learner's answers into the release as it was handed out to them, from the course's folder."""
    released = nbformat.read(course.step("release", chapter=chapter) / f"{name}.ipynb", as_version=4)
    stamp = stamp_of(submitted.metadata)
    box = box_for(course, chapter, stamp)
    # The release that stands may be of an intake with other points, though this one chose none.
    as_chosen(
        released, open_pairs(box) if box is not None else PairBox(intake=stamp.intake, briefs={}, seeds={})
    )
    restored = put_into_release(released, submitted)
    # Its own stamp or none: the release's may be another intake's.
    restored.notebook.metadata.pop(STAMP, None)
    set_stamp(restored.notebook, stamp)
    return restored


def mended_cell(notes: list[str]) -> NotebookNode:
    """A cell, for the top of the notebook, that tells what was mended."""
    lines = "\n".join(f"- {note}" for note in notes)
    cell = nbformat.v4.new_markdown_cell(f"**Put right before marking**\n\n{lines}")
    cell.id = MENDED
    return cell


class PutIntoRelease(NbGraderPreprocessor):
    """nbgrader's first step with a submission: its answers, in the released notebook."""

    def preprocess(self, nb: NotebookNode, resources: dict) -> tuple[NotebookNode, dict]:
        """Take the released notebook and put the submission's answers into it."""
        names = resources["nbgrader"]
        # Through the file's form once, so that a submission put here by another
        # way than our own gathering is just as plain.
        submitted, notes = load_notebook(nbformat.writes(nb).encode("utf-8", "replace"))
        # The exporter's parent is nbgrader's converter, which knows the folders.
        course = Course(root=Path(self.parent.parent.coursedir.root))
        restored = put_into_own_release(course, names["assignment"], names["notebook"], submitted)
        notes += restored.notes
        if notes:
            restored.notebook.cells.insert(0, mended_cell(notes))
        return restored.notebook, resources
