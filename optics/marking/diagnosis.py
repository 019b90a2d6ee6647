"""What explains a wrong ticket, by likelihood: a habit, two together, a slip that is no habit, or nothing.

Everything competes: an honest reading, every habit, every two, and what nobody has in a
catalogue, each with its prior. A ticket comes about in the order in which a person works:
the habit of reading (asked of the real lens), the noise of the hand
(`optics.instrument.repeats`: 0.05 D, 1.7 degrees over the cylinder; proposals), settling,
then the habit of writing. A lens alone is a pair of which one side is written.

Most settle by the rule of the course (`optics.judging.settling`), some put each meridian on its
nearest step. What is in no catalogue is met by a rival of its own for each thing on a ticket, wrong
in one lens, in both or in both alike, with a heavy tail. Priors are judgement: nobody has counted
habits.
"""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError
from optics.instrument.focimeter import TELESCOPE_MAGNIFICATION
from optics.instrument.repeats import READING_DEVIATION
from optics.instrument.trace import Trace, trace_from
from optics.judging.settling import columns
from optics.lens.angles import rotation
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.power import Power
from optics.lens.prism import Prism, nasal
from optics.lens.progressive import Progressive
from optics.marking.habits import (
    CATALOGUE,
    ROUND_AXES,
    SMALLEST_CYLINDER,
    WRITINGS,
    Slip,
    Triple,
    Way,
    shows,
    turned,
    writing,
)
from optics.marking.read import Ticket
from optics.pair.charts import LaidChart, chart_with
from optics.specimens.briefs import CONDITIONS, FRONT_BENT, PROGRESSIVE, SMEARED, TEMPLE_TWISTED
from optics.specimens.specimen import Specimen

__all__ = ["BareLenses", "Diagnosis", "Explanation", "diagnose"]

Floats = NDArray[np.float64]
OTHER = {"R": "L", "L": "R"}
LEFT_AS_FOUND = {"bent": (TEMPLE_TWISTED, FRONT_BENT), "smeared": (SMEARED,)}

HONEST, ONE_HABIT, TWO_HABITS, ONE_ODD, TWO_ODD = 0.45, 0.30, 0.12, 0.16, 0.03
"""Priors: a judgement, not a count. `ODD` is one thing, or two, wrong for no reason in the catalogue."""
ODD_POWER, ODD_AXIS, ODD_ADD, ODD_PRISM, ODD_MM = 0.75, 20.0, 0.5, 1.0, 4.0
"""Half of what is odd is no further off than this, and the tail is heavy (dioptres, degrees, millimetres)."""
NOT_READ = 0.003
"""How often every line is put down as plano, or every axis as the same, whatever the lenses are."""
BESIDE = 0.05
"""How likely one more field is odd beside a habit."""
SAID_FROM = 0.6
"""Below this much belief in habits nothing is said."""
EVEN = 5.0
"""Explanations within this many times of the best are named together with it."""
RARER = 30.0
"""One that fits as well is named with it, if it is not rarer than this."""
BY_CHANCE = 0.04
"""What no catalogue holds writes by chance what a habit leads to; so much of the belief in habits is its own."""
GAIN = 1.0
"""A habit must explain this much more (natural log) than its absence, or it does not show."""
FURTHEST = 3
"""No more explanations than this are named together."""

HALVES = ("mean", "half cylinder")
DIGITS = ("last digits", "first digits", "outer digits")
STEP = 0.25
NOISE = 1.2 * READING_DEVIATION
"""A little wider than one careful reading: hands differ."""
ALIKE = {
    **{"cylinder": (0.25, 0.18), "axis": (1.0, 3.0), "add": (0.25, 0.18)},
    **{"prism": (0.25, 0.25), "pd": (0.5, 0.8), "height": (0.5, 0.8)},
}
"""The step in which each thing is written, and by how much it differs from reading and settling where
it is odd in both lenses alike."""
AS_TAUGHT = 0.85
"""How many settle by the rule of the course; the others put each meridian on its nearest step."""
PD_NOISE, PD_STEP = 0.5, 0.5
PRISM_NOISE, PLACED_CM = 0.14, 0.04
"""Prism is read to quarters and in a place that is found to within about 0.4 mm."""


# --- what is told ---------------------------------------------------------------------------


class Explanation(NamedTuple):
    """One habit, or two in the order in which they were done.

    `posterior` is how much belief it gets, 0 to 1; `eyes` the lenses that it explains; `each` the
    lenses that each of the habits touches; `fit` how well the numbers fit it (natural log), however
    rare it is.
    """

    slips: tuple[Slip, ...]
    posterior: float
    eyes: str = "RL"
    each: tuple[str, ...] = ()
    fit: float = -np.inf

    def even_with(self, first: Explanation) -> bool:
        """Whether this pair cannot tell it from another: believed about as much, or fitting as well."""
        if self.posterior * EVEN >= first.posterior:
            return True
        # How often each habit is done nobody has counted, so that alone does not part them.
        fits = self.fit + np.log(EVEN) >= first.fit
        return bool(
            fits and len(self.slips) == len(first.slips) and self.posterior * RARER >= first.posterior
        )

    def of(self, eye: str) -> Explanation:
        """What it says of one lens: of two habits over a pair each may be at one lens alone."""
        kept = [(one, eyes) for one, eyes in zip(self.slips, self.each, strict=True) if eye in eyes]
        return Explanation(
            tuple(one for one, _ in kept), self.posterior, eye, tuple(eyes for _, eyes in kept), self.fit
        )


