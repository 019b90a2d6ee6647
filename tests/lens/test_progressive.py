"""Progressive lenses: what the reference points read, on both sides and for both eyes."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.lens import BACK, FRONT
from optics.lens.power import Power
from optics.lens.prism import Prism, imbalance, nasal
from optics.lens.progressive import Progressive, thinning_prism
from optics.pair.spectacles import Mounted, Spectacles

CASES = Path(__file__).parents[1] / "cases"
THINNING = list(csv.DictReader((CASES / "thinning_prism.csv").open(encoding="utf-8")))
PAIRS = list(csv.DictReader((CASES / "thinning_imbalance.csv").open(encoding="utf-8")))

# Of the reference points: far below what a focimeter shows (0.06 D), so that what
# a learner reads there is what was ordered.
WITHIN = 0.02

sphere = Power.from_sphere_cylinder
POWERS = st.builds(sphere, st.floats(-8, 5), st.floats(-3, 0), st.floats(1, 180))
LENSES = st.builds(
    Progressive,
    power=POWERS,
    addition=st.floats(0.75, 3.5),
    eye=st.sampled_from("RL"),
    corridor_mm=st.sampled_from([11.0, 16.0]),
    inset_mm=st.sampled_from([2.0, 2.5]),
    fitting_cross_mm=st.sampled_from([2.0, 4.0]),
    hardness=st.sampled_from([0.0, 0.5, 1.0]),
    carried_by=st.sampled_from([FRONT, BACK]),
)
few = settings(max_examples=25, deadline=None)


@few
@given(LENSES)
def test_the_distance_reference_point_reads_the_ordered_power(lens):
    # The stop rests on the back and the axis leans through the lens, so the front
    # is met a fraction of a millimetre away.
    assert lens.over_stop(*lens.distance_reference_point).read.is_close(lens.power, within=WITHIN)


@few
@given(LENSES)
def test_near_is_distance_plus_addition_with_the_carrying_side_against_the_stop(lens):
    near, distance = (
        lens.over_stop(*point, lens.carried_by).read
        for point in (lens.near_reference_point, lens.distance_reference_point)
    )
    assert near.mean - distance.mean == pytest.approx(lens.addition, abs=0.01)
    # Strong lenses add some cylinder at near: the light leaves slantwise there.
    assert near.is_close(distance + sphere(lens.addition), within=0.25)
    assert lens.addition_read() == pytest.approx(lens.addition, abs=0.01)


def test_from_the_back_the_addition_of_a_plus_lens_is_overstated():
    for power in (2.0, 4.0, 6.0):
        lens = Progressive(power=sphere(power), addition=2.5, eye="R")
        assert lens.addition_read(BACK) > lens.addition_read(FRONT) + 0.1


def test_of_an_addition_on_the_back_the_front_does_not_tell():
    # The same lens with its addition on the back: read from there it is what was made.
    for power in (2.0, 4.0, 6.0):
        lens = Progressive(power=sphere(power), addition=2.5, eye="R", carried_by=BACK)
        assert lens.addition_read() == lens.addition_read(BACK) == pytest.approx(2.5, abs=0.005)
        assert lens.addition_read(FRONT) < 2.45


@pytest.mark.thorough
@few
@given(LENSES, st.floats(-20, 20), st.floats(-25, 15), st.sampled_from([BACK, FRONT]))
def test_right_and_left_are_mirror_images(lens, x, y, against):
    def of(eye, power):
        return Progressive(
            power=power,
            addition=lens.addition,
            carried_by=lens.carried_by,
            eye=eye,
            thinning=1.0,
            corridor_mm=lens.corridor_mm,
            hardness=lens.hardness,
            front_curve=5.0,
            centre_thickness_mm=3.0,
        )

    right = of("R", lens.power).over_stop(x, y, against)
    left = of("L", lens.power.turned_over()).over_stop(-x, y, against)
    # Ground to what a few points of the stop read, and their rings are no mirror images.
    assert right.power.is_close(left.power.turned_over(), within=1e-4)
    np.testing.assert_allclose(right.prism.vector, left.prism.turned_over().vector, atol=1e-4)


@pytest.mark.parametrize("eye", "RL")
def test_near_is_inset_to_the_nasal_side_and_reading_it_straight_below_is_wrong(eye):
    lens = Progressive(power=sphere(1.0), addition=2.5, eye=eye)
    x, y = lens.near_reference_point
    assert x * nasal(eye) == 2.5
    right_place, below, temporal = (lens.over_stop(at, y, FRONT).power for at in (x, 0.0, -nasal(eye) * 6.0))
    # About a tenth comes from the light that leaves slantwise, 14 mm below the middle.
    assert right_place.astigmatism < 0.15
    assert below.astigmatism > right_place.astigmatism + 0.04
    assert temporal.astigmatism > 0.75
    assert temporal.mean < right_place.mean - 0.25


def test_read_too_high_the_addition_comes_out_too_low():
    lens = Progressive(power=sphere(0.0), addition=2.0, eye="R")
    distance = lens.over_stop(*lens.distance_reference_point, FRONT).read.mean
    found = [lens.over_stop(1.0, y, FRONT).read.mean - distance for y in (0.0, -4.0, -8.0)]
    assert found == sorted(found)
    assert 0.0 < found[0] < 0.35 and found[2] < 1.85


def test_distance_read_too_low_is_already_in_the_progression():
    lens = Progressive(power=sphere(-3.0), addition=2.5, eye="L")
    assert lens.over_stop(0.0, -2.0).power.mean > -2.75


# --- prism ------------------------------------------------------------------------------------------


@few
@given(LENSES, st.sampled_from([BACK, FRONT]))
def test_the_prism_reference_point_shows_ordered_prism_and_thinning_together(lens, against):
    ordered = Prism.from_base(1.5, "out", lens.eye)
    ground = Progressive(power=lens.power, addition=lens.addition, eye=lens.eye, prism=ordered, thinning=1.25)
    met = ground.over_stop(*ground.prism_reference_point, against).prism
    met = met if against == BACK else met.turned_over()
    # Ground for the back against the stop; from the front the way through the lens is another.
    within = 1e-9 if against == BACK else 0.3
    np.testing.assert_allclose(met.vector - ordered.vector, [0.0, -1.25], atol=within)


@pytest.mark.parametrize("row", THINNING, ids=lambda row: row["id"])
def test_published_thinning_prism(row):
    amount = thinning_prism(float(row["addition"]))
    assert amount == pytest.approx(float(row["base_down"]), abs=float(row["within"]))


@pytest.mark.parametrize("row", PAIRS, ids=lambda row: row["id"])
def test_thinning_prism_of_a_pair_matters_only_where_it_differs(row):
    def lens(eye, down):
        return Mounted(lens=Progressive(power=sphere(2.0), addition=2.0, eye=eye, thinning=float(down)))

    pair = Spectacles(right=lens("R", row["right_down"]), left=lens("L", row["left_down"]))
    prisms = (pair.over_stop(eye, *pair.reference_point_mm(eye)).prism for eye in "RL")
    assert abs(imbalance(*prisms).vertical) == pytest.approx(float(row["imbalance"]), abs=1e-9)


# --- refusals -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"addition": 0.0}, "from \\+0.25 to \\+4.00 D"),
        ({"eye": "right"}, "It is R or L"),
        ({"corridor_mm": 30.0}, "between 9 and 22 mm"),
        ({"inset_mm": 9.0}, "between 0 and 5 mm"),
        ({"fitting_cross_mm": 12.0}, "between 0 and 6 mm"),
        ({"hardness": 2.0}, "between 0 and 1"),
        ({"front_curve": 14.0}, "between 0 and 9 D"),
        ({"centre_thickness_mm": 55.0}, "between 0 and 20 mm"),
        ({"index": 2.5}, "between 1.40 and 2.00"),
    ],
)
def test_lenses_that_cannot_be_are_refused(changes, sentence):
    with pytest.raises(OpticsError, match=sentence):
        Progressive(**({"power": sphere(0.0), "addition": 2.0, "eye": "R"} | changes))


def test_beyond_the_edge_the_edge_is_met():
    lens = Progressive(power=sphere(0.0), addition=2.0, eye="R")
    assert np.all(np.isfinite(lens.over_stop(500.0, -500.0).power.vector))
