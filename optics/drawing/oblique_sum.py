"""Two obliquely crossed cylinders: arrows in the double-angle plane, and the cross of their sum.

An arrow is the astigmatic part (J0, J45) of a power vector. Its length is half
the cylinder; it points to twice the axis of the minus cylinder, so that axes 001
and 180 lie side by side as they do on the lens. Arrows add tip to tail; mean
powers simply add.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of
from optics.drawing.power_cross import draw_power_cross
from optics.lens.power import Power

DIRECTIONS = {0: "axis 180", 90: "axis 045", 180: "axis 090", 270: "axis 135"}


def draw_oblique_sum(ax: Axes, first: Power, second: Power) -> Axes:
    """Draw two power vectors and their sum in the double-angle plane.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    first, second : Power
        The two lenses.

    Returns
    -------
    Axes
        The axes given.
    """
    style.lens_field(ax, 66.0, 26.0)
    a, b = first.vector[1:], second.vector[1:]
    whole = _reach(first, second)
    step = _ring_step(whole)
    for ring in range(1, round(whole / step) + 1):
        style.ring(ax, ring * step / whole, "ring")
    for direction, words in DIRECTIONS.items():
        x, y = style.unit(direction)
        ax.plot([0, x], [0, y], color=style.PALE, linewidth=style.LINE, zorder=0.5)
        style.around(ax, words, direction, gap=6, fontsize=style.SMALL, color=style.DIM)
    corners = np.array([(0.0, 0.0), a, a + b]) / whole
    inside = corners.mean(0)
    # The sum first, so that a short part is not hidden under it.
    _arrow(ax, corners[0], corners[2], "1 + 2", {"color": style.BLACK, "linewidth": 4.5}, inside)
    _arrow(ax, corners[0], corners[1], "1", style.HIGHER, inside)
    _arrow(ax, corners[1], corners[2], "2", style.LOWER, inside)
    return ax


def _reach(first: Power, second: Power) -> float:
    """Radius of the plane, dioptres: room for both arrows and their sum."""
    both = first + second
    longest = max(float(np.hypot(*lens.vector[1:])) for lens in (first, second, both))
    step = _ring_step(longest)
    return max(step, step * math.ceil(longest / step - 1e-9))


def _ring_step(longest: float) -> float:
    return next((step for step in (0.25, 0.5, 1.0, 2.0) if longest <= 5 * step), 5.0)


def _arrow(
    ax: Axes, start: np.ndarray, end: np.ndarray, name: str, look: dict[str, Any], inside: np.ndarray
) -> None:
    length = float(np.hypot(*(end - start)))
    if length < 1e-6:
        return
    style.arrow(ax, (start[0], start[1]), (end[0], end[1]), look, gid=f"arrow {name}")
    # Beside the middle of the arrow, outside the triangle of the three; where the
    # three lie in a line the sum is named on the other side.
    along = (end - start) / length
    aside = np.array([-along[1], along[0]])
    outward = float(aside @ ((start + end) / 2 - inside))
    if outward < -1e-3 or (abs(outward) <= 1e-3 and name == "1 + 2"):
        aside = -aside
    half_width = 22.0 if name == "1 + 2" else 6.0
    room = 5.0 + half_width * abs(aside[0]) + 8.0 * abs(aside[1])
    middle = tuple((start + end) / 2)
    style.beside(ax, name, middle, tuple(aside * room), fontsize=style.LABEL, fontweight="bold")


def oblique_sum(first: LensLike, second: LensLike) -> Diagram:
    """Two lenses laid on each other: the sum of their power vectors, and its power cross.

    Parameters
    ----------
    first, second : Power, Prescription, Crossed or str
        The two lenses, in any cylinder form.

    Raises
    ------
    OpticsError
        The reader's sentence, for text that cannot be read.

    Examples
    --------
    >>> print(oblique_sum("pl +2.00 x 180", "pl +2.00 x 045").alt.split(": ")[-1])
    sphere plus 3.41, cylinder minus 2.83, axis 112.5.
    """
    one, two = lens_of(first), lens_of(second)
    both = one.power + two.power
    figure = style.canvas(9.8, 5.0)
    plane = figure.add_axes((0.0, 0.16, 0.52, 0.72))
    draw_oblique_sum(plane, one.power, two.power)
    cross = figure.add_axes((0.52, 0.16, 0.48, 0.72))
    draw_power_cross(cross, both)
    style.heading(figure, f"1:  {one.written}        2:  {two.written}".replace("-", "−"))
    step = _ring_step(_reach(one.power, two.power))
    means = [style.shown(float(lens.mean)) for lens in (one.power, two.power, both)]
    for x, y, text in (
        (0.26, 0.085, "length: half the cylinder; direction: twice its minus axis"),
        (0.26, 0.02, f"one ring is {step:g} D"),
        (0.76, 0.085, f"1 + 2:  {_shown(both)}"),
        (0.76, 0.02, f"mean powers:  {means[0]} and {means[1]} make {means[2]}"),
    ):
        figure.text(x, y, text, ha="center", va="bottom", fontsize=style.SMALL)
    return Diagram(
        figure, describe.oblique_sum(one.power, two.power), title="Sum of two obliquely crossed cylinders"
    )


def _shown(power: Power) -> str:
    """The sum as it comes out, before it is settled onto steps."""
    sphere, cylinder, axis = (float(v) for v in power.sphere_cylinder("minus"))
    if style.shown(cylinder) == "0.00":
        return f"{style.shown(sphere)} DS"
    first = "pl" if style.shown(sphere) == "0.00" else style.shown(sphere)
    return f"{first} {style.shown(cylinder)} x {style.degrees_shown(axis)}"