def may_as_well(either: Sequence[tuple[str, ...]]) -> str:
    """What may as well be so, by the names of its habits, as a sentence; empty for nothing."""
    told = [" and then ".join(names) for names in either]
    return f"With these numbers it may as well be: {'; or '.join(told)}." if told else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What explains a ticket.

    Parameters
    ----------
    ranked : tuple of Explanation
        The likeliest first; empty where the ticket is right or nothing explains it.
    honest, unexplained : float
        Belief in an honest reading, and in something outside the catalogue.
    seen : tuple of str
        What the record of moves shows, as sentences. It never says more than that.
    """

    ranked: tuple[Explanation, ...] = ()
    honest: float = 0.0
    unexplained: float = 0.0
    seen: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.ranked)

    @property
    def slips(self) -> tuple[Slip, ...]:
        """The habits of the likeliest explanation; none where nothing explains it."""
        return self.ranked[0].slips if self.ranked else ()

    @property
    def names(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(entry.name for entry in self.slips)

    @property
    def ties(self) -> tuple[Explanation, ...]:
        """The explanations that this pair cannot tell from the first, the first among them."""
        if not self.ranked:
            return ()
        likeliest = max(self.ranked, key=lambda each: each.posterior)
        return tuple(each for each in self.ranked if each.even_with(likeliest))[:FURTHEST]

    @property
    def tie(self) -> str:
        """What may as well be so, as a sentence; empty where the first stands alone."""
        return may_as_well(self.either[1:])

    @property
    def either(self) -> tuple[tuple[str, ...], ...]:
        """The names of the habits of each explanation in `ties`."""
        return tuple(tuple(entry.name for entry in each.slips) for each in self.ties)

    def of(self, eye: str) -> Diagnosis:
        """What is said of one lens alone."""
        found: dict[tuple[Slip, ...], Explanation] = {}
        for each in self.ranked:
            if (one := each.of(eye)).slips:
                found.setdefault(one.slips, one)
        return replace(self, ranked=tuple(found.values()))

    def about(self, missed: Collection[str]) -> Diagnosis:
        """What explains something that lost marks; what cost nothing is told of nobody by itself."""
        lost = set(missed)
        kept = tuple(each for each in self.ranked if any(one.touches & lost for one in each.slips))
        return replace(self, ranked=kept)

    @property
    def sentence(self) -> str:
        """What may be said, no more: inferred from the numbers, and ties told as ties."""
        if not self.ranked:
            return "These numbers are not enough to name a habit."
        first = f"The numbers look like this habit: {' and then '.join(self.names)}."
        return f"{first} {self.tie}".rstrip()


@dataclass(frozen=True, slots=True)
class BareLenses:
    """Lenses of which only the distance power is known, instead of a pair.

    Parameters
    ----------
    powers : mapping of str to Power
        By eye; one is enough.
    """

    powers: Mapping[str, Power]


# --- what each habit leads to ------------------------------------------------------------------


class _Lines(NamedTuple):
    """What may be written of a line for every two effects: shape (n, n, 9), the axis (n, n).

    Only what can be done on the pair is worked out: `places` says where each effect stands, past the
    end where it cannot be, `taken` which are copied from the other lens, and `done` in which of
    them a number was halved, and so may have been put on a quarter step again, or a sign left out. Where digits of the axis change places, `axis` is the one before, and `swapped` says which:
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
def _ways(where: str) -> tuple[tuple[int, Slip, Way], ...]:
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
def _effects(where: str) -> dict[tuple[str, str], tuple[tuple[tuple[str, str], ...], NDArray[np.intp]]]:
    """For each thing and eye its effects, the right one first, then what is read wrongly, then what is
    written wrongly (none is both), and which of them each way has.
    """
    found = {}
    for channel in CHANNELS:
        for eye in "RL":
            each = [("", ""), *(_effect(channel, eye, way) for _, _, way in _ways(where))]
            order = sorted(dict.fromkeys(each), key=lambda effect: bool(effect[1]))
            found[channel, eye] = tuple(order), np.array([order.index(effect) for effect in each])
    return found


@lru_cache(maxsize=4)
def _aside(where: str) -> tuple[tuple[str, str], ...]:
    """Parts of a lens that the habits read aside of the right place, and how."""
    charts = {
        part for _, _, way in _ways(where) for part in (way.read, way.add, way.prism) if "chart" in part
    }
    corridors = {way.add for _, _, way in _ways(where) if way.add.startswith("corridor")}
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


