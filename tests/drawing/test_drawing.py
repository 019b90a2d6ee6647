"""Drawings: what stands on the axes, at which angle, in which words; that nothing runs into anything."""

import csv
import itertools
import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from optics.drawing.agreement import agreement
from optics.drawing.axis_dial import axis_dial, draw_axis_dial
from optics.drawing.crib import crib, steps
from optics.drawing.eyepiece import draw_eyepiece, eyepiece, eyepiece_strip
from optics.drawing.given import lens_of, prism_of
from optics.drawing.oblique_sum import draw_oblique_sum, oblique_sum
from optics.drawing.power_cross import draw_power_cross, power_cross
from optics.drawing.prentice import draw_lens_section, draw_looked_through, prentice
from optics.drawing.prism_displacement import draw_prism_displacement, prism_displacement
from optics.drawing.reading_form import reading_form
from optics.drawing.settling import draw_settling, settling
from optics.drawing.sheets import TASKS, lenses_in, sheet
from optics.drawing.spread import draw_mean_powers, draw_spread, spread
from optics.drawing.to_file import KINDS, draw_to_file
from optics.errors import OpticsError
from optics.instrument.focimeter import FIELD, Settings
from optics.judging.settling import settle
from optics.lens.lens import OverStop
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.project_files import project_folder

CASES = Path(__file__).parents[1] / "cases"
CROSSES = list(csv.DictReader((CASES / "drawn_crosses.csv").open(encoding="utf-8")))


# --- looking at a figure without its pixels ---------------------------------------------------


def fresh_axes():
    return Figure((4.8, 4.4)).add_axes((0, 0, 1, 1))


def words(figure):
    """All text that is drawn."""
    found = [t for t in figure.texts]
    for ax in figure.axes:
        found += ax.texts
        if ax.axison:
            found += [ax.title, ax.xaxis.label, ax.yaxis.label]
            for labels, (low, high), place in (
                (ax.get_xticklabels(), ax.get_xlim(), 0),
                (ax.get_yticklabels(), ax.get_ylim(), 1),
            ):
                found += [t for t in labels if low <= t.get_position()[place] <= high]
    return [t for t in found if t.get_visible() and t.get_text().strip()]


def said(figure):
    return [t.get_text() for t in words(figure)]


def lines(ax, gid):
    return [line for line in ax.lines if line.get_gid() == gid]


def angle(line):
    (x0, x1), (y0, y1) = line.get_data()
    return math.degrees(math.atan2(y1 - y0, x1 - x0)) % 180


def arrow_of(ax, gid):
    (found,) = [t for t in ax.texts if isinstance(t, Annotation) and t.get_gid() == gid]
    return np.array(found.xyann), np.array(found.xy)


def faults(figure):
    """What a reader would stumble over: text too small, off the page or on other text, hairlines."""
    FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    page = figure.bbox
    boxes = []
    told = []
    for text in words(figure):
        # Without the arrow that an annotation may carry.
        box = Text.get_window_extent(text)
        boxes.append((text.get_text(), box))
        if text.get_fontsize() < 11:
            told.append(f"{text.get_text()!r} is small")
        if box.x0 < page.x0 or box.x1 > page.x1 or box.y0 < page.y0 or box.y1 > page.y1:
            told.append(f"{text.get_text()!r} leaves the page")
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        if min(a.x1, b.x1) - max(a.x0, b.x0) > 0.5 and min(a.y1, b.y1) - max(a.y0, b.y0) > 0.5:
            told.append(f"{one!r} on {other!r}")
    for ax in figure.axes:
        for line in [*ax.lines, *ax.patches]:
            drawn = line.get_linestyle() not in ("None", "", " ")
            if line.get_visible() and drawn and ax.axison is False and line.get_linewidth() < 1.5:
                told.append(f"a hairline, {line.get_gid()}")
    return told


EXTREMES = [
    "plano",
    "-0.12 DS",
    "+2.50 -1.50 x 001",
    "+12.25 -6.50 x 045",
    "-20.25 -10.50 x 090",
    "pl +1.50 x 135",
    "-1.12 -0.37 x 179",
    "-20.00 -19.75 x 180",
    "+22.50 DS",
    *(f"-11.75 -10.25 x {axis:03d}" for axis in range(10, 180, 15)),
]


# --- the page is legible ------------------------------------------------------------------------


@pytest.mark.parametrize("text", EXTREMES)
def test_power_cross_is_legible(text):
    for options in (
        {},
        {"axis": "minus"},
        {"axis": "plus"},
        {"blank": ("powers", "meridians", "axis"), "axis": "plus"},
    ):
        assert faults(power_cross(f"R {text}", **options).figure) == []


