"""Apprentices who read with noise, settle and then write; never filtered, and strangers among them.

Made apart from the diagnosis: the pair is asked here again, places are worked out here, and
every habit is done by hand on the readings. Run as a script it prints the figures:

    python tests/marking/noisy_hands.py [tickets a style] [first seed] [pairs a style]

`perfect_reader.py` prints what nobody could better on such tickets.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from optics.judging.settling import columns
from optics.lens.angles import whole_axis
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.marking.diagnosis import Diagnosis, diagnose
from optics.marking.marks import mark_pair
from optics.marking.read import Ticket, read_answer
from optics.specimens.briefs import STYLES, brief_for
from optics.specimens.specimen import Specimen, make
from optics.specimens.steps import by_rule, on_the_rings, prism_words

POWER_SD, LENGTH_SD, PRISM_SD = 0.05, 0.4, 0.1
PAIRS = 40
"""Pairs of each style from which a ticket's is drawn."""
SIDE = {"R": "right", "L": "left"}
State = dict[str, dict]


@lru_cache(maxsize=400)
def pair_of(style: str, seed: int) -> Specimen:
    return make(replace(brief_for(style, 2 + seed % 3, seed), faulty=0.0, condition=()), seed)


class Hand:
    """Somebody at work: what they read is a lens's own power, its noise and their habits.

    With `many` the same hand reads the pair so often, side by side, and has an array for each number.
    """

    def __init__(
        self, pair: Specimen, rng: np.random.Generator, noise: float = 1.0, many: int | None = None
    ) -> None:
        self.pair, self.rng, self.noise, self.many = pair, rng, noise, many
        # The hand shakes alike whatever the habits are, so that one can see whether each shows.
        self.steady = np.random.default_rng(int(rng.integers(1 << 30)))
        self.place: dict[str, tuple[float, float]] = {}
        self.moved, self.side, self.add_side = dict.fromkeys("RL", 0.0), dict.fromkeys("RL", "back"), ""
        self.prism_centre = self.total = self.away = self.apart = self.swap = False
        self.near_up = 0.0
        # Where the ink stands, where it was put on from a chart: of each lens, by what is read there.
        self.ink: dict[str, dict[str, tuple[float, float]]] = {}
        self.lines: list[Callable] = []
        self.fields: list[Callable] = []

    def shake(self, deviation: float) -> Any:
        return self.steady.normal(0.0, deviation * self.noise, self.many)

    def met(self, eye: str, at: tuple[float, float], side: str = "back"):
        return self.pair.spectacles.mounted(eye).lens.over_stop(*at, side)

    def far(self, eye: str) -> tuple[float, float] | None:
        inked = self.ink.get(eye, {}).get("distance")
        return inked or self.place.get(eye) or self.pair.lens_point_mm(eye, "distance")

    def line(self, eye: str) -> list:
        """First power, second power and axis, as drum and wheel stood."""
        of = {"R": "L", "L": "R"}[eye] if self.swap else eye
        at = self.far(of) or (0.0, 0.0)
        s, c, a = map(float, self.met(of, at, self.side[eye]).read.sphere_cylinder())
        spread = min(max(1.7 / max(abs(c), 0.17), 1.0), 10.0)
        one, two = (p + self.moved[eye] + self.shake(POWER_SD) for p in (s, s + c))
        axis = a + self.shake(spread)
        one, two, axis = np.maximum(one, two), np.minimum(one, two), axis + 90.0 * (two > one)
        return [one, two - one, (axis - 1e-9) % 180.0]

    def settled(self, read: list) -> list:
        s, c, a = read
        if self.away:
            up = [np.sign(p) * np.ceil(abs(p) * 4 - 1e-9) / 4 for p in (s, s + c)]
            return [up[0], np.minimum(up[1] - up[0], 0.0), a]
        if self.apart:
            return [np.round(s * 4) / 4 + 0.0, np.round(c * 4) / 4 + 0.0, a]
        line = columns(Power.from_sphere_cylinder(s, c, a))
        up, down = line.higher[..., 0], line.lower[..., 0]
        return [up, down - up, np.where(up == down, 180.0, whole_axis(np.round(a, 6)))]

    def ticket(self) -> Ticket:
        """The ticket they write."""
        return read_answer(self.written(self.changed(self.readings())), "minus")

    def readings(self) -> State:
        """What they read and settled, lens by lens."""
        pair, state = self.pair, {}
        for eye in "RL":
            of = {"R": "L", "L": "R"}[eye] if self.swap else eye
            entry: dict = {"line": self.settled(self.line(eye))}
            side = pair.addition_side(of)
            if side is not None:
                side = {"front": "back", "back": "front"}[side] if self.add_side else side
                far = self.far(of)
                x, y = self.ink.get(of, {}).get("near") or pair.lens_point_mm(of, "near")
                near = self.met(of, (x, y + self.near_up), side).read
                other = {"front": "back", "back": "front"}[side]
                got = float(
                    near.mean - self.met(of, far, other if self.add_side == "mixed" else side).read.mean
                )
                if self.total:
                    got = float(near.sphere_cylinder()[0])
                entry["add"] = np.round((got + self.shake(POWER_SD * 1.414)) * 4) / 4
                entry["height"] = pair.height_mm(eye) + self.shake(LENGTH_SD)
            at = self.ink.get(of, {}).get("prism", (0.0, 0.0))
            if self.prism_centre:
                (x, y), (mx, my) = (
                    pair.spectacles.reference_point_mm(of),
                    pair.frame.boxing_centre_mm(of),
                )
                at = (mx - x, my - y)
            shaken = np.stack([self.shake(PRISM_SD), self.shake(PRISM_SD)], axis=-1)
            entry["prism"] = self.met(of, at).prism.vector + shaken
            entry["pd"] = pair.pd_mm(eye) + self.shake(LENGTH_SD)
            if eye in self.ink:
                (x, y), own = self.ink[eye]["cross"], pair.lens_point_mm(eye, "height")
                entry["pd"] += -x if eye == "R" else x
                entry["height"] += y - own[1]
            state[eye] = entry
        return state

    def changed(self, state: State) -> State:
        """What becomes of it on the way to the ticket."""
        for change in (*self.lines, *self.fields):
            change(state)
        return state

    def written(self, state: State) -> dict[str, str]:
        made = {"style": self.pair.style}
        for eye, side in SIDE.items():
            entry = state[eye]
            s, c, a = map(float, entry["line"])
            axis = round(a) % 180
            sphere = f"{s:+.2f}"[int(bool(entry.get("signless", False)) and s > 0) :]
            made[side] = f"{sphere} DS" if abs(c) < 0.01 else f"{sphere} {c:+.2f} x {axis or 180:03d}"
            made[f"prism_{side}"] = prism_words(on_the_rings(Prism(entry["prism"]), eye)) or "no prism"
            for name in ("pd", "height"):
                if name in entry:
                    value = float(entry[name])
                    made[f"{name}_{side}"] = f"{value:.1f}" if value < 10 else f"{by_rule(value):g}"
            if entry.get("add", 0.0) > 0:
                made[f"add_{side}"] = f"{entry['add']:+.2f}"
        return made


