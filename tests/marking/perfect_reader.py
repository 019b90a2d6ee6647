"""The most that anybody could name: a reader who knows the hands of `noisy_hands` themselves.

Every rival (each habit, every two, honest, each stranger) reads the pair a few hundred times by the
generator's own hand; nothing of the diagnosis is asked. What was left to chance beforehand (which
lens, by how much) is gone through outcome by outcome, each with its weight; for one outcome the
fields of a ticket shake independently, so its likelihood is the product of the shares of the
readings that were written as the ticket has them. Two readers are asked: one is told how many
habits there are (nobody can do better), one only how often each kind is met.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from typing import Any

import noisy_hands as hands
import numpy as np

from optics.marking.diagnosis import (
    EVEN,
    FURTHEST,
    HONEST,
    ONE_HABIT,
    ONE_ODD,
    SAID_FROM,
    TWO_HABITS,
    TWO_ODD,
)
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

    def normal(self, mean: float, deviation: float) -> float:
        places = np.linspace(-2.4, 2.4, 13)
        chances = np.exp(-(places**2) / 2.0)
        return mean + deviation * float(places[self._pick(list(chances / chances.sum()))])


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
    """What every rival would write of one pair."""

    def __init__(self, pair: Specimen, noise: float = 1.0) -> None:
        self.pair, self.noise = pair, noise
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

    def likelihood(self, names: tuple[str, ...], shares: Shares) -> float:
        """Log of the likelihood of a ticket under these habits, in either order."""
        total, most = 0.0, 0
        for weight, state, order in self.states(names):
            total, most = total + weight * np.exp(shares.of(state)), max(most, order)
        if most > 1 and len(names) == 2:
            back = sum(w * np.exp(shares.of(state)) for w, state, _ in self.states(names[::-1]))
            total = (total + back) / 2.0
        return float(np.log(total + 1e-300))


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


class Shares:
    """How often a ticket's numbers are written by a hand that read many times."""

    def __init__(self, ticket: Ticket) -> None:
        self.ticket = ticket
        self._known: dict[tuple, tuple[float, Any]] = {}

    def of(self, state: hands.State) -> float:
        """Log likelihood of the ticket, field by field."""
        found = 0.0
        for eye, entry in state.items():
            lens = self.ticket.of(eye)
            found += self._line(eye, entry["line"], state["R"]["line"] if eye == "L" else [None] * 3)
            if "add" in entry:
                found += self._number("add", entry["add"], lens.add, 40)
            prism = lens.prism_met(eye)
            if prism is not None:
                found += self._prism(entry["prism"], np.asarray(prism.vector))
            for name, wrote in (("pd", lens.pd_mm), ("height", lens.height_mm)):
                if name in entry and wrote is not None:
                    found += self._number(name, entry[name], wrote, 100)
        return found

    def _kept(self, key: tuple, value: Any, share: Any) -> float:
        if key not in self._known:
            self._known[key] = share(), value
        return self._known[key][0]

    def _number(self, name: str, values: Any, wrote: float | None, cells: int) -> float:
        def share() -> float:
            if name == "add":
                hit = values <= 0 if wrote is None else abs(values - wrote) < 0.006
            else:
                ruled = np.floor(values / RULE_STEP_MM + 0.5) * RULE_STEP_MM
                hit = abs(np.where(values < 9.95, np.round(values, 1), ruled) - wrote) < 0.01
            return smoothed(hit, cells)

        return self._kept((name, wrote, id(values)), values, share)

    def _prism(self, values: Any, wrote: Any) -> float:
        def share() -> float:
            ruled = np.sign(values) * np.floor(abs(values) / RING_STEP + 0.5) * RING_STEP
            return sum(smoothed(abs(ruled[..., k] - wrote[k]) < 0.01, 40) for k in (0, 1))

        return self._kept(("prism", tuple(wrote), id(values)), values, share)

    def _line(self, eye: str, line: list, across: list) -> float:
        """Sphere and cylinder together, then the axis; what was copied is the same or it was not."""
        wrote, there = (self.ticket.of(each).distance for each in (eye, "R"))
        if wrote is None or there is None:
            return 0.0
        mine, theirs = (
            (each.sphere, each.cylinder, float(each.axis or 180) if each.cylinder else 180.0)
            for each in (wrote, there)
        )
        copied = [one is two for one, two in zip(line, across, strict=True)]
        if any(c and abs(one - two) > 0.006 for c, one, two in zip(copied, mine, theirs, strict=True)):
            return float(np.log(1e-8))

        def share() -> float:
            s, c, a = np.broadcast_arrays(*line)
            hit = np.ones(s.shape, dtype=bool)
            for values, number, same in zip((s, np.where(abs(c) < 0.01, 0.0, c)), mine, copied, strict=False):
                if not same:
                    hit = hit & (abs(values - number) < 0.0051)
            found = smoothed(hit, 400) if not all(copied[:2]) else 0.0
            if wrote.cylinder and not copied[2]:
                off = (a[abs(c) >= 0.01] - mine[2] + 90.0) % 180.0 - 90.0
                near = np.exp(-((off / AXIS_KERNEL) ** 2) / 2.0).sum() / (2.5066 * AXIS_KERNEL)
                found += float(np.log((near + UNSEEN / 180.0) / (off.size + UNSEEN)))
            return found

        key = ("line", mine, tuple(copied), *map(id, line))
        return self._kept(key, line, share)


