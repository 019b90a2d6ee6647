"""An invented class, to try the whole course with before a real one comes.

Every apprentice reads the pairs at the simulated instrument, with or without a
wrong habit, and hands in the way a learning platform would give it to an
instructor. What each was made to do, and the marks that ought to come of it, is
kept in a truth file, which comes from the habits and not from the marking.
"""

from __future__ import annotations

import copy
import json
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nbformat
import numpy as np
from nbformat.notebooknode import NotebookNode
from tqdm import tqdm

from optics.apprentices.apprentice import Apprentice, expected_mark
from optics.apprentices.bench_work import LEARNT
from optics.course.folder import Course, write_table, write_whole
from optics.course.opening import to_text
from optics.course.reading import assigned_names, read_answers
from optics.errors import OpticsError
from optics.project_files import data_rows, project_folder

LARGEST_CLASS = 500
CAREFUL_SHARE, BLANK_SHARE, SECOND_HABIT_SHARE = 0.3, 0.15, 0.3
LEFT_OUT = 0.4
"""Share of the questions that somebody who leaves answers out does not answer."""
DAMAGED_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class MadeClass:
    """Where an invented class lies.

    Parameters
    ----------
    folder : Path
        Holds everything below.
    handed_in : Path
        The zip, as a learning platform gives it.
    class_list : Path
        CSV with id and name.
    truth : list of dict
        For each learner and chapter what was done and what it ought to earn; the
        same as `truth.json`.
    """

    folder: Path
    handed_in: Path
    class_list: Path
    truth: list[dict[str, Any]]

    def __str__(self) -> str:
        learners = len({entry["learner"] for entry in self.truth})
        return (
            f"{learners} invented apprentices handed in {len(self.truth)} notebooks. They lie in {self.folder}: "
            f"{self.handed_in.name} to be gathered, {self.class_list.name}, and truth.json and truth.csv."
        )


# --- what may happen to a notebook on its way, none of which may change a mark -----------


def _answer_cells(notebook: NotebookNode) -> list[NotebookNode]:
    return [cell for cell in notebook.cells if cell.metadata.get("nbgrader", {}).get("solution")]


def _check_cells(notebook: NotebookNode) -> list[NotebookNode]:
    return [
        cell
        for cell in notebook.cells
        if cell.metadata.get("nbgrader", {}).get("grade") and not cell.metadata.nbgrader.get("solution")
    ]


def _copy_answer(notebook: NotebookNode) -> None:
    cell = _answer_cells(notebook)[-1]
    twin = copy.deepcopy(cell)
    twin.id = f"{cell.id}-again"[:64]
    notebook.cells.insert(notebook.cells.index(cell) + 1, twin)


def _delete_check(notebook: NotebookNode) -> None:
    notebook.cells.remove(_check_cells(notebook)[0])


def _edit_check(notebook: NotebookNode) -> None:
    _check_cells(notebook)[0].source = "100.0"


def _raise_points(notebook: NotebookNode) -> None:
    for cell in _check_cells(notebook):
        cell.metadata.nbgrader.points = 100


def _lose_keys(notebook: NotebookNode) -> None:
    for cell in notebook.cells:
        cell.metadata.pop("nbgrader", None)


def _own_cell(notebook: NotebookNode) -> None:
    notebook.cells.append(nbformat.v4.new_code_cell("2.50 - 1.50"))


def _huge_output(notebook: NotebookNode) -> None:
    output = nbformat.v4.new_output("stream", name="stdout", text="sphere lines sharp\n" * 20_000)
    _answer_cells(notebook)[0].outputs = [output]


DAMAGES: dict[str, Callable[[NotebookNode], None]] = {
    "an answer cell copied": _copy_answer,
    "a check cell deleted": _delete_check,
    "a check cell edited": _edit_check,
    "the points raised": _raise_points,
    "nbgrader's keys lost": _lose_keys,
    "a cell of their own": _own_cell,
    "a huge output": _huge_output,
    "the file renamed": lambda notebook: None,
}


# --- the class ---------------------------------------------------------------------------


def fill_in(released: NotebookNode, answers: dict[str, Any]) -> NotebookNode:
    """Type answers into a released notebook, where a learner would.

    Parameters
    ----------
    released : NotebookNode
        As handed out.
    answers : dict of str to value
        By name.
    """
    notebook = copy.deepcopy(released)
    for cell in _answer_cells(notebook):
        if cell.cell_type != "code":
            continue
        names = assigned_names(cell.source)
        if not set(names) & answers.keys():
            continue
        # What they leave alone stays as it was handed out.
        typed = read_answers(cell.source).values | answers
        cell.source = "\n".join(f"{name} = {typed[name]!r}" for name in names)
    return notebook


