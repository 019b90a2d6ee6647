"""A lens out of square. The comparison with a traced lens is in test_traced.py."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.lens import FRONT, SingleVision
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.tilt import Tilted, Turned, martin, tilted_power, tilted_prism

CASES = Path(__file__).parents[1] / "cases"
ROWS = list(csv.DictReader((CASES / "tilt_martin.csv").open(encoding="utf-8")))

sphere_cylinder = Power.from_sphere_cylinder
POWERS = st.builds(sphere_cylinder, st.floats(-12, 12), st.floats(-4, 4), st.floats(1, 180))
LENSES = st.builds(
    lambda power, x, y: SingleVision(power=power, prism=Prism(np.array([x, y]))),
    POWERS,
    st.floats(-4, 4),
    st.floats(-4, 4),
)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_martins_formula(row):
    sphere, cylinder = martin(float(row["sphere"]), float(row["tilt"]), float(row["index"]))
    assert sphere == pytest.approx(float(row["new_sphere"]), abs=float(row["within"]))
    assert cylinder == pytest.approx(float(row["cylinder"]), abs=float(row["within"]))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_the_matrix_agrees_with_martin_for_small_tilts(row):
    """Martin's formula is the second order of the matrix, so they part with the fourth power of the angle."""
    power, tilt, index = float(row["sphere"]), float(row["tilt"]), float(row["index"])
    form = "plus" if power > 0 else "minus"
    sphere, cylinder, axis = tilted_power(sphere_cylinder(power), tilt, 180.0, index).sphere_cylinder(form)
    apart = 0.25 * abs(power) * np.deg2rad(tilt) ** 4
    assert sphere == pytest.approx(float(row["new_sphere"]), abs=apart + float(row["within"]))
    assert cylinder == pytest.approx(float(row["cylinder"]), abs=apart + float(row["within"]))
    assert axis == pytest.approx(180.0)


@pytest.mark.parametrize(("tilt_axis", "form"), [(180, "plus"), (90, "plus"), (35, "plus")])
def test_induced_cylinder_lies_along_the_tilt_axis(tilt_axis, form):
    tilted = tilted_power(sphere_cylinder(8.0), 15, tilt_axis)
    assert tilted.sphere_cylinder(form)[2] == pytest.approx(tilt_axis)


@given(LENSES, st.floats(-20, 20), st.floats(-20, 20), st.floats(1, 180), st.sampled_from(["back", "front"]))
def test_no_tilt_and_no_turn_change_nothing(lens, x, y, axis, against):
    plain = lens.over_stop(x, y, against)
    for wrapped in (Tilted(lens=lens, tilt_axis=axis), Turned(lens=lens)):
        met = wrapped.over_stop(x, y, against)
        assert met.power.is_close(plain.power, within=1e-12)
        np.testing.assert_allclose(met.prism.vector, plain.prism.vector, atol=1e-12)


@given(POWERS, st.floats(0, 30), st.floats(1, 180), st.floats(0, 360))
def test_tilting_does_not_know_north(power, tilt, axis, turn):
    """Turning lens and tilt axis together turns the result; leaning the other way is the same."""
    here = tilted_power(power, tilt, axis).rotated(turn)
    assert here.is_close(tilted_power(power.rotated(turn), tilt, axis + turn), within=1e-8)
    assert here.is_close(tilted_power(power, -tilt, axis).rotated(turn), within=1e-8)


@given(LENSES, st.floats(0, 25), st.floats(1, 180), st.floats(-3, 3), st.floats(-15, 15))
def test_front_against_the_stop_is_the_mirror_image(lens, tilt, axis, gap, turn):
    """For a thin lens, so that both vertex powers are the same."""
    for held in (
        Tilted(lens=lens, tilt_degrees=tilt, tilt_axis=axis, off_stop_mm=gap),
        Turned(lens=lens, degrees=turn),
    ):
        back, front = held.over_stop(5, -3), held.over_stop(5, -3, FRONT)
        assert front.power.is_close(back.power.turned_over(), within=1e-8)
        np.testing.assert_allclose(front.prism.vector, back.prism.turned_over().vector, atol=1e-8)


def test_a_weak_tilted_prism_bends_as_snell_says():
    """A 2 degree wedge tilted 20 degrees, by Snell's law at both faces, in the plane of the tilt."""
    n, wedge = 1.5, np.deg2rad(0.02)

    def bent_by(incidence):
        inside = np.arcsin(np.sin(incidence) / n)
        return incidence + np.arcsin(n * np.sin(wedge - inside)) - wedge

    straight = 100 * abs(bent_by(wedge / 2))
    tilted = 100 * abs(bent_by(np.deg2rad(20) + wedge / 2))
    found = tilted_prism(Prism(np.array([0.0, straight])), 20.0, 180.0, n).amount
    assert found == pytest.approx(tilted, rel=2e-4)


def test_a_turned_lens_keeps_its_prism_towards_the_same_edge():
    lens = SingleVision(power=sphere_cylinder(0.0), prism=Prism.from_base(2.0, 90, "R"))
    assert Turned(lens=lens, degrees=10).over_stop(0, 0).prism.base_degrees == pytest.approx(100)


def test_a_turned_lens_moves_its_points_with_it():
    lens = SingleVision(power=sphere_cylinder(-2.0, -1.5, 40), prism=Prism(np.array([1.0, 0.5])))
    turned = Turned(lens=lens, degrees=90)
    # The point that was at 3 o'clock is now at 12.
    was, now = lens.over_stop(8, 0).prism, turned.over_stop(0, 8).prism
    np.testing.assert_allclose(now.vector, [-was.y, was.x], atol=1e-12)


def test_arrays_of_tilts():
    tilts = np.array([0.0, 10.0, 20.0])
    together = tilted_power(sphere_cylinder([4.0, -4.0, 8.0]), tilts, [180, 90, 20])
    alone = tilted_power(sphere_cylinder(8.0), 20.0, 20)
    np.testing.assert_allclose(together.vector[2], alone.vector)


@pytest.mark.parametrize("tilt", [50, -80])
def test_a_tilt_no_lens_has_is_refused(tilt):
    with pytest.raises(OpticsError, match="between 0 and 45"):
        Tilted(lens=SingleVision(power=sphere_cylinder(1.0)), tilt_degrees=tilt)