# --- habits of the catalogue, done by hand -----------------------------------------------------


def _on_lines(change: Callable) -> Callable:
    """Done with both lenses, at times with one."""

    def begin(hand: Hand) -> None:
        eyes = str(hand.rng.choice(["RL", "RL", "RL", "R", "L"]))

        def all_lines(state: State) -> None:
            for eye in eyes:
                state[eye]["line"] = list(change(*state[eye]["line"]))

        hand.lines.append(all_lines)

    return begin


def _on_fields(change: Callable) -> Callable:
    return lambda hand: hand.fields.append(lambda state: change(hand, state))


def _each(name: str, made: Callable) -> Callable:
    def change(hand: Hand, state: State) -> None:
        for entry in state.values():
            if name in entry:
                entry[name] = made(hand, entry[name])

    return _on_fields(change)


def _with(**settings: object) -> Callable:
    return lambda hand: [setattr(hand, name, value) for name, value in settings.items()]


def _c(change: Callable) -> Callable:
    """Only where there is a cylinder."""
    return lambda s, c, a: [
        np.where(c, new, old) for new, old in zip(change(s, c, a), (s, c, a), strict=True)
    ]


def _digits(s: float, c: float, a: float) -> tuple:
    whole = np.round(a)
    made = whole // 100 * 100 + whole % 10 * 10 + whole // 10 % 10
    return (s, c, np.where((made >= 1) & (made <= 180), made, a))


def _eyepiece(hand: Hand) -> None:
    by = float(hand.rng.choice([-1, 1]) * hand.rng.uniform(0.25, 0.62))
    eyes = hand.rng.choice(["RL", "RL", "R"])
    hand.moved |= dict.fromkeys(str(eyes), by)


