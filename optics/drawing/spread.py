"""Repeated readings of one lens: how far they scatter, as power vectors."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of
from optics.instrument.repeats import spread as spread_of
from optics.lens.power import Power

LEAST_REACH = 0.15
"""Smallest half-width of the plane, dioptres, so that tiny scatter looks tiny."""


def draw_spread(ax: Axes, readings: Sequence[Power], known: Power | None = None) -> Axes:
    """Draw the astigmatic parts of repeated readings with their mean and 95 % limits.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    readings : sequence of Power
        At least two readings of one lens.
    known : Power, optional
        What the lens is known to be.

    Returns
    -------
    Axes
        The axes given. The limits are mean less and plus 1.96 standard
        deviations of J0 and of J45 (Bland and Altman, 1986, from memory).
    """
    found = spread_of(readings)
    _, across, upright = found.limits
    _, j0, j45 = found.mean.vector
    points = np.array([reading.vector[1:] for reading in readings])
    ax.plot(points[:, 0], points[:, 1], **_READING, gid="readings")
    ax.errorbar(
        [j0],
        [j45],
        xerr=[[j0 - across[0]], [across[1] - j0]],
        yerr=[[j45 - upright[0]], [upright[1] - j45]],
        **_LIMITS,
    )
    ax.plot([j0], [j45], **_MEAN, gid="mean")
    marks = [points, [[across[0], upright[0]], [across[1], upright[1]]]]
    if known is not None:
        ax.plot([float(known.j0)], [float(known.j45)], **_KNOWN, gid="known")
        marks.append([[float(known.j0), float(known.j45)]])
    everything = np.concatenate([np.asarray(part) for part in marks])
    middle = (everything.min(0) + everything.max(0)) / 2
    reach = max(LEAST_REACH, float(np.max(everything.max(0) - middle)) * 1.2)
    ax.set_xlim(middle[0] - reach, middle[0] + reach)
    ax.set_ylim(middle[1] - reach, middle[1] + reach)
    ax.set_aspect("equal")
    tidy(ax)
    ax.set_xlabel("J0, D  (axis 090 to the left, 180 to the right)", fontsize=style.SMALL)
    ax.set_ylabel("J45, D  (axis 135 below, 045 above)", fontsize=style.SMALL)
    return ax


def draw_mean_powers(ax: Axes, readings: Sequence[Power], known: Power | None = None) -> Axes:
    """Draw the mean power of each reading, in the order taken, with mean and 95 % limits.

    Parameters
    ----------
    ax, readings, known
        As for `draw_spread`.

    Returns
    -------
    Axes
        The axes given.
    """
    found = spread_of(readings)
    values = [float(reading.mean) for reading in readings]
    low, high = found.limits[0]
    mean = float(found.mean.mean)
    count = np.arange(1, len(values) + 1)
    draw_readings(ax, count, values)
    ax.axhline(mean, color=style.BLUE, linewidth=2.0, gid="mean")
    for limit in (low, high):
        ax.axhline(limit, color=style.BLUE, linewidth=style.LINE, linestyle=(0, (4, 2)), gid="limit")
    lines = {"lower limit": low, "mean": mean, "upper limit": high}
    if known is not None:
        ax.axhline(float(known.mean), color=style.ORANGE, linewidth=2.0, linestyle=(0, (1, 1)), gid="known")
        lines["known"] = float(known.mean)
    reach = max(LEAST_REACH, max(abs(value - mean) for value in [*values, *lines.values()]) * 1.2)
    ax.set_ylim(mean - reach, mean + reach)
    ax.set_xlim(0.4, len(values) + 0.6)
    name_lines(ax, lines, reach)
    tidy(ax)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_xlabel("reading", fontsize=style.SMALL)
    ax.set_ylabel("mean power M, D", fontsize=style.SMALL)
    return ax


def draw_readings(ax: Axes, x: ArrayLike, y: ArrayLike) -> None:
    """Draw one open circle for each reading."""
    ax.plot(x, y, **_READING, gid="readings")


def name_lines(ax: Axes, lines: dict[str, float], reach: float) -> None:
    """Name each line at its right end, pushing names apart where lines lie close."""
    apart = reach * 2 * 0.062
    placed = -np.inf
    for name, value in sorted(lines.items(), key=lambda item: item[1]):
        placed = max(value, placed + apart)
        ax.annotate(
            f"{name} {style.shown(value)}",
            (1.0, placed),
            xycoords=("axes fraction", "data"),
            xytext=(6, 0),
            textcoords="offset points",
            va="center",
            fontsize=style.SMALL,
            annotation_clip=False,
        )


_READING: dict[str, Any] = {
    "linestyle": "",
    "marker": "o",
    "markersize": 7,
    "markeredgewidth": 1.5,
    "color": style.BLACK,
}
_READING |= {"markerfacecolor": "none"}
_MEAN: dict[str, Any] = {"linestyle": "", "marker": "s", "markersize": 8, "color": style.BLUE}
_LIMITS: dict[str, Any] = {
    "fmt": "none",
    "ecolor": style.BLUE,
    "elinewidth": 2.0,
    "capsize": 6,
    "capthick": 2.0,
}
_KNOWN: dict[str, Any] = {"linestyle": "", "marker": "D", "markersize": 10, "markeredgewidth": 2.0}
_KNOWN |= {"markerfacecolor": "none", "color": style.ORANGE}


def tidy(ax: Axes) -> None:
    """Give a plot its grid and plain edges."""
    ax.tick_params(labelsize=style.SMALL, width=style.LINE)
    ax.grid(color="#E4E4E4", linewidth=style.LINE)
    ax.set_axisbelow(True)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_linewidth(style.LINE)


def mean_powers(readings: Iterable[LensLike], known: LensLike | None = None, what: str = "") -> Diagram:
    """Mean power of each reading in the order taken, with mean and 95 % limits.

    Parameters
    ----------
    readings, known
        As for `spread`.
    what : str
        What is drawn, at the side; the mean power where nothing is said.
    """
    powers = [lens_of(reading).power for reading in readings]
    figure = style.canvas(7.4, 4.0)
    figure.set_layout_engine("constrained", w_pad=0.15, h_pad=0.12)
    ax = figure.subplots()
    draw_mean_powers(ax, powers, lens_of(known).power if known is not None else None)
    if what:
        ax.set_ylabel(what, fontsize=style.SMALL)
    return Diagram(figure, f"In the order taken: {spread_of(powers).sentence}", title=what or "Mean powers")


def spread(readings: Iterable[LensLike], known: LensLike | None = None) -> Diagram:
    """Repeated readings of one lens with their mean and 95 % limits.

    Parameters
    ----------
    readings : iterable of Power, Prescription, Crossed or str
        At least two readings, in the order they were taken, in any cylinder form.
    known : Power, Prescription, Crossed or str, optional
        What the lens is known to be.

    Returns
    -------
    Diagram

    Raises
    ------
    OpticsError
        For fewer than two readings, or text that cannot be read.
    """
    powers = [lens_of(reading).power for reading in readings]
    truth = lens_of(known).power if known is not None else None
    found = spread_of(powers)
    figure = style.canvas(10.0, 4.8)
    figure.set_layout_engine("constrained", w_pad=0.15, h_pad=0.12)
    plane, run = figure.subplots(1, 2, width_ratios=(1.0, 1.0))
    draw_spread(plane, powers, truth)
    draw_mean_powers(run, powers, truth)
    key = "circle: reading, square: mean,\nbars: 95 % limits"
    plane.set_title(key + (", diamond: known" if truth is not None else ""), fontsize=style.SMALL)
    alt = describe.spread(found.count, found.mean, found.limits, truth)
    return Diagram(figure, alt, title="Spread of repeated readings")