class _Truth:
    """What every way leads to on one pair; nothing of it depends on a ticket."""

    def __init__(self, pair: Specimen | BareLenses, form: str, where: str) -> None:
        self.pair, self.form, self.where = pair, form, where
        self._laid: dict[tuple[str, str, str], dict[tuple[str, str], OverStop]] = {}
        eyes = pair.powers if isinstance(pair, BareLenses) else "RL"
        self._tables: dict[tuple[str, str], Floats] = {}
        self._ink: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}
        self.lines = {eye: self._lines(eye) for eye in "RL" if eye in eyes}

    def values(self, channel: str, eye: str) -> Floats:
        """What every two ways lead to in one thing written; worked out where it is asked for."""
        if (channel, eye) not in self._tables:
            self._tables[channel, eye] = self._table(channel, eye)
        return self._tables[channel, eye]

    def strength(self, eye: str) -> float:
        """Mean distance power, dioptres without sign."""
        return abs(float(self._met(eye, "distance").power.mean))

    # --- the lens over the stop

    def _met(self, eye: str, part: str, read: str = "", against: str = BACK) -> OverStop:
        """What a focimeter shows of a part of a lens read in a way: its power as read, and its prism."""
        eye = OTHER[eye] if read.startswith("laid") else eye
        key = eye, (FRONT if read == "front" else against), (read if read in LEFT_AS_FOUND else "")
        if key not in self._laid:
            self._laid[key] = self._lay(*key)
        laid = self._laid[key]
        return laid.get((part, read)) or laid[part, ""]

    def _lay(self, eye: str, against: str, found: str) -> dict[tuple[str, str], OverStop]:
        """A lens on the stop with one side, in every place where a habit reads it, all at once."""
        if isinstance(self.pair, BareLenses):
            power = self.pair.powers[eye]
            return {
                ("distance", ""): OverStop(power.turned_over() if against == FRONT else power, Prism.none())
            }
        left = LEFT_AS_FOUND.get(found, ())
        pair = self.pair.spectacles
        if left:
            pair = self.pair.as_found(tuple(name for name in CONDITIONS if name not in left))
        lens: Any = pair.mounted(eye).lens
        places = {(part, ""): self._place(eye, part, left) for part in ("distance", "centre", "prism")}
        if self.pair.addition_side(eye) is not None:
            places["near", ""] = self._place(eye, "near", left)
        here = list(places)
        met = lens.over_stop(*np.array(list(places.values())).T, against)
        shape = (len(here), 3)
        powers, prisms = np.broadcast_to(met.read.vector, shape), met.prism.vector
        made = dict(zip(here, map(OverStop, map(Power, powers), map(Prism, prisms)), strict=True))
        # Ink and corridor are looked for with the back on the stop, and where the addition is read.
        sides = () if found else (BACK, self.pair.addition_side(eye))
        aside = [each for each in _aside(self.where) if against in sides and self._can(each[1])]
        if aside:
            at = np.array([self._inked(eye, laid)[part] for part, laid in aside])
            beside = lens.over_stop(*at.T, against)
            # What the whole stop adds changes little over a few millimetres, and costs much.
            more = powers - np.broadcast_to(met.power.vector, shape)
            of = [here.index((part, "")) for part, _ in aside]
            more = map(Power, beside.power.vector + more[of])
            made |= zip(aside, map(OverStop, more, map(Prism, beside.prism.vector)), strict=True)
        return made

    def _place(self, eye: str, part: str, left: tuple[str, ...]) -> tuple[float, float]:
        """Where a part stands, from the reference point; a turned lens takes its parts along."""
        assert isinstance(self.pair, Specimen)
        if part == "centre":
            # Found in the rim, so it does not turn with the lens.
            x, y = self.pair.spectacles.reference_point_mm(eye)
            middle = self.pair.frame.boxing_centre_mm(eye)
            return middle[0] - x, middle[1] - y
        place = self.pair.lens_point_mm(eye, part)
        assert place is not None, "asked only of lenses that have it"
        degrees = sum(
            each.turned_degrees for each in self.pair.conditions if each.name in left and each.eye == eye
        )
        if not degrees:
            return place
        x, y = (rotation(degrees) @ place).tolist()
        return x, y

    def _can(self, read: str) -> bool:
        """Whether a way of reading can be done on a pair of this kind."""
        if isinstance(self.pair, BareLenses):
            return read in ("", "laid", "front", "zero") or read.startswith(
                ("take", "shift", "apart", "away")
            )
        if read in LEFT_AS_FOUND:
            return bool({each.name for each in self.pair.conditions} & set(LEFT_AS_FOUND[read]))
        if read.startswith("chart"):
            # The chart of its own sign, laid true, is no habit.
            lens = self.pair.spectacles.right.lens
            return isinstance(lens, Progressive) and read != f"chart {lens.sign} 0 0 0"
        if read.startswith(("corridor", "from")) or read in ("reference", "centre"):
            return self.pair.style == PROGRESSIVE
        return True

    def _inked(self, eye: str, laid: str) -> dict[str, tuple[float, float]]:
        """Where each part is looked for: by ink put on from a chart that lay so, or up the corridor."""
        if (eye, laid) in self._ink:
            return self._ink[eye, laid]
        if laid.startswith("corridor"):
            x, y = self._place(eye, "near", ())
            return {"near": (x, y + float(laid.split()[1]))}
        assert isinstance(self.pair, Specimen)
        lens = self.pair.spectacles.mounted(eye).lens
        assert isinstance(lens, Progressive), "asked only of lenses that have charts"
        sign, x_mm, y_mm, turned_degrees = laid.split()[1:]
        chart = LaidChart(
            sign=sign,
            x_mm=float(x_mm) * nasal(eye),
            y_mm=float(y_mm),
            turned_degrees=float(turned_degrees) * nasal(eye),
        )
        printed = lens.places if sign == "own" else chart_with(sign).places(eye)
        inked = chart.lands([*printed.values()]).tolist()
        return self._ink.setdefault((eye, laid), dict(zip(printed, inked, strict=True)))

    # --- the line

    def _power(self, eye: str, read: str) -> Triple:
        part = {"centre": "centre", "reference": "prism"}.get(read, "distance")
        power = self._met(eye, part, read).power
        return turned(Triple(*(float(v) for v in power.sphere_cylinder(self.form))), self.form)

    def _lines(self, eye: str) -> _Lines:
        every = _effects(self.where)["line", eye][0]
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
            return self._can(read) and not (alone and (read == "laid" or read.startswith("take")))

        kept = [i for i, (read, write) in enumerate(every) if write or possible(read)]
        effects = [every[i] for i in kept]
        reads = [read for read, write in effects if not write]
        writes = [write for _, write in effects if write]
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
        deviation = np.where(abs(c) < 0.15, 40.0, deviation)
        sphere, cylinder, chance = self._settled(s, c, modes)
        chance[clash] = 0.0
        # What is read by every two, and what is written of it.
        lines = np.empty((3, len(effects), len(effects), 9))
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
        each = {
            name: np.array([write == name for _, write in effects]) for name in (*HALVES, "plus for minus")
        }
        done = {name: here[:, None] | here for name, here in each.items()}
        return _Lines(
            lines[0], lines[1], chance, axes, deviation[every_two], swapped, rounded, copied, places, done
        )

    def _settled(self, s: Floats, c: Floats, mode: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """Lines that a reading may be settled to, and the chance of each."""
        if self.where == "paper":
            one = np.zeros((*s.shape, 9))
            one[..., 0] = 1.0
            return np.repeat(s[..., None], 9, -1), np.repeat(c[..., None], 9, -1), one
        away, apart = mode == 2, mode == 1
        first, second = s, np.where(apart, c, s + c)
        first = first + np.where(away, np.sign(first) * STEP / 2, 0.0)
        second = second + np.where(away, np.sign(second) * STEP / 2, 0.0)
        near = np.arange(-1.0, 2.0)
        up, down = (np.round(v[..., None] / STEP) + near for v in (first, second))
        up, down = np.repeat(up, 3, -1) * STEP, np.tile(down, 3) * STEP
        # A difference of two readings has the noise of both.
        noise = np.where(apart, np.sqrt(2.0) * NOISE, NOISE)[..., None]
        chance = _share(up - first[..., None], NOISE) * _share(down - second[..., None], noise)
        cylinder = np.where(apart[..., None], down, down - up)
        chance = np.where(cylinder > 1e-9, 0.0, chance)
        chance = chance / np.maximum(chance.sum(axis=-1, keepdims=True), 1e-12)
        by_rule = (mode == 0) & (c <= 0.0)
        chance[by_rule] *= 1.0 - AS_TAUGHT
        chance[by_rule] += AS_TAUGHT * _as_taught(s[by_rule], (s + c)[by_rule])
        return up, cylinder, chance

    # --- the rest

    def _table(self, channel: str, eye: str) -> Floats:
        effects = _effects(self.where)[channel, eye][0]
        reads = [read for read, write in effects if not write]
        writes = [write for _, write in effects if write]
        n, m = len(reads), len(effects)
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
            if not (self._can(read) or part == "centre"):
                return [np.nan, np.nan]
            met = self._met(eye, part, read).prism.vector
            # A base in stays a base in where it is written into the other box.
            return met * [-1.0, 1.0] if read == "laid, as named" else met
        of = OTHER[eye] if read == "laid" else eye
        side = self.pair.addition_side(of)
        if side is None or not self._can(read):
            return [np.nan] * 3
        turned_side = BACK if side == FRONT else FRONT
        near_side = turned_side if read in ("other side", "mixed") else side
        far_side = turned_side if read == "other side" else side
        far = {"from centre": "centre", "from reference": "prism"}.get(read, "distance")
        near = self._met(eye, "near", read, near_side).power
        distance = self._met(eye, far, read, far_side).power
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
            return found - nasal(eye) * self._inked(eye, write)["height"][0] if self._can(write) else found
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
                found + self._inked(eye, write)["height"][1] - own[1] if own and self._can(write) else found
            )
        if write == "laid":
            return np.full_like(found, self.pair.height_mm(OTHER[eye]) or np.nan)
        if write == "datum":
            return abs(found - frame.lens_height_mm / 2.0)
        if write == "reference":
            mounted = self.pair.spectacles.mounted(eye)
            return np.full_like(found, frame.height_above_rim_mm(mounted.height_mm))
        return frame.lens_height_mm - found if write == "upper rim" else found / 10.0


