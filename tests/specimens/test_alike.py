"""Two eyes of one wearer, and how common things are: made pairs beside published records.

References: `optics.specimens.orders` names them; what is from memory says so.
"""

from __future__ import annotations

from collections import Counter
from functools import partial

import numpy as np
import pytest

from optics.lens.angles import axis_difference
from optics.specimens.briefs import DIFFICULTIES, PROGRESSIVE, STYLES, Brief, brief_for
from optics.specimens.orders import job_for
from optics.specimens.random import stream

MANY = 1500


def orders(brief: Brief, many: int = MANY):
    return [job_for(brief, partial(stream, seed, "alike")).order for seed in range(many)]


@pytest.fixture(scope="module")
def single():
    return orders(Brief(strongest=12.0))


def both(pairs, of):
    return np.array([[of(pair.right), of(pair.left)] for pair in pairs], dtype=float)


def test_spheres_of_a_pair_are_alike(single) -> None:
    means = both(single, lambda each: each.line.power.mean)
    assert np.corrcoef(means.T)[0, 1] > 0.9
    # 13.4 % of 153 598 records had a dioptre or more between the eyes (PMC9732486).
    assert 0.09 < np.mean(abs(means[:, 0] - means[:, 1]) >= 1.0) < 0.18


def test_cylinders_of_a_pair_are_alike(single) -> None:
    cylinders = both(single, lambda each: each.line.cylinder)
    # "Most astigmats have a similar level of astigmatism in each eye" (2008, 50 995 astigmats).
    assert np.corrcoef(cylinders.T)[0, 1] > 0.75
    assert np.mean(abs(cylinders[:, 0] - cylinders[:, 1]) <= 0.5) > 0.85
    # 38.3 % of people had 0.75 or more (PMC9732486), in the eye that had more.
    assert 0.3 < np.mean(cylinders.min(axis=1) <= -0.75) < 0.55
    worn = cylinders[cylinders < 0]
    # Most are 0.75 or less (Clinical Optometry 2018;10:119-127); mean 1.22 +- 0.71 of
    # those who have any (PMC8569398).
    assert np.mean(worn >= -0.75) > 0.4
    assert 0.7 < -np.mean(worn) < 1.3


def test_axes_of_a_pair_mirror_each_other(single) -> None:
    axes = [
        (pair.right.line.axis, pair.left.line.axis)
        for pair in single
        if pair.right.line.axis and pair.left.line.axis
    ]
    assert len(axes) > MANY / 3
    mirrored = np.median([axis_difference(180 - right, left) for right, left in axes])
    # Median 10 degrees mirrored and 20 as they stand (50 995 astigmats, 2008).
    assert 5 <= mirrored <= 13
    assert np.median([axis_difference(right, left) for right, left in axes]) > 1.4 * mirrored
    near_horizontal = np.mean([axis_difference(right, 180) < 30 for right, _ in axes])
    assert 0.4 < near_horizontal < 0.75


def test_distances_are_those_of_faces(single) -> None:
    pds = both(single, lambda each: each.pd_mm)
    # About 63 mm on average (Dodgson 2004); 79 % are not symmetrical (TSWJ 2014:347826).
    assert np.mean(pds.sum(axis=1)) == pytest.approx(63, abs=0.7)
    assert 2.5 < np.std(pds.sum(axis=1)) < 4.0
    apart = abs(pds[:, 0] - pds[:, 1])
    assert 0.7 < np.mean(apart > 0) < 0.88
    assert np.max(apart) <= 2.5 and np.mean(apart <= 1.5) > 0.85


@pytest.mark.parametrize("style", STYLES)
def test_heights_of_a_pair_are_alike(style: str) -> None:
    pairs = orders(Brief(style=style), 300)
    centres = both(pairs, lambda each: each.centre_height_mm)
    steps = abs(centres[:, 0] - centres[:, 1])
    assert np.max(steps) <= 1.0
    # Eyes that stand unlike are few (common practice, from memory); only a fitting cross
    # is set to each of them.
    assert (0.1 < np.mean(steps > 0) < 0.4) == (style == PROGRESSIVE)
    if style != "single vision":
        tops = both(pairs, lambda each: each.height_mm)
        assert np.mean(tops[:, 0] == tops[:, 1]) > 0.6


@pytest.mark.parametrize("difficulty", DIFFICULTIES)
def test_few_pairs_have_prism_at_every_difficulty(difficulty: int) -> None:
    prisms = [brief_for("bifocal", difficulty, seed).prism for seed in range(1000)]
    assert 0.02 < np.mean(np.array(prisms) > 0) < 0.2
    assert max(prisms) <= 3.0


def test_prism_is_there_where_a_brief_asks_for_it() -> None:
    bases = Counter()
    for order in orders(Brief(prism=3.0), 200):
        for eye in "RL":
            ((amount, base),) = order.of(eye).line.prism
            assert 1.0 <= amount <= 3.0
            bases[base] += 1
    assert set(bases) == {"in", "out", "up", "down"}


def test_segments_are_those_of_the_trade() -> None:
    flat = [job_for(Brief(style="bifocal"), partial(stream, seed, "segments")).segment for seed in range(300)]
    widths = Counter(segment.width_mm for segment in flat)
    assert set(widths) == {25.0, 28.0, 35.0}
    assert widths.most_common(1)[0][0] == 28.0 and widths[35.0] > 40
    threes = [job_for(Brief(style="trifocal"), partial(stream, seed, "x")) for seed in range(100)]
    assert min(job.order.right.line.add for job in threes) == 1.75
    assert {(job.segment.width_mm, job.segment.intermediate_mm) for job in threes} == {
        (25, 7),
        (28, 7),
        (35, 8),
    }


def test_whoever_wears_an_addition_is_more_often_hyperopic() -> None:
    # Mode of lens orders, Portugal 2010-2020: single vision -1.49 to -0.50, multifocal +0.50 to +2.99.
    def share(style: str) -> float:
        return float(np.mean(both(orders(Brief(style=style), 600), lambda e: e.line.power.mean) > 0.25))

    assert share("progressive") > share("single vision") + 0.05
