"""What a record of moves shows, and how it shifts what is likely: bounded, for it can be edited."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from optics.errors import OpticsError
from optics.instrument.focimeter import TELESCOPE_MAGNIFICATION
from optics.instrument.trace import Trace, trace_from
from optics.lens.lens import FRONT
from optics.marking.leads_to import ways
from optics.marking.parts_read import BareLenses
from optics.marking.settled import Floats
from optics.specimens.specimen import Specimen

__all__ = ["by_the_dial", "evidence"]

SEEN = 300.0
"""How much likelier a habit is of which the record shows the step; bounded, since a notebook can be edited."""
DIAL_WITHIN = 0.08
"""How closely what a dial stood out by is found on the drum, dioptres."""
SHARP_WITHIN = 0.75
"""An eyepiece this near to the eye's own setting is set, dioptres on the dial."""


def evidence(
    trace: Trace | Mapping[str, Any] | None, pair: Specimen | BareLenses
) -> tuple[dict[str, float], dict[str, float], tuple[str, ...]]:
    """How a record of moves shifts what is likely, by how much the eyepiece stood out at each lens in
    dioptres on the drum, and what the record shows.
    """
    if trace is None:
        return {}, {}, ()
    try:
        kept = trace if isinstance(trace, Trace) else trace_from(trace)
        readings = kept.readings
        # As it stood at each reading that counts: who sets it between the lenses had it unset for the first.
        stood = [kept.after(at) for at in kept.noted]
        dials = [float(each["eyepiece"]) for each in stood]
        shifts = {
            str(each["lens"]): (dial - kept.eye) / TELESCOPE_MAGNIFICATION**2
            for each, dial in zip(stood, dials, strict=True)
        }
        inked = kept.inked(len(kept.moves))
    except (OpticsError, KeyError, TypeError, ValueError):
        return {}, {}, ()
    if not readings:
        return {}, {}, ()
    factors: dict[str, float] = {}
    seen: list[str] = []
    moved = {move.control for move in kept.moves}
    unset = any(abs(dial - kept.eye) > SHARP_WITHIN for dial in dials)
    # Of a record that ran full nobody knows what came after.
    if "eyepiece" not in moved and kept.whole:
        seen.append("The eyepiece was not touched.")
    elif "eyepiece" in moved and unset:
        seen.append("The eyepiece was not set at every reading.")
    factors["eyepiece not set"] = SEEN if unset else 0.05
    aside = any(stood == "yes" for stood in (kept.start.get("aside"), *_stood(kept, "aside")))
    if not aside and kept.whole:
        seen.append("The drum was not looked at without a lens.")
    if aside or kept.whole:
        factors["zero error not taken off"] = 1.0 if aside else 10.0
    front = any(_read_from_the_front(readings, pair, eye) for eye in "RL")
    if front:
        seen.append("A lens was read with its front on the stop.")
    factors["wrong side on the stop"] = SEEN if front else 0.05
    if _turned_back(readings):
        seen.append("The wheel was turned by 90 between the two readings.")
        factors["axis 90 out"] = 20.0
    if _from_minus(kept):
        seen.append("A reading was come to from the minus side.")
        factors["eyepiece not set"] *= 1.5
    if not isinstance(pair, BareLenses):
        own = {eye: getattr(pair.spectacles.mounted(eye).lens, "sign", "") for eye in inked}
        right = [stood.get("chart") == own[eye] for eye, stood in inked.items() if own[eye]]
        if right:
            factors["wrong chart"] = 0.05 if all(right) else SEEN
        if not all(right):
            seen.append("A lens was inked from a chart with another sign than its own.")
    # One that was struck out was taken all the same.
    taken = sum(move.control == "noted" for move in kept.moves)
    if kept.whole and taken == len({(reading.eye, reading.lines) for reading in readings}):
        seen.append("Each reading was taken once.")
    return factors, shifts if unset else {}, tuple(seen)


def by_the_dial(weights: Floats, where: str, shifts: Mapping[str, float]) -> Floats:
    """The eyepiece was out by what the dial stood at, where a record has it."""
    if not shifts:
        return weights
    likely = np.zeros(len(weights))
    for at, (_, entry, way) in enumerate(ways(where), 1):
        if entry.name == "eyepiece not set":
            by = float(way.read.split()[1])
            off = [by * (eye in way.eyes) - shifts.get(eye, by) for eye in "RL"]
            likely[at] = np.exp(-sum(each**2 for each in off) / (2.0 * DIAL_WITHIN**2))
    if not likely.any():
        return weights
    # A record may have been edited, so other sizes stay as likely as they are without it.
    mixed = (1.0 - 1.0 / SEEN) * likely / likely.sum() + weights / SEEN
    return np.where(likely > 0, mixed, weights)


def _stood(trace: Trace, control: str) -> list[float | str]:
    return [move.value for move in trace.moves if move.control == control]


def _read_from_the_front(readings: Sequence[Any], pair: Specimen | BareLenses, eye: str) -> bool:
    """Whether a lens was read with its front on the stop; an addition on the front belongs there, beside the back."""
    sides = {reading.against for reading in readings if reading.eye == eye and reading.lines == "sphere"}
    if not isinstance(pair, BareLenses) and pair.addition_side(eye) == FRONT:
        return sides == {FRONT}
    return FRONT in sides


def _turned_back(readings: Sequence[Any]) -> bool:
    return any(
        one.eye == two.eye
        and one.lines != two.lines
        and abs(abs((one.wheel - two.wheel + 90.0) % 180.0 - 90.0) - 90.0) < 15.0
        for one, two in pairwise(readings)
    )


def _from_minus(trace: Trace) -> bool:
    """Whether the drum was turned towards plus just before a reading was noted."""
    drums: list[float] = [float(trace.start.get("drum", 0.0))]
    counts = set(trace.noted)
    for at, move in enumerate(trace.moves):
        if move.control == "drum":
            drums.append(float(move.value))
        elif at in counts and len(drums) > 1 and drums[-1] > drums[-2] + 0.02:
            return True
    return False
