"""How a whole pair was read: right or not by skill, and how far off.

Powers, axes and notation are marked lens by lens as in `optics.marking.marks`.
The rest is right within the limit for delivered spectacles (ANSI Z80.1-2015)
and what a careful hand adds to it: a rule is read to half a millimetre, the rings
of the reticle to a quarter of a prism dioptre (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from optics.errors import OpticsError
from optics.judging.compare import power_change
from optics.lens.angles import axis_difference
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.marking.marks import (
    POWER_WITHIN,
    SMALLEST_CYLINDER,
    Marks,
    axis_within,
    in_form,
    mark_lens,
    true_triple,
)
from optics.marking.notation import loosely_written
from optics.marking.read import EYES, LensAnswer, Ticket
from optics.specimens.specimen import Specimen

__all__ = [
    "ADD_WITHIN",
    "ASKS",
    "CENTRES_WITHIN_MM",
    "HEIGHT_WITHIN_MM",
    "PRISM_WITHIN",
    "SKILLS",
    "Off",
    "PairMarks",
    "mark_pair",
    "prism_off",
]

SKILLS = ("sphere", "cylinder", "axis", "form", "notation", "add", "prism", "centres", "heights", "style")
ASKS = {
    "lines": ("sphere", "cylinder", "axis", "form", "notation"),
    "add": ("add",),
    "prism": ("prism",),
    "pd": ("centres",),
    "heights": ("heights",),
    "style": ("style",),
}
"""What a question may ask of a ticket, and the skills that it marks by it."""
ADD_WITHIN = POWER_WITHIN
"""How far a written addition may be from the lens, dioptres."""
PRISM_WITHIN = 0.33 + 0.125
"""How far a written prism may be from the lens, prism dioptres: the limit for one lens, and half of
the quarter to which rings are read."""
CENTRES_WITHIN_MM = 1.0 + 0.25
HEIGHT_WITHIN_MM = 1.0 + 0.25
"""Distances and heights: one millimetre, and half of what a rule is read to."""
NOTHING_WORTH_WRITING = 0.25
"""A prism below this is not written, prism dioptres."""
WEIGHTS = {"sphere": 3, "cylinder": 3, "axis": 2, "add": 3, "prism": 2, "centres": 2, "heights": 2}
_UNITS = {"dioptre": " D", "degree": "°", "prism dioptre": " Δ", "mm": " mm"}
_DECIMALS = {"dioptre": 2, "degree": 0, "prism dioptre": 2, "mm": 1}


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
        if self.skill == "cylinder" and self.right and abs(self.amount) > POWER_WITHIN:
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
    """

    marks: Marks
    offs: tuple[Off, ...]
    missing: tuple[str, ...]
    remarks: tuple[str, ...]
    differences: dict[str, Power]

    @property
    def right(self) -> tuple[str, ...]:
        """The skills that show on both lenses."""
        return tuple(skill for skill in self.marks.skills if skill not in self.marks.missed)

    @property
    def all_right(self) -> bool:
        """Whether nothing was missed."""
        return not self.marks.missed

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

    Returns
    -------
    PairMarks
    """
    if asks is not None and (not asks or set(asks) - set(ASKS)):
        raise OpticsError(
            f"A ticket was asked for {', '.join(asks) or 'nothing'}.",
            f"It may be asked for {', '.join(ASKS)}.",
            "Name one or more of them.",
        )
    asked = {"style": [answer.style == pair.style]}
    offs: list[Off] = []
    missing = [] if answer.style or "style" in answer.unread else ["style"]
    remarks: list[str] = []
    differences = {}
    for eye in "RL":
        lens = answer.of(eye)
        loose = _loose(answer, eye)
        remarks += [sentence for sentence in loose if sentence not in remarks]
        for skill, good in _power_skills(lens, pair.power(eye), form, safely=not loose).items():
            asked.setdefault(skill, []).append(good)
        if lens.distance is None:
            if EYES[eye] not in answer.unread:
                missing.append(f"{eye} power")
        else:
            differences[eye] = lens.distance.power - pair.power(eye)
            offs += _power_offs(lens, pair.power(eye), form)
        prism = _prism_asked(answer, pair, eye) if asks is None else "prism" in asks
        for off in _other_offs(answer, pair, eye, prism, silent=asks is None):
            asked.setdefault(off.skill, []).append(off.right)
            offs.append(off)
        for skill in _unwritten(answer, pair, eye, prism, silent=asks is None):
            asked.setdefault(skill, []).append(False)
            if f"{_FIELD[skill]}_{EYES[eye]}" not in answer.unread:
                missing.append(f"{eye} {_ONE[skill]}")
    if asks is not None:
        wanted = {skill for each in asks for skill in ASKS[each]}
        asked = {skill: good for skill, good in asked.items() if skill in wanted}
        offs = [off for off in offs if off.skill in wanted]
        missing = [what for what in missing if wanted & set(_SKILLS_OF[what.split()[-1]])]
        remarks = remarks if "notation" in wanted else []
    weights = {skill: WEIGHTS.get(skill, 1) for skill in SKILLS if skill in asked}
    skills = {}
    for skill, weight in weights.items():
        of = (points or 1.0) * weight / sum(weights.values())
        skills[skill] = (of * sum(asked[skill]) / len(asked[skill]), of)
    return PairMarks(
        marks=Marks(skills, counts=points > 0),
        offs=tuple(offs),
        missing=tuple(missing),
        remarks=tuple(remarks),
        differences=differences,
    )


# --- one lens ------------------------------------------------------------------------

_ONE = {"centres": "PD", "heights": "height", "add": "add", "prism": "prism"}
_FIELD = {"centres": "pd", "heights": "height", "add": "add", "prism": "prism"}
_SKILLS_OF = {words: (skill,) for skill, words in _ONE.items()} | {
    "style": ("style",),
    "power": ASKS["lines"],
}


def _power_skills(lens: LensAnswer, power: Power, form: str, safely: bool) -> dict[str, bool]:
    """Which of the skills of one lens's power show."""
    if lens.distance is not None:
        marks = mark_lens(lens.distance, power, form, 1.0, safely)
        return {skill: skill not in marks.missed for skill in marks.skills}
    skills = ("sphere", "cylinder", "notation")
    shows = power.astigmatism >= SMALLEST_CYLINDER
    return dict.fromkeys((*skills, "axis", "form") if shows else skills, False)


