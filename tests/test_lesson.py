"""The words a notebook uses: what a chapter shows, and what running a cell again keeps."""

from pathlib import Path

import pytest

from optics.lesson import bench, practice_bench

LENSES = "R +1.50 -1.00 x 030; L -2.00 -0.75 x 110"


@pytest.mark.parametrize(
    ("chapter", "shown", "hidden"),
    [
        (0, {"stage"}, {"wheel", "eyepiece", "pad"}),
        (6, {"wheel", "eyepiece", "pad"}, {"compensator", "side"}),
    ],
)
def test_a_chapter_shows_only_what_it_has_introduced(chapter, shown, hidden):
    parts = set(practice_bench(LENSES, chapter=chapter)._parts)
    assert shown <= parts
    assert not hidden & parts


def test_an_eyepiece_that_is_not_shown_is_set():
    assert practice_bench(LENSES, chapter=0).settings.eyepiece_error == 0
    assert practice_bench(LENSES, chapter=5).settings.eyepiece_error != 0


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
