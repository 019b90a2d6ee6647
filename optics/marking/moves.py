"""What a record of moves shows, and how it shifts what is likely: bounded, for it can be edited."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from optics.errors import OpticsError
from optics.instrument.focimeter import TELESCOPE_MAGNIFICATION
from optics.instrument.trace import DrumReading, Trace, trace_from
from optics.lens.lens import BACK, FRONT
from optics.marking.leads_to import ways
from optics.marking.parts_read import BareLenses
from optics.marking.settled import Floats
from optics.specimens.specimen import Specimen

__all__ = ["by_the_dial", "evidence"]

SEEN = 300.0
"""How much likelier a habit is of which the record shows the step; bounded, since a notebook can be edited."""
DENIED = 0.05
"""The same where the record shows the step done rightly."""
DIAL_WITHIN = 0.08
"""How closely what a dial stood out by is found on the drum, dioptres."""
SHARP_WITHIN = 0.75 / TELESCOPE_MAGNIFICATION**2
"""An eyepiece this near to the eye's own setting is set, dioptres on the drum."""
SAME_PLACE_MM = 1.0
"""A stop that moved less is in the same place of a lens."""
_PLACE = ("stage_x_mm", "stage_y_mm")


class _Read(NamedTuple):
    """A reading of a lens: the move that noted it, what was noted, and where every control stood."""

    at: int
    noted: DrumReading
    stood: Mapping[str, float | str]


def evidence(
    trace: Trace | Mapping[str, Any] | None, pair: Specimen | BareLenses, eyes: str = "RL"
) -> tuple[dict[str, float], dict[str, list[float]], tuple[str, ...]]:
    """What a record of moves shows of the lenses that were written.

    Parameters
    ----------
    trace : Trace or mapping, optional
        The record; what cannot be read is left aside.
    pair : Specimen or BareLenses
        The pair that was read.
    eyes : str
        The lenses that were written.

    Returns
    -------
    factors : dict of str to float
        How much likelier each habit is by it.
    shifts : dict of str to list of float
        By how much the eyepiece stood out at each reading of a lens, dioptres on the drum; empty
        where it was set at all of them.
    seen : tuple of str
        What it shows, as sentences.
    """
    if trace is None:
        return {}, {}, ()
    try:
        kept = trace if isinstance(trace, Trace) else trace_from(trace)
        found = map(_Read, kept.noted, kept.readings, kept.stood)
        # What is noted without a lens is zero, and no lens was read.
        reads = [each for each in found if each.noted.eye in eyes and each.stood.get("aside") != "yes"]
        shifts: dict[str, list[float]] = {}
        for each in reads:
            # As it stood then: who sets it between the lenses had it unset for the first.
            out = (float(each.stood["eyepiece"]) - kept.eye) / TELESCOPE_MAGNIFICATION**2
            shifts.setdefault(each.noted.eye, []).append(out)
        inked = kept.inked(len(kept.moves))
    except (OpticsError, KeyError, TypeError, ValueError):
        return {}, {}, ()
    unset = any(abs(out) > SHARP_WITHIN for each in shifts.values() for out in each)
    factors, seen = _at_the_readings(kept, reads, pair, eyes, unset) if reads else ({}, [])
    if not isinstance(pair, BareLenses):
        own = {eye: getattr(pair.spectacles.mounted(eye).lens, "sign", "") for eye in inked if eye in eyes}
        # Ink without a chart is in no record that a bench made.
        right = [inked[eye]["chart"] == sign for eye, sign in own.items() if sign and inked[eye].get("chart")]
        if right:
            factors["wrong chart"] = DENIED if all(right) else SEEN
        if not all(right):
            seen.append("A lens was inked from a chart with another sign than its own.")
    return factors, shifts if unset else {}, tuple(seen)