def _power_offs(lens: LensAnswer, power: Power, form: str) -> Iterator[Off]:
    assert lens.distance is not None
    marks = mark_lens(lens.distance, power, form, 1.0)
    true = true_triple(power, form)
    eye = lens.distance.eye or "R"
    line = in_form(lens.distance, form)
    if set(mark_lens(line, power, form, 1.0).missed) != set(marks.missed) - {"form"}:
        # Not the lens in the other form, but the lens with the wrong sign on its cylinder.
        line = lens.distance
    for skill, amount in (("sphere", line.sphere - true.sphere), ("cylinder", line.cylinder - true.cylinder)):
        yield Off(skill=skill, eye=eye, amount=amount, unit="dioptre", right=skill not in marks.missed)
    if "axis" in marks.skills and line.axis is not None:
        out = float(axis_difference(line.axis, true.axis))
        near = "axis" not in marks.missed and out <= axis_within(true.cylinder)
        yield Off(skill="axis", eye=eye, amount=out, unit="degree", right=near)


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
        good = addition is not None and abs(out) <= ADD_WITHIN
        yield Off(skill="add", eye=eye, amount=out, unit="dioptre", right=good)
    out = float(prism_off(answer, pair, eye).amount)
    if prism and (lens.prism is not None or (silent and out <= PRISM_WITHIN)):
        yield Off(skill="prism", eye=eye, amount=out, unit="prism dioptre", right=out <= PRISM_WITHIN)
    if lens.pd_mm is not None:
        out = lens.pd_mm - pair.pd_mm(eye)
        yield Off(skill="centres", eye=eye, amount=out, unit="mm", right=abs(out) <= CENTRES_WITHIN_MM)
    if lens.height_mm is not None and height is not None:
        out = lens.height_mm - height
        yield Off(skill="heights", eye=eye, amount=out, unit="mm", right=abs(out) <= HEIGHT_WITHIN_MM)


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
    loose = list(loosely_written(answer.written(eye))) if answer.of(eye).distance is not None else []
    fields = (f"add_{side}", f"prism_{side}")
    beside = " ".join(answer.typed.get(name, "") for name in fields if name not in answer.unread)
    amounts = re.findall(r"\d*\.?\d+", re.sub(r"base\s*\d+", " ", beside))
    if any(not re.fullmatch(r"\d+\.\d\d", amount) for amount in amounts):
        sentence = "A power has a figure before the point and two behind it: 0.50, not .5."
        loose += [sentence] if sentence not in loose else []
    return tuple(loose)
