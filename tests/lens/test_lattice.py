"""The trade's grid is finite: quarter dioptres and whole degrees, swept whole."""

from math import asin, atan, cos, degrees, radians, sin, sqrt, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.lens.angles import axis_difference
from optics.lens.parsing import parse, parse_crossed
from optics.lens.power import Power, rewritten
from optics.lens.prescription import Prescription

STEP = 0.25
SPHERES = np.arange(-20, 20 + STEP, STEP)
CYLINDERS = np.concatenate([np.arange(-6, 0, STEP), np.arange(STEP, 6 + STEP, STEP)])
AXES = np.arange(1.0, 181.0)

TRIG = 1e-9
"""Sines and roots of powers below 50 D; far finer than any reading."""


@pytest.fixture(scope="module")
def grid():
    """Every sphere with every cylinder and every axis: about 1.4 million lenses."""
    return tuple(v.ravel() for v in np.meshgrid(SPHERES, CYLINDERS, AXES, indexing="ij"))


@pytest.fixture(scope="module")
def powers(grid):
    return Power.from_sphere_cylinder(*grid)


def test_changing_the_form_twice_is_no_change(grid):
    """TR20, the rule, both ways on the whole grid; axes stay between 1 and 180."""
    minus = rewritten(*grid, form="minus")
    plus = rewritten(*grid, form="plus")
    assert (minus[1] < 0).all() and (plus[1] > 0).all()
    for there, back in ((minus, rewritten(*plus, form="minus")), (plus, rewritten(*minus, form="plus"))):
        for one, other in zip(there, back, strict=True):
            np.testing.assert_array_equal(one, other)
    was_minus = grid[1] < 0
    for column, one, other in zip(grid, minus, plus, strict=True):
        np.testing.assert_array_equal(column, np.where(was_minus, one, other))
    assert set(np.unique(plus[2])) == set(AXES)


def test_both_forms_are_one_power(grid, powers):
    for form in ("minus", "plus"):
        assert np.all(Power.from_sphere_cylinder(*rewritten(*grid, form=form)).is_close(powers, TRIG))


def test_the_power_gives_back_what_was_written(grid, powers):
    for form in ("minus", "plus"):
        sphere, cylinder, axis = powers.sphere_cylinder(form)
        expected = rewritten(*grid, form=form)
        np.testing.assert_allclose(sphere, expected[0], atol=TRIG)
        np.testing.assert_allclose(cylinder, expected[1], atol=TRIG)
        assert axis_difference(axis, expected[2]).max() < 1e-6
        assert axis.min() > 0 and axis.max() <= 180


@pytest.mark.parametrize("meridian", [1, 37, 90, 135, 180])
def test_powers_at_right_angles_sum_to_twice_sphere_plus_cylinder(grid, powers, meridian):
    """OM7."""
    total = powers.along(meridian) + powers.along(meridian + 90)
    np.testing.assert_allclose(total, 2 * grid[0] + grid[1], atol=TRIG)


def test_along_the_axis_is_the_sphere_and_across_it_sphere_plus_cylinder(grid, powers):
    np.testing.assert_allclose(powers.along(grid[2]), grid[0], atol=TRIG)
    np.testing.assert_allclose(powers.along(grid[2] + 90), grid[0] + grid[1], atol=TRIG)


def test_half_a_turn_changes_nothing(powers):
    assert np.all(powers.rotated(180).is_close(powers, TRIG))
    assert np.all(powers.rotated(-180).is_close(powers, TRIG))
    assert np.all(powers.rotated(90).rotated(90).is_close(powers, TRIG))


# --- written lines: every axis, then every sphere and cylinder -------------------------


def written_lines():
    for axis in range(1, 181):
        for sphere, cylinder in ((0.0, -1.5), (-2.25, 0.75), (3.5, -3.5), (-0.125, 0.375)):
            yield Prescription(sphere=sphere, cylinder=cylinder, axis=axis)
    for sphere in SPHERES:
        yield Prescription(sphere=float(sphere))
        for cylinder in CYLINDERS[::2]:
            yield Prescription(sphere=float(sphere), cylinder=float(cylinder), axis=7)


def test_what_is_printed_is_read_back():
    count = 0
    for line in written_lines():
        assert parse(str(line)) == line
        count += 1
    assert count > 4000


def test_written_lines_change_form_and_back():
    for line in written_lines():
        other = line.transposed()
        assert other.transposed() == line
        if line.cylinder:
            assert other.form != line.form
        crossed = line.to_crossed()
        assert parse_crossed(str(crossed)) == crossed
        assert crossed.to_prescription("plus") == line.to_plus_cylinder()
        assert crossed.to_prescription("minus") == line.to_minus_cylinder()


