"""Boxing measures, PDs, heights and insets."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sympy.physics.optics.gaussopt import FreeSpace, ThinLens

from optics.errors import OpticsError
from optics.pair.frame import Frame, inset_mm, monocular_distance_mm, near_inset_mm

CASES = Path(__file__).parents[1] / "cases"
ROWS = list(csv.DictReader((CASES / "frame.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_frame_figures(row):
    def number(name):
        return float(row[name]) if row[name] else None

    frame = Frame.marked(
        row["marking"], lens_height_mm=40, effective_diameter_mm=number("effective_diameter_mm")
    )
    pd, near = number("monocular_mm"), number("near_monocular_mm")
    found = {
        "between_centres_mm": lambda: frame.between_centres_mm,
        "decentration_mm": lambda: frame.decentration_mm(pd),
        "blank_mm": lambda: frame.minimum_blank_mm(pd),
        "inset_mm": lambda: inset_mm(pd, near),
        "total_inset_mm": lambda: frame.total_inset_mm(pd, near),
    }
    asked = [name for name in found if row[name]]
    assert asked
    for name in asked:
        assert found[name]() == pytest.approx(number(name)), name


@pytest.mark.parametrize("marking", ["54-18", "54□18", "54 18", " 54/18-140 ", "54.0-18"])
def test_markings_as_found_on_frames(marking):
    frame = Frame.marked(marking, lens_height_mm=40)
    assert (frame.lens_width_mm, frame.bridge_mm) == (54, 18)


@pytest.mark.parametrize("marking", ["5418", "18", "54-18-14", "A54 DBL18", ""])
def test_a_marking_that_cannot_be_read_is_refused(marking):
    with pytest.raises(OpticsError, match="54-18"):
        Frame.marked(marking, lens_height_mm=40)


def test_boxing_centres_lie_either_side_of_the_bridge():
    frame = Frame.marked("52-18", lens_height_mm=40)
    assert frame.boxing_centre_mm("R") == (-35.0, 0.0)
    assert frame.boxing_centre_mm("L") == (35.0, 0.0)


def test_without_an_effective_diameter_the_box_corner_decides():
    frame = Frame(lens_width_mm=48, lens_height_mm=36, bridge_mm=20)
    # 48, 36, 60 is a right-angled triangle; the centre is 3 in and 4 up: 5 mm.
    assert frame.minimum_blank_mm(31, height_mm=4) == pytest.approx(60 + 2 * 5 + 2)


@given(st.floats(-15, 15), st.floats(20, 60))
def test_heights_over_rim_and_datum_undo_each_other(height, lens_height):
    frame = Frame(lens_width_mm=52, lens_height_mm=lens_height, bridge_mm=18)
    assert frame.height_above_datum_mm(frame.height_above_rim_mm(height)) == pytest.approx(height, abs=1e-9)


def test_a_monocular_pd_from_a_dot():
    assert monocular_distance_mm(18, 23.5) == 32.5


@pytest.mark.parametrize("power", [-8.0, 0.0, 5.0])
def test_near_inset_follows_the_traced_ray(power):
    """From the page, through the lens, to the centre of rotation: SymPy's thin lens closes the loop."""
    monocular, page, centre = 32.0, 0.4, 0.027
    inset = near_inset_mm(monocular, 400, power, 27)
    lens = FreeSpace(centre) * (ThinLens(1 / power) if power else FreeSpace(0))
    slope = (inset - monocular) / page
    at_centre_of_rotation = float(lens.A) * inset + float(lens.B) * slope
    assert at_centre_of_rotation == pytest.approx(0.0, abs=1e-9)


def test_plus_lenses_ask_for_more_inset():
    insets = [near_inset_mm(32, 400, power) for power in (-6.0, 0.0, 6.0)]
    assert np.all(np.diff(insets) > 0.1)


@pytest.mark.parametrize(
    "sizes",
    [
        {"lens_width_mm": 0, "lens_height_mm": 40, "bridge_mm": 18},
        {"lens_width_mm": 52, "lens_height_mm": 400, "bridge_mm": 18},
        {"lens_width_mm": 52, "lens_height_mm": 40, "bridge_mm": 180},
        {"lens_width_mm": 52, "lens_height_mm": 40, "bridge_mm": 18, "effective_diameter_mm": 50},
    ],
)
def test_sizes_no_frame_has_are_refused(sizes):
    with pytest.raises(OpticsError):
        Frame(**sizes)
