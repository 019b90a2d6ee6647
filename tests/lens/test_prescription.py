"""The written line: reading it, printing it, changing its form, refusing what cannot be."""

import csv
from pathlib import Path

import pytest

from optics.errors import OpticsError
from optics.lens.parsing import parse, parse_crossed, parse_pair
from optics.lens.prescription import Crossed, Prescription, written

CASES = Path(__file__).parents[1] / "cases"
FORMS = list(csv.DictReader((CASES / "transposition.csv").open(encoding="utf-8")))
REFUSED = list(csv.DictReader((CASES / "refused.csv").open(encoding="utf-8")))


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row["id"])
def test_published_transpositions_both_ways(row):
    one, other = parse(row["given"]), parse(row["transposed"])
    assert one.transposed() == other and other.transposed() == one
    assert one.same_power(other) and one.power.is_close(other.power)
    minus, plus = (one, other) if one.form == "minus" else (other, one)
    assert (one.to_minus_cylinder(), one.to_plus_cylinder()) == (minus, plus)
    assert (other.to_minus_cylinder(), other.to_plus_cylinder()) == (minus, plus)


@pytest.mark.parametrize("row", FORMS, ids=lambda row: row["id"])
def test_crossed_cylinders(row):
    given, crossed = parse(row["given"]), parse_crossed(row["crossed"])
    assert given.to_crossed() == crossed
    assert crossed.power.is_close(given.power)
    for form in ("minus", "plus"):
        assert crossed.to_prescription(form).same_power(given)
        assert crossed.to_prescription(form).form == form


def test_a_sphere_has_one_form_only():
    sphere = parse("-1.25 DS")
    assert sphere.form == "sphere" and sphere.transposed() == sphere
    assert sphere.to_crossed() == Crossed(-1.25, 90, -1.25, 180)
    assert sphere.to_crossed().to_prescription() == sphere


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("−2.25 −0.75 × 015", "-2.25 -0.75 x 015"),
        ("-2.25-0.75x15", "-2.25 -0.75 x 015"),
        ("-2.25 / -0.75 @ 15", "-2.25 -0.75 x 015"),
        ("-2.25 DS / -0.75 DC axis 15°", "-2.25 -0.75 x 015"),
        ("  -2.25   -0.75 X 015  ", "-2.25 -0.75 x 015"),
        ("-2.25 DS", "-2.25 DS"),
        ("-2.25", "-2.25 DS"),
        ("-.5", "-0.50 DS"),
        ("pl", "plano"),
        ("Plano -1.50 x 135", "pl -1.50 x 135"),
        ("0.00 -1.50 x 135", "pl -1.50 x 135"),
        ("OD: +1.00 DS", "R +1.00 DS"),
        ("left +1.00 DS", "L +1.00 DS"),
        (
            "R +2.50 -1.50 x 170 add +2.00 prism 2.00 base out",
            "R +2.50 -1.50 x 170 add +2.00 prism 2.00 base out",
        ),
        ("+1.00 DS 2Δ base in and 1Δ base up", "+1.00 DS prism 2.00 base in prism 1.00 base up"),
        ("+1.00 DS prism 2.50 base 37 deg", "+1.00 DS prism 2.50 base 037 deg"),
        ("+1.00 DS prism 2.50 base 7.5", "+1.00 DS prism 2.50 base 7.5 deg"),
        ("+1.12 -0.37 x 5", "+1.12 -0.37 x 005"),
        ("+1.125 -0.375 x 5", "+1.12 -0.37 x 005"),
    ],
)
def test_what_is_taken_and_how_it_is_written(text, line):
    assert str(parse(text)) == line
    assert parse(line) == parse(text)


def test_plano_may_be_written_as_a_figure_or_a_word():
    """WR1: 0.00 or pl (encyclopaedia article "Eyeglass prescription", read)."""
    assert parse("0.00 DS") == parse("pl") == parse("plano") == Prescription(sphere=0.0)


def test_eighths_are_written_short_and_mean_themselves():
    """WR4: .12, .37, .62, .87 (common practice, from memory)."""
    for short, exact in ((".12", 0.125), (".37", 0.375), (".62", 0.625), (".87", 0.875)):
        assert parse(f"-1{short} DS").sphere == -1 - exact
        assert written(-1 - exact) == f"-1{short}"
    assert parse("-0.12 DS").transposed() == parse("-0.12 DS")
    assert parse("+1.12 -0.37 x 90").transposed() == parse("+0.75 +0.37 x 180")


