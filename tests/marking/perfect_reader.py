"""The most that anybody could name: a reader who knows the hands of `noisy_hands` themselves.

Every rival (each habit, every two, honest, each stranger) reads the pair a few hundred times by the
generator's own hand; nothing of the diagnosis is asked. What was left to chance beforehand (which
lens, by how much) is gone through outcome by outcome, each with its weight; for one outcome the
fields of a ticket shake independently, so its likelihood is the product of the shares of the
readings that were written as the ticket has them. What a rival writes of a pair is worked out once
for all tickets on that pair. Run as a script it prints the figures, for the kinds of hands asked for:

    python tests/marking/perfect_reader.py [tickets a style] [first seed] [pairs a style] [one] [two] [outside]

Two readers are asked: one is told how many habits there are (nobody can do better), one only how
often each kind is met. Without `two` no pair of habits is among the rivals of the one who is not
told, which is much quicker where there are many pairs of spectacles and lets that reader name a
few more single habits. For strangers it is counted how many write as a habit writes.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from typing import Any

import noisy_hands as hands
import numpy as np

from optics.marking.diagnosis import HONEST, ONE_HABIT, ONE_ODD, SAID_FROM, TWO_HABITS, TWO_ODD
from optics.marking.explanations import EVEN, FURTHEST
from optics.marking.read import Ticket
from optics.specimens.specimen import Specimen
from optics.specimens.steps import RING_STEP, RULE_STEP_MM

MANY = 400
"""Readings of each rival. A share of 1 in 100 is known to within a tenth of itself (two fifths at worst)."""
SPREAD = {1: 6, 2: 3}
"""What is drawn evenly from a range is gone through in so many places, by the number of habits."""
AXIS_KERNEL = 0.6
"""Width of the kernel over the axis, degrees: little beside the 1.7 of the finest hand."""
UNSEEN = 0.3
"""What was never written counts as so much of one reading, spread over all that can be written."""


class Outcomes:
    """Stands in for a random generator: goes the way it is told wherever something is left to chance."""

    def __init__(self, path: list[int], spread: int) -> None:
        self.path, self.weights, self.sizes, self.spread = path, [], [], spread
        self.shaken = np.random.default_rng(78)

    def _pick(self, chances: list[float]) -> int:
        at = len(self.weights)
        if at == len(self.path):
            self.path.append(0)
        self.sizes.append(len(chances))
        self.weights.append(chances[self.path[at]])
        return self.path[at]

    def choice(self, options: Any) -> Any:
        if isinstance(options, int):
            return self.integers(options)
        counted = Counter(options)
        return list(counted)[self._pick([each / len(options) for each in counted.values()])]

    def integers(self, low: int, high: int | None = None) -> int:
        low, high = (0, low) if high is None else (low, high)
        return low + self._pick([1.0 / (high - low)] * (high - low))

    def random(self) -> float:
        return (self._pick([0.5, 0.5]) + 0.5) / 2.0

    def uniform(self, low: float, high: float) -> float:
        return low + (high - low) * (self._pick([1.0 / self.spread] * self.spread) + 0.5) / self.spread

    def normal(self, mean: float, deviation: float) -> Any:
        """One draw for each reading: what shakes one number alone needs no outcomes of its own."""
        return self.shaken.normal(mean, deviation, MANY)


def every_outcome(spread: int) -> Iterator[Outcomes]:
    """Every way that chance can go, one after another; what asks decides how many there are."""
    path: list[int] = []
    while True:
        one = Outcomes(path, spread)
        yield one
        path, sizes = one.path, one.sizes
        while path and path[-1] + 1 >= sizes[len(path) - 1]:
            path.pop()
        if not path:
            return
        path[-1] += 1


class Reader:
    """What every rival would write of one pair, worked out once for all its tickets."""

    def __init__(self, pair: Specimen, noise: float = 1.0) -> None:
        self.pair, self.noise = pair, noise
        self.fields: list[Field] = []
        self._number: dict[tuple, int] = {}
        self._rivals: dict[tuple[str, ...], tuple[Any, Any]] = {}
        self._met: dict[tuple, Any] = {}
        self._read: dict[str, hands.State] = {}

    def hand(self, chance: Outcomes, names: tuple[str, ...]) -> hands.Hand:
        found = _Told(self.pair, chance, self.noise, self._met)
        for name in names:
            (hands.HABITS | hands.OUTSIDE)[name](found)
        return found

    def states(self, names: tuple[str, ...]) -> Iterator[tuple[float, hands.State, int]]:
        """Each outcome's weight, what is written many times over, and whether the order may matter."""
        for chance in every_outcome(SPREAD[max(len(names), 1)]):
            hand = self.hand(chance, names)
            key = repr([value for name, value in vars(hand).items() if name not in _APART])
            if key not in self._read:
                self._read[key] = hand.readings()
            kept = {eye: entry | {"line": list(entry["line"])} for eye, entry in self._read[key].items()}
            state = hand.changed(kept)
            yield float(np.prod(chance.weights)), state, max(len(hand.lines), len(hand.fields))

    def rival(self, names: tuple[str, ...]) -> tuple[Any, Any]:
        """Log of each outcome's weight, and the numbers of the fields that it writes; in either order."""
        if names not in self._rivals:
            ways = [(weight, self._row(state), order) for weight, state, order in self.states(names)]
            if len(names) == 2 and max(order for _, _, order in ways) > 1:
                ways += [(weight, self._row(state), 0) for weight, state, _ in self.states(names[::-1])]
            weights = np.array([weight for weight, _, _ in ways])
            self._rivals[names] = np.log(weights / weights.sum()), np.array([row for _, row, _ in ways])
        return self._rivals[names]

    def _row(self, state: hands.State) -> list[int]:
        row = []
        for eye, name, *read in things(state):
            key = (eye, name, *(hash(np.asarray(each).tobytes()) for each in read))
            if key not in self._number:
                self._number[key] = len(self.fields)
                self.fields.append(Field(eye, name, *read))
            row.append(self._number[key])
        return row

    def likelihood(self, names: tuple[str, ...], shares: Shares) -> float:
        """Log of the likelihood of a ticket under these habits."""
        logs, rows = self.rival(names)
        return float(np.logaddexp.reduce(logs + shares.among(self.fields)[rows].sum(axis=1)))


