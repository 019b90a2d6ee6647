"""The view in the eyepiece as a picture for a page: one setting, or a strip of several."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.image import imsave
from matplotlib.patches import Circle
from numpy.typing import NDArray

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of, prism_of
from optics.errors import OpticsError
from optics.instrument.focimeter import FIELD, SPHERE_LINES, Settings, eyepiece_view
from optics.lens.lens import Lens, OverStop, SingleVision
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription

PIXELS = 480
LINE_END = (SPHERE_LINES.dashes - 1) / 2 * SPHERE_LINES.dash_spacing + SPHERE_LINES.dash_length / 2
"""From the crossing to the end of the lines, prism dioptres."""


def draw_eyepiece(ax: Axes, settings: Settings, met: OverStop, *, labels: bool = False) -> Axes:
    """Draw the round field of the eyepiece on axes of your own.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    settings : Settings
        How the instrument stands.
    met : OverStop
        What lies over the stop.
    labels : bool
        Name the sphere lines and the cylinder lines.

    Returns
    -------
    Axes
        The axes given.
    """
    style.lens_field(ax, 62.0 if labels else 8.0, 38.0 if labels else 8.0)
    picture = ax.imshow(
        eyepiece_view(settings, met, PIXELS),
        cmap="gray",
        vmin=0.0,
        vmax=1.0,
        extent=(-1, 1, -1, 1),
        aspect="auto",
        gid="field",
    )
    field = Circle((0, 0), 1.0, transform=ax.transData)
    picture.set_clip_path(field)
    # imshow takes over the limits; ours leave room for the labels.
    style.lens_field(ax, 62.0 if labels else 8.0, 38.0 if labels else 8.0)
    if labels:
        shift = met.prism.vector - (settings.compensator_x, settings.compensator_y)
        for name, direction in (("sphere", settings.wheel + 90.0), ("cylinder", settings.wheel)):
            _name_lines(ax, name, direction % 180.0 or 180.0, shift / FIELD)
    return ax


def brightness_png(picture: NDArray[np.float64]) -> bytes:
    """A view in the eyepiece as it is, brightness 0 to 1: a figure takes eight times as long to draw."""
    file = io.BytesIO()
    imsave(file, picture, format="png", cmap="gray", vmin=0.0, vmax=1.0)
    return file.getvalue()


def _name_lines(ax: Axes, name: str, direction: float, crossing: Any) -> None:
    # The name stands at the end that is in view; with a large prism one end is not.
    for at in (direction, direction + 180.0):
        x, y = style.unit(at)
        end = (crossing[0] + x * LINE_END / FIELD, crossing[1] + y * LINE_END / FIELD)
        if np.hypot(*end) < 0.92:
            ax.plot([x, end[0]], [y, end[1]], color=style.YELLOW, linewidth=style.LINE, gid=f"{name} lines")
            break
    else:
        at = direction
    style.around(ax, f"{name}\nlines", at, gap=6)


def _over_stop(lens: LensLike | Lens | OverStop) -> OverStop:
    """What lies over the stop when it is the reference point of the lens."""
    if isinstance(lens, OverStop):
        return lens
    if isinstance(lens, str) and lens.lower().count("base"):
        lens = parse(lens)
    if isinstance(lens, Prescription) and lens.prism:
        prism, _ = prism_of(lens)
        lens = SingleVision(power=lens.power, prism=prism)
    elif isinstance(lens, LensLike):
        lens = SingleVision(power=lens_of(lens).power)
    return lens.over_stop(0.0, 0.0)


def _settings(power: Power, drum: float | None, wheel: float | None, eyepiece: float) -> Settings:
    sphere, _, axis = (float(v) for v in power.sphere_cylinder("minus"))
    return Settings(
        drum=sphere if drum is None else drum, wheel=axis if wheel is None else wheel, eyepiece=eyepiece
    )


def _setting_words(settings: Settings) -> str:
    return f"drum {style.shown(settings.drum)}   wheel {style.degrees_shown(settings.wheel)}"


def eyepiece(
    lens: LensLike | Lens | OverStop,
    *,
    drum: float | None = None,
    wheel: float | None = None,
    eyepiece: float = 0.0,
) -> Diagram:
    """What the eyepiece shows of a lens, ready to show or save.

    Parameters
    ----------
    lens : Power, Prescription, Crossed, str, Lens or OverStop
        The lens; a prescription may carry prism.
    drum, wheel : float, optional
        Where drum (dioptres) and axis wheel (degrees) stand. By default the sphere
        reading in minus-cylinder form.
    eyepiece : float
        The eyepiece dial, dioptres; it is sharp at 0.

    Raises
    ------
    OpticsError
        For text that cannot be read, or a drum out of range.

    Examples
    --------
    >>> picture = eyepiece("-2.00 -1.50 x 030", drum=-3.50)
    >>> print(picture.alt)
    Eyepiece view, drum minus 3.50, wheel 30: the sphere lines are blurred, the cylinder lines are sharp, the crossing is at the centre.
    """
    met = _over_stop(lens)
    settings = _settings(met.read, drum, wheel, eyepiece)
    figure = style.canvas(5.0, 4.6)
    foot = 0.08
    draw_eyepiece(figure.add_axes((0.0, foot, 1.0, 1.0 - foot)), settings, met, labels=True)
    figure.text(0.5, 0.02, _setting_words(settings), ha="center", va="bottom", fontsize=style.TEXT)
    return Diagram(figure, describe.eyepiece(settings, met), title="Eyepiece view")


def eyepiece_strip(
    lens: LensLike | Lens | OverStop,
    drums: Sequence[float],
    *,
    wheel: float | Sequence[float] | None = None,
    eyepiece: float = 0.0,
) -> Diagram:
    """Several settings of the drum side by side, as one turns it.

    Parameters
    ----------
    lens, eyepiece
        As for `eyepiece`.
    drums : sequence of float
        Two to five drum readings, dioptres.
    wheel : float or sequence of float, optional
        Axis wheel, degrees; one for all, or one for each drum reading.

    Raises
    ------
    OpticsError
        For text that cannot be read, fewer than two or more than five settings.
    """
    count = len(drums)
    if not 2 <= count <= 5:
        raise OpticsError(
            f"There {'is' if count == 1 else 'are'} {count} drum setting{'s' * (count != 1)}.",
            "A strip shows two to five.",
            "Choose the readings that show the change.",
        )
    wheels = list(wheel) if isinstance(wheel, Sequence) else [wheel] * count
    if len(wheels) != count:
        raise OpticsError(
            f"There are {len(wheels)} wheel settings for {count} drum settings.",
            "Each picture has one of both.",
            "Give one wheel setting for all, or one for each.",
        )
    met = _over_stop(lens)
    figure = style.canvas(2.5 * count, 2.95)
    said = []
    for place, (drum, turn) in enumerate(zip(drums, wheels, strict=True)):
        settings = _settings(met.read, drum, turn, eyepiece)
        ax = figure.add_axes((place / count, 0.16, 1.0 / count, 0.84))
        draw_eyepiece(ax, settings, met)
        words, middle = _setting_words(settings), (place + 0.5) / count
        figure.text(middle, 0.04, words, ha="center", va="bottom", fontsize=style.TEXT)
        said.append(f"{place + 1}. {describe.eyepiece(settings, met)}")
    return Diagram(figure, " ".join(said), title="Eyepiece views")
