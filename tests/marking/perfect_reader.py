"""The most that anybody could name: a reader who knows the hands of `noisy_hands` themselves.

Every rival (each habit, every two, honest, each stranger) reads the pair a few hundred times by the
generator's own hand; nothing of the diagnosis is asked. What was left to chance beforehand (which
lens, by how much) is gone through outcome by outcome, each with its weight; for one outcome the
fields of a ticket shake independently, so its likelihood is the product of the shares of the
readings that were written as the ticket has them. What a rival writes of a pair is worked out once
for all tickets on that pair. Run as a script it prints the figures, for so many tickets a style of
each kind of hands that is asked for:

    python tests/marking/perfect_reader.py [first seed] [pairs a style] [one=250] [two=75] [outside=75] [honest=75]

Two readers are asked: one is told how many habits there are (nobody can do better), one only how
often each kind is met; and beside them, on the same tickets, the diagnosis. What is named together
is counted by the diagnosis's own rule for all three. Without `two` no pair of habits is among the
rivals of the one who is not told, which is much quicker where there are many pairs of spectacles
and lets that reader name a few more single habits. For strangers it is counted how many write as a
habit writes.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from typing import Any, NamedTuple

import noisy_hands as hands
import numpy as np
from scipy.special import ndtri

from optics.marking.diagnosis import (
    HONEST,
    ONE_HABIT,
    ONE_ODD,
    SAID_FROM,
    TWO_HABITS,
    TWO_ODD,
    _smaller_first,
)
from optics.marking.explanations import Diagnosis, Explanation
from optics.marking.read import Ticket
from optics.specimens.specimen import Specimen
from optics.specimens.steps import RING_STEP, RULE_STEP_MM

MANY = 500
"""Readings of each rival; they lie evenly, so that a share of 1 in 100 is known to within a few parts of a hundred."""
SPREAD = {1: 8, 2: 4}
"""What is drawn evenly from a range is gone through in so many places, by the number of habits."""
AXIS_KERNEL = 0.4
"""Width of the kernel over whole degrees of axis: hardly more than the degree itself."""
COPIED = 10**6
"""Stands for a power that was copied, and so is what stands on the ticket of the other lens."""
FEW, FEW_KERNEL = 60, 4.0
"""Of fewer axes than that the kernel is wide: the noise has made a cylinder where there is none."""
UNSEEN = 0.3
"""What was never written counts as so much of one reading, spread over all that can be written."""
LAST_WINS = (
    {"addition read from the back", "sides mixed for the addition"},
    {"wrong chart", "askew chart"},
)
"""Of these two the hand does the later one alone."""
PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71)


class Evenly:
    """Shakes that lie as evenly as they can, each by itself and any two together."""

    def __init__(self, begun: int = 0) -> None:
        self.drawn = begun

    def normal(self, mean: float, deviation: float, many: int = MANY) -> Any:
        along = np.arange(many) * np.sqrt(PRIMES[self.drawn]) % 1.0
        self.drawn += 1
        return mean + deviation * ndtri((along.argsort().argsort() + 0.5) / many)


class Dice:
    """Some number between 0 and 1, of which it is only asked whether it is less than another."""

    def __init__(self, chance: Outcomes) -> None:
        self.chance = chance

    def __lt__(self, other: float) -> bool:
        return self.chance.pick([other, 1.0 - other]) == 0


class Outcomes:
    """Stands in for a random generator: goes the way it is told wherever something is left to chance."""

    def __init__(self, path: list[int], spread: int) -> None:
        self.path, self.weights, self.sizes, self.spread = path, [], [], spread
        self.shaken = Evenly(len(PRIMES) - 2)

    def pick(self, chances: list[float]) -> int:
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
        return list(counted)[self.pick([each / len(options) for each in counted.values()])]

    def integers(self, low: int, high: int | None = None) -> int:
        low, high = (0, low) if high is None else (low, high)
        return low + self.pick([1.0 / (high - low)] * (high - low))

    def random(self) -> Any:
        return Dice(self)

    def uniform(self, low: float, high: float) -> float:
        return low + (high - low) * (self.pick([1.0 / self.spread] * self.spread) + 0.5) / self.spread

    def normal(self, mean: float, deviation: float) -> Any:
        """One draw for each reading: what shakes one number alone needs no outcomes of its own."""
        return self.shaken.normal(mean, deviation)


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
        self._alike: dict[Any, Any] = {}

    def hand(self, chance: Outcomes, names: tuple[str, ...]) -> hands.Hand:
        found = _Told(self.pair, chance, self.noise, self._met)
        for name in hands.in_order(names):
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
            if len(names) == 2 and ({*names} in LAST_WINS or max(order for _, _, order in ways) > 1):
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
                self.fields.append(Field(eye, name, *read, alike=self._alike))
            row.append(self._number[key])
        return row

    def likelihood(self, names: tuple[str, ...], shares: Shares) -> tuple[float, float]:
        """Log of the likelihood of a ticket under these habits, and of what fits it best of all they lead to."""
        logs, rows = self.rival(names)
        fits = shares.among(self.fields, rows).sum(axis=1)
        return float(np.logaddexp.reduce(logs + fits)), float(fits.max())


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
        super().__init__(pair, np.random.default_rng(77), noise, MANY)
        self.rng, self.known, self.steady = chance, known, Evenly()

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
    """One thing that is written of a lens, over many readings: of a line every reading, of a number how often."""

    def __init__(self, eye: str, name: str, *read: Any, alike: dict[Any, Any] | None = None) -> None:
        self.eye, self.name, self.copied = eye, name, (False,) * 3
        if name != "line":
            self.met, self.counts = np.unique(
                as_written(name, np.broadcast_to(read[0], MANY)), return_counts=True
            )
            return
        s, c, a, signless, *across = (np.broadcast_to(each, MANY) for each in read)
        if across:
            same = zip((s, c, a), across, strict=True)
            self.copied = tuple(bool(np.ptp(one)) and np.array_equal(one, two) for one, two in same)
        # Thousandths and whole degrees; what was copied needs no number of its own.
        powers = np.round([1000.0 * s, 1000.0 * c, signless & (s > 0)]).astype(np.int32)
        powers[:2][list(self.copied[:2])] = COPIED
        axes = (np.round(a) % 180).astype(np.int16)
        kept = {} if alike is None else alike
        # What stands in many lines is kept once, and worked out once for a ticket.
        self.powers, self.axes = (
            kept.setdefault((each.size, each.tobytes()), each) for each in (powers, axes)
        )
        self.turned = abs(c) > 0.01


def as_written(name: str, values: Any) -> Any:
    if name == "add":
        return np.maximum(values, 0.0)
    if name in ("across", "up"):
        return np.sign(values) * np.floor(abs(values) / RING_STEP + 0.5) * RING_STEP
    return np.where(values < 9.95, np.round(values, 1), np.floor(values / RULE_STEP_MM + 0.5) * RULE_STEP_MM)


def things(state: hands.State) -> Iterator[tuple]:
    """What `Field` asks for, for everything on the ticket; a left line goes with the right one."""
    for eye, entry in state.items():
        signless = entry.get("signless", False)
        yield eye, "line", *entry["line"], signless, *(state["R"]["line"] if eye == "L" else ())
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
        self._asked: dict[tuple[str, int], Any] = {}
        for eye in "RL":
            lens = ticket.of(eye)
            line, prism = lens.distance, lens.prism_met(eye)
            numbers = {"add": lens.add or 0.0, "pd": lens.pd_mm, "height": lens.height_mm}
            numbers |= dict(
                zip(("across", "up"), (None, None) if prism is None else prism.vector, strict=True)
            )
            for name, number in numbers.items():
                self.wrote[eye, name] = None if number is None else (float(number),)
            typed = ticket.written(eye).strip()
            self.wrote[eye, "line"] = (
                None
                if line is None
                else (
                    *(line.sphere, line.cylinder, float(line.axis or 180)),
                    float(typed[0] not in "+-"),
                )
            )

    def among(self, fields: list[Field], rows: Any) -> Any:
        """Log of the share of each of a reader's fields that stands in these rows."""
        if len(fields) > len(self._known):
            self._known = np.append(self._known, np.full(len(fields) - len(self._known), np.nan))
        found = self._known[rows]
        for at in np.unique(rows[np.isnan(found)]):
            self._known[at] = self.share(fields[at])
        return self._known[rows]

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
        hit = self._once(field.eye, field.powers, lambda met: self._powers(met, wrote))
        cells = 1 if s and c else CELLS["line"]
        if a or not wrote[1]:
            return smoothed(np.count_nonzero(hit), cells)
        # Which reading was taken for the first turns the axis by 90 and changes the powers with it.
        near, close, about = self._once(field.eye, field.axes, lambda met: axes_about(met, wrote[2]))
        turned = near & field.turned
        few = np.count_nonzero(turned) < FEW
        return smoothed(np.count_nonzero(hit & near), cells) + spread((about if few else close)[turned])

    def _once(self, eye: str, met: Any, work: Any) -> Any:
        key = eye, id(met)
        if key not in self._asked:
            # Kept with the numbers themselves, so that no others can come to have their id.
            self._asked[key] = work(met), met
        return self._asked[key][0]

    @staticmethod
    def _powers(met: Any, wrote: tuple[float, ...]) -> Any:
        hit = met[2] == wrote[3]
        for numbers, number in zip(met[:2], wrote[:2], strict=True):
            hit = hit & ((numbers == COPIED) | (abs(numbers - 1000.0 * number) < 5.1))
        return hit


