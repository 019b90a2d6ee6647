"""Two surfaces laid flat on the stop, against traced rays."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from traced_rays import Traced, torus

from optics.errors import OpticsError
from optics.lens.laid_flat import usual_front_curve, usual_thickness_mm
from optics.lens.lens import BACK, FRONT, checked_side
from optics.lens.power import Power
from optics.lens.thick import ThickLens

sphere = Power.from_sphere_cylinder
POWERS = st.builds(sphere, st.floats(-9, 9), st.floats(-3, 3), st.floats(1, 180))


@settings(max_examples=40, deadline=None)
@given(
    POWERS, POWERS, st.floats(0, 8), st.floats(-10, 10), st.floats(-10, 10), st.sampled_from([BACK, FRONT])
)
def test_any_two_curves_bend_light_as_traced_rays_say(front, back, thickness, x, y, against):
    """Tori from their geometry on the one hand, Snell's law in vectors on both."""
    assume(min(np.abs(np.r_[front.principal()[::2], back.principal()[::2]])) > 0.05)
    lens = ThickLens(front=front, back=back, centre_thickness_mm=thickness, index=1.6)
    met = lens.over_stop(x, y, against)
    rays = Traced(_torus(front, FRONT), _torus(back, BACK), thickness, 1.6, x, y, against)
    power, prism = rays.power_and_prism()
    if against == FRONT:
        met = met._replace(power=met.power.turned_over(), prism=met.prism.turned_over())
    # A torus and the curve that stands for it here part company off the principal meridians.
    away = np.hypot(x, y) / 25.0 * max(front.astigmatism, back.astigmatism)
    np.testing.assert_allclose(met.prism.vector, prism, atol=0.02 + 0.15 * away)
    np.testing.assert_allclose(met.power.matrix, power, atol=0.02 + 0.15 * away)


def _torus(power, side):
    return torus(*(float(value) for value in power.sphere_cylinder("minus")), 1.6, side)


def test_arrays_keep_their_shape():
    x, y = np.meshgrid(np.arange(3.0), np.arange(4.0))
    lens = ThickLens(front=sphere(5.0), back=sphere(-2.0), centre_thickness_mm=3.0, index=1.5)
    met = lens.over_stop(x, y)
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
