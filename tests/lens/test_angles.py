"""Axes, meridians and bases."""

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.lens.angles import (
    axis_difference,
    checked_axis,
    mirrored_axis,
    right_angle_to,
    whole_axis,
    wrapped_axis,
    wrapped_base,
)

ALL_AXES = np.arange(1, 181)


def test_every_whole_axis_stays_as_it_is():
    np.testing.assert_array_equal(wrapped_axis(ALL_AXES), ALL_AXES)
    np.testing.assert_array_equal(whole_axis(ALL_AXES), ALL_AXES)


@pytest.mark.parametrize("turns", [-2, -1, 1, 3])
def test_half_turns_change_no_axis(turns):
    np.testing.assert_array_equal(wrapped_axis(ALL_AXES + 180.0 * turns), ALL_AXES)
    np.testing.assert_array_equal(whole_axis(ALL_AXES + 180 * turns), ALL_AXES)


def test_a_hair_below_zero_is_the_horizontal():
    assert wrapped_axis(-1e-20) == 180.0
    assert wrapped_base(-1e-20) == 0.0


def test_at_right_angles_twice_is_the_same_axis():
    np.testing.assert_array_equal(right_angle_to(right_angle_to(ALL_AXES)), ALL_AXES)
    np.testing.assert_array_equal(axis_difference(right_angle_to(ALL_AXES), ALL_AXES), np.full(180, 90.0))


def test_mirrored_twice_is_the_same_axis():
    np.testing.assert_array_equal(mirrored_axis(mirrored_axis(ALL_AXES)), ALL_AXES)
    assert (mirrored_axis(15), mirrored_axis(90), mirrored_axis(180)) == (165.0, 90.0, 180.0)


def test_axes_differ_by_90_at_most_and_the_order_does_not_matter():
    apart = axis_difference(ALL_AXES[:, None], ALL_AXES[None, :])
    assert (apart.min(), apart.max()) == (0.0, 90.0)
    np.testing.assert_array_equal(apart, apart.T)
    assert (axis_difference(179, 2), axis_difference(180, 1), axis_difference(10, 100)) == (3.0, 1.0, 90.0)


def test_bases_run_once_round():
    np.testing.assert_array_equal(
        wrapped_base(np.array([0, 90, 359, 360, 450, -90])), [0, 90, 359, 0, 90, 270]
    )


def test_scalars_come_back_plain():
    assert type(wrapped_axis(190)) is float and type(whole_axis(190.2)) is int
    assert wrapped_axis(np.array([190.0])).shape == (1,)


@pytest.mark.parametrize("axis", [1, 90, 180, 15.0, np.int64(7), np.float64(7.0)])
def test_whole_numbers_from_1_to_180_are_axes(axis):
    checked = checked_axis(axis)
    assert checked == axis and type(checked) is int


@pytest.mark.parametrize(
    ("axis", "suggestion"),
    [
        (0, "The horizontal axis is written 180."),
        (190, "Did you mean 010?"),
        (360, "Did you mean 180?"),
        (361, "Read the axis scale again."),
        (-5, "Read the axis scale again."),
        (7.5, "Write the nearest whole degree, 008."),
        (179.7, "Write the nearest whole degree, 180."),
        (True, 'Write it in three digits, for example "015".'),
        ("90", 'Write it in three digits, for example "015".'),
        (None, 'Write it in three digits, for example "015".'),
        (float("nan"), 'Write it in three digits, for example "015".'),
        (float("inf"), 'Write it in three digits, for example "015".'),
    ],
)
def test_anything_else_is_refused_with_a_way_out(axis, suggestion):
    with pytest.raises(OpticsError) as refused:
        checked_axis(axis)
    assert refused.value.allowed == "An axis is a whole number from 1 to 180."
    assert refused.value.suggestion == suggestion