def axes_about(met: Any, wrote: float) -> tuple[Any, Any, Any]:
    """Which axes are no right angle away from the one that was written, and how close each is to it."""
    off = abs((met - wrote + 90.0) % 180.0 - 90.0)
    close, about = (
        np.exp(-((off / width) ** 2) / 2.0) / degrees(width) for width in (AXIS_KERNEL, FEW_KERNEL)
    )
    return off < 45.0, close, about


def degrees(width: float) -> float:
    """A kernel's sum over all whole degrees."""
    return float(np.exp(-((np.arange(-45, 46) / width) ** 2) / 2.0).sum())


def spread(kernel: Any) -> float:
    """Log of the share of axes that were written so."""
    return float(np.log((kernel.sum() + UNSEEN / 180.0) / (kernel.size + UNSEEN)))


def smoothed(hits: float, cells: int) -> float:
    """Log of the share of readings that were written so."""
    return float(np.log((hits + UNSEEN / cells) / (MANY + UNSEEN)))


class Belief(NamedTuple):
    """How likely a rival is, before anything is shared out, and how well what it leads to can fit (log)."""

    weight: float
    fit: float


def said(beliefs: dict[tuple[str, ...], Belief]) -> list[tuple[str, ...]]:
    """What is named together, by the rule that the diagnosis has; nothing where habits are not believed."""
    whole = sum(each.weight for each in beliefs.values())
    habits = {names: each for names, each in beliefs.items() if names and not {*names} & {*hands.OUTSIDE}}
    if not habits or sum(each.weight for each in habits.values()) < SAID_FROM * whole:
        return []
    order = sorted(habits, key=lambda names: -habits[names].weight)[:8]
    ranked = [Explanation(names, habits[names].weight / whole, fit=habits[names].fit) for names in order]
    return [each.slips for each in Diagnosis(ranked=_smaller_first(ranked)).ties]


