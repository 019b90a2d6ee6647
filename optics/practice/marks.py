"""Marks, split by skill and given by tolerance, never by comparing text.

A reading is right when it is the lens within half a quarter step plus what an
ordinary focimeter may be out (0.06 D; D. Whitney, "Focimetry issues"), so that
both neighbours of a reading between two steps are right.
"""

from __future__ import annotations

from dataclasses import dataclass

from optics.angles import axis_difference
from optics.power import Power
from optics.practice.slips import SMALLEST_CYLINDER, Triple
from optics.prescription import Prescription

__all__ = ["POWER_WITHIN", "Marks", "axis_within", "mark_lens", "triple_of"]

HALF_STEP = 0.125
INSTRUMENT = 0.06
POWER_WITHIN = HALF_STEP + INSTRUMENT
"""How far a written power may be from the lens, dioptres."""
AXIS_SCALE = 1.0
"""One degree for reading the axis scale."""

WEIGHTS = {"sphere": 3, "cylinder": 3, "axis": 2, "form": 1, "notation": 1}


@dataclass(frozen=True, slots=True)
class Marks:
    """What an answer earned.

    Parameters
    ----------
    skills : dict of str to (float, float)
        For each skill the marks got and the marks possible.
    """

    skills: dict[str, tuple[float, float]]

    @property
    def total(self) -> float:
        """Marks got, a plain number, to the hundredth."""
        return float(round(sum(got for got, _ in self.skills.values()), 2))

    @property
    def possible(self) -> float:
        """Marks possible."""
        return float(round(sum(of for _, of in self.skills.values()), 2))

    @property
    def missed(self) -> tuple[str, ...]:
        """Skills that did not get all their marks."""
        return tuple(skill for skill, (got, of) in self.skills.items() if got < of)


def shared_out(right: dict[str, bool], points: float) -> Marks:
    """Share points among the skills of a question by their weights."""
    whole = sum(WEIGHTS[skill] for skill in right)
    skills = {}
    for skill, good in right.items():
        of = points * WEIGHTS[skill] / whole
        skills[skill] = (of if good else 0.0, of)
    return Marks(skills)


def triple_of(line: Prescription) -> Triple:
    """A written line as numbers, in the form it is written in."""
    return Triple(line.sphere, line.cylinder, float(line.axis or 180))


def true_triple(power: Power) -> Triple:
    """A power as numbers, minus form."""
    return Triple(*(float(value) for value in power.sphere_cylinder("minus")))


def axis_within(cylinder: float) -> float:
    """How far a written axis may be from the lens's, degrees.

    The published limit for a dispensed lens of that cylinder, and one degree for
    reading the scale.
    """
    raise NotImplementedError


def mark_lens(written: Prescription, power: Power, form: str = "minus", points: float = 5.0) -> Marks:
    """Mark one written lens against the lens as it is.

    Parameters
    ----------
    written : Prescription
        The answer.
    power : Power
        The lens.
    form : {"minus", "plus"}
        The cylinder form asked for. Writing the other form costs that skill only.
    points : float
        Marks for the whole answer.

    Returns
    -------
    Marks
        Skills sphere, cylinder, axis, form and notation; axis and form only where
        the lens has cylinder enough to show them.
    """
    true = true_triple(power)
    answer = triple_of(written.to_minus_cylinder())
    second = abs(answer.sphere + answer.cylinder - true.sphere - true.cylinder)
    right = {
        "sphere": abs(answer.sphere - true.sphere) <= POWER_WITHIN,
        # The cylinder is right as a difference, or because its meridian is right:
        # a shifted sphere does not spoil it, and settling both meridians may
        # change it by a whole step.
        "cylinder": min(second, abs(answer.cylinder - true.cylinder)) <= POWER_WITHIN,
    }
    if abs(true.cylinder) >= SMALLEST_CYLINDER:
        close = axis_difference(answer.axis, true.axis) <= axis_within(true.cylinder)
        right["axis"] = bool(written.cylinder) and close
        right["form"] = written.form == form
    right["notation"] = True
    return shared_out(right, points)
