"""Toric form and base curves."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.lens_form import base_curve, toric_form
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription

CASES = Path(__file__).parents[1] / "cases"
TORIC = list(csv.DictReader((CASES / "toric_form.csv").open(encoding="utf-8")))
BASE = list(csv.DictReader((CASES / "base_curve.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", TORIC, ids=lambda row: row["id"])
def test_published_toric_forms(row):
    assert str(toric_form(parse(row["prescription"]), float(row["base"]))) == row["form"]


@pytest.mark.parametrize("row", BASE, ids=lambda row: row["id"])
def test_base_curve_by_rule_of_thumb(row):
    assert base_curve(parse(row["prescription"]).power) == float(row["base"])


@given(
    st.integers(-40, 40), st.integers(-24, 24).filter(bool), st.integers(1, 180), st.sampled_from([-6.0, 6.0])
)
def test_the_surfaces_add_up_to_the_lens(sphere, cylinder, axis, base):
    lens = Prescription(sphere=sphere / 4, cylinder=cylinder / 4, axis=axis)
    form = toric_form(lens, base)
    assert form.power.is_close(lens.power)
    assert abs(form.cross) > abs(form.base)


def test_no_base_curve_is_concave():
    assert base_curve(Power.from_sphere_cylinder(-20.0)) == 0.0


@pytest.mark.parametrize(
    ("lens", "base", "words"), [("+2.00 DS", 6.0, "cylinder"), ("+2.00 -1.00 x 090", 0.0, "curve")]
)
def test_what_has_no_toric_form_is_refused(lens, base, words):
    with pytest.raises(OpticsError, match=words):
        toric_form(parse(lens), base)
