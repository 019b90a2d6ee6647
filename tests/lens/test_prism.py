"""Prism of one lens: at a point, by decentration, combined, resolved, written."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.lens.plano_prism import deviation_degrees, prism_dioptres, thickness_difference_mm, weak_prism
from optics.lens.power import Power
from optics.lens.prism import Prism, decentration_mm, nasal, prism_at

CASES = Path(__file__).parents[1] / "cases"
POINTS = list(csv.DictReader((CASES / "prism_at_a_point.csv").open(encoding="utf-8")))
WRITTEN = list(csv.DictReader((CASES / "prism_written.csv").open(encoding="utf-8")))
PLAIN = list(csv.DictReader((CASES / "plano_prism.csv").open(encoding="utf-8")))

POWERS = st.builds(Power.from_sphere_cylinder, st.floats(-12, 12), st.floats(-5, 5), st.floats(1, 180))
PRISMS = st.builds(lambda x, y: Prism(np.array([x, y])), st.floats(-6, 6), st.floats(-6, 6))


@pytest.mark.parametrize("row", POINTS, ids=lambda row: row["id"])
def test_prism_at_a_point(row):
    eye, within = row["eye"], float(row["within"])
    x = -nasal(eye) * float(row["out_mm"])
    found = prism_at(parse(row["prescription"]).power, x, float(row["up_mm"]))
    assert found.y == pytest.approx(float(row["up"]), abs=within)
    assert -found.inward(eye) == pytest.approx(float(row["out"]), abs=within)


def test_pr1_decentration_for_a_wanted_prism():
    # Ophthalmology mock examination 13, station 7 (read): +4.00, 2 base out, 5 mm out.
    centre = decentration_mm(Power.from_sphere_cylinder(4.0), Prism.from_base(2.0, "out", "R"))
    np.testing.assert_allclose(centre, [-5.0, 0.0], atol=1e-12)


@given(
    st.floats(-10, 10),
    st.floats(-5, 5),
    st.integers(1, 180),
    st.floats(-1.5, 1.5),
    st.floats(-1.5, 1.5),
    st.sampled_from("RL"),
)
def test_pr3_the_published_component_formulae(s, c, axis, x, y, eye):
    """The Indian Optician, Nov-Dec 2024: centre x cm out and y cm up, axis in nasal notation."""
    theta = np.deg2rad(axis if eye == "R" else 180 - axis)
    common = x * np.sin(theta) + y * np.cos(theta)
    up, out = y * s + c * np.cos(theta) * common, x * s + c * np.sin(theta) * common
    # The point as seen from the centre is the other way.
    power = Power.from_sphere_cylinder(s, c, axis)
    found = prism_at(power, nasal(eye) * x * 10, -y * 10)
    assert found.y == pytest.approx(up, abs=1e-9)
    assert -found.inward(eye) == pytest.approx(out, abs=1e-9)


@pytest.mark.parametrize("eye", ["R", "L"])
@pytest.mark.parametrize(("s", "c", "axis"), [(6.0, -3.0, 140), (-2.5, -1.25, 20), (4.0, 1.5, 75)])
def test_pr4_the_published_inverse(eye, s, c, axis):
    """The Indian Optician, Nov-Dec 2024, p. 134: decentration for 1.5 up with 2 out."""
    up, out = 1.5, 2.0
    theta = np.deg2rad(axis if eye == "R" else 180 - axis)
    mixed = c * np.sin(theta) * np.cos(theta)
    y = (up * (s + c * np.sin(theta) ** 2) - out * mixed) / (s * (s + c))
    x = (out * (s + c * np.cos(theta) ** 2) - up * mixed) / (s * (s + c))
    wanted = Prism.from_base(out, "out", eye) + Prism.from_base(up, "up", eye)
    centre = decentration_mm(Power.from_sphere_cylinder(s, c, axis), wanted)
    np.testing.assert_allclose(centre, [-nasal(eye) * x * 10, y * 10], atol=1e-9)


def test_pr6_the_band_of_equal_vertical_prism():
    """The Indian Optician, Sept-Oct 2022, p. 108: 5.55 mm either side of a line along 13.9."""
    power = parse("+3.00 +2.00 x 060").power
    along, across = np.deg2rad(13.9), np.deg2rad(13.9 + 90)
    for step in (-20.0, 0.0, 20.0):
        edge = 5.55 * np.array([np.cos(across), np.sin(across)]) + step * np.array(
            [np.cos(along), np.sin(along)]
        )
        assert abs(prism_at(power, *edge).y) == pytest.approx(2.0, abs=0.005)


@given(POWERS.filter(lambda p: min(abs(p.principal()[0]), abs(p.principal()[2])) > 0.2), PRISMS)
def test_decentration_and_prentice_undo_each_other(power, prism):
    x, y = decentration_mm(power, prism)
    np.testing.assert_allclose(prism_at(power, -x, -y).vector, prism.vector, atol=1e-8)


def test_a_plano_meridian_cannot_give_prism():
    cylinder = Power.from_sphere_cylinder(0.0, -2.0, 90)
    with pytest.raises(OpticsError, match="no power along 090"):
        decentration_mm(cylinder, Prism.from_base(1.0, "up", "R"))
    np.testing.assert_allclose(
        decentration_mm(cylinder, Prism.from_base(1.0, "in", "R")), [-5, 0], atol=1e-12
    )


@pytest.mark.parametrize("row", WRITTEN, ids=lambda row: row["id"])
def test_combining_and_writing_prism(row):
    eye = row["eye"]
    both = Prism.from_base(float(row["horizontal"]), row["horizontal_base"], eye) + Prism.from_base(
        float(row["vertical"]), row["vertical_base"], eye
    )
    assert both.amount == pytest.approx(float(row["amount"]), abs=0.005)
    assert both.base_degrees == pytest.approx(float(row["degrees"]), abs=0.01)
    assert both.written(eye, "180") == row["in_180"]


@pytest.mark.parametrize("row", WRITTEN, ids=lambda row: row["id"])
def test_resolving_prism(row):
    eye = row["eye"]
    oblique = Prism.from_base(float(row["amount"]), float(row["degrees"]), eye)
    towards = {"R": {"in": 0, "out": 180}, "L": {"in": 180, "out": 0}}[eye][row["horizontal_base"]]
    assert oblique.along(towards) == pytest.approx(float(row["horizontal"]), abs=0.005)
    vertical = 90 if row["vertical_base"] == "up" else 270
    assert oblique.along(vertical) == pytest.approx(float(row["vertical"]), abs=0.005)


def test_words_for_prism():
    oblique = Prism.from_base(2.5, 216.87, "L")
    assert oblique.written("L") == "2.00 base in and 1.50 base down"
    assert oblique.written("R") == "2.00 base out and 1.50 base down"
    assert oblique.written("L", "360") == "2.50 base 217"
    assert Prism.none().written("R") == "no prism"
    assert Prism.from_base(1.0, 359.8, "R").written("R", "360") == "1.00 base 000"
    assert Prism.from_base(1.0, 359.8, "R").written("R", "180") == "1.00 base 180 in"


@given(PRISMS)
def test_turning_over_twice_changes_nothing(prism):
    np.testing.assert_array_equal(prism.turned_over().turned_over().vector, prism.vector)


@pytest.mark.parametrize("base", ["inn", "top", ""])
def test_a_base_that_is_none_is_refused(base):
    with pytest.raises(OpticsError, match="in, out, up or down"):
        Prism.from_base(1.0, base, "R")


# --- plain prisms --------------------------------------------------------------


@pytest.mark.parametrize("row", PLAIN, ids=lambda row: row["id"])
def test_weak_prisms(row):
    prism = weak_prism(float(row["given"]), float(row["index"]))
    assert prism == pytest.approx(float(row["prism"]), abs=float(row["within"]))
    # The published shift of 4 mm on +7.00.
    shift = decentration_mm(Power.from_sphere_cylinder(7.0), Prism(np.array([prism, 0.0])))
    assert shift[0] == pytest.approx(4.0, abs=0.1)


def test_pr12_a_prism_dioptre_in_degrees():
    # Fuchs, section 747 (read): 1 prism dioptre is 0.5729 degrees; a weak prism bends by half its angle.
    assert deviation_degrees(1.0) == pytest.approx(0.5729, abs=0.00005)
    assert deviation_degrees(weak_prism(4.0, 1.5)) == pytest.approx(2.0)


@given(st.floats(-30, 30))
def test_degrees_and_prism_dioptres_undo_each_other(prism):
    assert prism_dioptres(deviation_degrees(prism)) == pytest.approx(prism, abs=1e-9)


def test_the_base_is_thicker_by_the_wedge():
    """A wedge as wide as this, with the angle that gives this prism, is so much thicker at its base."""
    prism, width, index = 3.0, 46.0, 1.6
    angle = deviation_degrees(prism) / (index - 1)
    by_angle = width * np.tan(np.deg2rad(angle))
    assert thickness_difference_mm(prism, width, index) == pytest.approx(by_angle, rel=0.002)


def test_a_weak_lens_gives_prism_too_when_it_is_moved_far_enough():
    """Prentice: 0.0625 D at 16 mm is 0.10; only where there is no power at all can no place give it."""
    place = decentration_mm(Power.from_sphere_cylinder(0.0625), Prism.from_base(0.1, "up", "R"))
    assert place == pytest.approx([0.0, 16.0])


def test_whatever_shows_in_two_decimals_is_written():
    assert Prism.from_base(0.04, "up", "R").written("R") == "0.04 base up"
    assert Prism.from_base(0.004, "up", "R").written("R") == "no prism"