_APART = (  # what does not change the readings
    "pair",
    "rng",
    "steady",
    "lines",
    "fields",
    "known",
)


class _Told(hands.Hand):
    """A hand to whom chance is told; it shakes the same way whatever its habits are."""

    def __init__(self, pair: Specimen, chance: Outcomes, noise: float, known: dict[tuple, Any]) -> None:
        seed = np.random.default_rng(77)
        super().__init__(pair, seed, noise, MANY)
        self.rng, self.known = chance, known

    def met(self, eye: str, at: tuple[float, float], side: str = "back") -> Any:
        key = (eye, *(round(float(each), 6) for each in at), side)
        if key not in self.known:
            self.known[key] = super().met(eye, at, side)
        return self.known[key]

    def settled(self, read: list) -> list:
        key = (self.away, self.apart, *(float(each[0]) for each in read))
        if key not in self.known:
            self.known[key] = super().settled(read)
        return self.known[key]


class Field:
    """One thing that is written of a lens, over many readings: each number met, how often, and the axes."""

    def __init__(self, eye: str, name: str, *read: Any) -> None:
        self.eye, self.name, self.copied = eye, name, (False,) * 3
        read = [np.broadcast_to(each, MANY) for each in read]
        if name == "line":
            (s, c, a), across = read[:3], read[3:]
            c = np.where(abs(c) < 0.01, 0.0, c)
            self.axes = a[c != 0]
            if across:
                same = zip((s, c, a), across, strict=True)
                self.copied = tuple(bool(np.ptp(one)) and np.array_equal(one, two) for one, two in same)
            numbers = s * (not self.copied[0]) + 1j * c * (not self.copied[1])
        else:
            numbers = as_written(name, read[0])
        self.met, self.counts = np.unique(numbers, return_counts=True)


def as_written(name: str, values: Any) -> Any:
    if name == "add":
        return np.maximum(values, 0.0)
    if name in ("across", "up"):
        return np.sign(values) * np.floor(abs(values) / RING_STEP + 0.5) * RING_STEP
    return np.where(values < 9.95, np.round(values, 1), np.floor(values / RULE_STEP_MM + 0.5) * RULE_STEP_MM)


def things(state: hands.State) -> Iterator[tuple]:
    """What `Field` asks for, for everything on the ticket; a left line goes with the right one."""
    for eye, entry in state.items():
        yield eye, "line", *entry["line"], *(state["R"]["line"] if eye == "L" else ())
        yield from ((eye, name, entry[name]) for name in ("add", "pd", "height") if name in entry)
        if "prism" in entry:
            yield from ((eye, name, entry["prism"][..., k]) for k, name in enumerate(("across", "up")))


