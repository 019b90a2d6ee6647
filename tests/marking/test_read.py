"""The ticket as it is typed: what can be read is read, the rest is told, and nothing is lost."""

from __future__ import annotations

import json

import pytest
from beside import Beside

from optics.errors import OpticsError
from optics.marking.read import FIELDS, read_answer

WHOLE = {
    "style": "Bifocal",
    "right": "+1.00 -0.50 x 090",
    "left": "L +1.25 DS",
    "add_right": "+2.00",
    "add_left": "+2.00",
    "prism_right": "1.00 base up",
    "prism_left": "prism 1.00 base down",
    "pd_right": "31.5",
    "pd_left": "32 mm",
    "height_right": "17",
    "height_left": 17.5,
    "remarks": "left lens scratched",
}


def test_a_whole_ticket_is_read() -> None:
    ticket = read_answer(WHOLE)
    assert ticket.unread == {}
    assert ticket.style == "bifocal" and ticket.remarks == "left lens scratched"
    assert str(ticket.right.line) == "R +1.00 -0.50 x 090 add +2.00 prism 1.00 base up"
    assert str(ticket.left.line) == "L +1.25 DS add +2.00 prism 1.00 base down"
    assert (ticket.right.pd_mm, ticket.left.pd_mm) == (31.5, 32.0)
    assert (ticket.right.height_mm, ticket.left.height_mm) == (17.0, 17.5)
    assert ticket.of("L") is ticket.left


def test_addition_and_prism_may_stand_in_the_line() -> None:
    ticket = read_answer({"right": "+1.00 DS add +2.00 prism 2.00 base out"})
    assert ticket.right.add == 2.0
    assert ticket.right.prism == ((2.0, "out"),)
    assert str(ticket.right.distance) == "R +1.00 DS"
    twice = read_answer({"right": "+1.00 DS add +2.00", "add_right": "+2.00"})
    assert twice.unread == {} and twice.right.add == 2.0


@pytest.mark.parametrize("word", ["none", "0", "-", "no prism"])
def test_no_prism_can_be_said(word: str) -> None:
    ticket = read_answer({"right": "+1.00 DS", "prism_right": word, "add_right": "none"})
    assert ticket.unread == {}
    assert ticket.right.prism == () and ticket.right.add is None
    assert ticket.right.prism_met("R").amount == 0.0
    assert read_answer({}).right.prism_met("R") is None


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("right", "-2.00 -0.75 15", "has no axis sign"),
        ("right", "L -2.00 DS", 'The line for R says "L"'),
        ("left", "2.00 DS", "has no sign"),
        ("add_right", "+2,25", 'Write "\\+2.25"'),
        ("add_right", "two", "one number in dioptres"),
        ("add_left", "-2.00", "An addition is above 0"),
        ("add_left", "+12.00", "lies between"),
        ("prism_right", "2.00", "its base: in, out, up, down"),
        ("prism_right", "2.00 base sideways", "base is"),
        ("prism_left", "base up", "prism"),
        ("prism_left", "-1.00 base up", "above 0"),
        ("prism_left", "add +2.00", "an amount and then its base"),
        ("pd_right", "31,5", "Write 31.5"),
        ("pd_right", "3.2 cm", "3.2 cm are 32"),
        ("pd_left", "about 30", "one number in millimetres"),
        ("pd_left", "310", "between 0 and 100 mm"),
        ("height_left", "-4", "one number in millimetres"),
        ("style", "monocle", "single vision, bifocal, trifocal or progressive"),
    ],
)
def test_what_cannot_be_read_is_told_and_kept(name: str, text: str, sentence: str) -> None:
    ticket = read_answer(WHOLE | {name: text})
    assert list(ticket.unread) == [name]
    with pytest.raises(AssertionError, match=sentence):
        raise AssertionError(ticket.unread[name])
    assert "plano" not in ticket.unread[name]
    assert ticket.typed[name] == text
    # All the other fields are read as before.
    assert ticket.remarks == "left lens scratched"
    assert len([each for each in (ticket.right, ticket.left) if each.distance]) >= 1


def test_a_line_that_cannot_be_read_takes_nothing_else_with_it() -> None:
    ticket = read_answer(WHOLE | {"right": "?"})
    assert ticket.right.line is None
    assert (ticket.right.add, ticket.right.prism, ticket.right.pd_mm) == (2.0, ((1.0, "up"),), 31.5)


