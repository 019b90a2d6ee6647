"""A pair out of true."""

import pytest

from optics.errors import OpticsError
from optics.lens.lens import SingleVision
from optics.lens.power import Power
from optics.pair.bent import bent
from optics.pair.spectacles import Mounted, Spectacles

LENS = SingleVision(power=Power.from_sphere_cylinder(+6.00, -1.00, 180))
PAIR = Spectacles(right=Mounted(lens=LENS, pd_mm=31), left=Mounted(lens=LENS, pd_mm=33, height_mm=2))


@pytest.mark.parametrize(("eye", "other"), [("R", "L"), ("L", "R")])
def test_only_the_lens_named_is_out(eye, other):
    out = bent(PAIR, eye, tilt_degrees=12, turned_degrees=4, raised_mm=1)
    assert out.mounted(other) is PAIR.mounted(other)
    assert out.mounted(eye) != PAIR.mounted(eye)
    assert out.mounted(eye).height_mm == PAIR.mounted(eye).height_mm + 1


def test_a_lens_turned_in_its_rim_shows_a_wrong_axis_and_nothing_else():
    met = bent(PAIR, "R", turned_degrees=6).over_stop("R", -31, 0)
    assert met.power.sphere_cylinder() == pytest.approx((6.0, -1.0, 6.0))


def test_the_tilt_axis_belongs_to_the_frame_not_to_the_lens():
    met = bent(PAIR, "R", tilt_degrees=20, tilt_axis=90, turned_degrees=90).over_stop("R", -31, 0)
    # Turned by 90 the lens is 5 along 180 and 6 along 90; leaning about 90 strengthens 180 most.
    assert met.power.along(180) == pytest.approx(5.0 * 1.1796, abs=0.001)
    assert met.power.along(90) == pytest.approx(6.0 * 1.0416, abs=0.001)


def test_a_raised_lens_carries_its_centre_with_it():
    out = bent(PAIR, "L", raised_mm=3)
    assert out.over_stop("L", 33, 5).prism.amount == pytest.approx(0.0, abs=1e-12)


def test_a_gap_changes_the_power():
    met = bent(PAIR, "R", off_stop_mm=2).over_stop("R", -31, 0)
    # By focal lengths: 1000/6 - 2 and 1000/5 - 2 mm.
    assert met.power.along(180) == pytest.approx(1000 / (1000 / 6 - 2))
    assert met.power.along(90) == pytest.approx(1000 / (1000 / 5 - 2))


def test_a_third_eye_is_refused():
    with pytest.raises(OpticsError):
        bent(PAIR, "B", tilt_degrees=5)