CELLS = {"line": 400, "add": 40, "across": 40, "up": 40, "pd": 100, "height": 100}
"""So many different things can be written of each, about."""


class Shares:
    """How often a ticket's numbers are written by a hand that read many times."""

    def __init__(self, ticket: Ticket) -> None:
        self.wrote: dict[tuple[str, str], tuple[float, ...] | None] = {}
        self._known = np.zeros(0)
        for eye in "RL":
            lens = ticket.of(eye)
            line, prism = lens.distance, lens.prism_met(eye)
            numbers = {"add": lens.add or 0.0, "pd": lens.pd_mm, "height": lens.height_mm}
            numbers |= dict(
                zip(("across", "up"), (None, None) if prism is None else prism.vector, strict=True)
            )
            for name, number in numbers.items():
                self.wrote[eye, name] = None if number is None else (float(number),)
            axis = None if line is None else float(line.axis or 180)
            self.wrote[eye, "line"] = None if line is None else (line.sphere, line.cylinder, axis)

    def among(self, fields: list[Field]) -> Any:
        """Log of the share of each of a reader's fields."""
        if len(fields) > len(self._known):
            self._known = np.append(self._known, [self.share(each) for each in fields[len(self._known) :]])
        return self._known

    def of(self, state: hands.State) -> float:
        """Log likelihood of the ticket, field by field."""
        return sum(self.share(Field(*each)) for each in things(state))

    def share(self, field: Field) -> float:
        """Log of the share of the readings that were written as it stands on the ticket."""
        wrote, other = self.wrote[field.eye, field.name], self.wrote["R", field.name]
        if wrote is None:
            return 0.0
        if field.name != "line":
            return smoothed(field.counts[abs(field.met - wrote[0]) < 0.01].sum(), CELLS[field.name])
        # What was copied is the same on the ticket or it was not; an axis that is not written cannot be compared.
        s, c, a = (same and other is not None for same in field.copied)
        a = a and bool(wrote[1] and other[1])
        if any(same and abs(wrote[k] - other[k]) > 0.006 for k, same in enumerate((s, c, a))):
            return float(np.log(1e-8))
        hit = np.ones(field.counts.shape, dtype=bool)
        for same, met, number in ((s, field.met.real, wrote[0]), (c, field.met.imag, wrote[1])):
            hit &= same | (abs(met - number) < 0.0051)
        found = 0.0 if s and c else smoothed(field.counts[hit].sum(), CELLS["line"])
        if wrote[1] and not a:
            off = (field.axes - wrote[2] + 90.0) % 180.0 - 90.0
            near = np.exp(-((off / AXIS_KERNEL) ** 2) / 2.0).sum() / (2.5066 * AXIS_KERNEL)
            found += float(np.log((near + UNSEEN / 180.0) / (off.size + UNSEEN)))
        return found


def smoothed(hits: float, cells: int) -> float:
    """Log of the share of readings that were written so."""
    return float(np.log((hits + UNSEEN / cells) / (MANY + UNSEEN)))


def said(beliefs: dict[tuple[str, ...], float]) -> list[tuple[str, ...]]:
    """What is named together, by the rule that the diagnosis has; nothing where habits are not believed."""
    habits = {names: b for names, b in beliefs.items() if names and not set(names) & set(hands.OUTSIDE)}
    if not habits or sum(habits.values()) < SAID_FROM * sum(beliefs.values()):
        return []
    order = sorted(habits, key=lambda names: -habits[names])[:FURTHEST]
    return [names for names in order if habits[names] >= habits[order[0]] / EVEN]


def beliefs(
    reader: Reader, shares: Shares, style: str, pairs: bool
) -> dict[str, dict[tuple[str, ...], float]]:
    """Likelihood times prior of every rival, by kind."""
    known = hands.costs(style)
    kinds = {
        "honest": (HONEST, [()]),
        "one": (ONE_HABIT, [(each,) for each in known]),
        "two": (TWO_HABITS, list(combinations(known, 2)) if pairs else []),
        "outside": (ONE_ODD + TWO_ODD, [(each,) for each in hands.OUTSIDE]),
    }
    logs = {
        kind: {names: reader.likelihood(names, shares) for names in rivals}
        for kind, (_, rivals) in kinds.items()
    }
    top = max(log for of in logs.values() for log in of.values())
    return {
        kind: {names: kinds[kind][0] * np.exp(log - top) / len(of) for names, log in of.items()}
        for kind, of in logs.items()
    }


