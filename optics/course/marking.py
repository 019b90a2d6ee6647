"""Marking without a kernel: read the answers, run only the instructor's own cells.

`CheckAnswers` takes the place of nbgrader's `Execute`. It goes through the
notebook once. An answer cell is read (`optics.course.reading`); a locked cell is
run, and what is run is the instructor's text from the gradebook, never the text
in the submission. Everything else is left alone. The outputs are recorded as a
kernel would record them, so that nbgrader's marks, formgrader and feedback work
as usual.
"""

from __future__ import annotations

import ast
import builtins
import contextlib
import hashlib
import html
import io
import logging
import math
import os
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from numbers import Real
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock
from typing import Any

import nbformat
from nbformat.notebooknode import NotebookNode
from nbgrader.api import Gradebook
from nbgrader.converters import Autograde
from nbgrader.preprocessors import NbGraderPreprocessor
from tqdm import tqdm

from optics.course.folder import Course, write_whole
from optics.course.grader import configuration, gradebook, run_step
from optics.course.handed_out import box_for, person_in, stamp_of
from optics.course.opening import load_notebook
from optics.course.reading import read_answers
from optics.course.repair import MENDED, put_into_own_release
from optics.course.scheduler import on_scheduler
from optics.course.workers import LONGEST_S, in_processes
from optics.errors import OpticsError
from optics.instrument.trace import Trace, handed_in
from optics.specimens.sealed import SEALED, open_pairs

__all__ = ["Bench", "CheckAnswers", "Marked", "mark", "standing_in"]

LARGEST_NOTEBOOK = 50_000_000
_log = logging.getLogger("optics.course.marking")
Said = dict[str, tuple[list[NotebookNode], int | None]]
"""By the name of a cell what stands under it, and its number."""
FAULT = "CheckFault"
"""Name of the error recorded where a check itself fails: the instructor's to mend."""


class CheckAnswers(NbGraderPreprocessor):
    """Reads a submission's answers and runs the instructor's checks on them."""

    def preprocess(self, nb: NotebookNode, resources: dict) -> tuple[NotebookNode, dict]:
        """Record the outputs of the instructor's cells in the notebook."""
        names = resources["nbgrader"]
        folder = Path(resources["metadata"]["path"] or ".")
        course = None
        if self.parent is not None:
            course = Course(root=Path(self.parent.parent.coursedir.root))
        said = _said_elsewhere.get()
        if said is None:
            asked = Asked.of(names["db_url"], names["notebook"], names["assignment"])
            said = _said(nb, asked, folder, course, names["student"], names["assignment"])
        elif course is not None:
            _lay_pairs(nb, folder, course, names["assignment"])
        for cell in nb.cells:
            if cell.cell_type == "code":
                key = cell.metadata.get("nbgrader", {}).get("grade_id")
                cell.outputs, cell.execution_count = said.get(key, ([], None))
        return nb, resources


_said_elsewhere: ContextVar[Said | None] = ContextVar("said_elsewhere", default=None)
"""What a worker on another machine has found for the submission in hand, which is only written here."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The instructor's cells of a notebook, as the gradebook keeps them."""

    sources: dict[str, str]
    locked: set[str]
    answers: set[str]
    points: dict[str, float]

    @classmethod
    def of(cls, address: str, notebook: str, chapter: str) -> Asked:
        """Those of a chapter, from the gradebook at an address."""
        with Gradebook(address) as book:
            found = book.find_notebook(notebook, chapter)
            return cls(
                {cell.name: cell.source for cell in found.source_cells},
                {cell.name for cell in found.source_cells if cell.locked and cell.cell_type == "code"},
                {cell.name for cell in found.solution_cells},
                {cell.name: float(cell.max_score) for cell in found.grade_cells},
            )


def _lay_pairs(nb: NotebookNode, folder: Path, course: Course, chapter: str) -> bool:
    """Put the pairs that a submission was handed out with beside it; nbgrader puts the last release's there."""
    box = box_for(course, chapter, stamp_of(nb.metadata))
    if box is None:
        (folder / SEALED).unlink(missing_ok=True)
        return False
    write_whole(folder / SEALED, (box / SEALED).read_bytes())
    return True


