"""The crossed line seen through a lens in the hand: hand neutralization."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyArrowPatch

from optics.drawing import style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of
from optics.instrument.crossed_line import LIMBS, CrossSeen, cross_seen, told
from optics.instrument.neutralizing import Held

LENS_RADIUS_MM = 24.0
HALF_FIELD_MM = 46.0


def draw_crossed_line(
    ax: Axes,
    seen: CrossSeen,
    *,
    moved_mm: tuple[float, float] = (0.0, 0.0),
    turned_degrees: float = 0.0,
) -> Axes:
    """Draw the cross, outside a lens and through it, on axes of your own, in millimetres.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    seen : CrossSeen
        The cross as the lens shows it, from `optics.instrument.crossed_line.cross_seen`.
    moved_mm : (float, float)
        Where the lens has been moved to, from the line of sight.
    turned_degrees : float
        How far the lens has been turned, anticlockwise.

    Returns
    -------
    Axes
        The axes given.
    """
    field = HALF_FIELD_MM
    style.plain_field(ax, (-field, field), (-field, field))
    for limb, direction in LIMBS.items():
        x, y = style.unit(direction)
        ax.plot(
            [-field * x, field * x],
            [-field * y, field * y],
            color=style.BLACK,
            linewidth=2.0,
            zorder=1,
            gid=f"{limb} line",
        )
    lens = Circle(
        moved_mm,
        LENS_RADIUS_MM,
        facecolor="#EEF4F8",
        edgecolor=style.GREY,
        linewidth=2.5,
        zorder=2,
        gid="lens",
    )
    ax.add_patch(lens)
    if seen.look != "lost":
        for limb in LIMBS:
            (line,) = ax.plot(
                *seen.limb_mm(limb).T,
                color=style.BLACK,
                linewidth=3.0,
                zorder=3,
                gid=f"{limb} line through the lens",
            )
            line.set_clip_path(lens)
    _draw_hand(ax, moved_mm, turned_degrees)
    return ax


def _draw_hand(ax: Axes, moved_mm: tuple[float, float], turned_degrees: float) -> None:
    """Arrows that say what was done to the lens, clear of the cross."""
    look: dict[str, Any] = {"color": style.BLUE, "linewidth": 2.5, "mutation_scale": 18, "zorder": 5}
    if any(moved_mm):
        # From where the reference point was to where it is now, below and left of the cross.
        start = np.array([-0.62, -0.72]) * HALF_FIELD_MM
        end = start + moved_mm
        ax.add_patch(FancyArrowPatch(tuple(start), tuple(end), arrowstyle="-|>", gid="moved", **look))
        low = min(start[1], end[1])
        style.note(ax, start[0], low - 2.0, "lens moved", va="top")
    if turned_degrees:
        # A short arc over the upper left rim, where no limb of the cross lies.
        middle, half = 135.0, max(8.0, abs(turned_degrees) / 2.0)
        ends = (middle - half, middle + half) if turned_degrees > 0 else (middle + half, middle - half)
        reach = 1.16 * LENS_RADIUS_MM
        start, end = (reach * np.array(style.unit(at)) + moved_mm for at in ends)
        bend = 0.25 if turned_degrees > 0 else -0.25
        ax.add_patch(
            FancyArrowPatch(
                tuple(start),
                tuple(end),
                arrowstyle="-|>",
                connectionstyle=f"arc3,rad={bend}",
                gid="turned",
                **look,
            )
        )
        x, y = reach * np.array(style.unit(middle)) * 1.12 + moved_mm
        ax.text(x, y, f"turned {abs(turned_degrees):g}°", ha="right", va="bottom", fontsize=style.SMALL)
    ax.add_patch(Circle(moved_mm, 0.9, facecolor="none", edgecolor=style.BLUE, linewidth=1.8, zorder=4))


def crossed_line(
    lens: LensLike,
    *,
    moved_mm: tuple[float, float] = (0.0, 0.0),
    turned_degrees: float = 0.0,
    title: str = "",
) -> Diagram:
    """The crossed line through a lens that is moved or turned, ready to show or save.

    Parameters
    ----------
    lens : Power, Prescription, Crossed or str
        The lens in the hand.
    moved_mm : (float, float)
        How far it is moved, to the right and up.
    turned_degrees : float
        How far it is turned, anticlockwise.
    title : str
        Line above the picture. The power is not written unless you write it here.

    Raises
    ------
    OpticsError
        The reader's sentence, for text that cannot be read.

    Examples
    --------
    >>> print(crossed_line("+2.00 DS", moved_mm=(10, 0)).alt.split(". ")[2])
    The upright line is seen 4.0 mm to the left, moving against the lens
    """
    held = Held(power=lens_of(lens).power)
    seen = cross_seen(held, moved_mm, turned_degrees)
    figure = style.canvas(5.6, 6.0)
    ax = figure.add_axes((0.02, 0.07, 0.96, 0.86))
    draw_crossed_line(ax, seen, moved_mm=moved_mm, turned_degrees=turned_degrees)
    style.heading(figure, title)
    style.footing(figure, "as the holder sees it; ring: reference point of the lens")
    words = told(seen, cross_seen(held), moved_mm, turned_degrees)
    return Diagram(figure, f"A cross seen through a lens. {words}", title=title or "Crossed line")