@pytest.mark.parametrize("axis", [1, 15, 30, 45, 60, 89, 90, 91, 120, 135, 150, 179, 180])
def test_axis_dial_is_legible(axis):
    for diagram in (
        axis_dial(axis),
        axis_dial(axis, eye="R", blank=True),
        axis_dial(axis, eye="L"),
        axis_dial(right=axis, left=axis),
    ):
        assert faults(diagram.figure) == []


def test_numbers_of_a_dial_keep_clear_of_its_ticks_and_of_each_other():
    dial = axis_dial("R +1.00 -0.50 x 170; L +1.00 -0.50 x 010")
    assert not faults(dial.figure)
    for ax in dial.figure.axes:
        numbers = [text for text in words(dial.figure) if text.axes is ax and text.get_text().isdigit()]
        assert len(numbers) == 7
        for text in numbers:
            box = Text.get_window_extent(text)
            corners = [(x, y) for x in (box.x0, box.x1) for y in (box.y0, box.y1)]
            far = max(math.hypot(*ax.transData.inverted().transform(corner)) for corner in corners)
            assert far < 0.94, text.get_text()  # where a tick of ten degrees ends


@pytest.mark.parametrize("amount", [0.12, 1.5, 5.0, 9.5, 30.0])
def test_prism_is_legible_in_every_direction(amount):
    bases = (0, 1, 10, 45, 60, 89, 90, 120, 135, 179, 180, 210, 225, 260, 270, 300, 315, 350)
    for base, eye in zip(bases, itertools.cycle("RL"), strict=False):
        drawn = prism_displacement(Prism.from_base(amount, float(base), eye), eye)
        assert faults(drawn.figure) == [], (base, eye)


@pytest.mark.parametrize(
    ("text", "x_mm", "y_mm"),
    [
        ("R -3.00 DS", 0, -8),
        ("L plano", 4, 4),
        ("R +0.25 DS", 0, 0),
        ("L -20.00 -10.50 x 045", -20, 20),
        ("R +20.00 DS", 20, 1.5),
        ("L +6.00 -3.00 x 140", -2.5, -11.25),
    ],
)
def test_prentice_is_legible(text, x_mm, y_mm):
    assert faults(prentice(text, x_mm, y_mm).figure) == []


@pytest.mark.parametrize("wheel", [1, 30, 45, 90, 135, 180])
def test_eyepiece_is_legible(wheel):
    lens = "R -2.00 -1.50 x 030 prism 4.00 base in 3.00 base up"
    for drawn in (eyepiece(lens, wheel=wheel), eyepiece("plano", wheel=wheel)):
        assert faults(drawn.figure) == []
    assert faults(eyepiece_strip("+20.00 -1.25 x 030", (18.75, 19.5, 20.0), wheel=wheel).figure) == []


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("pl +2.00 x 180", "pl +2.00 x 045"),
        ("pl -1.00 x 090", "pl -3.00 x 020"),
        ("+12.00 -0.25 x 001", "-23.50 -16.00 x 090"),
        ("plano", "+1.00 DS"),
        ("pl +2.00 x 180", "pl +2.00 x 090"),
    ],
)
def test_oblique_sum_is_legible(first, second):
    assert faults(oblique_sum(first, second).figure) == []


@pytest.mark.parametrize("known", [None, "-2.25 -0.75 x 015"])
def test_spread_is_legible(known):
    some = ["-2.25 -0.75 x 015", "-2.37 -0.62 x 012", "-2.12 -0.87 x 017", "-2.25 -0.75 x 014"]
    for readings in (some, some[:2], ["+1.00 DS"] * 3, ["-22.25 -4.75 x 095", "-21.75 -5.25 x 093"]):
        assert faults(spread(readings, known).figure) == []


@pytest.mark.parametrize("reading", [-2.14, 1.375, 0.02, -2.25, 22.62])
@pytest.mark.parametrize("step", [0.25, 0.125])
def test_settling_is_legible(reading, step):
    for given in (reading, Power.from_sphere_cylinder(reading, -0.70, 15)):
        for decided in (True, False):
            assert faults(settling(given, step=step, decided=decided).figure) == []


@pytest.mark.sampled(2)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("task", TASKS)
def test_sheets_are_legible(task, paper):
    long = "Lenses for the week after the long holiday, second group"
    ours = None if "prism" in task else [text for text in EXTREMES if " x " in text]
    made = sheet(task, 7, lenses=ours, title=long, shop="Tarn Lane Optical, Osterwick", paper=paper)
    for page in (*made.questions, *made.answers):
        assert faults(page.figure) == []