def test_the_safe_notation():
    """WR5 (common safety practice, from memory): sign, two decimals, leading zero, DS, three digits."""
    assert str(Prescription(sphere=0.5)) == "+0.50 DS"
    assert str(Prescription(sphere=-1, cylinder=-0.5, axis=5)) == "-1.00 -0.50 x 005"
    assert str(Prescription(sphere=0)) == "plano"
    assert str(Prescription(sphere=-0.0, cylinder=-1, axis=10)) == "pl -1.00 x 010"


def test_a_ticket_keeps_its_form():
    """WR2: copy as given, do not transpose (NAVEDTRA 14295, p. 12-23, read); WR3: both forms are in use."""
    for text in ("+1.00 +1.50 x 080", "+2.50 -1.50 x 170"):
        assert str(parse(text)) == text


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: row["text"] or "nothing")
def test_what_is_refused_and_in_which_words(row):
    """An axis above 180 is an error (WR6: 195, 197)."""
    with pytest.raises(OpticsError) as refused:
        parse(row["text"])
    error = refused.value
    assert (error.given, error.allowed, error.suggestion) == (row["given"], row["allowed"], row["suggestion"])
    assert str(error) == f"{row['given']} {row['allowed']} {row['suggestion']}"


@pytest.mark.parametrize("thing", [None, 5, -2.25, ["-2.25"], b"-2.25"])
def test_only_text_is_read(thing):
    with pytest.raises(OpticsError, match="A prescription is text between quotes"):
        parse(thing)
    with pytest.raises(OpticsError):
        parse_pair(thing)
    with pytest.raises(OpticsError):
        parse_crossed(thing)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"sphere": float("nan")}, "The sphere is nan"),
        ({"sphere": float("inf")}, "The sphere is inf"),
        ({"sphere": True}, "The sphere is True"),
        ({"sphere": "-2.00"}, 'The sphere is "-2.00"'),
        ({"sphere": -2.0, "cylinder": -1.0}, "needs its axis"),
        ({"sphere": -2.0, "axis": 90}, "but no cylinder"),
        ({"sphere": -2.0, "cylinder": -1.0, "axis": 0}, "The horizontal axis is written 180"),
        ({"sphere": -2.0, "eye": "B"}, "It is R or L"),
        ({"sphere": -2.0, "add": 0.0}, "An addition is above 0"),
        ({"sphere": -2.0, "prism": ((1.0, "left"),)}, "in, out, up or down"),
    ],
)
def test_values_that_cannot_stand_on_a_ticket(values, message):
    with pytest.raises(OpticsError, match=message):
        Prescription(**values)


def test_whatever_is_typed_is_read_or_refused_in_a_sentence():
    for text in (
        "x",
        "/",
        "@ 90",
        "+",
        "--2.00",
        "+1.00 x x 90",
        "R",
        "R L +1.00",
        "add",
        "1e5 DS",
        "+1.00;",
        "²",
    ):
        with pytest.raises(OpticsError):
            parse(text)


def test_a_pair_is_right_then_left():
    right, left = parse_pair("L +1.25 -0.50 x 090\nR +1.00 DS")
    assert (right.eye, left.eye) == ("R", "L") and right.sphere == 1.00
    right, left = parse_pair("+1.00 DS; +1.25 DS")
    assert (str(right), str(left)) == ("R +1.00 DS", "L +1.25 DS")
    for text, message in (("+1.00 DS", "There is 1 line"), ("R +1.00; R +1.00", "Both lines are for R")):
        with pytest.raises(OpticsError, match=message):
            parse_pair(text)


def test_crossed_cylinders_stand_at_right_angles():
    assert str(parse_crossed("+2.50 DC x 80 / +1.00 DC x 170")) == "+2.50 x 080 / +1.00 x 170"
    for text, message in (
        ("+2.50 x 80 / +1.00 x 160", "at right angles"),
        ("+2.50 x 80", "two crossed cylinders"),
        ("2.50 x 80 / +1.00 x 170", "has no sign"),
        ("+2.50 x 0 / +1.00 x 90", "The horizontal axis is written 180"),
    ):
        with pytest.raises(OpticsError, match=message):
            parse_crossed(text)


def test_a_lens_that_could_not_be_transposed_is_refused_at_once():
    with pytest.raises(OpticsError) as told:
        parse("-39.75 -19.75 x 180")
    assert "sphere plus cylinder is -59.5" in told.value.given
    assert parse("-39.75 +19.75 x 180").transposed().sphere == -20.0
