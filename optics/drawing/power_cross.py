"""The power cross: both principal meridians of a lens with the power along each."""

from __future__ import annotations

from collections.abc import Collection

from matplotlib.axes import Axes

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of

SIDE_ROOM, TALL_ROOM, FOOT_ROOM = 84.0, 46.0, 10.0


def draw_power_cross(
    ax: Axes,
    lens: LensLike | None,
    *,
    meridians: str = "both",
    blank: Collection[str] = (),
    axis: str | None = None,
) -> Axes:
    """Draw a power cross on axes of your own.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    lens : Power, Prescription, Crossed, str or None
        The lens, in any cylinder form, or as two powers with their meridians
        ("+2.50 along 170 / +1.00 along 080"). None for an empty outline.
    meridians : {"both", "higher", "lower", "none"}
        Which principal meridians to draw: the more plus power, the more minus
        power. "none" leaves an outline with its axis scale, to draw on.
    blank : collection of {"powers", "meridians", "axis"}
        Labels that are left for the learner to write.
    axis : {"minus", "plus"}, optional
        Mark the axis of the lens's minus or plus cylinder.

    Returns
    -------
    Axes
        The axes given.

    Raises
    ------
    OpticsError
        The reader's sentence, for text that cannot be read.
    """
    _checked_options(meridians, blank, axis)
    style.lens_field(ax, SIDE_ROOM, TALL_ROOM, TALL_ROOM if axis else FOOT_ROOM)
    if lens is None or meridians == "none":
        style.outline(ax, numbers="outside")
        return ax
    to_read_off = "meridians" in blank or "axis" in blank
    style.outline(ax, numbers="inside" if to_read_off else "")
    power = lens_of(lens).power
    higher, higher_at, lower, lower_at = (float(v) for v in power.principal())
    alike = style.shown(higher - lower) == "0.00"
    if alike:
        higher_at, lower_at = 180.0, 90.0
    drawn = {
        "higher": (higher, higher_at, style.HIGHER),
        "lower": (lower, lower_at, style.HIGHER if alike else style.LOWER),
    }
    for name, (value, meridian, look) in drawn.items():
        if meridians not in ("both", name):
            continue
        x, y = style.unit(meridian)
        ax.plot([-x, x], [-y, y], **look, gid=f"{name} meridian")
        strength = style.BLANK if "powers" in blank else style.shown(value)
        where = style.BLANK if "meridians" in blank else style.degrees_shown(meridian)
        style.around(ax, f"{strength}\nalong {where}", meridian, fontsize=style.LABEL)
    if axis and not alike:
        _draw_axis(ax, higher_at if axis == "minus" else lower_at, "axis" in blank)
    return ax


def _draw_axis(ax: Axes, degrees: float, blank: bool) -> None:
    # Outside the outline and at the end that carries no power: the axis lies on a
    # meridian that is drawn and labelled already.
    end = degrees + 180.0
    x, y = style.unit(end)
    ax.plot(
        [x * 1.03, x * 1.17],
        [y * 1.03, y * 1.17],
        color=style.GREEN,
        linewidth=5.0,
        solid_capstyle="butt",
        gid="cylinder axis",
    )
    style.around(ax, f"axis {style.BLANK if blank else style.degrees_shown(degrees)}", end, gap=20.0)


def _checked_options(meridians: str, blank: Collection[str], axis: str | None) -> None:
    if meridians not in ("both", "higher", "lower", "none"):
        raise ValueError(f"meridians is both, higher, lower or none, not {meridians!r}")
    if isinstance(blank, str) or not set(blank) <= {"powers", "meridians", "axis"}:
        raise ValueError(f"blank is a collection of powers, meridians and axis, not {blank!r}")
    if axis not in (None, "minus", "plus"):
        raise ValueError(f"axis is minus or plus, not {axis!r}")


def power_cross(
    lens: LensLike | None,
    *,
    meridians: str = "both",
    blank: Collection[str] = (),
    axis: str | None = None,
    title: str | None = None,
) -> Diagram:
    """The power cross of one lens, ready to show or save.

    Parameters
    ----------
    lens, meridians, blank, axis
        As for `draw_power_cross`.
    title : str, optional
        Line above the cross. By default the lens as it was written, unless
        something is left blank.

    Raises
    ------
    OpticsError
        The reader's sentence, for text that cannot be read.

    Examples
    --------
    >>> power_cross("+2.50 -1.50 x 170")
    Diagram: Power cross, seen from the front: plus 2.50 along meridian 170 and plus 1.00 along meridian 80.
    """
    figure = style.canvas(4.8, 4.4 if axis else 4.0)
    ax = figure.add_axes((0.0, 0.07, 1.0, 0.85))
    draw_power_cross(ax, lens, meridians=meridians, blank=blank, axis=axis)
    given = lens_of(lens) if lens is not None else None
    eye = given.eye if given else None
    if title is None:
        open_to_see = given is not None and not blank and meridians == "both"
        title = given.written.replace("-", "−") if given and open_to_see else ""
    heading = "  ".join(part for part in (eye, title) if part)
    style.heading(figure, heading)
    style.footing(figure, "seen from the front")
    alt = describe.power_cross(
        given.power if given else None, eye=eye, meridians=meridians, blank=blank, axis=axis
    )
    return Diagram(figure, alt, title=f"Power cross {title}".strip())