@pytest.mark.sampled(2)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_mixed_sheet_is_legible_and_numbered_through(paper):
    made = sheet(list(TASKS), 3, 5, paper=paper)
    words = " ".join(page.alt for page in made.questions)
    assert [f" {number}: " in words for number in range(1, 3 * len(TASKS) + 1)] == [True] * 3 * len(TASKS)
    for asks in TASKS.values():
        assert asks in words
    for page in (*made.questions, *made.answers):
        assert faults(page.figure) == []


def test_the_check_for_faults_sees_them():
    figure = Figure((3, 2))
    figure.text(0.5, 0.5, "one", fontsize=12)
    figure.text(0.5, 0.5, "two", fontsize=9)
    figure.text(0.95, 0.9, "beyond the page", fontsize=12)
    figure.add_axes((0, 0, 1, 1)).set_axis_off()
    figure.axes[0].plot([0, 1], [0, 1], linewidth=0.5)
    assert len(faults(figure)) == 4


# --- power cross ----------------------------------------------------------------------------------


@pytest.mark.parametrize("row", CROSSES, ids=lambda row: row["id"])
def test_published_lenses_as_crosses(row):
    drawn = power_cross(row["given"])
    (ax,) = drawn.figure.axes
    plus, minus = row["more_plus"].replace("-", "−"), row["more_minus"].replace("-", "−")
    assert f"{plus}\nalong {row['its_meridian']}" in said(drawn.figure)
    assert f"{minus}\nalong {row['other_meridian']}" in said(drawn.figure)
    (higher,), (lower,) = lines(ax, "higher meridian"), lines(ax, "lower meridian")
    assert angle(higher) == pytest.approx(float(row["its_meridian"]) % 180)
    assert angle(lower) == pytest.approx(float(row["other_meridian"]) % 180)


def test_each_power_stands_at_the_end_of_its_own_meridian():
    ax = draw_power_cross(fresh_axes(), "+2.50 -1.50 x 030")
    (label,) = [t for t in ax.texts if t.get_text().startswith("+2.50")]
    assert math.degrees(math.atan2(label.xy[1], label.xy[0])) == pytest.approx(30)


def test_the_two_meridians_differ_in_more_than_colour():
    ax = draw_power_cross(fresh_axes(), "+2.50 -1.50 x 030")
    (higher,), (lower,) = lines(ax, "higher meridian"), lines(ax, "lower meridian")
    assert higher.get_linestyle() != lower.get_linestyle()


def test_the_axis_of_a_cylinder_lies_where_its_power_is_not_felt():
    # The plus cylinder of this lens is +1.50 x 080: it acts along 170 (common practice).
    ax = draw_power_cross(fresh_axes(), "+2.50 -1.50 x 170", axis="plus")
    (mark,) = lines(ax, "cylinder axis")
    assert angle(mark) == pytest.approx(80)
    assert "axis 080" in [t.get_text() for t in ax.texts]


def test_a_cross_may_be_given_by_its_two_powers():
    two = power_cross("+2.50 along 170 / +1.00 along 080")
    assert two.alt == power_cross("+1.00 +1.50 x 080").alt == power_cross("+2.50 x 080 / +1.00 x 170").alt


def test_blanks_give_nothing_away():
    drawn = power_cross("+2.50 -1.50 x 170", blank=("powers", "meridians", "axis"), axis="minus")
    text = " ".join(said(drawn.figure)) + drawn.alt + drawn.title
    for secret in ("2.50", "1.00", "1.50", "170", "080", "axis 80"):
        assert secret not in text
    assert "along ____" in text


def test_one_meridian_alone():
    drawn = power_cross("+2.50 -1.50 x 170", meridians="lower")
    assert "+1.00\nalong 080" in said(drawn.figure)
    assert "2.50" not in " ".join(said(drawn.figure)) + drawn.alt + drawn.title


def test_an_empty_outline_has_its_scale():
    drawn = power_cross(None)
    scale = [word for word in said(drawn.figure) if word.isdigit()]
    assert sorted(scale, key=int) == ["30", "60", "90", "120", "150", "180", "180"]
    assert not lines(drawn.figure.axes[0], "higher meridian")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("+2.50 -1.50 170", "has no axis sign"),
        ("+2.50 along 170 / +1.00 along 090", "The meridians are 170 and 090."),
        ("+2.50 along 170", "cannot be read as a power cross"),
        ("2.50 along 170 / +1.00 along 080", "has no sign"),
        ("+2.50 along 0 / +1.00 along 090", "The meridian is 0."),
        ("+2.50 x 080 / +1.00 x 080", "The axes are 080 and 080."),
        ("", "There is nothing here yet."),
    ],
)
def test_text_that_cannot_be_read_is_a_sentence(text, sentence):
    with pytest.raises(OpticsError, match=sentence):
        power_cross(text)


