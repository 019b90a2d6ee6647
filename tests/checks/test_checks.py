"""What a check says: right, not answered, and each known slip in its own sentence.

Right answers come from published transpositions (tests/cases/transposition.csv)
where the question is one; the wrong ones are made here by hand, figure by
figure, from the habit named beside them.
"""

from __future__ import annotations

import csv
import inspect
import json
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from IPython.core.interactiveshell import InteractiveShell

from optics import checks as check
from optics.apprentices.bench_work import LEARNT
from optics.course.solving import solve
from optics.lens.parsing import parse
from optics.marking.diagnosis import BareLenses, diagnose
from optics.marking.habits import Triple, slip
from optics.marking.read import read_answer
from optics.marking.telling import MARKS_MIME
from optics.specimens import sealed
from optics.specimens.sealed import open_pairs, seal

CASES = Path(__file__).parents[1] / "cases"


@dataclass
class Question:
    """One question as a chapter asks it.

    `wrong` holds answers with a piece of the sentence that each must get;
    `never` what no reply to a wrong answer may contain.
    """

    ask: Callable[[object], float]
    right: str
    wrong: dict[str, str] = field(default_factory=dict)
    never: tuple[str, ...] = ()
    points: float = 4.0


def said(ask: Callable[..., float], *answers: object) -> tuple[float, dict]:
    with check.collecting() as replies:
        mark = ask(*answers)
    assert len(replies) == 1
    return mark, replies[0]


def plain(mark: object) -> bool:
    """Whether nbgrader reads this number; it takes "np.float64(1.5)", or "True", for full marks."""
    return isinstance(mark, float) and repr(mark) == repr(float(mark))


