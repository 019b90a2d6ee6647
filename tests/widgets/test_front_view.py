"""The pair on its tray as Python drives it: every hand at both ends and in the middle."""

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.instrument.crossed_line import cross_seen
from optics.instrument.neutralizing import Held, neutralizer
from optics.lens.lens import SingleVision
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.segment import SHAPES, Segment
from optics.pair.charts import LaidChart, chart_with
from optics.pair.frame import Frame
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.conditions import Condition, laid_down
from optics.widgets.pair.front_view import REACH, PairView, bends_of

FRAME = Frame(lens_width_mm=52, lens_height_mm=38, bridge_mm=18)
RIGHT = Power.from_sphere_cylinder(-2.00, -1.00, 30)
LEFT = Power.from_sphere_cylinder(+1.50)
TWISTED = Condition(name="temple twisted", eye="L", tilt_degrees=18.0, turned_degrees=5.0, off_stop_mm=1.0)
BOWED = Condition(name="front bent", eye="R", tilt_degrees=-15.0, tilt_axis=90.0)
SMEAR = Condition(name="smeared", eye="R")


def pair(right, left):
    return Spectacles(
        right=Mounted(lens=right, pd_mm=31.0, height_mm=1.0),
        left=Mounted(lens=left, pd_mm=32.0, height_mm=1.0),
    )


PLAIN = pair(SingleVision(power=RIGHT), SingleVision(power=LEFT))
PROGRESSIVE = pair(chart_with("Hb2").lens(RIGHT, 2.0, "R"), chart_with("Hb2").lens(LEFT, 2.0, "L"))


def lined(shape="flat-top", strip=0.0):
    segment = Segment(shape=shape, intermediate_mm=strip, width_mm=24 if shape == "round" else 28)
    return pair(
        *(
            Multifocal(power=power, addition=2.0, eye=eye, segment=segment)
            for eye, power in (("R", RIGHT), ("L", LEFT))
        )
    )


@pytest.fixture
def view():
    return PairView(PROGRESSIVE, FRAME, [TWISTED, SMEAR])


# --- every control --------------------------------------------------------------------------


@pytest.mark.parametrize("name", REACH)
def test_every_hand_at_both_ends_and_the_middle(view, name):
    low, high = REACH[name]
    for value in (low, high, round((low + high) / 2 * 2) / 2):
        setattr(view, name, value)
        assert view._answered[name] == getattr(view, name) == value
    for value in (low - 1, high + 1):
        with pytest.raises(OpticsError, match="runs from"):
            setattr(view, name, value)
        assert low <= getattr(view, name) <= high


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("turned_over", (True, False)),
        ("tilted_to_light", (True, False)),
        ("rule_lies", ("upright", "across")),
        ("held_lens", ("R", "L", "")),
    ],
)
def test_every_choice(view, name, values):
    for value in values:
        setattr(view, name, value)
        assert view._answered[name] == getattr(view, name) == value
        assert view._scene == view.scene.to_plain()
        assert view._scene["words"]


# --- conditions ----------------------------------------------------------------------------------


@pytest.mark.parametrize("trued", [False, True])
@pytest.mark.parametrize("wiped", [False, True])
def test_the_pair_an_instrument_meets(trued, wiped):
    conditions = [TWISTED, BOWED, SMEAR]
    view = PairView(PLAIN, FRAME, conditions)
    view.trued, view.wiped = trued, wiped
    mended = (["temple twisted", "front bent"] if trued else []) + (["smeared"] if wiped else [])
    assert view.spectacles == laid_down(PLAIN, tuple(conditions), mended)
    assert (view.spectacles == PLAIN) == (trued and wiped)
    words = view.scene.words
    assert ("lies true" in words) == trued and ("smeared" in words) != wiped
    if not trued:
        assert "the left side leans and its temple points up" in words
        assert "the right side is bent forward" in words


def test_truing_and_wiping_are_answered():
    view = PairView(PLAIN, FRAME, [TWISTED, SMEAR])
    view.trued = True
    assert view._notice.startswith("The frame is true")
    view.wiped = True
    assert view._notice == "The lenses are clean."