@pytest.mark.parametrize("wrong", [{"meridians": "sphere"}, {"blank": "powers"}, {"axis": "cylinder"}])
def test_wrong_options_are_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        power_cross("+1.00 DS", **wrong)


def test_many_lenses_are_no_picture():
    with pytest.raises(ValueError, match="one lens"):
        power_cross(Power(np.zeros((2, 3))))


# --- axis dial ------------------------------------------------------------------------------------


@pytest.mark.parametrize("axis", [1, 15, 45, 90, 135, 180])
def test_the_axis_stands_anticlockwise_from_the_viewers_right(axis):
    ax = draw_axis_dial(fresh_axes(), axis, "R")
    (line,) = lines(ax, "axis")
    assert angle(line) == pytest.approx(axis % 180)
    assert f"axis {axis:03d}" in [t.get_text() for t in ax.texts]


def test_the_right_lens_stands_on_the_viewers_left():
    drawn = axis_dial("R +1.00 -0.50 x 015; L +1.00 DS")
    right, left = drawn.figure.axes
    assert right.get_position().x0 < left.get_position().x0
    assert "R" in [t.get_text() for t in right.texts]
    assert "axis 015" in [t.get_text() for t in right.texts]
    assert not lines(left, "axis")
    assert "nose" in [t.get_text() for t in drawn.figure.texts]


def test_the_nose_of_a_single_dial_is_on_the_right_for_the_right_lens():
    for eye, sign in (("R", 1), ("L", -1)):
        (ax,) = axis_dial(15, eye=eye).figure.axes
        (nose,) = [t for t in ax.texts if t.get_text() == "nose"]
        assert nose.xy[0] * sign > 0


@pytest.mark.parametrize(
    ("given", "sentence"), [(0, "The axis is 0"), (190, "Did you mean 010"), ("+1.00 DS", "no cylinder")]
)
def test_no_dial_without_an_axis(given, sentence):
    with pytest.raises(OpticsError, match=sentence):
        axis_dial(given)


# --- prism ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("eye", "base", "side"), [("R", "in", 1), ("R", "out", -1), ("L", "in", -1), ("L", "out", 1)]
)
def test_the_crossing_moves_towards_the_base(eye, base, side):
    # Seen from the front the right lens has its nose on the viewer's right.
    ax = draw_prism_displacement(fresh_axes(), Prism.from_base(2.0, base, eye), eye)
    (crossing,) = lines(ax, "crossing")
    x, y = (float(v[0]) for v in crossing.get_data())
    assert (x, y) == pytest.approx((side * 2 / 5, 0.0))
    assert f"2.00 base {base}" in [t.get_text() for t in ax.texts]


def test_a_prism_is_resolved_into_named_parts():
    ax = draw_prism_displacement(fresh_axes(), prism_of("L 4.00 base out 3.00 base down")[0], "L")
    text = [t.get_text() for t in ax.texts]
    assert {"4.00 base out", "3.00 base down", "5.00 base 323"} <= set(text)
    start, end = arrow_of(ax, "prism")
    assert tuple(start) == (0, 0)
    assert tuple(end) == pytest.approx((0.8, -0.6))
    assert lines(ax, "horizontal part") and lines(ax, "vertical part")


def test_a_large_prism_has_rings_enough():
    ax = draw_prism_displacement(fresh_axes(), Prism.from_base(12.0, "up", "R"), "R")
    rings = [patch.radius for patch in ax.patches if patch.get_gid() == "ring"]
    assert rings == pytest.approx([1 / 3, 2 / 3, 1])
    (crossing,) = lines(ax, "crossing")
    assert float(crossing.get_ydata()[0]) == pytest.approx(12 / 15)


def test_a_blank_prism_names_neither_amount_nor_base():
    drawn = prism_displacement("R 2.00 base in 1.50 base up", blank=True)
    text = " ".join(said(drawn.figure))
    assert "2.00" not in text and "base" not in text


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("2.00 base in", "The eye is not named."),
        ("R +1.00 DS", "There is no prism"),
        ("R 2.00 base sideways", "cannot be read|base is"),
        ("R prism", "The prism in"),
        ("R -2.00 base in", "A prism is above 0"),
    ],
)
def test_no_prism_picture_without_a_prism_and_an_eye(text, sentence):
    with pytest.raises(OpticsError, match=sentence):
        prism_displacement(text)