QUESTIONS = {
    "to plus form": Question(
        # Published: eyeandcontacts.com, example 2.
        lambda a: check.conversion(a, given="-1.75 -1.25 x 060", to="plus", points=4),
        "-3.00 +1.25 x 150",
        {
            "-1.75 -1.25 x 060": "other cylinder form",
            "-3.00 -1.25 x 150": "The cylinder has the wrong sign",
            "-3.00 +1.25 x 060": "at right angles to where it should",
            "-3.00 +1.25 x 030": "mirror image",
            "-1.75 +1.25 x 150": "sphere was left as it was",
            "-0.50 +1.25 x 150": "taken away from the sphere",
            "-3.00 +0.50 x 150": "cylinder is not right yet",
            "-3.00 +1.25 x 240": "An axis that has gone past 180",
            "-3.00 +1.25 x 0": "horizontal axis is written 180",
            "-3.00 1.25 x 150": "The cylinder in",
            "3.00 +1.25 x 150": "The sphere in",
            "-3,00 +1.25 x 150": "decimal comma",
            "-3.00 +1.25 150": "axis follows an x",
            "-3.00 +1.25": "has no axis",
            "-3 +1.25 x 150": "two behind it",
            "-3.00 +1.25 x 150°": "no degree sign",
        },
        never=("-3.00 +1.25 x 150",),
    ),
    "to minus form, past 180": Question(
        # Published: mrcophth.com, mock examination 10, station 3 b.
        lambda a: check.conversion(a, given="-2.00 +1.50 x 090", to="minus", points=4),
        "-0.50 -1.50 x 180",
        {
            "-2.00 +1.50 x 090": "other cylinder form",
            "-0.50 +1.50 x 180": "The cylinder has the wrong sign",
            "-0.50 -1.50 x 090": "at right angles to where it should",
            "-2.00 -1.50 x 180": "sphere was left as it was",
            "-3.50 -1.50 x 180": "taken away from the sphere",
        },
        never=("-0.50 -1.50", "x 180"),
    ),
    "no sphere left": Question(
        lambda a: check.conversion(a, given="+1.50 -1.50 x 090", to="plus", points=4),
        "pl +1.50 x 180",
        {
            "+1.50 x 180": "sphere stands before the cylinder",
            "+3.00 +1.50 x 180": "taken away from the sphere",
        },
    ),
    "crossed": Question(
        # Published: eyeandcontacts.com, example 3.
        lambda a: check.crossed(a, given="+1.75 -3.25 x 040", points=4),
        "-1.50 x 040 / +1.75 x 130",
        {
            "+1.75 x 040 / -1.50 x 130": "acts at right angles to its axis",
            "+1.75 x 130 / -3.25 x 040": "the cylinder as it was written",
            "+1.75 x 130 / +1.50 x 040": "Each of the two has the whole power",
            "+1.75 x 130": "two cylinders",
            "+1.75 x 130 / -1.50 x 130": "stand at right angles",
            "+1.75 x 130 / -1.50 x 40": "The lens is right; mind how it is written",
        },
        never=("-1.50 x 040", "+1.75 x 130"),
    ),
    "from a cross": Question(
        lambda a: check.from_cross(a, powers={45: -0.75, 135: +1.25}, points=4),
        "+1.25 -2.00 x 135",
        {
            "-0.75 +2.00 x 045": "other cylinder form",
            "+1.25 -2.00 x 045": "at right angles to where it should",
            "+1.25 +2.00 x 135": "The cylinder has the wrong sign",
            "+1.25 -0.75 x 135": "power of the second meridian was written as the cylinder",
            "+1.25 -0.50 x 135": "across the axis minus the power along it",
        },
        never=("+1.25 -2.00", "135"),
    ),
    "from readings": Question(
        # Published question (a homework page): sphere lines -7.50, cylinder lines -5.25, wheel 085.
        lambda a: check.from_readings(a, sphere_lines=-7.50, cylinder_lines=-5.25, wheel=85, points=4),
        "-5.25 -2.25 x 175",
        {
            "-7.50 +2.25 x 085": "other cylinder form",
            "-5.25 -2.25 x 085": "at right angles",
            "-5.25 -7.50 x 175": "power of the second meridian was written as the cylinder",
        },
        never=("-5.25 -2.25", "175"),
    ),
    "a sphere": Question(
        lambda a: check.from_readings(a, sphere_lines=1.5, cylinder_lines=1.5, wheel=180, points=4),
        "+1.50 DS",
        {
            "+1.50": "marked DS",
            "-1.50 DS": "sphere is not right yet",
            "+1.50 -0.25 x 090": "cylinder is not right yet",
        },
        never=("+1.50 DS",),
    ),
    "along a meridian": Question(
        # The formula is the one of a summary of GB 13511; the lens is ours.
        lambda a: check.meridian_power(a, given="-3.00 -2.00 x 030", meridian=180, points=4),
        "-3.50",
        {
            "-4.50": "at right angles to 180",
            "+3.50": "size is right and the sign is not",
            "-2.00": "difference between two meridians",
            "-3.00": "a cylinder has no power",
            "3.50": "no sign",
            "-3,50": "comma",
            "about -3.50": "one number in dioptres",
        },
        never=("is -3.50",),
    ),
    "settling": Question(
        lambda a: check.settled(a, sphere_lines=-2.14, cylinder_lines=-2.84, wheel=15, points=4),
        "-2.25 -0.75 x 015",
        {
            "-2.25 -0.50 x 015": "the cylinder is 0.20 D from what was read, and the limit is 0.13 D",
            "-2.00 -0.75 x 015": "the sphere is 0.14 D from what was read",
            "-2.25 -0.75 x 105": "at right angles",
            "-3.00 +0.75 x 105": "other cylinder form",
        },
        never=("-0.75 x 015",),
    ),
    "notation": Question(
        lambda a: check.notation(a, given="+2.5 -.75 x 5°", points=4),
        "+2.50 -0.75 x 005",
        {
            "+2.5 -0.75 x 005": "figure before the point and two behind",
            "+2.50 -.75 x 005": "figure before the point and two behind",
            "+2.50 -0.75 x 5": "three digits",
            "+2.50 -0.75 x 005°": "no degree sign",
            "+2.50 -0.75 x 050": "another lens",
            "+1.75 +0.75 x 095": "another lens",
            "2.50 -0.75 x 005": "no sign",
        },
        never=("+2.50 -0.75 x 005",),
    ),
    "choice": Question(
        lambda a: check.choice(a, question="02-writing-it-down/bench-1", points=4),
        "c",
        {
            "a": "axes may only be compared",
            "b": "spheres may only be compared",
            "d": "not one of the letters",
        },
    ),
}
IN_ONE_LINE = [
    pytest.param(question, wrong, fragment, id=f"{name}: {wrong}")
    for name, question in QUESTIONS.items()
    for wrong, fragment in question.wrong.items()
]
every_question = pytest.mark.parametrize("question", QUESTIONS.values(), ids=QUESTIONS)


