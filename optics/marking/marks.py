"""Marks, split by skill and given by tolerance, never by comparing text.

A reading is right when it is the lens within half a quarter step plus what an
ordinary focimeter may be out (0.06 D; D. Whitney, "Focimetry issues"), so that
both neighbours of a reading between two steps are right.
"""

from __future__ import annotations

from dataclasses import dataclass

from optics.judging.verdicts import keys_of, load
from optics.lens.angles import axis_difference
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.marking.habits import SMALLEST_CYLINDER, Triple

__all__ = [
    "POWER_WITHIN",
    "Marks",
    "axis_within",
    "best_of",
    "in_form",
    "mark_lens",
    "shared_out",
    "triple_of",
    "true_triple",
]

HALF_STEP = 0.125
INSTRUMENT = 0.06
POWER_WITHIN = HALF_STEP + INSTRUMENT
"""How far a written power may be from the lens, dioptres."""
AXIS_STANDARD = "ANSI Z80.1-2015"
AXIS_SCALE = 1.0
"""One degree for reading the axis scale."""
WEAKEST_JUDGED = 0.125
"""Below this cylinder a table of limits has no row for the axis, dioptres."""
WEAKEST_MISSED = 0.25 + INSTRUMENT
"""Above this cylinder the two powers cannot settle on one quarter step, dioptres."""

WEIGHTS = {"sphere": 3, "cylinder": 3, "axis": 2, "form": 1, "notation": 1}


@dataclass(frozen=True, slots=True)
class Marks:
    """What an answer earned.

    Parameters
    ----------
    skills : dict of str to (float, float)
        For each skill the marks got and the marks possible.
    counts : bool
        False for practice: the skills tell what was right, the total stays 0.
    """

    skills: dict[str, tuple[float, float]]
    counts: bool = True

    @property
    def share(self) -> float:
        """How much of the answer is right, 0 to 1."""
        return sum(got for got, _ in self.skills.values()) / sum(of for _, of in self.skills.values())

    @property
    def total(self) -> float:
        """Marks got, a plain number, to the hundredth."""
        return float(round(sum(got for got, _ in self.skills.values()), 2)) if self.counts else 0.0

    @property
    def possible(self) -> float:
        """Marks possible."""
        return float(round(sum(of for _, of in self.skills.values()), 2)) if self.counts else 0.0

    @property
    def missed(self) -> tuple[str, ...]:
        """Skills that did not get all their marks."""
        return tuple(skill for skill, (got, of) in self.skills.items() if got < of)


def shared_out(right: dict[str, bool], points: float) -> Marks:
    """Share points among the skills of a question by their weights; no points is practice."""
    weights = {skill: WEIGHTS.get(skill, 1) for skill in right}
    skills = {}
    for skill, good in right.items():
        of = (points or 1.0) * weights[skill] / sum(weights.values())
        skills[skill] = (of if good else 0.0, of)
    return Marks(skills, counts=points > 0)


def triple_of(line: Prescription) -> Triple:
    """A written line as numbers, in the form it is written in."""
    return Triple(line.sphere, line.cylinder, float(line.axis or 180))


def true_triple(power: Power, form: str = "minus") -> Triple:
    """A power as numbers, in the form asked for."""
    return Triple(*(float(value) for value in power.sphere_cylinder(form)))


def in_form(line: Prescription, form: str) -> Prescription:
    """A written line in the form asked for."""
    return line.to_plus_cylinder() if form == "plus" else line.to_minus_cylinder()


def best_of(*ways: Marks) -> Marks:
    """The kindest of several ways of looking at an answer."""
    return max(ways, key=lambda marks: marks.share)


def axis_within(cylinder: float) -> float:
    """How far a written axis may be from the lens's, degrees.

    The limit of ANSI Z80.1-2015 for a dispensed lens of that cylinder, and one
    degree for reading the scale. Limits are keyed to the cylinder ordered, and a
    lens may come out half a step stronger than that.
    """
    ordered = max(abs(cylinder) - HALF_STEP, WEAKEST_JUDGED)
    limit = load("ANSI Z80.1-2015")
    keys = keys_of(0.0, -ordered)
    row = limit.row("axis", keys, "single vision")
    assert row is not None, "the table judges every cylinder from the weakest on"
    return float(row.limit(keys)) + AXIS_SCALE


def mark_lens(
    written: Prescription, power: Power, form: str = "minus", points: float = 5.0, safely: bool = True
) -> Marks:
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
    safely : bool
        Whether it is written so that nobody can misread it.

    Returns
    -------
    Marks
        Skills sphere, cylinder, axis, form and notation; axis and form only where
        the lens has cylinder enough to show them.
    """
    true = true_triple(power, form)
    # A line in the other form may be the lens converted, or the lens with the
    # wrong sign on its cylinder; it is marked as what it comes nearer to.
    ways = [in_form(written, form)]
    if written.form not in ("sphere", form):
        ways.append(written)
    seen = [_rightness(triple_of(way), true, written, form) | {"notation": safely} for way in ways]
    return best_of(*(shared_out(right, points) for right in seen))


def _rightness(answer: Triple, true: Triple, written: Prescription, form: str) -> dict[str, bool]:
    """Which skills show in an answer."""
    second = abs(answer.sphere + answer.cylinder - true.sphere - true.cylinder)
    right = {
        "sphere": abs(answer.sphere - true.sphere) <= POWER_WITHIN,
        # The cylinder is right as a difference, or because its meridian is right:
        # a shifted sphere does not spoil it, and settling both meridians may
        # change it by a whole step.
        "cylinder": min(second, abs(answer.cylinder - true.cylinder)) <= POWER_WITHIN,
    }
    # The two powers of a weak cylinder may settle on the same step: a sphere, rightly.
    may_settle_round = not written.cylinder and abs(true.cylinder) <= WEAKEST_MISSED
    if abs(true.cylinder) >= SMALLEST_CYLINDER and not may_settle_round:
        close = axis_difference(answer.axis, true.axis) <= axis_within(true.cylinder)
        right["axis"] = bool(written.cylinder) and close
        right["form"] = written.form == form
    return right
