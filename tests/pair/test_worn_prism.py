"""Prism of a pair as worn, and at the reading level."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.lens import SingleVision
from optics.lens.near_prism import (
    centre_below_top_mm,
    image_jump,
    near_imbalance,
    segment_prism,
    slab_off,
    unequal_rounds_mm,
)
from optics.lens.power import Power
from optics.lens.prism import Prism, imbalance
from optics.pair.spectacles import Mounted, Spectacles
from optics.pair.worn_prism import shared, worn_prism

CASES = Path(__file__).parents[1] / "cases"
JUMPS = list(csv.DictReader((CASES / "image_jump.csv").open(encoding="utf-8")))

sphere = Power.from_sphere_cylinder


def pair(right, left, right_pd=32.0, left_pd=32.0):
    return Spectacles(
        right=Mounted(lens=SingleVision(power=right), pd_mm=right_pd),
        left=Mounted(lens=SingleVision(power=left), pd_mm=left_pd),
    )


@pytest.mark.parametrize(
    ("power", "horizontal"),
    [(3.00, 1.20), (-3.00, -1.20)],
    ids=["PR16", "PR17"],
)
def test_a_pd_four_millimetres_too_narrow(power, horizontal):
    # Computed beforehand: 0.60 in each eye, base in for plus and base out for minus.
    worn = worn_prism(pair(sphere(power), sphere(power), 30, 30), 32, 32)
    assert worn.right.inward("R") == pytest.approx(horizontal / 2)
    assert worn.left.inward("L") == pytest.approx(horizontal / 2)
    assert worn.imbalance.horizontal == pytest.approx(horizontal)
    assert worn.imbalance.vertical == pytest.approx(0.0)


def test_pr7_unequal_lenses_at_the_reading_level():
    # "Ophthalmic Lenses" (textbook), p. 47 (read): imbalance 2.4 base down before the left eye.
    worn = worn_prism(pair(sphere(-3.0), sphere(-6.0)), 32, 32, -8, -8)
    assert worn.imbalance.vertical == pytest.approx(2.4)
    assert near_imbalance(sphere(-3.0), sphere(-6.0), 8) == pytest.approx(2.4)


def test_pr8_one_dioptre_of_vertical_anisometropia():
    # "Measuring reading level", 20/20 magazine (read): about 1 at about 10 mm.
    assert abs(near_imbalance(sphere(2.0), sphere(1.0), 10)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("right", "left", "eye", "reverse_eye"),
    [(-1.0, -4.0, "L", "R"), (-4.0, -1.0, "R", "L"), (1.0, 3.5, "R", "L"), (-1.0, 1.5, "R", "L")],
)
def test_pr9_slab_off_side_and_threshold(right, left, eye, reverse_eye):
    """ "Bicentric grinding", 20/20 magazine (read): over 1.5; base up on the most minus or least plus lens."""
    wanted = slab_off(sphere(right), sphere(left))
    assert (wanted.eye, wanted.base) == (eye, "up")
    reverse = slab_off(sphere(right), sphere(left), reverse=True)
    assert (reverse.eye, reverse.base) == (reverse_eye, "down")
    # With the prism worked on, the pair is level, either way.
    for slab in (wanted, reverse):
        worked = Prism.from_base(slab.amount, slab.base, slab.eye)
        both = worn_prism(pair(sphere(right), sphere(left)), 32, 32, -10, -10)
        r, l_ = (both.right + worked, both.left) if slab.eye == "R" else (both.right, both.left + worked)
        assert imbalance(r, l_).vertical == pytest.approx(0.0, abs=1e-9)


def test_slab_off_is_for_more_than_the_threshold():
    assert slab_off(sphere(-1.0), sphere(-2.5)) is None
    assert slab_off(sphere(-1.0), sphere(-2.625)) is not None


def test_pr10_unequal_round_segments():
    # "Ophthalmic Lenses" (textbook), p. 121 (read): 1.2 base down from the segment, 20 mm rounds
    # become 17.34 (R) and 22.66 mm (L); printed from centres moved 1.33 mm, not 1.333.
    assert segment_prism(3.0, 0.0, 4.0).y == pytest.approx(-1.2)
    right, left = Prism.from_base(1.2, "up", "R"), Prism.from_base(2.0, "up", "L")
    assert unequal_rounds_mm(right, left, 3.0, 20) == pytest.approx((17.34, 22.66), abs=0.01)


def test_unequal_rounds_level_the_pair():
    right, left = Prism.from_base(1.2, "up", "R"), Prism.from_base(2.0, "up", "L")
    sizes = unequal_rounds_mm(right, left, 3.0, 20)
    # Tops in line: a centre lies lower by half of what its segment grew.
    added = [segment_prism(3.0, 0.0, (size - 20) / 2) for size in sizes]
    assert imbalance(right + added[0], left + added[1]).vertical == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("row", JUMPS, ids=lambda row: row["id"])
def test_image_jump(row):
    jump = image_jump(float(row["add"]), centre_below_top_mm(float(row["width_mm"]), float(row["depth_mm"])))
    assert -jump.y == pytest.approx(float(row["jump"]))
    assert jump.x == pytest.approx(0.0)


def test_a_segment_deeper_than_wide_is_refused():
    with pytest.raises(OpticsError, match="28 x 19"):
        centre_below_top_mm(19, 28)


PRISMS = st.builds(lambda x, y: Prism(np.array([x, y])), st.floats(-8, 8), st.floats(-8, 8))


@given(PRISMS, st.sampled_from("RL"), st.floats(0, 1))
def test_sharing_keeps_the_effect_for_the_pair(prism, eye, share):
    alone = (prism, Prism.none()) if eye == "R" else (Prism.none(), prism)
    wanted, found = imbalance(*alone), shared(prism, eye, share).imbalance
    assert found.horizontal == pytest.approx(wanted.horizontal, abs=1e-9)
    assert found.vertical == pytest.approx(wanted.vertical, abs=1e-9)


def test_sharing_equally_between_the_eyes():
    # Common practice: horizontally the same base, vertically the opposite one.
    right, left = shared(Prism.from_base(4.0, "in", "L") + Prism.from_base(3.0, "down", "L"), "L")
    assert right.written("R") == "2.00 base in and 1.50 base up"
    assert left.written("L") == "2.00 base in and 1.50 base down"


@pytest.mark.parametrize(
    ("right", "left", "vertical"),
    [
        (("down", 1.5), ("down", 1.0), -0.5),
        (("down", 0.5), ("up", 0.5), -1.0),
        (("up", 1.0), ("up", 1.0), 0.0),
    ],
    ids=["PG11-same", "PG11-opposite", "equal"],
)
def test_imbalance_with_its_signs(right, left, vertical):
    # D. Meister, Lens Talk, Oct 1998 (read, through a summary): R 1.50 down with L 1.00 down is 0.50.
    r = Prism.from_base(right[1], right[0], "R")
    found = imbalance(r, Prism.from_base(left[1], left[0], "L"))
    assert found.vertical == pytest.approx(vertical)
