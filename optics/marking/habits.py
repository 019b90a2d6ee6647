"""The one catalogue of wrong habits: what each leads to, in words and as a forward model.

A habit is done in one or several *ways*. A way says what changes on a ticket: how a lens is
read (where the stop stands, which side lies on it, how far the drum is out), how the settled
line is written, and what becomes of addition, prism, distances and heights. What is read
wrongly is asked of the real lens (`optics.marking.diagnosis`); what is written wrongly is
arithmetic and stands here. Habits speak minus form and are turned for plus (`turned`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from optics.lens.angles import mirrored_axis, right_angle_to, wrapped_axis
from optics.pair.charts import charts


class Triple(NamedTuple):
    """Sphere, cylinder (dioptres) and axis (degrees) as somebody would write them."""

    sphere: float
    cylinder: float
    axis: float


def turned(lens: Triple, form: str) -> Triple:
    """A lens as the catalogue sees it, which speaks minus form: for plus form both signs are turned."""
    return Triple(-lens.sphere, -lens.cylinder, lens.axis) if form == "plus" else lens


SMALLEST_CYLINDER = 0.2
"""Below this a cylinder is polish, and habits about it do not show (dioptres)."""

PAPER = frozenset({"paper"})
BENCH = frozenset({"bench"})
EYEPIECES = tuple(sign * size for size in (0.25, 0.37, 0.5, 0.62, 0.75, 0.87) for sign in (1, -1))
"""How far an unset eyepiece may put every drum reading out, dioptres. The dial reaches 0.62;
what is more is an eye that accommodates besides (common practice)."""

Writing = Callable[[Any, Any, Any], tuple[Any, Any, Any]]

_FAR = 0.2


def _from_whole(s: Any) -> Any:
    """The drum counted back from the next whole dioptre: -2.25 becomes -2.75."""
    return np.floor(s) + np.ceil(s) - s


def _from_nearest(s: Any) -> Any:
    """The drum counted the wrong way from the whole dioptre beside it: -2.25 becomes -1.75."""
    return 2.0 * np.rint(s) - s


def _across(s: Any) -> Any:
    return -s


def _in_minus(s: Any, c: Any, a: Any) -> tuple[Any, Any, Any]:
    """A line with its more plus power first, as it is read."""
    plus = np.asarray(c) > 0
    return np.where(plus, s + c, s), -abs(np.asarray(c)), np.where(plus, right_angle_to(a), a)


def _at_first(change: Callable[[Any], Any]) -> Writing:
    """One of the two drum readings is wrong, and the cylinder with it."""
    return lambda s, c, a: _in_minus(change(s), s + c - change(s), a)


def _at_second(change: Callable[[Any], Any]) -> Writing:
    return lambda s, c, a: _in_minus(s, change(s + c) - s, a)


def _swapped(a: Any, first: int, second: int) -> Any:
    """An axis with two of its three digits exchanged; where none such exists, as it was."""
    whole = np.rint(np.asarray(a, dtype=float)).astype(int)
    digits = [whole // 100, whole // 10 % 10, whole % 10]
    digits[first], digits[second] = digits[second], digits[first]
    made = 100 * digits[0] + 10 * digits[1] + digits[2]
    return np.where((made >= 1) & (made <= 180), made, whole).astype(float)


def _moved(axis: float) -> Writing:
    return lambda s, c, a: (s, c, wrapped_axis(a + axis))


ROUND_AXES = {"on tens": 10.0, "on thirties": 30.0, "on half right angles": 45.0}
"""Axes that look round, by the step in which they come, degrees."""


def _on_every(step: float) -> Writing:
    return lambda s, c, a: (s, c, wrapped_axis(np.rint(a / step) * step))


WRITINGS: dict[str, Writing] = {
    "other form": lambda s, c, a: (s + c, -c, right_angle_to(a)),
    "sign kept": lambda s, c, a: (s, -c, a),
    "axis across": lambda s, c, a: (s, c, right_angle_to(a)),
    "mirrored": lambda s, c, a: (s, c, mirrored_axis(a)),
    "second as cylinder": lambda s, c, a: (s, s + c, a),
    "sphere kept": lambda s, c, a: (s + c, c, a),
    "taken away": lambda s, c, a: (s + 2 * c, c, a),
    "across zero": lambda s, c, a: (-s, c, a),
    "wrong way": lambda s, c, a: (_from_whole(s), c, a),
    "both across zero": lambda s, c, a: (-s - c, c, right_angle_to(a)),
    "both across zero, as read": lambda s, c, a: (-s, -c, a),
    "other way": lambda s, c, a: (_from_nearest(s), c, a),
    "both wrong way": lambda s, c, a: (_from_whole(s), _from_whole(s + c) - _from_whole(s), a),
    "both other way": lambda s, c, a: (_from_nearest(s), _from_nearest(s + c) - _from_nearest(s), a),
    "first across zero": _at_first(_across),
    "second across zero": _at_second(_across),
    "first wrong way": _at_first(_from_whole),
    "second wrong way": _at_second(_from_whole),
    "first other way": _at_first(_from_nearest),
    "second other way": _at_second(_from_nearest),
    "dioptre up": lambda s, c, a: (s + 1.0, c, a),
    "dioptre down": lambda s, c, a: (s - 1.0, c, a),
    "first up": _at_first(lambda s: s + 1.0),
    "first down": _at_first(lambda s: s - 1.0),
    "second up": _at_second(lambda s: s + 1.0),
    "second down": _at_second(lambda s: s - 1.0),
    "no cylinder": lambda s, c, a: (s, 0.0 * c, a),
    "no cylinder, second": lambda s, c, a: (s + c, 0.0 * c, a),
    "no cylinder, between": lambda s, c, a: (s + c / 2.0, 0.0 * c, a),
    "last digits": lambda s, c, a: (s, c, _swapped(a, 1, 2)),
    "first digits": lambda s, c, a: (s, c, _swapped(a, 0, 1)),
    "outer digits": lambda s, c, a: (s, c, _swapped(a, 0, 2)),
    "ten more": _moved(10.0),
    "ten less": _moved(-10.0),
    "sphere tenfold": lambda s, c, a: (s * 10.0, c, a),
    "sphere tenth": lambda s, c, a: (s / 10.0, c, a),
    "cylinder tenfold": lambda s, c, a: (s, c * 10.0, a),
    "cylinder tenth": lambda s, c, a: (s, c / 10.0, a),
    "plus for minus": lambda s, c, a: (abs(s), c, a),
    "half cylinder": lambda s, c, a: (s, c / 2.0, a),
    "mean": lambda s, c, a: (s + c / 2.0, c, a),
    "half dioptres": lambda s, c, a: (np.rint(s * 2.0) / 2.0, c, a),
    "whole dioptres": lambda s, c, a: (np.rint(s) + 0.0, c, a),
    **{name: _on_every(step) for name, step in ROUND_AXES.items()},
}
"""What becomes of a settled line in minus form: sphere, cylinder, axis, arrays allowed."""


def writing(name: str, form: str) -> Writing:
    """The same for a line of either form, as the catalogue sees it (`turned`)."""
    # A sign that is left out is a minus in either form; all else is turned with the lens.
    return (lambda s, c, a: (-abs(s), c, a)) if (name, form) == ("plus for minus", "plus") else WRITINGS[name]


_DIOPTRES = ("dioptre up", "dioptre down", "first up", "first down", "second up", "second down")
_OF_A_SPHERE = (
    *("across zero", "wrong way", "other way", "both across zero", "both wrong way", "both other way"),
    *("dioptre up", "dioptre down", "sphere tenfold", "sphere tenth", "plus for minus"),
    *("half dioptres", "whole dioptres"),
)
"""Those that show on a lens without cylinder too."""
_AT_ONE = tuple(
    f"{reading} {wrong}"
    for reading in ("first", "second")
    for wrong in ("across zero", "wrong way", "other way", "up", "down")
)
"""One of the two drum readings is wrong, so that a sphere comes out with a cylinder."""
_AT_THE_DRUM = (
    *("across zero", "wrong way", "other way", "both across zero", "both wrong way", "both other way"),
    *("dioptre up", "dioptre down", *_AT_ONE),
)


def shows(name: Any, s: Any, c: Any, a: Any, made: Any) -> Any:
    """Whether a way of writing changes a line at all, and not only by chance; arrays are allowed."""
    moved = np.maximum(abs(made[0] - s), abs(made[1] - c)) > _FAR
    around = abs((made[2] - a + 90.0) % 180.0 - 90.0) > 0.5
    cylinder = abs(np.asarray(c)) >= SMALLEST_CYLINDER
    # A sphere has no axis; of its two readings, both the same, one may be wrong.
    return np.where(cylinder, moved | around, moved & np.isin(name, (*_OF_A_SPHERE, *_AT_ONE)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way of doing a habit; what is empty is done rightly.

    Parameters
    ----------
    eyes : str
        The lenses it touches: "RL", "R" or "L".
    read, write : str
        How the line is read wrongly, and how it is written (`WRITINGS`).
    add, add_write, prism, prism_write, pd, height : str
        The same for the rest of a ticket; the names are those of `optics.marking.diagnosis`.
    weight : float
        How often it is done so, beside the other ways.
    """

    eyes: str = "RL"
    read: str = ""
    write: str = ""
    add: str = ""
    add_write: str = ""
    prism: str = ""
    prism_write: str = ""
    pd: str = ""
    height: str = ""
    weight: float = 1.0