# --- Prentice -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "x_mm", "y_mm", "label"),
    [
        # PR7: "Ophthalmic Lenses" (textbook), p. 47; read ok.
        ("R -3.00 DS", 0, -8, "2.40 base down"),
        ("L -6.00 DS", 0, -8, "4.80 base down"),
        # PR1: ophthalmology mock examination 13, station 7, mrcophth.com: a +4.00 lens is
        # decentred 5 mm out for 2 base out, so one looks 5 mm nasal of the centre; read ok.
        ("R +4.00 DS", 5, 0, "2.00 base out"),
    ],
    ids=["PR7-R", "PR7-L", "PR1"],
)
def test_published_prism_away_from_the_centre(text, x_mm, y_mm, label):
    drawn = prentice(text, x_mm, y_mm)
    assert label in said(drawn.figure)
    assert label in drawn.alt


def test_the_prism_arrow_points_to_the_base():
    ax = draw_looked_through(fresh_axes(), Power.from_sphere_cylinder(-3.0), 0, -8, "R")
    start, end = arrow_of(ax, "prism")
    assert end[1] < start[1] < 0
    assert end[0] == pytest.approx(start[0])


@pytest.mark.parametrize(("along", "thick"), [(4.0, "centre"), (-4.0, "edge")])
def test_light_bends_towards_the_thicker_side(along, thick):
    ax = draw_lens_section(fresh_axes(), along, 10.0)
    (ray,) = lines(ax, "ray")
    height = ray.get_ydata()
    assert (height[-1] < height[0]) == (along > 0)
    outline = next(p for p in ax.patches if p.get_gid() == "section").get_xy()
    middle = np.abs(outline[np.abs(outline[:, 1]) < 0.02, 0]).max()
    edge = np.abs(outline[np.abs(outline[:, 1]) > 0.98, 0]).max()
    assert (middle > edge) == (thick == "centre")
    assert f"base towards the {thick}" in [t.get_text() for t in ax.texts]


def test_no_point_beyond_the_lens():
    with pytest.raises(OpticsError, match="millimetres, not in other units"):
        prentice("R +1.00 DS", 0, 80)


# --- eyepiece -------------------------------------------------------------------------------------


def test_the_eyepiece_shows_the_instruments_own_picture():
    met = OverStop(Power.from_sphere_cylinder(-2.0, -1.5, 30), Prism.none())
    ax = draw_eyepiece(fresh_axes(), Settings(drum=-2.0, wheel=30), met)
    (image,) = ax.images
    pixels = np.asarray(image.get_array())
    # The sphere lines are sharp: bright along meridian 120, and the corner is dark.
    size = pixels.shape[0]
    x, y = 2.0 * math.cos(math.radians(120)), 2.0 * math.sin(math.radians(120))
    column, row = (round((v / FIELD + 1) * size / 2) for v in (x, -y))
    assert pixels[row - 6 : row + 7, column - 6 : column + 7].max() > 0.8
    assert pixels[0, 0] == pytest.approx(0.0, abs=1e-9)


def test_the_line_sets_are_named_at_their_ends():
    met = OverStop(Power.from_sphere_cylinder(-2.0, -1.5, 30), Prism.none())
    ax = draw_eyepiece(fresh_axes(), Settings(drum=-2.0, wheel=30), met, labels=True)
    at = {t.get_text(): math.degrees(math.atan2(t.xy[1], t.xy[0])) for t in ax.texts}
    # Sphere lines run across the wheel's meridian, cylinder lines along it.
    assert at == {"sphere\nlines": pytest.approx(120), "cylinder\nlines": pytest.approx(30)}


def test_drum_and_wheel_stand_at_the_sphere_reading_unless_told():
    drawn = eyepiece("+1.00 +1.50 x 080")
    assert "drum +2.50   wheel 170" in said(drawn.figure)


def test_prism_of_the_lens_moves_the_crossing():
    assert "to the right of the centre, 3.00 prism dioptres" in eyepiece("R +1.00 DS prism 3.00 base in").alt
    assert "to the left of the centre" in eyepiece("L +1.00 DS prism 3.00 base in").alt
    with pytest.raises(OpticsError, match="The eye is not named"):
        eyepiece("+1.00 DS prism 3.00 base in")


@pytest.mark.parametrize(
    ("drums", "options", "sentence"),
    [
        ((0.0,), {}, "There is 1 drum setting"),
        ((0.0,) * 6, {}, "two to five"),
        ((0.0, 1.0), {"wheel": (180,)}, "1 wheel settings for 2"),
        ((0.0, 30.0), {}, "The drum is at"),
    ],
)
def test_a_strip_has_two_to_five_pictures(drums, options, sentence):
    with pytest.raises(OpticsError, match=sentence):
        eyepiece_strip("plano", drums, **options)


def test_a_strip_is_one_picture_for_each_drum_reading():
    drawn = eyepiece_strip("-2.00 -1.50 x 030", (-2.0, -2.75, -3.5))
    assert len(drawn.figure.axes) == 3
    assert drawn.alt.count("Eyepiece view") == 3


