"""The axis dial: the TABO scale of one eye or both, with the cylinder's axis on it."""

from __future__ import annotations

from collections.abc import Mapping

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.errors import OpticsError
from optics.lens.angles import checked_axis
from optics.lens.parsing import parse, parse_axis, parse_pair
from optics.lens.prescription import Prescription
from optics.lens.prism import nasal

AxisLike = int | Prescription | str
SIDE_ROOM, TALL_ROOM = 76.0, 28.0


def draw_axis_dial(
    ax: Axes, axis: float | None, eye: str | None = None, *, blank: bool = False, bare: bool = False
) -> Axes:
    """Draw one axis dial on axes of your own.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    axis : float or None
        Axis of the cylinder, degrees on the TABO scale, seen from the front.
        None draws no axis line, for the learner to draw it.
    eye : {"R", "L"}, optional
        Written beside the dial, on the temple's side.
    blank : bool
        Draw the axis line but leave its number open, for the learner to read.
    bare : bool
        Write nothing at the axis line; the scale's numbers then stand outside,
        where a small dial has room for them.

    Returns
    -------
    Axes
        The axes given.
    """
    style.lens_field(ax, SIDE_ROOM, TALL_ROOM)
    style.outline(ax, numbers="outside" if bare else "inside")
    if axis is not None:
        x, y = style.unit(axis)
        ax.plot([-x, x], [-y, y], **style.AXIS, gid="axis")
        if not bare:
            number = style.BLANK if blank else style.degrees_shown(axis)
            style.around(ax, f"axis {number}", axis, fontsize=style.LABEL)
    if eye is not None:
        towards = nasal(eye)
        style.around(ax, eye, 220 if towards > 0 else -40, fontsize=style.TITLE, fontweight="bold")
    return ax


def axis_dial(
    axis: AxisLike | None = None,
    *,
    right: AxisLike | None = None,
    left: AxisLike | None = None,
    eye: str | None = None,
    blank: bool = False,
) -> Diagram:
    """One axis dial, or the dials of both eyes side by side with the nose between.

    Parameters
    ----------
    axis : int, Prescription, str or None
        Axis for a single dial: a number, a prescription, or text ("R +1.00 -0.50
        x 015"). Text of a pair ("R +1.00 -0.50 x 015; L +1.00 DS") gives both
        dials. None gives an empty dial.
    right, left : int, Prescription or str, optional
        Axes of a pair; naming either draws both dials.
    eye : {"R", "L"}, optional
        Eye of a single dial, where a prescription does not say it.
    blank : bool
        Leave the numbers open, for the learner to read.

    Raises
    ------
    OpticsError
        For an axis outside 1 to 180, or text that cannot be read.

    Examples
    --------
    >>> axis_dial("R +1.00 -0.50 x 015; L +1.00 -0.50 x 165")
    Diagram: Axis dials, seen from the front: right lens, axis 15; left lens, axis 165.
    """
    if isinstance(axis, str) and (";" in axis or "\n" in axis.strip()):
        pair = parse_pair(axis)
        # One lens of a pair may well be a sphere: its dial stays empty.
        return _both({line.eye: line.axis for line in pair}, blank)
    if right is not None or left is not None:
        return _both({"R": _axis_of(right)[0], "L": _axis_of(left)[0]}, blank)
    number, named = _axis_of(axis)
    eye = named or eye
    figure = style.canvas(4.6, 3.8)
    ax = figure.add_axes((0.0, 0.07, 1.0, 0.91))
    draw_axis_dial(ax, number, eye, blank=blank)
    if eye is not None:
        side = -40 if nasal(eye) > 0 else 220
        style.around(ax, "nose", side, fontsize=style.SMALL, color=style.DIM)
    style.footing(figure, "seen from the front")
    return Diagram(figure, describe.axis_dial({eye: number}, blank), title="Axis dial")


def _axis_of(given: AxisLike | None) -> tuple[int | None, str | None]:
    if given is None:
        return None, None
    if isinstance(given, str) and given.strip().isdigit():
        given = parse_axis(given)
    if isinstance(given, str):
        given = parse(given)
    if not isinstance(given, Prescription):
        return checked_axis(given), None
    if given.axis is None:
        raise OpticsError(
            f'"{given}" has no cylinder.', "An axis belongs to a cylinder.", "Leave this dial empty."
        )
    return given.axis, given.eye


def _both(axes: Mapping[str | None, int | None], blank: bool) -> Diagram:
    figure = style.canvas(9.4, 3.8)
    # The right lens stands on the left, as it does when one looks at the front of a pair.
    for eye, left in (("R", 0.0), ("L", 0.53)):
        ax = figure.add_axes((left, 0.07, 0.47, 0.91))
        draw_axis_dial(ax, axes[eye], eye, blank=blank)
    draw_nose(figure)
    style.footing(figure, "seen from the front")
    return Diagram(figure, describe.axis_dial(axes, blank), title="Axis dials")


def draw_nose(figure: Figure, bottom: float = 0.2, top: float = 0.68) -> None:
    """Draw the nose between two dials, from and to these parts of the figure's height."""
    high = top - bottom
    points = [
        (0.462, bottom),
        (0.499, bottom + 0.2 * high),
        (0.49, bottom + 0.85 * high),
        (0.5, top),
        (0.51, bottom + 0.85 * high),
        (0.501, bottom + 0.2 * high),
        (0.538, bottom),
    ]
    curve = Path(points, [Path.MOVETO, *[Path.CURVE3] * 6])
    nose = PathPatch(curve, fill=False, edgecolor=style.GREY, linewidth=style.LINE, gid="nose")
    nose.set_transform(figure.transFigure)
    figure.add_artist(nose)
    figure.text(0.5, bottom - 0.02, "nose", ha="center", va="top", fontsize=style.SMALL, color=style.DIM)
