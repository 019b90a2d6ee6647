"""The whole focimeter as a section from the side, with its parts named.

A schematic: parts stand in the order in which light meets them, target and stop one
focal length either side of the standard lens, which is why the drum's steps are even
(`optics.instrument.standard_lens`). Real instruments fold and tilt the tube.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Arc, Circle, Ellipse, FancyBboxPatch, Polygon, Rectangle

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram

WIDTH, HEIGHT = 104.0, 46.0
AXIS = 23.0
LAMP, TARGET, STANDARD, STOP, OBJECTIVE, RETICLE, EYEPIECE, EYE = 9, 27, 42, 57, 72, 86, 91, 100
"""Along the light, in the picture's own units."""

# Where each name stands and the point that it names.
_NAMES: dict[str, tuple[float, float, float, float]] = {
    "lamp": (9, 36, 9, AXIS + 4.2),
    "target": (20, 40, 26.5, AXIS + 5),
    "axis wheel": (33, 44, 28.6, AXIS + 9.4),
    "power drum": (12, 5, 22.4, 7.5),
    "standard lens": (42, 36.5, 42, AXIS + 7),
    "stop": (52, 41, 57, AXIS + 6),
    "marking device": (68, 44, 66.2, AXIS + 14.8),
    "stage": (52, 5, 59.4, 8.4),
    "telescope": (80, 36.5, 79, AXIS + 6),
    "reticle": (83, 9, 86, AXIS - 4.2),
    "eyepiece": (94, 36.5, 92, AXIS + 7),
}
RAYS: dict[str, Any] = {"color": style.ORANGE, "linewidth": style.LINE}


def draw_instrument(ax: Axes, *, blank: bool = False) -> Axes:
    """Draw the instrument on axes of your own, about twice as wide as high.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    blank : bool
        Letters instead of names, for the learner to name the parts.

    Returns
    -------
    Axes
        The axes given.
    """
    style.plain_field(ax, (0, WIDTH), (0, HEIGHT))
    _housing(ax)
    _light(ax)
    _target_end(ax)
    _pair_end(ax)
    _eye_end(ax)
    for (name, (x, y, to_x, to_y)), letter in zip(_NAMES.items(), describe.LETTERS, strict=False):
        ax.plot([x, to_x], [y, to_y], color=style.DIM, linewidth=1.0, zorder=5, gid=f"to {name}")
        look = {"fontsize": style.TITLE, "fontweight": "bold"} if blank else {"fontsize": style.TEXT}
        ground = style.CLEAR | {"alpha": 1.0, "pad": 1.5}
        style.note(ax, x, y, letter if blank else name, bbox=ground, zorder=6, **look)
    return ax


def instrument(*, blank: bool = False) -> Diagram:
    """The focimeter with its parts named, ready to show or save.

    Parameters
    ----------
    blank : bool
        Letters instead of names.

    Examples
    --------
    >>> "eyepiece" in instrument().alt, "eyepiece" in instrument(blank=True).alt
    (True, False)
    """
    figure = style.canvas(9.6, 4.5)
    draw_instrument(figure.add_axes((0.01, 0.05, 0.98, 0.94)), blank=blank)
    style.footing(
        figure,
        "from the side, not to scale; light from left to right, the instrument empty and the drum at 0",
    )
    return Diagram(figure, describe.instrument(tuple(_NAMES), blank), title="The focimeter")


def _housing(ax: Axes) -> None:
    look: dict[str, Any] = {"facecolor": "#F4F4F4", "edgecolor": style.PALE, "linewidth": style.LINE}
    for x, width, up in ((3, 54, 10.5), (OBJECTIVE - 1.5, EYEPIECE - OBJECTIVE + 3, 6)):
        ax.add_patch(
            FancyBboxPatch(
                (x, AXIS - up), width, 2 * up, boxstyle="round,pad=0,rounding_size=2", zorder=0, **look
            )
        )
    ax.plot([3, EYE], [AXIS, AXIS], color=style.GREY, linewidth=0.8, linestyle=(0, (8, 3, 1, 3)), zorder=1)


def _light(ax: Axes) -> None:
    """Light of one point of the target, the drum at zero and nothing on the stop."""
    for up in (-3.4, 3.4):
        path = [
            (LAMP + 3, AXIS),
            (TARGET, AXIS),
            (STANDARD, AXIS + up),
            (OBJECTIVE, AXIS + up),
            (RETICLE, AXIS),
            (EYEPIECE, AXIS - up * (EYEPIECE - RETICLE) / (RETICLE - OBJECTIVE)),
            (EYE - 3.2, AXIS - up * (EYEPIECE - RETICLE) / (RETICLE - OBJECTIVE)),
        ]
        ax.plot(*zip(*path, strict=True), **RAYS, zorder=2, gid="light")


def _lens(ax: Axes, x: float, half: float, thick: float, gid: str) -> None:
    up = np.linspace(-1, 1, 41)
    bulge = thick * (1 - up**2) + 0.25
    edge = [*zip(x + bulge, AXIS + half * up, strict=True)]
    edge += [*zip(x - bulge[::-1], AXIS + half * up[::-1], strict=True)]
    ax.add_patch(
        Polygon(edge, facecolor="#DCEEF8", edgecolor=style.BLUE, linewidth=style.LINE, zorder=3, gid=gid)
    )


def _bar(
    ax: Axes, x: float, y: float, width: float, height: float, gid: str, colour: str = style.DIM
) -> None:
    ax.add_patch(Rectangle((x, y), width, height, facecolor=colour, edgecolor="none", zorder=3, gid=gid))


