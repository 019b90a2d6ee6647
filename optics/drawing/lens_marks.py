"""What one sees on a multifocal lens held up to the light: marks, and the lines of a segment."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Circle

from optics.drawing import describe_zones, style
from optics.drawing.diagram import Diagram
from optics.lens.multifocal import Multifocal
from optics.lens.prism import nasal
from optics.lens.progressive import Progressive
from optics.lens.progressive_marks import Mark, marks

_ENGRAVED = {"color": style.DIM, "linewidth": style.LINE}
_INK = {"color": style.VERMILION, "linewidth": 2.0}


def lens_view(ax: Axes, radius_mm: float, eye: str) -> Axes:
    """Set axes up as the front view of a round lens, in millimetres, with nasal and temporal named.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    radius_mm : float
        Radius of the lens, millimetres.
    eye : {"R", "L"}
        Which lens.

    Returns
    -------
    Axes
        The axes given.
    """
    room = radius_mm * 1.22
    style.plain_field(ax, (-room, room), (-room, room))
    style.ring(ax, radius_mm, "lens", style.GREY, linewidth=2.0, zorder=5)
    for side, name in ((nasal(eye), "nasal"), (-nasal(eye), "temporal")):
        style.note(ax, side * radius_mm * 1.06, 0.0, name, rotation=90, color=style.DIM)
    return ax


def draw_progressive_marks(
    ax: Axes, lens: Progressive, *, ink: bool = True, engraved: bool = True, names: bool = True
) -> Axes:
    """Draw the marks of a progressive lens on a front view in millimetres.

    Parameters
    ----------
    ax : Axes
        Axes set up by `lens_view`.
    lens : Progressive
        The lens.
    ink, engraved : bool
        Which marks to draw.
    names : bool
        Whether to write what each is called.

    Returns
    -------
    Axes
        The axes given.
    """
    for mark in marks(lens, ink=ink):
        if engraved or not mark.permanent:
            _draw_mark(ax, mark)
            if names:
                _name_mark(ax, mark)
    return ax


def _draw_mark(ax: Axes, mark: Mark) -> None:
    look: dict[str, Any] = dict(_ENGRAVED if mark.permanent else _INK)
    x, y, half = mark.x_mm, mark.y_mm, mark.size_mm / 2.0
    if mark.shape == "text":
        style.note(ax, x, y, mark.text, fontsize=style.TEXT, color=style.DIM, gid=mark.name)
    elif mark.shape in ("ring", "circle"):
        dash = "-" if mark.permanent else (0, (4, 2))
        patch = Circle((x, y), half, fill=False, edgecolor=look["color"], linewidth=look["linewidth"])
        patch.set(linestyle=dash, gid=mark.name)
        ax.add_patch(patch)
    elif mark.shape == "dot":
        ax.plot([x], [y], "o", color=look["color"], markersize=6, gid=mark.name)
    else:
        ax.plot([x - half, x + half], [y, y], **look, gid=mark.name)
        if mark.shape == "cross":
            ax.plot([x, x], [y - half, y + half], **look)


_NAMED_AT = {
    "engraved ring": (0.0, 7.0, "center", "bottom"),
    "addition": (0.0, -2.0, "center", "top"),
    "maker's sign": (0.0, -2.0, "center", "top"),
    "distance circle": (0.0, 6.0, "center", "bottom"),
    "fitting cross": (4.6, 0.0, "left", "center"),
    "prism reference point": (0.0, -1.6, "center", "top"),
    "near circle": (0.0, -4.8, "center", "top"),
}


def _name_mark(ax: Axes, mark: Mark) -> None:
    if mark.name in _NAMED_AT:
        dx, dy, ha, va = _NAMED_AT[mark.name]
        name = mark.name.replace("engraved ", "engraved\n")
        style.note(ax, mark.x_mm + dx, mark.y_mm + dy, name, ha=ha, va=va, linespacing=1.05)
        if dy > 2.0 and mark.permanent:
            ax.plot(
                [mark.x_mm] * 2,
                [mark.y_mm + 1.6, mark.y_mm + dy - 0.4],
                color=style.PALE,
                linewidth=style.LINE,
            )


def progressive_marks(lens: Progressive) -> Diagram:
    """The marks of a progressive lens, engraved and in ink, ready to show or save.

    Parameters
    ----------
    lens : Progressive
        The lens.
    """
    radius = 30.0
    figure = style.canvas(6.4, 6.6)
    ax = figure.add_axes((0.01, 0.05, 0.98, 0.88))
    lens_view(ax, radius, lens.eye)
    draw_progressive_marks(ax, lens)
    style.heading(figure, lens.eye)
    style.footing(figure, "seen from the front; thin and grey: engraved; bold and orange: ink")
    words = describe_zones.progressive_marks(marks(lens), lens.eye)
    return Diagram(figure, words, title="Progressive lens marks")


def draw_segment(ax: Axes, lens: Multifocal) -> Axes:
    """Draw the lines of a segment and the centres of a lens on a front view in millimetres.

    Parameters
    ----------
    ax : Axes
        Axes set up by `lens_view`.
    lens : Multifocal
        The lens.

    Returns
    -------
    Axes
        The axes given.
    """
    rim = next((patch for patch in ax.patches if patch.get_gid() == "lens"), None)
    for line in lens.lines_mm():
        (drawn,) = ax.plot(line[:, 0], line[:, 1], color=style.BLACK, linewidth=2.0, gid="segment line")
        if rim is not None:
            drawn.set_clip_path(rim)
    for (x, y), mark, name, away in (
        ((0.0, 0.0), "+", "distance reference point", 1.6),
        (lens.segment_centre, "x", "segment centre", -1.8),
    ):
        ax.plot([x], [y], mark, color=style.BLUE, markersize=11, markeredgewidth=2.0, gid=name)
        style.note(ax, x, y + away, name, va="bottom" if away > 0 else "top", bbox=style.CLEAR)
    return ax


def multifocal_lens(lens: Multifocal) -> Diagram:
    """A lined multifocal with its segment and centres, ready to show or save.

    Parameters
    ----------
    lens : Multifocal
        The lens.
    """
    figure = style.canvas(5.4, 5.6)
    ax = figure.add_axes((0.01, 0.06, 0.98, 0.86))
    lens_view(ax, 28.0, lens.eye)
    draw_segment(ax, lens)
    style.heading(figure, lens.eye)
    style.footing(figure, "seen from the front")
    return Diagram(figure, describe_zones.segment(lens), title=f"{lens.segment.shape} segment")
