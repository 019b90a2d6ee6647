"""A pair as it lies before you: seen from the front (or the back), and its frame from above."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.textpath import TextPath
from matplotlib.transforms import Affine2D

from optics.drawing import style
from optics.drawing.diagram import Diagram
from optics.pair.appearance import front_scene
from optics.pair.frame import Frame
from optics.pair.scene import Part, Scene
from optics.pair.spectacles import Spectacles

ROOM_MM = 8.0
"""White round the pair."""

# Glass is drawn over the temples, and whatever is on a lens over the glass.
_LOOKS: dict[str, dict[str, Any]] = {
    "temple": {"edgecolor": style.GREY, "facecolor": style.PALE, "linewidth": style.LINE},
    "pad": {"edgecolor": style.GREY, "facecolor": "white", "linewidth": style.LINE},
    "metal": {"edgecolor": style.BLACK, "facecolor": "white", "linewidth": style.LINE},
    "rim": {"edgecolor": style.BLACK, "facecolor": "white", "linewidth": 2.0},
    "lens": {"edgecolor": style.GREY, "facecolor": "#EEF4F8", "linewidth": style.LINE},
    "segment": {"edgecolor": style.BLACK, "facecolor": "none", "linewidth": 1.8},
    "engraved": {"edgecolor": style.DIM, "facecolor": "none", "linewidth": style.LINE},
    "ink": {"edgecolor": style.VERMILION, "facecolor": "none", "linewidth": 2.2},
    "dot": {"edgecolor": style.VERMILION, "facecolor": style.VERMILION, "linewidth": 2.0},
    "smear": {"edgecolor": "#9A9A9A", "facecolor": "none", "linewidth": 5.0, "alpha": 0.55},
}


def draw_front_view(ax: Axes, scene: Scene) -> Axes:
    """Draw a pair as it is seen, on axes of your own, in millimetres.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    scene : Scene
        What one sees, from `optics.pair.appearance.front_scene`.

    Returns
    -------
    Axes
        The axes given.
    """
    _draw(ax, scene.parts, scene.turned_over)
    foot = ax.get_ylim()[0]
    for eye, side in (("R", -1.0), ("L", 1.0)):
        # From the back the sides change places.
        x = side * (-1.0 if scene.turned_over else 1.0) * float(np.abs(scene.lens_outline("R")[:, 0]).mean())
        ax.text(x, foot, eye, ha="center", va="bottom", fontsize=style.TITLE, fontweight="bold", gid="eye")
    return ax


def draw_from_above(ax: Axes, scene: Scene) -> Axes:
    """Draw the frame of a pair seen from above, on axes of your own, in millimetres.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    scene : Scene
        What one sees.

    Returns
    -------
    Axes
        The axes given.
    """
    _draw(ax, scene.from_above)
    return ax


def _draw(ax: Axes, parts: tuple[Part, ...], mirrored: bool = False) -> None:
    points = np.vstack([part.points_mm for part in parts if not part.text])
    (left, low), (right, high) = points.min(0) - ROOM_MM, points.max(0) + ROOM_MM
    ax.set_xlim(left, right)
    ax.set_ylim(low, high)
    ax.set_aspect("equal")
    ax.set_axis_off()
    glass: dict[str, PathPatch] = {}
    for part in parts:
        patch = PathPatch(_path(part, mirrored), zorder=2, gid=part.name, **_LOOKS[part.kind])
        if part.text:
            patch.set(facecolor=style.DIM, edgecolor="none", linewidth=style.LINE)
        ax.add_patch(patch)
        if part.kind == "lens" and part.eye:
            glass[part.eye] = patch
        elif part.eye in glass:
            patch.set_clip_path(glass[part.eye])


def _path(part: Part, mirrored: bool) -> Path:
    if not part.text:
        return Path(part.points_mm)
    # Letters as outlines: they change sides with the lens, and are cut off where it ends.
    letters = TextPath((0, 0), part.text, size=part.height_mm / 0.73, prop=FontProperties())
    box = letters.get_extents()
    middle = -np.array([(box.x0 + box.x1) / 2.0, (box.y0 + box.y1) / 2.0])
    return letters.transformed(
        Affine2D().translate(*middle).scale(-1.0 if mirrored else 1.0, 1.0).translate(*part.points_mm[0])
    )


def front_view(
    pair: Spectacles, frame: Frame, *, from_above: bool = True, title: str = "", **condition: Any
) -> Diagram:
    """A pair as it lies before you, ready to show or save.

    Parameters
    ----------
    pair : Spectacles
        The pair.
    frame : Frame
        Its frame.
    from_above : bool
        Whether to show the frame from above as well.
    title : str
        Line above the picture.
    **condition
        How it lies: `bends`, `smeared`, `dots`, `engraving`, `ink`, `turned_over`,
        as for `optics.pair.appearance.front_scene`.

    Returns
    -------
    Diagram

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> from optics.lens.power import Power
    >>> from optics.pair.spectacles import Mounted
    >>> lens = Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.0)))
    >>> frame = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
    >>> print(front_view(Spectacles(right=lens, left=lens), frame).alt.split(". ")[1])
    The frame is marked 52-18 and lies true
    """
    scene = front_scene(pair, frame, **condition)
    figure = style.canvas(9.6, 8.2 if from_above else 4.6)
    if from_above:
        draw_front_view(figure.add_axes((0.01, 0.47, 0.98, 0.46)), scene)
        draw_from_above(figure.add_axes((0.01, 0.09, 0.98, 0.36)), scene)
        figure.text(0.16, 0.26, "the frame\nfrom above", ha="center", va="center", fontsize=style.SMALL)
    else:
        draw_front_view(figure.add_axes((0.01, 0.10, 0.98, 0.82)), scene)
    style.heading(figure, title)
    style.footing(figure, f"seen from the {'back' if scene.turned_over else 'front'}")
    return Diagram(figure, scene.words, title=title or "A pair as it lies")
