"""Printable homework: a sheet of power crosses or conversions, with its answer sheet.

The same seed always gives the same sheet, so an instructor can print the answers
later. Both pages are drawn from the same lenses; nothing is written down twice.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from optics.drawing import describe, style
from optics.drawing.diagram import REPRODUCIBLE, Diagram, checked_target, written_to
from optics.drawing.power_cross import draw_power_cross
from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription

__all__ = ["TASKS", "Sheet", "sheet"]

TASKS = {
    "draw-crosses": "Draw the power cross of each lens.",
    "read-crosses": "Write each lens with minus cylinder, then with plus cylinder.",
    "other-form": "Write each lens in the other cylinder form.",
}
"""What a sheet may ask, with the line printed at its head."""

PAGE = (8.27, 11.69)
"""A4, inches; the margins leave room for other paper."""
PER_PAGE = {"draw-crosses": 6, "read-crosses": 6, "other-form": 16}
MOST = 200


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
            written_to(sheet_path, _bound(self.questions, self.title)),
            written_to(answer_path, _bound(self.answers, f"{self.title}, answers")),
        )

    def _repr_html_(self) -> str:
        return "".join(page._repr_html_() for page in self.questions)


def _bound(pages: Sequence[Diagram], title: str) -> bytes:
    held = io.BytesIO()
    metadata = {"Title": title, "CreationDate": None, "Producer": None}
    with matplotlib.rc_context(REPRODUCIBLE), PdfPages(held, metadata=metadata) as book:
        for page in pages:
            book.savefig(page.figure)
    return held.getvalue()


def sheet(
    task: str = "draw-crosses",
    count: int = 6,
    seed: int = 1,
    *,
    lenses: Sequence[Prescription | str] | None = None,
    title: str = "",
) -> Sheet:
    """A homework sheet with its answer sheet.

    Parameters
    ----------
    task : {"draw-crosses", "read-crosses", "other-form"}
        What is asked.
    count : int
        How many lenses, 1 to 200.
    seed : int
        Number of the sheet: the same number gives the same lenses.
    lenses : sequence of Prescription or str, optional
        Lenses of your own instead.
    title : str
        Printed at the head; by default the number of the sheet.

    Returns
    -------
    Sheet

    Raises
    ------
    OpticsError
        For an unknown task, a count out of range, or text that cannot be read.

    Examples
    --------
    >>> homework = sheet("other-form", lenses=["+2.50 -1.50 x 170"])
    >>> homework.answers[0].alt.split(" 1: ")[1]
    'sphere plus 2.50, cylinder minus 1.50, axis 170 is sphere plus 1.00, cylinder plus 1.50, axis 80.'
    """
    if task not in TASKS:
        raise OpticsError(
            f'There is no sheet called "{task}".', f"There are {', '.join(TASKS)}.", 'Try "draw-crosses".'
        )
    if lenses is None:
        if not 1 <= count <= MOST:
            raise OpticsError(
                f"The sheet would have {count} lenses.", f"It has 1 to {MOST}.", "Six crosses fill a page."
            )
        chosen = _practice_lenses(count, seed, task)
        title = title or f"Sheet {seed}"
    else:
        chosen = [line if isinstance(line, Prescription) else parse(line) for line in lenses]
        title = title or "Sheet of your own"
        if not chosen:
            raise OpticsError("The sheet has no lenses.", "It needs at least one.", "Write one.")
    return Sheet(
        title=title,
        questions=_pages(task, chosen, title, answered=False),
        answers=_pages(task, chosen, title, answered=True),
    )


def _practice_lenses(count: int, seed: int, task: str) -> list[Prescription]:
    """Sphere-cylinders in quarter steps, every axis to the nearest 5 degrees, both forms mixed."""
    draw = np.random.default_rng([seed, sorted(TASKS).index(task)])
    lines: list[Prescription] = []
    while len(lines) < count:
        cylinder = int(draw.integers(1, 13)) / 4 * (-1 if draw.random() < 0.5 else 1)
        line = Prescription(
            sphere=int(draw.integers(-24, 21)) / 4, cylinder=cylinder, axis=int(draw.integers(1, 37)) * 5
        )
        if line not in lines:
            lines.append(line)
    return lines


def _pages(task: str, lines: Sequence[Prescription], title: str, answered: bool) -> tuple[Diagram, ...]:
    per_page = PER_PAGE[task]
    pages = []
    for start in range(0, len(lines), per_page):
        part = lines[start : start + per_page]
        figure = style.canvas(*PAGE)
        heading = f"{title}{', answers' if answered else ''}"
        _draw_head(figure, heading, task, answered)
        said = []
        for place, line in enumerate(part):
            number = start + place + 1
            if task == "other-form":
                said.append(_conversion(figure, place, number, line, answered))
            else:
                said.append(_cross(figure, place, number, line, task, answered))
        pages.append(Diagram(figure, f"{heading}. {TASKS[task]} {' '.join(said)}", title=heading))
    return tuple(pages)


def _draw_head(figure: Figure, heading: str, task: str, answered: bool) -> None:
    figure.text(0.08, 0.955, heading, fontsize=16, va="top")
    figure.text(0.08, 0.925, TASKS[task], fontsize=style.TEXT, va="top")
    if not answered:
        line = "name ______________________   date ____________"
        figure.text(0.92, 0.955, line, fontsize=style.SMALL, va="top", ha="right")
    if task != "other-form":
        figure.text(0.5, 0.03, "all seen from the front", fontsize=style.SMALL, ha="center", color=style.DIM)


def _line(prescription: Prescription) -> str:
    return str(prescription).replace("-", "−")


def _cross(figure: Figure, place: int, number: int, line: Prescription, task: str, answered: bool) -> str:
    column, row = place % 2, place // 2
    left, top = 0.04 + 0.47 * column, 0.885 - 0.285 * row
    drawing = task == "draw-crosses"
    ax = figure.add_axes((left, top - 0.235, 0.46, 0.21))
    draw_power_cross(ax, line if answered or not drawing else None)
    figure.text(left + 0.03, top, f"{number}.", fontsize=style.LABEL, va="top")
    both = (line.to_minus_cylinder(), line.to_plus_cylinder())
    if drawing:
        figure.text(left + 0.09, top, _line(line), fontsize=style.LABEL, va="top")
    else:
        forms = [_line(form) if answered else "_" * 18 for form in both]
        figure.text(
            left + 0.23, top - 0.24, "   or   ".join(forms), fontsize=style.SMALL, va="top", ha="center"
        )
    cross = describe.power_cross(line.power)
    if drawing:
        return f"{number}: {describe.line(line)}." + (f" {cross}" if answered else "")
    return f"{number}: {cross[:-1]}" + (
        f"; {' or '.join(describe.line(form) for form in both)}." if answered else "."
    )


def _conversion(figure: Figure, place: int, number: int, line: Prescription, answered: bool) -> str:
    y = 0.865 - 0.051 * place
    figure.text(0.08, y, f"{number}.", fontsize=style.LABEL)
    figure.text(0.15, y, _line(line), fontsize=style.LABEL)
    other = line.transposed()
    figure.text(0.50, y, _line(other) if answered else "_" * 28, fontsize=style.LABEL)
    return f"{number}: {describe.line(line)}" + (f" is {describe.line(other)}." if answered else ".")