def test_what_is_wrong_becomes_a_bend():
    bends = bends_of([TWISTED, BOWED, SMEAR])
    assert bends["L"].lean_degrees == 18.0 and bends["L"].bow_degrees == 0.0
    assert bends["L"].turned_degrees == 5.0
    assert bends["R"].bow_degrees == -15.0 and bends["R"].lean_degrees == 0.0


def test_two_bends_of_one_side_add():
    bend = bends_of([BOWED, Condition(name="temple twisted", eye="R", tilt_degrees=16.0)])["R"]
    assert (bend.lean_degrees, bend.bow_degrees) == (16.0, -15.0)


# --- marking up ------------------------------------------------------------------------------------


def lay(view, sign, eye, x_mm=0.0, y_mm=0.0, turned=0.0):
    """Lay a chart so far from the rings of a lens, and ink it."""
    middle, (at, degrees) = FRAME.boxing_centre_mm(eye), view._lies(eye)
    view.chart, view.chart_under = sign, eye
    view.chart_x_mm, view.chart_y_mm = at[0] - middle[0] + x_mm, at[1] - middle[1] + y_mm
    view.chart_turned_degrees = degrees + turned
    view.inking = True


def test_ink_goes_on_only_from_rings_that_are_seen_and_a_chart(view):
    def press():
        view.inking = True
        assert not view.inking and not view.inked
        return view._notice

    assert "Tilt the pair to the light" in press()
    view.tilted_to_light = True
    assert "rings are engraved" in view.scene.words and "sign Hb2 under the nasal one" in view.scene.words
    assert "Wipe the lenses" in press()
    view.wiped = True
    assert "Choose a chart first" in press()
    view.chart, view.turned_over = "Hb2", True
    assert "front towards you" in press() and view._chart == {}
    view.turned_over = False
    lay(view, "Hb2", "R")
    assert "The right lens is inked from chart Hb2" in view._notice and not view.inking
    view.tilted_to_light = False
    assert "in the right lens: fitting cross" in view.scene.words.lower()
    assert view.scene.words.count("stand in ink") == 1


@pytest.mark.parametrize("trued", [False, True])
@pytest.mark.parametrize("eye", ["R", "L"])
def test_the_right_chart_over_the_rings_inks_the_points_of_the_lens(view, eye, trued):
    view.tilted_to_light = view.wiped = True
    view.trued = trued
    lay(view, "Hb2", eye)
    assert "Its circles cover the rings" in view._chart_words
    lens = PROGRESSIVE.mounted(eye).lens
    for part, at in lens.places.items():
        # The lens as it lies shows there what the lens itself shows at that point.
        met = view.spectacles.over_stop(eye, *view.ink_mm(eye, part)).power if trued else None
        assert LaidChart(**view.inked[eye]).inked(eye)[part] == pytest.approx(at, abs=1e-9)
        if met is not None:
            assert met.vector == pytest.approx(lens.over_stop(*at).power.vector, abs=1e-9)
    drawn = [p for p in view.scene.places if p.eye == eye and p.name.startswith("the fitting cross")]
    assert [p.at_mm for p in drawn] == pytest.approx(view.ink_mm(eye, "height"))
    # A twisted lens turns with its rings; 8 mm up are 0.7 mm aside at 5 degrees.
    aside = view.ink_mm(eye, "distance")[0] - PROGRESSIVE.reference_point_mm(eye)[0]
    assert aside == pytest.approx(0.0 if trued or eye == "R" else -8 * np.sin(np.deg2rad(5.0)), abs=1e-9)


