"""Marks for what was written of a lens or of a pair, by skill and by tolerance.

One path for everything: a lens alone is a pair of which one lens is asked. Nothing is
marked by comparing text. What is read is right within half a quarter step and what a
careful reading may be out besides: two standard deviations of one drum reading, root
two more for a difference of two (`optics.instrument.repeats`; proposals, none was
published). Lengths and prism are right within the limit for delivered spectacles (ANSI
Z80.1-2015) and what a careful hand adds: a rule is read to half a millimetre, the rings
of the reticle to a quarter of a prism dioptre (common practice).

Harm weighs: a ticket that would hurt its wearer earns at most half (`Held.harm`). And
looking counts: what may be right by chance earns only where the power shows that the
lens was looked at (`Held.looked`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import cos, hypot, radians, sin, sqrt
from typing import NamedTuple

from optics.errors import OpticsError
from optics.instrument.repeats import READING_DEVIATION
from optics.judging.compare import power_change
from optics.judging.settling import STEPS, defensible, settle
from optics.judging.standards import load
from optics.judging.verdicts import keys_of
from optics.lens.angles import axis_difference
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.lens.prism import EYES, OTHER_EYE, Prism
from optics.marking.habits import SMALLEST_CYLINDER, Triple
from optics.marking.notation import TWO_DECIMALS, loosely_written, refusal
from optics.marking.read import Ticket
from optics.specimens.briefs import PROGRESSIVE
from optics.specimens.specimen import Specimen

HALF_STEP = 0.125
POWER_WITHIN = HALF_STEP + 2.0 * READING_DEVIATION
"""How far a written power may be from the lens, dioptres."""
A_STEP_OFF = STEPS[0] + POWER_WITHIN
"""How far a power may be from the lens that was looked at and misread by a step, dioptres."""
DIFFERENCE_WITHIN = min(HALF_STEP + 2.0 * sqrt(2.0) * READING_DEVIATION, 0.249)
"""How far a cylinder may be, the difference of two readings, dioptres; never a whole step."""
ADD_WITHIN = DIFFERENCE_WITHIN
"""How far an addition may be, near less distance, dioptres."""
PRISM_WITHIN = 0.33 + 0.125
"""How far a written prism may be from the lens, prism dioptres: the limit for one lens, and half of
the quarter to which rings are read."""
CENTRES_WITHIN_MM = HEIGHT_WITHIN_MM = 1.0 + 0.25
"""Distances and heights of one lens: one millimetre, and half of what a rule is read to."""
CENTRES_AT_MOST_MM = 2.5
"""So far a centre may be out where the lens is so weak that the rings cannot tell: the limit of
ANSI Z80.1-2015 for the total of strong lenses, taken over for one weak one (our own choice)."""
RINGS_TELL = 0.125
"""Half of the quarter to which rings are read, prism dioptres."""
AXIS_SCALE = 1.0
"""One degree for reading the axis scale."""
WEAKEST_JUDGED = 0.125
"""Below this cylinder a table of limits has no row for the axis, dioptres."""
WEAKEST_MISSED = 0.25 + 0.06
"""Above this cylinder the two powers cannot settle on one quarter step, dioptres; 0.06 D is what
an ordinary focimeter may be out (D. Whitney, "Focimetry issues")."""
NOTHING_WORTH_WRITING = 0.25
"""A prism below this is not written, prism dioptres."""

HARMS_FROM = 0.875
"""A power this far from the lens in any meridian harms, dioptres: a dioptre from the line that the lens
settles on may be an eighth less from the lens."""
REAL_CYLINDER = 0.5
"""From here an axis at right angles harms, dioptres."""
REVERSED_FROM = 0.5
"""From here a base on the wrong side harms, prism dioptres."""
AT_MOST = 0.5
"""The share of the marks that a harmful ticket may earn."""

SKILLS = ("sphere", "cylinder", "axis", "form", "notation", "add", "prism", "centres", "heights", "style")
OF_THE_POWER = ("sphere", "cylinder", "axis")
WEIGHTS = {"sphere": 3, "cylinder": 3, "axis": 2, "add": 3, "prism": 2, "centres": 2, "heights": 2}
ASKS = {
    "lines": ("sphere", "cylinder", "axis", "form", "notation"),
    "add": ("add",),
    "prism": ("prism",),
    "pd": ("centres",),
    "heights": ("heights",),
    "style": ("style",),
}
"""What a question may ask of a ticket, and the skills that it marks by it."""
_UNITS = {"dioptre": " D", "degree": "°", "prism dioptre": " Δ", "mm": " mm"}
_DECIMALS = {"dioptre": 2, "degree": 0, "prism dioptre": 2, "mm": 1}


# --- what was earned --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Marks:
    """What an answer earned.

    Parameters
    ----------
    skills : dict of str to (float, float)
        For each skill the marks got and the marks possible.
    counts : bool
        False for practice: the skills tell what was right, the total stays 0.
    wrong : tuple of str, optional
        Skills that are not right; without it those that did not get all their marks.
    harm : str
        What would hurt the wearer, as the end of a sentence; such an answer earns at most half.
    """

    skills: dict[str, tuple[float, float]]
    counts: bool = True
    wrong: tuple[str, ...] | None = None
    harm: str = ""

    @property
    def at_most(self) -> float:
        """The share of all marks that may be had."""
        return AT_MOST if self.harm else 1.0

    @property
    def note(self) -> str:
        """Why an answer earns less than what is right in it; empty where it does not."""
        if self.harm and sum(got for got, _ in self.skills.values()) > self.at_most * self.possible:
            return f"At most half, because {self.harm}."
        if any(got < of and skill not in self.missed for skill, (got, of) in self.skills.items()):
            return "What else is right earns its marks once enough of the power is right."
        return ""

    @property
    def share(self) -> float:
        """How much of the answer earns marks, 0 to 1."""
        got, of = (sum(pair[side] for pair in self.skills.values()) for side in (0, 1))
        return min(got / of, self.at_most)

    @property
    def total(self) -> float:
        """Marks got, a plain number, to the hundredth."""
        return float(round(self.share * self.possible, 2)) if self.counts else 0.0

    @property
    def possible(self) -> float:
        """Marks possible."""
        return float(round(sum(of for _, of in self.skills.values()), 2)) if self.counts else 0.0

    def times(self, weight: float) -> Marks:
        """The same in other points."""
        skills = {skill: (got * weight, of * weight) for skill, (got, of) in self.skills.items()}
        return replace(self, skills=skills, wrong=self.missed)

    @property
    def missed(self) -> tuple[str, ...]:
        """Skills that are not right."""
        if self.wrong is not None:
            return self.wrong
        return tuple(skill for skill, (got, of) in self.skills.items() if got < of)


def shared_out(
    right: dict[str, bool], points: float, earned: dict[str, bool] | None = None, harm: str = ""
) -> Marks:
    """Share points among the skills of a question by their weights; no points is practice.

    `earned` is what of it counts, where that is less than what is right.
    """
    counted = {skill: [good] for skill, good in (earned or right).items()}
    return _weighed({skill: [good] for skill, good in right.items()}, points, counted, harm)


def _weighed(
    right: dict[str, list[bool]],
    points: float,
    earned: dict[str, list[bool]],
    harm: str,
) -> Marks:
    weights = {skill: WEIGHTS.get(skill, 1) for skill in right}
    skills = {}
    for skill, good in earned.items():
        of = (points or 1.0) * weights[skill] / sum(weights.values())
        skills[skill] = (of * sum(good) / len(good), of)
    wrong = tuple(skill for skill, good in right.items() if not all(good))
    return Marks(skills, counts=points > 0, wrong=wrong, harm=harm)


def of_a_sphere(skills: Collection[str]) -> bool:
    """Whether these are the skills of a sphere: of a whole line without an axis."""
    return {"sphere", "cylinder", "notation"} <= set(skills) and "axis" not in skills


# --- one line held against a lens -------------------------------------------------------


class Limits(NamedTuple):
    """How near a line must come: dioptres, dioptres between powers, degrees by cylinder."""

    power: float
    difference: float
    axis: Callable[[float], float]
    read: bool = True
    """Whether the lens was read; on paper a line is right figure by figure."""


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


READ = Limits(POWER_WITHIN, DIFFERENCE_WITHIN, axis_within)
EXACTLY = Limits(0.005, 0.005, lambda cylinder: 0.5, read=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One written line, held against the lens.

    Parameters
    ----------
    line : Prescription
        As it was looked at: converted, or as it was written.
    right : dict of str to bool
        By skill; axis and form only where the lens has cylinder enough to show them.
    looked : bool
        Whether so much of the power is right that the lens must have been looked at.
    harm : str
        What would hurt the wearer, as the end of a sentence; empty for nothing.
    """

    line: Prescription
    right: dict[str, bool]
    looked: bool
    harm: str

    @property
    def fits(self) -> bool:
        """Whether the power is right, however it was written."""
        return all(self.right.get(skill, True) for skill in OF_THE_POWER)

    @property
    def earned(self) -> dict[str, bool]:
        """Which skills count: what chance gives as well only where the lens was looked at."""
        alone = "sphere" if "axis" in self.right else ""
        return {skill: good and (self.looked or skill == alone) for skill, good in self.right.items()}


