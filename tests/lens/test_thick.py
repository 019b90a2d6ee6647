"""Two surfaces and a thickness: vertex powers, additions, edges. See test_traced.py for the ray trace."""

import csv
from pathlib import Path

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st
from sympy.physics.optics.gaussopt import CurvedRefraction, FreeSpace

from optics.errors import OpticsError
from optics.lens.lens import BACK, FRONT, SingleVision
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.thick import ThickLens, back_vertex_power

CASES = Path(__file__).parents[1] / "cases"
THICK = list(csv.DictReader((CASES / "thick_lens.csv").open(encoding="utf-8")))
SIDES = list(csv.DictReader((CASES / "addition_side.csv").open(encoding="utf-8")))

curve = Power.from_sphere_cylinder


def made(row):
    return ThickLens(
        front=curve(float(row["front"])),
        back=curve(float(row["back"])),
        centre_thickness_mm=float(row["thickness_mm"]),
        index=float(row["index"]),
    )


@pytest.mark.parametrize("row", THICK, ids=lambda row: row["id"])
def test_vertex_and_equivalent_powers(row):
    lens = made(row)
    assert lens.back_vertex_power.mean == pytest.approx(float(row["back_vertex"]), abs=0.00006)
    assert lens.front_vertex_power.mean == pytest.approx(float(row["front_vertex"]), abs=0.00006)
    np.testing.assert_allclose(lens.equivalent_power, float(row["equivalent"]) * np.eye(2), atol=0.00006)


@pytest.mark.parametrize("row", SIDES, ids=lambda row: row["id"])
def test_an_addition_is_true_on_the_side_that_carries_it(row):
    distance, add = made(row), float(row["add"])
    near = distance.with_front_segment(add) if row["segment"] == "front" else distance.with_back_segment(add)
    far, close = (lens.over_stop(0, 0, row["against"]).power.mean for lens in (distance, near))
    assert close - far == pytest.approx(float(row["read"]), abs=float(row["within"]))


def test_paraxial_matrices_of_a_general_optics_library_agree():
    """SymPy builds the system from refractions and a gap; vertex powers are read off its matrix."""
    n, t = sympy.Rational(8, 5), sympy.Rational(7, 1000)
    front, back = sympy.Rational(19, 2), sympy.Rational(-13, 4)
    system = CurvedRefraction((1 - n) / back, n, 1) * FreeSpace(t) * CurvedRefraction((n - 1) / front, 1, n)
    lens = ThickLens(front=curve(9.5), back=curve(-3.25), centre_thickness_mm=7, index=1.6)
    assert float(-system.C) == pytest.approx(lens.equivalent_power[0, 0], abs=1e-12)
    assert float(-system.C / system.A) == pytest.approx(lens.back_vertex_power.mean, abs=1e-12)
    assert float(-system.C / system.D) == pytest.approx(lens.front_vertex_power.mean, abs=1e-12)


def test_two_torics_crossed_obliquely_have_an_asymmetric_equivalent_power():
    lens = ThickLens(front=curve(8.0, 2.0, 30), back=curve(-3.0, -2.0, 75), centre_thickness_mm=6, index=1.6)
    matrix = lens.equivalent_power
    assert abs(matrix[0, 1] - matrix[1, 0]) > 0.005
    # Both vertex powers are powers all the same, and their determinants tie in with the equivalent power's:
    # det(back vertex) det(I - c F1) = det(equivalent) = det(front vertex) det(I - c F2).
    c = 0.006 / 1.6
    whole = np.linalg.det(matrix)
    for vertex, surface in ((lens.back_vertex_power, lens.front), (lens.front_vertex_power, lens.back)):
        shortened = np.linalg.det(np.eye(2) - c * surface.matrix)
        assert np.linalg.det(vertex.matrix) * shortened == pytest.approx(whole, rel=1e-12)


POWERS = st.builds(Power.from_sphere_cylinder, st.floats(-12, 12), st.floats(-4, 4), st.floats(1, 180))


@given(POWERS, POWERS, st.floats(1.49, 1.9))
def test_without_thickness_it_is_a_thin_lens(front, back, index):
    thick = ThickLens(front=front, back=back, centre_thickness_mm=0.0, index=index)
    thin = SingleVision(power=front + back)
    for against in (BACK, FRONT):
        found, wanted = thick.over_stop(0.03, -0.07, against), thin.over_stop(0.03, -0.07, against)
        assert found.power.is_close(wanted.power, within=1e-3)
        np.testing.assert_allclose(found.prism.vector, wanted.prism.vector, atol=1e-4)


@given(POWERS, st.floats(0, 14), st.floats(0, 8), st.floats(1.49, 1.9))
def test_a_lens_made_to_an_order_has_the_power_ordered(power, front, thickness, index):
    lens = ThickLens.made_to(power, curve(front), thickness, index)
    assert lens.over_stop(0, 0).power.is_close(power, within=1e-9)


@given(POWERS, POWERS, st.floats(0, 8))
def test_turned_over_the_lens_changes_its_surfaces(front, back, thickness):
    lens = ThickLens(front=front, back=back, centre_thickness_mm=thickness, index=1.5)
    reversed_lens = ThickLens(
        front=back.turned_over(), back=front.turned_over(), centre_thickness_mm=thickness, index=1.5
    )
    found, wanted = lens.over_stop(4.0, 2.0, FRONT), reversed_lens.over_stop(-4.0, 2.0, BACK)
    assert found.power.is_close(wanted.power, within=1e-9)
    np.testing.assert_allclose(found.prism.vector, wanted.prism.vector, atol=1e-9)


def test_ground_prism_is_met_at_the_reference_point():
    lens = ThickLens.made_to(curve(-4.0), curve(4.0), 2.0, 1.5, Prism.from_base(2.0, "out", "R"))
    assert lens.over_stop(0, 0).prism.written("R") == "2.00 base out"
    assert lens.over_stop(0, 0, FRONT).prism.x == pytest.approx(2.0)


def test_many_lenses_at_once():
    fronts = curve([4.0, 6.0, 8.0])
    together = back_vertex_power(fronts, curve([-6.0, -6.0, -2.0]), [1.5, 2.0, 6.0], 1.5)
    assert together.mean[2] == pytest.approx(6.2645, abs=0.0001)


def test_edge_is_centre_less_both_sags():
    # Hand sum: r 62.5 and 125 mm, h 30: sags 7.6707 and 3.6534 mm.
    lens = ThickLens(front=curve(8.0), back=curve(-4.0), centre_thickness_mm=5.0, index=1.5)
    assert lens.edge_thickness_mm(60) == pytest.approx(5.0 - 7.6707 + 3.6534, abs=0.0001)


def test_the_thinnest_edge_gets_the_thickness_asked_for():
    lens = ThickLens(front=curve(7.0), back=curve(-3.0, -2.0, 20), centre_thickness_mm=1.0, index=1.5)
    cut = lens.with_edge_thickness_mm(50, 1.2)
    edges = cut.edge_thickness_mm(50, np.arange(1, 181))
    assert edges.min() == pytest.approx(1.2)
    # A cylinder axis is where the back is flattest, so the plus lens is thinnest there.
    assert int(np.argmin(edges)) + 1 == 20
    assert (cut.front.mean, cut.back.mean) == (lens.front.mean, lens.back.mean)


@pytest.mark.parametrize(("thickness", "index"), [(-1.0, 1.5), (60.0, 1.5), (2.0, 1.2)])
def test_impossible_lenses_are_refused(thickness, index):
    with pytest.raises(OpticsError):
        ThickLens(front=curve(4.0), back=curve(-4.0), centre_thickness_mm=thickness, index=index)