def _unmarked(hand: Hand) -> None:
    for eye in "RL":
        x, y = hand.pair.spectacles.reference_point_mm(eye)
        middle = hand.pair.frame.boxing_centre_mm(eye)
        hand.place[eye] = (middle[0] - x, middle[1] - y)


DESIGNS = {"Hb2": (4, 14, 2.5), "Hb4": (2, 11, 2.5), "Hb6": (0, 15, 2), "Hb8": (6, 13, 3)}
"""Fitting cross, corridor and inset of each sign, as `datasets/charts/designs.csv` has them."""


def _put_on(hand: Hand, eye: str, sign: str, across: float, up: float, turned: float) -> None:
    """Ink from a chart; across is towards the nose."""
    cross, corridor, inset = DESIGNS[sign]
    towards, turn = (1.0 if eye == "R" else -1.0), np.deg2rad(turned)
    printed = {
        "distance": (0.0, cross + 4.0),
        "cross": (0.0, cross),
        "prism": (0.0, 0.0),
        "near": (towards * inset, cross - corridor - 2.0),
    }
    hand.ink[eye] = {
        part: (
            towards * across + x * np.cos(turn) - y * np.sin(turn),
            up + x * np.sin(turn) + y * np.cos(turn),
        )
        for part, (x, y) in printed.items()
    }


def _wrong_chart(hand: Hand) -> None:
    own = {hand.pair.spectacles.mounted(eye).lens.sign for eye in "RL"}
    sign = str(hand.rng.choice([each for each in DESIGNS if each not in own]))
    for eye in "RL":
        _put_on(hand, eye, sign, 0.0, 0.0, 0.0)


def _askew_chart(hand: Hand) -> None:
    """Off the rings by two to four millimetres, or turned by eight to fourteen degrees."""
    way = int(hand.rng.integers(3))
    off = [0.0, 0.0, 0.0]
    off[way] = float(hand.rng.uniform(*((2.0, 4.0) if way < 2 else (8.0, 14.0))))
    sign = float(hand.rng.choice([-1.0, 1.0]))
    for eye in "RL":
        _put_on(hand, eye, hand.pair.spectacles.mounted(eye).lens.sign, *(sign * each for each in off))


def _copied(what: slice) -> Callable:
    def change(hand: Hand, state: State) -> None:
        one, other = ("R", "L") if hand.rng.random() < 0.5 else ("L", "R")
        state[one]["line"][what] = state[other]["line"][what]

    return _on_fields(change)


def _reversed(both: bool) -> Callable:
    def change(hand: Hand, state: State) -> None:
        for eye in "RL" if both else hand.rng.choice(["R", "L"]):
            state[eye]["prism"] = state[eye]["prism"] * [-1.0, 1.0]

    return _on_fields(change)


def _in_one(hand: Hand, state: State) -> None:
    one, other = ("R", "L") if hand.rng.random() < 0.5 else ("L", "R")
    state[one]["prism"] = state[one]["prism"] - state[other]["prism"]
    state[other]["prism"] = np.zeros(2)


def _to_reference(hand: Hand, state: State) -> None:
    for eye, entry in state.items():
        if "height" in entry:
            own = hand.pair.lens_point_mm(eye, "height")
            entry["height"] = entry["height"] - own[1]


def _exchange(hand: Hand) -> None:
    hand.swap = True


def _dioptre(hand: Hand) -> None:
    by = float(hand.rng.choice([-1, 1]))
    eyes = str(hand.rng.choice(["RL", "R", "L"]))

    def change(state: State) -> None:
        for eye in eyes:
            state[eye]["line"][0] = state[eye]["line"][0] + by

    hand.lines.append(change)


def _no_sign(hand: Hand) -> None:
    """The minus is left out; at times a plus is put there because a sign is asked for."""
    eyes, plus = str(hand.rng.choice(["RL", "R", "L"])), bool(hand.rng.random() < 0.3)

    def change(state: State) -> None:
        for eye in eyes:
            s, c, a = state[eye]["line"]
            state[eye] |= {"line": [abs(s), c, a], "signless": (not plus) & (np.asarray(s) < 0)}

    hand.lines.append(change)


def _round(hand: Hand) -> None:
    """Axes on tens, thirties or half right angles, or spheres on half or whole dioptres."""
    step = float(hand.rng.choice([10.0, 10.0, 30.0, 45.0, 0.5, 1.0]))

    def change(s: Any, c: Any, a: Any) -> tuple:
        if step > 1.0:
            return s, c, (np.round(a / step) * step - 1) % 180 + 1
        return np.round(s / step) * step + 0.0, c, a

    _on_lines(change)(hand)