def triple_of(line: Prescription) -> Triple:
    """A written line as numbers, in the form it is written in."""
    return Triple(line.sphere, line.cylinder, float(line.axis or 180))


def true_triple(power: Power, form: str = "minus") -> Triple:
    """A power as numbers, in the form asked for."""
    return Triple(*(float(value) for value in power.sphere_cylinder(form)))


def in_form(line: Prescription, form: str) -> Prescription:
    """A written line in the form asked for."""
    return line.to_plus_cylinder() if form == "plus" else line.to_minus_cylinder()


def hold(
    written: Prescription,
    true: Triple,
    form: str = "minus",
    safely: bool = True,
    limits: Limits = READ,
    as_written: bool = False,
) -> Held:
    """Hold a written line against a lens.

    Parameters
    ----------
    written : Prescription
        The answer.
    true : Triple
        The lens, in the form asked for.
    form : {"minus", "plus"}
        The form asked for. Writing the other form costs that skill only.
    safely : bool
        Whether it is written so that nobody can misread it.
    limits : Limits
        How near it must come.
    as_written : bool
        Whether the other form earns nothing, because converting was the question.
    """
    # A line in the other form may be the lens converted, or the lens with the
    # wrong sign on its cylinder; it is looked at as what it comes nearer to.
    ways = [written] if as_written else [in_form(written, form)]
    if not as_written and written.form not in ("sphere", form):
        ways.append(written)
    seen = [_rightness(way, true, written, form, limits) | {"notation": safely} for way in ways]
    weights = [sum(WEIGHTS.get(skill, 1) for skill, good in right.items() if good) for right in seen]
    best = weights.index(max(weights))
    return Held(
        line=ways[best],
        right=seen[best],
        looked=_looked(ways[best], true, seen[best], limits),
        harm=_harm(ways[best], true, seen[best]),
    )


