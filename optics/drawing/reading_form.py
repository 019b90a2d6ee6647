"""A form to print for reading real pairs: repeated readings of both lenses, then the ticket."""

from __future__ import annotations

import re

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from optics.drawing import style
from optics.drawing.diagram import Diagram
from optics.drawing.job_ticket import CAUTION

PAIR_NUMBER = re.compile(r"[A-Za-z0-9-]{1,12}")
"""The number of a pair in a kit, as it is stuck on it."""

REPEATS = 5
READ = ("", "sphere lines, D", "wheel, degrees", "cylinder lines, D")
WRITTEN = ("", "sphere", "cylinder", "axis", "add", "prism and base", "PD, mm", "height, mm")
BEFORE = "□ looked over   □ wiped   □ trued   □ eyepiece set   □ zero checked: reads ________"


def reading_form(paper: str = "A4", title: str = "A pair of your own", number: str = "") -> Diagram:
    """A page for one pair, read on a real focimeter.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        What it is printed on.
    title : str
        At the head.
    number : str
        Of the pair; a line to write it on otherwise.
    """
    figure = style.canvas(*style.page_size(paper))
    width, height = figure.get_size_inches()
    style.text_at(figure, style.MARGIN, 0.4, title, fontsize=16)
    line = f"pair no. {number or '________'}   read by ______________________   date ____________"
    style.text_at(figure, style.MARGIN, 0.95, line, fontsize=style.TEXT)
    style.text_at(figure, style.MARGIN, 1.35, BEFORE, fontsize=style.TEXT)
    top = 1.85
    for eye in ("right", "left"):
        heading = f"{eye} lens: turn drum and wheel away after each reading"
        style.text_at(figure, style.MARGIN, top, heading, fontsize=style.TEXT, fontweight="bold")
        rows = [str(number) for number in range(1, REPEATS + 1)]
        top = _table(figure, top + 0.3, READ, rows, (0.5, 1.7, 1.7, 1.7)) + 0.2
    style.text_at(figure, style.MARGIN, top, "as written", fontsize=style.TEXT, fontweight="bold")
    wide = (0.4, 0.95, 0.95, 0.75, 0.75, 1.45, 0.9, 0.9)
    top = _table(figure, top + 0.3, WRITTEN, ["R", "L"], wide) + 0.2
    for words in ("lens style", "what was seen of frame and lenses", "remarks"):
        style.text_at(figure, style.MARGIN, top, words, fontsize=style.SMALL)
        ends = [(style.MARGIN + 2.8) / width, 1.0 - style.MARGIN / width]
        down = [1.0 - (top + 0.18) / height] * 2
        figure.add_artist(Line2D(ends, down, color=style.GREY, linewidth=style.LINE))
        top += 0.36
    style.caution(figure, CAUTION)
    words = (
        f"{title}: a form with room for {REPEATS} readings of each lens, sphere lines, wheel and cylinder "
        "lines, and for the pair as written."
    )
    return Diagram(figure, f"{words} {CAUTION}", title=title)


def _table(
    figure: Figure, top: float, heads: tuple[str, ...], rows: list[str], wide: tuple[float, ...]
) -> float:
    """Rule a table; inches from the top where it ends."""
    width, height = figure.get_size_inches()
    tall = 0.36
    left = [style.MARGIN + sum(wide[:column]) for column in range(len(wide) + 1)]
    for column, head in enumerate(heads):
        style.text_at(figure, left[column] + 0.06, top, head, fontsize=style.SMALL, color=style.DIM)
    top += 0.26
    for number, row in enumerate(rows):
        style.text_at(figure, left[0] + 0.06, top + number * tall + 0.1, row, fontsize=style.TEXT)
    bottom = top + tall * len(rows)
    places = [((left[0], left[-1]), (y, y)) for y in (top + tall * row for row in range(len(rows) + 1))]
    places += [((x, x), (top, bottom)) for x in left]
    for across, down in places:
        ends = [x / width for x in across], [1.0 - y / height for y in down]
        figure.add_artist(Line2D(*ends, color=style.GREY, linewidth=style.LINE))
    return bottom
