"""A pair as it lies: what is drawn can be measured, and picture and words say the same.

Boxing terms: ISO 8624 and explanations (read). Rings 34 mm apart: "Ophthalmic
Lenses" (textbook), p. 136 (read).
"""

import numpy as np
import pytest

from optics.lens.lens import SingleVision
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.progressive import Progressive
from optics.lens.segment import Segment
from optics.lens.tilt import Tilted
from optics.pair.appearance import front_scene, lens_style
from optics.pair.frame import Frame
from optics.pair.outlines import lens_outline_mm
from optics.pair.scene import Bend
from optics.pair.spectacles import Mounted, Spectacles

FRAME = Frame(lens_width_mm=52, lens_height_mm=38, bridge_mm=18, effective_diameter_mm=55)
POWER = Power.from_sphere_cylinder(-1.25, -0.50, 30)


def pair(make, right_pd=31.0, left_pd=32.5, height=1.5):
    lenses = {eye: make(eye) for eye in "RL"}
    return Spectacles(
        right=Mounted(lens=lenses["R"], pd_mm=right_pd, height_mm=height),
        left=Mounted(lens=lenses["L"], pd_mm=left_pd, height_mm=height),
    )


PLAIN = pair(lambda eye: SingleVision(power=POWER))
PROGRESSIVE = pair(lambda eye: Progressive(power=POWER, addition=2.25, eye=eye))
SHAPES = {
    "flat-top": Segment(),
    "flat-top trifocal": Segment(intermediate_mm=7),
    "round": Segment(shape="round", width_mm=22),
    "straight-across": Segment(shape="straight-across"),
}


def lined(shape):
    return pair(lambda eye: Multifocal(power=POWER, addition=2.0, eye=eye, segment=SHAPES[shape]))


# --- the frame --------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40.0, 52.0, 60.0])
@pytest.mark.parametrize("height", [26.0, 38.0, 52.0])
def test_each_lens_touches_its_box_on_all_four_sides(width, height):
    frame = Frame(lens_width_mm=width, lens_height_mm=height, bridge_mm=17)
    right, left = (lens_outline_mm(frame, eye) for eye in "RL")
    for edge in (right, left):
        assert np.ptp(edge, axis=0) == pytest.approx([width, height], abs=1e-9)
        assert edge[:, 1].max() == pytest.approx(height / 2)
        assert edge[0] == pytest.approx(edge[-1])
    # The bridge is the shortest distance between the two lenses.
    assert left[:, 0].min() - right[:, 0].max() == pytest.approx(17)


@pytest.mark.parametrize("diameter", [53.0, 55.0, 57.0, 60.0])
def test_the_longest_radius_is_half_the_effective_diameter(diameter):
    frame = Frame(lens_width_mm=52, lens_height_mm=38, bridge_mm=18, effective_diameter_mm=diameter)
    edge = lens_outline_mm(frame, "L") - np.array(frame.boxing_centre_mm("L"))
    assert 2 * np.hypot(*edge.T).max() == pytest.approx(diameter, abs=0.15)


@pytest.mark.parametrize("eye", ["R", "L"])
def test_the_lens_is_fullest_on_the_temporal_side(eye):
    edge = lens_outline_mm(FRAME, eye) - np.array(FRAME.boxing_centre_mm(eye))
    furthest = edge[np.hypot(*edge.T).argmax()]
    assert (furthest[0] < 0) == (eye == "R") and furthest[1] > 0


# --- which way round --------------------------------------------------------------------------


@pytest.mark.parametrize("turned_over", [False, True])
def test_which_lens_lies_on_which_side(turned_over):
    scene = front_scene(PLAIN, FRAME, turned_over=turned_over)
    right = scene.lens_outline("R")[:, 0].mean()
    assert (right < 0) != turned_over
    side = "right" if turned_over else "left"
    assert f"the wearer's right lens is on your {side}" in scene.words
    assert ("seen from the back, the temples pointing towards you" in scene.words) == turned_over


def test_turning_over_twice_is_nothing():
    once, twice = (front_scene(lined("flat-top"), FRAME, turned_over=over) for over in (True, False))
    named = {part.name: part for part in once.parts}
    for part in twice.parts:
        if part.name != "segment line":
            assert part.points_mm * [-1, 1] == pytest.approx(named[part.name].points_mm)


# --- what is on the lenses --------------------------------------------------------------------


def kinds(scene, eye=None):
    return {part.kind for part in scene.parts if eye in (None, part.eye)}