def _rightness(
    way: Prescription, true: Triple, written: Prescription, form: str, limits: Limits
) -> dict[str, bool]:
    """Which skills show in an answer."""
    answer = triple_of(way)
    cylinder_off = abs(answer.cylinder - true.cylinder)
    second_off = abs(answer.sphere + answer.cylinder - true.sphere - true.cylinder)
    shows = abs(true.cylinder) >= (SMALLEST_CYLINDER if limits.read else limits.power)
    right = {
        "sphere": abs(answer.sphere - true.sphere) <= limits.power,
        # The cylinder is right as a difference, or because its meridian is right:
        # a shifted sphere does not spoil it, and settling both meridians may
        # change it by a whole step.
        # A weak one is not invented from noise.
        "cylinder": cylinder_off <= (limits.difference if shows else limits.power)
        or (limits.read and second_off <= limits.power),
    }
    if limits.read:
        same = _settles(way, true) if not all(right.values()) or not written.cylinder else False
        right = dict.fromkeys(right, True) if same else right
        # The two powers of a weak cylinder may settle on the same step: a sphere, rightly.
        rounds = same or abs(true.cylinder) <= WEAKEST_MISSED
        shows = shows and not (rounds and not written.cylinder)
    if shows:
        close = axis_difference(answer.axis, true.axis) <= limits.axis(true.cylinder)
        right["axis"] = bool(written.cylinder) and close
        right["form"] = written.form == form
    return right


