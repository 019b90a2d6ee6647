"""Contours, marks and segments: that what is drawn is what the lens reads, and where."""

import re

import matplotlib.colors
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from optics.drawing.contours import QUANTITIES, draw_power_contours, power_contours
from optics.drawing.describe_zones import progressive_marks as told
from optics.drawing.lens_marks import draw_progressive_marks, draw_segment, lens_view, multifocal_lens
from optics.drawing.lens_marks import progressive_marks as marks_diagram
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prism import nasal
from optics.lens.progressive import Progressive
from optics.lens.progressive_marks import marks
from optics.lens.segment import FLAT_TOP, STRAIGHT_ACROSS, Segment

LENS = Progressive(power=Power.from_sphere_cylinder(1.0, -0.75, 90), addition=2.0, eye="R")
RADIUS_MM = 30.0


def axes():
    return Figure((5.0, 5.0)).add_axes((0.0, 0.0, 1.0, 1.0))


def drawn_lines(ax, quantity):
    (found,) = [part for part in ax.collections if part.get_gid() == quantity]
    return found


@pytest.mark.parametrize("against", ["back", "front"])
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_on_every_line_the_lens_reads_what_the_line_says(quantity, against):
    ax = draw_power_contours(axes(), LENS, quantity, against=against)
    distance = LENS.over_stop(*LENS.distance_reference_point, against).power
    found = drawn_lines(ax, quantity)
    checked = 0
    for level, path in zip(found.levels, found.get_paths(), strict=True):
        for x, y in path.vertices[::20]:
            if np.hypot(x, y) < RADIUS_MM:
                beyond = LENS.over_stop(x, y, against).power - distance
                read = beyond.mean if quantity == "mean power" else beyond.astigmatism
                assert read == pytest.approx(level, abs=0.05)
                checked += 1
    assert checked > 20


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_lines_are_a_step_apart_and_none_is_at_nothing(quantity):
    levels = drawn_lines(draw_power_contours(axes(), LENS, quantity, step=0.25), quantity).levels
    assert 0.25 in levels and 2.0 in levels
    assert np.all(np.abs(levels) > 0.2)
    assert np.allclose(levels % 0.25, 0.0)


def test_shades_grow_darker_with_the_value_so_that_they_print_in_black_and_white():
    ax = draw_power_contours(axes(), LENS, "unwanted astigmatism")
    filled = next(part for part in ax.collections if part.get_gid() is None)
    grey = [np.dot(matplotlib.colors.to_rgb(c), [0.3, 0.6, 0.1]) for c in filled.get_facecolor()]
    assert len(grey) > 4
    assert np.all(np.diff(grey) < -0.01)


def test_another_quantity_is_a_programmers_error():
    with pytest.raises(ValueError, match="unwanted astigmatism"):
        draw_power_contours(axes(), LENS, "prism")


def test_contours_in_words_say_what_the_reference_points_read():
    def at_near(words: str) -> float:
        return float(re.search(r"plus ([\d.]+) at the near reference point", words)[1])

    front = power_contours(LENS, "mean power", against="front").alt
    # Ground to an addition of 2.00 read through the whole stop, whose upper part is weaker than its middle.
    assert 2.0 < at_near(front) < 2.12
    # From the back a strong lens shows more: 0.25 to 0.35 D here, as the thick-lens tables have it.
    assert 0.25 < at_near(power_contours(LENS).alt) - at_near(front) < 0.35
    assert "strongest" not in front and "astigmatism" not in front


def test_words_say_where_the_worst_astigmatism_lies():
    said = power_contours(LENS, "unwanted astigmatism").alt
    x, y = np.meshgrid(np.arange(-30.0, 31.0), np.arange(-30.0, 31.0))
    inside = np.hypot(x, y) <= RADIUS_MM
    distance = LENS.over_stop(*LENS.distance_reference_point).power
    worst = np.max((LENS.power_map(x, y) - distance).astigmatism[inside])
    told = float(said.split("the largest is ")[1].split(",")[0])
    assert told == pytest.approx(worst, abs=0.05)


