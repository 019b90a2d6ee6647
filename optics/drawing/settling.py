"""A reading between two steps, on a number line with both ways of writing it."""

from __future__ import annotations

import math

from matplotlib.axes import Axes

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.judging.settling import Settled, settle
from optics.lens.parsing import parse
from optics.lens.power import Power


def draw_settling(
    ax: Axes,
    reading: float,
    choice: float | None = None,
    alternative: float | None = None,
    *,
    step: float = 0.25,
    name: str = "reading",
) -> Axes:
    """Draw one power on the number line between its two steps.

    Parameters
    ----------
    ax : Axes
        Axes to draw on; they become a plain field.
    reading : float
        The power as read, dioptres.
    choice, alternative : float, optional
        What would be written, and the next nearest, dioptres. Without a choice
        both steps are left open, as a question.
    step : float
        The grid, dioptres.
    name : str
        What the reading is called.

    Returns
    -------
    Axes
        The axes given.
    """
    lower = math.floor(reading / step + 1e-9) * step
    marks = [value for value in (choice, alternative) if value is not None]
    left = min([lower, *marks]) - 0.62 * step
    right = max([lower + step, *marks]) + 0.62 * step
    ax.set_ylim(-1.0, 1.0)
    style.number_line(ax, (left, right), step, 0.24)
    half = lower + step / 2
    ax.plot([half, half], [-0.08, 0.08], color=style.GREY, linewidth=style.LINE, gid="halfway")
    style.note(ax, half, -0.24, "halfway", va="top", color=style.DIM)
    # The number has its third decimal, because a reading is not yet on the grid.
    ax.annotate(
        f"{name} {reading:+.3f}".replace("-", "−"),
        (reading, 0.04),
        xytext=(reading, 0.72),
        ha="center",
        va="center",
        fontsize=style.TEXT,
        arrowprops={
            "arrowstyle": "-|>,head_width=0.3,head_length=0.6",
            "color": style.ORANGE,
            "linewidth": 2.5,
        },
    )
    for value, filled, word in ((choice, True, "chosen"), (alternative, False, "the other choice")):
        if value is None:
            continue
        ax.plot(
            [value],
            [0],
            marker="o",
            markersize=13,
            markeredgewidth=2.5,
            markeredgecolor=style.BLUE,
            markerfacecolor=style.BLUE if filled else "white",
            zorder=4,
            gid=word,
        )
        # Half a step is 0.125 and not 0.12, which looks nearer than it is.
        off = round(abs(value - reading), 3)
        away = f"{word},\n{off:.2f} away" if off == round(off, 2) else f"{word},\n{off:.3f} away"
        style.note(ax, value, -0.52, away, va="top", linespacing=1.15)
    return ax


def settling(
    reading: Settled | Power | float, *, step: float = 0.25, decided: bool = True, beside: str | None = None
) -> Diagram:
    """A reading between two steps, with both choices and what each gives away.

    Parameters
    ----------
    reading : Settled, Power or float
        The reading. A lens with a cylinder has one line for each principal power and
        one for the cylinder; a number, in dioptres, has one.
    step : {0.25, 0.125}
        The grid, dioptres; a `Settled` has its own.
    decided : bool
        Show the choice. Without it the learner decides.
    beside : str, optional
        The line near the reading to show as the other choice; else the next best.

    Raises
    ------
    OpticsError
        For a step that nobody writes, or a line that is not near the reading.
    """
    if isinstance(reading, Settled):
        found = reading
    else:
        power = reading if isinstance(reading, Power) else Power.from_sphere_cylinder(reading)
        found = settle(power, step)
    choice = found.candidates[0]
    other = found.candidates[1] if beside is None else found.candidate(parse(beside))
    higher, higher_at, lower, lower_at = (float(v) for v in found.reading.principal())
    rows = [
        (higher, choice.higher, other.higher, higher_at),
        (lower, choice.lower, other.lower, lower_at),
        (lower - higher, choice.lower - choice.higher, other.lower - other.higher, None),
    ]
    round_lens = all(line.higher == line.lower for line in (choice, other))
    if round_lens:
        rows = [(float(found.reading.mean), choice.higher, other.higher, None)]
    figure = style.canvas(7.2, 2.2 * len(rows) + 0.4)
    said = []
    for place, (value, chosen, also, meridian) in enumerate(rows):
        what = "reading" if round_lens or meridian is not None else "cylinder"
        name = what if meridian is None else f"along {style.degrees_shown(meridian)}:"
        share = 1.0 / len(rows)
        ax = figure.add_axes((0.02, 1.0 - (place + 1) * share, 0.96, share))
        alternative = also if also != chosen else None
        shown = (chosen, alternative) if decided else (None, None)
        draw_settling(ax, value, *shown, step=found.step, name=name)
        said.append(describe.settling(value, chosen, alternative, found.step, meridian, decided, what))
    return Diagram(figure, " ".join(said), title="Settling between two steps")
