"""Prism on the eyepiece's rings: where the crossing stands, and its two parts with their bases."""

from __future__ import annotations

import math

from matplotlib.axes import Axes

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.given import prism_of
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism, nasal

SIDE_ROOM, BARE_ROOM, TALL_ROOM = 118.0, 36.0, 24.0
GAP = 6.0
LINE_HEIGHT = 15.0
FINE = 10
"""Up to this many prism dioptres every ring is drawn, beyond it every fifth."""


def draw_prism_displacement(
    ax: Axes, prism: Prism, eye: str, *, resolve: bool = True, blank: bool = False
) -> Axes:
    """Draw the displaced crossing on prism rings, on axes of your own.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    prism : Prism
        Prism over the stop, as the operator sees it; the crossing moves towards
        the base (common practice).
    eye : {"R", "L"}
        Which eye, so that in and out can be named.
    resolve : bool
        Draw the horizontal and the vertical part, each named with its base.
    blank : bool
        Leave the amounts and bases open, for the learner to write.

    Returns
    -------
    Axes
        The axes given.
    """
    x, y = float(prism.x), float(prism.y)
    rings = _ring_count(prism)
    step = draw_prism_rings(ax, prism, eye, BARE_ROOM if blank else SIDE_ROOM) / rings
    if not prism.bases(eye, 0.005):
        _draw_crossing(ax, 0.0, 0.0)
        if not blank:
            style.around(ax, "no prism", 90)
        return ax
    style.arrow(ax, (0, 0), (x / rings, y / rings), style.PRISM, gid="prism")
    _draw_crossing(ax, x / rings, y / rings)
    parts = prism.bases(eye, 0.005)
    if resolve and len(parts) == 2:
        ax.plot([0, x / rings], [0, 0], **style.PART, gid="horizontal part")
        ax.plot([x / rings, x / rings], [0, y / rings], **style.PART, gid="vertical part")
    if not blank:
        _label(ax, (x * step, y * step), step * rings, parts if resolve else (), prism)
    return ax


def draw_prism_rings(ax: Axes, prism: Prism, eye: str, side_room: float = BARE_ROOM) -> float:
    """Draw empty rings wide enough for a prism, for the learner to draw it; their radius in points."""
    radius = style.lens_field(ax, side_room, TALL_ROOM)
    _draw_rings(ax, _ring_count(prism))
    towards = nasal(eye)
    for side, word in ((towards, "nose"), (-towards, "temple")):
        ax.text(
            0.5 + side * 0.42,
            0.03,
            word,
            ha="right" if side > 0 else "left",
            fontsize=style.SMALL,
            color=style.DIM,
            transform=ax.transAxes,
        )
    return radius


def name_rings(ax: Axes, prism: Prism) -> None:
    """Write under the rings of such a prism what one of them is."""
    words = f"one ring: {_each(_ring_count(prism))} Δ"
    ax.text(0.5, 0.03, words, ha="center", fontsize=style.SMALL, color=style.DIM, transform=ax.transAxes)


def _each(rings: int) -> int:
    return 1 if rings <= FINE else 5


def _ring_count(prism: Prism) -> int:
    amount = math.ceil(float(prism.amount) - 0.05)
    return max(5, amount) if amount <= FINE else 5 * math.ceil(amount / 5)


def _draw_rings(ax: Axes, rings: int) -> None:
    each = _each(rings)
    for ring in range(1, rings + 1):
        if ring % each == 0:
            style.ring(ax, ring / rings, "ring")
    for x, y in ((1, 0), (0, 1)):
        ax.plot([-x, x], [-y, y], color=style.PALE, linewidth=style.LINE, zorder=0.5)


def _draw_crossing(ax: Axes, x: float, y: float) -> None:
    ax.plot([x], [y], marker="+", markersize=16, markeredgewidth=2.5, color=style.BLACK, gid="crossing")


def _label(
    ax: Axes,
    at: tuple[float, float],
    edge: float,
    parts: tuple[tuple[float, str], ...],
    prism: Prism,
) -> None:
    """Name the parts and the whole, each beside its line and clear of the others.

    Positions are points from the centre of the rings.
    """
    x, y = at
    right, up = (1 if x >= 0 else -1), (1 if y >= 0 else -1)
    outward = "left" if right > 0 else "right"
    whole = prism.written("R", "360")  # a direction round the circle is the same for both eyes

    def write(text: str, px: float, py: float, ha: str, va: str) -> None:
        style.beside(ax, text, (0, 0), (px, py), ha=ha, va=va, fontsize=style.TEXT, zorder=5)

    if len(parts) == 2:
        (across, across_base), (upright, upright_base) = parts
        # Below the horizontal part when the prism points up, above it otherwise.
        write(
            f"{style.shown(across, False)} base {across_base}",
            right * GAP,
            -up * GAP,
            outward,
            "top" if up > 0 else "bottom",
        )
        beside = up * max(abs(y) / 2, LINE_HEIGHT * 0.6)
        write(f"{style.shown(upright, False)} base {upright_base}", x + right * 14, beside, outward, "center")
        end = up * max(abs(y) + GAP, LINE_HEIGHT * 1.3)
        write(whole, x, end, "center", "bottom" if up > 0 else "top")
    elif len(parts) == 1:
        ((amount, base),) = parts
        text = f"{style.shown(amount, False)} base {base}"
        if abs(x) > abs(y):
            write(text, x / 2, GAP + 4, "center", "bottom")
        else:
            write(text, 12, y / 2, "left", "center")
    else:
        write(whole, x, y + up * (GAP + 6), "center", "bottom" if up > 0 else "top")


def prism_displacement(
    prism: Prism | Prescription | str,
    eye: str | None = None,
    *,
    resolve: bool = True,
    blank: bool = False,
) -> Diagram:
    """What the eyepiece shows of a prism, ready to show or save.

    Parameters
    ----------
    prism : Prism, Prescription or str
        The prism; text may be a whole prescription, or the prism alone
        ("R 2.00 base in 1.50 base up").
    eye : {"R", "L"}, optional
        The eye, where the text does not say it.
    resolve, blank
        As for `draw_prism_displacement`.

    Raises
    ------
    OpticsError
        For text that cannot be read, a line without prism, or no eye.

    Examples
    --------
    >>> prism_displacement("R 2.00 base in")
    Diagram: Prism rings, right lens: the crossing of the target stands to the right of the centre: 2.00 base in.
    """
    met, side = prism_of(prism, eye)
    figure = style.canvas(7.0, 4.8)
    ax = figure.add_axes((0.0, 0.06, 1.0, 0.86))
    draw_prism_displacement(ax, met, side, resolve=resolve, blank=blank)
    style.heading(figure, side)
    each = _each(_ring_count(met))
    style.footing(figure, f"as seen in the eyepiece; one ring is {each} prism dioptre{'s' * (each > 1)}")
    alt = describe.prism_displacement(met, side, blank=blank)
    return Diagram(figure, alt, title=f"Prism, {describe.EYES[side]} lens")
