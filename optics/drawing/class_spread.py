"""A class's readings beside the truth: who reads to one side, and whose readings scatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from optics.drawing import style
from optics.drawing.diagram import Diagram

FEWEST = 5
"""Readings below which neither side nor scatter is shown."""
REACH = 0.5
"""Dioptres to either side; what lies beyond it is another kind of mistake, and is counted beside the name."""


def class_spread(errors: Mapping[str, Sequence[float]]) -> Diagram:
    """Each reader's sphere, written less true: all readings, their median and middle half.

    Parameters
    ----------
    errors : dict of str to sequence of float
        By reader, dioptres.

    Returns
    -------
    Diagram
        A row for everyone with at least five readings within half a dioptre, those who read furthest
        to one side on top. Median and quartiles, because one slip must not make a scatter.
    """
    near = {name: np.array([each for each in own if abs(each) <= REACH]) for name, own in errors.items()}
    rows = sorted(
        (name for name, own in near.items() if len(own) >= FEWEST),
        key=lambda name: abs(float(np.median(near[name]))),
    )
    figure = style.canvas(7.4, 0.9 + 0.19 * max(len(rows), 1))
    figure.set_layout_engine("constrained", w_pad=0.15, h_pad=0.12)
    ax = figure.subplots()
    ax.axvline(0.0, color=style.GREY, linewidth=style.LINE, linestyle=(0, (1, 1)))
    said = []
    for place, name in enumerate(rows):
        low, middle, high = np.quantile(near[name], (0.25, 0.5, 0.75))
        ax.plot(near[name], np.full(len(near[name]), place), "|", color=style.GREY, markersize=6)
        ax.plot([low, high], [place, place], color=style.BLUE, linewidth=3.0, solid_capstyle="butt")
        ax.plot([middle], [place], "o", color=style.BLACK, markersize=4)
        said.append(f"{name} {middle:+.2f} D, middle half {low:+.2f} to {high:+.2f}")
    beyond = [len(errors[name]) - len(near[name]) for name in rows]
    labels = [f"{name}{f' ({far} beyond)' if far else ''}" for name, far in zip(rows, beyond, strict=True)]
    ax.set_yticks(range(len(rows)), labels, fontsize=style.SMALL)
    ax.set_ylim(-0.6, max(len(rows), 1) - 0.4)
    ax.set_xlim(-REACH, REACH)
    ax.set_xlabel(
        "sphere, written less true, D (dot: median; bar: middle half; at least five readings;\n"
        f"beyond: so many further out than {REACH:.2f} D)",
        fontsize=style.SMALL,
    )
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(axis="y", length=0)
    alt = "Sphere, written less true. " + ("; ".join(reversed(said)) or "Too few readings") + "."
    return Diagram(figure, alt, title="Side and scatter of each reader")
