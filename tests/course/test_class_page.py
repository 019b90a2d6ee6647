"""The page of a class: whom to see first and why, and no more than the answers say."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from optics.course.class_findings import question_rows, tells_apart, trend
from optics.course.class_page import class_page
from optics.course.results import Result, gathered
from optics.drawing.class_spread import class_spread


def one(learner="t1", chapter="02-forms", question="q-1-check", mark=1.0, of=1.0, slips=(), **more):
    skills = {"axis": (mark, of)}
    practice = more.pop("practice", False)
    taken, more["where"] = more.pop("taken", True), more.get("where", "paper")
    return Result(learner, learner.upper(), chapter, question, mark, of, False, practice, skills, slips,
                  taken=taken, **more)  # fmt: skip


def first_table(page):
    found = re.search(r"<caption>See first</caption>.*?</table>", page)
    return re.findall(r"<tr><td>(.*?)</td><td.*?</td><td>(.*?)</td></tr>", found[0]) if found else []


def page(found, names=None, late=None, overdue=None):
    names = names or {r.learner: r.name for r in found}
    return class_page("Class", found, names, late or {}, overdue or {})


def test_harm_comes_before_what_is_missing_before_what_comes_back_before_low_marks():
    found = [one("good"), one("good", "03-zero"), one("low", mark=0.1), one("low", "03-zero", mark=0.3)]
    found += [one("missing")]
    found += [one("again", question=f"q-{i}", mark=0.9, slips=("axis 90 out",)) for i in range(3)]
    found += [one("again", "03-zero")]
    found += [one("harm", harmful=True), one("harm", "03-zero")]
    rows = first_table(page(found, overdue={"missing": ["03-zero"]}))
    assert [who for who, _ in rows] == ["harm", "missing", "again", "low"]
    why = dict(rows)
    assert why["harm"] == "would harm as written: 02 q-1"
    assert why["missing"] == "overdue: 03"
    assert why["again"].startswith("axis 90 out, 3 times")
    assert why["low"] == "20 % of the marks"


def test_nobody_is_named_without_a_reason_and_late_alone_is_none():
    assert first_table(page([one("a"), one("b")], late={"a": {"02-forms": "2 h 5 min"}})) == []
    # Beside a reason it is told.
    (row,) = first_table(page([one("a", mark=0.0)], late={"a": {"02-forms": "2 h 5 min"}}))
    assert row[1] == "0 % of the marks; late: 02 by 2 h 5 min"


def test_what_is_not_due_yet_and_what_waits_for_a_hand_are_no_reasons():
    waits = Result("a", "A", "02-forms", "reason", 0.0, 3.0, True, False, {}, ())
    tried = one("a", question="guided", practice=True, mark=0.2, harmful=True)
    assert first_table(page([one("a"), waits, tried], {"a": "Ann", "b": "Bertil Moorhen"})) == []


def test_from_whom_nothing_came_is_said():
    shown = page([one("a")], {"a": "Ann", "b": "Bertil Moorhen"}, overdue={"b": ["02-forms"]})
    assert first_table(shown) == [("b", "nothing came")]
    assert "2 learners, 1 answers with marks." in shown
    assert "<tr><td>all</td><td>Bertil Moorhen</td><td></td></tr>" in shown


def test_who_is_missing_and_who_came_late_stand_by_chapter():
    found = [one("a"), one("a", "03-zero"), one("b")]
    shown = page(found, overdue={"b": ["03-zero"]}, late={"a": {"02-forms": "2 h 5 min"}})
    assert "<tr><td>02</td><td></td><td>A by 2 h 5 min</td></tr>" in shown
    assert "<tr><td>03</td><td>B</td><td></td></tr>" in shown


def test_what_was_left_empty_is_counted_as_that():
    found = [one("a", mark=0.0, taken=False, empty=True), one("b", mark=0.0)]
    assert "1 was left empty." in page(found)
    assert [row["left empty"] for row in question_rows(found)] == [1]


def test_an_answer_that_two_habits_give_counts_for_the_one_the_learner_shows_elsewhere():
    # 180 - 045 and 045 + 90 are the same axis: one lens cannot tell the two apart.
    either = (("axis 90 out",), ("axis mirrored",))
    unclear = one("a", mark=0.5, slips=("axis 90 out",), either=either)
    mirrored = [one("a", question=f"q-{i}", mark=0.5, slips=("axis mirrored",)) for i in range(2)]
    assert [r.slips for r in gathered([unclear, *mirrored])] == [("axis mirrored",)] * 3
    # One alone settles nothing, nor does what another learner does.
    assert gathered([unclear, mirrored[0]])[0].slips == ("axis 90 out",)
    others = [replace(each, learner="b") for each in mirrored]
    assert gathered([unclear, *others])[0].slips == ("axis 90 out",)


def test_what_could_not_be_read_is_no_wrong_answer():
    found = [
        one(mark=0.0, taken=False),
        one(question="q-2", mark=0.5),
        one(question="q-3", mark=0.5, slips=("x",)),
    ]
    assert "Of 2 wrong answers, practice included, a habit explains 1, and nothing explains 1." in page(found)


@pytest.mark.parametrize(
    ("earlier", "later", "word"),
    # By hand: 1 and 4 of ten part so unevenly by chance 2352 times in 15504, 1 and 5 of ten 2730 in 38760.
    [((4, 10), (0, 10), "shrinking"), ((1, 10), (5, 10), "growing"), ((3, 10), (3, 10), "steady"),
     ((1, 10), (1, 10), ""), ((0, 10), (4, 10), "growing"), ((1, 10), (4, 10), "")],
)  # fmt: skip
def test_a_habit_grows_or_shrinks_by_its_share_of_the_answers(earlier, later, word):
    found = []
    for chapter, (times, of) in (("02-a", earlier), ("05-b", later)):
        found += [
            one(chapter=chapter, question=f"q-{i}", mark=0.5, slips=("axis 90 out",) * (i < times))
            for i in range(of)
        ]
    assert trend(found, "axis 90 out") == word
    # Ten times as many answers without it in the later chapter: a smaller share of more is no growth.
    assert trend([r for r in found if r.chapter == "02-a"], "axis 90 out") == ""


def test_a_habit_of_the_bench_does_not_grow_because_a_chapter_on_paper_came_first():
    paper = [one(question=f"q-{i}", where="paper") for i in range(10)]
    bench = [
        one(chapter="05-b", question=f"q-{i}", mark=0.5, where="bench", slips=("eyepiece not set",))
        for i in range(4)
    ]
    assert trend(paper + bench, "eyepiece not set") == ""
    read = [one(chapter="06-c", question=f"q-{i}", where="bench") for i in range(4)]
    assert trend(paper + bench + read, "eyepiece not set") == "shrinking"


def test_what_waits_for_a_hand_is_not_hard():
    waits = Result("a", "A", "02-forms", "reason", 0.0, 3.0, True, False, {}, ())
    assert [row["question"] for row in question_rows([one(), waits])] == ["q-1"]


def test_a_question_that_the_strong_miss_tells_learners_apart_the_wrong_way():
    chance = np.random.default_rng(5)
    found = []
    for n in range(12):
        strength = n / 11
        for question, share in (
            ("fair", strength),
            ("upside-down", 1 - strength),
            *((f"also {k}", strength) for k in range(4)),
        ):
            found.append(one(f"t{n:02}", question=question, mark=float(np.clip(share, 0, 1)), of=1.0))
        found.append(one(f"t{n:02}", question="chance", mark=float(chance.integers(2)), of=1.0))
        found.append(one(f"t{n:02}", question="all-right"))
    apart = {question: value for (_, question), value in tells_apart(found).items()}
    assert apart["fair"] > 0.6 and apart["upside-down"] < -0.6
    # Where all earned the same there is nothing to tell, and nine learners are too few.
    assert "all-right" not in apart
    assert not tells_apart([r for r in found if r.learner < "t09"])


def test_wrong_answers_as_typed_are_those_of_two_or_more_and_never_of_unknown_pairs():
    found = [one(f"t{n}", mark=0.0, answer="+1.00 -0.50 x 090") for n in range(3)]
    found += [one("t8", mark=0.0, answer="alone"), one("t9", answer="right")]
    found += [
        one(f"u{n}", question="pair", mark=0.0, answer="pl", offs=(("R", "sphere", 0.5),)) for n in range(3)
    ]
    typed = {row["question"]: row["wrong as typed"] for row in question_rows(found)}
    assert typed == {"q-1": '"+1.00 -0.50 x 090" (3)', "pair": ""}
    hostile = page([one(f"t{n}", mark=0.0, answer="<script>x</script>") for n in range(2)])
    assert "<script" not in hostile and "&lt;script&gt;" in hostile


def test_side_and_scatter_are_shown_where_five_readings_tell_them():
    chance = np.random.default_rng(3)
    errors = {
        "Plus": list(0.12 + 0.02 * chance.standard_normal(9)),
        "Even": list(0.02 * chance.standard_normal(9)),
        "One slip": [0.0, 0.01, -0.01, 0.0, 0.01, 4.0],
        "Few": [0.2] * 4,
    }
    said = class_spread(errors).alt
    assert re.search(r"Plus \+0\.1\d D", said) and "Few" not in said
    assert re.search(r"One slip [+-]0\.00 D", said)
    assert said.index("Plus") < said.index("Even")
    assert class_spread({}).alt.endswith("Too few readings.")


def test_each_row_has_its_head_on_every_printed_page():
    shown = page([one("a", mark=0.2), one("b")])
    assert shown.count("<table>") == shown.count("<thead>") >= 3
    assert "table-header-group" in shown
