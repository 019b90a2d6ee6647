"""Answers are read as plain values; whatever else a cell holds is told in a sentence."""

import os
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.course import reading
from optics.course.reading import assigned_names, read_answers


@pytest.mark.parametrize(
    ("cell", "values"),
    [
        ('right = "-2.25 -0.75 x 015"', {"right": "-2.25 -0.75 x 015"}),
        ("right = '-2.25 −0.75 × 015'", {"right": "-2.25 −0.75 × 015"}),
        ("drum = -2.25", {"drum": -2.25}),
        ("drum = +2", {"drum": 2}),
        ("cylinder = 1.50 - 2.25", {"cylinder": -0.75}),
        ("first = -1.25\nsecond = first - 0.75", {"first": -1.25, "second": -2.0}),
        ('pair = {"R": "plano", "L": [1, 2.5]}', {"pair": {"R": "plano", "L": [1, 2.5]}}),
        ("both = (-2, 0)", {"both": (-2, 0)}),
        ("sure = True\nnothing = None", {"sure": True, "nothing": None}),
        ('a = b = "x"', {"a": "x", "b": "x"}),
        ('right: str = "plano"', {"right": "plano"}),
        ('# a remark\n"and a note"\nright = "plano"', {"right": "plano"}),
        ('right = "the first"\nright = "the second"', {"right": "the second"}),
    ],
)
def test_plain_answers_are_read(cell, values):
    reading = read_answers(cell)
    assert reading.values == values
    assert reading.notes == []


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ('right = open("key.txt").read()', "more than a plain text or number"),
        ('right = f"{1}"', "more than a plain text or number"),
        ("right = b'plano'", "more than a plain text or number"),
        ("right = 2 ** 9", "more than + - * /"),
        ("right = 1 / 0", "divides by zero"),
        ('right = "ab" * 9', "not a number"),
        ("right = 1e9 * 1e9", "too large"),
        ("right = elsewhere", "more than a plain text or number"),
        ("right = [[[[[[[[1]]]]]]]]", "nested too deeply"),
        ("right = [" + "1," * 201 + "]", "too many entries"),
        ('right = "' + "x" * 2001 + '"', "too long"),
        ("import os", 'The line "import os" is not an answer'),
        ("right, left = 1, 2", "is not an answer"),
        ("for i in range(3): pass", "is not an answer"),
        ("right = +1.00 +1.50 x 080", "between quotation marks"),
        ("right = “plano”", "curly quotation marks"),
        ("%matplotlib inline", "could not be read"),
        ('right = "\x00"', "could not be read"),
        ("x" * 10_001, "10,001 characters"),
    ],
)
def test_anything_else_is_told_in_a_sentence(cell, told):
    reading = read_answers(cell)
    assert told in " ".join(reading.notes)
    assert "right" not in reading.values
    assert all(note.endswith(".") for note in reading.notes)


def test_an_entry_of_a_ticket_that_cannot_be_read_takes_no_other_along():
    reading = read_answers('pair = {\n "right": "pl",\n "left": open("x"),\n "pd_left": 31 + 0.5,\n}')
    assert reading.values == {"pair": {"right": "pl", "pd_left": 31.5}}
    assert reading.notes == ['"left" in "pair" was not read, because it is more than a plain text or number.']


@pytest.mark.parametrize(
    ("broken", "kept"),
    [
        ('"right": "pl"\n "left": "-1.00 DS",', {"right": "pl", "left": "-1.00 DS"}),
        ('"right": "pl,\n "left": "-1.00 DS",', {"left": "-1.00 DS"}),
        ('"right": -1.00 -0.50 x 090,\n "left": "-1.00 DS",', {"left": "-1.00 DS"}),
        ("“right”: “pl”,\n 'left': '-1.00 DS'", {"right": "pl", "left": "-1.00 DS"}),
    ],
)
def test_a_ticket_that_lost_a_comma_or_a_quotation_mark_keeps_the_rest(broken, kept):
    reading = read_answers(f"pair = {{\n {broken}\n}}")
    assert reading.values == {"pair": kept}
    assert reading.notes[0].startswith('A comma or a quotation mark is missing in "pair".')


def test_an_unreadable_second_try_takes_the_first_away():
    # A kernel would have stopped at the second line.
    assert read_answers('right = "plano"\nright = input()').values == {}


@pytest.mark.parametrize(
    "cell",
    [
        "right = " + "(" * 4000 + "1" + ")" * 4000,
        "right = " + "-" * 9000 + "1",
        "right = " + "[" * 4000 + "]" * 4000,
        "right = " + "a." * 4000 + "b",
        "right = " + "1+" * 4000 + "1",
        "right = " + "lambda:" * 1200 + "1",
        "right = " + "{1:" * 2000,
        "right = " + "9" * 6000,
        "a." * 4000 + "b",
    ],
)
def test_towers_of_brackets_do_no_harm(cell):
    assert read_answers(cell).values == {}
    assert read_answers(cell).notes


def test_nothing_is_run(tmp_path):
    victim = tmp_path / "ran"
    cell = f"""
right = __import__("pathlib").Path({str(victim)!r}).write_text("x")
left = [open({str(victim)!r}, "w") for _ in "x"]
def plano(): ...
class Lens: right = open({str(victim)!r}, "w")
assert open({str(victim)!r}, "w")
"""
    reading = read_answers(cell)
    assert reading.values == {}
    assert len(reading.notes) == 5
    assert not victim.exists()


@given(st.text(max_size=200))
def test_any_text_at_all_gives_values_or_sentences(cell):
    before = (dict(os.environ), sys.getrecursionlimit())
    reading = read_answers(cell)
    assert isinstance(reading.values, dict)
    assert (dict(os.environ), sys.getrecursionlimit()) == before


@given(
    st.recursive(
        st.text(max_size=20) | st.integers(-9999, 9999) | st.floats(-40, 40) | st.booleans() | st.none(),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
        max_leaves=6,
    )
)
def test_what_python_writes_down_is_read_back(value):
    depth, layer = 0, [value]
    while layer:
        layer = [
            x for v in layer if isinstance(v, list | dict) for x in (v.values() if isinstance(v, dict) else v)
        ]
        depth += 1
    if depth <= reading.DEEPEST - 1:
        assert read_answers(f"right = {value!r}").values == {"right": value}


def test_names_that_a_cell_gives_values_to():
    assert assigned_names('right = ""\nleft = ""\nright = 1') == ("right", "left")
    assert assigned_names("right = (") == ()
