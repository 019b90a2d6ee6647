"""Segments: shape, parts, image jump."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.lens.segment import FLAT_TOP, ROUND, STRAIGHT_ACROSS, Segment

CASES = Path(__file__).parents[1] / "cases"
JUMPS = list(csv.DictReader((CASES / "image_jump.csv").open(encoding="utf-8")))


def shaped(row):
    width, depth = float(row["width_mm"]), float(row["depth_mm"])
    if depth == width / 2.0:  # the centre lies on the line: a segment straight across
        return Segment(shape=STRAIGHT_ACROSS)
    return Segment(shape=ROUND if depth == width else FLAT_TOP, width_mm=width, depth_mm=depth)


@pytest.mark.parametrize("row", JUMPS, ids=lambda row: row["id"])
def test_image_jump_of_published_segments(row):
    ((line, jump),) = shaped(row).jumps(float(row["add"]))
    assert line == 0.0
    assert jump.x == 0.0
    assert -jump.y == pytest.approx(float(row["jump"]), abs=1e-9)


def test_a_28_flat_top_is_19_deep_with_its_centre_5_below_the_line():
    segment = Segment(shape=FLAT_TOP, width_mm=28)
    assert (segment.depth_mm, segment.centre_mm) == (19.0, (0.0, -5.0))
    assert segment.part_at(0, -18.9) == "near" and segment.part_at(0, -19.1) == "distance"
    assert segment.part_at(13.9, -5) == "near" and segment.part_at(14.1, -5) == "distance"
    assert segment.part_at(0, 0.1) == "distance"


def test_the_parts_of_a_trifocal_follow_from_top_to_bottom():
    segment = Segment(shape=FLAT_TOP, width_mm=28, intermediate_mm=7)
    heights = (1.0, -1.0, -6.9, -7.1, -20.0, -26.1)
    assert [segment.part_at(0, y) for y in heights] == [
        "distance",
        "intermediate",
        "intermediate",
        "near",
        "near",
        "distance",
    ]
    assert float(segment.share(0, -3)) == 0.5


def test_a_straight_across_segment_reaches_every_edge():
    segment = Segment(shape=STRAIGHT_ACROSS)
    assert [segment.part_at(x, y) for x, y in ((-30, -1), (30, -25), (0, 1))] == ["near", "near", "distance"]


SEGMENTS = st.one_of(
    st.builds(Segment, shape=st.just(ROUND), width_mm=st.floats(14, 40)),
    st.builds(
        Segment,
        shape=st.just(FLAT_TOP),
        width_mm=st.floats(22, 45),
        intermediate_mm=st.sampled_from([0.0, 7.0, 8.0]),
    ),
    st.builds(Segment, shape=st.just(STRAIGHT_ACROSS), intermediate_mm=st.sampled_from([0.0, 8.0])),
)


@given(SEGMENTS, st.floats(-35, 35), st.floats(-60, 20))
def test_what_is_drawn_is_what_is_there(segment, x, y):
    """The outline parts inside from outside, by the winding of the drawn line."""
    outline = segment.lines_mm(points=721)[0]
    if segment.shape == STRAIGHT_ACROSS:
        outline = np.vstack([outline, [[40.0, -99.0], [-40.0, -99.0], [-40.0, 0.0]]])
    apart = outline - [x, y]
    assume(np.min(np.hypot(*apart.T)) > 0.3 and abs(y) > 0.05)
    turn = np.diff(np.unwrap(np.arctan2(apart[:, 1], apart[:, 0])))
    assert (segment.part_at(x, y) != "distance") == (abs(turn.sum()) > np.pi)


@pytest.mark.parametrize(
    ("measures", "sentence"),
    [
        ({"shape": "square"}, "It is flat-top, round or straight-across."),
        ({"width_mm": 5}, "It lies between 10 and 45 mm."),
        ({"depth_mm": 12}, "Its depth lies between half its width and its whole width."),
        ({"shape": ROUND, "width_mm": 24, "depth_mm": 20}, "A round is as deep as it is wide."),
        ({"shape": ROUND, "intermediate_mm": 7}, "A trifocal is flat-top or straight-across."),
        ({"intermediate_mm": 7, "intermediate_share": 1.0}, "a part of the addition between 0 and 1"),
    ],
)
def test_measures_that_make_no_segment_are_refused(measures, sentence):
    with pytest.raises(OpticsError, match=sentence.replace(".", r"\.")):
        Segment(**measures)
