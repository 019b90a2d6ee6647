"""The pair on its tray in a browser: by keyboard and by pointer, and the cross as NumPy works it out."""

import json

import bare_page
import numpy as np
import pytest

from optics.instrument.crossed_line import cross_seen
from optics.lens.lens import SingleVision
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.progressive import Progressive
from optics.pair.charts import chart_with
from optics.pair.frame import Frame
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.conditions import Condition
from optics.widgets.pair.front_view import PairView
from optics.widgets.pair.lens_in_hand import LensInHand

FRAME = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
POWER = Power.from_sphere_cylinder(-2.25, -1.50, 25)
WRONG = [Condition(name="temple twisted", eye="L", tilt_degrees=18.0), Condition(name="smeared", eye="R")]


def pair(make):
    return Spectacles(
        right=Mounted(lens=make("R"), pd_mm=31.5, height_mm=2.0),
        left=Mounted(lens=make("L"), pd_mm=32.0, height_mm=2.0),
    )


PROGRESSIVE = pair(lambda eye: chart_with("Hb2").lens(POWER, 2.0, eye))


def words(page):
    bare_page.settle(page)
    return page.locator(".optics-pair-words").text_content()


def test_the_whole_look_by_keyboard(page):
    view = PairView(PROGRESSIVE, FRAME, WRONG)
    bare_page.show(page, view)
    assert "It is out of true" in words(page) and "smeared" in words(page)

    def press(label, key="Space"):
        page.get_by_label(label).focus()
        page.keyboard.press(key)
        bare_page.settle(page)

    def push(name):
        page.get_by_role("button", name=name).focus()
        page.keyboard.press("Enter")
        bare_page.settle(page)

    push("Ink this lens")
    assert not view.inked
    assert "Tilt the pair to the light first" in page.locator(".optics-notice").inner_text()
    press("Tilted to the light")
    push("Wipe the lenses")
    push("True the frame")
    assert "The frame is true" in page.locator(".optics-notice").inner_text()
    press("Chart Hb2")
    press("Under the left lens")
    for name, key, times in (
        ("Chart turned, degrees anticlockwise", "ArrowLeft", 5),
        ("Chart down or up", "ArrowRight", 20),
        ("Chart left or right", "ArrowLeft", 6),
    ):
        for _ in range(times):
            press(name, key)
    assert "Its circles cover the rings" in words(page)
    push("Ink this lens")
    assert "The left lens is inked from chart Hb2" in page.locator(".optics-notice").inner_text()
    assert view.ink_mm("L", "height") == pytest.approx((32.0, 6.0), abs=0.5)
    assert "stand in ink" in words(page) and "smeared" not in words(page) and "lies true" in words(page)
    for _ in range(3):
        press("Rule left or right", "ArrowRight")
    assert view.rule_x_mm == -68.5
    press("Mark on the rule", "End")
    assert view.rule_to_mm == 150.0
    press("Turned over")
    assert view.turned_over and "seen from the back" in words(page)
    assert view.wiped and view.trued and view.tilted_to_light and view.chart == "Hb2"


def test_the_chart_by_pointer(page):
    view = PairView(PROGRESSIVE, FRAME)
    view.chart = "Hb4"
    bare_page.show(page, view)
    per_mm = page.locator("svg").first.bounding_box()["width"] / 172

    def drag(handle, across, up):
        box = page.locator(handle).bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + across * per_mm, y - up * per_mm, steps=4)
        page.mouse.up()
        bare_page.settle(page)

    drag(".optics-pair-paper", 4.0, 9.0)
    assert (view.chart_x_mm, view.chart_y_mm) == pytest.approx((4.0, 1.0), abs=0.5)
    drag(".optics-pair-turner", 0.0, -29 * np.tan(np.deg2rad(5.0)))
    assert view.chart_turned_degrees == pytest.approx(0.0, abs=1.0)


def test_a_pair_is_marked_up_by_pointer_alone(page):
    """Tilted to the light, the chart dragged over the rings, inked; then dragged askew, and inked again."""
    view = PairView(PROGRESSIVE, FRAME)
    bare_page.show(page, view)
    per_mm = page.locator("svg").first.bounding_box()["width"] / 172
    assert page.locator("text.optics-pair-engraved").count() == 0
    page.get_by_label("Tilted to the light").click()
    page.get_by_label("Chart Hb2", exact=True).click()
    bare_page.settle(page)
    assert page.locator("text.optics-pair-engraved").count() == 4

    def drag(handle, across, up, at=(0.5, 0.5)):
        box = page.locator(handle).bounding_box()
        x, y = box["x"] + at[0] * box["width"], box["y"] + at[1] * box["height"]
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + across * per_mm, y - up * per_mm, steps=4)
        page.mouse.up()
        bare_page.settle(page)

    drag(".optics-pair-turner", 0.0, -29 * np.tan(np.deg2rad(5.0)))
    # The rings lie level, 31.5 mm from the middle of the bridge and 2 mm up; the chart starts below the rim's middle.
    cx, _ = FRAME.boxing_centre_mm("R")
    drag(".optics-pair-paper", -31.5 - cx, 10.0, at=(0.1, 0.9))
    assert "Its circles cover the rings" in words(page)
    page.get_by_role("button", name="Ink this lens").click()
    bare_page.settle(page)
    right = view.ink_mm("R", "height")
    assert right == pytest.approx((-31.5, 6.0), abs=0.5)
    # The ink lies over the chart, or it would not be seen.
    ink = page.locator(".optics-pair-over path.optics-pair-ink")
    assert ink.count() > 0
    drag(".optics-pair-turner", 0.0, -29 * np.tan(np.deg2rad(8.0)))
    assert "turned 8 degrees clockwise" in words(page)
    page.get_by_role("button", name="Ink this lens").click()
    bare_page.settle(page)
    assert np.hypot(*np.subtract(view.ink_mm("R", "near"), (-31.5 + 2.5, -12.0 + 2.0))) > 1.0