def _powers(line: Prescription) -> tuple[float, float]:
    """The power along the two meridians, the more plus first."""
    first, second = line.sphere, line.sphere + line.cylinder
    return max(first, second), min(first, second)


def _settles(way: Prescription, true: Triple) -> bool:
    """Whether a line is one that the course's own rule settles this lens on: it cannot be wrong."""
    first, second = true.sphere, true.sphere + true.cylinder
    near = zip(_powers(way), (max(first, second), min(first, second)), strict=True)
    if any(abs(wrote - is_so) > 2.0 * STEPS[0] for wrote, is_so in near):
        return False
    return _powers(way) in _settles_on(*(round(value, 4) for value in true))


@lru_cache(maxsize=4096)
def _settles_on(sphere: float, cylinder: float, axis: float) -> frozenset[tuple[float, float]]:
    """The two powers of every line that a lens may be written as by the course's own rule."""
    power = Power.from_sphere_cylinder(sphere, cylinder, axis)
    lines = [line for step in STEPS for line in (settle(power, step).choice, *defensible(power, step))]
    return frozenset(_powers(line) for line in lines)


def _looked(line: Prescription, true: Triple, right: dict[str, bool], limits: Limits) -> bool:
    """Whether chance is a poor explanation: of a cylinder two facts of three, of a sphere the power."""
    if "axis" not in right:
        return right["sphere"]
    # At the bench a sphere far from the lens is what a known habit makes of it, or no reading at all.
    habits = (-true.sphere, true.sphere + true.cylinder, true.sphere + 2.0 * true.cylinder)
    seen = (
        not limits.read
        or abs(line.sphere - true.sphere) < HARMS_FROM
        or any(abs(line.sphere - each) <= limits.power for each in habits)
    )
    return seen and sum(right[skill] for skill in OF_THE_POWER) >= 2


def _harm(line: Prescription, true: Triple, right: dict[str, bool]) -> str:
    """What would hurt the wearer."""
    lens = Power.from_sphere_cylinder(*true)
    if not right["sphere"] and min(abs(line.sphere), abs(true.sphere)) >= 0.25:
        if line.sphere * true.sphere < 0:
            return "a sphere has the wrong sign"
    more, _, less, _ = (line.power - lens).principal()
    if max(abs(float(more)), abs(float(less))) >= HARMS_FROM:
        return "in some meridian the power is about a dioptre or more out"
    if line.axis is not None and abs(true.cylinder) >= REAL_CYLINDER:
        # The last bits of an axis that was reckoned decide nothing.
        if axis_difference(line.axis, true.axis) >= 60.0 - 1e-6:
            return "an axis stands across that of the lens"
    return ""


def mark_against(held: Held, points: float) -> Marks:
    """Marks for one line by itself; no points is practice."""
    return shared_out(held.right, points, held.earned, held.harm)


# --- a ticket held against its pair -----------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Off:
    """How far one thing on the ticket is from the pair.

    Parameters
    ----------
    skill : str
        One of `SKILLS`.
    eye : {"R", "L"}
        The lens.
    amount : float
        Written less true, in `unit`: with its sign for powers, distances and
        heights; the angle between the axes, and the size of the difference of the
        prisms, without one.
    unit : {"dioptre", "degree", "prism dioptre", "mm"}
        Of the amount.
    right : bool
        Whether it is near enough.
    """

    skill: str
    eye: str
    amount: float
    unit: str
    right: bool

    @property
    def sentence(self) -> str:
        """The difference in plain words."""
        shown = f"{abs(self.amount):.{_DECIMALS[self.unit]}f}"
        if float(shown) == 0.0:
            return f"{self.eye} {self.skill}: as the pair is."
        if self.skill == "cylinder" and self.right and abs(self.amount) > DIFFERENCE_WITHIN:
            # Its meridian is right: the whole difference is the sphere's.
            return f"{self.eye} cylinder: out by {shown} D as the sphere is; the second power is right."
        sign = "" if self.unit in ("degree", "prism dioptre") else "+" if self.amount > 0 else "-"
        near = ", near enough" if self.right else ""
        return f"{self.eye} {self.skill}: off by {sign}{shown}{_UNITS[self.unit]}{near}."


