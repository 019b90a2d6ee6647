"""A pair held against its order in a notebook: the table, and what is said of it."""

import re

import pytest

from optics.checks import collecting
from optics.lesson import against_order, drum_readings

ORDER = "R -2.25 -0.75 x 015; L -1.50 -1.25 x 170"
# Rows CX1 and CX2 of the figures worked out from ANSI Z80.1-2015 ("Quick Reference Guide"):
# the right lens passes at its limits, the left axis is one degree beyond.
FOUND = "R -2.37 -0.62 x 018; L -1.62 -1.25 x 174"


def rows(table):
    found = {}
    for row in re.findall(r"<tr style.*?</tr>", table._repr_html_()):
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row)
        found[cells[0], cells[1]] = cells[2:]
    return found


def test_only_the_left_axis_fails():
    seen = rows(against_order(order=ORDER, found=FOUND, order_mm=62, found_mm=63))
    assert seen["left", "axis"] == ["170", "174", "4°", "3°", "✗ fails"]
    assert [what for what, cells in seen.items() if "fails" in cells[-1]] == [("left", "axis")]
    assert seen["right", "cylinder"] == ["-0.75", "-0.62", "0.12 D", "0.13 D", "✓ passes"]


def test_strong_lenses_are_held_by_the_distance_of_their_centres():
    # Row PR16: centres 60 apart instead of 64, +3.00 in both lenses; 4 mm, where 2.5 mm are allowed.
    table = against_order(
        order="R +3.00 DS; L +3.00 DS", found=["+3.00 DS", "+3.00 DS"], order_mm=64, found_mm="60 mm"
    )
    assert rows(table)["pair", "horizontal imbalance"][2:] == ["4.00 mm", "2.5 mm, by the centres", "✗ fails"]
    assert "not yet known" in rows(table)["pair", "vertical imbalance"][-1]
    assert "from memory" not in table._repr_html_()
    by_iso = against_order(
        order=ORDER,
        found=FOUND.replace(";", " no prism;"),
        order_mm=62,
        found_mm=63,
        standard="ISO 21987:2009",
    )
    assert rows(by_iso)["right", "cylinder"][3] == "0.09 D, from memory"
    assert "not an eye examination" in table._repr_html_()
    assert "not an eye examination" in repr(table)


@pytest.mark.parametrize("found", [["", "-1.50 -1.25 x 170"], ["-2.25 -0.75 x 015", "-1.50 -1.25 x 170"]])
def test_what_was_not_read_is_asked_for(found):
    with collecting() as said:
        assert against_order(order=ORDER, found=found, order_mm=62, found_mm="") is None
    assert "Write both lenses" in said[0]["text/plain"]


def test_typed_readings_are_drawn_and_empty_ones_asked_for():
    picture = drum_readings({"sphere lines": ["-1.12", "", "−1.18 D"]})
    assert "2 readings from minus 1.18 to minus 1.12" in picture.alt
    with collecting() as said:
        assert drum_readings({"sphere lines": ["", ""]}) is None
    assert "Type your readings" in said[0]["text/plain"]


def test_what_cannot_be_read_is_said_and_is_no_error():
    with collecting() as said:
        assert drum_readings({"sphere lines": ["1.12"]}) is None
        found = ["-2.25 -0.75 015", "-1.50 -1.25 x 170"]
        assert against_order(order=ORDER, found=found, order_mm=62, found_mm="63") is None
        found = ["-2.25 -0.75 x 015", "-1.50 -1.25 x 170"]
        assert against_order(order=ORDER, found=found, order_mm=62, found_mm="6,3") is None
    assert ["no sign" in said[0]["text/plain"], "x" in said[1]["text/plain"]] == [True, True]
    assert "Write 6.3" in said[2]["text/plain"]
