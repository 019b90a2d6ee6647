"""What the cross does in hand neutralization.

With, against and scissors, and the front vertex power, are common practice in
published teaching notes on lens neutralization; the numbers are checked with
SymPy's paraxial matrices.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sympy.physics.optics.gaussopt import FreeSpace, ThinLens

from optics.errors import OpticsError
from optics.instrument.neutralizing import AGAINST, NONE, SCISSORS, WITH, Held, neutralizer
from optics.lens.lens import SingleVision
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.thick import ThickLens

sphere_cylinder = Power.from_sphere_cylinder


@pytest.mark.parametrize(
    ("lens", "along_180", "along_90"),
    [
        ((+2.00,), AGAINST, AGAINST),
        ((-2.00,), WITH, WITH),
        ((0.00,), NONE, NONE),
        ((0.00, -1.00, 90), WITH, NONE),
        ((0.00, 1.00, 180), NONE, AGAINST),
        ((+1.00, -2.50, 180), AGAINST, WITH),
        ((+0.125,), AGAINST, AGAINST),
        ((-0.125,), WITH, WITH),
        ((0.05,), NONE, NONE),
    ],
)
def test_plus_moves_against_and_minus_with(lens, along_180, along_90):
    held = Held(power=sphere_cylinder(*lens))
    assert (held.movement(180), held.movement(90)) == (along_180, along_90)


@pytest.mark.parametrize("axis", [180, 90, 37])
@pytest.mark.parametrize(("cylinder", "line_on_axis"), [(1.50, AGAINST), (-1.50, WITH)])
def test_a_cylinder_turns_the_limbs_like_scissors(axis, cylinder, line_on_axis):
    held = Held(power=sphere_cylinder(0.0, cylinder, axis))
    other = WITH if line_on_axis == AGAINST else AGAINST
    assert held.turning(axis) == line_on_axis
    assert held.turning(axis, turned_degrees=-10) == line_on_axis
    assert held.turning(axis + 90) == other
    assert held.turning_of_cross() == SCISSORS


@pytest.mark.parametrize("sphere", [-6.00, 0.00, 2.50])
def test_a_sphere_does_not_scissor(sphere):
    held = Held(power=sphere_cylinder(sphere))
    assert held.turning_of_cross() == NONE
    assert held.rotation_degrees([10, 100], 15) == pytest.approx([0, 0], abs=1e-9)


@pytest.mark.parametrize("power", [-7.0, -1.5, 1.5, 4.0])
def test_the_seen_place_is_where_the_traced_ray_goes(power):
    """The ray from a point of the cross that reaches the eye, by paraxial matrices, lens decentred."""
    eye, cross, point, centre = 0.15, 3.0, 40.0, 6.0
    through = FreeSpace(eye) * ThinLens(1 / power) * FreeSpace(cross)
    # Heights from the lens's own axis; choose the slope that brings the ray to the eye at -centre.
    start, end = point - centre, -centre
    slope = (end - float(through.A) * start) / float(through.B)
    leaving = float(through.C) * start + float(through.D) * slope
    seen = -leaving * (eye + cross)
    held = Held(power=sphere_cylinder(power), from_eye_mm=1000 * eye, cross_mm=1000 * cross)
    np.testing.assert_allclose(held.seen_mm((point, 0.0), (centre, 0.0)), [seen, 0.0], atol=1e-9)


def test_prism_shifts_the_cross_towards_its_apex():
    # 2 base up at 3 m: 60 mm down, for an eye close behind the prism.
    held = Held(power=sphere_cylinder(0.0), prism=Prism.from_base(2.0, "up", "R"))
    np.testing.assert_allclose(held.seen_mm((0, 0)), [0, -60])


def test_a_strong_plus_lens_held_too_far_off_misleads():
    near = Held(power=sphere_cylinder(+8.0), from_eye_mm=60)
    far = Held(power=sphere_cylinder(+8.0), from_eye_mm=400)
    assert near.upright and near.movement(90) == AGAINST
    assert not far.upright and far.movement(90) == WITH


def test_off_the_principal_meridians_the_cross_does_not_move_in_line():
    moved = Held(power=sphere_cylinder(0.0, -2.0, 45)).displacement_mm((5.0, 0.0))
    assert moved[0] > 1 and abs(moved[1]) > 1


def test_displacement_of_many_movements_at_once():
    held = Held(power=sphere_cylinder(-2.0, -1.0, 30), prism=Prism(np.array([1.0, 2.0])))
    path = np.array([[1.0, 0.0], [0.0, 1.0], [3.0, -1.0]])
    together = held.displacement_mm(path)
    np.testing.assert_allclose(together[2], held.displacement_mm(path[2]))
    np.testing.assert_allclose(together[2], 3 * together[0] - together[1])


POWERS = st.builds(sphere_cylinder, st.floats(-10, 4), st.floats(-3, 0), st.floats(1, 180))


@given(POWERS, st.floats(1, 180))
def test_the_neutralizer_stops_everything(power, meridian):
    lens = SingleVision(power=power)
    held = Held(power=power).with_trial(neutralizer(lens))
    assert held.movement(meridian, least=1e-6) == NONE
    assert abs(held.rotation_degrees(meridian, 20)) < 1e-6


@given(POWERS.filter(lambda power: power.astigmatism > 0.2))
def test_unbroken_lines_lie_along_the_principal_meridians_only(power):
    held = Held(power=power)
    _, axis, _, _ = power.principal()
    on = [held.seen_direction(axis) - axis, held.seen_direction(axis + 90) - axis - 90]
    assert all(abs((difference + 90) % 180 - 90) < 1e-6 for difference in on)
    off = held.seen_direction(axis + 45) - axis - 45
    assert abs((off + 90) % 180 - 90) > 0.1


@given(POWERS, st.floats(-40, 40))
def test_turning_the_lens_turns_its_power(power, degrees):
    assert Held(power=power).turned(degrees).power.is_close(power.rotated(degrees))


def test_a_thick_plus_lens_is_neutralized_by_its_front_vertex_power():
    # BV2 of the thick lens cases: front vertex +9.05, back vertex +9.82.
    lens = ThickLens(
        front=sphere_cylinder(12.0), back=sphere_cylinder(-3.0), centre_thickness_mm=8, index=1.5
    )
    assert neutralizer(lens).mean == pytest.approx(-9.0472, abs=0.0001)


def test_axes_of_the_neutralizer_are_those_of_the_lens():
    lens = SingleVision(power=sphere_cylinder(-1.0, -2.0, 30))
    assert neutralizer(lens).sphere_cylinder("plus") == pytest.approx((1.0, 2.0, 30.0))


@pytest.mark.parametrize("distances", [{"from_eye_mm": 0}, {"cross_mm": -3000}])
def test_a_lens_is_held_between_eye_and_cross(distances):
    with pytest.raises(OpticsError, match="between your eye and the cross"):
        Held(power=sphere_cylinder(1.0), **distances)