@pytest.mark.parametrize("eye", "RL")
def test_nasal_is_written_on_the_side_of_the_nose(eye):
    written = {text.get_text(): text.get_position()[0] for text in lens_view(axes(), 25.0, eye).texts}
    assert written["nasal"] * nasal(eye) > 25.0
    assert written["temporal"] * nasal(eye) < -25.0


@pytest.mark.parametrize("ink", [True, False])
@pytest.mark.parametrize("eye", "RL")
def test_marks_stand_where_the_lens_has_them(eye, ink):
    lens = Progressive(power=LENS.power, addition=2.25, eye=eye)
    ax = draw_progressive_marks(lens_view(axes(), RADIUS_MM, eye), lens, ink=ink)
    for mark in marks(lens):
        places = [
            *(patch.center for patch in ax.patches if patch.get_gid() == mark.name),
            *(np.mean(line.get_xydata(), 0) for line in ax.lines if line.get_gid() == mark.name),
            *(text.get_position() for text in ax.texts if text.get_gid() == mark.name),
        ]
        if mark.permanent or ink:
            assert min(np.hypot(x - mark.x_mm, y - mark.y_mm) for x, y in places) < 1e-9
        else:
            assert not places


def test_ink_and_engraving_in_words():
    with_ink, without = (told(marks(LENS, ink=ink), "R") for ink in (True, False))
    assert marks_diagram(LENS).alt == with_ink
    assert "near circle 14 mm below and 2.5 mm nasal of the prism reference point" in with_ink
    assert 'addition "2.00" 4 mm below and 17 mm temporal' in without
    assert "near circle" not in without and "In ink" not in without


@pytest.mark.parametrize("shape", [FLAT_TOP, STRAIGHT_ACROSS])
def test_a_segment_is_drawn_where_the_power_changes(shape):
    lens = Multifocal(
        power=Power.from_sphere_cylinder(-1.0),
        addition=2.0,
        eye="L",
        segment=Segment(shape=shape, intermediate_mm=7),
    )
    ax = draw_segment(lens_view(axes(), 28.0, "L"), lens)
    lines = [line.get_xydata() for line in ax.lines if line.get_gid() == "segment line"]
    assert len(lines) == 2
    x = lens.segment_top[0]
    for line, above, below in zip(lines, ("distance", "intermediate"), ("intermediate", "near"), strict=True):
        top = np.max(line[:, 1])
        assert lens.part_at(x, top + 0.05) == above
        assert lens.part_at(x, top - 0.05) == below


def test_a_multifocal_in_words():
    lens = Multifocal(
        power=LENS.power, addition=2.0, eye="R", segment=Segment(shape=STRAIGHT_ACROSS), inset_mm=0.0
    )
    said = multifocal_lens(lens).alt
    assert said == (
        "Right lens, seen from the front, with a straight-across bifocal segment: its line is "
        "4 mm below the distance reference point, its optical centre on the line."
    )


@pytest.mark.parametrize(
    "diagram",
    [
        power_contours(LENS),
        marks_diagram(LENS),
        multifocal_lens(Multifocal(power=LENS.power, addition=2.0, eye="L")),
    ],
    ids=lambda diagram: diagram.title,
)
def test_text_is_large_and_lines_are_bold_enough_to_read(diagram):
    figure = diagram.figure
    texts = [text for text in figure.findobj(Text) if text.get_text()]
    drawn = [ax for ax in figure.axes if ax.lines]
    assert texts and drawn
    assert all(text.get_fontsize() >= 11 for text in texts if text.get_visible())
    assert all(line.get_linewidth() >= 1.5 for ax in drawn for line in ax.lines)
    assert all(patch.get_linewidth() >= 1.5 for ax in drawn for patch in ax.patches)


def test_names_on_the_marks_do_not_run_into_each_other():
    figure = marks_diagram(LENS).figure
    figure.canvas.draw()
    boxes = [t.get_window_extent() for ax in figure.axes for t in ax.texts if t.get_text()]
    for i, one in enumerate(boxes):
        assert not any(one.overlaps(other) for other in boxes[i + 1 :])
