"""Wrong habits as forward models: from the lens to the answer the habit produces.

A slip takes the true sphere, cylinder and axis in minus-cylinder form and gives
what a person with that habit would write. Diagnosis runs all of them forward
and looks for the answer actually written; it says nothing where none explains
it. All are common practice's own list of errors; none is measured.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import permutations
from math import ceil, floor
from typing import NamedTuple

from optics.lens.angles import axis_difference, mirrored_axis, right_angle_to

__all__ = ["CATALOGUE", "Explanation", "Slip", "Triple", "diagnose", "diagnose_pair", "slip"]


class Triple(NamedTuple):
    """Sphere, cylinder (dioptres) and axis (degrees) as somebody would write them."""

    sphere: float
    cylinder: float
    axis: float


def turned(lens: Triple, form: str) -> Triple:
    """A lens as the catalogue sees it, which speaks minus form: for plus form both signs are turned."""
    return Triple(-lens.sphere, -lens.cylinder, lens.axis) if form == "plus" else lens


PAPER = frozenset({"paper"})
BENCH = frozenset({"bench"})


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
        What to do instead.
    spoils : frozenset of str
        The skills that lose marks by it.
    forward : callable
        From the true `Triple` (minus form) to the one written, or None where the
        habit cannot show on this lens.
    where : frozenset of {"paper", "bench"}
        Where the habit is met: working out on paper, reading at the bench, both.
    mend_on_paper : str
        What to do instead on paper, where that differs.
    """

    name: str
    habit: str
    mend: str
    spoils: frozenset[str]
    forward: Callable[[Triple], Triple | None]
    where: frozenset[str] = PAPER | BENCH
    mend_on_paper: str = ""

    def shown(self, right: Triple, form: str = "minus") -> Triple | None:
        """What is written instead of the right line, both in the form asked for."""
        made = self.forward(turned(right, form))
        return None if made is None else turned(made, form)

    def mend_for(self, where: str) -> str:
        """What to do instead, at the bench or on paper."""
        return self.mend_on_paper if where == "paper" and self.mend_on_paper else self.mend


class Explanation(NamedTuple):
    """The slips that together explain an answer, and how closely (dioptres)."""

    slips: tuple[Slip, ...]
    misfit: float


SMALLEST_CYLINDER = 0.2
"""Below this a cylinder is polish, and habits about it do not show (dioptres)."""


def _with_cylinder(change: Callable[[Triple], Triple]) -> Callable[[Triple], Triple | None]:
    return lambda true: change(true) if abs(true.cylinder) >= SMALLEST_CYLINDER else None


def _plus(true: Triple) -> Triple:
    return Triple(true.sphere + true.cylinder, -true.cylinder, right_angle_to(true.axis))


def _wrong_way(true: Triple) -> Triple | None:
    """The drum counted back from the next whole dioptre: -2.25 becomes -2.75."""
    between = floor(true.sphere) + ceil(true.sphere)
    moved = true._replace(sphere=between - true.sphere)
    return moved if abs(moved.sphere - true.sphere) > 0.2 else None