def _each(weights: tuple[float, float, float] = (0.7, 0.15, 0.15), **way: Any) -> tuple[Way, ...]:
    """A way done with both lenses, or with one of them."""
    return tuple(
        Way(eyes=eyes, weight=weight, **way)
        for eyes, weight in zip(("RL", "R", "L"), weights, strict=True)
        if weight
    )


def _one_eye(**way: Any) -> tuple[Way, ...]:
    return _each((0.0, 0.5, 0.5), **way)


BY_THE_WAY = (0.4, 0.3, 0.3)
"""How often in both lenses, the right, the left: a slip of attention seldom comes twice."""


def _writing(*names: str, eyes: tuple[float, float, float] = (0.7, 0.15, 0.15)) -> tuple[Way, ...]:
    return tuple(way for name in names for way in _each(eyes, write=name))


def _drum(usual: str, *seldom: str) -> tuple[Way, ...]:
    """The sphere alone is wrong; more seldom one of two readings, and the cylinder with it."""
    ways = [(usual, 1.0), *((name, 0.2) for name in seldom)]
    return tuple(
        replace(way, weight=way.weight * often)
        for name, often in ways
        for way in _writing(name, eyes=(0.6, 0.2, 0.2))
    )


def _inked(laid: str) -> tuple[Way, ...]:
    """A progressive read and measured where the ink stands: "chart", its sign, across, up, turned."""
    return _each((0.8, 0.1, 0.1), read=laid, add=laid, prism=laid, pd=laid, height=laid)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One wrong habit.

    Parameters
    ----------
    name : str
        Short name, for reports.
    habit : str
        What was done, as a sentence to the learner.
    mend : str
        What to do instead: the step to look at again.
    spoils : frozenset of str
        The skills that lose marks by it.
    ways : tuple of Way
        How it is done.
    chapter : int
        The chapter that teaches the step.
    where : frozenset of {"paper", "bench"}
        Where the habit is met: working out on paper, reading at the bench, both.
    mend_on_paper : str
        What to do instead on paper, where that differs.
    status : str
        Where the habit is known from.
    """

    name: str
    habit: str
    mend: str
    spoils: frozenset[str]
    ways: tuple[Way, ...]
    chapter: int
    where: frozenset[str] = BENCH
    mend_on_paper: str = ""
    status: str = "common practice"

    @property
    def touches(self) -> frozenset[str]:
        """What it may spoil: where one reading of two is wrong, the cylinder and its axis as well."""
        at_one = any(way.write.startswith(("first", "second")) for way in self.ways)
        return self.spoils | (_skills("cylinder axis form") if at_one else frozenset())

    @property
    def at_the_ticket(self) -> bool:
        """Whether it is done once the readings are taken and settled, or could as well be."""
        reads = (way.read or way.add or way.prism or way.write in _AT_THE_DRUM for way in self.ways)
        return not any(reads)

    def comes_before(self, other: Slip) -> bool:
        """Whether it is done before the other in the order of the work."""
        return other.at_the_ticket and not self.at_the_ticket

    @property
    def of_a_line(self) -> bool:
        """Whether it stands in the writing of a line, and leads to one line oftener than to any other."""
        often: dict[str, float] = {}
        for way in self.ways:
            often[way.write] = often.get(way.write, 0.0) + way.weight
        most = sorted(often.values(), reverse=True)
        return "" not in often and most[0] > 1.01 * (most[1:] or [0.0])[0]

    def forward(self, true: Triple, form: str = "minus") -> Triple | None:
        """The line written instead of the true one, both in minus form or turned to look so; None where
        it does not show on this lens, or is no matter of writing alone.
        """
        name = next((way.write for way in self.ways if way.write), "")
        if not name:
            return None
        made = writing(name, form)(*true)
        return Triple(*map(float, made)) if shows(name, *true, made) else None

    def shown(self, right: Triple, form: str = "minus") -> Triple | None:
        """What is written instead of the right line, both in the form asked for."""
        made = self.forward(turned(right, form), form)
        return None if made is None else turned(made, form)

    def mend_for(self, where: str) -> str:
        """What to do instead, at the bench or on paper."""
        return self.mend_on_paper if where == "paper" and self.mend_on_paper else self.mend


def _skills(text: str) -> frozenset[str]:
    return frozenset(text.split())


_ALL_LINE = "sphere cylinder axis"
_WHOLE = _skills("sphere cylinder axis add prism")
_ROUND_TRIP = (
    "Read the whole number you have passed, then count the steps on from it, away from zero, at each reading."
)

CATALOGUE: tuple[Slip, ...] = (
    Slip(
        name="lenses exchanged",
        habit="Right and left are exchanged.",
        mend="With the temples pointing away from you, the right lens is on your left. Read it first.",
        spoils=_skills("sphere cylinder axis form add prism centres heights"),
        ways=(
            Way(read="laid", add="laid", prism="laid"),
            Way(read="laid", add="laid", prism="laid", pd="laid", height="laid"),
            # Written into each other's boxes, the lines alone, or all with the bases as they were named.
            Way(read="laid"),
            Way(read="laid", add="laid", prism="laid, as named", pd="laid", height="laid"),
        ),
        chapter=1,
    ),
    Slip(
        name="form not converted",
        habit="This is the same lens in the other cylinder form.",
        mend="Transpose the line before you write it: add the cylinder to the sphere, change its sign, turn the axis by 90.",
        spoils=_skills("form"),
        ways=_writing("other form"),
        chapter=2,
        where=PAPER | BENCH,
    ),
    Slip(
        name="cylinder sign kept",
        habit="The cylinder has the wrong sign for the form asked for.",
        mend="The cylinder changes its sign with every transposition.",
        spoils=_skills("cylinder form"),
        ways=_writing("sign kept"),
        chapter=2,
        where=PAPER | BENCH,
    ),
    Slip(
        name="axis 90 out",
        habit="The axis stands at right angles to where it should.",
        mend="Read the wheel where the sphere lines are sharp, at the more plus power; in plus form at the more minus.",
        mend_on_paper="The axis goes with the sphere: it is the meridian along which the lens has the sphere "
        "alone. Transposing turns it by 90.",
        spoils=_skills("axis"),
        ways=_writing("axis across"),
        chapter=5,
        where=PAPER | BENCH,
    ),
    Slip(
        name="axis mirrored",
        habit="The axis is the mirror image of the true one.",
        mend="Axes are counted anticlockwise from the right, seen from the front, for both eyes. "
        "Check that the back of the lens lies on the stop.",
        mend_on_paper="Axes are counted anticlockwise from the right, seen from the front, for both eyes.",
        spoils=_skills("axis"),
        ways=_writing("mirrored"),
        chapter=1,
        where=PAPER | BENCH,
    ),
    Slip(
        name="second power as cylinder",
        habit="The power of the second meridian was written as the cylinder.",
        mend="The cylinder is the difference: second power minus first.",
        spoils=_skills("cylinder"),
        ways=_writing("second as cylinder"),
        chapter=5,
        where=PAPER | BENCH,
    ),
    Slip(
        name="sphere not converted",
        habit="The sphere was left as it was when the form was changed.",
        mend="The new sphere is the old sphere plus the old cylinder.",
        spoils=_skills("sphere"),
        ways=_writing("sphere kept"),
        chapter=2,
        where=PAPER | BENCH,
    ),
    Slip(
        name="cylinder taken away",
        habit="The cylinder was taken away from the sphere instead of added to it.",
        mend="Add them with their signs: like signs add up, unlike signs take away.",
        spoils=_skills("sphere"),
        ways=_writing("taken away"),
        chapter=2,
        where=PAPER | BENCH,
    ),
    Slip(
        name="drum read across zero",
        habit="The drum was read on the wrong side of zero.",
        mend="Start from zero and watch which way the numbers grow: plus and minus have their own side.",
        spoils=_skills("sphere"),
        ways=_drum("across zero", "first across zero", "second across zero"),
        chapter=4,
    ),
    Slip(
        name="drum counted the wrong way",
        habit="The quarter steps on the drum were counted from the wrong whole dioptre.",
        mend="Read the whole number you have passed, then count the steps on from it, away from zero.",
        spoils=_skills("sphere"),
        ways=(
            *_drum("wrong way", "first wrong way", "second wrong way", "first other way", "second other way"),
            *(replace(way, weight=way.weight / 5) for way in _writing("other way")),
        ),
        chapter=4,
    ),
    Slip(
        name="both readings across zero",
        habit="Both drum readings were read on the wrong side of zero.",
        mend="Start from zero and watch which way the numbers grow, at the first reading and at the second.",
        spoils=_skills("sphere cylinder axis form"),
        ways=_writing("both across zero", "both across zero, as read"),
        chapter=5,
    ),
    Slip(
        name="both readings counted the wrong way",
        habit="At both readings the quarter steps were counted from the wrong whole dioptre.",
        mend=_ROUND_TRIP,
        spoils=_skills("sphere cylinder form"),
        ways=_writing("both wrong way", "both other way", eyes=(0.5, 0.25, 0.25)),
        chapter=5,
    ),
    Slip(
        name="a whole dioptre out",
        habit="A drum reading is a whole dioptre out.",
        mend="Read the whole number on the drum first, then the steps, then the whole number once more.",
        spoils=_skills("sphere cylinder form"),
        # The whole number is misread at one reading; a dioptre in the sphere alone is the commonest slip of it.
        ways=tuple(
            way
            for name, often in zip(_DIOPTRES, (0.25, 0.25, 0.125, 0.125, 0.125, 0.125), strict=True)
            for way in _each((0.4 * often, 0.3 * often, 0.3 * often), write=name)
        ),
        chapter=4,
    ),
    Slip(
        name="cylinder overlooked",
        habit="A sphere was written where the lens has a cylinder.",
        mend="With one set of lines sharp, turn on and see whether the other is sharp there too.",
        mend_on_paper="Where the two powers differ there is a cylinder.",
        spoils=_skills("sphere cylinder axis form"),
        # Who overlooks it stops at one of the two readings, or where both sets are least blurred.
        ways=_writing("no cylinder", "no cylinder, second", "no cylinder, between"),
        chapter=5,
    ),
    Slip(
        name="half the cylinder",
        habit="Only half of the cylinder was written.",
        mend="The cylinder is the whole difference between the two readings.",
        spoils=_skills("cylinder"),
        ways=_writing("half cylinder"),
        chapter=5,
    ),
    Slip(
        name="mean power as sphere",
        habit="The power midway between the two readings was written as the sphere.",
        mend="The sphere is the first reading itself; the mean is for comparing lenses.",
        spoils=_skills("sphere"),
        ways=_writing("mean", eyes=(0.8, 0.1, 0.1)),
        chapter=5,
    ),
    Slip(
        name="digits of the axis exchanged",
        habit="Two digits of the axis changed places.",
        mend="Say the axis digit by digit as you write it, and look back at the wheel.",
        spoils=_skills("axis"),
        ways=_writing("last digits", "first digits", "outer digits", eyes=BY_THE_WAY),
        chapter=2,
    ),
    Slip(
        name="axis 10 out",
        habit="The axis is ten degrees out.",
        mend="Read the numbered mark below the pointer first, then count the degrees on from it.",
        spoils=_skills("axis"),
        ways=_writing("ten more", "ten less", eyes=BY_THE_WAY),
        chapter=5,
    ),
    Slip(
        name="decimal point misplaced",
        habit="The decimal point stands one place out.",
        mend="Powers go in steps of 0.25 D: write two places after the point and read the number back.",
        spoils=_skills("sphere cylinder form"),
        ways=_writing(
            "sphere tenfold", "sphere tenth", "cylinder tenfold", "cylinder tenth", eyes=BY_THE_WAY
        ),
        chapter=2,
    ),
    Slip(
        name="minus sign left out",
        habit="The minus sign of the sphere was left out.",
        mend="Write the sign before the number, plus as well as minus, every time.",
        spoils=_skills("sphere"),
        ways=_writing("plus for minus", eyes=BY_THE_WAY),
        chapter=2,
    ),
    Slip(
        name="sphere copied from the other lens",
        habit="The sphere is that of the other lens.",
        mend="Write each reading down before you slide to the other lens.",
        spoils=_skills("sphere"),
        ways=_one_eye(read="take sphere"),
        chapter=12,
    ),
    Slip(
        name="axis copied from the other lens",
        habit="The axis is that of the other lens.",
        mend="Find the axis of each lens afresh: turn the wheel until its own lines are unbroken.",
        spoils=_skills("axis"),
        ways=_one_eye(read="take axis"),
        chapter=12,
    ),
    Slip(
        name="cylinder copied from the other lens",
        habit="The cylinder is that of the other lens.",
        mend="Read both meridians of each lens: the cylinder is the difference of its own two readings.",
        spoils=_skills("cylinder"),
        ways=_one_eye(read="take cylinder"),
        chapter=12,
    ),
    Slip(
        name="line copied from the other lens",
        habit="The line is that of the other lens.",
        mend="Each lens is read for itself, even where the two look alike.",
        spoils=_skills(_ALL_LINE),
        ways=_one_eye(read="take line"),
        chapter=12,
    ),
    Slip(
        name="each power rounded by itself",
        habit="Sphere and cylinder were each put on the nearest step by themselves, and the line is not near the lens.",
        mend="Settle the two readings together: the line must suit both meridians and the cylinder.",
        spoils=_skills("sphere cylinder"),
        ways=_each(read="apart"),
        chapter=6,
    ),
    Slip(
        name="rounded away from zero",
        habit="Every power was put on the next step away from zero.",
        mend="Take the line nearest to the reading, in both meridians.",
        spoils=_skills("sphere cylinder"),
        ways=_each(read="away"),
        chapter=6,
    ),
    Slip(
        name="put on round numbers",
        habit="A sphere or an axis was put on a round number near it.",
        mend="Write an axis to the degree and a power to the quarter, as you read them.",
        spoils=_skills("sphere axis"),
        # Fives and tens are what the eye goes to.
        ways=(
            *_writing("on tens", "half dioptres", "whole dioptres"),
            *(replace(way, weight=way.weight / 2) for way in _writing("on thirties", "on half right angles")),
        ),
        chapter=6,
    ),
    Slip(
        name="wrong side on the stop",
        habit="The lens was read with its front on the stop, which mirrors the axis and changes a strong power.",
        mend="The back of the lens, the side towards the eye, lies on the stop.",
        spoils=_WHOLE - {"add"},
        # Prism may be read once the lens lies as it should.
        ways=(*_each(read="front", prism="front"), *_each((0.3, 0.1, 0.1), read="front")),
        chapter=3,
    ),
    Slip(
        name="eyepiece not set",
        habit="The eyepiece was not set, so the powers are off by about the same amount.",
        mend="Turn the eyepiece fully to plus, then in until the reticle is first sharp, and check zero.",
        spoils=_skills("sphere"),
        # Beyond the dial's own reach it is rare.
        ways=tuple(
            way
            for size in EYEPIECES
            for often in (1.0 if abs(size) < 0.7 else 0.3,)
            for way in _each((0.7 * often, 0.15 * often, 0.15 * often), read=f"shift {size}")
        ),
        chapter=3,
    ),
    Slip(
        name="zero error not taken off",
        habit="What the drum shows without a lens was left in the readings.",
        mend="Look at the drum without a lens first, and take what it shows off every reading.",
        spoils=_skills("sphere"),
        ways=(Way(read="zero"),),
        chapter=3,
    ),
    Slip(
        name="progressive read unmarked",
        habit="The distance power was read below the distance circle, where the addition has begun.",
        mend="Find the two rings, put the ink back from the chart of their sign, and read distance in its circle.",
        spoils=_WHOLE,
        ways=(
            *_each((0.8, 0.1, 0.1), read="centre", add="from centre"),
            *_each((0.8, 0.1, 0.1), read="reference", add="from reference"),
            *_each((0.8, 0.1, 0.1), read="centre", add="from centre", prism="centre"),
        ),
        chapter=10,
    ),
    Slip(
        name="wrong chart",
        habit="The ink was put on from the chart of another design, so circles and cross stand in the wrong places.",
        mend="Tilt to the light, read the sign below the nasal ring, and take the chart with that sign.",
        spoils=_WHOLE | {"centres", "heights"},
        ways=tuple(way for each in charts() for way in _inked(f"chart {each.sign} 0 0 0")),
        chapter=10,
    ),
    Slip(
        name="askew chart",
        habit="The chart lay off the rings or was turned from them, so circles and cross stand in the wrong places.",
        mend="Lay the chart so that both of its circles cover the rings, and only then put the ink on.",
        spoils=_WHOLE | {"centres", "heights"},
        ways=tuple(
            way
            for off in (
                *("0 2 0", "0 -2 0", "2 0 0", "-2 0 0", "0 0 9", "0 0 -9"),
                *("0 3.5 0", "0 -3.5 0", "3.5 0 0", "-3.5 0 0", "0 0 14", "0 0 -14"),
            )
            for way in _inked(f"chart own {off}")
        ),
        chapter=10,
    ),
    Slip(
        name="frame not trued",
        habit="The pair was read while it was out of true: a lens that leans or is turned shows another power or axis.",
        mend="True the frame before you read anything.",
        spoils=_WHOLE,
        ways=(Way(read="bent", add="bent", prism="bent"),),
        chapter=8,
    ),
    Slip(
        name="lens not cleaned",
        habit="A smeared lens was read: grease has a power of its own that changes from place to place.",
        mend="Clean both lenses before you read them.",
        spoils=_WHOLE,
        ways=(Way(read="smeared", add="smeared", prism="smeared"),),
        chapter=8,
    ),
    Slip(
        name="near total written as add",
        habit="The near reading itself was written as the addition.",
        mend="The addition is the near reading less the distance reading, both from the same side.",
        spoils=_skills("add"),
        ways=(
            *_each((0.8, 0.1, 0.1), add_write="total"),
            *_each((0.24, 0.03, 0.03), add_write="total, mean"),
        ),
        chapter=9,
    ),
    Slip(
        name="half the addition",
        habit="Only half of the addition was written.",
        mend="Read near in the middle of the near portion, and write the whole difference.",
        spoils=_skills("add"),
        ways=_each((0.8, 0.1, 0.1), add_write="half"),
        chapter=9,
    ),
    Slip(
        name="addition read from the back",
        habit="The addition was read with the wrong side on the stop, where a thick lens shows another.",
        mend="Lay the side that carries the addition on the stop, for distance and near alike.",
        spoils=_skills("add"),
        ways=(Way(add="other side"),),
        chapter=9,
    ),
    Slip(
        name="sides mixed for the addition",
        habit="Near was read from one side and distance from the other.",
        mend="Read distance and near for the addition from the same side.",
        spoils=_skills("add"),
        ways=(Way(add="mixed"),),
        chapter=9,
    ),
    Slip(
        name="near read in the corridor",
        habit="Near was read above its circle, where the addition has not come to its full power.",
        mend="Put the near circle back from the chart, and read in its middle.",
        spoils=_skills("add"),
        # How far above, in millimetres; the power grows by a step every one or two.
        ways=(
            Way(add="corridor 3"),
            *_each((1.0, 0.3, 0.3), add="corridor 5"),
            Way(add="corridor 7"),
        ),
        chapter=10,
    ),
    Slip(
        name="base reversed in one eye",
        habit="The base of the prism is named the wrong way round.",
        mend="The crossing moves towards the base. In is towards the nose: to your right for the right lens, "
        "to your left for the left lens. Up is up in both.",
        spoils=_skills("prism"),
        ways=(*_one_eye(prism_write="across"), *_one_eye(prism_write="all"), *_one_eye(prism_write="upside")),
        chapter=7,
    ),
    Slip(
        name="base reversed in both eyes",
        habit="The base of the prism is named the wrong way round in both eyes.",
        mend="The crossing moves towards the base: moved up is base up, moved to the nose is base in.",
        spoils=_skills("prism"),
        ways=(Way(prism_write="across"), Way(prism_write="all"), Way(prism_write="upside")),
        chapter=7,
    ),
    Slip(
        name="prism all in one lens",
        habit="The prism of both lenses was written together in one.",
        mend="Read prism lens by lens, and write for each what is found in it.",
        spoils=_skills("prism"),
        ways=_one_eye(prism_write="all here"),
        chapter=7,
    ),
    Slip(
        name="prism overlooked",
        habit="Prism was not written where the lens has it.",
        mend="Centre the lens at its reference point and see how far the crossing stands from the middle.",
        spoils=_skills("prism"),
        ways=_each(prism_write="none"),
        chapter=7,
    ),
    Slip(
        name="prism read away from the reference point",
        habit="The prism was read in another place of the lens, where the lens adds prism of its own.",
        mend="Read prism at the reference point: where the wearer looks through, or midway between the two rings.",
        spoils=_skills("prism"),
        ways=(*_each(prism="centre"), *_each(prism="distance")),
        chapter=7,
    ),
    Slip(
        name="centimetres for millimetres",
        habit="A length was written in centimetres.",
        mend="Write distances and heights in millimetres.",
        spoils=_skills("centres heights"),
        ways=(
            Way(pd="tenth", height="tenth"),
            *_each((0.8, 0.1, 0.1), pd="tenth"),
            *_each((0.8, 0.1, 0.1), height="tenth"),
        ),
        chapter=7,
    ),
    Slip(
        name="half of each distance",
        habit="The distance of each eye was halved.",
        mend="The distance of one eye goes from the middle of the bridge to its dot, and is written whole.",
        spoils=_skills("centres"),
        ways=_each((0.8, 0.1, 0.1), pd="half"),
        chapter=7,
    ),
    Slip(
        name="whole distance for one eye",
        habit="The distance from dot to dot was written for each eye.",
        mend="Measure each eye for itself, from the middle of the bridge to its dot.",
        spoils=_skills("centres"),
        ways=_each((0.6, 0.2, 0.2), pd="whole"),
        chapter=7,
    ),
    Slip(
        name="height from the datum line",
        habit="The height was measured from the middle line of the lens.",
        mend="Measure up from the lowest point of the lens.",
        spoils=_skills("heights"),
        ways=_each((0.8, 0.1, 0.1), height="datum"),
        chapter=9,
    ),
    Slip(
        name="height to the reference point",
        habit="The height of the reference point was measured, not that of the line or the cross.",
        mend="Measure to the top of the segment, or to the fitting cross.",
        spoils=_skills("heights"),
        ways=_each((0.8, 0.1, 0.1), height="reference"),
        chapter=9,
    ),
    Slip(
        name="height from the upper rim",
        habit="The height was measured down from the upper rim.",
        mend="Measure up from the lowest point of the lens.",
        spoils=_skills("heights"),
        ways=_each((0.8, 0.1, 0.1), height="upper rim"),
        chapter=9,
    ),
)
"""In the order in which they are named where two explain a ticket equally well. All are common
practice's own list of errors; none is measured, and none of their frequencies is known."""


def slip(name: str) -> Slip:
    """The slip of that name."""
    return next(entry for entry in CATALOGUE if entry.name == name)