EIGHTHS = st.integers(-160, 160).map(lambda n: n / 8)


@given(
    sphere=EIGHTHS,
    cylinder=st.integers(-48, 48).map(lambda n: n / 8),
    axis=st.integers(1, 180),
    add=st.none() | st.integers(1, 32).map(lambda n: n / 8),
    prism=st.lists(
        st.tuples(
            st.integers(1, 80).map(lambda n: n / 4),
            st.sampled_from(["in", "out", "up", "down"]) | st.integers(0, 359).map(float),
        ),
        max_size=2,
    ),
    eye=st.sampled_from([None, "R", "L"]),
)
def test_whole_tickets_are_read_back(sphere, cylinder, axis, add, prism, eye):
    line = Prescription(
        sphere=sphere,
        cylinder=cylinder,
        axis=axis if cylinder else None,
        add=add,
        prism=tuple(prism),
        eye=eye,
    )
    assert parse(str(line)) == line


# --- sums --------------------------------------------------------------------------------

LENSES = st.builds(
    Power.from_sphere_cylinder,
    EIGHTHS,
    st.integers(-48, 48).map(lambda n: n / 8),
    st.integers(1, 180),
)


@given(LENSES, LENSES, LENSES)
def test_the_order_of_lenses_put_together_does_not_matter(a, b, c):
    assert (a + b).is_close(b + a) and ((a + b) + c).is_close(a + (b + c))


@given(LENSES, LENSES, st.integers(1, 360))
def test_turning_the_sum_is_turning_each(a, b, turn):
    assert (a + b).rotated(turn).is_close(a.rotated(turn) + b.rotated(turn))


CYLINDER = st.integers(1, 40).map(lambda n: n / 8)
CROSSING = st.integers(1, 89)


def sum_of(first, second, crossing):
    """The lens from two plus cylinders, the first at 180, the second `crossing` degrees on."""
    total = Power.from_sphere_cylinder(0, first, 180) + Power.from_sphere_cylinder(0, second, crossing)
    return total.sphere_cylinder("plus")


@given(CYLINDER, CROSSING)
def test_two_equal_cylinders(power, crossing):
    """OC2: The Indian Optician, May-June 2022, p. 105 (formula read)."""
    sphere, cylinder, axis = sum_of(power, power, crossing)
    expected = 2 * power * sin(radians(crossing / 2)) ** 2
    assert sphere == pytest.approx(expected, abs=TRIG)
    assert cylinder == pytest.approx(2 * (power - expected), abs=TRIG)
    assert axis == pytest.approx(crossing / 2, abs=1e-6)


@given(CYLINDER, CYLINDER, CROSSING)
def test_two_cylinders_by_the_double_angle_formula(f1, f2, crossing):
    """OC3: The Indian Optician, May-June 2022, p. 105 (formula read)."""
    sphere, cylinder, axis = sum_of(f1, f2, crossing)
    double = radians(2 * crossing)
    c = sqrt(f1**2 + f2**2 + 2 * f1 * f2 * cos(double))
    assert cylinder == pytest.approx(c, abs=TRIG)
    assert sphere == pytest.approx((f1 + f2 - c) / 2, abs=TRIG)
    if c > 1e-6:
        theta = degrees(np.arctan2(f2 * sin(double), f1 + f2 * cos(double))) / 2
        assert axis_difference(axis, theta) == pytest.approx(0, abs=1e-5)


@given(CYLINDER, CYLINDER, CROSSING)
def test_two_cylinders_by_the_single_angle_formula(c1, c2, crossing):
    """OC4: a published closed form in the crossing angle itself (read)."""
    sphere, cylinder, axis = sum_of(c1, c2, crossing)
    a = radians(crossing)
    result = sqrt((c1 + c2) ** 2 - 4 * c1 * c2 * sin(a) ** 2)
    assert cylinder == pytest.approx(result, abs=1e-7)
    assert sphere == pytest.approx((c1 + c2 - result) / 2, abs=1e-7)
    theta = degrees(atan((-c1 + c2 + result) / (c1 + c2 + result) * tan(a)))
    assert axis_difference(axis, theta) == pytest.approx(0, abs=1e-5)


@given(CYLINDER, st.integers(1, 90))
def test_a_turned_cylinder_leaves_twice_its_sine(cylinder, turned):
    """The basis of the axis tolerances: residual 2 F sin a (OLA White Paper on Z80.1-2005, p. 1, read)."""
    one = Power.from_sphere_cylinder(0, -cylinder, 30)
    residual = (one.rotated(turned) - one).astigmatism
    assert degrees(asin(min(residual / (2 * cylinder), 1))) == pytest.approx(turned, abs=1e-5)