_GRID, _TO = 0.0125, 1.25


@lru_cache(maxsize=1)
def _settlings() -> Floats:
    """How often a lens is settled to each of the nine lines near it: by what its first meridian
    has over a step, and by its cylinder, both on a grid.

    The course's own rule is asked for every reading on the grid, and its answers are shared out
    by the noise of the two readings.
    """
    steps, half = round(STEP / _GRID), round(3.0 * NOISE / _GRID)
    off = np.arange(-half, half + 1)
    weight = np.exp(-((off * _GRID / NOISE) ** 2) / 2.0)
    weight = np.outer(weight, weight) / weight.sum() ** 2
    # The rule knows a step from the next by what stands over it: powers of one step say it all.
    size = round(_TO / _GRID) + 2 * half + 1
    base = -2.0  # any whole number of steps among common powers
    first = base + np.arange(steps) * _GRID
    line = columns(Power.from_sphere_cylinder(first[:, None], -np.arange(size) * _GRID, 90.0))
    to = np.stack([line.higher[..., 0], line.lower[..., 0]]) - first[:, None]
    found = np.zeros((steps, round(_TO / _GRID), 9))
    at, cylinder = np.arange(steps)[:, None], np.arange(found.shape[1])[None, :]
    over = (base + at * _GRID) / STEP
    nearest = np.round(over), np.round((base + (at - cylinder) * _GRID) / STEP)
    for i, one in enumerate(off):
        for j, two in enumerate(off):
            # Of two readings the more plus one is the first, whichever meridian it was.
            read = np.maximum(at + one, at - cylinder + two), np.minimum(at + one, at - cylinder + two)
            came = to[:, read[0] % steps, read[0] - read[1]] + base + read[0] * _GRID
            up, down = (
                np.clip(np.round(each / STEP) - by, -1, 1) for each, by in zip(came, nearest, strict=True)
            )
            place = (3 * (up + 1) + down + 1).astype(int)
            found[at, cylinder, place] += weight[i, j]
    return found


def _as_taught(first: Floats, second: Floats) -> Floats:
    """The chance of each of the nine lines near a lens, settled by the rule of the course."""
    table = _settlings()
    steps = table.shape[0]
    size = first - second
    # Further from a sphere a cylinder is settled as it is a step nearer to it.
    size = np.where(size < _TO - _GRID, size, _TO - STEP + (size - _TO) % STEP)
    over = first - np.floor(first / STEP) * STEP
    at = np.minimum((over / _GRID + 0.5).astype(int), steps - 1)
    return table[at, np.minimum((size / _GRID + 0.5).astype(int), table.shape[1] - 1)]


def _rise(z: Any) -> Any:
    """The normal distribution function, closely (logistic, so its tails are heavier)."""
    return 1.0 / (1.0 + np.exp(-1.702 * np.clip(z, -30.0, 30.0)))


def _share(off: Any, noise: Any, step: Any = STEP) -> Any:
    """The share of the noise that falls into a step whose middle is `off` away."""
    return _rise((off + step / 2) / noise) - _rise((off - step / 2) / noise)


# --- how well it fits what was written ------------------------------------------------------------


FAR = 0.65
"""A power so far (dioptres) from one that was settled to was not written for it."""


def _as_powers_are_written(wrote: float) -> float:
    """How likely a power is to be one that is written at all: on a step, at times on an eighth."""
    return 1.0 if abs(wrote / STEP - round(wrote / STEP)) < 0.02 else 0.15 if _on_an_eighth(wrote) else 0.01


def _on_an_eighth(wrote: float) -> bool:
    return abs(wrote * 8.0 - round(wrote * 8.0)) < 0.05


def _near(off: Floats, wrote: float, exact: bool) -> Floats:
    """How likely a power is to be written so far from a step: nearly always on it, at times on an eighth."""
    if exact:
        return np.exp(-np.minimum((off / 0.004) ** 2 / 2, 60.0))
    # Nobody reads -0.03: it is 0.25 with its point misplaced sooner than it is zero.
    beside = 0.15 if _on_an_eighth(wrote) else 0.002
    return (1.0 - beside) * np.exp(-np.minimum((off / 0.01) ** 2 / 2, 60.0)) + beside * np.exp(
        -np.minimum((off / 0.07) ** 2 / 2, 60.0)
    )


class _Odd(NamedTuple):
    """One thing of one lens that went wrong for no reason in the catalogue.

    `log` is the likelihood of its field where it is odd by itself and `rest` that of what else the
    field holds; `off` is how far it stands from the right one, and `likely` how likely that is.
    """

    log: float
    rest: float
    off: Any
    likely: float


class _Fit(NamedTuple):
    """How well one field fits every two effects, and where any one part of it is odd, by part."""

    table: Floats
    parts: dict[str, _Odd]

    @property
    def odd(self) -> float:
        """The likelihood of the field where something in it is odd."""
        return float(np.log(np.mean(np.exp([part.log for part in self.parts.values()])) + 1e-12))


def _tail(off: Any, half: float, step: float) -> float:
    """How likely something odd is to stand so far off: half within `half`, and a heavy tail."""
    return float(step / (np.pi * half * (1.0 + (off / half) ** 2)))


