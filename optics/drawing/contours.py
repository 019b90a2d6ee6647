"""Contour lines of a lens whose power changes from place to place."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle
from numpy.typing import NDArray

from optics.drawing import describe_zones, style
from optics.drawing.diagram import Diagram
from optics.drawing.lens_marks import draw_progressive_marks, lens_view
from optics.lens.lens import BACK
from optics.lens.progressive import Progressive

MEAN_POWER = "mean power"
UNWANTED_ASTIGMATISM = "unwanted astigmatism"
QUANTITIES = (MEAN_POWER, UNWANTED_ASTIGMATISM)
STEP, RADIUS_MM = 0.5, 30.0

_TITLES = {MEAN_POWER: "mean power beyond distance", UNWANTED_ASTIGMATISM: UNWANTED_ASTIGMATISM}


def _mapped(lens: Progressive, quantity: str, x: Any, y: Any, against: str) -> NDArray[np.float64]:
    if quantity not in QUANTITIES:
        raise ValueError(f"quantity is one of {QUANTITIES}, not {quantity!r}")
    # What the prescription asks for is taken off: it is no gain, and its cylinder is wanted.
    beyond = lens.power_map(x, y, against) - lens.power_map(*lens.distance_reference_point, against)
    return np.asarray(beyond.mean if quantity == MEAN_POWER else beyond.astigmatism)


def _over_the_lens(lens: Progressive, quantity: str, radius_mm: float, against: str) -> tuple[NDArray, ...]:
    # A little more than the lens, so that lines run out under the rim and are cut there.
    x, y = np.meshgrid(*[np.linspace(-radius_mm - 2.0, radius_mm + 2.0, 129)] * 2)
    values = _mapped(lens, quantity, x, y, against)
    return x, y, np.where(np.hypot(x, y) <= radius_mm + 1.0, values, np.nan)


def draw_power_contours(
    ax: Axes,
    lens: Progressive,
    quantity: str = MEAN_POWER,
    *,
    step: float = STEP,
    radius_mm: float = RADIUS_MM,
    against: str = BACK,
) -> Axes:
    """Draw contour lines and the ink marks on axes of your own.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    lens : Progressive
        The lens, drawn as seen from the front.
    quantity : {"mean power", "unwanted astigmatism"}
        What the lines show: the mean power that a point has more than the
        distance reference point, or the astigmatism beside the prescribed cylinder.
    step : float
        Dioptres from line to line. There is no line at 0, which would wander all
        over the distance zone.
    radius_mm : float
        Radius of the lens drawn, millimetres.
    against : {"back", "front"}
        The side the power is read from; the view is from the front either way.

    Returns
    -------
    Axes
        The axes given.
    """
    lens_view(ax, radius_mm, lens.eye)
    x, y, values = _over_the_lens(lens, quantity, radius_mm, against)
    levels = step * np.arange(np.floor(np.nanmin(values) / step), np.ceil(np.nanmax(values) / step) + 1)
    levels = levels[np.abs(levels) > step / 4] if quantity == MEAN_POWER else levels
    filled = ax.contourf(x, y, values, levels=levels, colors=_shades(len(levels) + 1), extend="both")
    lines = levels[np.abs(levels) > step / 4]
    drawn = ax.contour(x, y, values, levels=lines, colors=style.BLACK, linewidths=style.LINE, linestyles="-")
    drawn.set_gid(quantity)
    signed = quantity == MEAN_POWER
    numbers = ax.clabel(
        drawn, fmt=lambda value: style.shown(value, signed), fontsize=style.SMALL, inline=False
    )
    for number in numbers:
        if np.hypot(*number.get_position()) > 0.93 * radius_mm:
            number.remove()
        else:
            number.set_bbox(style.CLEAR | {"pad": 0.5})
    rim = Circle((0, 0), radius_mm, transform=ax.transData, fill=False)
    filled.set_clip_path(rim)
    drawn.set_clip_path(rim)
    draw_progressive_marks(ax, lens, engraved=False, names=False)
    return ax


def _shades(count: int) -> NDArray[np.float64]:
    """From white to a middle blue, light enough for black text, from the lowest band to the highest."""
    dark = np.array([0x56, 0xB4, 0xE9]) / 255.0
    return 1.0 - np.linspace(0.0, 1.0, count)[:, None] * (1.0 - dark)


def power_contours(lens: Progressive, quantity: str | None = None, *, against: str = BACK) -> Diagram:
    """Contour lines of a progressive lens, ready to show or save.

    Parameters
    ----------
    lens, against
        As for `draw_power_contours`.
    quantity : str, optional
        One quantity; both side by side if left out.
    """
    shown = QUANTITIES if quantity is None else (quantity,)
    figure = style.canvas(5.2 * len(shown), 5.6)
    said = []
    for place, name in enumerate(shown):
        ax = figure.add_axes((place / len(shown) + 0.01, 0.08, 1 / len(shown) - 0.02, 0.82))
        draw_power_contours(ax, lens, name, against=against)
        ax.set_title(f"{lens.eye}  {_TITLES[name]}, D", fontsize=style.LABEL)
        said.append(_words(lens, name, against))
    style.footing(figure, "seen from the front")
    return Diagram(figure, " ".join(said), title=f"Contours of {' and '.join(shown)}")


def _words(lens: Progressive, quantity: str, against: str) -> str:
    x, y, values = _over_the_lens(lens, quantity, RADIUS_MM, against)
    most = np.unravel_index(np.argmax(np.where(np.hypot(x, y) <= RADIUS_MM, values, -np.inf)), values.shape)
    points = {
        "distance reference point": lens.distance_reference_point,
        "fitting cross": lens.fitting_cross,
        "near reference point": lens.near_reference_point,
    }
    return describe_zones.power_contours(
        quantity,
        lens.eye,
        STEP,
        [(name, float(_mapped(lens, quantity, *at, against))) for name, at in points.items()],
        (float(values[most]), round(float(x[most])), round(float(y[most]))),
        "the prism reference point",
    )