def _said(
    nb: NotebookNode, asked: Asked, folder: Path, course: Course | None, student: str, chapter: str
) -> Said:
    """What stands under each cell of the chapter's own, by name, once its answers are read and its checks run."""
    who = ""
    chosen: dict[str, float] = {}
    moves: dict[str, Trace] = {}
    pictures: dict[str, NotebookNode] = {}
    if course is not None:
        if _lay_pairs(nb, folder, course, chapter):
            who, chosen = student, open_pairs(folder).points
        moves, pictures = _moves(course, student, chapter)
    said: Said = {}
    with standing_in(str(folder)):
        bench = Bench(who)
        for cell in nb.cells:
            key = cell.metadata.get("nbgrader", {}).get("grade_id") if cell.cell_type == "code" else None
            if key in asked.answers:
                said[key] = bench.read(cell.source, asked.sources[key]), None
            elif key in asked.locked:
                points = asked.points.get(key)
                with handed_in(moves.get(key)):
                    weight = chosen[key] / points if key in chosen and points else 1.0
                    outputs = bench.run(asked.sources[key], points, weight)
                said[key] = outputs + ([pictures[key]] if key in pictures else []), bench.count
    return said


def _moves(course: Course, learner: str, chapter: str) -> tuple[dict[str, Trace], dict[str, NotebookNode]]:
    """What was kept of the work at the bench: as evidence beside the answers, and to stand under its questions."""
    from optics.course.as_it_was_read import moves_kept, shown_again

    kept: dict[str, Trace] = {}
    try:
        kept = moves_kept(course, learner, chapter)
        return kept, shown_again(course, learner, chapter, kept)
    except Exception as reason:  # evidence to look at; whatever is wrong with it costs no mark
        _log.warning("The moves of %s, %s cannot be shown (%s).", learner, chapter, reason)
        return kept, {}


@contextlib.contextmanager
def standing_in(folder: str) -> Iterator[None]:
    """Stand in the submission's folder, where the checks find the sealed pairs.

    What else lies there came from the learner, so nothing is imported from it.
    """
    path = sys.path
    sys.path = [entry for entry in path if os.path.isabs(entry)]
    try:
        with contextlib.chdir(folder):
            yield
    finally:
        sys.path = path


class Bench:
    """One learner's answers, and the instructor's cells run on them in order.

    Parameters
    ----------
    student : str
        Who sent them, where the pair box beside them may know that person.
    """

    def __init__(self, student: str = "") -> None:
        self.student = student
        self.names: dict[str, Any] = {"__name__": "__main__", "__builtins__": builtins}
        self.answers: dict[str, object] = {}
        self.count = 0

    def read(self, source: str, untouched: str) -> list[NotebookNode]:
        """Read an answer cell; what it was released with stands for what cannot be read."""
        released = read_answers(untouched).values
        reading = read_answers(source, self.answers)
        self.answers |= reading.values
        # Only the names asked for, so that an answer cannot take a check's place.
        given = {name: reading.values.get(name, empty) for name, empty in released.items()}
        notes = list(reading.notes)
        if self.student and isinstance(typed := given.get("learner"), str):
            given["learner"], said = person_in(open_pairs("."), self.student, typed)
            notes += [said] if said else []
        self.names |= given
        notes += [
            f'There is no answer named "{name}" in this cell any more.'
            for name in released
            if name not in reading.values and not notes
        ]
        return [_note(note) for note in notes]

    def run(self, source: str, points: float | None, weight: float = 1.0) -> list[NotebookNode]:
        """Run one of the instructor's cells and give its outputs as a kernel would.

        Its mark is in the points it is written with; its words tell it times the weight.
        """
        from optics import checks

        self.count += 1
        outputs: list[NotebookNode] = []
        printed = io.StringIO()
        shown: list[dict] = []
        try:
            with (
                checks.collecting(weight) as shown,
                warnings.catch_warnings(),
                contextlib.redirect_stdout(printed),
                # nbgrader gives no mark for a cell that warns; a warning is not the learner's doing.
                contextlib.redirect_stderr(io.StringIO()),
            ):
                warnings.simplefilter("ignore")
                value = _last_value(source, self.names, graded=points is not None)
            result = _result(value, points, self.count)
        except (Exception, SystemExit) as fault:
            result = _fault(fault)
        if printed.getvalue():
            outputs.append(_output("stream", name="stdout", text=printed.getvalue()))
        outputs += [_output("display_data", data=bundle) for bundle in shown]
        return outputs + ([result] if result is not None else [])