def test_words_are_shut_until_asked_for_and_spoken_all_the_same(page):
    view = PairView(PROGRESSIVE, FRAME, WRONG)
    bare_page.show(page, view)
    assert not page.locator(".optics-pair-words").is_visible()
    page.wait_for_function("() => document.querySelector('[aria-live]').textContent.includes('smeared')")
    assert "smeared" in page.locator("svg").first.get_attribute("aria-label")
    page.locator("summary").focus()
    page.keyboard.press("Enter")
    bare_page.settle(page)
    page.wait_for_function("() => window.model.get('in_words')")
    assert page.locator(".optics-pair-words").is_visible()


def test_the_rule_by_pointer(page):
    view = PairView(PROGRESSIVE, FRAME)
    bare_page.show(page, view)
    picture = page.locator("svg").first.bounding_box()
    per_mm = picture["width"] / 172
    for k, trait in ((0, "rule_x_mm"), (1, "rule_to_mm")):
        if k:
            page.get_by_label("Mark on the rule").fill("60")
            bare_page.settle(page)
        before = getattr(view, trait)
        box = page.locator(".optics-pair-handle").nth(k).bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 20 * per_mm, y, steps=4)
        page.mouse.up()
        bare_page.settle(page)
        assert getattr(view, trait) - before == pytest.approx(20.0, abs=0.5)
    assert page.locator(".optics-pair-measured").inner_text().startswith(f"{view.rule_to_mm:.1f} mm")


LENSES = {
    "sphero-cylinder": lambda eye: SingleVision(power=POWER, prism=Prism(np.array([1.0, -0.5]))),
    "bifocal": lambda eye: Multifocal(power=POWER, addition=2.0, eye=eye),
    "progressive": lambda eye: Progressive(power=POWER, addition=2.0, eye=eye),
    "too strong": lambda eye: SingleVision(power=Power.from_sphere_cylinder(7.0)),
}


@pytest.mark.parametrize("kind", LENSES)
def test_the_cross_is_drawn_where_numpy_sees_it(page, kind):
    view = PairView(pair(LENSES[kind]), FRAME)
    bare_page.show(page, view)
    page.get_by_label("Right lens in the hand").check()
    wall = page.locator("svg[data-seen]")
    for x, y, turn, trial, eye in ((0, 0, 0, 0, 150), (9, -4, 20, 0, 150), (-5, 11, -35, 1.25, 100)):
        for label, value in (
            ("Lens moved left or right", x),
            ("Lens moved down or up", y),
            ("Lens turned", turn),
            ("Trial sphere", trial),
            ("Distance of the lens", eye),
        ):
            page.get_by_label(label).fill(str(value))
        bare_page.settle(page)
        seen = json.loads(wall.get_attribute("data-seen"))
        lens = LensInHand(view._pair, FRAME, "R")
        for zone, drawn in zip(view._held["zones"], seen, strict=True):
            at, sight = np.array(zone["at"]), view._line_of_sight
            held = lens.before_the_eye(at, trial, eye)
            # From the point where the zone was sampled to the one before the eye, by Prentice.
            prism = Prism(held.prism.vector - held.power.matrix @ (sight - at) / 10)
            expected = cross_seen(
                type(held)(power=held.power, prism=prism, from_eye_mm=eye), turned_degrees=turn
            )
            if expected.look == "lost":
                assert drawn is None
                continue
            assert drawn["shift"] == pytest.approx(expected.shift_mm, abs=1e-6)
            assert drawn["level"] == pytest.approx(expected.magnification[:, 0], abs=1e-6)
            assert drawn["upright"] == pytest.approx(expected.magnification[:, 1], abs=1e-6)
        assert words(page) == view._cross_words


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (640, 450)])
def test_everything_is_named_and_fits_at_200_percent(page, width, height):
    page.set_viewport_size({"width": width, "height": height})
    view = PairView(PROGRESSIVE, FRAME, WRONG)
    bare_page.show(page, view)
    assert not bare_page.unnamed(page) and bare_page.too_wide(page) <= 0
    page.get_by_label("Left lens in the hand").check()
    bare_page.settle(page)
    assert not bare_page.unnamed(page) and bare_page.too_wide(page) <= 0
    # Measuring puts the pair back on the tray.
    page.get_by_role("radio", name="Upright").check()
    bare_page.settle(page)
    assert view.held_lens == "" and page.locator("svg").first.is_visible()
