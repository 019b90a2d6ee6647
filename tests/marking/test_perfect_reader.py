"""The perfect reader on tasks whose answer is known by the normal distribution alone."""

from __future__ import annotations

import sys
from math import erf, sqrt
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import perfect_reader as perfect

from optics.marking.read import read_answer


def cell(low: float, high: float, mean: float, deviation: float) -> float:
    """The share of a normal distribution between two places."""
    one, two = (0.5 * (1 + erf((edge - mean) / deviation / sqrt(2))) for edge in (low, high))
    return two - one


@pytest.mark.parametrize(
    ("means", "deviation", "step"),
    [((30.2, 30.7), 0.4, 0.5), ((30.0, 31.0), 0.4, 0.5), ((20.0, 23.0), 1.7, 1.0)],
)
def test_two_hands_are_told_apart_as_often_as_they_can_be(means, deviation: float, step: float) -> None:
    cells = np.arange(min(means) // 1 - 12, max(means) + 12, step)
    known = 0.5 * sum(
        max(cell(at - step / 2, at + step / 2, mean, deviation) for mean in means) for at in cells
    )
    rng, right, many = np.random.default_rng(5), 0, 1500
    read = [mean + rng.normal(0.0, deviation, perfect.MANY) for mean in means]
    for number in range(many):
        value = round((means[number % 2] + rng.normal(0.0, deviation)) / step) * step
        told = []
        for each in read:
            ticket = {"pd_right": f"{value:g}"} if step < 1 else {"right": f"-1.00 -1.00 x {value:03.0f}"}
            shares, zero = perfect.Shares(read_answer(ticket)), np.zeros(perfect.MANY)
            line = [zero - 1.0, zero - 1.0, each]
            told.append(shares.of({"R": {"pd": each, "line": line} if step < 1 else {"line": line}}))
        right += int(np.argmax(told)) == number % 2
    assert 0.6 < known < 0.95
    assert right / many == pytest.approx(known, abs=3.0 * sqrt(known * (1 - known) / many) + 0.005)


def test_every_way_that_chance_goes_is_taken_once() -> None:
    pair = perfect.hands.pair_of("progressive", 1)
    reader = perfect.Reader(pair)
    each = perfect.SPREAD[1]
    for names, ways in (
        (("axis 90 out",), 3),
        (("eyepiece not set",), 4 * each),
        (("askew chart",), 6 * each),
    ):
        weights = [weight for weight, _, _ in reader.states(names)]
        assert len(weights) == ways and sum(weights) == pytest.approx(1.0)
    # What is done more often than not weighs more.
    weights = [weight for weight, _, _ in reader.states(("minus sign left out",))]
    assert sorted(weights) == pytest.approx([0.1] * 3 + [0.7 / 3] * 3)


def test_a_sign_that_is_not_typed_is_told() -> None:
    """The same powers under the same hand: who leaves the minus out writes them without a sign."""
    reader = perfect.Reader(perfect.hands.pair_of("single vision", 3))
    _, state, _ = next(reader.states(()))
    for eye in "RL":
        state[eye]["line"] = [np.full(perfect.MANY, 2.0), np.full(perfect.MANY, -1.0), state[eye]["line"][2]]
    bare = {eye: entry | {"signless": True} for eye, entry in state.items()}
    axis = round(float(state["R"]["line"][2][0]))
    for typed, one, other in (("2.00", bare, state), ("+2.00", state, bare)):
        shares = perfect.Shares(read_answer({"right": f"{typed} -1.00 x {axis:03d}"}, "minus"))
        assert shares.of(one) > shares.of(other) + 8.0


def test_what_was_copied_and_then_changed_alike_is_the_same_or_it_was_not() -> None:
    rng, flat = np.random.default_rng(8), np.full(perfect.MANY, -1.0)
    axis = 40.0 + rng.normal(0.0, 4.0, perfect.MANY)
    right = {"R": {"line": [flat, flat, axis + 90.0]}}
    same, apart = (
        perfect.Shares(read_answer({"right": "-1.00 -1.00 x 130", "left": f"-1.00 -1.00 x {other}"}))
        for other in (130, 132)
    )
    both = right | {"L": {"line": [flat, flat, axis + 90.0]}}
    assert same.of(both) == pytest.approx(same.of(right), abs=0.01)
    assert apart.of(both) < same.of(both) - 15.0


def test_how_sure_the_reader_is_is_how_often_it_is_right() -> None:
    """Among habits met alike, the logarithm of the belief in what was done is what it should be.

    Whoever takes one thing for two is surer than this, and whoever overlooks one finds less.
    """
    hands = perfect.hands
    reader, known = perfect.Reader(hands.pair_of("single vision", 3)), hands.costs("single vision")
    found, due, variance = [], [], []
    for number in range(200):
        rng = np.random.default_rng([number, 9])
        name, hand = str(rng.choice(known)), hands.Hand(reader.pair, rng)
        hands.HABITS[name](hand)
        shares = perfect.Shares(hand.ticket())
        likelihoods = np.exp([reader.likelihood((each,), shares)[0] for each in known])
        belief = likelihoods / likelihoods.sum()
        score = np.log(belief + 1e-3)
        found.append(score[known.index(name)])
        due.append(float(belief @ score))
        variance.append(float(belief @ score**2) - due[-1] ** 2)
    assert np.mean(found) == pytest.approx(np.mean(due), abs=3.0 * sqrt(sum(variance)) / len(found))
    assert np.mean(found) > -0.45