def _last_value(source: str, names: dict[str, Any], graded: bool) -> object:
    """Run an instructor's cell and give the value of its last line, as a notebook would."""
    tree = ast.parse(source)
    if not graded:
        # Set-up, or a check without marks. What would only be shown, such as the
        # bench, nobody sees here.
        tree.body = [line for line in tree.body if not isinstance(line, ast.Expr) or _is_check(line)]
    last = tree.body[-1] if tree.body else None
    if isinstance(last, ast.Expr):
        tree.body.pop()
    exec(compile(tree, "<check>", "exec"), names)
    if not isinstance(last, ast.Expr):
        return None
    return eval(compile(ast.Expression(last.value), "<check>", "eval"), names)


def _is_check(line: ast.Expr) -> bool:
    match line.value:
        case ast.Call(func=ast.Attribute(value=ast.Name(id="check"))):
            return True
    return False


def _result(value: object, points: float | None, count: int) -> NotebookNode | None:
    """The mark as an output that nbgrader reads as just that mark."""
    if points is None and isinstance(value, Real):
        # Practice has no mark, and a nought beside its reply would look like one.
        return None
    if points is not None and value is not None:
        value = _mark(value, points)
    if value is None:
        return None
    return _output("execute_result", data={"text/plain": repr(value)}, execution_count=count)


def _mark(value: object, points: float) -> float:
    # nbgrader gives full marks for True, NaN, a negative, or a text, and fails the
    # whole submission for one mark too many.
    if not isinstance(value, Real) or not math.isfinite(value):
        raise TypeError(f"it ended on {value!r}, which is not a mark")
    return float(min(max(float(value), 0.0), points))


def _output(kind: str, **content: Any) -> NotebookNode:
    if kind in {"display_data", "execute_result"}:
        content["metadata"] = {}
    return nbformat.from_dict({"output_type": kind, **content})


def _note(text: str) -> NotebookNode:
    bundle = {"text/html": f"<p>{html.escape(text)}</p>", "text/plain": text}
    return _output("display_data", data=bundle)


def _fault(fault: BaseException) -> NotebookNode:
    said = " ".join(str(fault).split()) or type(fault).__name__
    sentence = f"This check could not be carried out ({said[:300]}). Your instructor is told."
    return _output("error", ename=FAULT, evalue=sentence, traceback=[sentence])


# --- marking a class ------------------------------------------------------------------


@dataclass(slots=True)
class Marked:
    """How marking went for one learner's chapter.

    Parameters
    ----------
    learner, chapter : str
        Whose, and which.
    marked : bool
        Whether there are marks in the gradebook.
    notes : list of str
        What was mended, could not be read, or went wrong.
    """

    learner: str
    chapter: str
    marked: bool
    notes: list[str]

    def __str__(self) -> str:
        state = "marked" if self.marked else "not marked"
        return " ".join([f"{self.learner}, {self.chapter}: {state}.", *self.notes])


def mark(
    course: Course,
    chapters: Sequence[str] = (),
    learners: Sequence[str] = (),
    again: bool = False,
    processes: int = 0,
    longest_s: float = LONGEST_S,
    scheduler: str = "",
) -> list[Marked]:
    """Mark what has been gathered.

    Parameters
    ----------
    course : Course
        The course.
    chapters, learners : sequence of str
        Which; all where none is given.
    again : bool
        Also what has been marked already and has not changed since. Marks given
        by hand are kept, and asked to be looked at again.
    processes : int
        How many processes mark at once, each submission within a bound of time and
        memory; with 0 this one does it all, without a bound.
    longest_s : float
        Seconds that a submission may take in a process of its own.
    scheduler : str
        Address of a scheduler of `dask.distributed`: its workers mark, on whichever machines,
        and this process alone writes. They must see the course's folder under the same path.

    Returns
    -------
    list of Marked
        One for each submission looked at. A submission that cannot be marked
        never stops the others. Interrupted, it goes on where it stopped.
    """
    waiting = []
    done: list[Marked] = []
    for chapter in course.chosen(chapters, "release"):
        in_book = _in_gradebook(course, chapter)
        for learner in course.learners("submitted", chapter):
            if learners and learner not in learners:
                continue
            if in_book is None:
                done.append(Marked(learner, chapter, False, [LOST_GRADEBOOK]))
            elif again or learner not in in_book or _is_new(course, learner, chapter):
                waiting.append((course, learner, chapter))
    bar = tqdm(total=len(waiting), desc="Marking", unit="submission", disable=None)
    with bar:
        if scheduler:
            asked = {chapter: _asked_in(course, chapter) for chapter in {job[2] for job in waiting}}
            jobs = [(*job, asked[job[2]]) for job in waiting]
            for number, fine, said in on_scheduler(_answered, jobs, scheduler, longest_s, course.root):
                _, learner, chapter = waiting[number]
                done.append(
                    _mark_one(*waiting[number], said) if fine else Marked(learner, chapter, False, [said])
                )
                bar.update()
        elif not processes:
            for job in waiting:
                done.append(_mark_one(*job))
                bar.update()
            return done
        else:
            for number, fine, said in in_processes(_mark_one, waiting, processes, longest_s):
                _, learner, chapter = waiting[number]
                done.append(said if fine else Marked(learner, chapter, False, [said]))
                bar.update()
    return sorted(done, key=lambda each: (each.chapter, each.learner))


