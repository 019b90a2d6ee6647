"""How every figure looks: one palette, and for each meaning a dash, shape or label too.

Colours are those of Okabe and Ito (Color Universal Design, 2008, from memory),
which people with any common colour vision tell apart. Colour never speaks
alone: printed in black and white the dashes and labels still do.
"""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from optics.errors import OpticsError
from optics.errors import shown as quoted
from optics.lens.angles import whole_axis, wrapped_axis
from optics.lens.prescription import written

BLACK = "#000000"
GREY = "#767676"
PALE = "#C8C8C8"
DIM = "#444444"
ORANGE = "#E69F00"
GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILION = "#D55E00"
PURPLE = "#CC79A7"

SMALL = 11.0
TEXT = 12.0
LABEL = 13.0
TITLE = 14.0
LINE = 1.5
THICK = 3.0

HIGHER: dict[str, Any] = {"color": BLUE, "linewidth": THICK, "linestyle": "-"}
"""The meridian of the more plus power."""
LOWER: dict[str, Any] = {"color": VERMILION, "linewidth": THICK, "linestyle": (0, (3, 1.2))}
"""The meridian of the more minus power."""
AXIS: dict[str, Any] = {"color": GREEN, "linewidth": THICK, "linestyle": (0, (5, 1.5, 1, 1.5))}
"""The axis of a cylinder."""
PRISM: dict[str, Any] = {"color": PURPLE, "linewidth": THICK}
"""A prism, always an arrow that points to the base."""

PART: dict[str, Any] = {"color": BLACK, "linewidth": 2.0, "linestyle": (0, (1, 1.2))}
"""The horizontal or vertical part of a prism or a vector."""

RAY: dict[str, Any] = {"color": ORANGE, "linewidth": THICK}
"""A ray of light."""
CLEAR: dict[str, Any] = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85}
"""White ground behind text that stands on lines."""

BLANK = "____"
LONGEST_TICK = 0.91
"""Where the longest tick of a scale ends, in radii."""
"""Where a learner writes."""


PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
"""Width and height, inches."""
MARGIN = 0.6
"""Of a printed page, inches."""


def page_size(paper: str) -> tuple[float, float]:
    """Width and height of a paper, inches.

    Raises
    ------
    OpticsError
        For a paper that is not known.
    """
    if paper not in PAPERS:
        raise OpticsError(f"The paper is {quoted(paper)}.", f"There are {' and '.join(PAPERS)}.", 'Try "A4".')
    return PAPERS[paper]


def text_at(figure: Figure, left: float, top: float, text: str, **look: Any) -> None:
    """Write on a page, inches from its left and from its top."""
    width, height = figure.get_size_inches()
    if text:
        # A dollar is a dollar here, and no formula.
        figure.text(left / width, 1.0 - top / height, text.replace("$", r"\$"), va="top", **look)


def caution(figure: Figure, words: str) -> None:
    """Write a caution above the foot of a page."""
    above_foot = figure.get_size_inches()[1] - 0.9
    text_at(figure, MARGIN, above_foot, textwrap.fill(words, 92), fontsize=SMALL, color=DIM)


def canvas(width: float, height: float) -> Figure:
    """An empty white page, inches."""
    return Figure((width, height), facecolor="white")


def shown(value: float, signed: bool = True) -> str:
    """A power or prism as it is drawn: two decimals and a full-width minus sign."""
    # Powers that went through sines and cosines come back with dust on them.
    return written(round(float(value), 6), signed).replace("-", "−")


def degrees_shown(degrees: float) -> str:
    """An axis or meridian in three digits; a tenth only where it has one."""
    tenth = round(float(wrapped_axis(degrees)), 1)
    return f"{whole_axis(tenth):03d}" if tenth == round(tenth) else f"{tenth:05.1f}"


def unit(degrees: float) -> tuple[float, float]:
    """The point of the unit circle in that direction."""
    turn = np.deg2rad(degrees)
    return float(np.cos(turn)), float(np.sin(turn))


def points_size(ax: Axes) -> tuple[float, float]:
    """Width and height of the axes in points, the unit of text."""
    box = ax.get_window_extent()
    figure = ax.get_figure()
    assert figure is not None
    return box.width * 72.0 / figure.dpi, box.height * 72.0 / figure.dpi


def plain_field(ax: Axes, across: tuple[float, float], upright: tuple[float, float]) -> None:
    """Set axes up as a plain field with the same measure across and upright."""
    ax.set(xlim=across, ylim=upright, aspect="equal")
    ax.set_axis_off()


def number_line(ax: Axes, ends: tuple[float, float], step: float, tick: float) -> None:
    """Draw a number line at height 0 of a plain field, with a number at every step.

    Half a tick, in the units of its height, stands above the line and half below.
    """
    ax.set_xlim(*ends)
    ax.set_axis_off()
    ax.plot(ends, [0, 0], color=BLACK, linewidth=2.0, gid="number line")
    for place in np.arange(np.ceil(ends[0] / step), np.floor(ends[1] / step) + 1) * step:
        ax.plot([place, place], [-tick / 2, tick / 2], color=BLACK, linewidth=2.0)
        note(ax, place, -tick, shown(place), va="top", fontsize=LABEL)


