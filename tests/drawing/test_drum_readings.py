"""Repeated drum readings on a number line: what is drawn, and what is said of it."""

import pytest

from optics.drawing.drum_readings import drum_readings
from optics.errors import OpticsError

ROWS = {"eyepiece set": [-2.00, -2.06, -1.94], "eyepiece not set": [-2.25, -2.31]}


def artists(diagram):
    (ax,) = diagram.figure.axes
    return {line.get_gid(): line for line in ax.lines if line.get_gid()}


def test_every_reading_stands_where_it_was_read():
    drawn = artists(drum_readings(ROWS, known=-2.0))
    assert list(drawn["readings 1"].get_xdata()) == ROWS["eyepiece set"]
    assert list(drawn["readings 2"].get_xdata()) == ROWS["eyepiece not set"]
    # -2.28 is half of -2.25 and -2.31 together, worked by hand.
    assert drawn["mean 2"].get_xdata()[0] == pytest.approx(-2.28)
    assert drawn["known"].get_xdata()[0] == -2.0


def test_all_is_inside_the_picture_and_the_line_is_signed():
    diagram = drum_readings(ROWS, known=-1.0)
    (ax,) = diagram.figure.axes
    low, high = ax.get_xlim()
    assert low < -2.31 < -1.0 < high
    assert "−2.25" in {text.get_text() for text in ax.texts}


def test_rows_are_read_aloud_from_the_top():
    said = drum_readings(ROWS).alt
    assert said.index("Eyepiece set") < said.index("Eyepiece not set")
    assert "3 readings from minus 2.06 to minus 1.94, mean minus 2.00" in said
    assert "known" not in said


def test_no_readings_is_said_in_a_sentence():
    with pytest.raises(OpticsError, match="no readings"):
        drum_readings({"eyepiece set": []})


def test_readings_far_apart_keep_their_numbers_legible():
    (ax,) = drum_readings({"readings": [-9.0, -2.25, 1.0, 14.0]}).figure.axes
    numbers = [text.get_position()[0] for text in ax.texts if text.get_position()[1] < 0]
    assert 3 <= len(numbers) <= 9
    assert min(numbers[1:]) > ax.get_xlim()[0] and -9.0 > ax.get_xlim()[0] and 14.0 < ax.get_xlim()[1]


def test_equal_readings_are_seen_as_several():
    drawn = artists(drum_readings({"readings": [-2.25, -2.25, -2.25, -2.50]}))
    heights = list(drawn["readings 1"].get_ydata())
    assert len(set(heights[:3])) == 3
    assert heights[3] == heights[0]