def beliefs(
    reader: Reader, shares: Shares, style: str, pairs: bool
) -> dict[str, dict[tuple[str, ...], Belief]]:
    """Likelihood times prior of every rival, by kind."""
    known = hands.costs(style)
    kinds = {
        "honest": (HONEST, [()]),
        "one": (ONE_HABIT, [(each,) for each in known]),
        "two": (TWO_HABITS, list(combinations(known, 2)) if pairs else []),
        "outside": (ONE_ODD + TWO_ODD, [(each,) for each in hands.OUTSIDE]),
    }
    found = {
        kind: {names: reader.likelihood(names, shares) for names in rivals}
        for kind, (_, rivals) in kinds.items()
    }
    top = max(log for of in found.values() for log, _ in of.values())
    return {
        kind: {
            names: Belief(kinds[kind][0] * np.exp(log - top) / len(of), fit)
            for names, (log, fit) in of.items()
        }
        for kind, of in found.items()
    }


KINDS = ("one", "two", "outside", "honest")
OWN = 20
"""Tickets of a habit with which a stranger's is compared."""


def as_a_habit_writes(reader: Reader, ticket: Ticket, style: str, seed: int) -> str:
    """The habit that writes such a ticket as readily as its own; empty where there is none.

    Such is one no less likely under the habit than 19 of 20 tickets that the habit wrote on this pair.
    Whoever knows the habits, and not what a stranger does, accuses a stranger of it or leaves more
    than one in twenty of the habit's own tickets unnamed.
    """
    shares = Shares(ticket)
    logs = {name: reader.likelihood((name,), shares)[0] for name in hands.costs(style)}
    best = max(logs, key=lambda name: logs[name])
    one, honest = (
        logs[best] + np.log(ONE_HABIT / len(logs)),
        reader.likelihood((), shares)[0] + np.log(HONEST),
    )
    if 1.0 / (1.0 + np.exp(min(honest - one, 50.0))) < SAID_FROM:
        return ""
    own = []
    for number in range(OWN):
        hand = hands.Hand(reader.pair, np.random.default_rng([seed, number]), reader.noise)
        hands.HABITS[best](hand)
        own.append(reader.likelihood((best,), Shares(hand.ticket()))[0])
    return best if logs[best] >= sorted(own)[1] else ""