def _of_a_reading(wrong: Callable) -> Callable:
    """At one of the two readings, and the cylinder with it, or of the sphere alone."""

    def begin(hand: Hand) -> None:
        at = str(hand.rng.choice(["alone", "alone", "first", "second"]))

        def change(s: Any, c: Any, a: Any) -> tuple:
            if at == "alone":
                return wrong(s), c, a
            one, two = (wrong(s), s + c) if at == "first" else (s, wrong(s + c))
            more = np.maximum(one, two)
            return more, np.minimum(one, two) - more, np.where(two > one, a + 90, a)

        _on_lines(change)(hand)

    return begin


def _back(s: Any) -> Any:
    return np.floor(s) + np.ceil(s) - s


def _short(s: Any) -> Any:
    """A quarter past a whole dioptre taken for a quarter before it."""
    return 2 * np.round(s) - s


def _counted(hand: Hand) -> None:
    _of_a_reading(_back if hand.rng.random() < 0.6 else _short)(hand)


_wrong_side = _of_a_reading(lambda s: -s + 0.0)

HABITS: dict[str, Callable] = {
    "lenses exchanged": _exchange,
    "form not converted": _on_lines(_c(lambda s, c, a: (s + c, -c, a + 90))),
    "cylinder sign kept": _on_lines(_c(lambda s, c, a: (s, -c, a))),
    "axis 90 out": _on_lines(lambda s, c, a: (s, c, a + 90)),
    "axis mirrored": _on_lines(lambda s, c, a: (s, c, 180 - a)),
    "second power as cylinder": _on_lines(_c(lambda s, c, a: (s, s + c, a))),
    "sphere not converted": _on_lines(lambda s, c, a: (s + c, c, a)),
    "drum read across zero": _wrong_side,
    "drum counted the wrong way": _counted,
    "both readings across zero": _on_lines(lambda s, c, a: (-s - c, c, a + 90)),
    "both readings counted the wrong way": _on_lines(
        lambda s, c, a: (_back(s), np.where(c, _back(s + c) - _back(s), 0.0), a)
    ),
    "a whole dioptre out": _dioptre,
    "cylinder overlooked": _on_lines(lambda s, c, a: (s, 0.0, a)),
    "half the cylinder": _on_lines(lambda s, c, a: (s, c / 2, a)),
    "mean power as sphere": _on_lines(lambda s, c, a: (s + c / 2, c, a)),
    "digits of the axis exchanged": _on_lines(_digits),
    "axis 10 out": _on_lines(lambda s, c, a: (s, c, a + 10)),
    "decimal point misplaced": _on_lines(lambda s, c, a: (s / 10, c, a)),
    "minus sign left out": _no_sign,
    "sphere copied from the other lens": _copied(slice(0, 1)),
    "axis copied from the other lens": _copied(slice(2, 3)),
    "cylinder copied from the other lens": _copied(slice(1, 2)),
    "line copied from the other lens": _copied(slice(0, 3)),
    "put on round numbers": _round,
    "cylinder taken away": _on_lines(_c(lambda s, c, a: (s + 2 * c, c, a))),
    "each power rounded by itself": _with(apart=True),
    "rounded away from zero": _with(away=True),
    "wrong side on the stop": _with(side=dict.fromkeys("RL", "front")),
    "eyepiece not set": _eyepiece,
    "progressive read unmarked": _unmarked,
    "wrong chart": _wrong_chart,
    "askew chart": _askew_chart,
    "near total written as add": _with(total=True),
    "half the addition": _each("add", lambda hand, add: np.round(add / 2 * 4) / 4),
    "addition read from the back": _with(add_side="other"),
    "near read in the corridor": _with(near_up=6.0),
    "base reversed in one eye": _reversed(False),
    "base reversed in both eyes": _reversed(True),
    "prism all in one lens": _on_fields(_in_one),
    "prism overlooked": _each("prism", lambda hand, prism: prism * 0.0),
    "prism read away from the reference point": _with(prism_centre=True),
    "centimetres for millimetres": lambda hand: [
        _each(name, lambda _, value: value / 10)(hand) for name in ("pd", "height")
    ],
    "half of each distance": _each("pd", lambda hand, pd: pd / 2),
    "whole distance for one eye": _each("pd", lambda hand, pd: pd * 2),
    "height from the datum line": _each(
        "height", lambda hand, h: abs(h - hand.pair.frame.lens_height_mm / 2)
    ),
    "height from the upper rim": _each("height", lambda hand, h: hand.pair.frame.lens_height_mm - h),
    "height to the reference point": _on_fields(_to_reference),
    "sides mixed for the addition": _with(add_side="mixed"),
}
OUTSIDE: dict[str, Callable] = {
    "one sphere wild": lambda hand: hand.lines.append(
        lambda state: state["R"]["line"].__setitem__(0, float(hand.rng.integers(-20, 21)) / 4)
    ),
    "one axis wild": lambda hand: hand.lines.append(
        lambda state: state["L"]["line"].__setitem__(2, float(hand.rng.integers(1, 181)))
    ),
    "cylinder a half too strong": _on_lines(_c(lambda s, c, a: (s, c - 0.5, a))),
    "axes five times as rough": lambda hand: hand.lines.append(
        lambda state: [
            e["line"].__setitem__(2, e["line"][2] + hand.rng.normal(0, 20)) for e in state.values()
        ]
    ),
    "one distance 4 mm off": lambda hand: hand.fields.append(
        lambda state: state["R"].__setitem__("pd", state["R"]["pd"] + 4.0)
    ),
    "one line made up": lambda hand: hand.lines.append(
        lambda state: state["L"].__setitem__(
            "line", [float(hand.rng.integers(-24, 25)) / 4, -float(hand.rng.integers(0, 9)) / 4, 77.0]
        )
    ),
    "a prism dioptre of base up put in": _each("prism", lambda hand, prism: prism + np.array([0.0, 1.0])),
    "prism half as strong again": _each("prism", lambda hand, prism: prism * 1.5),
    "axis half a turn of the pointer out": _on_lines(lambda s, c, a: (s, c, a + 45)),
    "a sphere two dioptres out": lambda hand: hand.lines.append(
        lambda state: state["R"]["line"].__setitem__(
            0, state["R"]["line"][0] + 2.0 * float(hand.rng.choice([-1, 1]))
        )
    ),
    "near by one lines, distance by the others": _on_fields(
        lambda hand, state: [
            entry.__setitem__("add", entry["add"] + entry["line"][1])
            for entry in state.values()
            if "add" in entry
        ]
    ),
    "sphere doubled": _on_lines(lambda s, c, a: (2 * s, c, a)),
    "lens read eight millimetres aside": lambda hand: hand.place.update(
        {eye: (8.0, -6.0) for eye in "RL"} if hand.rng.random() < 0.5 else {"R": (-8.0, 6.0)}
    ),
    "addition a half too strong": _each("add", lambda hand, add: add + 0.5),
    "heights four too high": _each("height", lambda hand, height: height + 4.0),
    "distances to the inner rim": _each("pd", lambda hand, pd: pd - 7.0),
}