def _people(count: int, rng: np.random.Generator) -> list[tuple[str, str]]:
    rows = data_rows(project_folder("datasets") / "people" / "invented_names.csv")
    given, family = [row["given"] for row in rows], [row["family"] for row in rows]
    pairs = [(g, f) for g in given for f in family]
    return [pairs[place] for place in rng.permutation(len(pairs))[:count]]


def _habits(rng: np.random.Generator) -> tuple[str, ...]:
    if rng.random() < CAREFUL_SHARE:
        return ()
    many = 2 if rng.random() < SECOND_HABIT_SHARE else 1
    return tuple(str(name) for name in rng.permutation(LEARNT)[:many])


def make_class(
    course: Course, count: int, folder: Path, seed: int = 0, chapters: Sequence[str] = ()
) -> MadeClass:
    """Make a class of invented apprentices and let it hand in.

    Parameters
    ----------
    course : Course
        The course; its chapters must have been released.
    count : int
        How many apprentices.
    folder : Path
        A new folder for what they hand in and for the truth.
    seed : int
        Another seed gives another class.
    chapters : sequence of str
        Which; all released ones where none is given.
    """
    if not 1 <= count <= LARGEST_CLASS:
        raise OpticsError(
            f"A class of {count} was asked for.",
            f"It has 1 to {LARGEST_CLASS} apprentices.",
            "Try 12.",
        )
    chosen = course.chosen(chapters, "release")
    if not chosen:
        raise OpticsError(
            f"The course in {course.root} has released no chapter yet.",
            "Apprentices fill in what was handed out.",
            "Release the chapters first: `python -m optics release`.",
        )
    if folder.exists():
        raise OpticsError(
            f"The folder {folder} is already there.", "A class needs a new one.", "Name another."
        )
    folder.mkdir(parents=True)
    rng = np.random.default_rng(seed)
    people = _people(count, rng)
    truth: list[dict[str, Any]] = []
    handed_in, class_list = folder / "handed-in.zip", folder / "class-list.csv"
    with zipfile.ZipFile(handed_in, "x", zipfile.ZIP_DEFLATED) as archive:
        for number, (given, family) in enumerate(
            tqdm(people, desc="Working", unit="apprentice", disable=None)
        ):
            identifier = f"t{number + 101}"
            apprentice = Apprentice(
                name=f"{given} {family}",
                habits=_habits(rng),
                seed=int(rng.integers(2**31)),
                leaves_blank=LEFT_OUT if rng.random() < BLANK_SHARE else 0.0,
            )
            for chapter in chosen:
                damage = str(rng.choice(list(DAMAGES))) if rng.random() < DAMAGED_SHARE else ""
                truth.append(_hand_in(course, apprentice, identifier, chapter, damage, archive))
    listed = [(f"t{number + 101}", f"{given} {family}") for number, (given, family) in enumerate(people)]
    write_table(class_list, ("id", "name"), listed)
    write_whole(folder / "truth.json", json.dumps(truth, indent=1, ensure_ascii=False) + "\n")
    _write_truth_table(folder / "truth.csv", truth)
    return MadeClass(folder, handed_in, class_list, truth)


def _hand_in(
    course: Course,
    apprentice: Apprentice,
    identifier: str,
    chapter: str,
    damage: str,
    archive: zipfile.ZipFile,
) -> dict[str, Any]:
    """Let one apprentice do one chapter and put it into the zip."""
    answers, record = apprentice.answers(
        course.notebook("source", chapter), course.root / "release" / chapter
    )
    notebook = fill_in(nbformat.read(course.notebook("release", chapter), as_version=4), answers)
    if damage:
        DAMAGES[damage](notebook)
    given, _, family = apprentice.name.partition(" ")
    file = "my answers (1).ipynb" if damage == "the file renamed" else f"{chapter}.ipynb"
    archive.writestr(
        f"{family} {given}_{identifier[1:]}77_assignsubmission_file_/{chapter}/{file}", to_text(notebook)
    )
    return {
        "learner": identifier,
        "name": apprentice.name,
        "chapter": chapter,
        "habits": list(apprentice.habits),
        "damage": damage,
        "questions": record,
    }


def _write_truth_table(path: Path, truth: Sequence[dict[str, Any]]) -> None:
    heads = ("id", "name", "chapter", "question", "made to", "answer", "expected mark", "out of", "damage")
    rows = []
    for entry in truth:
        for question in entry["questions"]:
            got, of = (round(value, 2) for value in expected_mark(question))
            whose = (entry["learner"], entry["name"], entry["chapter"])
            asked = (question["question"], question["made to"], str(question["answer"]))
            rows.append((*whose, *asked, got, of, entry["damage"]))
    write_table(path, heads, rows)