def ring(ax: Axes, radius: float, gid: str, colour: str = PALE, **changes: Any) -> None:
    """Draw an open circle round the origin."""
    look: dict[str, Any] = {"edgecolor": colour, "linewidth": LINE, **changes}
    ax.add_patch(Circle((0, 0), radius, fill=False, gid=gid, **look))


def note(ax: Axes, x: float, y: float, text: str, **changes: Any) -> None:
    """Write small words in the middle of a place."""
    look: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": SMALL, **changes}
    ax.text(x, y, text, **look)


def beside(ax: Axes, text: str, at: tuple[float, float], by: tuple[float, float], **changes: Any) -> None:
    """Write beside a place, so many points away from it, on a ground that keeps lines off."""
    look: dict[str, Any] = {"ha": "center", "va": "center", "bbox": CLEAR, **changes}
    ax.annotate(text, at, xytext=by, textcoords="offset points", **look)


def lens_field(ax: Axes, side: float, above: float, below: float | None = None) -> float:
    """Set axes up so that the unit circle leaves room for text around it.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    side, above, below : float
        Room left and right, above, and below, points.

    Returns
    -------
    float
        Radius of the unit circle, points.
    """
    below = above if below is None else below
    width, height = points_size(ax)
    radius = max(20.0, min(width / 2 - side, (height - above - below) / 2))
    up = (height + above - below) / 2 / radius - above / radius
    ax.set_xlim(-width / 2 / radius, width / 2 / radius)
    ax.set_ylim(up - height / radius + above / radius, up + above / radius)
    ax.set_aspect("equal", adjustable="datalim")
    ax.set_axis_off()
    return radius


def outline(ax: Axes, numbers: str = "") -> None:
    """The lens as a round outline with ticks of the axis scale.

    Parameters
    ----------
    ax : Axes
        Axes set up by `lens_field`.
    numbers : {"", "inside", "outside"}
        Where angles are to be read off: finer ticks, and numbers, 180 at both ends,
        inside the outline, or outside where nothing else is written.
    """
    ring(ax, 1.0, "lens", GREY)
    # One line with gaps: seventy lines of their own would make a sheet slow to draw.
    turn = np.arange(0, 360, 5 if numbers else 10)
    inner = np.where(turn % 30 == 0, LONGEST_TICK, np.where(turn % 10 == 0, 0.94, 0.97))
    ends = np.stack([inner, np.ones(turn.size), np.full(turn.size, np.nan)], axis=-1)
    across, up = np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))
    ax.plot(
        (ends * across[:, None]).ravel(),
        (ends * up[:, None]).ravel(),
        color=GREY if numbers else PALE,
        linewidth=LINE,
        zorder=0.5,
        gid="scale",
    )
    for degrees in range(0, 181, 30) if numbers else ():
        number = str(degrees or 180)  # a horizontal axis is 180, never 0
        if numbers == "outside":
            around(ax, number, degrees, gap=4, fontsize=SMALL, color=DIM)
        else:
            # Inside the longest tick by as much as the number reaches towards it, points.
            x, y = unit(degrees)
            reach = abs(x) * 0.34 * SMALL * len(number) + abs(y) * 0.45 * SMALL + 2.0
            look: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": SMALL, "color": DIM}
            ax.annotate(
                number,
                (x * LONGEST_TICK, y * LONGEST_TICK),
                xytext=(-x * reach, -y * reach),
                textcoords="offset points",
                bbox=CLEAR | {"alpha": 1.0, "pad": 0.5},
                zorder=4,
                **look,
            )


def rim(degrees: float) -> dict[str, Any]:
    """How text outside the circle stands so that it does not run into it."""
    x, y = unit(degrees)
    return {
        "ha": "left" if x > 0.3 else "right" if x < -0.3 else "center",
        "va": "bottom" if y > 0.3 else "top" if y < -0.3 else "center",
    }


def around(ax: Axes, text: str, degrees: float, gap: float = 8.0, **changes: Any) -> Any:
    """Write outside the unit circle, at a direction from its centre."""
    x, y = unit(degrees)
    look: dict[str, Any] = {"fontsize": TEXT, "linespacing": 1.15, **rim(degrees), **changes}
    return ax.annotate(
        text, (x, y), xytext=(x * gap, y * gap), textcoords="offset points", annotation_clip=False, **look
    )


def arrow(
    ax: Axes, start: tuple[float, float], end: tuple[float, float], look: dict[str, Any], gid: str
) -> None:
    """Draw an arrow from one point to another."""
    ax.annotate(
        "",
        end,
        xytext=start,
        gid=gid,
        arrowprops={"arrowstyle": "-|>,head_width=0.35,head_length=0.7", "shrinkA": 0, "shrinkB": 0} | look,
    )


def heading(figure: Figure, text: str) -> None:
    """Write the line at the top of a figure."""
    if text:
        figure.text(0.5, 0.985, text, ha="center", va="top", fontsize=TITLE)


def footing(figure: Figure, text: str, across: float = 0.5) -> None:
    """Write the line at the foot of a figure, or of a part of it."""
    if text:
        figure.text(across, 0.015, text, ha="center", va="bottom", fontsize=SMALL, color=DIM)