def _part(rest: float, off: Any, likely: float) -> _Odd:
    rest = float(np.log(rest + 1e-12))
    return _Odd(rest + float(np.log(likely)), rest, off, likely)


PLUS_ALL_THE_SAME, NO_PLUS = 0.25, 0.1
"""How many leave the minus sign out and are made to write a plus for it; who leaves out the plus of a plus."""


def _of_line(lines: _Lines, wrote: Triple, across: Triple | None, exact: bool, text: str = "") -> _Fit:
    """Log likelihood of a line for every two effects; `across` is what was written of the other lens,
    `text` the line as it was typed.
    """
    off_s, off_c = lines.sphere - wrote.sphere, lines.cylinder - wrote.cylinder
    near = (lines.chance > 0) & (abs(off_s) < FAR) & (abs(off_c) < FAR)
    of_s, of_c = np.zeros(near.shape), np.zeros(near.shape)
    of_s[near] = _near(off_s[near], wrote.sphere, exact)
    of_c[near] = _near(off_c[near], wrote.cylinder, exact)
    if not exact:
        for of, off, name in ((of_s, off_s, "mean"), (of_c, off_c, "half cylinder")):
            # Half of -1.25 is written -0.62, or -0.50 or -0.75.
            at = lines.done[name][..., None] & near
            of[at] += 0.5 * np.exp(-(((abs(off[at]) - STEP / 2.0) / 0.01) ** 2) / 2.0)
    power = (lines.chance * of_s * of_c).sum(axis=-1)
    around = np.ones_like(power)
    off_a = 0.0
    if wrote.cylinder:
        before = np.array([wrote.axis, *(float(WRITINGS[each](0.0, 1.0, wrote.axis)[2]) for each in DIGITS)])
        off = (lines.axis - before[lines.swapped] + 90.0) % 180.0 - 90.0
        deviation = np.full_like(off, 0.3) if exact else lines.deviation
        tail = 0.0 if exact else 1.0
        around = (
            (0.97 - 0.04 * tail) * np.exp(-(off**2) / (2 * deviation**2)) / (2.5066 * deviation)
            + 0.06 * tail * np.exp(-(off**2) / (12.5 * deviation**2)) / (6.2666 * deviation)
            + 2e-4 * tail / 180.0
        )
        round_one = (
            abs((wrote.axis + lines.rounded / 2) % np.maximum(lines.rounded, 1.0) - lines.rounded / 2) < 0.6
        )
        put = np.where(round_one, _share(off, deviation, np.maximum(lines.rounded, 1.0)), 0.0)
        around = np.minimum(np.where(lines.rounded > 0, put, around), 1.0)
        around = np.where(around < 1e-6, 1e-6 if not exact else 1e-9, around)
        off_a = float(off[0, 0])
    likely = power * around
    if across is not None and not exact:
        by_one = (
            _near(each[:, 0], value, exact)
            for each, value in ((off_s, wrote.sphere), (off_c, wrote.cylinder))
        )
        likely = _copied(likely, lines, (*by_one, around, power), wrote, across)
    typed = re.match(r"\D*?([+-]?)\s*\d", text)
    signed = typed is None or bool(typed[1])
    left_out = lines.done["plus for minus"]
    likely = likely * np.where(left_out, PLUS_ALL_THE_SAME if signed else 1.0, 1.0 if signed else NO_PLUS)
    floor = 1e-12 if exact else 1e-13
    possible = lines.chance.sum(axis=-1) > 0
    found = np.full((len(likely) + 1, len(likely) + 1), -np.inf)
    found[:-1, :-1][possible] = np.log(likely[possible] + floor)
    found = found[np.ix_(lines.places, lines.places)]
    # --- and where one part of it is odd
    chance, turn = lines.chance[0, 0], float(around[0, 0])
    right_s, right_c = (
        float((chance * _near(each[0, 0], value, exact)).sum())
        for each, value in ((off_s, wrote.sphere), (off_c, wrote.cylinder))
    )
    by_s, by_c = (-float((chance * each[0, 0]).sum()) for each in (off_s, off_c))
    odd_s, odd_c = (
        _tail(each, ODD_POWER, STEP) * (1.0 if exact else _as_powers_are_written(value))
        for each, value in ((by_s, wrote.sphere), (by_c, wrote.cylinder))
    )
    odd_a = 0.7 * _tail(off_a, ODD_AXIS, 1.0) + 0.3 / 180.0 if wrote.cylinder else 1.0
    parts = {
        # What moves both spheres alike is in the catalogue: it is what an eyepiece does.
        "sphere": _part(right_c * turn, None, odd_s),
        "cylinder": _part(right_s * turn, by_c, odd_c),
        "line": _part(1.0, None, odd_s * odd_c * odd_a),
    }
    if wrote.cylinder:
        parts["axis"] = _part(float(power[0, 0]), off_a, odd_a)
    return _Fit(found, parts)


def _copied(likely: Floats, lines: _Lines, own: Sequence[Floats], wrote: Triple, across: Triple) -> Floats:
    """The same with what is copied taken from what was written of the other lens, not from what is true.

    Beside a habit of writing it may have been copied before that, so the likelihood stays a part.
    """
    of_s, of_c, around, power = own
    same_s = float(abs(across.sphere - wrote.sphere) < 0.006)
    same_c = float(abs(across.cylinder - wrote.cylinder) < 0.006)
    same_a = float(not wrote.cylinder or abs((across.axis - wrote.axis + 90.0) % 180.0 - 90.0) < 0.6)
    chance = lines.chance[:, 0]
    found = likely.copy()
    for at, copied in lines.taken:
        if copied == "take line":
            each = np.full(len(likely), same_s * same_c * same_a)
        elif copied == "take sphere":
            each = same_s * (chance * of_c).sum(axis=-1) * around[:, 0]
        elif copied == "take cylinder":
            each = same_c * (chance * of_s).sum(axis=-1) * around[:, 0]
        else:
            each = same_a * (power[:, 0] if wrote.cylinder else 0.0 * power[:, 0])
        each = np.where(lines.chance[at].sum(axis=-1) > 0, each, 0.0)
        found[at], found[:, at] = each, each
    return found