# --- sums, scatter, settling ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "labels"),
    [
        # OC1: The Indian Optician, May-June 2022, p. 105; read ok.
        ("+1.75 +0.50 x 045", "-2.25 -1.00 x 135", {"0.00\nalong 135", "−1.50\nalong 045"}),
        # OC2: formula there, numbers computed beforehand: +0.5858 +2.8284 x 022.5.
        ("pl +2.00 x 180", "pl +2.00 x 045", {"+0.59\nalong 022.5", "+3.41\nalong 112.5"}),
    ],
    ids=["OC1", "OC2"],
)
def test_published_sums_of_oblique_cylinders(first, second, labels):
    assert labels <= set(said(oblique_sum(first, second).figure))


def test_arrows_add_tip_to_tail_at_twice_the_axis():
    one, two = (parse(text).power for text in ("pl -2.00 x 180", "pl -2.00 x 045"))
    ax = draw_oblique_sum(fresh_axes(), one, two)
    (a0, a1), (b0, b1), (s0, s1) = (arrow_of(ax, f"arrow {name}") for name in ("1", "2", "1 + 2"))
    assert tuple(a1) == tuple(b0) and tuple(a0) == tuple(s0) == (0, 0) and tuple(b1) == tuple(s1)
    assert math.degrees(math.atan2(a1[1], a1[0])) == pytest.approx(0)
    assert math.degrees(math.atan2(*(b1 - b0)[::-1])) == pytest.approx(90)


def test_scatter_shows_every_reading_and_the_limits():
    readings = [Power.from_sphere_cylinder(s, -0.75, 15) for s in (-2.20, -2.30, -2.25)]
    plane, run = draw_spread(fresh_axes(), readings), draw_mean_powers(fresh_axes(), readings)
    assert len(lines(plane, "readings")[0].get_xdata()) == 3
    assert list(lines(run, "readings")[0].get_ydata()) == pytest.approx([-2.575, -2.675, -2.625])
    # Standard deviation of -0.05, 0, +0.05 is 0.05, so the limits lie 0.098 from the mean.
    low, high = sorted(float(line.get_ydata()[0]) for line in lines(run, "limit"))
    assert (low, high) == pytest.approx((-2.723, -2.527))


def test_one_reading_has_no_spread():
    with pytest.raises(OpticsError, match="at least two"):
        spread(["+1.00 DS"])


def test_both_choices_stand_on_the_number_line():
    settled = settle(Power.from_sphere_cylinder(-2.14))
    drawn = settling(settled)
    (ax,) = drawn.figure.axes
    (chosen,), (other,) = lines(ax, "chosen"), lines(ax, "the other choice")
    assert float(chosen.get_xdata()[0]) == -2.25
    assert float(other.get_xdata()[0]) == -2.0
    assert "chosen,\n0.11 away" in said(drawn.figure)
    assert chosen.get_markerfacecolor() != other.get_markerfacecolor() == "white"


def test_a_lens_with_cylinder_is_settled_along_both_meridians():
    drawn = settling(Power.from_sphere_cylinder(-2.14, -0.70, 15))
    assert {"along 015: −2.140", "along 105: −2.840", "cylinder −0.700"} <= set(said(drawn.figure))
    beside = settling(Power.from_sphere_cylinder(-2.14, -0.70, 15), beside="-2.75 +0.50 x 105")
    assert beside.alt.endswith("minus 0.75 is chosen, 0.05 away; minus 0.50 is the other choice, 0.20 away.")
    with pytest.raises(OpticsError, match="not near the reading"):
        settling(Power.from_sphere_cylinder(-2.14, -0.70, 15), beside="-4.00 DS")


def test_an_open_question_names_no_choice():
    drawn = settling(-2.14, decided=False)
    assert "chosen" not in " ".join(said(drawn.figure)) + drawn.alt
    with pytest.raises(OpticsError, match=r"steps of 0\.25"):
        settling(-2.14, step=0.1)


def test_number_line_may_stand_on_its_own():
    ax = draw_settling(fresh_axes(), -2.14)
    assert {"−2.25", "−2.00"} <= {t.get_text() for t in ax.texts}


# --- sheets -----------------------------------------------------------------------------------------


def test_a_sheet_and_its_answers_are_two_files_of_many_pages(tmp_path):
    made = sheet("read-crosses", 7, seed=3)
    paper, answers = made.save(tmp_path / "crosses.pdf")
    assert answers.name == "crosses-answers.pdf"
    assert len(made.questions) == len(made.answers) == 2
    assert paper.read_bytes().count(b"/Type /Page ") == 2
    again = sheet("read-crosses", 7, seed=3).save(tmp_path / "again.pdf")
    assert again[0].read_bytes() == paper.read_bytes()