@every_question
def test_the_right_answer_earns_everything(question: Question) -> None:
    mark, reply = said(question.ask, question.right)
    assert reply[MARKS_MIME]["state"] == "Right"
    assert plain(mark)
    assert mark == question.points


@pytest.mark.parametrize("empty", ["", "   ", None, ..., "-1.00 -0.50 x ___"])
@every_question
def test_untouched_is_not_answered_yet(question: Question, empty: object) -> None:
    mark, reply = said(question.ask, empty)
    assert reply[MARKS_MIME]["state"] == "Not answered yet"
    assert plain(mark)
    assert mark == 0.0
    assert question.right not in re.sub(r"Type one letter: .*", "", reply["text/plain"])


@pytest.mark.parametrize(("question", "wrong", "fragment"), IN_ONE_LINE)
def test_a_known_wrong_answer_gets_its_own_sentence(
    question: Question, wrong: str, fragment: str, capsys: pytest.CaptureFixture[str]
) -> None:
    mark, reply = said(question.ask, wrong)
    assert reply[MARKS_MIME]["state"] == "Not yet"
    assert fragment in reply["text/plain"]
    assert plain(mark)
    assert 0.0 <= mark < question.points
    assert capsys.readouterr() == ("", "")


@every_question
def test_different_slips_get_different_replies(question: Question) -> None:
    told = {}
    for wrong, fragment in question.wrong.items():
        told.setdefault(fragment, set()).add(said(question.ask, wrong)[1]["text/plain"].replace(wrong, ""))
    every = [text for texts in told.values() for text in texts]
    assert len(set(every)) == len(every)


@pytest.mark.parametrize(("question", "wrong", "fragment"), IN_ONE_LINE)
def test_no_reply_gives_the_answer_away(question: Question, wrong: str, fragment: str) -> None:
    _, reply = said(question.ask, wrong)
    # What the learner wrote may be said back to them, tidied or not.
    told = reply["text/plain"].replace(wrong, "")
    if re.findall(r"\d", wrong) == re.findall(r"\d", question.right):
        return
    assert [text for text in question.never if text in told] == []


@pytest.mark.parametrize(
    "odd", [5, -1.25, ["-1.00 DS"], {"R": "x"}, "x" * 5000, "<b>-1</b>", "-1.00 DS\n+2.00 DS", True, math.nan]
)
@every_question
def test_nothing_a_learner_types_is_an_error(question: Question, odd: object) -> None:
    mark, reply = said(question.ask, odd)
    assert 0.0 <= mark < question.points
    assert "<b>" not in reply["text/html"]


def published() -> list:
    with (CASES / "transposition.csv").open(encoding="utf-8") as file:
        return [
            pytest.param(row["given"], row["transposed"], row["crossed"], id=row["id"])
            for row in csv.DictReader(file)
            if row["transposed"] and "calc" not in row["status"] and parse(row["given"]).axis
        ]


@pytest.mark.parametrize(("given", "transposed", "crossed"), published())
def test_published_transpositions_are_right_answers(given: str, transposed: str, crossed: str) -> None:
    to = parse(transposed).form
    with check.collecting():
        assert check.conversion(transposed, given=given, to=to, points=3) == 3.0
        assert check.conversion(given, given=transposed, to=parse(given).form, points=3) == 3.0
        assert check.conversion(given, given=given, to=to, points=3) < 1.0
        if crossed:
            assert check.crossed(crossed, given=given, points=3) == 3.0


@pytest.mark.parametrize(
    ("along", "across", "mark", "fragment"),
    [
        ("-1.25", "-3.25", 4.0, "Right"),
        ("-3.25", "-1.25", 0.0, "exchanged"),
        ("-1.25", "-2.00", 2.0, "the cylinder alone"),
        ("-1.25", "+0.75", 2.0, "taken away"),
        ("-1.25", "-3.50", 2.0, "sphere plus cylinder"),
        ("-2.00", "-3.25", 2.0, "power across the axis is right"),
        ("-9.00", "-9.00", 0.0, "sphere plus cylinder"),
        ("1.25", "-3.25", 0.0, "no sign"),
        ("-1.25", "", 0.0, "Not answered yet"),
    ],
)
def test_a_cross_made_from_a_lens(along: str, across: str, mark: float, fragment: str) -> None:
    with check.collecting() as replies:
        assert check.to_cross(along, across, given="-1.25 -2.00 x 035", points=4) == mark
    assert fragment in replies[0]["text/plain"]
    if mark < 4.0:
        assert "-3.25" not in replies[0]["text/plain"].replace(across, "")