@pytest.mark.parametrize("eye", ["R", "L"])
def test_a_wrong_chart_and_an_askew_one_put_the_ink_elsewhere(eye):
    view = PairView(PROGRESSIVE, FRAME)
    view.tilted_to_light = True
    x, y = PROGRESSIVE.reference_point_mm(eye)
    lay(view, "Hb6", eye)
    assert "Its circles cover the rings" in view._chart_words
    assert view.ink_mm(eye, "height") == pytest.approx((x, y))
    lay(view, "Hb2", eye, 2.0, -1.0, 10.0)
    assert "2.0 mm to the right, 1.0 mm below, turned 10 degrees anticlockwise" in view._chart_words
    assert view.ink_mm(eye, "prism") == pytest.approx((x + 2.0, y - 1.0))
    assert view.ink_mm(eye, "height") == pytest.approx((x + 1.3054, y + 2.9392), abs=1e-3)
    # The rule measures to the ink, not to where it ought to stand.
    view.rule_lies, view.rule_x_mm, view.rule_y_mm = "upright", x, -19.0
    view.rule_to_mm = FRAME.height_above_rim_mm(y + 2.94)
    assert "the mark stands on the fitting cross" in view._measured


def test_a_chart_tells_nothing_of_rings_that_are_not_seen(view):
    view.chart = "Hb4"
    assert view._chart_words == "Chart Hb4 lies under the right lens."
    view.tilted_to_light = True
    assert "rings" not in view._chart_words
    view.wiped = True
    assert "From the rings, its circles stand" in view._chart_words


@pytest.mark.parametrize("lenses", [PLAIN, lined()], ids=["single vision", "lined"])
def test_lenses_without_rings_are_not_marked_up(lenses):
    view = PairView(lenses, FRAME)
    view.inking = True
    # Before one has looked, it is not said what kind of lens it is.
    assert "Tilt the pair" in view._notice
    view.tilted_to_light = True
    view.inking = True
    assert not view.inked and "No rings" in view._notice


# --- the rule ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("turned_over", [False, True])
def test_a_pd_measured_from_dot_to_dot(turned_over):
    view = PairView(PLAIN, FRAME)
    view.dots, view.turned_over = {"R": [-31.0, 1.0], "L": [32.0, 1.0]}, turned_over
    first, second = ("left", "right") if turned_over else ("right", "left")
    view.rule_x_mm = -32.0 if turned_over else -31.0
    view.rule_to_mm = 63.0
    assert view._measured == f"63.0 mm: zero stands on the {first} dot; the mark stands on the {second} dot."
    view.rule_to_mm = 50.0
    assert view._measured == f"50.0 mm: zero stands on the {first} dot."


@pytest.mark.parametrize("turned_over", [False, True])
@pytest.mark.parametrize("eye", ["R", "L"])
def test_a_segment_height_measured_from_the_lowest_point(turned_over, eye):
    view = PairView(lined(), FRAME)
    view.turned_over = turned_over
    side = -1.0 if (eye == "R") != turned_over else 1.0
    view.rule_lies, view.rule_x_mm, view.rule_y_mm = "upright", side * 35.0, -19.0
    # The reference point lies 1 mm over the datum line and the segment's line 4 mm below it.
    view.rule_to_mm = FRAME.height_above_rim_mm(1.0 - 4.0)
    name = {"R": "right", "L": "left"}[eye]
    assert view._measured == (
        f"16.0 mm: zero stands on the lowest point of the {name} lens; "
        f"the mark stands on the line of the {name} lens."
    )


def test_a_fitting_height_can_be_measured_once_it_is_inked():
    view = PairView(PROGRESSIVE, FRAME)
    view.rule_lies, view.rule_x_mm, view.rule_y_mm = "upright", 30.0, -19.0
    view.rule_to_mm = FRAME.height_above_rim_mm(1.0 + 4.0)
    assert "fitting cross" not in view._measured
    view.mark_up()
    assert view._measured.endswith("the mark stands on the fitting cross of the left lens.")


def test_the_rule_tells_nothing_but_what_it_stands_on(view):
    assert view._measured == "0.0 mm."


# --- a lens before the eye ---------------------------------------------------------------------------


