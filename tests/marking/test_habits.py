"""Wrong habits, each worked out by hand on a lens, and told from what they leave behind."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.lens.angles import axis_difference
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.marking.diagnosis import BareLenses, Diagnosis, diagnose
from optics.marking.habits import CATALOGUE, Triple, slip
from optics.marking.marks import SKILLS, hold, mark_against
from optics.marking.read import LensAnswer, Ticket
from optics.project_files import project_folder

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
MORE_BY_HAND = {
    # The drum at +2.25 and +3.00 for -2.25 and -3.00; the higher power is the sphere.
    "both readings across zero": Triple(+3.00, -0.75, 105),
    # -2.25 is taken for -2.75; -3.00 is a whole number and stays.
    "both readings counted the wrong way": Triple(-2.75, -0.25, 15),
    "a whole dioptre out": Triple(-1.25, -0.75, 15),
    "cylinder overlooked": Triple(-2.25, 0.0, 15),
    "half the cylinder": Triple(-2.25, -0.375, 15),
    "mean power as sphere": Triple(-2.625, -0.75, 15),
    "digits of the axis exchanged": Triple(-2.25, -0.75, 51),
    "axis 10 out": Triple(-2.25, -0.75, 25),
    "decimal point misplaced": Triple(-22.5, -0.75, 15),
    "minus sign left out": Triple(+2.25, -0.75, 15),
    "put on round numbers": Triple(-2.25, -0.75, 20),
}
every_slip = pytest.mark.parametrize("entry", CATALOGUE, ids=lambda entry: entry.name)
of_a_line = pytest.mark.parametrize("name", BY_HAND)


def written(line: Triple) -> Prescription:
    axis = int(line.axis) if line.cylinder else None
    return Prescription(sphere=line.sphere, cylinder=line.cylinder, axis=axis)


def told(wrote: Triple | tuple, true: Triple | tuple, **more) -> Diagnosis:
    """One lens, or right and left."""
    wrote, true = ([each] if isinstance(each, Triple) else each for each in (wrote, true))
    sides = dict(zip(("right", "left"), (LensAnswer(distance=written(each)) for each in wrote), strict=False))
    powers = {eye: Power.from_sphere_cylinder(*each) for eye, each in zip("RL", true, strict=False)}
    return diagnose(Ticket(**sides), BareLenses(powers), **more)


def where_of(name: str) -> str:
    return "bench" if "bench" in slip(name).where else "paper"


def told_names(found: Diagnosis) -> list[set[str]]:
    return [{entry.name for entry in each.slips} for each in found.ties]


def test_the_catalogue_has_forty_and_more_of_different_names() -> None:
    assert len({entry.name for entry in CATALOGUE}) == len(CATALOGUE) >= 40


@pytest.mark.parametrize("name", [*BY_HAND, *MORE_BY_HAND])
def test_a_slip_leads_where_its_words_say(name: str) -> None:
    assert slip(name).forward(LENS) == (BY_HAND | MORE_BY_HAND)[name]


@of_a_line
def test_a_slip_is_told_from_its_answer(name: str) -> None:
    found = told(BY_HAND[name], LENS, where=where_of(name))
    assert {name} in told_names(found) and len(found.names) == 1


@of_a_line
def test_reading_noise_does_not_hide_a_slip(name: str) -> None:
    # The lens is not quite what its line says, and the axis was read two degrees off.
    lens = Triple(-2.19, -0.82, 17)
    where = where_of(name)
    found = told(BY_HAND[name], lens if where == "bench" else LENS, where=where)
    assert {name} in told_names(found)


STANDS_IN = {
    1: ("anticlockwise", "temples pointing away"),
    2: ("transposition", "three digits", "sign"),
    3: ("*first* sharp", "**stop**"),
    4: ("the numbers grow the other way",),
    5: ("sphere lines", "difference of two readings", "axis wheel"),
    6: ("each to its nearest quarter step",),
    7: ("towards the nose", "middle of the bridge", "millimetres"),
    8: ("true", "wipe"),
    9: ("front against the stop", "lowest point of the lens"),
    10: ("maker's sign", "near circle"),
    12: ("**Right lens**", "**Left lens**"),
}
"""What stands in the chapter that a habit sends to; of words with a bar between them, either."""


def test_the_chapter_that_a_habit_sends_to_has_the_step() -> None:
    source = project_folder("notebooks") / "source"
    assert {entry.chapter for entry in CATALOGUE} == set(STANDS_IN)
    for number, needed in STANDS_IN.items():
        (path,) = source.glob(f"{number:02d}-*/*.ipynb")
        cells = json.loads(path.read_text("utf-8"))["cells"]
        prose = " ".join(" ".join(line.strip() for cell in cells for line in cell["source"]).split())
        for words in needed:
            assert any(each in prose for each in words.split("|")), (number, words)


@every_slip
def test_words_for_the_learner_are_whole(entry) -> None:
    for sentence in (entry.habit, entry.mend_for("bench"), entry.mend_for("paper")):
        assert sentence[0].isupper() and sentence.endswith(".")
    assert entry.spoils and entry.spoils <= set(SKILLS)
    assert entry.chapter in STANDS_IN and entry.status and entry.ways


@of_a_line
def test_what_a_slip_spoils_is_what_loses_marks(name: str) -> None:
    marks = mark_against(hold(written(BY_HAND[name]), LENS), 5.0)
    assert set(marks.missed) == set(slip(name).spoils)


def test_a_right_answer_has_no_slip() -> None:
    assert not told(LENS, LENS)
    assert not told(Triple(-2.25, -0.75, 17), LENS)
    assert not told(LENS, LENS, where="paper")


@pytest.mark.parametrize("odd", [Triple(-7.00, -0.75, 15), Triple(+0.50, -2.50, 77)], ids=str)
def test_nothing_is_said_where_nothing_explains_it(odd: Triple) -> None:
    found = told(odd, LENS)
    assert not found and found.unexplained > 0.5
    assert found.sentence == "These numbers are not enough to name a habit."


def test_two_slips_together_are_found() -> None:
    # Plus form, and the axis mirrored on top: 105 becomes 075.
    found = told(Triple(-3.00, +0.75, 75), LENS)
    assert {"form not converted", "axis mirrored"} in told_names(found)
    # That the lens lay on its front gives the same line, and is told with it.
    assert len(found.ties) >= 2 and "it could equally be" in found.sentence


@of_a_line
def test_one_slip_is_said_before_two(name: str) -> None:
    assert len(told(BY_HAND[name], LENS, where=where_of(name)).ranked[0].slips) == 1


def test_habits_of_the_cylinder_do_not_show_on_a_sphere() -> None:
    sphere, shown = Triple(-2.25, -0.03, 77), 0
    for entry in CATALOGUE:
        made = entry.forward(sphere)
        if made is not None:
            shown += 1
            assert made.sphere != sphere.sphere, entry.name
    assert shown >= 5


def test_drum_habits_are_not_told_on_paper() -> None:
    assert not told(BY_HAND["drum read across zero"], LENS, where="paper")


@pytest.mark.parametrize("whole", [-2.00, +3.00, 0.0])
def test_a_whole_number_on_the_drum_cannot_be_counted_the_wrong_way(whole: float) -> None:
    assert slip("drum counted the wrong way").forward(Triple(whole, -0.75, 15)) is None


quarters = st.integers(-32, 32).map(lambda n: n / 4)
cylinders = st.integers(-16, -2).map(lambda n: n / 4)


@given(quarters, cylinders, st.integers(1, 180), st.sampled_from(sorted(BY_HAND)))
def test_what_is_said_on_paper_does_lead_to_the_answer(sphere, cylinder, axis, name) -> None:
    lens = Triple(sphere, cylinder, float(axis))
    made = slip(name).forward(lens)
    if made is None or "paper" not in slip(name).where:
        return
    found = told(made, lens, where="paper")
    for each in found.ties:
        end = lens
        for step in each.slips:
            end = step.forward(end) or end
        assert abs(end.sphere - made.sphere) < 0.01 and abs(end.cylinder - made.cylinder) < 0.01
        assert not made.cylinder or axis_difference(end.axis, made.axis) < 0.5


# --- over a pair -------------------------------------------------------------------

RIGHT, LEFT = LENS, Triple(-1.50, -1.25, 160)


def test_exchanged_lenses() -> None:
    assert told((LEFT, RIGHT), (RIGHT, LEFT)).names == ("lenses exchanged",)


@pytest.mark.parametrize("shift", [-0.50, 0.50])
def test_an_eyepiece_left_unset_shifts_both_lenses_alike(shift: float) -> None:
    # Readings off the whole and half dioptres, where no count of the drum gives the same.
    right, left = Triple(-2.12, -0.75, 15), Triple(-1.40, -1.25, 160)
    read = tuple(
        Triple(round((lens.sphere + shift) * 4) / 4, lens.cylinder, lens.axis) for lens in (right, left)
    )
    assert {"eyepiece not set"} in told_names(told(read, (right, left)))


def test_a_shift_within_reading_noise_is_no_eyepiece() -> None:
    assert not told(
        (RIGHT._replace(sphere=-2.25), LEFT._replace(sphere=-1.50)),
        (RIGHT._replace(sphere=-2.36), LEFT._replace(sphere=-1.60)),
    )


def test_a_habit_over_both_lenses_is_told_once() -> None:
    turned = tuple(lens._replace(axis=(lens.axis + 90) % 180) for lens in (RIGHT, LEFT))
    assert told(turned, (RIGHT, LEFT)).names == ("axis 90 out",)


def test_a_habit_need_not_show_on_a_lens_read_right() -> None:
    upright = Triple(-1.00, -0.50, 180)
    found = told((RIGHT._replace(axis=165), upright), (RIGHT, upright))
    assert {"axis mirrored"} in told_names(found)


def test_where_one_lens_is_explained_and_the_other_is_not_the_one_is_told() -> None:
    found = told((RIGHT._replace(axis=105), Triple(+3.75, -0.50, 20)), (RIGHT, LEFT))
    assert found.names == ("axis 90 out",) and found.ranked[0].eyes == "R"


def test_different_habits_on_each_lens_are_two_habits() -> None:
    read = (RIGHT._replace(axis=105), LEFT._replace(sphere=+1.50))
    assert {"axis 90 out", "drum read across zero"} in told_names(told(read, (RIGHT, LEFT)))


def test_a_pair_read_right_has_no_slip() -> None:
    assert not told((RIGHT, LEFT), (RIGHT, LEFT))


def test_no_eyepiece_shifts_a_reading_by_two_dioptres() -> None:
    read = tuple(lens._replace(sphere=lens.sphere - 2.0) for lens in (RIGHT, LEFT))
    assert {"eyepiece not set"} not in told_names(told(read, (RIGHT, LEFT)))