def test_two_different_additions_are_told() -> None:
    ticket = read_answer({"right": "+1.00 DS add +2.25", "add_right": "+2.00"})
    assert "+2.00 here and +2.25 in the line" in ticket.unread["add_right"]
    ticket = read_answer({"right": "+1.00 DS prism 1.00 base in", "prism_right": "1.00 base out"})
    assert "twice" in ticket.unread["prism_right"]


@pytest.mark.parametrize("word", ["SV", "single vision", " Single  Vision ", "varifocal", "progressive"])
def test_a_style_is_known_by_its_usual_names(word: str) -> None:
    assert read_answer({"style": word}).style in ("single vision", "progressive")


def test_a_ticket_goes_through_a_file_unchanged() -> None:
    ticket = read_answer(WHOLE | {"add_right": "2"})
    assert read_answer(json.loads(json.dumps(ticket.typed))) == ticket


def test_an_empty_ticket_is_no_error() -> None:
    ticket = read_answer(dict.fromkeys(FIELDS, ""))
    assert ticket.unread == {} and ticket.right.line is None and ticket.style is None


def test_a_field_that_a_ticket_does_not_have_is_a_programmers_error() -> None:
    with pytest.raises(ValueError, match="colour"):
        read_answer({"colour": "blue"})


def test_a_ticket_as_a_record() -> None:
    record = read_answer(WHOLE).record()
    assert record.lens == "multifocal" and record.pd_mm == 63.5 and record.height_step_mm == -0.5
    assert record.right.written_prism("R").written("R") == "1.00 base up"
    with pytest.raises(OpticsError, match="left lens has no power"):
        read_answer({"right": "+1.00 DS"}).record()


def test_no_prism_stays_with_the_line() -> None:
    for typed in ({"right": "+1.00 DS no prism"}, {"right": "+1.00 DS", "prism_right": "none"}):
        ticket = read_answer(typed)
        assert ticket.right.prism == () and str(ticket.right.line) == "R +1.00 DS no prism"
    against = read_answer({"right": "+1.00 DS no prism", "prism_right": "2.00 base up"})
    assert "twice" in against.unread["prism_right"]
    assert read_answer({"right": "+1.00 DS"}).right.line.no_prism is False


@pytest.mark.parametrize("text", ["+2.00", "2.00", "＋2.00", "add 2.00", "add +2.00 D", "+2.00D"])
def test_an_addition_needs_no_sign(text: str) -> None:
    ticket = read_answer({"right": "+1.00 DS", "add_right": text})
    assert ticket.unread == {} and ticket.right.add == 2.0


@pytest.mark.parametrize(
    "value",
    [True, float("nan"), 10**400, 10**5000, ["31"], "1e3", "-62", "nan", "9" * 9_999, "\ud800"],
    ids=lambda value: type(value).__name__,
)
def test_what_is_no_length_is_told_in_a_short_sentence(value: object) -> None:
    told = read_answer({"pd_right": value}).unread["pd_right"]
    told.encode()
    assert len(told) < 250


@pytest.mark.parametrize("name", [name for name in FIELDS if name not in ("remarks", "material")])
def test_a_long_text_in_any_field_takes_little_longer_than_an_ordinary_ticket(name: str) -> None:
    ordinary = Beside(lambda: read_answer({"right": "+2.50 -1.50 x 170", "left": "+1.00 DS"}))
    for piece in ("1", "0", "base ", "prism 1 ", "1 base up ", " ", "+", "\n", "Δ", "x", ".", "\ud800"):
        typed = {name: ("!" + piece * 9_999)[:10_000]}
        assert len(read_answer(typed).unread[name]) < 250
        assert ordinary.times(lambda: read_answer(typed), 3) <= 3, piece  # noqa: B023


def test_a_comma_in_a_prism_is_told_as_one() -> None:
    ticket = read_answer({"prism_right": "0,25 base in", "prism_left": "2.00 base out, 1.00 base up"})
    assert ticket.unread == {
        "prism_right": 'The prism "0,25 base in" has a decimal comma. The decimal sign is a point. Write "0.25 base in".'
    }