def _target_end(ax: Axes) -> None:
    ax.add_patch(
        Circle((LAMP, AXIS), 3.2, facecolor=style.YELLOW, edgecolor=style.BLACK, zorder=3, gid="lamp")
    )
    for turn in np.deg2rad(np.arange(60, 301, 40)):
        cos, sin = np.cos(turn), np.sin(turn)
        ax.plot([LAMP + 4 * cos, LAMP + 5.2 * cos], [AXIS + 4 * sin, AXIS + 5.2 * sin], color=style.ORANGE)
    # The wheel goes round the target and turns it; both travel on the carriage.
    for up in (-9.5, 6.5):
        _bar(ax, TARGET - 1.5, AXIS + up, 3, 3, "axis wheel", style.GREEN)
    for at in np.arange(0.5, 3, 0.75):
        for up in (-9.5, 6.5):
            ax.plot([TARGET - 1.5, TARGET + 1.5], [AXIS + up + at] * 2, color="white", linewidth=1, zorder=4)
    _bar(ax, TARGET - 0.5, AXIS - 6.5, 1.0, 13, "target", style.BLACK)
    for up in np.arange(-4.5, 4.6, 1.5):
        _bar(ax, TARGET - 0.5, AXIS + up - 0.3, 1.0, 0.6, "light gaps of the target", style.YELLOW)
    rail = AXIS - 10.5
    _bar(ax, 17, rail - 0.5, 20, 1.0, "carriage", style.GREY)
    for start, end in ((37.5, 42.0), (16.5, 12.0)):
        style.arrow(ax, (start, rail), (end, rail), {"color": style.GREY}, "to and fro")
    middle = (TARGET, rail - 4.7)
    ax.add_patch(
        Circle(middle, 4.2, facecolor="white", edgecolor=style.BLACK, linewidth=2, zorder=3, gid="power drum")
    )
    for turn in np.deg2rad(np.arange(0, 360, 20)):
        cos, sin = np.cos(turn), np.sin(turn)
        ax.plot(
            [middle[0] + 3.2 * cos, middle[0] + 4.2 * cos],
            [middle[1] + 3.2 * sin, middle[1] + 4.2 * sin],
            color=style.BLACK,
            linewidth=1,
            zorder=4,
        )
    style.note(ax, *middle, "0", zorder=4)
    _lens(ax, STANDARD, 7, 1.6, "standard lens")
    spans = ((TARGET + 1.7, STANDARD), (STANDARD, STOP - 0.9))
    for start, end in spans:
        for here, there in ((start, end), (end, start)):
            style.arrow(ax, (here, AXIS - 8.2), (there, AXIS - 8.2), {"color": style.GREY}, "focal length")
        ground = {"facecolor": "#F4F4F4", "edgecolor": "none", "pad": 1.5}
        style.note(ax, (start + end) / 2, AXIS - 8.2, "f", color=style.DIM, bbox=ground, zorder=5)


def _pair_end(ax: Axes) -> None:
    for edge_at in (-10.5, 4):
        _bar(ax, STOP - 0.7, AXIS + edge_at, 1.4, 6.5, "stop", style.BLACK)
    # Dashed, because the light is that of the empty instrument: its back against the stop.
    up = np.linspace(-1, 1, 41)
    back, front = STOP + 1.0 + 1.6 * (1 - up**2), STOP + 1.9 + 2.6 * (1 - up**2)
    edge = [*zip(back, AXIS + 9 * up, strict=True), *zip(front[::-1], AXIS + 9 * up[::-1], strict=True)]
    ax.add_patch(
        Polygon(
            edge,
            fill=False,
            edgecolor=style.PURPLE,
            linewidth=style.LINE,
            linestyle=(0, (3, 1.5)),
            zorder=3,
            gid="lens of the pair",
        )
    )
    style.note(ax, STOP + 5.6, AXIS - 7.4, "the lens\nlies here", color=style.DIM, ha="left")
    _bar(ax, STOP - 2.2, AXIS - 12.2, 11, 1.7, "stage", style.GREY)
    _bar(ax, STOP + 2.5, AXIS - 17, 1.2, 5, "stage", style.GREY)
    _bar(ax, STOP + 7.5, AXIS + 7.5, 3.5, 7.5, "marking device")
    for height in (AXIS + 8.7, AXIS + 11.2, AXIS + 13.7):
        ax.plot([STOP + 4.2, STOP + 7.5], [height, height], color=style.BLACK, linewidth=2, zorder=3)
        ax.plot([STOP + 4.0], [height], marker="o", markersize=5, color=style.VERMILION, zorder=4)


def _eye_end(ax: Axes) -> None:
    _lens(ax, OBJECTIVE, 5, 1.0, "objective of the telescope")
    _bar(ax, RETICLE - 0.3, AXIS - 4.6, 0.6, 9.2, "reticle", style.VERMILION)
    _lens(ax, EYEPIECE, 4, 0.9, "eyepiece")
    for up in (-7.2, 4.8):
        _bar(ax, EYEPIECE - 1.4, AXIS + up, 3.4, 2.4, "eyepiece ring", style.BLUE)
    ax.add_patch(Arc((EYE, AXIS), 9, 9, theta1=115, theta2=245, color=style.BLACK, linewidth=2, zorder=3))
    ax.add_patch(Ellipse((EYE - 3.2, AXIS), 1.4, 4, facecolor=style.BLACK, zorder=4))
    style.note(ax, EYE + 0.6, AXIS, "eye", color=style.DIM, ha="left")