@pytest.mark.parametrize("shape", SHAPES)
def test_the_segment_is_drawn_where_the_power_changes(shape):
    lenses = lined(shape)
    scene = front_scene(lenses, FRAME)
    for eye in "RL":
        assert lens_style(lenses, eye) == shape
        lens, at = lenses.mounted(eye).lens, lenses.reference_point_mm(eye)
        lines = [p.points_mm for p in scene.parts if p.kind == "segment" and p.eye == eye]
        assert len(lines) == (2 if "trifocal" in shape else 1)
        top = lines[0][:, 1].max()
        x = lens.segment_top[0]
        assert lens.part_at(x, top - at[1] + 0.1) == "distance"
        assert lens.part_at(x, top - at[1] - 0.1) != "distance"
        # A rule from the lowest point of the lens finds the height of the line.
        assert scene.standing_on("y", top, eye).endswith(
            f"line of the {'right' if eye == 'R' else 'left'} lens"
        )
        lowest = scene.lens_outline(eye)[:, 1].min()
        assert top - lowest == pytest.approx(FRAME.height_above_rim_mm(at[1] + lens.top_mm))


@pytest.mark.parametrize("shape", SHAPES)
def test_the_segment_in_words(shape):
    said = front_scene(lined(shape), FRAME).words
    words = {
        "flat-top": "a segment with a straight top",
        "flat-top trifocal": "a second line across it",
        "round": "a round segment",
        "straight-across": "a line from edge to edge",
    }[shape]
    assert said.count(words) == 1 and "In each lens:" in said and "mm" not in said


@pytest.mark.parametrize("engraving", [False, True])
@pytest.mark.parametrize("ink", [False, True])
@pytest.mark.parametrize("smeared", [(), ("R",), ("R", "L")])
def test_marks_show_only_when_they_can_be_seen(engraving, ink, smeared):
    scene = front_scene(PROGRESSIVE, FRAME, engraving=engraving, ink=ink, smeared=smeared)
    for eye in "RL":
        assert ("engraved" in kinds(scene, eye)) == (engraving and eye not in smeared)
        assert ("ink" in kinds(scene, eye)) == ink
        assert ("smear" in kinds(scene, eye)) == (eye in smeared)
    assert ("rings are engraved" in scene.words) == (engraving and len(smeared) < 2)
    assert ("stand in ink" in scene.words) == ink
    assert ("smeared" in scene.words) == bool(smeared)
    if not ink and (not engraving or len(smeared) == 2):
        assert "No line is seen in either lens" in scene.words


@pytest.mark.parametrize("turned_over", [False, True])
def test_the_rings_are_34_mm_apart_and_the_fitting_cross_between_them(turned_over):
    scene = front_scene(PROGRESSIVE, FRAME, engraving=True, ink=True, turned_over=turned_over)
    for eye, name in (("R", "right"), ("L", "left")):
        at = {}
        for place in scene.places:
            if place.eye == eye and place.along == "x":
                at.setdefault(place.name.split(" of the")[0], []).append(place.at_mm)
        one, other = at["the engraved ring"]
        assert abs(one - other) == pytest.approx(34.0)
        assert at["the fitting cross"] == pytest.approx([(one + other) / 2])
        met = scene.standing_on("x", at["the fitting cross"][0] + 0.4)
        assert met == f"the fitting cross of the {name} lens"


def test_the_addition_is_engraved_on_the_temporal_side():
    scene = front_scene(PROGRESSIVE, FRAME, engraving=True)
    for part in scene.parts:
        if part.text == "2.25":
            nasal_edge = 9.0
            assert abs(part.points_mm[0, 0]) > FRAME.lens_width_mm / 2 + nasal_edge


def test_a_single_vision_lens_shows_nothing():
    for condition in ({}, {"engraving": True, "ink": True}):
        scene = front_scene(PLAIN, FRAME, **condition)
        assert not kinds(scene) & {"segment", "engraved", "ink"}
        assert "No line is seen in either lens." in scene.words


def test_dots_can_be_measured():
    scene = front_scene(PLAIN, FRAME, dots={"R": (-31.0, 1.0), "L": (32.5, 0.0)})
    assert scene.standing_on("x", -31.2) == "the right dot"
    assert scene.standing_on("x", 32.5) == "the left dot"
    assert scene.standing_on("y", 1.0, "R") == "the right dot"
    assert scene.standing_on("x", 20.0) == ""
    assert "Both lenses each have a dot in ink" in scene.words


# --- out of true ------------------------------------------------------------------------------


