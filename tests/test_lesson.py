"""The words a notebook uses: what a chapter shows, and what running a cell again keeps."""

from pathlib import Path

import pytest

from optics.lesson import bench
from optics.specimens.sealed import open_pairs


@pytest.mark.parametrize(
    ("chapter", "shown", "hidden"),
    [
        (0, {"stage"}, {"wheel", "eyepiece", "pad"}),
        (6, {"wheel", "eyepiece", "pad"}, {"compensator", "side"}),
    ],
)
def test_a_chapter_shows_only_what_it_has_introduced(released_pairs, chapter, shown, hidden):
    parts = set(bench("G", "Ada", released_pairs, chapter=chapter)._parts)
    assert shown <= parts
    assert not hidden & parts


def test_an_eyepiece_that_is_not_shown_is_set(released_pairs):
    assert bench("G", "Ada", released_pairs, chapter=0).settings.eyepiece_error == 0
    assert bench("G", "Ada", released_pairs, chapter=5).settings.eyepiece_error != 0


def test_the_eyepiece_that_is_marked_is_the_one_of_the_bench(released_pairs):
    laid = bench("A", "Ada", released_pairs, chapter=5)
    assert laid.settings.eye == open_pairs(released_pairs).eye_setting("A", "Ada") != 0


def test_running_the_cell_again_keeps_the_pad(released_pairs):
    once = bench("A", "Ada", released_pairs, chapter=5)
    once._readings = [{"eye": "R", "against": "back", "lines": "sphere", "drum": -2.0, "wheel": 15.0}]
    again = bench("A", "Ada", released_pairs, chapter=5)
    assert again is once and len(again.readings) == 1
    assert bench("B", "Ada", released_pairs, chapter=5) is not once
    assert once.trace.pair == "A"


@pytest.fixture
def released_pairs():
    """A chapter's folder with pairs in it."""
    return str(Path(__file__).parents[1] / "notebooks" / "source" / "05-reading-a-cylinder")
