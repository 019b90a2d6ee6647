"""Settling a reading onto the steps in which powers are written.

A reading is continuous; a written power stands on the grid of 0.25 D (or 0.125 D).
So every line near the reading is a candidate: each is held against what was read, by the
table in use, and the likeliest that would pass is recommended. A blind rule is not enough:
both powers of -2.14 and -2.84 on their nearest step give -2.25 -0.50, which is 0.20 D out in
the cylinder and fails ANSI Z80.1.

No rule for a reading truly between two steps was found in a standard. The
course follows common practice, more minus for minus and less plus for plus, and
says each time that it is a judgement: set the eyepiece, read again, then decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError
from optics.instrument.repeats import READING_DEVIATION
from optics.judging.many_lenses import limits, passed
from optics.judging.standards import Standard, load
from optics.judging.verdicts import power_keys
from optics.lens.angles import whole_axis
from optics.lens.power import Power
from optics.lens.prescription import Prescription

STEPS = (0.25, 0.125)
"""Steps in which powers are written, dioptres (common practice, from memory)."""

TABLES = ("ANSI Z80.1-2015", "ISO 21987:2009")
"""The tables that a written line may suit: one limits sphere and cylinder, one both meridians."""

SPHERES, EACH_CYLINDER = 0.40, 0.12
"""Share of lenses ordered without a cylinder, and with one certain weak one in quarter steps.