@pytest.mark.parametrize("eye", ["R", "L"])
@pytest.mark.parametrize(
    ("bend", "words"),
    [
        (Bend(lean_degrees=15), "side leans and its temple points up"),
        (Bend(lean_degrees=-15), "side leans and its temple points down"),
        (Bend(bow_degrees=15), "is bent back"),
        (Bend(bow_degrees=-15), "is bent forward"),
        (Bend(raised_mm=3), "sits higher"),
        (Bend(raised_mm=-3), "sits lower"),
    ],
)
def test_a_bent_frame_is_drawn_and_told(eye, bend, words):
    true, out = front_scene(PLAIN, FRAME), front_scene(PLAIN, FRAME, bends={eye: bend})
    assert "lies true" in true.words
    assert words in out.words and "lies true" not in out.words
    name = "right" if eye == "R" else "left"
    moved = {
        part.name
        for mine, yours in ((true.parts, out.parts), (true.from_above, out.from_above))
        for part, other in zip(mine, yours, strict=True)
        if not np.allclose(part.points_mm, other.points_mm)
    }
    assert moved and all(part.startswith(name) for part in moved)
    temple = next(p for p in out.parts if p.name == f"{name} temple").points_mm[:, 1]
    straight = next(p for p in true.parts if p.name == f"{name} temple").points_mm[:, 1]
    if bend.lean_degrees:
        up = bend.lean_degrees > 0
        assert (temple.max() > straight.max() + 20) if up else (temple.min() < straight.min() - 20)


def test_the_lens_shows_its_height_from_above_only_when_it_leans():
    def depth(bend):
        parts = front_scene(PLAIN, FRAME, bends={"L": bend}).from_above
        return float(np.ptp(next(p for p in parts if p.name == "left rim").points_mm[:, 1]))

    assert depth(Bend(lean_degrees=20)) > FRAME.lens_height_mm * np.sin(np.deg2rad(20)) > depth(Bend()) + 5


def test_what_is_on_a_lens_rises_with_its_side():
    def line(bends):
        scene = front_scene(lined("flat-top"), FRAME, bends=bends)
        return {p.eye: float(p.points_mm[:, 1].max()) for p in scene.parts if p.kind == "segment"}

    level, raised = line({}), line({"R": Bend(raised_mm=3)})
    assert raised["R"] - level["R"] == pytest.approx(3) and raised["L"] == level["L"]


def test_a_turned_lens_is_told_only_where_something_on_it_slopes():
    bends = {"R": Bend(turned_degrees=6)}
    assert "what is on the right lens slopes" in front_scene(lined("flat-top"), FRAME, bends=bends).words
    assert "lies true" in front_scene(PLAIN, FRAME, bends=bends).words
    assert "lies true" in front_scene(PROGRESSIVE, FRAME, bends=bends).words
    assert "slopes" in front_scene(PROGRESSIVE, FRAME, bends=bends, engraving=True).words


def test_a_bend_too_small_to_see_is_not_told():
    bends = {"R": Bend(lean_degrees=1, bow_degrees=2, turned_degrees=2, raised_mm=0.5)}
    assert "lies true" in front_scene(lined("flat-top"), FRAME, bends=bends).words


def test_the_segment_of_a_lens_that_leans_is_seen_all_the_same():
    lens = Tilted(lens=lined("flat-top").right.lens, tilt_degrees=15)
    bent = Spectacles(right=Mounted(lens=lens), left=Mounted(lens=lens.lens))
    assert lens_style(bent, "R") == lens_style(bent, "L") == "flat-top"


def test_from_above_the_temples_point_away_from_the_viewer_or_towards():
    for turned_over in (False, True):
        parts = front_scene(PLAIN, FRAME, turned_over=turned_over).from_above
        temple = next(part.points_mm for part in parts if part.name == "right temple")
        assert (temple[:, 1].max() > 100) != turned_over and (temple[:, 1].min() < -100) == turned_over


def test_neither_words_nor_picture_tell_the_power():
    for lenses in (PLAIN, lined("flat-top")):
        told = front_scene(lenses, FRAME)
        assert "+" not in told.words and "1.25" not in told.words and "2.00" not in told.words
        assert "power" not in str(told.to_plain())


def test_the_lower_line_of_a_trifocal_lies_below_its_upper():
    scene = front_scene(lined("flat-top trifocal"), FRAME)
    at = {place.name: place.at_mm for place in scene.places if "line of" in place.name}
    for side in ("right", "left"):
        upper, lower = at[f"the upper line of the {side} lens"], at[f"the lower line of the {side} lens"]
        assert upper - lower == pytest.approx(7.0)
