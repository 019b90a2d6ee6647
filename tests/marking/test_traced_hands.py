"""Hands that leave a record of their moves behind: what it shows is told, and honest ones are not accused.

Tickets and habits are those of `noisy_hands`; how each habit works the controls is made here, apart
from the diagnosis. The eyepiece stops at 5 D on its dial, so one left unset is at most 0.48 D out.
"""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import numpy as np
import pytest

from optics.instrument.focimeter import DRUM_RANGE
from optics.instrument.trace import Trace
from optics.marking.diagnosis import Diagnosis, diagnose
from optics.marking.marks import mark_pair
from optics.marking.read import Ticket
from optics.specimens.briefs import STYLES
from optics.specimens.specimen import Specimen

_spec = importlib.util.spec_from_file_location("noisy_hands", Path(__file__).with_name("noisy_hands.py"))
hands = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)
hands.PAIRS = 5

MAGNIFIED, ON_THE_DIAL = 4.0, 5.0
"""The telescope's power and the end of the dial (the bench's own: see `optics.instrument.focimeter`)."""
TELLS = {
    "eyepiece not set": {"The eyepiece was not touched.", "The eyepiece was not set at every reading."},
    "wrong side on the stop": {"A lens was read with its front on the stop."},
    "axis 90 out": {"The wheel was turned by about 90 between the two readings."},
    "wrong chart": {"A lens was inked from a chart with another sign than its own."},
    "read once": {"Each reading was taken once."},
    "come from the minus side": {"A reading was come to from the minus side."},
    "zero not looked at": {"The drum was not looked at without a lens."},
}
ONLY_SEEN = ("read once", "come from the minus side", "zero not looked at")
"""Ways of working that need not change what is written."""


def at_work(habit: str, style: str, seed: int, noise: float = 1.0) -> tuple[Ticket, Specimen, Trace]:
    """A ticket and the record of how it came about."""
    rng = np.random.default_rng([seed, STYLES.index(style), 5])
    pair = hands.pair_of(style, int(rng.integers(0, hands.PAIRS)))
    hand = hands.Hand(pair, rng, noise)
    eye = float(rng.choice([-1, 1]) * rng.integers(5, 12) / 4)
    dial = float(rng.choice([-ON_THE_DIAL, 0.0, ON_THE_DIAL]))
    unset = habit == "eyepiece not set"
    late = unset and rng.random() < 0.3  # set before the left lens only
    if unset:
        hand.moved |= dict.fromkeys("R" if late else "RL", (dial - eye) / MAGNIFIED**2)
    elif habit and habit not in ONLY_SEEN:
        hands.HABITS[habit](hand)
    ticket = hand.ticket()
    start = {"lens": "R", "against": "back", "aside": "no", "drum": 0.0, "wheel": 180.0, "eyepiece": dial}
    start |= {"stage_x_mm": 0.0, "stage_y_mm": 0.0, "compensator": 0.0, "compensator_base": 0.0}
    start |= {
        "chart": "",
        "chart_under": "R",
        "chart_x_mm": 0.0,
        "chart_y_mm": 0.0,
        "chart_turned_degrees": 0.0,
    }
    kept, clock = Trace(start=start, eye=eye), iter(range(0, 10**7, 700))

    def do(control: str, value: float | str) -> None:
        kept.note(control, value, next(clock))

    def set_eyepiece() -> None:
        for each in (ON_THE_DIAL, eye + float(np.clip(rng.normal(0.1, 0.2), -0.5, 0.5))):
            do("eyepiece", each)

    if not unset:
        set_eyepiece()
    if habit != "zero not looked at":
        do("aside", "yes")
        do("drum", 0.0)
        do("aside", "no")
    if pair.style == "progressive":
        for which in "RL":
            own = pair.spectacles.mounted(which).lens.sign
            others = [each for each in hands.DESIGNS if each != own]
            do("chart_under", which)
            do("chart", others[0] if habit == "wrong chart" else own)
            do("inked", which)
    for which in "RL":
        if which == "L" and late:
            set_eyepiece()
        do("lens", which)
        if habit == "wrong side on the stop":
            do("against", "front")
        s, c, a = hand.line(which)
        wheel = round(float(a)) % 180 or 180
        for _ in range(1 if habit == "read once" else int(rng.integers(2, 4))):
            do("wheel", wheel)
            for lines, at in (("sphere", float(s)), ("cylinder", float(s + c))):
                under = habit == "come from the minus side"
                at = float(np.clip(at, DRUM_RANGE[0] + 0.6, DRUM_RANGE[1] - 0.6))
                do("drum", at - 0.6 if under else at + 0.6)
                do("drum", at)
                if habit == "axis 90 out" and lines == "cylinder":
                    do("wheel", (wheel + 89) % 180 + 1)
                do("noted", lines)
    return ticket, pair, kept