LOST_GRADEBOOK = (
    "The gradebook does not know this chapter; it may have been lost. Put back your copy of gradebook.db, "
    "or release the chapter again, which makes a new one without the marks given by hand."
)
PROOF = ".marked"
"""Written beside a marked notebook when everything is in the gradebook, so that a broken run goes on there."""


def _in_gradebook(course: Course, chapter: str) -> set[str] | None:
    """Who has marks for a chapter in the gradebook; none where it does not know the chapter."""
    with gradebook(course) as book:
        if chapter not in {assignment.name for assignment in book.assignments}:
            return None
        return {submission.student.id for submission in book.assignment_submissions(chapter)}


def _proof(course: Course, learner: str, chapter: str) -> str:
    return hashlib.sha256(course.notebook("submitted", chapter, learner).read_bytes()).hexdigest()


def _is_new(course: Course, learner: str, chapter: str) -> bool:
    if not course.notebook("submitted", chapter, learner).is_file():
        return True
    proof = course.step("autograded", learner, chapter) / PROOF
    return not proof.is_file() or proof.read_text("utf-8") != _proof(course, learner, chapter)


def _opened(course: Course, learner: str, chapter: str) -> NotebookNode | str:
    """The notebook of a submission, or why it cannot be marked."""
    path = course.notebook("submitted", chapter, learner)
    if not path.is_file():
        return "There is no notebook in the submission."
    if path.stat().st_size > LARGEST_NOTEBOOK:
        return "Its notebook is far larger than answers can be."
    try:
        notebook, _ = load_notebook(path.read_bytes())
        box_for(course, chapter, stamp_of(notebook.metadata))
    except OpticsError as reason:
        return str(reason)
    return notebook


def _asked_in(course: Course, chapter: str) -> Asked:
    return Asked.of(str(configuration(course).CourseDirectory.db_url), chapter, chapter)


_one_at_a_time = Lock()


def _answered(course: Course, learner: str, chapter: str, asked: Asked) -> Said | None:
    """What is found for a submission, without a gradebook; none where it will be refused."""
    submitted = _opened(course, learner, chapter)
    if isinstance(submitted, str):
        return None
    restored = put_into_own_release(course, chapter, chapter, submitted).notebook
    # Checks stand in the submission's folder, and a worker may have more than one thread.
    with _one_at_a_time, TemporaryDirectory() as folder:
        return _said(restored, asked, Path(folder), course, learner, chapter)


def _mark_one(course: Course, learner: str, chapter: str, said: Said | None = None) -> Marked:
    opened = _opened(course, learner, chapter)
    if isinstance(opened, str):
        return Marked(learner, chapter, False, [opened])
    proof = _proof(course, learner, chapter)
    token = _said_elsewhere.set(said)
    try:
        outcome = run_step(course, Autograde, chapter, learner)
    finally:
        _said_elsewhere.reset(token)
    if not outcome.success:
        return Marked(learner, chapter, False, [outcome.reason])
    write_whole(course.step("autograded", learner, chapter) / PROOF, proof)
    from optics.course.looking_closer import whose_pair_it_fits

    notes = _notes(course.notebook("autograded", chapter, learner))
    return Marked(learner, chapter, True, notes + whose_pair_it_fits(course, learner, chapter))


def _notes(path: Path) -> list[str]:
    """What marking had to say, from the notebook it wrote."""
    notes: list[str] = []
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.id == MENDED:
            notes += [line[2:] for line in cell.source.splitlines() if line.startswith("- ")]
        name = cell.metadata.get("nbgrader", {}).get("grade_id", "")
        for output in cell.get("outputs", ()):
            if output.output_type == "error":
                notes.append(f"{name}: {output.evalue}")
            elif name and cell.metadata.nbgrader.get("solution") and output.output_type == "display_data":
                notes.append(f"{name}: {output.data['text/plain']}")
    return notes