@dataclass(frozen=True, slots=True, kw_only=True)
class PairMarks:
    """How a whole pair was read.

    Parameters
    ----------
    marks : Marks
        By skill, both lenses together.
    offs : tuple of Off
        How far off, right lens then left, for everything that was written.
    missing : tuple of str
        What was asked for and not written, such as "R add".
    remarks : tuple of str
        What could be misread in the way it was written, as sentences.
    differences : dict of str to Power
        By eye, written less true power, where a power was written.
    harms : tuple of str
        What would hurt the wearer, as ends of sentences.
    looked : bool
        Whether the power of every lens shows that it was looked at; what else is written of a
        lens counts only there, or where a sphere is no more than a step off.
    """

    marks: Marks
    offs: tuple[Off, ...]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]
    differences: dict[str, Power]
    harms: tuple[str, ...] = ()
    looked: bool = True

    @property
    def right(self) -> tuple[str, ...]:
        """The skills that show on both lenses."""
        return tuple(skill for skill in self.marks.skills if skill not in self.marks.missed)

    @property
    def all_right(self) -> bool:
        """Whether nothing was missed."""
        return not self.marks.missed

    @property
    def wrong(self) -> dict[str, str]:
        """For each skill that was written and is not right the eyes where it is not."""
        offs = [off for off in self.offs if not off.right]
        return {each.skill: "".join(off.eye for off in offs if off.skill == each.skill) for each in offs}

    @property
    def unwritten(self) -> tuple[str, ...]:
        """The skills that lost marks because nothing was written of them."""
        return tuple(skill for what in self.missing for skill in _SKILLS_OF[what.split()[-1]])

    @property
    def sentences(self) -> tuple[str, ...]:
        """How it went, in plain words: what is right, what is missing, how far off the rest is."""
        told = []
        if self.right:
            told.append(f"Right: {', '.join(self.right)}.")
        told += [f"Not written yet: {what}." for what in self.missing]
        told += [off.sentence for off in self.offs if not off.right]
        for eye, difference in self.differences.items():
            power_skills = ("sphere", "cylinder", "axis")
            if any(off.eye == eye and off.skill in power_skills and not off.right for off in self.offs):
                change = power_change(Power(0.0 * difference.vector), difference)
                told.append(f"{eye} lens as written, held against the pair: {change}.")
        return (*told, *self.remarks)


