"""Lined multifocals: additions by side, prism at near, the jump at the line."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.lens import BACK, FRONT
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prism import Prism, imbalance, nasal
from optics.lens.segment import FLAT_TOP, ROUND, STRAIGHT_ACROSS, Segment
from optics.lens.thick import back_vertex_power

CASES = Path(__file__).parents[1] / "cases"
SIDES = list(csv.DictReader((CASES / "addition_side.csv").open(encoding="utf-8")))
NEAR = list(csv.DictReader((CASES / "segment_prism.csv").open(encoding="utf-8")))

sphere = Power.from_sphere_cylinder


@pytest.mark.parametrize("row", SIDES, ids=lambda row: row["id"])
def test_an_addition_is_true_on_the_side_that_carries_it(row):
    front, back, thickness = float(row["front"]), float(row["back"]), float(row["thickness_mm"])
    # The figures are for the middle of a lens, so the segment's centre is put there, or far away.
    over_segment, beside = (
        Multifocal(
            power=back_vertex_power(sphere(front), sphere(back), thickness, float(row["index"])),
            addition=float(row["add"]),
            eye="R",
            front_curve=front,
            centre_thickness_mm=thickness,
            index=float(row["index"]),
            carried_by=row["segment"],
            top_mm=top,
            inset_mm=0.0,
        ).over_stop(0.0, 0.0, row["against"])
        for top in (5.0, -10.0)
    )
    read = over_segment.power.mean - beside.power.mean
    assert read == pytest.approx(float(row["read"]), abs=float(row["within"]))


def thin(row):
    """A thin lens with a round segment, its reading point a given way below centre and top."""
    return Multifocal(
        power=sphere(float(row["sphere"])),
        addition=float(row["addition"]),
        eye=row["eye"],
        segment=Segment(shape=ROUND, width_mm=float(row["diameter_mm"])),
        top_mm=float(row["read_below_top_mm"]) - float(row["read_below_centre_mm"]),
        inset_mm=0.0,
        centre_thickness_mm=0.0,
    )


@pytest.mark.parametrize("row", NEAR, ids=lambda row: row["id"])
def test_total_prism_at_near_of_published_segments(row):
    met = thin(row).over_stop(0.0, -float(row["read_below_centre_mm"]))
    assert met.prism.x == pytest.approx(0.0, abs=1e-12)
    # The rule is that of a flat lens; the ray through a bent one strays up to 1.5 in a hundred from it.
    assert met.prism.y == pytest.approx(float(row["base_up"]), abs=float(row["within"]), rel=0.015)


def test_unequal_rounds_take_the_published_imbalance_away():
    rows = {row["id"]: row for row in NEAR}
    before, after = (
        imbalance(*(thin(rows[f"PR10-{eye}{kind}"]).over_stop(0.0, -8.0).prism for eye in "RL")).vertical
        for kind in ("", "-levelled")
    )
    assert before == pytest.approx(-0.8, abs=0.01)
    assert after == pytest.approx(0.0, abs=0.02)


LENSES = st.builds(
    Multifocal,
    power=st.builds(sphere, st.floats(-8, 6), st.floats(-3, 0), st.floats(1, 180)),
    addition=st.floats(0.75, 3.5),
    eye=st.sampled_from("RL"),
    segment=st.sampled_from(
        [
            Segment(shape=FLAT_TOP, width_mm=28),
            Segment(shape=FLAT_TOP, width_mm=28, intermediate_mm=7),
            Segment(shape=ROUND, width_mm=24),
            Segment(shape=STRAIGHT_ACROSS),
            Segment(shape=STRAIGHT_ACROSS, intermediate_mm=8),
        ]
    ),
    top_mm=st.floats(-6, 0),
    inset_mm=st.floats(0, 4),
)


@given(LENSES)
def test_the_distance_power_is_the_ordered_one_and_the_addition_true_from_the_front(lens):
    met = lens.over_stop(*lens.distance_reference_point)
    # Ordered at the optical centre; the circle lies at most 5 mm above it.
    assert met.read.is_close(lens.power, within=0.15)
    assert lens.part_at(*lens.near_reference_point) == "near"
    measures = {name: getattr(lens, name) for name in ("power", "eye", "segment", "top_mm", "inset_mm")}
    made = Multifocal.made_to(addition=lens.addition, **measures)
    assert made.addition_read() == pytest.approx(lens.addition, abs=0.005)


@given(LENSES)
def test_from_the_back_a_front_addition_is_overstated(lens):
    assert lens.addition_read(BACK) > lens.addition_read(FRONT)


@given(LENSES)
@example(
    Multifocal(
        power=sphere(-6.0, -1.0, 1.0),
        addition=3.0,
        eye="R",
        segment=Segment(shape=ROUND, width_mm=24, depth_mm=24),
        top_mm=-5.0,
        inset_mm=4.0,
    )
)
def test_the_prism_jumps_at_each_line_by_what_the_shape_says(lens):
    """Thin, so that the picture of the line and the point on the stop are one."""
    thin_lens = Multifocal(
        power=lens.power,
        addition=lens.addition,
        eye=lens.eye,
        segment=lens.segment,
        top_mm=lens.top_mm,
        inset_mm=lens.inset_mm,
        centre_thickness_mm=0.0,
    )
    x, top = thin_lens.segment_top
    for line, jump in lens.segment.jumps(lens.addition):
        above, below = (
            thin_lens.over_stop(x, top + line + way, FRONT).prism.turned_over() for way in (1e-7, -1e-7)
        )
        # Within a twentieth of the jump in every direction: a strong lens bends an oblique ray a little aside.
        off = np.linalg.norm(below.vector - above.vector - jump.vector)
        assert off <= 0.05 * np.linalg.norm(jump.vector) + 0.01


def test_a_segment_on_the_back_is_read_from_the_back_unless_told_otherwise():
    lens = Multifocal(power=sphere(-4.0), addition=2.0, eye="R", carried_by=BACK, centre_thickness_mm=4.0)
    assert lens.addition_read() == pytest.approx(2.0, abs=0.02)
    assert abs(lens.addition_read(FRONT) - 2.0) > 0.02


def test_a_trifocal_reads_half_the_addition_in_its_strip():
    lens = Multifocal(power=sphere(-2.0), addition=2.5, eye="L", segment=Segment(intermediate_mm=7))
    x, top = lens.segment_top
    strip = lens.over_stop(x, top - 3.5, FRONT).power.mean
    assert strip - lens.over_stop(0, 5, FRONT).power.mean == pytest.approx(1.25, abs=0.02)


@pytest.mark.parametrize("eye", "RL")
def test_the_segment_is_set_in_to_the_nasal_side(eye):
    lens = Multifocal(power=sphere(1.0), addition=2.0, eye=eye, segment=Segment(width_mm=22), inset_mm=3.0)
    assert lens.segment_top[0] * nasal(eye) == 3.0
    assert lens.part_at(nasal(eye) * 13.0, -9.0) == "near"
    assert lens.part_at(-nasal(eye) * 13.0, -9.0) == "distance"
    assert lens.lines_mm()[0][:, 0].mean() * nasal(eye) > 0


def test_ordered_prism_is_met_at_the_reference_point_and_mirrored_from_the_front():
    ordered = Prism.from_base(2.0, "in", "R")
    lens = Multifocal(power=sphere(-3.0), addition=2.0, eye="R", prism=ordered)
    np.testing.assert_allclose(lens.over_stop(0, 0).prism.vector, ordered.vector, atol=1e-12)
    np.testing.assert_allclose(lens.over_stop(0, 0, FRONT).prism.vector, [-2.0, 0.0], atol=1e-12)


def test_a_map_is_the_same_as_point_by_point():
    lens = Multifocal(power=sphere(-3.0, -1.0, 20), addition=2.0, eye="R")
    x, y = np.meshgrid([-20.0, 0.0, 5.0], [-12.0, -5.0, 6.0])
    whole = lens.power_map(x, y, FRONT).vector
    for i, j in np.ndindex(x.shape):
        one = lens.over_stop(x[i, j], y[i, j], FRONT).power.vector
        np.testing.assert_allclose(whole[i, j], one, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"addition": 0.0}, "above 0"),
        ({"eye": "left"}, "It is R or L"),
        ({"carried_by": "edge"}, "It is back or front"),
        ({"centre_thickness_mm": 60.0}, "between 0 and 40 mm"),
    ],
)
def test_lenses_that_cannot_be_are_refused(changes, sentence):
    with pytest.raises(OpticsError, match=sentence):
        Multifocal(**({"power": sphere(0.0), "addition": 2.0, "eye": "R"} | changes))
