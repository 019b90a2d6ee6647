"""Marks by skill and tolerance.

The axis limits are those of ANSI Z80.1-2015, read in a published quick
reference guide (docslib.org/download/92180, item 3), plus one degree for the
scale; 0.06 D is D. Whitney's figure for an instrument ("Focimetry issues").
"""

from __future__ import annotations

import pytest

from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.marking.marks import POWER_WITHIN, Marks, axis_within, hold, mark_against, shared_out, true_triple

LENS = Power.from_sphere_cylinder(-2.25, -0.75, 15)


def mark_lens(line: Prescription, lens: Power, form: str = "minus", points: float = 5.0, safely: bool = True):
    return mark_against(hold(line, true_triple(lens, form), form, safely), points)


def missed(line: str, lens: Power = LENS, **more) -> set[str]:
    return set(mark_lens(parse(line), lens, **more).missed)


def test_all_marks_for_the_lens_as_it_is() -> None:
    marks = mark_lens(parse("-2.25 -0.75 x 015"), LENS)
    assert (marks.total, marks.possible) == (5.0, 5.0)
    assert type(marks.total) is float
    assert marks.share == 1.0


def test_both_neighbours_of_a_reading_between_two_steps_are_right() -> None:
    between = Power.from_sphere_cylinder(-2.125)
    for line in ("-2.00 DS", "-2.25 DS"):
        assert missed(line, between) == set()
    for line in ("-1.75 DS", "-2.50 DS"):
        assert missed(line, between) == {"sphere"}


def test_a_whole_step_off_is_wrong() -> None:
    assert POWER_WITHIN < 0.25
    assert missed("-2.00 -0.75 x 015") == {"sphere"}
    assert missed("-2.25 -1.00 x 015") == {"cylinder"}


def test_a_second_meridian_that_is_right_makes_the_cylinder_right() -> None:
    # -2.14 and -2.84: settled, both meridians give -2.25 -0.50, a whole step less
    # cylinder than the lens has, and still each meridian is within half a step.
    lens = Power.from_sphere_cylinder(-2.14, -0.70, 15)
    assert missed("-2.25 -0.50 x 015", lens) == set()


@pytest.mark.parametrize(
    ("cylinder", "limit"), [(-0.25, 14), (-0.50, 7), (-0.75, 5), (-1.50, 3), (-1.75, 2), (-4.00, 2)]
)
def test_axis_limits_are_the_published_ones(cylinder: float, limit: int) -> None:
    assert axis_within(cylinder) == limit + 1
    lens = Power.from_sphere_cylinder(-1.00, cylinder, 90)
    inside, outside = (
        f"-1.00 {cylinder:+.2f} x 0{90 - limit - 1}",
        f"-1.00 {cylinder:+.2f} x 0{90 - limit - 2}",
    )
    assert missed(inside, lens) == set()
    assert missed(outside, lens) == {"axis"}


def test_a_lens_made_a_little_strong_keeps_the_limit_of_its_order() -> None:
    assert axis_within(-0.85) == axis_within(-0.75)


def test_axes_are_near_across_180() -> None:
    lens = Power.from_sphere_cylinder(-1.00, -0.75, 1)
    assert missed("-1.00 -0.75 x 178", lens) == set()


def test_the_other_form_costs_the_form_alone() -> None:
    marks = mark_lens(parse("-3.00 +0.75 x 105"), LENS)
    assert marks.missed == ("form",)
    assert marks.total == 4.5
    assert missed("-3.00 +0.75 x 105", form="plus") == set()
    assert missed("-2.25 -0.75 x 015", form="plus") == {"form"}


def test_a_wrong_sign_is_marked_as_the_wrong_sign() -> None:
    assert missed("-2.25 +0.75 x 015") == {"cylinder", "form"}


def test_a_sphere_has_neither_axis_nor_form() -> None:
    sphere = Power.from_sphere_cylinder(-2.00, -0.02, 63)
    assert set(mark_lens(parse("-2.00 DS"), sphere).skills) == {"sphere", "cylinder", "notation"}
    assert missed("-2.00 DS", sphere) == set()
    assert missed("-2.00 -0.25 x 090", sphere) == {"cylinder"}


def test_a_cylinder_overlooked_loses_cylinder_axis_and_form() -> None:
    assert missed("-2.25 DS") == {"cylinder", "axis", "form"}


def test_notation_is_a_skill_of_its_own() -> None:
    assert missed("-2.25 -0.75 x 15", safely=False) == {"notation"}


@pytest.mark.parametrize("points", [1, 2, 3, 5, 7])
def test_marks_never_exceed_the_points(points: int) -> None:
    # nbgrader fails a whole submission where one mark is above its points.
    for skills in (("sphere",), ("sphere", "cylinder"), ("sphere", "cylinder", "axis", "form", "notation")):
        marks = shared_out(dict.fromkeys(skills, True), points)
        assert marks.total == points
        assert marks.possible == points


def test_practice_earns_nothing_and_still_knows_what_is_right() -> None:
    marks = shared_out({"sphere": True, "axis": False}, 0)
    assert (marks.total, marks.possible) == (0.0, 0.0)
    assert marks.missed == ("axis",)
    assert marks.skills["sphere"][0] > 0


def test_any_skill_may_be_marked() -> None:
    assert shared_out({"centres": True}, 2).skills == {"centres": (2.0, 2.0)}
    assert Marks({"handling": (0.0, 1.0)}).missed == ("handling",)


def test_a_weak_cylinder_that_settles_away_loses_nothing():
    # -1.14 and -1.37 both lie nearest to -1.25; so the careful line is a sphere.
    weak = Power.from_sphere_cylinder(-1.14, -0.23, 70)
    assert missed("-1.25 DS", weak) == set()
    # A quarter and the instrument's error more, and it must be seen.
    assert "axis" in missed("-1.25 DS", Power.from_sphere_cylinder(-1.10, -0.32, 70))


@pytest.mark.parametrize(
    ("line", "true", "harms"),
    [
        ("-3.00 DS", (-2.00, 0.0, 180.0), True),
        ("-2.75 DS", (-2.00, 0.0, 180.0), False),
        ("-2.87 DS", (-2.00, 0.0, 180.0), True),
        ("+1.00 -1.50 x 090", (1.00, -0.50, 90.0), True),
        ("+1.00 -0.50 x 060", (1.00, -0.50, 120.0), True),
        ("+1.00 -0.50 x 061", (1.00, -0.50, 120.0), False),
        ("+1.00 -0.37 x 030", (1.00, -0.37, 120.0), False),
        ("+0.25 DS", (-0.25, 0.0, 180.0), True),
        ("+0.12 DS", (-0.25, 0.0, 180.0), False),
    ],
)
def test_where_harm_begins(line, true, harms):
    """About a dioptre in any meridian, 60 degrees on half a dioptre of cylinder, the other sign (the course's own)."""
    power = Power.from_sphere_cylinder(*true)
    assert bool(hold(parse(line), true_triple(power)).harm) is harms


def test_what_harms_earns_half_at_most() -> None:
    """Cylinder, axis, form and notation are right, and would make seven tenths."""
    marks = mark_lens(parse("+2.25 -0.75 x 015"), LENS)
    assert marks.harm and marks.missed == ("sphere",)
    assert marks.total == pytest.approx(2.5)
