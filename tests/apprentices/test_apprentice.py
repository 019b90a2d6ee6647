"""The invented apprentice: careful answers earn all, and a habit costs what it declares to cost."""

import json
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from optics import checks as check
from optics.apprentices.apprentice import Apprentice, questions
from optics.apprentices.bench_work import LEARNT, at_the_bench, harmful
from optics.apprentices.paper_work import on_paper
from optics.lens.lens import SingleVision
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.marking.habits import Triple, slip
from optics.marking.telling import MARKS_MIME
from optics.pair.spectacles import Mounted, Spectacles
from optics.project_files import project_folder
from optics.specimens.specimen import Brief, make

HABITS = LEARNT
CHAPTER = """
check.conversion(convert_1, given="+2.50 -1.50 x 170", to="plus", points=1)
check.conversion(convert_2, given="-2.00 +1.50 x 090", to="minus", points=2)
check.crossed(crossed_1, given="+3.00 -1.00 x 180", points=1)
check.from_cross(cross_1, powers={90: -3.0, 180: -2.25}, form="minus", points=1)
check.from_readings(readings_1, sphere_lines=-7.5, cylinder_lines=-5.25, wheel=85, points=1)
check.meridian_power(along_1, given="-3.00 -2.00 x 030", meridian=90, points=1)
check.to_cross(along_2, across_2, given="-3.25 +1.50 x 170", points=1)
check.settled(settled_1, sphere_lines=-2.14, cylinder_lines=-2.84, wheel=15, points=2)
check.reading(pair_a_right, learner=learner, pair="A", eye="R", other=pair_a_left, points=5)
check.reading(pair_a_left, learner=learner, pair="A", eye="L", other=pair_a_right, points=5)
check.reading(pair_b_right, learner=learner, pair="B", eye="R", points=0)
check.ticket(pair_a_whole, learner=learner, pair="A", points=10)
"""
BRIEFS = {
    "A": {"cylinder": "always", "axes": "oblique"},
    "B": {"cylinder": "none"},
    "C": {"style": "bifocal"},
}


@pytest.fixture(scope="module")
def chapter(tmp_path_factory):
    """A small chapter with every kind of question."""
    folder = tmp_path_factory.mktemp("chapter")
    cells = []
    for line in CHAPTER.strip().splitlines():
        variable = re.match(r"check\.\w+\((\w+),", line)[1]
        visible = f"check.recorded({variable})\n### BEGIN HIDDEN TESTS\n{line}\n### END HIDDEN TESTS"
        cells.append(
            {
                "cell_type": "code",
                "id": variable.replace("_", "-") + "-check",
                "metadata": {"nbgrader": {"grade": True, "locked": True}},
                "source": (visible if "reading(" in line else line).splitlines(keepends=True),
            }
        )
    (folder / "chapter.ipynb").write_text(json.dumps({"cells": cells}))
    (folder / "pairs.json").write_text(json.dumps(BRIEFS))
    return folder


def marked(answers, folder):
    """The skills of every question as the marking sees them, by check cell."""
    found = {}
    for line in CHAPTER.strip().splitlines():
        name, variable, rest = re.match(r"check\.(\w+)\((\w+),(.*)\)$", line).groups()
        extra = ", folder=folder" if "learner" in rest else ""
        with check.collecting() as said:
            eval(f"check.{name}({variable},{rest}{extra})", {"check": check, "folder": folder} | answers)
        data = said[0][MARKS_MIME]
        found[variable.replace("_", "-") + "-check"] = data["skills"], data.get("at most", 1.0)
    return found


def test_the_questions_are_found_with_what_is_given(chapter):
    found = {question.cell: question for question in questions(chapter / "chapter.ipynb")}
    assert len(found) == 12
    assert found["cross-1-check"].given["powers"] == {90: -3.0, 180: -2.25}
    assert found["pair-a-right-check"].check == "reading"
    assert found["pair-a-right-check"].variables == ("pair_a_right",)


@pytest.mark.parametrize("name", ["Ada Fenwick", "Ben Corriedale", "Cato Thwaite"])
def test_a_careful_apprentice_earns_everything(chapter, name):
    answers, record = Apprentice(name=name, seed=4).answers(chapter / "chapter.ipynb", chapter)
    assert answers["learner"] == name
    assert {entry["made to"] for entry in record} == {"right"}
    got = marked(answers, chapter)
    for entry in record:
        assert got[entry["question"]] == (entry["expected"], entry["at most"]), entry
        assert all(got == of for got, of in entry["expected"].values())


