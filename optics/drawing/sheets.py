"""Printable homework: sheets of questions, with their answer sheet.

The same number always gives the same sheet, so an instructor can print the answers
later. Both are drawn from the same lenses; nothing is written down twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.textpath import TextPath

from optics.drawing import style
from optics.drawing.diagram import Diagram, bound, checked_target, written_to
from optics.drawing.exercises import EXERCISES, Exercise, checked
from optics.drawing.given import line_of
from optics.errors import OpticsError, shown
from optics.lens.prescription import Prescription

TASKS = {name: exercise.asks for name, exercise in EXERCISES.items()}
"""What a sheet may ask, with the line printed above it."""
MOST = 200
LONGEST_HEAD = 56

# Inches.
HEAD, FOOT = 1.3, 0.55
PICTURE, LINE, ASKS = 2.85, 0.56, 0.42


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A homework sheet and its answer sheet.

    Parameters
    ----------
    title : str
        Name of the sheet.
    questions, answers : tuple of Diagram
        Their pages.
    """

    title: str
    questions: tuple[Diagram, ...]
    answers: tuple[Diagram, ...]

    def save(self, path: str | PathLike[str], overwrite: bool = False) -> tuple[Path, Path]:
        """Save the sheet, and its answers beside it.

        Parameters
        ----------
        path : str or path
            Name ending in .pdf, in a folder that exists. The answers go to the
            same name with "-answers" before the ending.
        overwrite : bool
            Whether files that are already there may be replaced.

        Returns
        -------
        tuple of Path
            The sheet and the answer sheet.

        Raises
        ------
        OpticsError
            For another ending, a missing folder or a file already there; nothing
            is written then.
        """
        sheet_path = checked_target(path, (".pdf",), overwrite)
        answer_path = checked_target(
            sheet_path.with_name(f"{sheet_path.stem}-answers{sheet_path.suffix}"), (".pdf",), overwrite
        )
        return (
            written_to(sheet_path, bound(self.questions, self.title)),
            written_to(answer_path, bound(self.answers, f"{self.title}, answers")),
        )

    def _repr_html_(self) -> str:
        return "".join(page._repr_html_() for page in self.questions)


def lenses_in(text: str) -> list[Prescription]:
    """Lenses of one's own, one to a line; empty lines are passed over.

    Raises
    ------
    OpticsError
        For a line that cannot be read, with its number.
    """
    if not isinstance(text, str):
        raise OpticsError(
            f"The list is {shown(text)}.", "It is text, one lens to a line.", "Write it between quotes."
        )
    found = []
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        if not line.strip():
            continue
        try:
            found.append(line_of(line))
        except OpticsError as error:
            raise OpticsError(
                f"Line {number} of the list: {error}", "One lens stands on each line.", "Mend that line."
            ) from error
        if len(found) > MOST:
            raise OpticsError("The list is too long.", f"A sheet has 1 to {MOST} lenses.", "Part it in two.")
    return found