CATALOGUE: tuple[Slip, ...] = (
    Slip(
        name="form not converted",
        habit="This is the same lens in the other cylinder form.",
        mend="Transpose it before you write: add the cylinder to the sphere, change its sign, turn the axis by 90.",
        spoils=frozenset({"form"}),
        forward=_with_cylinder(_plus),
    ),
    Slip(
        name="cylinder sign kept",
        habit="Sphere and axis are right for the form asked for, but the cylinder has the other sign.",
        mend="The cylinder changes its sign with every transposition.",
        spoils=frozenset({"cylinder", "form"}),
        forward=_with_cylinder(lambda t: t._replace(cylinder=-t.cylinder)),
    ),
    Slip(
        name="axis 90 out",
        habit="The axis stands at right angles to where it should.",
        mend="Read the wheel where the sphere lines are sharp: in minus form at the more plus power, in plus form "
        "at the more minus power.",
        mend_on_paper="The axis goes with the sphere: it is the meridian along which the lens has the sphere "
        "alone. Transposing turns it by 90.",
        spoils=frozenset({"axis"}),
        forward=_with_cylinder(lambda t: t._replace(axis=right_angle_to(t.axis))),
    ),
    Slip(
        name="axis mirrored",
        habit="The axis is the mirror image of the true one.",
        mend="Axes are counted anticlockwise from the right-hand side, seen from the front, for both eyes. "
        "Check that the lens lies with its back against the stop.",
        mend_on_paper="Axes are counted anticlockwise from the right-hand side, seen from the front, for both eyes.",
        spoils=frozenset({"axis"}),
        forward=_with_cylinder(lambda t: t._replace(axis=mirrored_axis(t.axis))),
    ),
    Slip(
        name="second power as cylinder",
        habit="The power of the second meridian was written as the cylinder.",
        mend="The cylinder is the difference: second power minus first.",
        spoils=frozenset({"cylinder"}),
        forward=_with_cylinder(lambda t: t._replace(cylinder=t.sphere + t.cylinder)),
    ),
    Slip(
        name="sphere not converted",
        habit="The sphere was left as it was when the form was changed.",
        mend="The new sphere is the old sphere plus the old cylinder.",
        spoils=frozenset({"sphere"}),
        forward=_with_cylinder(lambda t: t._replace(sphere=t.sphere + t.cylinder)),
    ),
    Slip(
        name="cylinder taken away",
        habit="The cylinder was taken away from the sphere instead of added to it.",
        mend="Add them with their signs: plus to plus grows, plus to minus shrinks.",
        spoils=frozenset({"sphere"}),
        forward=_with_cylinder(lambda t: t._replace(sphere=t.sphere + 2 * t.cylinder)),
        where=PAPER,
    ),
    Slip(
        name="drum read across zero",
        habit="The drum was read on the wrong side of zero.",
        mend="Start from zero and watch which way the numbers grow: plus and minus have their own side.",
        spoils=frozenset({"sphere"}),
        forward=lambda t: t._replace(sphere=-t.sphere) if abs(t.sphere) >= 0.25 else None,
        where=BENCH,
    ),
    Slip(
        name="drum counted the wrong way",
        habit="The quarter steps on the drum were counted from the wrong whole dioptre.",
        mend="Read the whole number you have passed, then count the steps on from it, away from zero.",
        spoils=frozenset({"sphere"}),
        forward=_wrong_way,
        where=BENCH,
    ),
)
"""Slips that show in the writing of one lens. The unset eyepiece has no fixed size
and is found by `diagnose_pair`; exchanged lenses too."""

_PAIR_SLIPS = (
    Slip(
        name="lenses exchanged",
        habit="Right and left are exchanged.",
        mend="With the temples pointing away from you, the right lens is on your left. Read it first.",
        spoils=frozenset({"sphere", "cylinder", "axis"}),
        forward=lambda t: t,
    ),
    Slip(
        name="eyepiece not set",
        habit="Both lenses are off by the same amount in the sphere, and the cylinders are right.",
        mend="Before the first reading turn the eyepiece until the reticle is sharp to you, and check zero.",
        spoils=frozenset({"sphere"}),
        forward=lambda t: t,
    ),
)


def slip(name: str) -> Slip:
    """The slip of that name."""
    return next(entry for entry in (*CATALOGUE, *_PAIR_SLIPS) if entry.name == name)


def _misfit(written: Triple, predicted: Triple, within: float, axis_within: float) -> float | None:
    """Largest difference in dioptres, or None where it is beyond reading noise."""
    apart = max(abs(written.sphere - predicted.sphere), abs(written.cylinder - predicted.cylinder))
    if apart > within:
        return None
    weak = max(abs(written.cylinder), abs(predicted.cylinder)) < SMALLEST_CYLINDER
    if not weak and axis_difference(written.axis, predicted.axis) > axis_within:
        return None
    return apart


def _chains(true: Triple, where: str) -> Iterator[tuple[tuple[Slip, ...], Triple]]:
    """Every slip, then every ordered pair of slips, with the answer it leads to."""
    known = [entry for entry in CATALOGUE if where in entry.where]
    for entry in known:
        if (made := entry.forward(true)) is not None:
            yield (entry,), made
    for first, second in permutations(known, 2):
        middle = first.forward(true)
        made = second.forward(middle) if middle is not None else None
        if made is not None:
            yield (first, second), made