@pytest.mark.parametrize("habit", HABITS)
def test_a_habit_costs_what_it_declares(chapter, habit):
    shown = Counter()
    for seed in range(4):
        # Two names only: pairs that were read once are not read again.
        apprentice = Apprentice(name=f"Learner {seed % 2}", habits=(habit,), seed=seed)
        answers, record = apprentice.answers(chapter / "chapter.ipynb", chapter)
        got = marked(answers, chapter)
        for entry in record:
            assert got[entry["question"]] == (entry["expected"], entry["at most"]), entry
            lost = set(entry["spoiled"])
            shown[entry["made to"]] += 1
            assert lost <= slip(habit).spoils if entry["made to"] == habit else not lost
            assert (entry["made to"] == "right") == (entry["not shown"] == [habit])
    assert shown[habit] >= 2, shown


def test_blanks_earn_nothing_and_are_no_error(chapter):
    answers, record = Apprentice(name="Dora Lisle", leaves_blank=1.0).answers(
        chapter / "chapter.ipynb", chapter
    )
    got = marked(answers, chapter)
    for entry in record:
        assert entry["made to"] == "left blank"
        assert got[entry["question"]][0] == entry["expected"]
        assert all(earned == 0 for earned, _ in entry["expected"].values())


def test_an_unknown_check_is_said(chapter, tmp_path):
    cells = [
        {
            "cell_type": "code",
            "id": "new-check",
            "metadata": {"nbgrader": {"grade": True, "locked": True}},
            "source": ["check.something_new(answer)"],
        }
    ]
    (tmp_path / "new.ipynb").write_text(json.dumps({"cells": cells}))
    with pytest.raises(ValueError, match="something_new"):
        Apprentice(name="Eli").answers(tmp_path / "new.ipynb", chapter)


def test_a_habit_may_lead_to_a_wrong_letter():
    question = "05-reading-a-cylinder/recall-1"
    made = on_paper("choice", {"question": question}, "axis 90 out")
    assert (made.answers, made.spoiled) == (("a",), {"form"})
    with check.collecting() as said:
        assert check.choice(*made.answers, question=question, points=1) == 0.0
    assert said[0][MARKS_MIME]["skills"] == {"form": [0.0, 1.0]}
    assert said[0][MARKS_MIME]["slips"] == ["axis 90 out"]
    assert on_paper("choice", {"question": question}, "axis mirrored") is None


def test_the_habits_named_in_the_banks_lead_to_wrong_letters():
    for bank in (project_folder("datasets") / "questions").glob("*.json"):
        for name, entry in json.loads(bank.read_text("utf-8")).items():
            for habit, letter in entry.get("habits", {}).items():
                assert letter in entry["replies"], (bank.stem, name)
                assert slip(habit).name == habit


def test_a_sphere_written_for_a_cylinder_loses_the_form_as_well(chapter):
    pair = replace(
        make(Brief(cylinder="none"), seed=1),
        spectacles=Spectacles(
            right=Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.0, -1.0, 30))),
            left=Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-1.0))),
        ),
    )
    steady = np.random.default_rng
    made = at_the_bench(pair, "R", "minus", lambda eye: steady(1), "lenses exchanged")
    assert made is not None and made.spoiled == {"sphere", "cylinder", "axis", "form"}
    assert at_the_bench(pair, "R", "minus", lambda eye: steady(1), None)[0] == ("-2.00 -1.00 x 030",)


def test_a_habit_is_not_worn_where_it_writes_the_other_lens():
    """Eyes are mirror images; a mirrored axis may be the other lens's, and no mark can be expected for it."""

    def mirrored(left_axis):
        right, left = (
            Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-1.0, -1.0, axis)))
            for axis in (60, left_axis)
        )
        pair = replace(make(Brief(cylinder="none"), seed=1), spectacles=Spectacles(right=right, left=left))
        return at_the_bench(pair, "R", "minus", lambda eye: np.random.default_rng(1), "axis mirrored")

    assert mirrored(120) is None
    assert mirrored(20).answers == ("-1.00 -1.00 x 120",)


def test_just_under_what_harms_is_not_said_to_harm():
    """+2.50 +0.50 x 126 written for +2.49 -0.37 x 128: at most 0.007 + 0.500 + 0.367, which is under 0.875 D."""
    line = Prescription(sphere=2.5, cylinder=0.5, axis=126)
    true = Triple(2.4932, -0.3673, 128.276)
    assert not harmful(line, true, frozenset({"cylinder"}))
    assert harmful(line, true._replace(cylinder=-0.3775), frozenset({"cylinder"}))


@pytest.mark.parametrize("seed", range(4))
def test_a_careful_hand_reads_a_progressive_in_its_distance_circle(seed):
    """Not at the prism reference point, where the addition of some designs has begun."""
    pair = make(Brief(style="progressive", strongest=4.0, weakest=0.5, cylinder="always"), seed)
    made = at_the_bench(pair, "R", "minus", lambda eye: np.random.default_rng(seed), None)
    assert parse(made.answers[0]).power.is_close(pair.power("R"), 0.2), (made, pair.power("R"))