def _at_the_readings(
    kept: Trace, reads: Sequence[_Read], pair: Specimen | BareLenses, eyes: str, unset: bool
) -> tuple[dict[str, float], list[str]]:
    """What the record shows of how the readings of lenses were taken."""
    factors: dict[str, float] = {}
    seen: list[str] = []
    moved = {move.control for move in kept.moves}
    # What was done before a record began, or after it ran full, nobody knows.
    complete = kept.whole and not kept.late
    # A step is denied by what shows it done rightly at every lens, not by a lens of which nothing was noted.
    noted = {each.noted.eye for each in reads} >= {*eyes}
    if "eyepiece" not in moved and complete:
        seen.append("The eyepiece was not touched.")
    elif "eyepiece" in moved and unset:
        seen.append("The eyepiece was not set at every reading.")
    factors["eyepiece not set"] = SEEN if unset else DENIED if noted else 1.0
    aside = any(stood == "yes" for stood in (kept.start.get("aside"), *_stood(kept, "aside")))
    if not aside and complete:
        seen.append("The drum was not looked at without a lens.")
        factors["zero error not taken off"] = 10.0
    sides = {eye: _side_read(reads, pair, eye) for eye in eyes}
    if FRONT in sides.values():
        seen.append("A lens was read with its front on the stop.")
        factors["wrong side on the stop"] = SEEN
    elif all(side == BACK for side in sides.values()):
        factors["wrong side on the stop"] = DENIED
    if _turned_back(reads):
        seen.append("The wheel was turned by about 90 between the two readings.")
        factors["axis 90 out"] = 20.0
    if _from_minus(kept, {each.at for each in reads}):
        seen.append("A reading was come to from the minus side.")
    # One that was struck out was taken all the same.
    taken = sum(move.control == "noted" for move in kept.moves)
    if complete and taken == len({(each.noted.eye, each.noted.lines) for each in reads}):
        seen.append("Each reading was taken once.")
    return factors, seen


def by_the_dial(weights: Floats, where: str, shifts: Mapping[str, Sequence[float]]) -> Floats:
    """The eyepiece was out by what the dial stood at when a lens was read, where a record has it."""
    if not shifts:
        return weights
    likely = np.zeros(len(weights))
    for at, (_, entry, way) in enumerate(ways(where), 1):
        if entry.name == "eyepiece not set":
            by = float(way.read.split()[1])
            # A lens read again, or its addition read later, may have its line from any of its readings.
            off = [min(abs(by * (eye in way.eyes) - out) for out in shifts[eye]) for eye in shifts]
            likely[at] = np.exp(-sum(each**2 for each in off) / (2.0 * DIAL_WITHIN**2))
    if not likely.any():
        return weights
    # A record may have been edited, so other sizes stay as likely as they are without it.
    mixed = (1.0 - 1.0 / SEEN) * likely / likely.sum() + weights / SEEN
    return np.where(likely > 0, mixed, weights)


def _stood(trace: Trace, control: str) -> list[float | str]:
    return [move.value for move in trace.moves if move.control == control]


def _side_read(reads: Sequence[_Read], pair: Specimen | BareLenses, eye: str) -> str:
    """The side on the stop when the line of a lens was read, as far as the record shows it."""
    own = [each.noted for each in reads if each.noted.eye == eye]
    if not isinstance(pair, BareLenses) and pair.addition_side(eye) == FRONT:
        # Its addition is read from the front, by the sphere lines and at times before anything else is noted.
        front = any(each.against == FRONT and each.lines == "cylinder" for each in own)
    else:
        front = any(each.against == FRONT and each.lines == "sphere" for each in own)
    return FRONT if front else BACK if any(each.against == BACK for each in own) else ""


def _turned_back(reads: Sequence[_Read]) -> bool:
    """Whether the wheel stood across for the other lines of the same lens in the same place."""
    return any(
        one.noted.lines != two.noted.lines
        and all(one.stood[each] == two.stood[each] for each in ("lens", "against"))
        and all(abs(float(one.stood[each]) - float(two.stood[each])) < SAME_PLACE_MM for each in _PLACE)
        and abs(abs((one.noted.wheel - two.noted.wheel + 90.0) % 180.0 - 90.0) - 90.0) < 15.0
        for one, two in pairwise(reads)
    )


def _from_minus(trace: Trace, counts: Container[int]) -> bool:
    """Whether the drum was turned towards plus just before one of these readings was noted."""
    drums: list[float] = [float(trace.start.get("drum", 0.0))]
    for at, move in enumerate(trace.moves):
        if move.control == "drum":
            drums.append(float(move.value))
        elif at in counts and len(drums) > 1 and drums[-1] > drums[-2] + 0.02:
            return True
    return False