def told(habit: str, style: str, seed: int, noise: float = 1.0) -> tuple[Diagnosis, bool]:
    """What is said of a hand, from the record as it came in a notebook; and whether its ticket lost marks."""
    ticket, pair, kept = at_work(habit, style, seed, noise)
    return diagnose(ticket, pair, trace=kept.bundle), not mark_pair(ticket, pair).all_right


def habits_of(style: str) -> list[str]:
    return [habit for habit in TELLS if habit != "wrong chart" or style == "progressive"]


@pytest.mark.parametrize("style", STYLES)
def test_a_way_of_working_that_leaves_a_mark_is_told(style: str) -> None:
    """At least 99 of 100 are named, or told as seen; nobody else's way is."""
    for habit in habits_of(style):
        for seed in range(6):
            found, _ = told(habit, style, seed)
            named = any(habit in (entry.name for entry in each.slips) for each in found.ties)
            assert named or TELLS[habit] & {*found.seen}, (habit, seed)
            others = set().union(*(TELLS[each] for each in TELLS if each != habit))
            assert not others & {*found.seen}, (habit, seed, found.seen)


@pytest.mark.parametrize("style", STYLES)
def test_an_honest_hand_with_its_record_is_not_accused(style: str) -> None:
    accused = [found.names for seed in range(25) if (found := told("", style, seed)[0])]
    assert len(accused) <= 1, accused


def mangled(bundle: dict, other: dict, rng: np.random.Generator) -> list[dict]:
    """A record cut, shuffled, repeated, or put together from two."""
    moves, others = (re.findall(r"[a-z]\d+,-?\d+;", each["moves"]) for each in (bundle, other))
    third = len(moves) // 3
    ways = [moves[:third], moves[third:], moves[::-1], moves[::2], moves * 2, others, moves[:third] + others]
    ways += [list(rng.permutation(moves)), [each for each in moves if each[0] not in "de"], []]
    flipped = bundle["start"] | {"lens": 1, "against": 1, "aside": 1}
    return [
        bundle | {"moves": "".join(way), "start": start}
        for way in ways
        for start in (bundle["start"], flipped)
    ]


@pytest.mark.parametrize("style", STYLES)
def test_of_a_forged_record_no_more_is_told_than_stands_in_it(style: str) -> None:
    """Nothing breaks, and each sentence about the moves is looked for in the moves themselves."""
    told: set[str] = set()
    for seed in range(4):
        rng = np.random.default_rng(seed)
        ticket, pair, kept = at_work("eyepiece not set", style, seed)
        for record in mangled(kept.bundle, at_work("", style, seed + 50)[2].bundle, rng):
            found, moves, start = diagnose(ticket, pair, trace=record), record["moves"], record["start"]
            told |= {*found.seen}
            done = {
                "The eyepiece was not touched.": "e" not in moves,
                "The eyepiece was not set at every reading.": "e" in moves,
                "The drum was not looked at without a lens.": not re.search(r"o\d+,1;", moves)
                and not start["aside"],
                "A lens was read with its front on the stop.": bool(
                    start["against"] or re.search(r"a\d+,1;", moves)
                ),
                "A reading was come to from the minus side.": "d" in moves,
                "Each reading was taken once.": len(re.findall("n", moves)) <= 4,
                "The wheel was turned by about 90 between the two readings.": "w" in moves,
                "A lens was inked from a chart with another sign than its own.": "i" in moves,
            }
            assert all(done[sentence] for sentence in found.seen), (found.seen, moves)
    assert len(told) >= 5, told
