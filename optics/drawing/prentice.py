"""Prentice's rule drawn: a lens looked through away from its optical centre.

Left, the lens from the front with the point looked through and the prism there.
Right, a section of the lens along the line from the centre to that point, with
the ray bent towards the thicker side, which is the base.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of, named_eye
from optics.errors import OpticsError
from optics.lens.power import Power
from optics.lens.prism import Prism, nasal, prism_at

LENS_RADIUS_MM = 30.0
"""Half of a round lens of usual size; points must lie on it."""
LONGEST_ARROW = 0.35
"""Length of the prism arrow, in lens radii, for the strongest prism drawn to scale."""


def draw_looked_through(ax: Axes, power: Power, x_mm: float, y_mm: float, eye: str) -> Axes:
    """Draw a lens from the front with the point looked through and the prism there.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    power : Power
        One lens.
    x_mm, y_mm : float
        The point, from the optical centre, millimetres; x to the viewer's right.
    eye : {"R", "L"}
        So that the base can be named.

    Returns
    -------
    Axes
        The axes given.
    """
    style.lens_field(ax, 40.0, 44.0)
    style.ring(ax, 1.0, "lens", style.GREY)
    x, y = x_mm / LENS_RADIUS_MM, y_mm / LENS_RADIUS_MM
    ax.plot([0], [0], marker="+", markersize=14, markeredgewidth=2.0, color=style.BLACK, gid="optical centre")
    prism = prism_at(power, x_mm, y_mm)
    if x_mm or y_mm:
        ax.plot([0, x], [0, y], **style.PART, gid="distance")
    if float(prism.amount) > 0.005:
        size = min(LONGEST_ARROW, max(0.22, float(prism.amount) / 10.0)) / float(prism.amount)
        tip = (x + size * float(prism.x), y + size * float(prism.y))
        style.arrow(ax, (x, y), tip, style.PRISM, gid="prism")
    ax.plot([x], [y], marker="o", markersize=8, color=style.BLACK, gid="point looked through")
    # The centre's label stands on the side away from the point.
    away = -1.0 if y_mm > 0 else 1.0
    upright = "bottom" if away > 0 else "top"
    style.beside(ax, "optical centre", (0, 0), (0, away * 12), va=upright, fontsize=style.SMALL)
    bases = " and ".join(
        f"{style.shown(amount, False)} base {base}" for amount, base in prism.bases(eye, 0.005)
    )
    style.around(ax, bases or "no prism here", 270, gap=10, fontsize=style.LABEL)
    where = describe.place(x_mm, y_mm, eye, "the centre").replace(" and ", "\nand ")
    style.around(ax, f"looked through {where}", 90, gap=6, fontsize=style.SMALL)
    side = -40 if nasal(eye) > 0 else 220
    style.around(ax, "nose", side, fontsize=style.SMALL, color=style.DIM)
    return ax


def draw_lens_section(ax: Axes, along: float, height_mm: float) -> Axes:
    """Draw a section of a lens with a ray that meets it away from the centre.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    along : float
        Power along the section, dioptres.
    height_mm : float
        Height of the ray above the optical centre, millimetres; negative below.

    Returns
    -------
    Axes
        The axes given. Thicknesses and angles are exaggerated; their sense is true.
    """
    style.plain_field(ax, (-1.5, 1.5), (-1.35, 1.35))
    heights = np.linspace(-1.0, 1.0, 61)
    # Half the thickness: a parabola, thick in the middle for plus, thin for minus.
    bulge = 0.22 * np.tanh(along / 4.0)
    half = 0.07 + (bulge * (1 - heights**2) if along >= 0 else -bulge * heights**2)
    ax.add_patch(
        Polygon(
            np.concatenate([np.stack([-half, heights], 1), np.stack([half, heights], 1)[::-1]]),
            closed=True,
            facecolor="#E6EEF5",
            edgecolor=style.BLACK,
            linewidth=style.LINE,
            gid="section",
        )
    )
    ax.plot(
        [-1.4, 1.4],
        [0, 0],
        color=style.GREY,
        linewidth=style.LINE,
        linestyle=(0, (6, 2, 1, 2)),
        gid="optical axis",
    )
    height = height_mm / LENS_RADIUS_MM
    bend = -0.4 * np.tanh(along * height_mm / 10.0 / 2.5)
    ax.plot([-1.4, 0, 1.25], [height, height, height + 1.25 * bend], **style.RAY, gid="ray")
    if abs(bend) > 1e-6:
        ax.plot([0, 1.25], [height, height], color=style.GREY, linewidth=style.LINE, linestyle=":")
        thick = "edge" if along < 0 else "centre"
        # Away from the ray, which may run out of the picture on its own side.
        style.note(ax, 0.0, -1.16 if height > 0 else 1.16, f"base towards the {thick}")
    return ax


def prentice(lens: LensLike, x_mm: float, y_mm: float, eye: str | None = None) -> Diagram:
    """A lens looked through away from its optical centre, ready to show or save.

    Parameters
    ----------
    lens : Power, Prescription, Crossed or str
        The lens; its ordered prism is left out.
    x_mm, y_mm : float
        The point looked through, from the optical centre, millimetres; x to the
        viewer's right, y up, seen from the front.
    eye : {"R", "L"}, optional
        The eye, where the lens does not say it.

    Raises
    ------
    OpticsError
        For text that cannot be read, no eye, or a point beyond the edge.

    Examples
    --------
    >>> prentice("R -3.00 DS", 0, -8)
    Diagram: Right lens, sphere minus 3.00, looked through 8 mm below its optical centre: the prism there is 2.40 base down.
    """
    given = lens_of(lens)
    side = named_eye(given.eye or eye)
    distance = float(np.hypot(x_mm, y_mm))
    if distance > LENS_RADIUS_MM:
        raise OpticsError(
            f"The point is {distance:.1f} mm from the optical centre.",
            f"The lens drawn ends {LENS_RADIUS_MM:g} mm from it.",
            "Give the distance in millimetres, not in other units.",
        )
    prism: Prism = prism_at(given.power, x_mm, y_mm)
    figure = style.canvas(8.4, 4.6)
    front = figure.add_axes((0.0, 0.06, 0.5, 0.84))
    draw_looked_through(front, given.power, x_mm, y_mm, side)
    section = figure.add_axes((0.52, 0.1, 0.46, 0.74))
    meridian = float(np.rad2deg(np.arctan2(y_mm, x_mm))) if distance else 90.0
    # A point straight to one side has no above or below; it is drawn above.
    height = distance if y_mm >= 0 else -distance
    draw_lens_section(section, float(given.power.along(meridian)), height)
    style.heading(figure, f"{side}  {given.written}".replace("-", "−"))
    style.footing(figure, "seen from the front", 0.25)
    style.footing(figure, f"section along {style.degrees_shown(meridian)}, not to scale", 0.75)
    alt = describe.prentice(given.power, x_mm, y_mm, prism, side)
    return Diagram(figure, alt, title=f"Prism away from the centre, {given.written}")
