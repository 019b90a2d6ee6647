"""Prism worked out on paper: right answers worked by hand, each slip told as what it is."""

import pytest

from optics.checks import collecting, jump, place, prism
from optics.errors import OpticsError
from optics.lens.parsing import parse_place


def said(check, *args, **given):
    with collecting() as replies:
        mark = check(*args, **given)
    return mark, replies[0]["text/plain"]


# Prentice's rule by hand: centimetres times dioptres; plus has its base towards the centre.
RIGHT = [
    ("3.20 base down", {"lens": "R -4.00 DS", "looked": "8 mm down"}),
    ("2.00 base out", {"lens": "R +5.00 DS", "looked": "4 mm in"}),
    ("2.00 base out", {"lens": "L +5.00 DS", "looked": "4 in"}),
    ("1.80 base out", {"lens": "L -2.00 -1.00 x 090", "looked": "6 mm out"}),
    ("1.20 base up", {"lens": "R -2.00 -1.00 x 090", "looked": "6 mm up"}),
    ("0.60 base in", {"lens": "R +3.00 DS", "looked": "2 mm out"}),
    # 3, 4, 5: its angles are 36.9 and 53.1 degrees; 2 sin 30 and 2 cos 30.
    ("5.00 base 037", {"prisms": "R 4.00 base in, 3.00 base up", "to": "one"}),
    ("5.00 base 143", {"prisms": "L 4.00 base in 3.00 base up", "to": "one"}),
    ("5.00 base 233", {"prisms": "R 3.00 base out 4.00 base down", "to": "one"}),
    ("1.73 base in and 1.00 base up", {"prisms": "L 2.00 base 150"}),
    ("1.73 base out and 1.00 base up", {"prisms": "R 2.00 base 150"}),
]


@pytest.mark.parametrize(("answer", "given"), RIGHT)
def test_what_was_worked_by_hand_is_right(answer, given):
    assert said(prism, answer, points=2, **given) == (2.0, "Right. Marks: 2 of 2.")


@pytest.mark.parametrize(
    ("answer", "given", "told"),
    [
        ("3.20 base up", RIGHT[0][1], "the base is the other way round"),
        ("32.00 base down", RIGHT[0][1], "takes centimetres"),
        ("3.20 base in", RIGHT[0][1], "The amount is right. Look at the base again"),
        ("2.00 base in", RIGHT[2][1], "the base is the other way round"),
        ("1.00 base up", RIGHT[0][1], "Centimetres from the centre times the power"),
        ("4.00 base in, 3.00 base up", RIGHT[6][1], "the same prism; write it as one prism"),
        ("2.00 base 150", RIGHT[9][1], "the same prism; write it in words"),
        ("1.73 base out and 1.00 base up", RIGHT[9][1], "In and out are exchanged"),
        ("5.00 base 217", RIGHT[6][1], "every base is the other way round"),
        ("7.00 base 037", RIGHT[6][1], "Draw both on the rings"),
        ("3.20", RIGHT[0][1], "amount and then its base"),
        ("no prism", RIGHT[0][1], "Centimetres from the centre"),
        ("", RIGHT[0][1], "Type your answer between the quotes"),
        (None, RIGHT[0][1], "Type your answer between the quotes"),
        (3.2, RIGHT[0][1], "text"),
    ],
)
def test_what_is_not_right_is_told_without_the_answer(answer, given, told):
    mark, words = said(prism, answer, points=2, **given)
    assert mark == 0.0
    assert told in words
    right = next(text for text, each in RIGHT if each is given)
    assert right not in words


@pytest.mark.parametrize(
    ("answer", "lens", "told"),
    [
        ("5 mm out", "R -4.00 DS prism 2.00 base in", "Right"),
        ("5 mm in", "R +4.00 DS prism 2.00 base in", "Right"),
        ("2.5 up", "R +8.00 DS prism 2.00 base up", "Right"),
        ("5 mm in", "R -4.00 DS prism 2.00 base in", "The distance is right"),
        ("0.5 out", "R -4.00 DS prism 2.00 base in", "centimetres; write millimetres"),
        ("8 mm out", "R -4.00 DS prism 2.00 base in", "prism divided by power"),
        ("5 sideways", "R -4.00 DS prism 2.00 base in", "so many millimetres in, out, up or down"),
        ("", "R -4.00 DS prism 2.00 base in", "Type your answer"),
    ],
)
def test_where_the_centre_goes(answer, lens, told):
    mark, words = said(place, answer, lens=lens, points=2)
    assert told in words
    assert mark == (2.0 if told == "Right" else 0.0)


# "Ophthalmic Lenses" (textbook), p. 114 (read): a round 24 across and a flat-top 28 by 19, +2.00.
ROUND_24 = {"eye": "L", "add": 2.00, "across_mm": 24}
FLAT_28 = {"eye": "R", "add": 2.00, "across_mm": 28, "deep_mm": 19}


@pytest.mark.parametrize(
    ("answer", "given", "told"),
    [
        ("2.40 base down", ROUND_24, "Right"),
        ("1.00 base down", FLAT_28, "Right"),
        ("1.25 base down", {"eye": "R", "add": 2.50, "below_mm": 5}, "Right"),
        ("2.40 base up", ROUND_24, "the base is the other way round"),
        ("24 base down", ROUND_24, "takes centimetres"),
        ("2.40 base in", ROUND_24, "Look at the base again"),
        ("3.80 base down", FLAT_28, "Centimetres from the line to the segment's centre times the addition"),
        ("", FLAT_28, "Type your answer"),
    ],
)
def test_the_jump_of_a_segment(answer, given, told):
    mark, words = said(jump, answer, points=2, **given)
    assert told in words
    assert mark == (2.0 if told == "Right" else 0.0)


@pytest.mark.parametrize(
    ("text", "eye", "found"),
    [
        ("4 mm in, 8 mm down", "R", (4.0, -8.0)),
        ("4mm in and 8 down", "L", (-4.0, -8.0)),
        ("2.5 up", "L", (0.0, 2.5)),
        ("3 mm OUT", "R", (-3.0, 0.0)),
    ],
)
def test_places_are_read(text, eye, found):
    assert parse_place(text, eye) == found


@pytest.mark.parametrize(
    "text", ["", "4", "in", "4 in 3 out", "4 in 2 in", "-4 in", "4 mm in 8", "nan in", "4 in" * 300]
)
def test_what_is_no_place_is_a_sentence(text):
    with pytest.raises(OpticsError):
        parse_place(text, "R")


@pytest.mark.parametrize(("right", "given"), RIGHT)
def test_no_example_comes_near_an_answer(right, given):
    """Found from outside: an example that was the answer earned full marks."""
    for answer in ("", "nonsense", 3.2):
        words = said(prism, answer, **given)[1]
        example = words.rsplit('"', 2)[1]
        assert said(prism, example, points=2, **given)[0] == 0.0
        assert "amount is right" not in said(prism, example, **given)[1]
    assert said(prism, "12.53 base 029", prisms="R 11.00 base in 6.00 base up", to="one")[1].startswith(
        "Right"
    )
