"""Two readers of the same lenses: each difference beside the mean of both, with limits of agreement."""

from __future__ import annotations

from collections.abc import Iterable

from optics.drawing import style
from optics.drawing.diagram import Diagram
from optics.drawing.given import LensLike, lens_of
from optics.drawing.spread import draw_readings, name_lines, tidy
from optics.instrument.repeats import agreement as agreement_of

LEAST_REACH = 0.25


def agreement(first: Iterable[LensLike], second: Iterable[LensLike]) -> Diagram:
    """How two readers of the same lenses differ, ready to show or save.

    Parameters
    ----------
    first, second : iterable of Power, Prescription, Crossed or str
        The same lenses in the same order, each read by either.

    Raises
    ------
    OpticsError
        For lists of unequal length, fewer than three lenses, or text that cannot be read.
    """
    one = [lens_of(line).power for line in first]
    other = [lens_of(line).power for line in second]
    found = agreement_of(one, other)
    low, high = found.limits[0]
    bias = float(found.bias.mean)
    figure = style.canvas(7.4, 4.6)
    figure.set_layout_engine("constrained", w_pad=0.15, h_pad=0.12)
    ax = figure.subplots()
    middle = [float((a.mean + b.mean) / 2) for a, b in zip(one, other, strict=True)]
    apart = [float(a.mean - b.mean) for a, b in zip(one, other, strict=True)]
    draw_readings(ax, middle, apart)
    ax.axhline(bias, color=style.BLUE, linewidth=2.0, gid="bias")
    ax.axhline(0.0, color=style.GREY, linewidth=style.LINE, linestyle=(0, (1, 1)), gid="alike")
    for limit in (low, high):
        ax.axhline(limit, color=style.BLUE, linewidth=style.LINE, linestyle=(0, (4, 2)), gid="limit")
    reach = max(LEAST_REACH, *(abs(value) * 1.2 for value in (low, high, *apart)))
    ax.set_ylim(-reach, reach)
    spare = max(0.5, 0.1 * (max(middle) - min(middle)))
    ax.set_xlim(min(middle) - spare, max(middle) + spare)
    name_lines(ax, {"lower limit": low, "difference": bias, "upper limit": high}, reach)
    tidy(ax)
    ax.set_xlabel("mean power of both readings, D", fontsize=style.SMALL)
    ax.set_ylabel("first less second, D", fontsize=style.SMALL)
    return Diagram(figure, f"Two readers. {found.sentence}", title="Two readers of the same lenses")
