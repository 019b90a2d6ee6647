"""Dioptric power: meridians, vectors, matrices, sums."""

import csv
from math import hypot
from pathlib import Path

import numpy as np
import pytest

from optics.lens.parsing import parse
from optics.lens.power import Power, rewritten

CASES = Path(__file__).parents[1] / "cases"
MERIDIANS = list(csv.DictReader((CASES / "oblique_power.csv").open(encoding="utf-8")))
VECTORS = list(csv.DictReader((CASES / "power_vectors.csv").open(encoding="utf-8")))
SUMS = list(csv.DictReader((CASES / "oblique_sums.csv").open(encoding="utf-8")))
LINES = list(csv.DictReader((CASES / "line_readings.csv").open(encoding="utf-8")))

FOUR_PLACES = 0.00005
"""The table prints four decimals."""


def lens(sphere, cylinder=0.0, axis=180.0):
    return Power.from_sphere_cylinder(sphere, cylinder, axis)


@pytest.mark.parametrize("row", MERIDIANS, ids=lambda row: row["id"])
def test_power_along_a_meridian(row):
    along = parse(row["lens"]).power.along(float(row["meridian"]))
    assert along == pytest.approx(float(row["power"]), abs=float(row["within"]))


@pytest.mark.parametrize("row", VECTORS, ids=lambda row: row["id"])
def test_power_vector(row):
    power = parse(row["lens"]).power
    expected = [float(row[name]) for name in ("mean", "j0", "j45")]
    np.testing.assert_allclose([power.mean, power.j0, power.j45], expected, atol=FOUR_PLACES)


@pytest.mark.parametrize("row", SUMS, ids=lambda row: row["id"])
def test_sum_of_obliquely_crossed_lenses(row):
    total = parse(row["first"]).power + parse(row["second"]).power
    expected = [float(row[name]) for name in ("sphere", "cylinder", "axis")]
    form = "plus" if expected[1] > 0 else "minus"
    np.testing.assert_allclose(total.sphere_cylinder(form), expected, atol=float(row["within"]))


@pytest.mark.parametrize("row", LINES, ids=lambda row: row["id"])
def test_what_the_two_line_sets_read(row):
    power = Power.from_line_readings(
        float(row["sphere_lines"]), float(row["cylinder_lines"]), float(row["wheel"])
    )
    assert power.is_close(parse(row["minus"]).power)
    assert power.is_close(parse(row["plus"]).power)


def test_addition_is_near_minus_distance_on_the_same_lines():
    """RD4: the same lines read +6.00 near and +5.00 distance (86m.net/?p=13058, read ok)."""
    near, distance = Power.from_line_readings(+6.00, +6.00, 180), Power.from_line_readings(+5.00, +5.00, 180)
    assert (near - distance).mean == 1.00


def matrix_by_hand(cylinder, axis):
    """A plano cylinder as C n n^T, n at right angles to the axis: a second way to the matrix."""
    n = np.array([-np.sin(np.deg2rad(axis)), np.cos(np.deg2rad(axis))])
    return cylinder * np.outer(n, n)


@pytest.mark.parametrize("cylinder", [-0.75, -1.00, -1.50, -2.00, -3.00])
@pytest.mark.parametrize("turned", [5, 10, 15, 20, 30, 45])
def test_a_cylinder_off_axis_leaves_a_crossed_cylinder(cylinder, turned):
    """|C| sin d sphere with -2|C| sin d cylinder (closed form), and a sum of matrices built here."""
    axis = 20.0
    residual = lens(0, cylinder, axis) - lens(0, cylinder, axis + turned)
    sphere, left, left_axis = residual.sphere_cylinder("minus")
    expected = abs(cylinder) * np.sin(np.deg2rad(turned))
    assert sphere == pytest.approx(expected) and left == pytest.approx(-2 * expected)
    # Its axis stands 45 - d/2 off the correct axis, on the side away from the turn.
    assert abs(left_axis - (axis - (45 - turned / 2)) % 180) == pytest.approx(0, abs=1e-9)
    by_matrix = matrix_by_hand(cylinder, axis) - matrix_by_hand(cylinder, axis + turned)
    np.testing.assert_allclose(np.linalg.eigvalsh(by_matrix), [-expected, expected])
    np.testing.assert_allclose(residual.matrix, by_matrix, atol=1e-12)