def sheet(
    task: str | Sequence[str] = "draw-crosses",
    count: int = 6,
    seed: int = 1,
    *,
    lenses: Sequence[Prescription | str] | None = None,
    title: str = "",
    shop: str = "",
    paper: str = "A4",
) -> Sheet:
    """A homework sheet with its answer sheet.

    Parameters
    ----------
    task : str or sequence of str
        What is asked: one of `TASKS`, or several for a mixed sheet, one under the
        other.
    count : int
        How many lenses for each, 1 to 200.
    seed : int
        Number of the sheet: the same number gives the same lenses.
    lenses : sequence of Prescription or str, optional
        Lenses of your own instead.
    title, shop : str
        Printed at the head; by default the number of the sheet, and nothing.
    paper : {"A4", "Letter"}
        What it is printed on.

    Raises
    ------
    OpticsError
        For an unknown task or paper, a count out of range, text that cannot be
        read, or a lens that a task cannot ask about.

    Examples
    --------
    >>> homework = sheet("other-form", lenses=["+2.50 -1.50 x 170"])
    >>> homework.answers[0].alt.split(" 1: ")[1]
    'sphere plus 2.50, cylinder minus 1.50, axis 170 is sphere plus 1.00, cylinder plus 1.50, axis 80.'
    """
    tasks = [task] if isinstance(task, str) else list(task)
    for name in tasks:
        checked(name)
    if not tasks:
        raise OpticsError("The sheet asks nothing.", f"There are {', '.join(TASKS)}.", "Name one.")
    style.page_size(paper)
    for words, text in (("title", title), ("shop", shop)):
        if len(text) > LONGEST_HEAD:
            raise OpticsError(
                f"The {words} has {len(text)} characters.", f"It has at most {LONGEST_HEAD}.", "Shorten it."
            )
        if not text.isprintable():
            raise OpticsError(
                f"The {words} is {shown(text)}.", "It is one line of letters.", "Type it again."
            )
    if seed < 0:
        raise OpticsError(f"The sheet's number is {seed}.", "Numbers count from 0.", "Try 1.")
    if lenses is None:
        if not 1 <= count <= MOST:
            raise OpticsError(
                f"The sheet would have {count} lenses.", f"It has 1 to {MOST}.", "Six crosses fill a page."
            )
        chosen = [(name, line) for name in tasks for line in _practice_lenses(count, seed, name)]
        title = title or f"Sheet {seed}"
    else:
        own = [line if isinstance(line, Prescription) else line_of(line) for line in lenses]
        title = title or "Sheet of your own"
        if not own:
            raise OpticsError("The sheet has no lenses.", "It needs at least one.", "Write one.")
        chosen = [(name, _suited(name, line)) for name in tasks for line in own]
    return Sheet(
        title=title,
        questions=_pages(chosen, title, shop, paper, answered=False),
        answers=_pages(chosen, title, shop, paper, answered=True),
    )


def _suited(task: str, line: Prescription) -> Prescription:
    why_not = EXERCISES[task].suits(line)
    if why_not:
        raise OpticsError(f'"{line}" does not suit "{task}".', why_not, "Leave it out, or ask another thing.")
    return line


def _practice_lenses(count: int, seed: int, task: str) -> list[Prescription]:
    draw = np.random.default_rng([seed, list(EXERCISES).index(task)])
    lines: list[Prescription] = []
    for _ in range(100 * count):
        line = EXERCISES[task].invent(draw)
        if line not in lines:
            lines.append(line)
        if len(lines) == count:
            return lines
    raise OpticsError(
        f"There are no {count} different questions of this kind.", "Fewer will do.", f"Try {len(lines)}."
    )


# --- laying out -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Box:
    """Where one thing stands: page from 0, and inches from the left and from the top."""

    page: int
    left: float
    top: float


def _boxes(chosen: Sequence[tuple[str, Prescription]], paper: str) -> Iterator[tuple[_Box, _Box | None]]:
    """A box for each question, and one for the line above where another kind begins or a page does."""
    width, height = style.page_size(paper)
    page, top, column, kind = 0, HEAD, 0, ""
    for task, _ in chosen:
        drawn = EXERCISES[task].drawn
        tall = PICTURE if drawn else LINE
        if task != kind and column:  # a row of pictures that is half full
            top, column = top + PICTURE, 0
        fresh = task != kind
        needs = tall + (ASKS if fresh else 0.0)
        if not column and top + needs > height - FOOT:
            page, top, fresh = page + 1, HEAD, True
        asks = _Box(page, style.MARGIN, top) if fresh else None
        top += ASKS if fresh else 0.0
        half = (width - 2 * style.MARGIN) / 2
        yield _Box(page, style.MARGIN + column * half, top), asks
        kind = task
        column = 1 - column if drawn else 0
        if not column:
            top += tall