def test_another_number_is_another_sheet():
    third, again, fourth = (sheet("other-form", 3, seed).questions[0].alt for seed in (3, 3, 4))
    assert third == again
    assert third.split(" 1:")[1] != fourth.split(" 1:")[1]


def test_questions_do_not_carry_their_answers():
    lens = ["+2.50 -1.50 x 170"]
    questions = {task: sheet(task, lenses=lens).questions[0] for task in ("other-form", "read-crosses")}
    for task, secret in (("other-form", "+1.00 +1.50 x 080"), ("read-crosses", "+2.50 −1.50 x 170")):
        assert secret not in " ".join(said(questions[task].figure))
        assert "cylinder plus" not in questions[task].alt
        assert secret in " ".join(said(sheet(task, lenses=lens).answers[0].figure))


# Each answer worked out by hand; the prisms make the triangle 3, 4, 5, whose angles are 37 and 53 degrees,
# and 2 sin 30, 2 cos 30. Of the left lens the nose is on the viewer's left.
BY_HAND = {
    "combine-prisms": ("R pl prism 4.00 base in 3.00 base up", "5.00 base 037"),
    "resolve-prisms": ("L pl prism 2.00 base 150", "1.73 base in and 1.00 base up"),
    "tidy-lines": ("-0.50 -1.00 x 005", "−0.50 −1.00 x 005"),
    "read-axes": ("+1.00 -0.50 x 015", "axis 015"),
    "draw-axes": ("+1.00 -0.50 x 015", "axis 015"),
    "draw-crosses": ("+2.50 -1.50 x 170", "+1.00\nalong 080"),
}


@pytest.mark.parametrize("task", BY_HAND)
def test_answers_are_as_worked_out_by_hand_and_stand_on_the_answer_sheet_alone(task):
    lens, answer = BY_HAND[task]
    made = sheet(task, lenses=[lens])
    assert answer in "   ".join(said(made.answers[0].figure))
    assert answer not in "   ".join(said(made.questions[0].figure))


@pytest.mark.sampled(2)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    "words", ["W" * 50, "Lower Mill Optical and Frames, 14 Chandlers Row, Oster", "$ 1 & $2 \\foo_{$"]
)
def test_any_head_stands_on_the_page(words, paper):
    page = sheet("other-form", 3, title=words, shop=words, paper=paper).questions[0]
    assert faults(page.figure) == []


@pytest.mark.parametrize(
    ("task", "line"),
    [
        ("tidy-lines", "+2.50 -1.50 x 170 add +2.00"),
        ("draw-crosses", "R pl prism 3.00 base in"),
        ("other-form", "+1.00 -0.50 x 090 no prism"),
    ],
)
def test_nothing_of_ones_own_lens_is_left_out_silently(task, line):
    with pytest.raises(OpticsError, match="would be left out"):
        sheet(task, lenses=[line])


def test_a_line_in_haste_is_the_same_lens(tmp_path):
    made = sheet("tidy-lines", 20, 8)
    pairs = re.findall(
        r'"([^"]+)" is ([^.]*\.\d\d(?: [^.]*\.\d\d x \d{3})?)\.', " ".join(page.alt for page in made.answers)
    )
    assert len(pairs) == 20
    for hasty, tidy in pairs:
        assert parse(hasty).distance == tidy
        assert hasty != tidy


def test_a_list_of_ones_own_says_which_line_it_cannot_read():
    assert len(lenses_in("\ufeff-2.25 -0.75 x 015\n\n+1.00 DS\r\n")) == 2
    with pytest.raises(OpticsError, match=r"Line 3 of the list: .*has no sign"):
        lenses_in("-2.25 -0.75 x 015\n\n1.00 DS")
    with pytest.raises(OpticsError, match="does not suit"):
        sheet("other-form", lenses=["+1.00 DS"])
    with pytest.raises(OpticsError, match="does not suit"):
        sheet("combine-prisms", lenses=["+1.00 DS"])


def test_a_prism_alone_is_a_line_of_ones_own_and_its_rings_are_named():
    own = sheet(
        "combine-prisms", lenses=lenses_in("R 8.00 base in 6.00 base up\nL plano prism 12.00 base down\n")
    )
    # 8 and 6 make 10 and 36.87 degrees, by hand.
    assert {"10.00 base 037", "12.00 base 270"} <= set(said(own.answers[0].figure))
    assert {"one ring: 1 Δ", "one ring: 5 Δ"} <= set(said(own.questions[0].figure))


