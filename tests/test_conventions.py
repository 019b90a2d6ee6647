"""The conventions, one sentence and one test each.

Everything is seen from the front of the spectacles: x to the viewer's right, y up.
"""

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.lens.angles import checked_axis, wrapped_axis
from optics.lens.lens import BACK, FRONT, SingleVision
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism, imbalance, nasal, prism_at
from optics.pair.spectacles import Mounted, Spectacles


def lens(text):
    return parse(text).power


def bases(prism, eye):
    return {base: round(amount, 6) for amount, base in prism.bases(eye, ignore_below=1e-6)}


def test_angles_run_anticlockwise_from_the_viewers_right():
    """TABO scale: axis 045 rises to the viewer's right (FO19: ISO 8429, from memory)."""
    up_to_the_right, up_to_the_left = (
        prism_at(lens("pl -2.00 x 045"), 5, 5),
        prism_at(lens("pl -2.00 x 045"), -5, 5),
    )
    assert up_to_the_right.amount == pytest.approx(0)
    assert up_to_the_left.amount == pytest.approx(2 * np.hypot(0.5, 0.5))


def test_both_eyes_share_one_scale():
    """The same axis on both eyes is the same direction in space, not mirrored (ISO 8429, from memory)."""
    right, left = (Prescription(sphere=0, cylinder=-1, axis=30, eye=eye) for eye in "RL")
    assert right.power.is_close(left.power)


def test_the_horizontal_is_180_and_never_0():
    """An axis runs from 1 to 180 (ISO 8429, from memory; Thorington)."""
    assert wrapped_axis(0) == wrapped_axis(360) == 180.0
    assert lens("pl -1.00 x 180").sphere_cylinder()[2] == 180.0
    with pytest.raises(OpticsError):
        checked_axis(0)


def test_a_cylinder_acts_at_right_angles_to_its_axis():
    """Axis 180 means no cylinder power along 180 and all of it along 90 (common practice)."""
    assert lens("pl -1.00 x 180").along(180) == pytest.approx(0)
    assert lens("pl -1.00 x 180").along(90) == pytest.approx(-1)


def test_j0_is_positive_for_minus_cylinder_at_180():
    """Signs of the power vector (Thibos, Wheeler and Horner; an open glossary page, read)."""
    assert lens("pl -1.00 x 180").j0 == pytest.approx(0.5)
    assert lens("pl -1.00 x 045").j45 == pytest.approx(0.5)


def test_turning_a_lens_by_plus_ten_adds_ten_to_its_axis():
    """A positive turn is anticlockwise, as the scale runs."""
    assert lens("-1.00 -2.00 x 020").rotated(10).is_close(lens("-1.00 -2.00 x 030"))
    assert lens("-1.00 -2.00 x 175").rotated(10).is_close(lens("-1.00 -2.00 x 005"))


def test_nasal_is_to_the_viewers_right_for_the_right_eye():
    """The wearer's right eye is on the viewer's left, so its nose side is to the right."""
    assert (nasal("R"), nasal("L")) == (1.0, -1.0)
    np.testing.assert_array_equal(Prism.from_base(1.0, "in", "R").vector, [1, 0])
    np.testing.assert_array_equal(Prism.from_base(1.0, "in", "L").vector, [-1, 0])


def test_a_prism_vector_points_to_its_base():
    """Base up points up, base down down, whichever the eye; degrees run as the scale does."""
    for eye in "RL":
        np.testing.assert_array_equal(Prism.from_base(2.0, "up", eye).vector, [0, 2])
        assert Prism.from_base(2.0, 90.0, eye).bases(eye, 1e-9) == ((2.0, "up"),)
        assert Prism.from_base(2.0, "down", eye).base_degrees == 270.0


def test_a_plus_lens_has_its_base_towards_the_centre_and_a_minus_lens_away():
    """Prentice: 2 mm from the centre of 3.00 D are 0.60 prism dioptres (PR16, PR17, computed beforehand)."""
    for eye in "RL":
        # Looking 2 mm temporally of the centre.
        x = -2 * nasal(eye)
        assert bases(prism_at(lens("+3.00 DS"), x, 0), eye) == {"in": 0.6}
        assert bases(prism_at(lens("-3.00 DS"), x, 0), eye) == {"out": 0.6}


def test_decentring_follows_the_base_for_plus():
    """+4.00 with its centre moved 5 mm out gives 2 base out (mrcophth.com mock 13, station 7, read)."""
    outward = -5 * nasal("R")
    assert bases(prism_at(lens("+4.00 DS"), -outward, 0), "R") == {"out": 2.0}


def test_vertical_imbalance_is_right_minus_left():
    """The same vertical base in both eyes cancels; base up R with base down L adds (T-PR9: memory)."""
    up, down = (Prism.from_base(1.0, base, "R") for base in ("up", "down"))
    assert imbalance(up, up).vertical == 0
    assert imbalance(up, down).vertical == 2 and imbalance(down, up).vertical == -2


def test_horizontal_base_in_of_both_eyes_adds():
    """Base in R with base in L adds, base in with base out cancels (T-PR9: memory)."""
    r_in, l_in, l_out = (
        Prism.from_base(1, "in", "R"),
        Prism.from_base(1, "in", "L"),
        Prism.from_base(1, "out", "L"),
    )
    assert imbalance(r_in, l_in).horizontal == 2
    assert imbalance(r_in, l_out).horizontal == 0


def test_the_back_against_the_stop_shows_the_lens_as_written():
    """Back vertex power is read with the concave side against the stop (FO9: memory)."""
    met = SingleVision(power=lens("-1.00 -2.00 x 030")).over_stop(0, 0, BACK)
    assert met.power.is_close(lens("-1.00 -2.00 x 030"))


def test_the_front_against_the_stop_mirrors_axes_and_sideways_prism():
    """Turned over, axis 030 reads 150, and left and right change places."""
    met = SingleVision(power=lens("-1.00 -2.00 x 030"), prism=Prism(np.array([1.0, 2.0]))).over_stop(
        0, 0, FRONT
    )
    assert met.power.is_close(lens("-1.00 -2.00 x 150"))
    np.testing.assert_allclose(met.prism.vector, [-1.0, 2.0])


def test_the_sphere_lines_show_the_power_along_the_wheel():
    """In minus form: wheel at the axis, sphere lines S, cylinder lines S + C."""
    reading = Power.from_line_readings(
        lens("-2.25 -0.75 x 015").along(15), lens("-2.25 -0.75 x 015").along(105), 15
    )
    assert reading.is_close(lens("-2.25 -0.75 x 015"))


def test_the_wearers_right_lens_is_on_the_viewers_left():
    """Pair coordinates: x to the viewer's right from the middle of the bridge."""
    pair = Spectacles(
        right=Mounted(lens=SingleVision(power=lens("+1.00 DS")), pd_mm=31, height_mm=2),
        left=Mounted(lens=SingleVision(power=lens("-1.00 DS")), pd_mm=33, height_mm=1),
    )
    assert pair.reference_point_mm("R") == (-31, 2) and pair.reference_point_mm("L") == (33, 1)
    assert pair.over_stop("R", -31, 2).power.mean == 1.0


def test_a_written_axis_belongs_to_a_cylinder():
    """No cylinder, no axis: a sphere is marked DS (common safety practice, memory)."""
    assert Prescription(sphere=-1.0).axis is None
    with pytest.raises(OpticsError):
        Prescription(sphere=-1.0, axis=180)