def test_matrix_there_and_back():
    power = lens(np.array([-2.0, 3.5]), np.array([-0.75, 1.25]), np.array([15.0, 100.0]))
    assert power.matrix.shape == (2, 2, 2)
    assert np.all(Power.from_matrix(power.matrix).is_close(power))


def test_matrix_gives_the_power_along_every_meridian():
    power, meridians = lens(-3.00, -2.00, 30), np.arange(1, 181)
    directions = np.stack([np.cos(np.deg2rad(meridians)), np.sin(np.deg2rad(meridians))], -1)
    quadratic = np.einsum("mi,ij,mj->m", directions, power.matrix, directions)
    np.testing.assert_allclose(power.along(meridians), quadratic, atol=1e-12)


def test_principal_powers_are_the_extremes_over_all_meridians():
    power, meridians = lens(+2.50, -1.50, 170), np.arange(1, 181)
    along = power.along(meridians)
    higher, higher_meridian, lower, lower_meridian = power.principal()
    assert (higher, lower) == (pytest.approx(along.max()), pytest.approx(along.min()))
    assert higher_meridian == pytest.approx(meridians[along.argmax()])
    assert lower_meridian == pytest.approx(meridians[along.argmin()])


def test_strength_is_the_blur_over_all_meridians():
    """Root mean square of |F n| over the meridians, from the matrix."""
    power, angles = lens(-1.25, -2.00, 35), np.deg2rad(np.arange(360))
    blur = power.matrix @ np.stack([np.cos(angles), np.sin(angles)])
    assert power.strength == pytest.approx(np.sqrt(np.mean(np.sum(blur**2, axis=0))))
    assert lens(0).strength == 0.0


def test_arithmetic_of_lenses():
    a, b = lens(-2, -1, 20), lens(+1, -0.5, 110)
    assert (a + b - b).is_close(a) and (a + -a).is_close(lens(0))
    assert (2 * a).is_close(a + a) and (a * 0.5 + a * 0.5).is_close(a)
    assert a.rotated(35).is_close(lens(-2, -1, 55))
    assert a.turned_over().is_close(lens(-2, -1, 160)) and a.turned_over().turned_over().is_close(a)
    assert not a.is_close(b)


def test_arrays_and_single_lenses_agree():
    spheres, cylinders, axes = (
        np.array([-2.0, 0.0, 4.0]),
        np.array([-0.5, -3.0, 0.0]),
        np.array([5.0, 90.0, 180.0]),
    )
    many = lens(spheres, cylinders, axes)
    singles = [lens(*values) for values in zip(spheres, cylinders, axes, strict=True)]
    for name in ("mean", "j0", "j45", "astigmatism", "strength"):
        np.testing.assert_array_equal(getattr(many, name), [getattr(one, name) for one in singles])
        assert type(getattr(singles[0], name)) is float
    assert many.is_close(many).tolist() == [True] * 3 and lens(1).is_close(lens(1)) is True


def test_no_cylinder_has_an_axis_that_means_nothing():
    assert lens(-2.0).sphere_cylinder("minus") == (-2.0, 0.0, 180.0)
    assert lens(-2.0).sphere_cylinder("plus") == (-2.0, 0.0, 90.0)


def test_a_vector_has_three_components():
    with pytest.raises(ValueError, match="3 components"):
        Power(np.zeros(2))
    for wrong in ("crossed", "", None):
        with pytest.raises(ValueError, match="minus"):
            lens(1).sphere_cylinder(wrong)
        with pytest.raises(ValueError, match="minus"):
            rewritten(1, 0, 180, wrong)


def test_mean_power_and_astigmatism_by_hand():
    power = lens(-2.00, -1.50, 25)
    assert power.mean == pytest.approx(-2.75) and power.astigmatism == pytest.approx(1.50)
    assert hypot(power.j0, power.j45) == pytest.approx(0.75)