def test_nothing_is_written_where_the_answers_cannot_be(tmp_path):
    (tmp_path / "a-answers.pdf").write_text("precious")
    with pytest.raises(OpticsError, match="already a file"):
        sheet().save(tmp_path / "a.pdf")
    assert not (tmp_path / "a.pdf").exists()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("crosses",), "no sheet called"),
        (("other-form", 0), "0 lenses"),
        (("other-form", 999), "999 lenses"),
        (((), 6), "asks nothing"),
        (("other-form", 6, -1), "number is -1"),
        ((["other-form", "crosses"],), "no sheet called"),
    ],
)
def test_a_sheet_that_cannot_be_is_a_sentence(arguments, sentence):
    with pytest.raises(OpticsError, match=sentence):
        sheet(*arguments)


# --- real pairs ---------------------------------------------------------------------------------------


@pytest.mark.sampled(2)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_form_for_real_pairs_is_legible(paper):
    form = reading_form(paper)
    assert faults(form.figure) == []
    assert "room for 5 readings" in form.alt


@pytest.mark.parametrize("apart", [0.0, 0.05, -0.6])
def test_two_readers_side_by_side_are_legible(apart):
    lenses = [Power.from_sphere_cylinder(sphere, -0.5, 20) for sphere in (-7.0, -2.25, 0.0, 3.5)]
    other = [lens + Power.from_sphere_cylinder(apart + 0.02 * k) for k, lens in enumerate(lenses)]
    assert faults(agreement(lenses, other).figure) == []


# --- crib -------------------------------------------------------------------------------------------


@pytest.mark.sampled(2)
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_crib_is_legible(paper):
    pages = crib(paper)
    assert [faults(page.figure) for page in pages] == [[], []]
    assert "not for driving" in pages[0].alt
    assert "lensmeter" in pages[1].alt


@pytest.mark.parametrize(
    ("named", "chapter"),
    [("The whole job", "12-the-unknown-pair"), ("One lens", "05-reading-a-cylinder")],
)
def test_the_cribs_steps_are_the_chapters(named, chapter):
    path = project_folder("notebooks") / "source" / chapter / f"{chapter}.ipynb"
    cell = next(c for c in json.loads(path.read_text("utf-8"))["cells"] if c["id"] == "steps")
    taught = re.findall(r"^\d+\. \*\*(.+?)\*\*", "".join(cell["source"]), re.MULTILINE)
    assert [step for step, _ in steps()[named]] == [step.rstrip(".") for step in taught]


# --- to a file --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_goes_to_a_file(kind, tmp_path):
    path = draw_to_file(kind, KINDS[kind].example, tmp_path / f"{kind}.png")
    assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "text", ["", "nonsense", ";", "1.00", "R +1.00 DS; 4 sideways", "x" * 2000, "\ud800"]
)
def test_what_no_drawing_takes_is_a_sentence_and_writes_nothing(kind, text, tmp_path):
    with pytest.raises(OpticsError):
        draw_to_file(kind, text, tmp_path / "a.svg")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "prism"),
    [
        # Prentice: 4 D times 0.8 cm; a minus lens has its base towards the edge.
        ("R -4.00 DS; 8 down", "3.20 base down"),
        ("R -4.00 DS; 5 mm in", "2.00 base in"),
        ("L +4.00 DS; 5 mm in", "2.00 base out"),
        ("L -4.00 DS; 5 mm out and 5 mm up", "2.00 base out"),
    ],
)
def test_a_place_in_words_is_the_place_looked_through(text, prism):
    assert prism in KINDS["prentice"].draw(text).alt


def test_an_unknown_kind_is_a_sentence(tmp_path):
    with pytest.raises(OpticsError, match='no drawing called "cross"'):
        draw_to_file("cross", "+1.00 DS", tmp_path / "a.png")


def test_bad_text_writes_nothing(tmp_path):
    with pytest.raises(OpticsError, match="has no sign"):
        draw_to_file("power-cross", "1.00 DS", tmp_path / "a.png")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["draw_power_cross", "draw_axis_dial", "draw_settling"])
def test_the_lower_layer_gives_its_axes_back(name):
    ax = fresh_axes()
    drawn = {
        "draw_power_cross": lambda: draw_power_cross(ax, "+1.00 DS"),
        "draw_axis_dial": lambda: draw_axis_dial(ax, 15),
        "draw_settling": lambda: draw_settling(ax, 1.1),
    }[name]()
    assert drawn is ax


def test_what_a_lens_may_be_given_as():
    power = parse("+2.50 -1.50 x 170").power
    for given in (power, parse("+1.00 +1.50 x 080"), parse("+2.50 -1.50 x 170").to_crossed()):
        assert lens_of(given).power.is_close(power)
    assert lens_of(power).written == "+2.50 -1.50 x 170"
    assert lens_of("pl along 180; -1.00 along 90").power.is_close(parse("pl -1.00 x 180").power)
