"""Two surfaces laid flat on the stop agree with the thick lens of constant curves."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.laid_flat import Curve, checked_side, laid_flat, usual_front_curve, usual_thickness_mm
from optics.lens.lens import BACK, FRONT
from optics.lens.power import Power
from optics.lens.thick import ThickLens

sphere = Power.from_sphere_cylinder
POWERS = st.builds(sphere, st.floats(-9, 9), st.floats(-4, 4), st.floats(1, 180))


@given(
    POWERS, POWERS, st.floats(0, 8), st.floats(-25, 25), st.floats(-25, 25), st.sampled_from([BACK, FRONT])
)
def test_constant_curves_are_met_as_in_a_thick_lens(front, back, thickness, x, y, against):
    met = laid_flat(Curve(everywhere=front), Curve(everywhere=back), thickness, 1.6, x, y, against)
    thick = ThickLens(front=front, back=back, centre_thickness_mm=thickness, index=1.6)
    expected = thick.over_stop(x, y, against)
    assert met.power.is_close(expected.power)
    np.testing.assert_allclose(met.prism.vector, expected.prism.vector, atol=1e-9)


def test_a_tilted_curve_adds_its_prism_everywhere():
    level, tilted = (
        Curve(everywhere=sphere(-4.0)),
        Curve(everywhere=sphere(-4.0), at_origin=np.array([1.0, -2.0])),
    )
    front = Curve(everywhere=sphere(6.0))
    for point in ((0.0, 0.0), (8.0, -3.0)):
        apart = (
            laid_flat(front, tilted, 0.0, 1.5, *point).prism.vector
            - laid_flat(front, level, 0.0, 1.5, *point).prism.vector
        )
        np.testing.assert_allclose(apart, [1.0, -2.0], atol=1e-12)


def test_arrays_keep_their_shape():
    x, y = np.meshgrid(np.arange(3.0), np.arange(4.0))
    met = laid_flat(Curve(everywhere=sphere(5.0)), Curve(everywhere=sphere(-2.0)), 3.0, 1.5, x, y)
    assert met.power.vector.shape == (4, 3, 3) and met.prism.vector.shape == (4, 3, 2)


def test_only_two_sides_can_lie_on_the_stop():
    with pytest.raises(OpticsError, match="It is back or front"):
        checked_side("top")


def test_usual_measures_leave_an_edge():
    """The usual curve and thickness give a lens that can be made, over the range dispensed."""
    for power in (sphere(-10.0), sphere(-2.0, -2.0, 30), sphere(0.0), sphere(3.0), sphere(6.0, -2.0, 180)):
        lens = ThickLens.made_to(
            power, sphere(usual_front_curve(power)), usual_thickness_mm(power, 0.0, 1.5), 1.5
        )
        assert np.min(lens.edge_thickness_mm(55.0, np.arange(1, 181))) > 0.5