With 0.60 x 0.8^(k - 1) x 0.2 for k quarter steps, 38 % have 0.75 D or more and the mean cylinder
is 1.25 D: published are 38.3 % (153,598 records, Ireland 2015-2019, PMC9732486) and 1.22 D
(Wajuihian and Mashige 2021, PMC8569398). The 0.40 is from memory."""

EVEN = 4.0
"""A line less than this many times as likely as another is a judgement. For a sphere and a
limit of 0.13 D that is a reading within 0.03 D of halfway: what an instrument may be out."""

JUDGEMENT = "It is a judgement: set the eyepiece, read again, then decide."
PRACTICE = "Common practice takes more minus for minus and less plus for plus."

PASSING_LIMIT = 0.13
"""Stands in for the spread of surfacing where the table is silent, dioptres."""


class Cost(NamedTuple):
    """What a line gives away: written minus read.

    The more plus meridian, the more minus meridian and the minus cylinder in dioptres,
    the axis in degrees.
    """

    higher: float
    lower: float
    cylinder: float
    axis: float

    @property
    def words(self) -> str:
        """The cost as one says it."""
        first, second, between = (f"{abs(value):.2f}" for value in self[:3])
        if first == second and between == "0.00":
            return f"{first} D" if float(first) else "nothing"
        return f"{first} and {second} D along the two meridians and {between} D in the cylinder"


class Candidate(NamedTuple):
    """One way of writing a reading.

    `higher` and `lower` are its principal powers in dioptres, `axis` is in degrees and in
    minus form. `passes` says whether a lens ordered so would pass on this reading, None where
    the table has no row; `likelihood` how likely it is among the candidates that this was the
    order, 0 to 1.
    """

    higher: float
    lower: float
    axis: int
    form: str
    cost: Cost
    passes: bool | None
    likelihood: float

    @property
    def line(self) -> Prescription:
        """The line as written in the form asked for."""
        if self.higher == self.lower:
            return Prescription(sphere=self.higher)
        line = Prescription(sphere=self.higher, cylinder=self.lower - self.higher, axis=self.axis)
        return line if self.form == "minus" else line.to_plus_cylinder()


@dataclass(frozen=True)
class Settled:
    """A reading and every way of writing it, the recommended one first.

    Parameters
    ----------
    reading : Power
        What was read.
    candidates : tuple of Candidate
        The lines near the reading: those that would pass first, the likelier first.
    step : float
        The grid, dioptres.
    standard : str
        The table that the lines were held against.
    """

    reading: Power
    candidates: tuple[Candidate, ...]
    step: float
    standard: str

    @cached_property
    def choice(self) -> Prescription:
        """The line that is recommended."""
        return self.candidates[0].line

    def candidate(self, line: Prescription) -> Candidate:
        """The candidate that is this line, in any form."""
        for each in self.candidates:
            if each.line.same_power(line):
                return each
        raise OpticsError(
            f"{line.distance} is not near the reading.",
            "A line lies within about one step of it in both meridians.",
            f"The nearest is {self.choice.distance}.",
        )

    @property
    def near_equals(self) -> tuple[Candidate, ...]:
        """The other lines that may as well have been the order, whether they pass or not."""
        least = self.candidates[0].likelihood / EVEN
        return tuple(each for each in self.candidates[1:] if each.likelihood >= least)

    @property
    def is_judgement(self) -> bool:
        """Whether reading noise could have settled it another way, or no line would pass."""
        return bool(self.near_equals) or self.candidates[0].passes is False

    @property
    def sentence(self) -> str:
        """The settling in plain words."""
        first, second = self.candidates[:2]
        told = [f"Written {first.line.distance} it is off by {first.cost.words}, {self._held(first)}."]
        if all(each.passes is False for each in self.candidates):
            told.append("No line on these steps would pass on this reading.")
        for each in self.near_equals[:2] or (second,):
            likely = "about as likely" if self.near_equals else "less likely"
            told.append(f"{each.line.distance} is {likely}: off by {each.cost.words}, {self._held(each)}.")
        if self.is_judgement:
            told.append(JUDGEMENT)
        if any(each.passes for each in self.near_equals):
            told.append(PRACTICE)
        return " ".join(told)

    def _held(self, line: Candidate) -> str:
        if line.passes is None:
            return f"not judged, because {self.standard} has no row for it"
        return f"which would {'pass' if line.passes else 'fail'} {self.standard}"


class Columns(NamedTuple):
    """Candidates for whole arrays of readings, shape (..., 9), best first.

    `higher` and `lower` in dioptres; `is_line` is False where a place holds no line (the more
    plus power would be the lower one), `is_judged` where the table has no row for it.
    """

    higher: NDArray[np.float64]
    lower: NDArray[np.float64]
    passes: NDArray[np.bool_]
    likelihood: NDArray[np.float64]
    is_line: NDArray[np.bool_]
    is_judged: NDArray[np.bool_]


def columns(
    reading: Power,
    step: float = 0.25,
    standard: Standard | str = TABLES[0],
    lens: str = "single vision",
    noise: float = READING_DEVIATION,
) -> Columns:
    """Every line near each of many readings, as `settle` finds it for one.

    Parameters
    ----------
    reading : Power
        The readings, any shape.
    step, standard, lens, noise
        As for `settle`.
    """
    table = load(standard) if isinstance(standard, str) else standard
    # Rounded, so that a reading and its other form, equal but for floating point, tie alike.
    higher, axis, lower = (np.round(v, 9)[..., None] for v in reading.principal()[:3])
    near = np.arange(-1.0, 2.0)
    up, down = (np.round(v / step) + near for v in (higher, lower))
    up, down = np.repeat(up, 3, axis=-1) * step + 0.0, np.tile(down, 3) * step + 0.0
    is_line = down <= up
    read = lower - higher
    verdict = passed(table, (up, down - up, whole_axis(axis)), (higher, read, axis), lens)
    keys = power_keys(up, down - up)
    power_limit, cylinder_limit = (
        limits(table, quantity, keys, lens) for quantity in (table.power_quantity(lens), "cylinder")
    )
    is_judged = verdict.judged
    passes = verdict.all & is_line
    # A laboratory keeps mean power and cylinder inside the limits: two deviations each. The
    # noise of two drum readings is halved in their mean and doubled in their difference.
    # The fifth place has both powers on their nearest step.
    mean_deviation, cylinder_deviation = (
        np.nan_to_num(limit[..., 4:5], nan=PASSING_LIMIT) / 2.0 for limit in (power_limit, cylinder_limit)
    )
    mean_off, cylinder_off = (up + down - higher - lower) / 2.0, down - up - read
    log = -(mean_off**2) / (2.0 * (mean_deviation**2 + noise**2 / 2.0))
    log = log - cylinder_off**2 / (2.0 * (cylinder_deviation**2 + 2.0 * noise**2))
    # A sphere read with noise shows a cylinder whichever way the noise falls: twice the density.
    log = log + np.where(up == down, np.log(2.0 * SPHERES / EACH_CYLINDER * 0.25 / step), 0.0)
    log = np.where(is_line, np.round(log, 6), -np.inf)
    # What is not known comes before what fails. Halfway the more minus line is first, then
    # the weaker cylinder.
    fails = ~passes & is_judged | ~is_line
    order = np.lexsort((up - down, up + down, -log, fails, ~passes), axis=-1)
    likelihood = np.exp(log - log.max(axis=-1, keepdims=True))
    likelihood = likelihood / likelihood.sum(axis=-1, keepdims=True)
    found = (up, down, passes, likelihood, is_line, is_judged)
    return Columns(*(np.take_along_axis(column, order, -1) for column in found))


def settle(
    reading: Power,
    step: float = 0.25,
    form: str = "minus",
    standard: Standard | str = TABLES[0],
    lens: str = "single vision",
    noise: float = READING_DEVIATION,
) -> Settled:
    """Settle a continuous reading onto the written grid.

    Parameters
    ----------
    reading : Power
        One lens, as read.
    step : {0.25, 0.125}
        The grid, dioptres.
    form : {"minus", "plus"}
        Cylinder form in which to write; the lens is the same.
    standard : Standard or str
        The table that the lines are held against.
    lens : str
        One of `optics.lens.kinds.LENS_KINDS`.
    noise : float
        Standard deviation of one drum reading, dioptres; smaller for a mean of several.

    Returns
    -------
    Settled
        All lines within a step or so of the reading. The recommended one is the likeliest of
        those that would pass on this reading; where none would, the likeliest.

    Raises
    ------
    OpticsError
        For a step that nobody writes, a reading that is no number, or an unknown table.

    Notes
    -----
    How likely a line was the order: mean power and cylinder come out normally distributed
    about it, with half the limit of the table as deviation, and are read with noise. Among
    cylinders no size is preferred; a sphere is likelier than a certain weak cylinder
    (`SPHERES`), so that noise alone does not make one.

    Examples
    --------
    Both powers on their nearest step would give -2.25 -0.50, 0.20 D out in the cylinder.

    >>> settled = settle(Power.from_sphere_cylinder(-2.14, -0.70, 15))
    >>> print(settled.choice)
    -2.25 -0.75 x 015
    >>> [str(each.line) for each in settled.candidates if each.passes]
    ['-2.25 -0.75 x 015']
    """
    if step not in STEPS:
        raise OpticsError(
            f"The step is {step!r}.", "Powers are written in steps of 0.25 or 0.125 D.", "Use 0.25."
        )
    if form not in ("minus", "plus"):
        raise ValueError(f'form is "minus" or "plus", not {form!r}')
    if not np.isfinite(reading.vector).all():
        raise OpticsError("The reading is no number.", "A reading is in dioptres.", "Read the drum again.")
    table = load(standard) if isinstance(standard, str) else standard
    found = columns(reading, step, table, lens, noise)
    higher, axis, lower, _ = (float(value) for value in reading.principal())
    axis_written = whole_axis(round(axis, 6))
    rows: Any = zip(*(column.tolist() for column in found), strict=True)
    return Settled(
        reading,
        tuple(
            Candidate(
                up,
                down,
                axis_written,
                form,
                Cost(
                    up - higher,
                    down - lower,
                    (down - up) - (lower - higher),
                    0.0 if up == down else (axis_written - axis + 90.0) % 180.0 - 90.0,
                ),
                passes if is_judged else None,
                likelihood,
            )
            for up, down, passes, likelihood, is_line, is_judged in rows
            if is_line
        ),
        step,
        table.name,
    )


def defensible(
    reading: Power, step: float = 0.25, form: str = "minus"
) -> dict[Prescription, tuple[str, ...]]:
    """Every line that would pass on a reading under one of `TABLES`, with the tables it suits.

    The line recommended by the first table comes first.
    """
    suits: dict[Prescription, tuple[str, ...]] = {}
    for table in TABLES:
        for each in settle(reading, step, form, table).candidates:
            if each.passes:
                suits[each.line] = (*suits.get(each.line, ()), table)
    return suits
