"""A crib to print: the named steps, the conventions in one figure, and the trade's words.

Steps and words are data, the same that the chapters are held against in the tests.
"""

from __future__ import annotations

import textwrap
from functools import cache

from matplotlib.figure import Figure

from optics.drawing import style
from optics.drawing.axis_dial import draw_axis_dial, draw_nose
from optics.drawing.diagram import Diagram
from optics.project_files import data_rows, project_folder

BASES = ("up", "out", "down", "in")
CAUTION = (
    "A reading tells what the lenses have, not what the wearer needs. A pair in doubt is not for driving, "
    "nor for work at heights or at machines. Prism that nobody ordered keeps the pair on the bench. "
    "Local codes and licensed practice decide."
)


@cache
def _rows(name: str) -> list[dict[str, str]]:
    return data_rows(project_folder("datasets") / "crib" / f"{name}.csv")


def steps() -> dict[str, tuple[tuple[str, str], ...]]:
    """The named steps by list, each with a reminder of what it is."""
    named: dict[str, tuple[tuple[str, str], ...]] = {}
    for row in _rows("steps"):
        named[row["list"]] = (*named.get(row["list"], ()), (row["step"], row["reminder"]))
    return named


def words() -> tuple[tuple[str, str, str], ...]:
    """Words of the trade: the term used here, what others call it, and what it means."""
    return tuple((row["term"], row["also called"], row["meaning"]) for row in _rows("words"))


def crib(paper: str = "A4") -> tuple[Diagram, Diagram]:
    """Two pages to keep at the bench: steps and conventions, and words.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        What it is printed on.

    Returns
    -------
    tuple of Diagram
    """
    size = style.page_size(paper)
    return _steps_page(style.canvas(*size)), _words_page(style.canvas(*size))


def _head(figure: Figure, heading: str) -> float:
    style.text_at(figure, style.MARGIN, 0.4, heading, fontsize=16)
    return 0.95


def _steps_page(figure: Figure) -> Diagram:
    height = figure.get_size_inches()[1]
    top = _head(figure, "At the bench")
    said = []
    for heading, named in steps().items():
        style.text_at(figure, style.MARGIN, top, heading, fontsize=style.LABEL, fontweight="bold")
        top += 0.3
        for number, (step, reminder) in enumerate(named, 1):
            style.text_at(figure, style.MARGIN + 0.28, top, f"{number}.", fontsize=style.TEXT, ha="right")
            style.text_at(figure, style.MARGIN + 0.36, top, step, fontsize=style.SMALL, fontweight="bold")
            style.text_at(figure, style.MARGIN + 4.35, top, reminder, fontsize=style.SMALL)
            said.append(f"{number}. {step}: {reminder}.")
            top += 0.235
        top += 0.12
    room = height - top - 1.0
    for eye, left in (("R", 0.02), ("L", 0.52)):
        ax = figure.add_axes((left, 0.95 / height, 0.46, room / height))
        draw_axis_dial(ax, None, eye, bare=True)
        style.note(ax, 0, 0, "base", color=style.PURPLE)
        for base, degrees in zip(BASES, (90, 180, 270, 0) if eye == "R" else (90, 0, 270, 180), strict=True):
            x, y = style.unit(degrees)
            style.note(ax, x * 0.6, y * 0.6, base, color=style.PURPLE)
    middle = 0.95 + room / 2
    draw_nose(figure, (middle - 0.9) / height, (middle + 0.5) / height)
    said.append(
        "Axes are counted from 001 to 180, anticlockwise, seen from the front, for both eyes alike; "
        "base in points to the nose."
    )
    style.caution(figure, CAUTION)
    return Diagram(figure, f"At the bench. {' '.join(said)} {CAUTION}", title="At the bench")


def _words_page(figure: Figure) -> Diagram:
    top = _head(figure, "Words of the trade")
    columns = ((style.MARGIN, 16), (style.MARGIN + 1.75, 20), (style.MARGIN + 3.65, 44))
    for (left, _), heading in zip(columns, ("here", "also called", "what it is"), strict=True):
        style.text_at(figure, left, top, heading, fontsize=style.SMALL, color=style.DIM)
    top += 0.3
    said = []
    for row in words():
        wrapped = [textwrap.wrap(text, wide) for text, (_, wide) in zip(row, columns, strict=True)]
        for (left, _), lines, weight in zip(columns, wrapped, ("bold", "normal", "normal"), strict=True):
            style.text_at(figure, left, top, "\n".join(lines), fontsize=style.SMALL, fontweight=weight)
        top += 0.185 * max(map(len, wrapped)) + 0.075
        said.append(f"{row[0]}, also called {row[1]}: {row[2]}.")
    return Diagram(figure, f"Words of the trade. {' '.join(said)}", title="Words of the trade")