def mark_pair(
    answer: Ticket,
    pair: Specimen,
    form: str = "minus",
    points: float = 0.0,
    asks: Collection[str] | None = None,
    eyes: str = "RL",
) -> PairMarks:
    """Hold a ticket against the pair it was written for.

    Parameters
    ----------
    answer : Ticket
        The ticket.
    pair : Specimen
        The pair, as it is when trued and clean.
    form : {"minus", "plus"}
        The cylinder form asked for.
    points : float
        Marks for the whole ticket; 0 is practice.
    asks : collection of str, optional
        What is marked, of `ASKS`; prism that is asked for must be written, be it "no
        prism". Without it everything is marked that the pair has or the ticket says.
        A question without lines has nothing to show that the pair was looked at.
    eyes : {"RL", "R", "L"}
        The lenses that are asked for.
    """
    if asks is not None and (not asks or set(asks) - set(ASKS)):
        raise OpticsError(
            f"A ticket was asked for {', '.join(asks) or 'nothing'}.",
            f"It may be asked for {', '.join(ASKS)}.",
            "Name one or more of them.",
        )
    wanted = {skill for each in ASKS if asks is None or each in asks for skill in ASKS[each]}
    right: dict[str, list[bool]] = {"style": [answer.style == pair.style]}
    earned: dict[str, list[bool]] = {}
    offs: list[Off] = []
    missing = [] if answer.style or "style" in answer.refused else ["style"]
    remarks: list[str] = []
    harms: list[str] = []
    loose = {eye: _loose(answer, eye) for eye in eyes}
    held = {eye: _hold_lens(answer, pair, eye, form, safely=not loose[eye]) for eye in eyes}
    other = {eye: _is_the_other(held[eye], answer, pair, eye, form) for eye in eyes}
    # Who exchanged the lenses has read both; a line that was copied shows no look at this one.
    swapped = eyes == "RL" and all(other.values())
    close = {eye: swapped or _close_sphere(held[eye], pair, eye) for eye in eyes}
    looked = _looked_at(held, close, unasked="sphere" not in wanted)
    for eye in eyes:
        remarks += [sentence for sentence in loose[eye] if sentence not in remarks]
        lens = held[eye]
        if lens is None:
            missing += [f"{eye} power"] if EYES[eye] not in answer.refused else []
            of_lens = counts = dict.fromkeys(_power_skills(pair.power(eye)), False)
        else:
            of_lens = lens.right
            counts = dict.fromkeys(of_lens, False) if other[eye] else lens.earned
            harm = "a line is that of the other lens" if other[eye] else lens.harm
            if "sphere" in wanted and harm and harm not in harms:
                harms.append(harm)
            offs += _power_offs(lens, true_triple(pair.power(eye), form), eye)
        for skill, good in of_lens.items():
            right.setdefault(skill, []).append(good)
            earned.setdefault(skill, []).append(counts[skill])
        prism = _prism_asked(answer, pair, eye) if asks is None else "prism" in asks
        for off in _other_offs(answer, pair, eye, prism, silent=asks is None):
            right.setdefault(off.skill, []).append(off.right)
            earned.setdefault(off.skill, []).append(off.right and looked[eye])
            offs.append(off)
        for skill in _unwritten(answer, pair, eye, prism, silent=asks is None):
            right.setdefault(skill, []).append(False)
            earned.setdefault(skill, []).append(False)
            missing += (
                [f"{eye} {_ONE[skill]}"] if f"{_FIELD[skill]}_{EYES[eye]}" not in answer.refused else []
            )
        if "prism" in wanted and _base_reversed(answer, pair, eye):
            harms += [] if _BASE in harms else [_BASE]
    right = {skill: right[skill] for skill in SKILLS if skill in right and skill in wanted}
    earned["style"] = [good and any(looked.values()) for good in right.get("style", ())]
    counted = {skill: earned[skill] for skill in right}
    return PairMarks(
        marks=_weighed(right, points, counted, harms[0] if harms else ""),
        offs=tuple(off for off in offs if off.skill in wanted),
        missing=tuple(what for what in missing if wanted & set(_SKILLS_OF[what.split()[-1]])),
        remarks=tuple(remarks) if "notation" in wanted else (),
        differences={
            eye: line.power - pair.power(eye) for eye in eyes if (line := answer.of(eye).distance) is not None
        },
        harms=tuple(harms),
        looked=all(looked.values()),
    )


# --- one lens ------------------------------------------------------------------------

_ONE = {"centres": "PD", "heights": "height", "add": "add", "prism": "prism"}
_FIELD = {"centres": "pd", "heights": "height", "add": "add", "prism": "prism"}
_SKILLS_OF = {words: (skill,) for skill, words in _ONE.items()} | {
    "style": ("style",),
    "power": ASKS["lines"],
}
_BASE = "a base stands on the wrong side"


def _power_skills(power: Power) -> tuple[str, ...]:
    """What one lens is marked for where nothing was written of it."""
    lens = ("sphere", "cylinder", "notation")
    return (*lens, "axis", "form") if power.astigmatism >= SMALLEST_CYLINDER else lens