def test_settling_between_two_steps_allows_both() -> None:
    # -2.12 lies halfway but for 0.005 D; nobody can read that.
    for answer in ("-2.00 DS", "-2.25 DS"):
        mark, reply = said(lambda a: check.settled(a, sphere_lines=-2.12, points=2), answer)
        assert mark == 2.0
        assert "judgement" in reply["text/plain"]
    assert said(lambda a: check.settled(a, sphere_lines=-2.12, points=2), "-2.50 DS")[0] < 2.0


def test_settling_takes_every_defensible_line_and_names_its_table() -> None:
    def ask(answer: str) -> tuple[float, str]:
        mark, reply = said(
            lambda a: check.settled(a, sphere_lines=2.17, cylinder_lines=-0.18, wheel=135, points=4), answer
        )
        return mark, reply["text/plain"]

    for answer, other in (("+2.25 -2.50 x 135", "-2.25 x 135"), ("+2.25 -2.25 x 135", "-2.50 x 135")):
        mark, told = ask(answer)
        assert mark == 4.0 and f"As defensible: +2.25 {other}." in told
        assert (
            "would pass ANSI Z80.1-2015" in told
            and "By ISO 21987:2009 (limits from memory) it would not pass" in told
        )
    assert ask("+2.25 -2.75 x 135")[0] < 4.0
    for loose in ("R +2.25 -2.50 x 135", "+2.25 -2.50 x 135 add +2.00", "L -0.25 +2.50 x 045"):
        assert ask(loose)[0] > 0


def test_crossed_axes_that_changed_places_earn_no_more_than_a_lens_across() -> None:
    swapped = check.crossed("-0.50 x 135 / -1.75 x 045", given="-0.50 -1.25 x 135", points=4)
    across = check.conversion("-0.50 -1.25 x 045", given="-1.75 +1.25 x 045", to="minus", points=4)
    assert swapped == across == 2.0


def test_practice_tells_what_is_right_and_earns_nothing() -> None:
    ask = QUESTIONS["from a cross"].right
    mark, reply = said(lambda a: check.from_cross(a, powers={45: -0.75, 135: 1.25}, points=0), ask)
    assert mark == 0.0
    assert plain(mark)
    assert reply[MARKS_MIME]["state"] == "Right"
    assert reply[MARKS_MIME]["counts"] is False
    assert "Marks" not in reply["text/plain"] + reply["text/html"]
    mark, reply = said(
        lambda a: check.from_cross(a, powers={45: -0.75, 135: 1.25}, points=0), "+1.25 -2.00 x 045"
    )
    assert mark == 0.0
    assert reply[MARKS_MIME]["state"] == "Not yet"
    assert reply[MARKS_MIME]["skills"]["axis"][0] == 0.0


def test_a_reply_is_framed_in_words_and_shown_not_printed(capsys: pytest.CaptureFixture[str]) -> None:
    _, reply = said(QUESTIONS["crossed"].ask, "")
    assert set(reply) == {"text/plain", "text/html", MARKS_MIME}
    assert 'role="status"' in reply["text/html"]
    assert "Not answered yet." in reply["text/html"]