def _of_add(table: Floats, wrote: float) -> _Fit:
    noise = NOISE * np.sqrt(2.0)
    found = np.log(0.98 * _share(table - wrote, noise) + 0.02 * _share(table - wrote, 3 * noise) + 1e-5)
    off = wrote - float(table[0, 0])
    return _Fit(
        np.where(np.isnan(table), -np.inf, found), {"add": _part(1.0, off, _tail(off, ODD_ADD, STEP))}
    )


def _of_length(name: str, table: Floats, wrote: float) -> _Fit:
    # A distance doubled has twice the error, and one in centimetres a tenth of it.
    wide, fine = np.where(table > 50.0, 2.0, 1.0) * PD_NOISE, 0.1
    close = np.minimum(_of_noise(table - wrote, wide), 1.0)
    small = np.minimum(_of_noise(table - wrote, fine), 1.0)
    found = np.log(np.where(table < 10.0, (close + small) / 2.0, close) + 1e-6)
    off = wrote - float(table[0, 0])
    return _Fit(
        np.where(np.isnan(table), -np.inf, found), {name: _part(1.0, off, _tail(off, ODD_MM, PD_STEP))}
    )


def _of_noise(off_mm: Floats, noise: Any) -> Floats:
    off = off_mm / noise
    return PD_STEP * (0.97 * np.exp(-(off**2) / 2) + 0.01 * np.exp(-abs(off) / 3)) / (2.5 * noise)


def _of_prism(
    table: Floats,
    wrote: Prism,
    thinning: tuple[Floats, float],
    strength: float,
    both: NDArray[np.bool_],
) -> _Fit:
    """`thinning` comes with how likely it was left out; `both` says in which effects the prism of both
    lenses stands in one, with the noise of both.
    """
    noise = _prism_noise(strength)
    noises = noise * np.where(both[:, None] | both, np.sqrt(2.0), 1.0)
    likely, (thinned, left_out) = np.zeros(table.shape[:2]), thinning
    for part, chance in ((0.0, 1.0 - left_out), (1.0, left_out)) if thinned.any() else ((0.0, 1.0),):
        off = ((table - part * thinned - np.asarray(wrote.vector)) ** 2).sum(axis=-1) / noises**2
        likely = likely + chance * (0.97 * np.exp(-off / 2) + 0.03 * np.exp(-off / 18) / 9)
    found = np.log(likely * 0.0625 / (6.28 * noises**2) + 1e-7)
    by = np.asarray(wrote.vector) - table[0, 0]
    by = min(by, by + thinned, key=lambda each: float(each @ each))
    # Heavy in two directions as the others are in one.
    likely = 0.0625 / (6.28 * ODD_PRISM**2 * (1.0 + float(by @ by) / ODD_PRISM**2) ** 1.5)
    return _Fit(np.where(np.isnan(table[..., 0]), -np.inf, found), {"prism": _part(1.0, by, likely)})


def _prism_noise(strength: float) -> float:
    return float(np.hypot(PRISM_NOISE, PLACED_CM * strength))


def _left_out(ticket: Ticket, truth: _Truth) -> float:
    """How likely it is that thinning prism was left out, which is no habit: in both lenses or in neither."""
    chances: list[float] = []
    pair = truth.pair
    if isinstance(pair, BareLenses):
        return 0.5
    for eye in truth.lines:
        met, thinning = ticket.of(eye).prism_met(eye), np.asarray(pair.thinning(eye).vector)
        if met is None or not thinning.any():
            continue
        off = np.asarray(met.vector) - truth.values("prism", eye)[0, 0]
        noise = _prism_noise(truth.strength(eye))
        with_it, without = (
            1e-4 + np.exp(-float(each @ each) / (2.0 * noise**2)) for each in (off, off + thinning)
        )
        chances.append(without / (with_it + without))
    return float(min(chances, default=0.5))


# --- weighing -------------------------------------------------------------------------------------

_kept: OrderedDict[tuple[int, str, str], tuple[Any, _Truth]] = OrderedDict()
MOST_KEPT = 24


def _truth(pair: Specimen | BareLenses, form: str, where: str) -> _Truth:
    """What is true of a pair, worked out once for each of the last pairs."""
    key = (id(pair), form, where)
    found = _kept.get(key)
    # The pair is kept with it, so that no other object can come to have its id.
    if found is None or found[0] is not pair:
        found = (pair, _Truth(pair, form, where))
        _kept[key] = found
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return found[1]


@dataclass(slots=True)
class _Weighed:
    """Log likelihood of each thing written, for every way and odd, and for every two effects on it."""

    names: list[str] = field(default_factory=list)
    singly: list[Floats] = field(default_factory=list)
    odd: list[float] = field(default_factory=list)
    parts: dict[str, dict[str, tuple[_Odd, float]]] = field(default_factory=dict)
    tables: list[tuple[Floats, NDArray[np.intp]]] = field(default_factory=list)
    not_read: float = 0.0

    def add(self, name: str, eye: str, fit: _Fit, picked: NDArray[np.intp]) -> None:
        self.names.append(f"{name} {eye}")
        self.singly.append(fit.table[picked, 0])
        self.odd.append(fit.odd)
        for part, odd in fit.parts.items():
            self.parts.setdefault(part, {})[eye] = odd, float(fit.table[0, 0])
        self.tables.append((fit.table, picked))

    def met(self) -> NDArray[np.intp]:
        """The ways that can be done on the pair and change something of what is written, the right one first."""
        touched = np.any([picked > 0 for _, picked in self.tables], axis=0)
        touched[0] = True
        return np.flatnonzero(touched & np.isfinite(np.sum(self.singly, axis=0)))

    def together(self, ways: NDArray[np.intp]) -> Floats:
        """Log likelihood of all that is written, for every two of these ways."""
        return sum(
            (table[np.ix_(picked[ways], picked[ways])] for table, picked in self.tables),
            start=np.zeros((len(ways), len(ways))),
        )

    def strange(self) -> float:
        """How much likelier the ticket is where one thing in it, or two, went wrong for no known reason."""
        each = {part: self._strange(part, by_eye) for part, by_eye in self.parts.items()}
        line = [each[part] for part in _OF_A_LINE if part in each]
        # What two parts of one line do together is the whole line's to say.
        fields = np.array(
            [*([np.mean(line)] if line else []), *(v for k, v in each.items() if k not in _OF_A_LINE)]
        )
        two = fields.sum() ** 2 - (fields**2).sum()
        # What is not on this ticket may have gone wrong as well, and does not show.
        things, pairs = 8, 5 * 4
        return NOT_READ * self.not_read + ONE_ODD * sum(each.values()) / things + TWO_ODD * float(two) / pairs

    @staticmethod
    def _strange(part: str, by_eye: Mapping[str, tuple[_Odd, float]]) -> float:
        """The same for one thing: wrong in one lens, in both each by its own amount, or in both alike."""
        ratios = [np.exp(odd.log - right) for odd, right in by_eye.values()]
        if len(ratios) == 1:
            return float(ratios[0])
        (one, right), (two, left) = by_eye.values()
        alike = 0.0
        if one.off is not None:
            step, noise = ALIKE[part]
            apart = np.atleast_1d(np.subtract(one.off, two.off)) / noise
            share = (min(step / (2.5066 * noise), 1.0) * np.exp(-(apart**2) / 2.0)).prod()
            alike = np.sqrt(one.likely * two.likely) * share * np.exp(one.rest + two.rest - right - left)
        return float(np.mean([*ratios, ratios[0] * ratios[1], alike]))