def read_perfectly(
    reader: Reader, ticket: Ticket, style: str, kind: str, pairs: bool = True
) -> tuple[list, list]:
    """What is said by one who is told how many habits there are, and by one who is not."""
    found = beliefs(reader, Shares(ticket), style, pairs)
    together = {names: b for of in found.values() for names, b in of.items()}
    return said(found[kind]) if kind in ("one", "two") else [], said(together)


KINDS = ("one", "two", "outside")
OWN = 20
"""Tickets of a habit with which a stranger's is compared."""


def as_a_habit_writes(reader: Reader, ticket: Ticket, style: str, seed: int) -> str:
    """The habit that writes such a ticket as readily as its own; empty where there is none.

    Such is one no less likely under the habit than 19 of 20 tickets that the habit wrote on this pair.
    Whoever knows the habits, and not what a stranger does, accuses a stranger of it or leaves more
    than one in twenty of the habit's own tickets unnamed.
    """
    shares = Shares(ticket)
    logs = {name: reader.likelihood((name,), shares) for name in hands.costs(style)}
    best = max(logs, key=lambda name: logs[name])
    one, honest = logs[best] + np.log(ONE_HABIT / len(logs)), reader.likelihood((), shares) + np.log(HONEST)
    if 1.0 / (1.0 + np.exp(min(honest - one, 50.0))) < SAID_FROM:
        return ""
    own = []
    for number in range(OWN):
        hand = hands.Hand(reader.pair, np.random.default_rng([seed, number]), reader.noise)
        hands.HABITS[best](hand)
        own.append(reader.likelihood((best,), Shares(hand.ticket())))
    return best if logs[best] >= sorted(own)[1] else ""


def figures(many: int, first: int, kinds: list[str]) -> None:
    """Print what the perfect reader names beside what the diagnosis does, and each ticket where it names more."""
    pairs, whole = "two" in kinds, Counter[str]()
    print(f"untold, among the rivals: {'every pair of habits' if pairs else 'no pair of habits'}")
    for style in hands.STYLES:
        readers: dict[int, Reader] = {}
        counts, by_habit = Counter[str](), Counter[str]()
        for kind in kinds:
            for names, seed in hands.tickets(style, many, kind, first):
                ticket, pair = hands.at_work(names, style, seed)
                found = hands.explained(ticket, pair)
                if found is None:
                    continue
                reader = readers.setdefault(id(pair), Reader(pair))
                told, untold = read_perfectly(reader, ticket, style, kind, pairs)
                said_by = {"told": told, "untold": untold, "ours": list(found.either)}
                if kind == "outside":
                    said_by["like"] = like = as_a_habit_writes(reader, ticket, style, seed)
                    hits = {who: bool(each) for who, each in said_by.items()}
                    hits["ours of like"] = bool(like) and hits["ours"]
                    seen, parted = False, hits["ours"] != hits["like"]
                else:
                    hits = {who: set(names) in map(set, each) for who, each in said_by.items()}
                    seen = hands.shows(names, style, seed)
                    parted = (hits["told"] or hits["untold"]) and not hits["ours"]
                for what in (kind, kind + " where each shows") if seen else (kind,):
                    counts[what] += 1
                    counts.update(f"{what}: {who}" for who, hit in hits.items() if hit)
                if kind == "one":
                    by_habit[names[0]] += 1
                    by_habit.update(f"{names[0]}: {who}" for who, hit in hits.items() if hit)
                if parted:
                    hidden = "" if seen or kind == "outside" else " (does not show)"
                    lines = ", ".join(f"{who} {each or 'nothing'}" for who, each in said_by.items())
                    print(f"  {style} {seed} {names}{hidden}: {lines}", flush=True)
        report(style, counts)
        whole.update(counts + by_habit)
    report("all", whole)


def report(style: str, counts: Counter[str]) -> None:
    readers = ("told", "untold", "ours", "like", "ours of like")
    for what in (each for each in counts if ":" not in each):
        met = (f"{who} {counts[key]}" for who in readers if (key := f"{what}: {who}") in counts)
        print(f"{style:14} {what}: of {counts[what]} {', '.join(met)}", flush=True)


if __name__ == "__main__":
    numbers = [int(each) for each in sys.argv[1:] if each.isdigit()]
    many, first, hands.PAIRS = numbers + [6, 1, 8][len(numbers) :]
    figures(many, first, [each for each in KINDS if each in sys.argv] or list(KINDS))
