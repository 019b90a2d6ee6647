"""What each habit leads to on one pair, before any ticket is looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optics.lens.lens import BACK, FRONT
from optics.lens.prism import nasal
from optics.marking.habits import (
    CATALOGUE,
    ROUND_AXES,
    SMALLEST_CYLINDER,
    Slip,
    Triple,
    Way,
    shows,
    turned,
    writing,
)
from optics.marking.parts_read import OTHER, BareLenses, PartsRead
from optics.marking.settled import Floats, settled
from optics.specimens.specimen import Specimen

__all__ = ["DIGITS", "HALVES", "NO_AXIS", "Lines", "Truth", "effects", "ways"]

HALVES = ("mean", "half cylinder")
DIGITS = ("last digits", "first digits", "outer digits")
NO_AXIS = 40.0
"""By how much the axis of what is hardly a cylinder is known, degrees."""


class Lines(NamedTuple):
    """What may be written of a line for every two effects: shape (n, n, 9), the axis (n, n).

    Only what can be done on the pair is worked out: `places` says where each effect stands, past the
    end where it cannot be, `taken` which are copied from the other lens, and `done` in which of
    them a number was halved, and so may have been put on a quarter step again, or a sign left out.
    Where digits of the axis change places, `axis` is the one before, and `swapped` says which:
    they change places on what the hand read, noise and all, so it is undone on what was written.
    `rounded` is the step of round numbers that the axis was put on, 0 where it was not.
    """

    sphere: Floats
    cylinder: Floats
    chance: Floats
    axis: Floats
    deviation: Floats
    swapped: NDArray[np.intp]
    rounded: Floats
    taken: tuple[tuple[int, str], ...]
    places: NDArray[np.intp]
    done: dict[str, NDArray[np.bool_]]


@lru_cache(maxsize=4)
def ways(where: str) -> tuple[tuple[int, Slip, Way], ...]:
    """Each way of each habit that is met there, with the number of its habit."""
    known = [entry for entry in CATALOGUE if where in entry.where]
    return tuple((i, entry, way) for i, entry in enumerate(known) for way in entry.ways)


CHANNELS: dict[str, Callable[[Way], tuple[str, str]]] = {
    "line": lambda way: (way.read, way.write),
    "add": lambda way: (way.add, way.add_write),
    "prism": lambda way: (way.prism, way.prism_write),
    "pd": lambda way: ("", way.pd),
    "height": lambda way: ("", way.height),
}


def _effect(channel: str, eye: str, way: Way) -> tuple[str, str]:
    """What a way does to one thing written of one lens."""
    if way.prism_write == "all here" and channel == "prism" and eye not in way.eyes:
        return "", "moved"
    return CHANNELS[channel](way) if eye in way.eyes else ("", "")


@lru_cache(maxsize=4)
def effects(where: str) -> dict[tuple[str, str], tuple[tuple[tuple[str, str], ...], NDArray[np.intp]]]:
    """For each thing and eye its effects, the right one first, then what is read wrongly, then what is
    written wrongly (none is both), and which of them each way has.
    """
    found = {}
    for channel in CHANNELS:
        for eye in "RL":
            each = [("", ""), *(_effect(channel, eye, way) for _, _, way in ways(where))]
            order = sorted(dict.fromkeys(each), key=lambda effect: bool(effect[1]))
            found[channel, eye] = tuple(order), np.array([order.index(effect) for effect in each])
    return found


@lru_cache(maxsize=4)
def aside(where: str) -> tuple[tuple[str, str], ...]:
    """Parts of a lens that the habits read aside of the right place, and how."""
    charts = {part for _, _, way in ways(where) for part in (way.read, way.add, way.prism) if "chart" in part}
    corridors = {way.add for _, _, way in ways(where) if way.add.startswith("corridor")}
    return (
        *((part, laid) for laid in sorted(charts) for part in ("distance", "near", "prism")),
        *(("near", up) for up in sorted(corridors)),
    )


def _written(names: Sequence[str], lines: Floats, form: str) -> Floats:
    """What becomes of lines (3, n, 9) written in each of these ways: (3, n, ways, 9)."""
    made = np.repeat(lines[:, :, None], len(names), 2)
    for i, name in enumerate(names):
        # Digits change places on what was written, so that is where they are put back, and an axis
        # is rounded with the noise that it was read with (`_of_line`).
        if name not in DIGITS and name not in ROUND_AXES:
            made[0, :, i], made[1, :, i], made[2, :, i] = writing(name, form)(*lines)
    sphere, cylinder, axis = lines[:, :, None]
    changed = shows(np.array(names)[:, None], sphere, cylinder, axis, made)
    return np.where(changed, made, lines[:, :, None])


class Truth:
    """What every way leads to on one pair; nothing of it depends on a ticket."""

    def __init__(self, pair: Specimen | BareLenses, form: str, where: str) -> None:
        self.pair, self.form, self.where = pair, form, where
        self.parts = PartsRead(pair, aside(where))
        eyes = pair.powers if isinstance(pair, BareLenses) else "RL"
        self._tables: dict[tuple[str, str], Floats] = {}
        self.lines = {eye: self._lines(eye) for eye in "RL" if eye in eyes}

    def values(self, channel: str, eye: str) -> Floats:
        """What every two ways lead to in one thing written; worked out where it is asked for."""
        if (channel, eye) not in self._tables:
            self._tables[channel, eye] = self._table(channel, eye)
        return self._tables[channel, eye]

    def strength(self, eye: str) -> float:
        """Mean distance power, dioptres without sign."""
        return abs(float(self.parts.met(eye, "distance").power.mean))

    # --- the line

    def _power(self, eye: str, read: str) -> Triple:
        part = {"centre": "centre", "reference": "prism"}.get(read, "distance")
        power = self.parts.met(eye, part, read).power
        return turned(Triple(*(float(v) for v in power.sphere_cylinder(self.form))), self.form)

    def _lines(self, eye: str) -> Lines:
        every = effects(self.where)["line", eye][0]
        other = OTHER[eye]
        alone = isinstance(self.pair, BareLenses) and other not in self.pair.powers
        right = self._power(eye, "")
        across = right if alone else self._power(other, "")
        zero = getattr(self.pair, "zero_error", 0.0)

        def possible(read: str) -> bool:
            if read == "zero":
                return bool(zero)
            # Of a sphere there is no axis that could be copied.
            if read == "take axis" and abs(across.cylinder) < SMALLEST_CYLINDER:
                return False
            return self.parts.can(read) and not (alone and (read == "laid" or read.startswith("take")))

        kept = [i for i, (read, write) in enumerate(every) if write or possible(read)]
        kinds = [every[i] for i in kept]
        reads = [read for read, write in kinds if not write]
        writes = [write for _, write in kinds if write]
        n = len(reads)
        bases, base, shift, mode, take = [right], *(np.zeros(n, dtype=int) for _ in range(4))
        moved = np.zeros(n)
        sign = -1.0 if self.form == "plus" else 1.0
        for i, read in enumerate(reads):
            if not read:
                continue
            if read.startswith("shift"):
                shift[i], moved[i] = i, sign * float(read.split()[1])
            elif read == "zero":
                shift[i], moved[i] = i, sign * zero
            elif read in ("apart", "away"):
                mode[i] = ("apart", "away").index(read) + 1
            elif read.startswith("take"):
                take[i] = ("take sphere", "take axis", "take line", "take cylinder").index(read) + 1
            else:
                base[i] = len(bases)
                bases.append(self._power(eye, read))

        def both(values: NDArray[np.intp]) -> NDArray[np.intp]:
            one, two = values[:, None], values[None, :]
            clash[(one > 0) & (two > 0)] = True
            return np.maximum(one, two)

        clash = np.zeros((n, n), dtype=bool)
        which, modes, taken = both(base), both(mode), both(take)
        both(shift)
        all_bases = np.array(bases)
        s, c, a = (all_bases[which, k] for k in range(3))
        s = np.where((taken == 1) | (taken == 3), across.sphere, s)
        c = np.where(taken >= 3, across.cylinder, c)
        a = np.where((taken == 2) | (taken == 3), across.axis, a)
        s = s + moved[:, None] + moved[None, :]
        deviation = np.maximum(1.7 / np.maximum(abs(c), 0.17), 1.0)
        deviation = np.where(abs(c) < 0.15, NO_AXIS, deviation)
        sphere, cylinder, chance = self._settled(s, c, modes)
        chance[clash] = 0.0
        # What is read by every two, and what is written of it.
        lines = np.empty((3, len(kinds), len(kinds), 9))
        lines[:, :n, :n] = np.broadcast_arrays(sphere, cylinder, a[..., None])
        written = _written(writes, lines[:, :n, 0], self.form)
        lines[:, :n, n:], lines[:, n:, :n] = written, np.swapaxes(written, 1, 2)
        lines[:, n:, n:] = _written(writes, written[:, 0], self.form)
        of = np.r_[:n, np.zeros(len(writes), dtype=int)]
        every_two = np.ix_(of, of)
        digits = np.r_[np.zeros(n, dtype=int), [1 + DIGITS.index(w) if w in DIGITS else 0 for w in writes]]
        swapped = np.where(digits > 0, digits, digits[:, None])
        rounds = np.r_[np.zeros(n), [ROUND_AXES.get(write, 0.0) for write in writes]]
        rounded = np.maximum(rounds, rounds[:, None])
        chance = chance[every_two]
        # Every line of one state has one axis, but for what a habit makes of a sphere among them.
        best = chance.argmax(axis=-1)[..., None]
        axes = np.take_along_axis(lines[2], best, -1)[..., 0]
        copied = tuple((i, read) for i, read in enumerate(reads) if read.startswith("take"))
        places = np.full(len(every), len(kept))
        places[kept] = np.arange(len(kept))
        each = {name: np.array([write == name for _, write in kinds]) for name in (*HALVES, "plus for minus")}
        done = {name: here[:, None] | here for name, here in each.items()}
        return Lines(
            lines[0], lines[1], chance, axes, deviation[every_two], swapped, rounded, copied, places, done
        )

    def _settled(self, s: Floats, c: Floats, mode: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """Lines that may be written of a reading, and the chance of each; on paper the line itself."""
        if self.where == "paper":
            one = np.zeros((*s.shape, 9))
            one[..., 0] = 1.0
            return np.repeat(s[..., None], 9, -1), np.repeat(c[..., None], 9, -1), one
        return settled(s, c, mode)

    # --- the rest

    def _table(self, channel: str, eye: str) -> Floats:
        kinds = effects(self.where)[channel, eye][0]
        reads = [read for read, write in kinds if not write]
        writes = [write for _, write in kinds if write]
        n, m = len(reads), len(kinds)
        begun = [self._begun(channel, eye, read) for read in reads]
        table = np.full((m, m, *np.shape(begun[0])), np.nan)
        table[:n, 0] = table[0, :n] = begun
        written = getattr(self, f"_{channel}_written")
        for i, write in enumerate(writes, n):
            table[i, 0] = written(eye, write, table[0, 0])
        for i, write in enumerate(writes, n):
            table[:, i] = written(eye, write, table[:, 0])
            if write == "all here":
                # The other lens's is read in the same way, and what is written wrongly is so in both.
                there = np.full_like(table[:, 0], np.nan)
                assert isinstance(self.pair, Specimen)
                across = np.asarray(self.pair.thinning(OTHER[eye]).vector)
                there[:n] = [self._begun(channel, OTHER[eye], read) - across for read in reads]
                for k, each in enumerate(writes, n):
                    there[k] = 0.0 if each == write else written(OTHER[eye], each, there[0])
                table[:, i] = table[:, 0] - there
                table[i, i] = table[i, 0]
        table[n:, :n] = np.swapaxes(table[:n, n:], 0, 1)
        return table[..., 0] if channel == "add" else table

    def _begun(self, channel: str, eye: str, read: str) -> Any:
        """What is read, before anything is written of it; of an addition the near reading as well, by its
        sphere and by its mean.
        """
        assert isinstance(self.pair, Specimen)
        if channel == "pd":
            return self.pair.pd_mm(eye)
        if channel == "height":
            found = self.pair.height_mm(eye)
            return np.nan if found is None else found
        if channel == "prism":
            # Prism can be read in the middle of any rim.
            part = read if read in ("centre", "distance") else "prism"
            if not (self.parts.can(read) or part == "centre"):
                return [np.nan, np.nan]
            met = self.parts.met(eye, part, read).prism.vector
            # A base in stays a base in where it is written into the other box.
            return met * [-1.0, 1.0] if read == "laid, as named" else met
        of = OTHER[eye] if read == "laid" else eye
        side = self.pair.addition_side(of)
        if side is None or not self.parts.can(read):
            return [np.nan] * 3
        turned_side = BACK if side == FRONT else FRONT
        near_side = turned_side if read in ("other side", "mixed") else side
        far_side = turned_side if read == "other side" else side
        far = {"from centre": "centre", "from reference": "prism"}.get(read, "distance")
        near = self.parts.met(eye, "near", read, near_side).power
        distance = self.parts.met(eye, far, read, far_side).power
        return [near.mean - distance.mean, near.sphere_cylinder(self.form)[0], near.mean]

    def _add_written(self, _: str, write: str, found: Floats) -> Floats:
        wrote = {"half": found[..., 0] / 2.0, "total": found[..., 1], "total, mean": found[..., 2]}[write]
        return np.concatenate([wrote[..., None], found[..., 1:]], -1)

    def _prism_written(self, eye: str, write: str, found: Floats) -> Floats:
        assert isinstance(self.pair, Specimen)
        if write == "none":
            return found * 0.0
        # Thinning prism is the same in both lenses, and stays where it is.
        thinning, across = (np.asarray(self.pair.thinning(each).vector) for each in (eye, OTHER[eye]))
        if write == "moved":
            return found * 0.0 + thinning
        if write == "all here":
            return found - (self._begun("prism", OTHER[eye], "") - across)
        return thinning + (found - thinning) * {"across": (-1, 1), "upside": (1, -1), "all": (-1, -1)}[write]

    def _pd_written(self, eye: str, write: str, found: Floats) -> Floats:
        assert isinstance(self.pair, Specimen)
        if write.startswith("chart"):
            return (
                found - nasal(eye) * self.parts.inked(eye, write)["height"][0]
                if self.parts.can(write)
                else found
            )
        if write == "laid":
            return np.full_like(found, self.pair.pd_mm(OTHER[eye]))
        if write == "whole":
            return np.full_like(found, self.pair.pd_mm("R") + self.pair.pd_mm("L"))
        return found / (10.0 if write == "tenth" else 2.0)

    def _height_written(self, eye: str, write: str, found: Floats) -> Floats:
        assert isinstance(self.pair, Specimen)
        frame = self.pair.frame
        if write.startswith("chart"):
            own = self.pair.lens_point_mm(eye, "height")
            return (
                found + self.parts.inked(eye, write)["height"][1] - own[1]
                if own and self.parts.can(write)
                else found
            )
        if write == "laid":
            return np.full_like(found, self.pair.height_mm(OTHER[eye]) or np.nan)
        if write == "datum":
            return abs(found - frame.lens_height_mm / 2.0)
        if write == "reference":
            mounted = self.pair.spectacles.mounted(eye)
            return np.full_like(found, frame.height_above_rim_mm(mounted.height_mm))
        return frame.lens_height_mm - found if write == "upper rim" else found / 10.0