_OF_A_LINE = ("sphere", "cylinder", "axis", "line")


def _weighed(ticket: Ticket, truth: _Truth) -> _Weighed:
    found, effects = _Weighed(), _effects(truth.where)
    exact = truth.where == "paper"
    wrote = {
        eye: turned(Triple(line.sphere, line.cylinder, float(line.axis or 180)), truth.form)
        for eye in truth.lines
        if (line := ticket.of(eye).distance) is not None
    }
    left_out = _left_out(ticket, truth)
    for eye, lines in truth.lines.items():
        lens = ticket.of(eye)
        if eye in wrote:
            fit = _of_line(lines, wrote[eye], wrote.get(OTHER[eye]), exact, ticket.written(eye))
            found.add("line", eye, fit, effects["line", eye][1])
        if isinstance(truth.pair, BareLenses):
            continue
        if lens.add is not None and not np.isnan(truth.values("add", eye)[0, 0]):
            found.add("add", eye, _of_add(truth.values("add", eye), lens.add), effects["add", eye][1])
        met = lens.prism_met(eye)
        if met is not None:
            thinning = np.asarray(truth.pair.thinning(eye).vector, dtype=float)
            known, picked = effects["prism", eye]
            both = np.array([write == "all here" for _, write in known])
            fit = _of_prism(truth.values("prism", eye), met, (thinning, left_out), truth.strength(eye), both)
            found.add("prism", eye, fit, picked)
        for name, wrote_mm in (("pd", lens.pd_mm), ("height", lens.height_mm)):
            if wrote_mm is not None and not np.isnan(truth.values(name, eye)[0, 0]):
                fit = _of_length(name, truth.values(name, eye), wrote_mm)
                found.add(name, eye, fit, effects[name, eye][1])
    found.not_read = _not_read(wrote, found)
    return found


def _not_read(wrote: Mapping[str, Triple], weighed: _Weighed) -> float:
    """How much likelier the ticket is where every line was put down as plano, or every axis as the same."""
    lines = weighed.parts.get("line", {})
    if wrote and not any(line.sphere or line.cylinder for line in wrote.values()):
        return float(np.exp(-sum(right for _, right in lines.values())))
    axes = {round(line.axis) % 180 for line in wrote.values()}
    turned_to = weighed.parts.get("axis", {})
    if len(axes) > 1 or len(turned_to) < 2:
        return 0.0
    # What is put down unread is a round number sooner than another.
    often = {0: 0.5, 90: 0.2}.get(axes.pop(), 0.3 / 180.0)
    return often * float(np.exp(sum(odd.rest - right for odd, right in turned_to.values())))


@lru_cache(maxsize=4)
def _priors(where: str) -> tuple[list[Slip], NDArray[np.intp], Floats, Floats]:
    """The habits met there; of each way, after the right one, its habit, as a number from 1 and as a
    row of memberships, and how often it is done so.
    """
    known = [entry for entry in CATALOGUE if where in entry.where]
    belongs = np.array([0, *(number + 1 for number, _, _ in _ways(where))])
    member = np.eye(len(known) + 1)[belongs, 1:]
    weights = np.array([0.0, *(way.weight for _, _, way in _ways(where))])
    return known, belongs, member, weights / np.maximum(member @ (member.T @ weights), 1e-12)


@lru_cache(maxsize=4)
def _own_ways(where: str) -> NDArray[np.bool_]:
    """Which two ways are of one habit, one way of the right lens and the other of the left."""
    habit = np.array([-1, *(number for number, _, _ in _ways(where))])
    of = {eye: np.array([False, *(way.eyes == eye for _, _, way in _ways(where))]) for eye in "RL"}
    return (habit[:, None] == habit) & of["R"][:, None] & of["L"]


@lru_cache(maxsize=4)
def _in_a_ring(where: str) -> NDArray[np.bool_]:
    """Which two ways would copy from each other, and so from nowhere."""
    takes = {
        eye: np.array(
            [False, *(way.read.startswith("take") and eye in way.eyes for _, _, way in _ways(where))]
        )
        for eye in "RL"
    }
    return takes["R"][:, None] & takes["L"] | takes["L"][:, None] & takes["R"]


