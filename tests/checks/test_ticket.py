"""The check of a whole ticket: every field for itself, marks by skill, nothing lost by a refusal."""

from __future__ import annotations

from pathlib import Path

import pytest

from optics import checks as check
from optics.course.reading import read_answers
from optics.course.solving import solve_ticket
from optics.errors import OpticsError
from optics.instrument.trace import Trace, handed_in
from optics.marking.marks import ASKS
from optics.marking.telling import MARKS_MIME
from optics.specimens import sealed
from optics.specimens.sealed import open_pairs, seal

WHO = "A. Learner"
LINES = ("lines", "prism", "pd")


@pytest.fixture(scope="module")
def chapter(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("whole") / "09-lined-multifocals"
    folder.mkdir()
    briefs = (
        '{"A": {"style": "bifocal", "cylinder": "always", "axes": "oblique", "prism": 2.0},'
        ' "S": {"style": "single vision", "cylinder": "always"}, "G": {"style": "progressive"}}'
    )
    (folder / sealed.BRIEFS).write_text(briefs, "utf-8")
    seal(folder, intake="spring", secret="only a test")
    return folder


def ask(chapter: Path, answer: object = None, pair: str = "A", points: float = 20.0, **more: object):
    with check.collecting() as said:
        mark = check.ticket(answer, learner=WHO, pair=pair, points=points, folder=chapter, **more)
    assert len(said) == 1
    assert isinstance(mark, float) and repr(mark) == repr(float(mark))
    return mark, said[0]["text/plain"], said[0][MARKS_MIME]


def record(answer: object = None, **more: object) -> tuple[str, str]:
    with check.collecting() as said:
        assert check.recorded_ticket(answer, **more) is None
    (reply,) = said
    assert "skills" not in reply[MARKS_MIME]
    return reply[MARKS_MIME]["state"], reply["text/plain"]


@pytest.mark.parametrize("form", ["minus", "plus"])
@pytest.mark.parametrize("pair", ["A", "S", "G"])
def test_the_right_ticket_earns_everything(chapter: Path, pair: str, form: str) -> None:
    fields = solve_ticket(pair, WHO, form, chapter)
    assert ask(chapter, fields, pair, form=form)[0] == 20.0
    assert ask(chapter, None, pair, form=form, **fields)[0] == 20.0
    # Read from a cell without running it, it is the same ticket.
    read = read_answers(f"pair_a = {fields!r}").values["pair_a"]
    assert ask(chapter, read, pair, form=form)[0] == 20.0
    assert ask(chapter, {}, pair)[2]["state"] == "Not answered yet"


@pytest.mark.parametrize(
    ("asks", "skills"),
    [
        (LINES, {"sphere", "cylinder", "axis", "form", "notation", "prism", "centres"}),
        (("add", "heights"), {"add", "heights"}),
        (("style",), {"style"}),
    ],
)
def test_only_what_is_asked_is_marked(chapter: Path, asks: tuple[str, ...], skills: set[str]) -> None:
    fields = solve_ticket("A", WHO, folder=chapter)
    mark, _, data = ask(chapter, fields, asks=asks)
    assert mark == 20.0 and set(data["skills"]) == skills
    assert set(ask(chapter, {}, asks=asks)[2]["skills"]) == skills
    with pytest.raises(OpticsError, match="lines, add, prism, pd, heights, style"):
        ask(chapter, fields, asks=("colour",))


def test_prism_that_is_asked_must_be_written_be_it_none(chapter: Path) -> None:
    fields = solve_ticket("S", WHO, folder=chapter)
    assert fields["prism_right"] == "no prism"
    silent = {name: text for name, text in fields.items() if not name.startswith("prism")}
    mark, told, data = ask(chapter, silent, "S")
    assert mark < 20.0 and data["skills"]["prism"][0] == 0.0
    assert "Not written: right prism, left prism." in told


@pytest.mark.parametrize(
    ("field", "wrong", "beside"),
    [
        ("pd_right", "thirty", 'Right PD: The right PD is "thirty".'),
        ("add_left", "+2.25 x 3", 'Left addition: The left addition is "+2.25 x 3".'),
        ("prism_right", "2 base", "Right prism: The prism in"),
        ("height_left", "-3", "Left height: "),
        ("style", "monocle", 'Style: The lens style is "monocle".'),
        ("left", "-1.00 -0.50", "Left line: "),
        ("left", ["-1.00 DS"], "Left line: "),
    ],
)
def test_a_refusal_stands_beside_its_field_and_loses_nothing_else(
    chapter: Path, field: str, wrong: object, beside: str
) -> None:
    fields = solve_ticket("A", WHO, folder=chapter)
    _, told, data = ask(chapter, fields | {field: wrong})
    assert beside in told and "Not written" not in told
    lost = {skill for skill, (got, of) in data["skills"].items() if got < of}
    of_field = {"pd": "centres", "height": "heights"}.get(field.split("_")[0], field.split("_")[0])
    assert lost == ({"sphere", "cylinder", "axis", "form", "notation"} if of_field == "left" else {of_field})
    state, before = record(fields | {field: wrong})
    assert state == "Not yet" and beside in before
    assert before.count(": ") >= len(fields)


def test_every_field_that_was_refused_is_named_in_at_most_90_words(chapter: Path) -> None:
    fields = solve_ticket("A", WHO, folder=chapter)
    refused = [name for name in fields if name != "style"]
    _, told, _ = ask(chapter, {name: "?" for name in fields})
    assert len(refused) == 10 and len(told.split()) <= 90
    for name in refused:
        what, _, side = name.rpartition("_")
        words = {"": "line", "add": "addition", "pd": "pd"}.get(what, what)
        assert f"{side} {words}" in told.lower(), (name, told)


def test_what_is_no_ticket_is_told(chapter: Path) -> None:
    for odd in ("-1.00 DS", 7, ["-1.00 DS"], True):
        mark, told, _ = ask(chapter, odd)
        assert mark == 0.0 and "fields between { and }" in told
    fields = solve_ticket("A", WHO, folder=chapter)
    mark, told, _ = ask(chapter, fields | {"pd": "62"})
    assert mark == 20.0 and 'no field "pd"' in told
    assert ask(chapter, {3: "x"})[0] == 0.0


def test_recorded_says_how_each_field_is_read_and_not_whether_it_is_right() -> None:
    state, told = record(
        {"right": "-2.25 -.75x15", "left": "pl", "prism_right": "none", "pd_left": "31.5 mm"}, asks=LINES
    )
    assert state == "Recorded"
    assert "Right line: -2.25 -0.75 x 015." in told and "Right prism: no prism." in told
    assert "Left PD: 31.5 mm." in told and "Still empty: left prism, right PD." in told
    assert 'write "no prism"' in told and "marked after you hand in" in told
    for empty in (None, {}, {"right": "", "left": " "}, {"right": "x ___"}):
        assert record(empty)[0] == "Not answered yet"


@pytest.mark.parametrize(
    ("asks", "told"),
    [
        (("lines", "pd"), "Type what you read between the quotes."),
        (
            ("lines", "prism"),
            'Type what you read between the quotes. Where you found no prism, write "no prism".',
        ),
        (("lines", "style"), "Type what you read between the quotes."),
        (
            ASKS,
            "Type what you read between the quotes. Leave empty what this pair does not have. "
            'Where you found no prism, write "no prism".',
        ),
    ],
)
def test_an_empty_ticket_is_told_to_be_filled_as_it_is_marked(chapter: Path, asks: object, told: str) -> None:
    """A prism that is asked for is missing where its field is empty."""
    with check.collecting() as said:
        check.recorded_ticket({}, asks=asks)
        for who in ("", WHO):
            check.ticket({}, learner=who, pair="A", asks=asks, folder=chapter)
    assert [each["text/plain"] for each in said] == [f"Not answered yet. {told}"] * 3


def test_the_name_comes_first(chapter: Path) -> None:
    fields = solve_ticket("A", WHO, folder=chapter)
    with check.collecting() as said:
        assert check.ticket(fields, learner="", pair="A", points=3, folder=chapter) == 0.0
        assert check.ticket({}, learner="", pair="A", points=3, folder=chapter) == 0.0
    assert said[0]["text/plain"].startswith("No name yet. Type your name")
    for reply, state in zip(said, ("No name yet", "Not answered yet"), strict=True):
        assert reply[MARKS_MIME]["state"] == state
        # Told by skill all the same, so that what is not right is never said of it.
        assert sum(of for _, of in reply[MARKS_MIME]["skills"].values()) == pytest.approx(3, abs=0.01)


def test_a_guided_pair_answers_at_once_and_never_counts(chapter: Path) -> None:
    fields = solve_ticket("A", WHO, folder=chapter)
    wrong = fields | {"pd_right": "40"}
    with check.collecting() as said:
        assert check.ticket(fields, learner=WHO, pair="A", folder=chapter) == 0.0
        assert check.ticket(wrong, learner=WHO, pair="A", folder=chapter) == 0.0
    assert [reply[MARKS_MIME]["state"] for reply in said] == ["Right", "Not yet"]
    assert "The PD of the right eye is not right yet" in said[1]["text/plain"]


def test_every_habit_of_the_pair_still_has_its_name(chapter: Path) -> None:
    pair = open_pairs(chapter).pair("S", WHO)
    fields = solve_ticket("S", WHO, folder=chapter)
    exchanged = fields | {"right": fields["left"], "left": fields["right"]}
    mark, told, data = ask(chapter, exchanged, "S")
    assert pair.power("R") != pair.power("L")
    assert data["slips"] == ["lenses exchanged"] and "exchanged" in told and mark < 20.0


def worked(eyepiece: float, pair: str = "S") -> Trace:
    """The moves of a hand that left the eyepiece where it stood; the eye is sharp at zero."""
    start = {"lens": "R", "against": "back", "aside": "no", "drum": 0.0, "wheel": 180.0, "eyepiece": eyepiece,
             "stage_x_mm": -31.0, "stage_y_mm": 0.0, "compensator": 0.0, "compensator_base": 0.0}  # fmt: skip
    kept = Trace(start=start, pair=pair)
    for number, (control, value) in enumerate([("drum", -2.0), ("noted", "sphere")]):
        kept.note(control, value, 1000 * number)
    return kept


def test_moves_that_came_with_a_ticket_are_evidence_and_move_no_mark(chapter: Path) -> None:
    fields = solve_ticket("S", WHO, "minus", chapter)
    for side in ("right", "left"):
        sphere, rest = fields[side].split(" ", 1)
        fields[side] = f"{float(sphere) + 0.5:+.2f} {rest}"
    mark, _, bare = ask(chapter, fields, "S")
    found = {}
    for named, trace in (
        ("untouched", worked(5.0)),
        ("set", worked(0.0)),
        ("another pair's", worked(5.0, "A")),
        ("forged", Trace(start={}, pair="S", moves=worked(5.0).moves)),
    ):
        with handed_in(trace):
            again, _, marks = ask(chapter, fields, "S")
        assert again == mark, named
        found[named] = marks["slips"]
    assert found["untouched"] == ["eyepiece not set"]
    assert found["set"] != ["eyepiece not set"]
    assert found["another pair's"] == found["forged"] == bare["slips"]