def _hold_lens(answer: Ticket, pair: Specimen, eye: str, form: str, safely: bool = True) -> Held | None:
    line = answer.of(eye).distance
    return None if line is None else hold(line, true_triple(pair.power(eye), form), form, safely)


def _close_sphere(lens: Held | None, pair: Specimen, eye: str) -> bool:
    """Whether a sphere is so near that a step misread explains it better than a guess."""
    if lens is None or "axis" in lens.right or lens.line.cylinder:
        return False
    return bool(abs(lens.line.sphere - pair.power(eye).mean) <= A_STEP_OFF)


def _looked_at(held: dict[str, Held | None], close: dict[str, bool], unasked: bool) -> dict[str, bool]:
    """Which lenses were looked at; one without a line goes with the other, for nothing denies it."""
    seen = [lens.looked or close[eye] for eye, lens in held.items() if lens is not None]
    alone = any(seen) if seen else unasked
    return {eye: alone if lens is None else lens.looked or close[eye] for eye, lens in held.items()}


def _is_the_other(held: Held | None, answer: Ticket, pair: Specimen, eye: str, form: str) -> bool:
    """Whether a line is the other lens of this pair: taken from there, it shows no look at this one.

    One sphere may meet another by chance; then the other line must be exchanged as well. And where
    the lenses are alike a step misread leads from one to the other, and harms nobody.
    """

    def taken(from_eye: str, for_eye: str) -> bool:
        line, true = answer.of(for_eye).distance, true_triple(pair.power(from_eye), form)
        return line is not None and hold(line, true, form).fits

    if held is None or held.fits or _a_step_off(held, true_triple(pair.power(eye), form)):
        return False
    other = OTHER_EYE[eye]
    return taken(other, eye) and (bool(held.line.cylinder) or taken(eye, other))


def _a_step_off(held: Held, true: Triple) -> bool:
    """Whether a line is no further from its own lens than a step misread, in any meridian."""
    more, _, less, _ = (held.line.power - Power.from_sphere_cylinder(*true)).principal()
    return bool(max(abs(float(more)), abs(float(less))) <= A_STEP_OFF)


def _power_offs(held: Held, true: Triple, eye: str) -> Iterator[Off]:
    line, right = held.line, held.right
    for skill, amount in (("sphere", line.sphere - true.sphere), ("cylinder", line.cylinder - true.cylinder)):
        yield Off(skill=skill, eye=eye, amount=amount, unit="dioptre", right=right[skill])
    if "axis" in right and line.axis is not None:
        out = float(axis_difference(line.axis, true.axis))
        yield Off(skill="axis", eye=eye, amount=out, unit="degree", right=right["axis"])


def _base_reversed(answer: Ticket, pair: Specimen, eye: str) -> bool:
    """Whether a part of the prism is written with its base on the other side."""
    written = answer.of(eye).prism_met(eye)
    if written is None:
        return False
    ways = (pair.prism(eye), pair.prism(eye) - pair.thinning(eye))
    return all(
        any(
            said * true < 0 and min(abs(said), abs(true)) >= REVERSED_FROM
            for said, true in zip(written.vector.tolist(), way.vector.tolist(), strict=True)
        )
        for way in ways
    )


def prism_off(answer: Ticket, pair: Specimen, eye: str) -> Prism:
    """Written less true prism of one lens; nothing written is no prism.

    Thinning prism is the same in both lenses and was never ordered. Whoever leaves
    it out of both lines is as right as who writes it in both.
    """
    written = {each: answer.of(each).prism_met(each) or Prism.none() for each in "RL"}
    off = {each: written[each] - pair.prism(each) for each in "RL"}
    without = {each: off[each] + pair.thinning(each) for each in "RL"}
    nearer = min(off, without, key=lambda way: max(way["R"].amount, way["L"].amount))
    return nearer[eye]


def _prism_asked(answer: Ticket, pair: Specimen, eye: str) -> bool:
    """Whether a lens has prism worth writing, thinning aside, or prism was written of either lens."""
    has = (pair.prism(eye) - pair.thinning(eye)).amount >= NOTHING_WORTH_WRITING
    return bool(has or answer.right.prism or answer.left.prism)