def _pages(
    chosen: Sequence[tuple[str, Prescription]], title: str, shop: str, paper: str, answered: bool
) -> tuple[Diagram, ...]:
    size = style.page_size(paper)
    heading = f"{title}{', answers' if answered else ''}"
    pages: list[tuple[Figure, list[str]]] = []
    feet: list[list[str]] = []
    for number, ((task, line), (box, asks)) in enumerate(zip(chosen, _boxes(chosen, paper), strict=True), 1):
        if box.page == len(pages):
            pages.append((style.canvas(*size), []))
            feet.append([])
            _draw_head(pages[-1][0], heading, shop, answered)
        figure, said = pages[-1]
        exercise = EXERCISES[task]
        if asks is not None:
            style.text_at(figure, asks.left, asks.top, exercise.asks, fontsize=style.TEXT)
            said.append(exercise.asks)
        said.append(f"{number}: {_question(figure, box, number, exercise, line, answered)}")
        feet[box.page].append(exercise.foot if exercise.drawn else "")
    for number, (figure, _) in enumerate(pages, 1):
        _draw_foot(figure, feet[number - 1], number, len(pages))
    return tuple(Diagram(figure, f"{heading}. {' '.join(said)}", title=heading) for figure, said in pages)


def _question(
    figure: Figure, box: _Box, number: int, exercise: Exercise, line: Prescription, answered: bool
) -> str:
    width, height = figure.get_size_inches()
    half = (width - 2 * style.MARGIN) / 2
    if not exercise.drawn:
        seen = exercise.show(line, None, answered)
        style.text_at(figure, box.left, box.top, f"{number}.", fontsize=style.LABEL)
        style.text_at(figure, box.left + 0.5, box.top, seen.given, fontsize=style.LABEL)
        style.text_at(figure, box.left + half, box.top, seen.answer or "_" * 28, fontsize=style.LABEL)
        return seen.words
    tall = PICTURE - 0.7
    ax = figure.add_axes(
        (box.left / width, 1.0 - (box.top + 0.3 + tall) / height, half / width, tall / height)
    )
    seen = exercise.show(line, ax, answered)
    style.text_at(figure, box.left, box.top, f"{number}.", fontsize=style.LABEL)
    size = style.LABEL if len(seen.given) < 25 else style.TEXT
    style.text_at(figure, box.left + 0.4, box.top, seen.given, fontsize=size)
    middle = box.left + half / 2
    style.text_at(figure, middle, box.top + PICTURE - 0.36, seen.answer, fontsize=style.SMALL, ha="center")
    return seen.words


def _draw_head(figure: Figure, heading: str, shop: str, answered: bool) -> None:
    width, _ = figure.get_size_inches()
    room = 72.0 * (width - 2 * style.MARGIN)
    wide = TextPath((0, 0), heading.replace("$", r"\$"), size=16).get_extents().width
    style.text_at(figure, style.MARGIN, 0.4, heading, fontsize=min(16.0, max(11.0, 15.5 * room / wide)))
    style.text_at(figure, style.MARGIN, 0.72, shop, fontsize=style.SMALL, color=style.DIM)
    if not answered:
        line = "name ______________________   date ____________"
        style.text_at(figure, width - style.MARGIN, 0.98, line, fontsize=style.SMALL, ha="right")


def _draw_foot(figure: Figure, said: Sequence[str], number: int, pages: int) -> None:
    width, height = figure.get_size_inches()
    feet = [foot for foot in dict.fromkeys(said) if foot]
    of = f"page {number} of {pages}" if pages > 1 else ""
    if len(feet) > 1:
        feet = ["lenses seen from the front, prisms as in the eyepiece"]
    # A line that is copied from a sheet may end up on somebody's nose.
    words = "; ".join([*feet, "an exercise, not an order"])
    style.text_at(figure, style.MARGIN, height - 0.4, words, fontsize=style.SMALL, color=style.DIM)
    style.text_at(
        figure, width - style.MARGIN, height - 0.4, of, fontsize=style.SMALL, color=style.DIM, ha="right"
    )