@pytest.mark.parametrize("turned_over", [False, True])
@pytest.mark.parametrize("moved", [(-12.0, 0.0), (0.0, 9.0), (6.0, -4.0)])
@pytest.mark.parametrize("turned", [-20.0, 0.0, 30.0])
def test_the_cross_is_that_of_the_lens_moved_and_turned(turned_over, moved, turned):
    """Against `Held`, which takes the centre of the lens instead of the point before the eye."""
    view = PairView(PLAIN, FRAME)
    view.turned_over = turned_over
    view.held_lens, view.trial, view.from_eye_mm = "R", 0.5, 120.0
    (view.moved_x_mm, view.moved_y_mm), view.turned_degrees = moved, turned
    power = RIGHT.turned_over() if turned_over else RIGHT
    held = Held(power=power + Power.from_sphere_cylinder(0.5), from_eye_mm=120.0)
    expected = cross_seen(held, moved, turned)
    assert view.cross.shift_mm == pytest.approx(expected.shift_mm)
    assert view.cross.magnification == pytest.approx(expected.magnification)


def test_prism_of_the_lens_shows_in_the_hand():
    lens = SingleVision(power=LEFT, prism=Prism.from_base(3.0, "up", "L"))
    view = PairView(pair(SingleVision(power=RIGHT), lens), FRAME)
    view.held_lens = "L"
    assert view.cross.shift_mm[1] < -1.0  # towards the apex


@pytest.mark.parametrize(("eye", "words"), [("R", "with"), ("L", "against")])
def test_the_words_follow_the_lens(eye, words):
    view = PairView(PLAIN, FRAME)
    view.held_lens, view.moved_x_mm = eye, 10.0
    assert f"moving {words} the lens" in view._cross_words
    view.trial = -1.5 if eye == "L" else 0.0
    if eye == "L":
        assert view._cross_words.count("is unbroken") == 2


def test_the_right_trial_lens_is_that_of_the_front():
    """A thick plus lens is neutralized by its front vertex power (common practice)."""
    thick = Multifocal(
        power=Power.from_sphere_cylinder(4.0), addition=1.0, eye="R", centre_thickness_mm=6.0, front_curve=9.0
    )
    view = PairView(pair(thick, thick), FRAME)
    view.held_lens = "R"
    trial = float(neutralizer(thick).mean)
    assert trial > -4.0
    met = view._in_hand.before_the_eye(np.zeros(2), trial)
    assert met.power.vector == pytest.approx(np.zeros(3), abs=1e-9)


@pytest.mark.parametrize(
    ("shape", "strip"), [*((shape, 0.0) for shape in SHAPES), ("flat-top", 7.0), ("straight-across", 7.0)]
)
@pytest.mark.parametrize("turned_over", [False, True])
def test_each_part_of_a_lined_lens_is_sent_with_its_own_power(shape, strip, turned_over):
    lenses = lined(shape, strip)
    view = PairView(lenses, FRAME)
    view.turned_over = turned_over
    view.held_lens, view.moved_y_mm = "L", 12.0
    zones = view._held["zones"]
    assert len(zones) == (3 if strip else 2)
    lens = lenses.left.lens
    side = -1.0 if turned_over else 1.0
    means = [(zone["power"]["xx"] + zone["power"]["yy"]) / 2 for zone in zones]
    assert means == sorted(means) and means[-1] - means[0] == pytest.approx(2.0, abs=0.2)
    for zone, part in zip(zones, ("distance", *(["intermediate"] if strip else []), "near"), strict=True):
        x, y = zone["at"]
        assert lens.part_at(side * x, y) == part
        if part != "distance":
            edge = np.array(zone["edge"])
            assert (edge.min(0) <= [x, y]).all() and ([x, y] <= edge.max(0)).all()
    assert "You look through the segment." in view._cross_words
    view.moved_y_mm = -10.0
    assert "You look through the part" in view._cross_words


def test_a_progressive_moves_differently_in_its_near_part():
    view = PairView(PROGRESSIVE, FRAME)
    view.held_lens = "R"
    view.moved_y_mm = -8.0
    distance = view._held["zones"][0]["power"]["xx"]
    view.moved_x_mm, view.moved_y_mm = -2.5, 14.0
    near = view._held["zones"][0]["power"]["xx"]
    assert near - distance == pytest.approx(2.0, abs=0.15)