def begun(style: str, seed: int) -> tuple[np.random.Generator, int]:
    """What leaves a ticket to chance, and the number of its pair."""
    rng = np.random.default_rng([seed, STYLES.index(style)])
    return rng, int(rng.integers(0, PAIRS))


AT_THE_DRUM = {
    *("drum read across zero", "drum counted the wrong way", "a whole dioptre out"),
    *("both readings across zero", "both readings counted the wrong way"),
}


def in_order(names: tuple[str, ...]) -> list[str]:
    """What goes wrong at the drum goes wrong before anything is written."""
    return sorted(names, key=lambda name: name not in AT_THE_DRUM)


def at_work(names: tuple[str, ...], style: str, seed: int, noise: float = 1.0) -> tuple[Ticket, Specimen]:
    """One ticket of somebody with these habits, of the catalogue or outside it."""
    rng, number = begun(style, seed)
    pair = pair_of(style, number)
    hand = Hand(pair, rng, noise)
    for name in in_order(names):
        (HABITS | OUTSIDE)[name](hand)
    return hand.ticket(), pair


def explained(ticket: Ticket, pair: Specimen) -> Diagnosis | None:
    """What is said; None where no mark is lost, so that nothing is asked."""
    found = mark_pair(ticket, pair)
    return None if found.all_right else diagnose(ticket, pair).about(found.marks.missed)


def named(found: Diagnosis | None, names: tuple[str, ...]) -> bool:
    """Whether the habits are named first, ties counted as the text says them."""
    said = () if found is None else found.ties
    return any({entry.name for entry in each.slips} == set(names) for each in said)