class Count:
    """Who names how many of what."""

    def __init__(self) -> None:
        self.of, self.by, self.habits = Counter[str](), Counter[tuple[str, str]](), set[str]()

    def add(self, what: str, hits: dict[str, bool]) -> None:
        self.of[what] += 1
        self.by.update((what, who) for who, hit in hits.items() if hit)

    def line(self, what: str) -> str:
        met = [who for who in READERS if what in ("outside",) or who in READERS[:3]]
        return f"of {self.of[what]} " + ", ".join(f"{who} {self.by[what, who]}" for who in met)

    def report(self) -> None:
        """Each kind of hands, and each habit by itself, the worst differences first."""
        for what in sorted({*self.of} - self.habits):
            print(f"{what}: {self.line(what)}")

        def short(name: str) -> tuple[int, int]:
            untold, told = (self.by[name, who] - self.by[name, "ours"] for who in ("untold", "told"))
            return -untold, -told

        for name in sorted(self.habits, key=short):
            print(f"    {name}: {self.line(name)}")
        sys.stdout.flush()


READERS = ("told", "untold", "ours", "like", "ours of like")


def figures(many: dict[str, int], first: int) -> None:
    """Print what the perfect reader names beside what the diagnosis does, and each ticket where they part.

    Pair of spectacles by pair, since what is worked out of one is much.
    """
    pairs, count = "two" in many, Count()
    print(f"untold, among the rivals: {'every pair of habits' if pairs else 'no pair of habits'}")
    work: dict[tuple[int, str], list[tuple[str, tuple[str, ...], int]]] = {}
    for style in hands.STYLES:
        for kind, tickets in many.items():
            for names, seed in hands.tickets(style, tickets, kind, first):
                number = hands.begun(style, seed)[1]
                work.setdefault((number, style), []).append((kind, names, seed))
    for (_, style), given in sorted(work.items()):
        reader: Reader | None = None
        for kind, names, seed in given:
            ticket, pair = hands.at_work(names, style, seed)
            reader = reader or Reader(pair)
            one_ticket(reader, ticket, style, kind, names, seed, pairs, count)
        count.report()


def one_ticket(
    reader: Reader,
    ticket: Ticket,
    style: str,
    kind: str,
    names: tuple[str, ...],
    seed: int,
    pairs: bool,
    count: Count,
) -> None:
    """Ask all three, count who names it and tell where they part."""
    found = hands.explained(ticket, reader.pair)
    if found is None:
        # No mark is lost, so nobody asks; strangers and the honest are not accused.
        if kind in ("outside", "honest"):
            count.add(kind, {})
        return
    believed = beliefs(reader, Shares(ticket), style, pairs)
    together = {each: belief for of in believed.values() for each, belief in of.items()}
    told = said(believed[kind]) if kind in ("one", "two") else []
    said_by: dict[str, Any] = {"told": told, "untold": said(together), "ours": list(found.either)}
    hidden = ""
    if kind in ("outside", "honest"):
        if kind == "outside":
            said_by["like"] = as_a_habit_writes(reader, ticket, style, seed)
        hits = {who: bool(each) for who, each in said_by.items()}
        hits["ours of like"] = hits["ours"] and bool(said_by.get("like"))
        parted = hits["ours"] != hits["untold"]
    else:
        hits = {who: {*names} in map(set, each) for who, each in said_by.items()}
        parted = hits["ours"] != hits["untold"] or (hits["told"] and not hits["ours"])
        if hands.shows(names, style, seed):
            count.add(f"{kind} where each shows", hits)
        else:
            hidden = " (does not show)"
    count.add(kind, hits)
    if kind == "one":
        count.habits.add(names[0])
        count.add(names[0], hits)
    if parted:
        whole = sum(each.weight for each in together.values())
        likeliest = sorted(together, key=lambda each: -together[each].weight)[:4]
        knows = ", ".join(
            f"{' + '.join(each) or 'honest'} {together[each].weight / whole:.3f}" for each in likeliest
        )
        ours = ", ".join(
            f"{' + '.join(one.name for one in each.slips)} {each.posterior:.3f}" for each in found.ranked[:4]
        )
        which = "/".join(who for who, hit in hits.items() if hit) or "nobody"
        print(f"  {kind} {style} {seed} {names}{hidden}: named by {which}")
        print(f"      untold believes {knows}")
        print(
            f"      ours honest {found.honest:.3f}, unexplained {found.unexplained:.3f}; {ours}", flush=True
        )


if __name__ == "__main__":
    numbers = [int(each) for each in sys.argv[1:] if each.isdigit()]
    first, hands.PAIRS = numbers + [1, 8][len(numbers) :]
    asked = dict(each.split("=") for each in sys.argv[1:] if "=" in each) or dict.fromkeys(KINDS, "40")
    figures({kind: int(asked[kind]) for kind in KINDS if kind in asked}, first)
