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
from dataclasses import dataclass
from numbers import Real
from pathlib import Path
from typing import Any

import nbformat
from nbformat.notebooknode import NotebookNode
from nbgrader.api import Gradebook
from nbgrader.converters import Autograde
from nbgrader.preprocessors import NbGraderPreprocessor
from tqdm import tqdm

from optics.course.folder import Course, write_whole
from optics.course.grader import gradebook, run_step
from optics.course.handed_out import box_for, person_in, stamp_of
from optics.course.opening import load_notebook
from optics.course.reading import read_answers
from optics.course.repair import MENDED
from optics.course.workers import LONGEST_S, in_processes
from optics.errors import OpticsError
from optics.instrument.trace import Trace, handed_in
from optics.specimens.sealed import SEALED, open_pairs

__all__ = ["Bench", "CheckAnswers", "Marked", "mark", "standing_in"]

LARGEST_NOTEBOOK = 50_000_000
_log = logging.getLogger("optics.course.marking")
FAULT = "CheckFault"
"""Name of the error recorded where a check itself fails: the instructor's to mend."""


class CheckAnswers(NbGraderPreprocessor):
    """Reads a submission's answers and runs the instructor's checks on them."""

    def preprocess(self, nb: NotebookNode, resources: dict) -> tuple[NotebookNode, dict]:
        """Record the outputs of the instructor's cells in the notebook."""
        names = resources["nbgrader"]
        with Gradebook(names["db_url"]) as book:
            notebook = book.find_notebook(names["notebook"], names["assignment"])
            sources = {cell.name: cell.source for cell in notebook.source_cells}
            locked = {cell.name for cell in notebook.source_cells if cell.locked and cell.cell_type == "code"}
            answers = {cell.name for cell in notebook.solution_cells}
            points = {cell.name: float(cell.max_score) for cell in notebook.grade_cells}
        folder = Path(resources["metadata"]["path"] or ".")
        who = ""
        chosen: dict[str, float] = {}
        moves: dict[str, Trace] = {}
        pictures: dict[str, NotebookNode] = {}
        if self.parent is not None:
            # nbgrader has put the pairs of the last release there; a submission has its own.
            course = Course(root=Path(self.parent.parent.coursedir.root))
            box = box_for(course, names["assignment"], stamp_of(nb.metadata))
            if box is None:
                (folder / SEALED).unlink(missing_ok=True)
            else:
                write_whole(folder / SEALED, (box / SEALED).read_bytes())
                who, chosen = names["student"], open_pairs(folder).points
            moves, pictures = _moves(course, names["student"], names["assignment"])
        with standing_in(str(folder)):
            bench = Bench(who)
            for cell in nb.cells:
                if cell.cell_type != "code":
                    continue
                cell.outputs, cell.execution_count = [], None
                key = cell.metadata.get("nbgrader", {}).get("grade_id")
                if key in answers:
                    cell.outputs = bench.read(cell.source, sources[key])
                elif key in locked:
                    with handed_in(moves.get(key)):
                        weight = chosen[key] / points[key] if key in chosen and points.get(key) else 1.0
                        cell.outputs = bench.run(sources[key], points.get(key), weight)
                    cell.outputs += [pictures[key]] if key in pictures else []
                    cell.execution_count = bench.count
        return nb, resources


def _moves(course: Course, learner: str, chapter: str) -> tuple[dict[str, Trace], dict[str, NotebookNode]]:
    """What was kept of the work at the bench: as evidence beside the answers, and to stand under its questions."""
    from optics.course.as_it_was_read import moves_kept, shown_again

    kept: dict[str, Trace] = {}
    try:
        kept = moves_kept(course, learner, chapter)
        return kept, shown_again(course, learner, chapter)
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
        if not processes:
            for job in waiting:
                done.append(_mark_one(*job))
                bar.update()
            return done
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


def _mark_one(course: Course, learner: str, chapter: str) -> Marked:
    path = course.notebook("submitted", chapter, learner)
    if not path.is_file():
        return Marked(learner, chapter, False, ["There is no notebook in the submission."])
    if path.stat().st_size > LARGEST_NOTEBOOK:
        return Marked(learner, chapter, False, ["Its notebook is far larger than answers can be."])
    try:
        notebook, _ = load_notebook(path.read_bytes())
        box_for(course, chapter, stamp_of(notebook.metadata))
    except OpticsError as reason:
        return Marked(learner, chapter, False, [str(reason)])
    proof = _proof(course, learner, chapter)
    outcome = run_step(course, Autograde, chapter, learner)
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
