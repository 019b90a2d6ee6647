"""Marks of a progressive lens, and the layout found from two rings."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.lens import FRONT
from optics.lens.power import Power
from optics.lens.prism import nasal
from optics.lens.progressive import Progressive
from optics.lens.progressive_marks import layout_from_markings, marks

CASES = Path(__file__).parents[1] / "cases"
LAYOUT = list(csv.DictReader((CASES / "progressive_layout.csv").open(encoding="utf-8")))


def lens(eye="R", **changes):
    return Progressive(power=Power.from_sphere_cylinder(-1.0), addition=2.0, eye=eye, **changes)


def named(found, name):
    return [mark for mark in found if mark.name == name]


def measured(quantity):
    found = marks(lens())
    left, right = sorted(mark.x_mm for mark in named(found, "engraved ring"))
    prp = named(found, "prism reference point")[0].x_mm
    near = named(found, "near circle")[0]
    return {
        "distance between the two rings": [right - left],
        "distance of the prism reference point from each ring": [prp - left, right - prp],
        "usual height of the fitting cross": [named(found, "fitting cross")[0].y_mm],
        "usual inset of the near circle": [near.x_mm - prp],
        "width of the near circle": [near.size_mm],
    }[quantity]


@pytest.mark.parametrize("row", LAYOUT, ids=lambda row: row["id"])
def test_published_layout(row):
    for value in measured(row["quantity"]):
        assert float(row["low"]) <= value <= float(row["high"])


@pytest.mark.parametrize("eye", "RL")
def test_the_addition_is_engraved_temporally_and_the_maker_nasally(eye):
    """PG3: "Ophthalmic Lenses" (textbook), p. 136."""
    found = marks(lens(eye), ink=False)
    addition, maker = named(found, "addition")[0], named(found, "maker's sign")[0]
    assert addition.x_mm * nasal(eye) < 0 < maker.x_mm * nasal(eye)
    assert addition.text == "2.00"


def test_what_is_washed_off_and_what_stays():
    """PG14: ISO 8980-2 (from memory)."""
    permanent = {mark.name for mark in marks(lens(), ink=False)}
    assert permanent == {"engraved ring", "addition", "maker's sign"}
    ink = {mark.name for mark in marks(lens()) if not mark.permanent}
    assert ink == {
        "fitting cross",
        "distance circle",
        "near circle",
        "prism reference point",
        "level line",
    }


def test_ink_shows_where_the_lens_reads_what_was_ordered():
    ordered = lens("L", thinning=1.33)
    ink = {mark.name: (mark.x_mm, mark.y_mm) for mark in marks(ordered) if mark.name != "level line"}
    distance, near = (
        ordered.over_stop(*ink[f"{which} circle"], FRONT).read.mean for which in ("distance", "near")
    )
    assert near - distance == pytest.approx(2.0, abs=0.001)
    assert ordered.over_stop(*ink["prism reference point"]).prism.y == pytest.approx(-1.33, abs=1e-9)


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-40, 40), st.booleans())
def test_the_ink_can_be_put_back_from_the_two_rings(x, y, tilt, swapped):
    turn = np.deg2rad(tilt)
    along, up = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    middle = np.array([x, y])
    rings = [tuple(middle - 17.0 * along), tuple(middle + 17.0 * along)]
    found = layout_from_markings(*(rings[::-1] if swapped else rings))
    assert found.tilt_degrees == pytest.approx(tilt, abs=1e-9)
    np.testing.assert_allclose(found.place(0.0, 0.0), middle, atol=1e-9)
    np.testing.assert_allclose(found.place(2.5, -14.0), middle + 2.5 * along - 14.0 * up, atol=1e-9)


def test_two_marks_that_are_not_the_rings_are_refused():
    with pytest.raises(OpticsError, match="34 mm apart"):
        layout_from_markings((-17.0, 0.0), (10.0, 0.0))