def test_a_check_displays_when_nobody_collects(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = []
    monkeypatch.setattr("IPython.display.display", lambda data, raw: shown.append((data, raw)))
    assert check.meridian_power("-3.50", given="-3.00 -2.00 x 030", meridian=180, points=1) == 1.0
    assert shown[0][1] is True
    # Marked, it is answered after hand-in, right or wrong alike.
    assert check.meridian_power("-4.50", given="-3.00 -2.00 x 030", meridian=180, points=1) == 0.0
    told = {data["text/plain"] for data, _ in shown}
    assert told == {"Recorded. Your answer can be read. It is marked after you hand in."}
    assert all("skills" not in data[MARKS_MIME] for data, _ in shown)
    # What cannot be read, or may be misread, can be mended before.
    check.meridian_power("4.50", given="-3.00 -2.00 x 030", meridian=180, points=1)
    assert "no sign" in shown[-1][0]["text/plain"]
    check.conversion("-3,00 +1.25 x 150", given="-1.75 -1.25 x 060", to="plus", points=1)
    assert "decimal comma" in shown[-1][0]["text/plain"]
    # Practice is answered at once.
    check.meridian_power("-4.50", given="-3.00 -2.00 x 030", meridian=180)
    assert "at right angles to 180" in shown[-1][0]["text/plain"]


def test_a_mark_is_a_number_to_nbgrader_and_nothing_to_see_for_a_learner() -> None:
    mark, _ = said(QUESTIONS["crossed"].ask, "")
    data, _ = InteractiveShell.instance().display_formatter.format(mark)
    assert data["text/plain"] == "0.0"
    assert re.sub(r"<style>.*?</style>|<[^>]*>", "", data["text/html"]) == ""


def test_every_check_takes_points() -> None:
    marking = [name for name in check.__all__ if name != "collecting" and not name.startswith("recorded")]
    for name in marking:
        assert "points" in inspect.signature(getattr(check, name)).parameters, name


# --- an unknown pair ---------------------------------------------------------------


@pytest.fixture
def chapter(tmp_path: Path) -> Path:
    folder = tmp_path / "12-the-unknown-pair"
    folder.mkdir()
    briefs = {
        "A": {"cylinder": "always", "axes": "oblique"},
        "S": {"cylinder": "none", "strongest": 3},
        "G": {"lenses": "R -1.25 -1.00 x 015; L -2.00 DS", "fault": "zero error"},
    }
    (folder / sealed.BRIEFS).write_text(json.dumps(briefs), "utf-8")
    seal(folder, intake="spring", secret="only a test", variants=24)
    return folder


WHO = "A. Learner"


def bench_ask(chapter: Path, eye: str = "R", pair: str = "A", **more: object) -> Callable[[object], float]:
    return lambda a: check.reading(a, learner=WHO, pair=pair, eye=eye, points=5, folder=chapter, **more)


@pytest.mark.parametrize("eye", ["R", "L"])
@pytest.mark.parametrize("pair", ["A", "S"])
@pytest.mark.parametrize("form", ["minus", "plus"])
def test_the_solution_of_an_unknown_pair_earns_everything(
    chapter: Path, eye: str, pair: str, form: str
) -> None:
    answer = solve(pair, eye, WHO, form=form, folder=chapter)
    assert said(bench_ask(chapter, eye, pair, form=form), answer)[0] == 5.0


def test_the_other_form_costs_the_form_alone(chapter: Path) -> None:
    mark, reply = said(bench_ask(chapter), solve("A", "R", WHO, form="plus", folder=chapter))
    assert mark == 4.5
    assert "other cylinder form" in reply["text/plain"]
    assert reply[MARKS_MIME]["slips"] == ["form not converted"]


def test_an_axis_90_out_is_named_at_the_bench(chapter: Path) -> None:
    line = parse(solve("A", "R", WHO, folder=chapter))
    turned = f"{line.distance[:-3]}{(line.axis + 90 - 1) % 180 + 1:03d}"
    mark, reply = said(bench_ask(chapter), turned)
    assert mark == 2.5 and "At most half" in reply["text/plain"]
    assert reply[MARKS_MIME]["slips"] == ["axis 90 out"]
    assert "where the sphere lines are sharp" in reply["text/plain"]
    assert line.distance not in reply["text/plain"]


def test_exchanged_lenses_are_named_over_the_pair(chapter: Path) -> None:
    right, left = (solve("A", eye, WHO, folder=chapter) for eye in "RL")
    _, reply = said(bench_ask(chapter, "R", other=right), left)
    assert reply[MARKS_MIME]["slips"] == ["lenses exchanged"]
    assert right not in reply["text/plain"].replace(left, "")


def test_what_one_lens_alone_has_wrong_is_not_said_of_the_other(chapter: Path) -> None:
    """An axis copied to the left lens is no habit of the right one, whose own axis nothing explains."""
    right, left = (parse(solve("A", eye, WHO, folder=chapter)) for eye in "RL")
    # Half a dioptre up; down is where a sphere that was not converted would stand too.
    off = f"{right.sphere + 0.5:+.2f} {right.cylinder:+.2f} x {(right.axis + 47 - 1) % 180 + 1:03d}"
    copied = f"{left.sphere + 0.5:+.2f} {left.cylinder:+.2f} x {right.axis:03d}"
    slips = said(bench_ask(chapter, "L", other=off), copied)[1][MARKS_MIME]["slips"]
    assert slips == ["axis copied from the other lens", "eyepiece not set"]
    assert not said(bench_ask(chapter, "R", other=copied), off)[1][MARKS_MIME]["slips"]


def test_a_tie_on_paper_is_told_as_a_tie() -> None:
    # 180 - 045 and 045 + 90 are both 135.
    _, reply = said(lambda a: check.conversion(a, given="-0.25 +2.50 x 045", to="minus"), "+2.25 -2.50 x 045")
    assert "With these numbers it could equally be: " in reply["text/plain"]
    assert {"axis 90 out", "axis mirrored"} <= {
        name for names in reply[MARKS_MIME]["either"] for name in names
    }


def test_a_reading_needs_the_name_first(chapter: Path) -> None:
    for nobody in ("", None, 7):
        mark, reply = said(
            lambda a, who=nobody: check.reading(a, learner=who, pair="A", eye="R", folder=chapter), "-1.00 DS"
        )
        assert mark == 0.0
        assert "Type your name" in reply["text/plain"]


def test_untouched_and_unreadable_readings(chapter: Path) -> None:
    assert said(bench_ask(chapter), "")[1][MARKS_MIME]["state"] == "Not answered yet"
    mark, reply = said(bench_ask(chapter), "-2.25 -0.75 x 195")
    assert mark == 0.0
    assert "past 180" in reply["text/plain"]


def test_recorded_says_how_a_line_was_read_and_not_whether_it_is_right(chapter: Path) -> None:
    with check.collecting() as replies:
        assert check.recorded("-2.25 -.75x15", "", "+1.50 -1.00") is None
    told = [reply["text/plain"] for reply in replies]
    assert told[0].startswith("Recorded. Read as -2.25 -0.75 x 015. It is marked after you hand in.")
    assert "three digits" in told[0]
    assert told[1].startswith("Not answered yet.")
    assert "has no axis" in told[2]
    assert all("skills" not in reply[MARKS_MIME] for reply in replies)


def test_the_pair_is_the_one_the_bench_shows(chapter: Path) -> None:
    # The same name typed with other capitals or spaces is the same learner.
    box = open_pairs(chapter)
    assert box.variant("A", WHO) == box.variant("A", " a.  learner ")


@pytest.mark.parametrize(
    "entry",
    [slip(name) for name in LEARNT if slip(name).of_a_line and "bench" in slip(name).where],
    ids=lambda e: e.name,
)
@pytest.mark.parametrize(("form", "right"), [("minus", "-1.25 -1.00 x 015"), ("plus", "-2.25 +1.00 x 105")])
def test_a_habit_is_named_in_whichever_form_was_asked_for(monkeypatch, chapter, entry, form, right):
    told = []
    monkeypatch.setattr(
        "optics.checks.bench.reply", lambda marks, found, *_, **__: told.append(found.either) or 0.0
    )
    line = parse(right)
    made = entry.shown(Triple(line.sphere, line.cylinder, float(line.axis)), form)
    assert made is not None
    answer = f"{made.sphere:+.2f} {made.cylinder:+.2f} x {round(made.axis):03d}"
    check.reading(answer, learner=WHO, pair="G", eye="R", form=form, folder=chapter)
    # Another habit may lead to the same line; it is then named beside this one.
    assert (entry.name,) in told[0]


def test_who_wrote_plus_form_when_asked_for_it_did_convert():
    """Plus form with the axis left: one habit, and not "the other cylinder form"."""
    lens = BareLenses({"R": parse("-3.00 +0.75 x 105").power})
    told = diagnose(read_answer({"right": "-3.00 +0.75 x 015"}), lens, "plus")
    assert told.names == ("axis 90 out",)


# --- single numbers noted at the bench ------------------------------------------------


def note_ask(chapter: Path, what: str, **more: object) -> Callable[[object], float]:
    return lambda a: check.noted(a, what=what, learner=WHO, pair="G", points=2, folder=chapter, **more)


def test_what_was_noted_counts_as_the_drum_shows_it(chapter: Path) -> None:
    """The drum of an instrument that is out shows the lens and the zero together."""
    zero = open_pairs(chapter).pair("G", WHO).zero_error
    assert abs(zero) > 0.1
    for what, shown in {"zero": zero, "sphere lines": -1.25 + zero, "cylinder lines": -2.25 + zero}.items():
        for out, mark in {0.0: 2.0, 0.12: 2.0, -0.12: 2.0, 0.15: 0.0, -0.6: 0.0}.items():
            got, reply = said(note_ask(chapter, what), f"{shown + out:+.2f}")
            assert got == mark and plain(got), (what, out)
            assert f"{shown:+.2f}" not in reply["text/plain"]


def test_the_eyepiece_is_the_learners_own(chapter: Path) -> None:
    ask = note_ask(chapter, "eyepiece", within=1)
    sharp = open_pairs(chapter).eye_setting("G", WHO)
    assert [said(ask, f"{sharp + out:+.2f}")[0] for out in (0.0, 1.0, -1.0, 1.25)] == [2.0, 2.0, 2.0, 0.0]
    assert "sign is not" in said(ask, f"{-sharp:+.2f}")[1]["text/plain"]


def test_the_trial_lens_is_the_opposite_of_the_lens(chapter: Path) -> None:
    """A thin -2.00 is stopped by +2.00 (hand neutralization, common practice), whatever the drum's zero."""
    ask = note_ask(chapter, "trial lens", eye="L", within=0.3)
    assert [said(ask, typed)[0] for typed in ("+2.00", "+2.25", "+2.50", "-2.00")] == [2.0, 2.0, 0.0, 0.0]
    assert "sign is not" in said(ask, "-2.00")[1]["text/plain"]


def test_what_was_noted_in_another_place_is_told(chapter: Path) -> None:
    zero = open_pairs(chapter).pair("G", WHO).zero_error
    ask = note_ask(chapter, "sphere lines")
    assert "the other set of lines" in said(ask, f"{-2.25 + zero:+.2f}")[1]["text/plain"]
    assert "difference of the two" in said(note_ask(chapter, "cylinder lines"), "-1.00")[1]["text/plain"]
    for untouched in ("", None, "___"):
        assert said(ask, untouched)[1][MARKS_MIME]["state"] == "Not answered yet"
    for unreadable in ("1.25", "minus one", "-1,25", "-1.25 x 015"):
        mark, reply = said(ask, unreadable)
        assert mark == 0.0 and reply[MARKS_MIME]["state"] == "Not yet"
    nobody = said(lambda a: check.noted(a, what="zero", learner="", pair="G", folder=chapter), "+0.25")
    assert "Type your name" in nobody[1]["text/plain"]


# "0.00" and "plano (pl.)" are both in use: encyclopaedia article "Eyeglass prescription".
@pytest.mark.parametrize(
    ("typed", "told", "silent"),
    [
        ("0", "A lens without power is written pl, plano or 0.00 DS", ("not .5", "lost cylinder")),
        ("0.00", "A lens without power is written pl, plano or 0.00 DS", ("not .5", "lost cylinder")),
        ("0 DS", "A lens without power is written pl, plano or 0.00 DS", ("not .5", "lost cylinder")),
        ("0 -1.00 x 180", "A zero has two decimals too: 0.00, or pl for a sphere", ("not .5", "plano or")),
        ("+2", "0.50, not .5. A sphere is marked DS", ("without power", "zero")),
        ("pl", "Read as plano.", ("written",)),
        ("plano", "Read as plano.", ("written",)),
        ("pl DS", "Read as plano.", ("written",)),
        ("0.00 DS", "Read as plano.", ("written",)),
        ("pl -1.00 x 180", "Read as pl -1.00 x 180.", ("written", "zero")),
    ],
)
def test_a_lens_without_power_is_told_as_the_trade_writes_it(typed, told, silent) -> None:
    with check.collecting() as replies:
        check.recorded(typed)
    words = replies[0]["text/plain"]
    assert told in words
    assert not [each for each in silent if each in words], words