def diagnose(
    ticket: Ticket,
    pair: Specimen | BareLenses,
    form: str = "minus",
    where: str = "bench",
    trace: Trace | Mapping[str, Any] | None = None,
) -> Diagnosis:
    """What explains a ticket.

    Parameters
    ----------
    ticket : Ticket
        What was written; what was not is passed over. A lens alone is a ticket with one side.
    pair : Specimen or BareLenses
        What is true.
    form : {"minus", "plus"}
        The cylinder form asked for.
    where : {"bench", "paper"}
        Read, with the noise of a hand, or worked out exactly.
    trace : Trace or mapping, optional
        How the instrument was worked. It only shifts what was likely beforehand, and by a
        bounded factor, since a notebook can be edited; what cannot be read is left aside.

    Returns
    -------
    Diagnosis
        Nothing is ranked where an honest reading, or something outside the catalogue, is
        likelier than all habits together.

    Examples
    --------
    >>> from optics.marking.read import read_answer
    >>> lens = BareLenses({"R": Power.from_sphere_cylinder(-2.25, -0.75, 15)})
    >>> diagnose(read_answer({"right": "-2.25 -0.75 x 105"}), lens).names
    ('axis 90 out',)
    """
    truth = _truth(pair, form, where)
    weighed = _weighed(ticket, truth)
    factors, shifts, seen = _evidence(trace, pair)
    if not weighed.names:
        return Diagnosis(seen=seen)
    met = weighed.met()
    fits = np.array(weighed.singly)[:, met]
    total = np.where(_in_a_ring(where)[np.ix_(met, met)], -np.inf, weighed.together(met))
    right = float(total[0, 0])
    ways = _ways(where)
    known, belongs, member, weights = _priors(where)
    habits = len(known)
    weights = _by_the_dial(weights, where, shifts)
    belongs, member, weights = belongs[met], member[met], weights[met]
    leaning = np.array([1.0 if where == "paper" else factors.get(entry.name, 1.0) for entry in known])
    # One field may be odd beside a habit that explains the rest.
    # What is written rightly is not odd, and speaks against a habit that denies it.
    odd = np.where(fits[:, 0] < weighed.odd, weighed.odd, -np.inf)
    alone = total[:, 0]
    with np.errstate(invalid="ignore", over="ignore"):
        beside = np.exp(np.minimum(odd[:, None] - fits, 50.0)).sum(axis=0)
    beside = np.where(np.isfinite(alone), beside, 0.0) * (BESIDE / len(odd) if len(odd) > 1 else 0.0)
    singly = alone + np.log1p(beside)
    top = max(right, float(np.max(singly[np.isfinite(singly)])), float(np.max(total)))
    # --- each on its own
    gain = singly > right + GAIN
    one_way = np.where(gain, np.exp(singly - top), 0.0) * weights * np.r_[1.0, leaning][belongs]
    # A habit of which each lens shows a way of its own is one habit all the same.
    own_ways = np.where(_own_ways(where)[np.ix_(met, met)] & (total > right + GAIN), np.exp(total - top), 0.0)
    own_ways *= weights[:, None] * weights * np.r_[1.0, leaning][belongs]
    one = ONE_HABIT / habits * (member.T @ (one_way + own_ways.sum(axis=0)))
    # --- two together, where either adds something
    best = np.full(habits + 1, -np.inf)
    np.maximum.at(best, belongs, alone)
    better = np.maximum(np.maximum(best[belongs][:, None], best[belongs][None, :]), right) + GAIN
    adds = (total > better) & (belongs[:, None] != belongs)
    two_way = np.zeros_like(total)
    two_way[adds] = np.exp(total[adds] - top) * (weights[:, None] * weights)[adds]
    two = TWO_HABITS / habits**2 * (member.T @ two_way @ member) * leaning[:, None] * leaning[None, :]
    # --- and nobody's habit
    honest = HONEST * np.exp(right - top)
    unexplained = np.exp(right - top) * weighed.strange()
    believed = one.sum() + two.sum()
    unexplained += BY_CHANCE * believed
    whole = honest + unexplained + believed
    if whole <= 0 or believed / whole < SAID_FROM:
        return Diagnosis(honest=float(honest / whole), unexplained=float(unexplained / whole), seen=seen)
    # Alike to the sixth place they stay in the catalogue's order, one before two.
    first, second = np.nonzero(np.triu(two + two.T))
    singles = np.flatnonzero(one)
    belief = np.r_[one[singles], (two + two.T)[first, second]] / whole
    ranked = []
    for at in np.argsort(-np.round(belief, 6), kind="stable")[:8]:
        if at < len(singles):
            i = singles[at]
            likeliest = int((one_way * member[:, i]).argmax())
            touched, fit = ways[met[likeliest] - 1][2].eyes, float(singly[likeliest])
            apart = own_ways * member[:, i]
            if apart.max() > one_way[likeliest]:
                fit = float(total.flat[apart.argmax()])
                ranked.append(Explanation((known[i],), float(belief[at]), "RL", ("RL",), fit))
                continue
            # A lens on which something is odd besides is not explained by it.
            bad = {
                name[-1] for name, worse in zip(weighed.names, odd > fits[:, likeliest], strict=True) if worse
            }
            eyes = "".join(eye for eye in touched if eye not in bad) or touched
            ranked.append(Explanation((known[i],), float(belief[at]), eyes, (touched,), fit))
            continue
        i, j = first[at - len(singles)], second[at - len(singles)]
        if two[j, i] > two[i, j] * 1.001:
            i, j = j, i
        # With the lenses that each of the two touches, in their likeliest ways.
        of_i, of_j = np.flatnonzero(member[:, i]), np.flatnonzero(member[:, j])
        both = (two_way + two_way.T)[np.ix_(of_i, of_j)]
        pick = np.unravel_index(both.argmax(), both.shape)
        each = tuple(ways[met[of[at_way]] - 1][2].eyes for of, at_way in zip((of_i, of_j), pick, strict=True))
        eyes = "".join(eye for eye in "RL" if any(eye in own for own in each))
        pick_at = of_i[pick[0]], of_j[pick[1]]
        fit = float(max(total[pick_at], total[pick_at[::-1]]))
        ranked.append(Explanation((known[i], known[j]), float(belief[at]), eyes, each, fit))
    return Diagnosis(
        ranked=_smaller_first(ranked),
        honest=float(honest / whole),
        unexplained=float(unexplained / whole),
        seen=seen,
    )


def _smaller_first(ranked: list[Explanation]) -> tuple[Explanation, ...]:
    """Where one habit alone leads there about as likely as it does with a second, it is named first."""
    first = ranked[0]
    for at, each in enumerate(ranked[:FURTHEST]):
        near = each.posterior * EVEN >= first.posterior
        if near and len(each.slips) < len(first.slips) and {*each.slips} <= {*first.slips}:
            return (each, *ranked[:at], *ranked[at + 1 :])
    return tuple(ranked)


# --- what the hand left behind ----------------------------------------------------------------------

SEEN = 300.0
"""How much likelier a habit is of which the record shows the step; bounded, since a notebook can be edited."""
DIAL_WITHIN = 0.08
"""How closely what a dial stood out by is found on the drum, dioptres."""
SHARP_WITHIN = 0.75
"""An eyepiece this near to the eye's own setting is set, dioptres on the dial."""


def _evidence(
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


def _by_the_dial(weights: Floats, where: str, shifts: Mapping[str, float]) -> Floats:
    """The eyepiece was out by what the dial stood at, where a record has it."""
    if not shifts:
        return weights
    likely = np.zeros(len(weights))
    for at, (_, entry, way) in enumerate(_ways(where), 1):
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
