"""What explains a wrong ticket for a whole pair: one habit, or two together.

The pair is read in each wrong manner, and then in two at once; what comes within
reading noise of everything that was written explains the ticket. Where nothing does,
nothing is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import permutations
from typing import Any, NamedTuple

import numpy as np

from optics.instrument.focimeter import EYEPIECE_RANGE, TELESCOPE_MAGNIFICATION
from optics.lens.angles import axis_difference
from optics.lens.prism import Prism
from optics.marking.habits import Triple
from optics.marking.marks import (
    ADD_WITHIN,
    CENTRES_WITHIN_MM,
    HEIGHT_WITHIN_MM,
    POWER_WITHIN,
    PRISM_WITHIN,
    SMALLEST_CYLINDER,
    WEAKEST_MISSED,
    axis_within,
    mark_pair,
    triple_of,
)
from optics.marking.pair_habits import FITTED, PAIR_CATALOGUE, PairSlip
from optics.marking.pair_reading import LensRead, Manner, PairReader
from optics.marking.read import Ticket
from optics.specimens.briefs import PROGRESSIVE
from optics.specimens.specimen import Specimen

__all__ = ["PairExplanation", "diagnose_ticket"]

LARGEST_EYEPIECE = (EYEPIECE_RANGE[1] - EYEPIECE_RANGE[0]) / TELESCOPE_MAGNIFICATION**2
"""More than this no unset eyepiece shifts a reading, dioptres: the whole dial."""

Candidate = tuple[tuple[PairSlip, ...], dict[str, Any]]


class PairExplanation(NamedTuple):
    """The slips that together explain a ticket; misfit 0 is exact, 1 the edge of reading noise."""

    slips: tuple[PairSlip, ...]
    misfit: float


def diagnose_ticket(answer: Ticket, pair: Specimen, form: str = "minus") -> tuple[PairExplanation, ...]:
    """Slips, or pairs of slips, that explain a ticket as a whole.

    Parameters
    ----------
    answer : Ticket
        The ticket; what was not written is passed over.
    pair : Specimen
        The pair it was written for.
    form : {"minus", "plus"}
        The cylinder form asked for.

    Returns
    -------
    tuple of PairExplanation
        Single slips, best first; pairs of slips only where no single one explains
        it; empty where the ticket is right or nothing explains it.
    """
    reader = PairReader(pair, form)
    if mark_pair(answer, pair, form).all_right or _misfit(answer, reader, reader.right) is not None:
        return ()
    shows = [entry for entry in PAIR_CATALOGUE if _can_show(entry, pair)]
    singles = [((entry,), way) for entry in shows for way in entry.ways]
    found = _explaining(answer, reader, singles)
    if not found:
        found = _explaining(answer, reader, _pairs(shows))
    return found


def _can_show(entry: PairSlip, pair: Specimen) -> bool:
    """Whether a habit can change anything on a pair of this kind."""
    if entry.name == "progressive read unmarked":
        return pair.style == PROGRESSIVE
    left = {name for way in entry.ways for name in way.get("left_as_found", ())}
    return not left or bool(left & {each.name for each in pair.conditions})


def _pairs(shows: list[PairSlip]) -> Iterator[Candidate]:
    for first, second in permutations(shows, 2):
        # Only habits of writing come out differently the other way round.
        if PAIR_CATALOGUE.index(first) > PAIR_CATALOGUE.index(second) and not (
            "writing" in first.ways[0] and "writing" in second.ways[0]
        ):
            continue
        for one in first.ways:
            for other in second.ways:
                both = set(one) & set(other)
                if FITTED in (*one.values(), *other.values()) and _moves_a_sphere(first, one):
                    # A fitted shift on top of that could explain almost anything.
                    continue
                if not both:
                    yield (first, second), one | other
                elif both in ({"writing"}, {"left_as_found"}):
                    (shared,) = both
                    yield (first, second), {shared: one[shared] + other[shared]}


def _moves_a_sphere(entry: PairSlip, way: dict[str, Any]) -> bool:
    """Whether a habit, done in this way, moves spheres alone, or those of one lens alone."""
    return any(eyes != "RL" for eyes, _ in way.get("writing", ())) or entry.spoils == {"sphere"}


def _explaining(
    answer: Ticket, reader: PairReader, candidates: Iterable[Candidate]
) -> tuple[PairExplanation, ...]:
    best: dict[frozenset[str], PairExplanation] = {}
    for slips, way in candidates:
        misfit = _misfit_of_way(answer, reader, way)
        names = frozenset(entry.name for entry in slips)
        if misfit is not None and (names not in best or misfit < best[names].misfit - 1e-9):
            best[names] = PairExplanation(slips, misfit)

    def rank(found: PairExplanation) -> tuple[bool, float, int]:
        # A shift that was fitted always fits a little better than it deserves.
        fitted = any(entry.name == "eyepiece not set" for entry in found.slips)
        return fitted, round(found.misfit, 2), sum(PAIR_CATALOGUE.index(entry) for entry in found.slips)

    return tuple(sorted(best.values(), key=rank))


def _misfit_of_way(answer: Ticket, reader: PairReader, way: dict[str, Any]) -> float | None:
    if way.get("eyepiece") != FITTED:
        return _misfit(answer, reader, reader.read(Manner(**way)))
    unshifted = Manner(**{**way, "eyepiece": 0.0})
    read = reader.read(unshifted)
    # Every meridian was settled on its own; the shift lies midway between the extremes.
    moved = []
    for eye in "RL":
        distance, line = answer.of(eye).distance, read[eye].line
        if distance is None or line is None:
            return None
        wrote = triple_of(distance)
        moved += [wrote.sphere - line.sphere, wrote.sphere + wrote.cylinder - line.sphere - line.cylinder]
    shift = (max(moved) + min(moved)) / 2
    # A habit of writing may have turned the sign of what was shifted.
    tried = [
        _misfit(answer, reader, reader.read(replace(unshifted, eyepiece=value)))
        for value in (shift, -shift)
        if POWER_WITHIN < abs(shift) <= LARGEST_EYEPIECE
    ]
    return min((value for value in tried if value is not None), default=None)


def _misfit(answer: Ticket, reader: PairReader, read: dict[str, LensRead]) -> float | None:
    """How far everything written is from what was read, in parts of reading noise; None beyond it."""
    parts: list[float] = []
    for eye in "RL":
        lens, found = answer.of(eye), read[eye]
        if found.line is None:
            return None
        if lens.distance is not None:
            parts += _line_parts(triple_of(lens.distance), found.line)
        if lens.add is not None:
            if found.add is None:
                return None
            parts.append((lens.add - found.add) / ADD_WITHIN)
        if lens.pd_mm is not None:
            parts.append((lens.pd_mm - found.pd_mm) / CENTRES_WITHIN_MM)
        if lens.height_mm is not None and found.height_mm is not None:
            parts.append((lens.height_mm - found.height_mm) / HEIGHT_WITHIN_MM)
    parts += _prism_parts(answer, reader, read)
    if not parts or max(map(abs, parts)) > 1.0 + 1e-9:
        return None
    return float(np.sqrt(np.mean(np.square(parts))))


def _line_parts(line: Triple, read: Triple) -> list[float]:
    second = line.sphere + line.cylinder - read.sphere - read.cylinder
    # As in the marks: the cylinder fits as a difference, or because its meridian does.
    cylinder = min(second, line.cylinder - read.cylinder, key=abs)
    parts = [(line.sphere - read.sphere) / POWER_WITHIN, cylinder / POWER_WITHIN]
    weak = abs(read.cylinder) < SMALLEST_CYLINDER or (
        not line.cylinder and abs(read.cylinder) <= WEAKEST_MISSED
    )
    if not weak:
        if not line.cylinder or (line.cylinder < 0) != (read.cylinder < 0):
            return [np.inf]
        parts.append(axis_difference(line.axis, read.axis) / axis_within(read.cylinder))
    return parts


def _prism_parts(answer: Ticket, reader: PairReader, read: dict[str, LensRead]) -> list[float]:
    """Prism, with thinning prism written in both lenses or in neither."""
    said = {eye: answer.of(eye).prism_met(eye) for eye in "RL"}
    ways = []
    for left_out in (0.0, 1.0):
        offs = [
            prism - read[eye].prism + Prism(left_out * reader.pair.thinning(eye).vector)
            for eye, prism in said.items()
            if prism is not None
        ]
        ways.append([float(off.amount) / PRISM_WITHIN for off in offs])
    return min(ways, key=lambda way: max(way, default=0.0))