def shows(names: tuple[str, ...], style: str, seed: int) -> bool:
    """Whether the ticket would be another without any one of the habits, the same hand shaking alike."""
    typed = at_work(names, style, seed)[0].typed
    fewer = [tuple(each for each in names if each != name) for name in names]
    return all(at_work(each, style, seed)[0].typed != typed for each in fewer)


def each_costs(names: tuple[str, ...], style: str, seed: int) -> bool:
    """Whether the marks would be others without any one of the habits, the same hand shaking alike."""

    def marked(habits: tuple[str, ...]) -> tuple:
        found = mark_pair(*at_work(habits, style, seed)).marks
        return found.missed, {skill: round(got, 3) for skill, (got, _) in found.skills.items()}

    fewer = [tuple(each for each in names if each != name) for name in names]
    return all(marked(each) != marked(names) for each in fewer)


def costs(style: str) -> list[str]:
    """Habits that can be done with a style."""
    none = {"single vision": ("add", "height", "near", "progressive", "chart"), "progressive": ()}.get(
        style, ("progressive", "corridor", "chart")
    )
    return [name for name in HABITS if not any(word in name for word in none)]


def tickets(style: str, many: int, kind: str, first: int = 0) -> Iterator[tuple[tuple[str, ...], int]]:
    rng = np.random.default_rng([first, STYLES.index(style), len(kind)])
    pool = sorted(OUTSIDE) if kind == "outside" else costs(style)
    for number in range(many):
        size = {"honest": 0, "two": 2}.get(kind, 1)
        yield tuple(str(n) for n in rng.choice(pool, size, replace=False)), first + number


def figures(many: int, first: int) -> None:
    """Print how often each kind is named, style by style, and the worst confusions."""
    shown: Counter[str] = Counter()
    confused: Counter[tuple[str, str]] = Counter()
    of: Counter[str] = Counter()
    times = []
    believed: dict[int, list[tuple[bool, bool]]] = {}
    for style in STYLES:
        told = [f"{style:14}"]
        for kind, noise in (("honest", 1.0), ("honest", 1.5), ("one", 1.0), ("two", 1.0), ("outside", 1.0)):
            asked = right = 0
            for names, seed in tickets(style, many, kind, first):
                ticket, pair = at_work(names, style, seed, noise)
                began = time.process_time()
                found = explained(ticket, pair)
                if found is not None:
                    times.append(time.process_time() - began)
                if found:
                    said = sum(each.posterior for each in found.ties)
                    done = kind in ("one", "two")
                    believed.setdefault(min(int(said * 10), 9), []).append(
                        (
                            done and named(found, names),
                            done and any({*each} <= {*names} for each in found.either),
                        )
                    )
                if kind in ("honest", "outside"):
                    asked, right = asked + 1, right + bool(found)
                elif found is not None:
                    hit = named(found, names)
                    asked, right = asked + 1, right + hit
                    if shows(names, style, seed):
                        shown[kind] += 1
                        shown[kind + " named"] += hit
                        if kind == "two" and each_costs(names, style, seed):
                            shown["costs"] += 1
                            shown["costs named"] += hit
                    if kind == "one":
                        of[names[0]] += 1
                        if not named(found, names):
                            confused[names[0], " + ".join(found.names) or "nothing"] += 1
            told.append(f"{kind} x{noise:g}: {right}/{asked} = {100 * right / max(asked, 1):.1f}")
        print("; ".join(told), flush=True)
    for kind in ("one", "two"):
        print(f"{kind}, where each shows on the ticket: {shown[kind + ' named']}/{shown[kind]}")
    print(f"two, where each costs marks: {shown['costs named']}/{shown['costs']}")
    # Of what is said with so much belief, ties together, so much should have been done; a second
    # habit that does not show cannot be said. The kinds are mixed here as they are drawn, strangers
    # among them, not as the priors have them.
    for tenth, right_ones in sorted(believed.items()):
        wholly, true = map(sum, zip(*right_ones, strict=True))
        print(
            f"said with {tenth * 10} to {tenth * 10 + 10} of 100: what was said was done in "
            f"{true}/{len(right_ones)}, and nothing else was in {wholly}"
        )
    ms = np.array(times) * 1e3
    print(f"ms a ticket: median {np.median(ms):.1f}, 99 of 100 within {np.percentile(ms, 99):.1f}")
    for (name, said), count in confused.most_common(25):
        print(f"{count:4} of {of[name]:4}  {name} -> {said}")


if __name__ == "__main__":
    PAIRS = int(sys.argv[3]) if len(sys.argv) > 3 else PAIRS
    figures(int(sys.argv[1]) if len(sys.argv) > 1 else 500, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