def diagnose(
    written: Triple,
    true: Triple,
    within: float = 0.19,
    axis_within: float = 5.0,
    where: str = "bench",
    form: str = "minus",
) -> tuple[Explanation, ...]:
    """Slips, or pairs of slips, that explain what was written for one lens.

    Parameters
    ----------
    written : Triple
        As written, in the form it was written in.
    true : Triple
        As it really is, in the form asked for.
    within, axis_within : float
        Reading noise, dioptres and degrees.
    where : {"bench", "paper"}
        Whether the lens was read or worked out.
    form : {"minus", "plus"}
        The form asked for.

    Returns
    -------
    tuple of Explanation
        Fewest slips first, then the closest; empty where the answer is right or
        nothing explains it.

    Examples
    --------
    >>> found = diagnose(Triple(-2.25, -0.75, 105), Triple(-2.25, -0.75, 15))
    >>> found[0].slips[0].name
    'axis 90 out'
    """
    written, true = turned(written, form), turned(true, form)
    if _misfit(written, true, within, axis_within) is not None:
        return ()
    found: list[Explanation] = []
    seen: set[frozenset[str]] = set()
    for slips, made in _chains(true, where):
        names = frozenset(entry.name for entry in slips)
        # A pair that contains a single explanation explains nothing more.
        if any(known <= names for known in seen):
            continue
        misfit = _misfit(written, made, within, axis_within)
        if misfit is not None:
            found.append(Explanation(slips, misfit))
            seen.add(names)
    return tuple(sorted(found, key=lambda e: (len(e.slips), e.misfit)))


LARGEST_EYEPIECE = 0.69
"""More than this no unset eyepiece shifts a reading, dioptres: the whole dial, 10 D at
the eye, through a telescope that magnifies four times, and the error of a reading."""


def diagnose_pair(
    written: tuple[Triple, Triple],
    true: tuple[Triple, Triple],
    within: float = 0.19,
    axis_within: float = 5.0,
    form: str = "minus",
) -> tuple[Explanation, ...]:
    """Slips that explain a whole pair, so that one habit is not told twice.

    Parameters
    ----------
    written, true : tuple of Triple
        Right, left; the true ones in the form asked for.
    within, axis_within, form
        As for `diagnose`.

    Returns
    -------
    tuple of Explanation
        Only what explains *both* lenses; best first; empty where nothing does.

    Examples
    --------
    >>> right, left = Triple(-1.0, 0.0, 180), Triple(-2.5, -0.5, 90)
    >>> diagnose_pair((left, right), (right, left))[0].slips[0].name
    'lenses exchanged'
    """

    def fits(a: Triple, b: Triple) -> float | None:
        return _misfit(a, b, within, axis_within)

    right = [fits(w, t) for w, t in zip(written, true, strict=True)]
    if all(value is not None for value in right):
        return ()
    crossed = [fits(w, t) for w, t in zip(written, reversed(true), strict=True)]
    if all(value is not None for value in crossed):
        return (Explanation((slip("lenses exchanged"),), max(v for v in crossed if v is not None)),)
    shifts = [w.sphere - t.sphere for w, t in zip(written, true, strict=True)]
    shift = sum(shifts) / 2
    # Half a quarter step each: both lenses were settled after the same shift.
    if within < abs(shift) <= LARGEST_EYEPIECE and abs(shifts[0] - shifts[1]) <= 2 * 0.125 + 0.06:
        moved = [fits(w._replace(sphere=w.sphere - shift), t) for w, t in zip(written, true, strict=True)]
        if all(value is not None for value in moved):
            return (Explanation((slip("eyepiece not set"),), max(v for v in moved if v is not None)),)
    each = [diagnose(w, t, within, axis_within, form=form) for w, t in zip(written, true, strict=True)]
    names = [{tuple(s.name for s in e.slips): e for e in found} for found in each]
    # A habit need not show on a lens that is read right in spite of it.
    candidates = set(names[0]) | set(names[1])
    both = [
        key
        for key in candidates
        if all(key in found or right[i] is not None for i, found in enumerate(names))
    ]
    shared = [next(found[key] for found in names if key in found) for key in both]
    return tuple(sorted(shared, key=lambda e: (len(e.slips), e.misfit)))