def _other_offs(answer: Ticket, pair: Specimen, eye: str, prism: bool, silent: bool) -> Iterator[Off]:
    """What was written beside the power, held against the pair; `silent` where silence means no prism."""
    lens = answer.of(eye)
    addition, height = pair.addition(eye), pair.height_mm(eye)
    if lens.add is not None:
        out = lens.add - (addition or 0.0)
        span = pair.addition_span(eye)
        good = span is not None and span[0] - ADD_WITHIN <= lens.add <= span[1] + ADD_WITHIN
        yield Off(skill="add", eye=eye, amount=out, unit="dioptre", right=good)
    out = float(prism_off(answer, pair, eye).amount)
    if prism and (lens.prism is not None or (silent and out <= PRISM_WITHIN)):
        yield Off(skill="prism", eye=eye, amount=out, unit="prism dioptre", right=out <= PRISM_WITHIN)
    if lens.pd_mm is not None:
        out = lens.pd_mm - pair.pd_mm(eye)
        yield Off(
            skill="centres", eye=eye, amount=out, unit="mm", right=abs(out) <= _centre_within(pair, eye)
        )
    if lens.height_mm is not None and height is not None:
        out = lens.height_mm - height
        yield Off(skill="heights", eye=eye, amount=out, unit="mm", right=abs(out) <= HEIGHT_WITHIN_MM)


def _centre_within(pair: Specimen, eye: str) -> float:
    """How far a PD may be out, mm: further where the lens has too little power to show its centre.

    The prism at r is F r, so where rings tell none is an ellipse, as long along each
    meridian as the power there is weak; it counts how far that reaches across.
    """
    if pair.style == PROGRESSIVE:  # its fitting cross is inked, whatever the power
        return CENTRES_WITHIN_MM
    sphere, cylinder, axis = map(float, pair.power(eye).sphere_cylinder())
    along, beside = (max(abs(power), 1e-6) for power in (sphere, sphere + cylinder))
    across = hypot(cos(radians(axis)) / along, sin(radians(axis)) / beside)
    return min(max(CENTRES_WITHIN_MM, 10.0 * RINGS_TELL * across), CENTRES_AT_MOST_MM)


def _unwritten(answer: Ticket, pair: Specimen, eye: str, prism: bool, silent: bool) -> Iterator[str]:
    """Skills that the pair asks for and the ticket says nothing of."""
    lens = answer.of(eye)
    if lens.add is None and pair.addition(eye) is not None:
        yield "add"
    unsaid = lens.prism is None and prism
    if unsaid and (not silent or prism_off(answer, pair, eye).amount > PRISM_WITHIN):
        yield "prism"
    if lens.pd_mm is None:
        yield "centres"
    if lens.height_mm is None and pair.height_mm(eye) is not None:
        yield "heights"


def _loose(answer: Ticket, eye: str) -> tuple[str, ...]:
    """What could be misread in the way one lens was written."""
    side = EYES[eye]
    loose: list[str] = []
    if answer.of(eye).distance is None:
        pass
    elif side in answer.unread:
        loose = list(refusal(answer.refused[side]))
    else:
        loose = list(loosely_written(answer.written(eye)))
    fields = (f"add_{side}", f"prism_{side}")
    beside = " ".join(answer.typed.get(name, "") for name in fields if name not in answer.refused)
    lens = answer.of(eye)
    read = {"add": lens.add, "prism": lens.prism, "pd": lens.pd_mm, "height": lens.height_mm}
    for what, value in read.items():
        if f"{what}_{side}" in answer.refused and value is not None:
            loose.append(str(answer.refused[f"{what}_{side}"]))
    amounts = re.findall(r"\d*\.?\d+", re.sub(r"base\s*\d+", " ", beside))
    if any(not re.fullmatch(r"\d+\.\d\d", amount) for amount in amounts):
        loose += [TWO_DECIMALS] if TWO_DECIMALS not in loose else []
    return tuple(loose)
