"""Settling a reading onto the steps in which powers are written.

A reading is continuous; a written power stands on the grid of 0.25 D (or
0.125 D). What is settled are the two *principal powers*, not sphere and
cylinder: sphere and cylinder rounded each on its own can move the second
meridian by a whole step, although it was read well.

No rule for a reading truly between two steps was found in a standard. The
course follows common practice, more minus for minus and less plus for plus, and
says each time that it is a judgement: set the eyepiece, read again, then decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import NamedTuple

from optics.errors import OpticsError
from optics.instrument.repeats import INSTRUMENT_DEVIATION
from optics.lens.angles import whole_axis
from optics.lens.power import Power
from optics.lens.prescription import Prescription, written

__all__ = ["NEAR_TIE", "STEPS", "Between", "Cost", "Settled", "settle"]

STEPS = (0.25, 0.125)
"""Steps in which powers are written, dioptres (common practice, from memory)."""

NEAR_TIE = INSTRUMENT_DEVIATION
"""A principal power this close to halfway between two steps is a judgement, dioptres:
another reading with the same instrument may well fall on the other side."""

GUARD = 1e-6
"""Closer than this two powers are the same: floating point, nothing else."""


class Cost(NamedTuple):
    """What a way of writing gives away: written minus read along the two principal meridians.

    Both are dioptres; `higher` belongs to the more plus meridian.
    """

    higher: float
    lower: float

    @property
    def largest(self) -> float:
        """The larger of the two, without sign, dioptres."""
        return max(abs(self.higher), abs(self.lower))

    def within(self, limit: float) -> bool:
        """Whether both meridians stay within a limit, dioptres."""
        return self.largest <= limit + GUARD


class Between(NamedTuple):
    """A principal power that lies near halfway between two steps.

    `meridian` is in degrees; `power` and the two steps around it in dioptres;
    `exactly` says whether it is a true tie.
    """

    meridian: float
    power: float
    lower: float
    upper: float
    exactly: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """A reading and the two nearest ways of writing it.

    Parameters
    ----------
    reading : Power
        What was read.
    choice, alternative : Prescription
        The nearest way of writing it, and the next nearest.
    cost, alternative_cost : Cost
        What each gives away, dioptres.
    step : float
        The grid, dioptres.
    limit : float, optional
        The tolerance that the costs are held against, dioptres.
    between : tuple of Between
        The principal powers that lie near halfway; empty when all is clear.
    """

    reading: Power
    choice: Prescription
    alternative: Prescription
    cost: Cost
    alternative_cost: Cost
    step: float
    limit: float | None
    between: tuple[Between, ...]

    @property
    def is_judgement(self) -> bool:
        """Whether reading noise could have settled it the other way."""
        return len(self.between) > 0

    @property
    def is_tie(self) -> bool:
        """Whether it lay exactly halfway, so that the rule for ties decided."""
        return self.is_judgement and all(near.exactly for near in self.between)

    @property
    def sentence(self) -> str:
        """The settling in plain words."""
        told = []
        for near in self.between:
            where = "" if self.choice.axis is None else f" along {whole_axis(near.meridian):03d}"
            exactly = "exactly halfway" if near.exactly else f"within {NEAR_TIE:.2f} D of halfway"
            told.append(
                f"{near.power:+.3f}{where} lies {exactly} between"
                f" {written(near.lower)} and {written(near.upper)}."
            )
        if self.is_judgement:
            told.append("It is a judgement: set the eyepiece, read again, then decide.")
        if self.is_tie:
            told.append("Common practice takes more minus for minus and less plus for plus.")
        told.append(f"Written {self.choice.distance} it is off by {self._off(self.cost)}.")
        told.append(
            f"The next nearest, {self.alternative.distance}, is off by {self._off(self.alternative_cost)}."
        )
        return " ".join(told)

    def _off(self, cost: Cost) -> str:
        off = f"{cost.largest:.2f} D" if cost.largest >= 0.005 else "nothing"
        if self.limit is None:
            return off
        return (
            f"{off} ({'within' if cost.within(self.limit) else 'beyond'} the tolerance of {self.limit:g} D)"
        )


def _line(higher: float, lower: float, axis: float, form: str) -> Prescription:
    """Two principal powers as a written line; `axis` is the axis in minus form."""
    if higher == lower:
        return Prescription(sphere=higher)
    line = Prescription(sphere=higher, cylinder=lower - higher, axis=whole_axis(axis))
    return line if form == "minus" else line.to_plus_cylinder()


def settle(reading: Power, step: float = 0.25, form: str = "minus", limit: float | None = None) -> Settled:
    """Settle a continuous reading onto the written grid.

    Parameters
    ----------
    reading : Power
        One lens, as read.
    step : {0.25, 0.125}
        The grid, dioptres.
    form : {"minus", "plus"}
        Cylinder form in which to write.
    limit : float, optional
        Tolerance to hold the costs against, dioptres.

    Returns
    -------
    Settled

    Raises
    ------
    OpticsError
        For a step that nobody writes.

    Notes
    -----
    Each principal power goes to its nearest step; halfway it goes towards minus.
    The alternative moves the meridian that lies nearest to halfway to its other
    step; where both lie near halfway they move together, which keeps the cylinder
    as read. Where the two powers differ by less than the reading noise no cylinder
    was read, and one sphere is settled.

    Examples
    --------
    Sphere -2.14 with cylinder -0.70 has -2.84 across the axis. Sphere and
    cylinder rounded apart would give -2.25 -0.75, which is -3.00 there.

    >>> settled = settle(Power.from_sphere_cylinder(-2.14, -0.70, 15))
    >>> print(settled.choice)
    -2.25 -0.50 x 015
    >>> settled.cost.largest <= 0.125
    True
    """
    if step not in STEPS:
        raise OpticsError(
            f"The step is {step!r}.", "Powers are written in steps of 0.25 or 0.125 D.", "Use 0.25."
        )
    if form not in ("minus", "plus"):
        raise ValueError(f'form is "minus" or "plus", not {form!r}')
    higher, higher_meridian, lower, lower_meridian = (float(v) for v in reading.principal())
    if higher - lower < NEAR_TIE:
        read, meridians = (float(reading.mean),), (180.0,)
    else:
        read, meridians = (higher, lower), (higher_meridian, lower_meridian)
    # Halves go towards minus: a ceiling, after half a step is taken off. Adding 0.0
    # keeps "-0.00" out.
    nearest = [ceil(power / step - 0.5 - GUARD) * step + 0.0 for power in read]
    off = [power - place for power, place in zip(read, nearest, strict=True)]
    other = [place + (step if by > GUARD else -step) for place, by in zip(nearest, off, strict=True)]
    room = [step / 2 - abs(by) for by in off]
    near_halfway = [left <= NEAR_TIE + GUARD for left in room]

    def cost(places: Sequence[float]) -> Cost:
        return Cost(places[0] - higher, places[-1] - lower)

    if all(near_halfway):
        # Noise cannot tell the steps apart, but the difference between the meridians
        # was read well: both move together.
        down, up = ([pick(pair) for pair in zip(nearest, other, strict=True)] for pick in (min, max))
        places, moved = (up, down) if cost(up).largest < cost(down).largest - GUARD else (down, up)
    else:
        mover = 0 if room[0] < room[-1] else len(read) - 1
        places = nearest
        moved = [other[i] if i == mover else place for i, place in enumerate(nearest)]
    return Settled(
        reading=reading,
        choice=_line(places[0], places[-1], higher_meridian, form),
        alternative=_line(moved[0], moved[-1], higher_meridian, form),
        cost=cost(places),
        alternative_cost=cost(moved),
        step=step,
        limit=limit,
        between=tuple(
            Between(
                meridians[i], read[i], min(nearest[i], other[i]), max(nearest[i], other[i]), room[i] <= GUARD
            )
            for i in range(len(read))
            if near_halfway[i]
        ),
    )