def smoothed(hit: Any, cells: int) -> float:
    """Log of the share of readings that were written so."""
    hit = np.asarray(hit)
    return float(np.log((hit.sum() + UNSEEN / cells) / (hit.size + UNSEEN)))


def said(beliefs: dict[tuple[str, ...], float]) -> list[tuple[str, ...]]:
    """What is named together, by the rule that the diagnosis has; nothing where habits are not believed."""
    habits = {names: b for names, b in beliefs.items() if names and not set(names) & set(hands.OUTSIDE)}
    if not habits or sum(habits.values()) < SAID_FROM * sum(beliefs.values()):
        return []
    order = sorted(habits, key=lambda names: -habits[names])[:FURTHEST]
    return [names for names in order if habits[names] >= habits[order[0]] / EVEN]


def beliefs(reader: Reader, ticket: Ticket, style: str) -> dict[str, dict[tuple[str, ...], float]]:
    """Likelihood times prior of every rival, by kind."""
    shares, known = Shares(ticket), hands.costs(style)
    kinds = {
        "honest": (HONEST, [()]),
        "one": (ONE_HABIT, [(each,) for each in known]),
        "two": (TWO_HABITS, list(combinations(known, 2))),
        "outside": (ONE_ODD + TWO_ODD, [(each,) for each in hands.OUTSIDE]),
    }
    logs = {
        kind: {names: reader.likelihood(names, shares) for names in rivals}
        for kind, (_, rivals) in kinds.items()
    }
    top = max(max(each.values()) for each in logs.values())
    return {
        kind: {names: kinds[kind][0] * np.exp(log - top) / len(of) for names, log in of.items()}
        for kind, of in logs.items()
    }


def read_perfectly(reader: Reader, ticket: Ticket, style: str, kind: str) -> tuple[list, list]:
    """What is said by one who is told how many habits there are, and by one who is not."""
    found = beliefs(reader, ticket, style)
    together = {names: b for of in found.values() for names, b in of.items()}
    return said(found[kind]) if kind in ("one", "two") else [], said(together)


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


def strangers(many: int, first: int) -> None:
    """Print how many strangers write what a habit of the catalogue writes, beside how many are accused."""
    for style in hands.STYLES:
        readers: dict[int, Reader] = {}
        counts: Counter[str] = Counter()
        for names, seed in hands.tickets(style, many, "outside", first):
            ticket, pair = hands.at_work(names, style, seed)
            found = hands.explained(ticket, pair)
            counts["all"] += 1
            if found is None:
                continue
            like = as_a_habit_writes(readers.setdefault(id(pair), Reader(pair)), ticket, style, seed)
            counts.update(
                name for name, so in (("like", like), ("ours", found), ("both", like and found)) if so
            )
            if bool(found) != bool(like):
                print(f"  {style} {seed} {names}: like {like or 'none'}, ours {found.either}", flush=True)
        print(
            f"{style:14} strangers {counts['all']}: written as a habit writes {counts['like']}, "
            f"accused {counts['ours']}, of these written so {counts['both']}",
            flush=True,
        )


def figures(many: int, first: int) -> None:
    """Print what the perfect reader names beside what the diagnosis does, and each ticket they part on."""
    for style in hands.STYLES:
        readers: dict[int, Reader] = {}
        counts: Counter[str] = Counter()
        for kind in ("one", "two", "outside"):
            for names, seed in hands.tickets(style, many, kind, first):
                ticket, pair = hands.at_work(names, style, seed)
                found = hands.explained(ticket, pair)
                if found is None:
                    continue
                told, untold = read_perfectly(readers.setdefault(id(pair), Reader(pair)), ticket, style, kind)
                ours = [] if found is None else list(found.either)
                hits = {
                    who: bool(each) if kind == "outside" else set(names) in map(set, each)
                    for who, each in (("told", told), ("untold", untold), ("ours", ours))
                }
                seen = kind != "outside" and hands.shows(names, style, seed)
                for what in (kind, kind + " where each shows") if seen else (kind,):
                    counts[what] += 1
                    counts.update(f"{what} {who}" for who, hit in hits.items() if hit)
                if hits["ours"] != hits["untold"] or hits["told"] > hits["ours"]:
                    print(f"  {style} {seed} {names}: told {told}, untold {untold}, ours {ours}", flush=True)
        for what in (each for each in counts if not each.endswith(("told", "ours"))):
            share = ", ".join(f"{who} {counts[f'{what} {who}']}" for who in ("told", "untold", "ours"))
            print(f"{style:14} {what}: of {counts[what]} {share}", flush=True)


if __name__ == "__main__":
    hands.PAIRS = int(sys.argv[3]) if len(sys.argv) > 3 else 8
    many, first = (int(sys.argv[at]) if len(sys.argv) > at else usual for at, usual in ((1, 6), (2, 1)))
    (strangers if "strangers" in sys.argv else figures)(many, first)
