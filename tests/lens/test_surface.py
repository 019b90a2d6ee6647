"""Curves, sags and the lens measure."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.power import Power
from optics.lens.surface import (
    LENS_MEASURE_INDEX,
    power_from_lens_measure,
    power_from_radius,
    power_from_sagitta,
    radius_mm,
    sagitta_mm,
)

CASES = Path(__file__).parents[1] / "cases"
CURVES = list(csv.DictReader((CASES / "curves.csv").open(encoding="utf-8")))
MEASURED = list(csv.DictReader((CASES / "lens_measure.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", CURVES, ids=lambda row: row["id"])
def test_radius_and_sagitta(row):
    power, index = float(row["power"]), float(row["index"])
    assert radius_mm(power, index) == pytest.approx(float(row["radius_mm"]), abs=float(row["radius_within"]))
    if row["sagitta_mm"]:
        diameter = float(row["diameter_mm"])
        assert sagitta_mm(power, index, diameter) == pytest.approx(float(row["sagitta_mm"]), abs=0.0006)
        assert power_from_sagitta(float(row["sagitta_mm"]), diameter, index) == pytest.approx(
            power, abs=0.002
        )
    if row["parabola_mm"]:
        found = sagitta_mm(power, index, diameter, "parabola")
        assert found == pytest.approx(float(row["parabola_mm"]), abs=0.0006)


@pytest.mark.parametrize("row", MEASURED, ids=lambda row: row["id"])
def test_a_lens_measure_on_another_material(row):
    index, marked_for = float(row["index"]), float(row["calibration_index"])
    total = sum(power_from_lens_measure(float(row[side]), index, marked_for) for side in ("first", "second"))
    assert total == pytest.approx(float(row["total"]), abs=float(row["within"]))


def test_lc2_the_parabola_overstates_a_true_sag_of_six_dioptres():
    # Encyclopaedia article "Lens clock" (read): 6.02 from the sag of 6.00 over 20 mm.
    assert power_from_sagitta(0.5679, 20, 1.53, "parabola") == pytest.approx(6.02, abs=0.002)


def test_the_lens_measure_on_a_toric_surface_shows_each_meridian():
    surface = Power.from_sphere_cylinder(6.00, 1.50, 30)
    shown = power_from_lens_measure(surface, LENS_MEASURE_INDEX, 1.53)
    assert shown.along(30) == pytest.approx(6.00)
    assert shown.along(120) == pytest.approx(7.50)


@given(st.floats(-15, 15), st.floats(1.49, 1.9), st.floats(10, 60))
def test_sagitta_and_power_undo_each_other(power, index, diameter):
    found = power_from_sagitta(sagitta_mm(power, index, diameter), diameter, index)
    assert found == pytest.approx(power, abs=1e-9)


@given(st.floats(-20, 20), st.floats(1.49, 1.9))
def test_a_measured_surface_reads_back(power, index):
    assert power_from_lens_measure(
        power_from_lens_measure(power, LENS_MEASURE_INDEX, index), index
    ) == pytest.approx(power)


def test_plano_has_no_sag_and_no_end():
    assert sagitta_mm(0.0, 1.5, 60) == 0.0
    assert np.isinf(radius_mm(0.0, 1.5))
    assert power_from_radius(np.inf, 1.5) == 0.0


def test_a_curve_that_closes_too_early_is_refused_with_its_limit():
    # Radius 25 mm: no lens of it is wider than 50 mm.
    with pytest.raises(OpticsError, match="closes at 50 mm"):
        sagitta_mm(20.0, 1.5, 60)


@pytest.mark.parametrize("index", [1.0, 1.33, 2.4])
def test_an_impossible_index_is_refused(index):
    with pytest.raises(OpticsError, match=r"between 1.40 and 2.00"):
        radius_mm(5.0, index)
