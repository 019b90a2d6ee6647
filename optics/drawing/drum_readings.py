"""Repeated drum readings on a number line, a row for each way of reading: scatter and shift."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.errors import OpticsError

STEPS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
MOST_STEPS = 7
"""How many steps the number line has at most, so that each can carry its number."""
BESIDE = 0.018
"""How near two readings may lie, as a part of the line, before one stands above the other."""
LEVELS = (0.0, 0.11, -0.11, 0.22, -0.22)
"""Where equal readings stand, clear of one another: a ring is 0.10 of a row high."""


def draw_drum_readings(ax: Axes, rows: Mapping[str, Sequence[float]], known: float | None = None) -> Axes:
    """Draw rows of drum readings over one number line.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    rows : mapping of str to sequence of float
        Readings, dioptres, by the words that stand over their row.
    known : float, optional
        What the lens is known to be, dioptres.

    Returns
    -------
    Axes
        The axes given.
    """
    every = [value for values in rows.values() for value in values] + ([] if known is None else [known])
    # Readings far apart get wider steps, so that their numbers keep clear of each other.
    step = next(each for each in STEPS if (max(every) - min(every)) / each <= MOST_STEPS)
    left = (math.floor(min(every) / step) - 0.5) * step
    right = (math.ceil(max(every) / step) + 0.5) * step
    ax.set_ylim(-0.75, len(rows) + 0.25)
    style.number_line(ax, (left, right), step, 0.16)
    if known is not None:
        ax.plot(
            [known, known],
            [0, len(rows)],
            color=style.ORANGE,
            linewidth=2.5,
            linestyle=(0, (1, 1)),
            gid="known",
        )
        style.note(ax, known, len(rows) + 0.02, f"the lens: {style.shown(known)}", va="bottom")
    for count, (words, values) in enumerate(rows.items()):
        height = len(rows) - count - 0.7
        ax.plot(
            values,
            [height + above for above in _stacked(values, BESIDE * (right - left))],
            linestyle="",
            marker="o",
            markersize=6,
            markeredgewidth=1.5,
            markeredgecolor=style.BLUE,
            markerfacecolor="none",
            gid=f"readings {count + 1}",
        )
        mean = float(np.mean(values))
        ax.plot(
            [mean, mean],
            [height - 0.17, height + 0.17],
            color=style.BLACK,
            linewidth=style.THICK,
            gid=f"mean {count + 1}",
        )
        heading = f"{words}: mean {style.shown(mean)} (bar)"
        ax.text(left, height + 0.36, heading, ha="left", va="center", fontsize=style.TEXT, bbox=style.CLEAR)
    return ax


def _stacked(values: Sequence[float], near: float) -> list[float]:
    """How far each reading stands above its row, so that equal ones are seen as several."""
    placed: list[tuple[float, float]] = []
    for value in values:
        taken = {above for other, above in placed if abs(other - value) < near}
        placed.append((value, next((above for above in LEVELS if above not in taken), 0.0)))
    return [above for _, above in placed]


def drum_readings(rows: Mapping[str, Sequence[float]], known: float | None = None) -> Diagram:
    """Repeated drum readings, a row for each way of reading, ready to show or save.

    Parameters
    ----------
    rows, known
        As for `draw_drum_readings`.

    Raises
    ------
    OpticsError
        For a row without readings, or no row.

    Examples
    --------
    >>> picture = drum_readings({"eyepiece set": [-2.00, -1.94, -2.06]}, known=-2.00)
    >>> print(picture.alt)
    Drum readings on a number line. Eyepiece set: 3 readings from minus 2.06 to minus 1.94, mean minus 2.00. The lens is known to be minus 2.00.
    """
    if not rows or not all(len(values) for values in rows.values()):
        raise OpticsError("There are no readings.", "Each row needs at least one.", "Read the lens first.")
    figure = style.canvas(8.0, 1.1 * len(rows) + 1.0)
    draw_drum_readings(figure.add_axes((0.03, 0.0, 0.94, 1.0)), rows, known)
    return Diagram(figure, describe.drum_readings(rows, known), title="Repeated drum readings")
