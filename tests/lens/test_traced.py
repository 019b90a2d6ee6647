"""Thick and tilted lenses against traced rays: `tests/cases/traced.csv`, made by the script beside it.

The figures come from a general-purpose optics library and from nothing of the formulae under test.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from optics.lens.lens import BACK, FRONT
from optics.lens.power import Power
from optics.lens.thick import ThickLens
from optics.lens.tilt import tilted_power

with (Path(__file__).parents[1] / "cases" / "traced.csv").open(encoding="utf-8") as file:
    ROWS = list(csv.DictReader(file))


def _matrix(row, name):
    return np.array([float(row[f"{name}_{place}"]) for place in ("xx", "xy", "yx", "yy")]).reshape(2, 2)


def _lens(row):
    return ThickLens(
        front=Power.from_matrix(_matrix(row, "front")),
        back=Power.from_matrix(_matrix(row, "back")),
        centre_thickness_mm=float(row["thickness_mm"]),
        index=float(row["index"]),
    )


def _value(row, *names):
    return tuple(float(row[name]) for name in names)


def rows(*groups):
    chosen = [row for row in ROWS if row["group"] in groups]
    assert chosen
    return pytest.mark.parametrize("row", chosen, ids=[row["id"] for row in chosen])


@rows("back", "front")
def test_vertex_powers(row):
    side = {"back": BACK, "front": FRONT}[row["group"]]
    np.testing.assert_allclose(
        _lens(row).over_stop(0, 0, side).power.matrix, _matrix(row, "power"), atol=1e-6
    )


@rows("back")
def test_equivalent_power_and_its_direction(row):
    """The rays go from back to front, so they meet the transpose."""
    np.testing.assert_allclose(_lens(row).equivalent_power.T, _matrix(row, "bend"), atol=1e-6)


@rows("decentred")
def test_prism_of_a_decentred_lens_seated_on_the_stop(row):
    """Close to the centre, where both are of the first order; the axis meets the back surface square."""
    found = _lens(row).over_stop(*_value(row, "x_mm", "y_mm")).prism.vector
    np.testing.assert_allclose(found, _value(row, "prism_x", "prism_y"), atol=3e-5)


@rows("tilted thin")
def test_a_tilted_thin_lens_exactly(row):
    """With next to no thickness the model is exact, for any cylinder, any tilt axis and any bending."""
    power = _lens(row).over_stop(0, 0).power
    expected = tilted_power(power, *_value(row, "tilt", "tilt_axis", "index")).matrix
    np.testing.assert_allclose(_matrix(row, "power"), expected, atol=2e-4)


WITHIN = (0.002, 0.005, 0.01, 0.02, 0.05, 0.10, 0.17, 0.30)
"""The limits are those promised in the module: and not far beyond what is needed."""


@pytest.mark.parametrize(
    ("row", "within"),
    list(zip([row for row in ROWS if row["group"] == "tilted thick"], WITHIN, strict=True)),
    ids=lambda value: value["id"] if isinstance(value, dict) else "",
)
def test_how_far_the_tilt_model_holds_for_real_lenses(row, within):
    """At 15 degrees."""
    lens, (tilt, index) = _lens(row), _value(row, "tilt", "index")
    apart = tilted_power(lens.over_stop(0, 0).power, tilt, 180.0, index).matrix - _matrix(row, "power")
    assert 0.15 * within < np.abs(apart).max() < within
    # The prism that the model leaves out: t/n times the front curve times the angle, roughly.
    front = _matrix(row, "front")[0, 0]
    rough = lens.centre_thickness_mm / 10 / index * front * np.tan(np.deg2rad(tilt))
    assert np.hypot(*_value(row, "prism_x", "prism_y")) == pytest.approx(rough, rel=0.10)
