"""Wrong habits, each worked out by hand on a lens, and told from what they leave behind."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.lens.angles import axis_difference
from optics.lens.prescription import Prescription, written
from optics.marking.habits import CATALOGUE, Triple, diagnose, diagnose_pair, slip
from optics.marking.marks import hold, mark_against

LENS = Triple(-2.25, -0.75, 15)
# Along 015 stands -2.25, along 105 stands -3.00. Every line below is worked out by
# hand from that cross and from what the habit's own words say.
BY_HAND = {
    "form not converted": Triple(-3.00, +0.75, 105),
    "cylinder sign kept": Triple(-2.25, +0.75, 15),
    "axis 90 out": Triple(-2.25, -0.75, 105),
    "axis mirrored": Triple(-2.25, -0.75, 165),
    "second power as cylinder": Triple(-2.25, -3.00, 15),
    "sphere not converted": Triple(-3.00, -0.75, 15),
    "cylinder taken away": Triple(-3.75, -0.75, 15),
    "drum read across zero": Triple(+2.25, -0.75, 15),
    "drum counted the wrong way": Triple(-2.75, -0.75, 15),
}
every_slip = pytest.mark.parametrize("entry", CATALOGUE, ids=lambda entry: entry.name)


@every_slip
def test_a_slip_leads_where_its_words_say(entry) -> None:
    assert entry.forward(LENS) == BY_HAND[entry.name]


@every_slip
def test_a_slip_is_told_from_its_answer(entry) -> None:
    where = "bench" if "bench" in entry.where else "paper"
    found = diagnose(BY_HAND[entry.name], LENS, where=where)
    assert [each.name for each in found[0].slips] == [entry.name]
    assert found[0].misfit == 0.0


@every_slip
def test_reading_noise_does_not_hide_a_slip(entry) -> None:
    where = "bench" if "bench" in entry.where else "paper"
    # The lens is not quite what its line says, and the axis was read two degrees off.
    lens = Triple(-2.19, -0.82, 17)
    assert entry in diagnose(BY_HAND[entry.name], lens, where=where)[0].slips


@every_slip
def test_words_for_the_learner_are_whole(entry) -> None:
    for sentence in (entry.habit, entry.mend_for("bench"), entry.mend_for("paper")):
        assert sentence[0].isupper() and sentence.endswith(".")
    assert entry.spoils <= {"sphere", "cylinder", "axis", "form"}


@every_slip
def test_what_a_slip_spoils_is_what_loses_marks(entry) -> None:
    made = BY_HAND[entry.name]
    line = Prescription(sphere=made.sphere, cylinder=made.cylinder, axis=int(made.axis))
    marks = mark_against(hold(line, LENS), 5.0)
    assert set(marks.missed) == set(entry.spoils)


def test_a_right_answer_has_no_slip() -> None:
    assert diagnose(LENS, LENS) == ()
    assert diagnose(Triple(-2.25, -0.75, 17), LENS) == ()


@pytest.mark.parametrize(
    "odd", [Triple(-7.00, -0.75, 15), Triple(-2.25, -0.75, 48), Triple(+0.50, -2.50, 77)], ids=str
)
def test_nothing_is_said_where_nothing_explains_it(odd: Triple) -> None:
    assert diagnose(odd, LENS) == ()


def test_two_slips_together_are_found() -> None:
    # Plus form, and the axis mirrored on top: 105 becomes 075.
    found = diagnose(Triple(-3.00, +0.75, 75), LENS)
    assert {entry.name for entry in found[0].slips} == {"form not converted", "axis mirrored"}


def test_one_slip_is_said_before_two() -> None:
    for made in BY_HAND.values():
        counts = [len(found.slips) for found in diagnose(made, LENS)]
        assert counts == sorted(counts)


def test_a_second_slip_is_not_added_to_one_that_explains_all() -> None:
    # Mirrored, an axis of 180 stays where it is, so a mirror explains nothing more.
    upright = LENS._replace(axis=180)
    for entry in CATALOGUE:
        made = entry.forward(upright)
        told = [{each.name for each in found.slips} for found in diagnose(made, upright)]
        assert not any(one < other for one in told for other in told)


def test_habits_of_the_cylinder_do_not_show_on_a_sphere() -> None:
    sphere = Triple(-2.25, -0.03, 77)
    for entry in CATALOGUE:
        made = entry.forward(sphere)
        assert made is None or entry.name.startswith("drum")


def test_drum_habits_are_not_told_on_paper() -> None:
    assert diagnose(BY_HAND["drum read across zero"], LENS, where="paper") == ()
    assert diagnose(BY_HAND["cylinder taken away"], LENS, where="bench") == ()


@pytest.mark.parametrize("whole", [-2.00, +3.00, 0.0])
def test_a_whole_number_on_the_drum_cannot_be_counted_the_wrong_way(whole: float) -> None:
    assert slip("drum counted the wrong way").forward(Triple(whole, -0.75, 15)) is None


eighths = st.integers(-64, 64).map(lambda n: n / 8)
cylinders = st.integers(-32, -2).map(lambda n: n / 8)


@given(eighths, cylinders, st.integers(1, 180))
def test_what_is_said_of_any_lens_does_lead_to_the_answer(sphere, cylinder, axis) -> None:
    lens = Triple(sphere, cylinder, axis)
    for entry in CATALOGUE:
        made = entry.forward(lens)
        if made is None or "bench" not in entry.where:
            continue
        for found in diagnose(made, lens):
            end = lens
            for step in found.slips:
                end = step.forward(end)
            assert abs(end.sphere - made.sphere) <= 0.19, written(sphere)
            assert abs(end.cylinder - made.cylinder) <= 0.19
            assert axis_difference(end.axis, made.axis) <= 5.0 or abs(made.cylinder) < 0.2


# --- over a pair -------------------------------------------------------------------

RIGHT, LEFT = LENS, Triple(-1.50, -1.25, 160)


def names(found) -> list[set[str]]:
    return [{entry.name for entry in each.slips} for each in found]


def test_exchanged_lenses() -> None:
    assert names(diagnose_pair((LEFT, RIGHT), (RIGHT, LEFT))) == [{"lenses exchanged"}]


@pytest.mark.parametrize("shift", [-0.50, -0.25, 0.25, 0.50])
def test_an_eyepiece_left_unset_shifts_both_lenses_alike(shift: float) -> None:
    read = tuple(lens._replace(sphere=lens.sphere + shift) for lens in (RIGHT, LEFT))
    assert names(diagnose_pair(read, (RIGHT, LEFT))) == [{"eyepiece not set"}]


def test_a_shift_within_reading_noise_is_no_eyepiece() -> None:
    read = (RIGHT._replace(sphere=RIGHT.sphere + 0.25), LEFT._replace(sphere=LEFT.sphere + 0.06))
    assert diagnose_pair(read, (RIGHT, LEFT)) == ()


def test_one_lens_shifted_is_no_eyepiece() -> None:
    read = (RIGHT._replace(sphere=RIGHT.sphere + 0.50), LEFT)
    assert diagnose_pair(read, (RIGHT, LEFT)) == ()


def test_a_habit_over_both_lenses_is_told_once() -> None:
    turned = tuple(slip("axis 90 out").forward(lens) for lens in (RIGHT, LEFT))
    assert {"axis 90 out"} in names(diagnose_pair(turned, (RIGHT, LEFT)))


def test_a_habit_need_not_show_on_a_lens_read_right() -> None:
    upright = Triple(-1.00, -0.50, 180)
    mirrored = (slip("axis mirrored").forward(RIGHT), upright)
    assert {"axis mirrored"} in names(diagnose_pair(mirrored, (RIGHT, upright)))


def test_different_habits_on_each_lens_are_not_one_habit() -> None:
    read = (slip("axis 90 out").forward(RIGHT), slip("drum read across zero").forward(LEFT))
    assert diagnose_pair(read, (RIGHT, LEFT)) == ()


def test_a_pair_read_right_has_no_slip() -> None:
    assert diagnose_pair((RIGHT, LEFT), (RIGHT, LEFT)) == ()


def test_no_eyepiece_shifts_a_reading_by_more_than_its_whole_dial() -> None:
    # Ten dioptres at the eye through a telescope of four times make 0.625.
    read = tuple(lens._replace(sphere=lens.sphere - 1.0) for lens in (RIGHT, LEFT))
    assert {"eyepiece not set"} not in names(diagnose_pair(read, (RIGHT, LEFT)))
