"""Power at another vertex distance."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.vertex import power_nearer_eye, quick_change

CASES = Path(__file__).parents[1] / "cases"
ROWS = list(csv.DictReader((CASES / "vertex.csv").open(encoding="utf-8")))
QUICK = list(csv.DictReader((CASES / "quick_change.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_published_and_computed_figures(row):
    given_lens = parse(row["prescription"])
    moved = power_nearer_eye(given_lens.power, float(row["nearer_mm"]))
    higher, _, lower, _ = moved.principal()
    assert higher == pytest.approx(float(row["higher"]), abs=float(row["within"]))
    assert lower == pytest.approx(float(row["lower"]), abs=float(row["within"]))
    if given_lens.axis is not None:
        assert moved.sphere_cylinder()[2] == pytest.approx(given_lens.axis)


@pytest.mark.parametrize("row", QUICK, ids=lambda row: row["id"])
def test_the_quick_rule_is_short_of_the_exact_change(row):
    power = float(row["power"])
    assert quick_change(power) == pytest.approx(float(row["rule"]))
    exact = power_nearer_eye(Power.from_sphere_cylinder(power), 12).mean - power
    assert exact == pytest.approx(float(row["exact_12mm"]), abs=0.006)


LENSES = st.builds(Power.from_sphere_cylinder, st.floats(-15, 15), st.floats(-6, 6), st.floats(1, 180))


@given(LENSES, st.floats(-15, 15))
def test_there_and_back_is_the_same_lens(power, by_mm):
    assert power_nearer_eye(power_nearer_eye(power, by_mm), -by_mm).is_close(power, within=1e-8)


def test_many_lenses_at_once_agree_with_one_at_a_time():
    many = Power.from_sphere_cylinder([-8.0, 4.0, 11.0], [-2.0, -1.0, 0.0], [20, 100, 180])
    together = power_nearer_eye(many, [12.0, 3.0, -4.0])
    for i, by in enumerate([12.0, 3.0, -4.0]):
        alone = power_nearer_eye(Power(many.vector[i]), by)
        np.testing.assert_allclose(together.vector[i], alone.vector)
