"""What an optician meets on the page: names, sizes, words, keys; without JupyterLab."""

import pytest

from optics import Mounted, Power, SingleVision, Spectacles
from optics.widgets import front_end
from optics.widgets.focimeter.bench import Bench

CONTROLS = "input, button"


def unfold(page):
    """Open what is folded away until it is wanted."""
    for fold in page.locator(".optics-bench-fold > summary").all():
        fold.click()


@pytest.fixture
def bench():
    right = SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15))
    left = SingleVision(power=Power.from_sphere_cylinder(+1.50, -1.25, 100))
    return Bench(Spectacles(right=Mounted(lens=right), left=Mounted(lens=left)), seed=2)


def test_every_control_has_a_name_and_can_be_hit(page, show_bench, bench):
    show_bench(page, bench)
    unfold(page)
    controls = page.locator(".optics-bench").locator(CONTROLS).all()
    assert len(controls) == 43
    for control in controls:
        name = control.evaluate(
            "c => c.getAttribute('aria-label') || c.labels?.[0]?.textContent || c.textContent"
        )
        assert name and name.strip(), control.evaluate("c => c.outerHTML")
        box = control.evaluate(
            "c => { const b = (c.labels?.[0] ?? c).getBoundingClientRect(); return [b.width, b.height] }"
        )
        assert min(box) >= 24, (name, box)


LAID_OVER = """() => {
  const told = [...document.querySelectorAll(".optics-bench .optics-value")];
  const pressed = [...document.querySelectorAll(".optics-bench button")].map((b) => [b, b.getBoundingClientRect()]);
  const met = told.flatMap((value) => {
    const a = value.getBoundingClientRect();
    const over = ([, b]) => a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 && b.top < a.bottom - 1;
    return pressed.filter(over).map(([b]) => `${b.getAttribute("aria-label")} over ${value.textContent}`);
  });
  return [told.length, met];
}"""


def test_no_button_lies_over_a_value_beside_another_panel(page, show_bench, bench):
    """On the open bench ticket and tray bring the common rules of style once more, after the bench's own."""
    page.set_viewport_size({"width": 950, "height": 700})
    show_bench(page, bench)
    page.add_style_tag(content=front_end("controls.css"))
    unfold(page)
    values, met = page.evaluate(LAID_OVER)
    assert values >= 4 and met == []


def test_a_chapter_shows_only_what_it_has_introduced(page, show_bench, bench):
    show_bench(page, bench)
    whole = page.locator(".optics-bench-part, .optics-bench-fold").all_inner_texts()
    assert [text.split("\n")[0] for text in whole[1:]] == [
        "Power drum",
        "Stage: move the pair",
        "Prism compensator",
        "Pad",
        "Side against the stop",
        "Dot",
        "Keep my moves",
    ]
    show_bench(page, Bench(bench._spectacles, parts=("wheel",)))
    few = page.locator(".optics-bench").get_by_role("slider").all()
    assert [each.get_attribute("aria-label") for each in few] == [
        "Axis wheel, degrees",
        "Power drum, coarse",
        "Power drum, fine",
    ]
    assert (
        page.locator(".optics-bench-words").inner_text()
        == "Drum 0.00 D, wheel 180, right lens over the stop."
    )


@pytest.mark.parametrize("size", [(900, 560), (860, 560)])
def test_everything_stands_on_one_screen(page, show_bench, bench, size):
    # What JupyterLab leaves a cell at 1366 x 768 with its side bar open.
    page.set_viewport_size({"width": size[0], "height": size[1]})
    bench._readings = [
        {"eye": "R", "against": "back", "lines": lines, "drum": -2.25, "wheel": 15.0}
        for lines in ("sphere", "cylinder") * 4
    ]
    show_bench(page, bench)
    box = page.locator(".optics-bench").bounding_box()
    assert box["y"] + box["height"] <= size[1]
    for name in (".optics-bench-sight", ".optics-stage", ".optics-pad-list", "text=Save the readings"):
        box = page.locator(name).bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] <= size[1], name
        assert box["x"] >= 0 and box["x"] + box["width"] <= size[0], name


def drag(page, face, by, steps=4, at=(0.5, 0.5)):
    """Take hold of a part at a place of its face, drag it by so many pixels, and let go."""
    box = page.locator(face).bounding_box()
    x, y = box["x"] + at[0] * box["width"], box["y"] + at[1] * box["height"]
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by[0], y + by[1], steps=steps)
    page.mouse.up()


def get(page, trait):
    return page.evaluate("name => model.get(name)", trait)


def test_the_drum_is_dragged_coarse_and_then_fine_without_a_dead_end(page, show_bench, bench):
    show_bench(page, bench)
    drag(page, ".optics-bench-scale >> nth=0", (60, 0))
    coarse = get(page, "drum")
    assert -8 < coarse < -3
    for _ in range(3):  # far beyond a quarter, in one direction
        drag(page, ".optics-bench-scale >> nth=1", (50, 0))
    fine = get(page, "drum")
    assert coarse - 3.0 < fine < coarse - 0.9
    drag(page, ".optics-bench-scale >> nth=1", (1, 0), steps=1)
    assert 0 < fine - get(page, "drum") < 0.03


def test_the_ring_turns_as_the_axis_wheel(page, show_bench, bench):
    show_bench(page, bench)
    box = page.locator(".optics-ring").bounding_box()
    radius = 0.39 * box["width"]
    # From the right of the ring to its top: a quarter turn anticlockwise.
    drag(page, ".optics-ring", (-radius, -radius), steps=12, at=(0.89, 0.5))
    assert get(page, "wheel") == pytest.approx(90, abs=3)


def test_the_ring_is_taken_hold_of_anywhere(page, show_bench, bench):
    show_bench(page, bench)
    box = page.locator(".optics-ring").bounding_box()
    met = page.evaluate(
        """([x, y, r]) => [...Array(24).keys()].map((k) => (k * Math.PI) / 12).filter(
        (at) => !document.elementFromPoint(x + r * Math.cos(at), y - r * Math.sin(at)).closest(".optics-ring")).length""",
        [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, 0.38 * box["width"]],
    )
    assert met == 0


def test_the_pair_is_dragged_over_the_stop_and_across_the_bridge(page, show_bench, bench):
    show_bench(page, bench)
    x, y = bench.stage_x_mm, bench.stage_y_mm
    wide = page.locator(".optics-stage").bounding_box()["width"]
    drag(page, ".optics-stage", (wide * 6 / 120, -wide * 3 / 120))
    assert get(page, "stage_x_mm") == pytest.approx(x - 6, abs=0.5)
    assert get(page, "stage_y_mm") == pytest.approx(y - 3, abs=0.5)
    drag(page, ".optics-stage", (-wide * 0.48, 0), at=(0.9, 0.5))
    assert get(page, "lens") == "L"


def test_the_mouse_wheel_turns_what_it_is_over_once_the_bench_is_in_hand(page, show_bench, bench):
    show_bench(page, bench)
    page.hover(".optics-bench-scale >> nth=0")
    page.mouse.wheel(0, -100)
    page.wait_for_timeout(100)
    assert get(page, "drum") == 0
    page.get_by_label("Power drum, coarse").focus()
    page.mouse.wheel(0, -100)
    page.wait_for_function("() => model.get('drum') === 0.25")


def test_a_locked_height_is_kept(page, show_bench, bench):
    show_bench(page, bench)
    page.get_by_label("Lock the height").check()
    before = get(page, "stage_y_mm")
    drag(page, ".optics-stage", (10, 30))
    assert get(page, "stage_y_mm") == before
    assert get(page, "height_locked") is True


def test_the_pair_is_laid_aside_and_back(page, show_bench, bench, seen):
    show_bench(page, bench)
    page.get_by_label("Eyepiece dial").focus()
    laid = seen(page)
    page.get_by_role("button", name="Lay the pair aside").click()
    page.wait_for_timeout(200)
    empty = seen(page)
    assert abs(empty - laid).max() > 0.2
    assert "the pair laid aside" in page.locator(".optics-bench-words").inner_text()
    assert page.get_by_role("button", name="Note a reading of the sphere lines").is_disabled()
    page.get_by_role("button", name="Lay the pair back").click()
    page.wait_for_timeout(200)
    assert abs(seen(page) - laid).max() < 0.01


def test_one_press_notes_a_reading_and_repeats_stand_together(page, show_bench, bench):
    show_bench(page, bench)
    pad = page.locator(".optics-pad-list")
    for drum, lines in ((-2.25, "sphere"), (-3.0, "cylinder"), (-2.31, "sphere")):
        page.evaluate("drum => model.tell({ drum, wheel: 15 })", drum)
        page.get_by_role("button", name=f"Note a reading of the {lines} lines").click()
    told = pad.inner_text().replace("\t", " ").split("\n")
    assert [line for line in told if line.strip()] == [
        "R, sphere lines",
        "-2.25 D 015°",
        "-2.31 D 015°",
        "mean -2.28 D, spread 0.06 D",
        "R, cylinder lines",
        "-3.00 D 015°",
    ]
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the readings").click()
    rows = saved.value.path().read_text().splitlines()
    assert rows[1:] == [
        "R,back,sphere lines,-2.25,15",
        "R,back,cylinder lines,-3.00,15",
        "R,back,sphere lines,-2.31,15",
    ]
    page.get_by_role("button", name="Strike out the last").click()
    assert "-2.31" not in pad.inner_text()


def test_words_say_how_it_stands(page, show_bench, bench):
    show_bench(page, bench)
    page.evaluate("() => model.tell({ drum: -2.12, wheel: 30 })")
    words = page.locator(".optics-bench-words")
    expected = "Drum -2.12 D, wheel 030, eyepiece 0.00 D, right lens over the stop, back against it."
    assert words.inner_text() == expected
    page.wait_for_timeout(1000)
    assert page.locator(".optics-aloud").inner_text().startswith("Drum minus 2.12 D, wheel 030")
    assert "Drum minus 2.12 D" in page.locator("canvas").get_attribute("aria-label")
    page.evaluate("() => model.tell({ compensator: 2.5, compensator_base: 90 })")
    assert "eyepiece 0.00 D, compensator 2.50 base up, right lens" in words.inner_text()
    page.wait_for_timeout(1000)
    assert "compensator 2.50 base up" in page.locator(".optics-aloud").inner_text()


@pytest.mark.sampled(3)
@pytest.mark.parametrize(
    ("name", "keys", "trait", "expected"),
    [
        ("Eyepiece dial", ["ArrowRight"] * 3, "eyepiece", 0.75),
        ("Eyepiece dial", ["Home"], "eyepiece", -5),
        ("Eyepiece dial", ["End"], "eyepiece", 5),
        ("Power drum, coarse", ["ArrowLeft"] * 5, "drum", -1.25),
        ("Power drum, coarse", ["Home"], "drum", -25),
        ("Power drum, coarse", ["End"], "drum", 25),
        ("Power drum, fine", ["ArrowRight"] * 7, "drum", 0.07),
        ("Power drum, fine", ["PageDown"] * 9, "drum", -0.45),
        ("Axis wheel, degrees", ["Home"], "wheel", 1),
        ("Axis wheel, degrees", ["Home", *["ArrowRight"] * 14], "wheel", 15),
        ("Axis wheel, degrees", ["Home", "ArrowLeft"], "wheel", 180),
        ("Wheel on by 5 degrees", ["Space"], "wheel", 5),
        ("Wheel back by 1 degrees", ["Space"], "wheel", 179),
        ("Pair left or right", ["Home"], "stage_x_mm", -10),
        ("Pair left or right", ["End"], "stage_x_mm", -55),
        ("Pair down or up", ["Home"], "stage_y_mm", 20),
        ("Pair down or up", ["End"], "stage_y_mm", -20),
        ("Prism compensator, amount", ["ArrowRight"] * 6, "compensator", 1.5),
        ("Prism compensator, amount", ["End"], "compensator", 15),
        ("Prism compensator, base", ["ArrowRight"] * 3, "compensator_base", 3),
        ("Prism compensator, base", ["End"], "compensator_base", 359),
    ],
)
def test_keys_move_what_they_say(page, show_bench, bench, name, keys, trait, expected):
    show_bench(page, bench)
    unfold(page)
    page.get_by_label(name).focus()
    for key in keys:
        page.keyboard.press(key)
    assert page.evaluate("name => model.get(name)", trait) == pytest.approx(expected)
    assert page.evaluate("() => model.saved") == len(keys)


def test_coarse_and_fine_add_up(page, show_bench, bench):
    show_bench(page, bench)
    for name, keys in (
        ("coarse", ["ArrowLeft"] * 8),
        ("fine", ["ArrowLeft"] * 12),
        ("coarse", ["ArrowLeft"]),
    ):
        page.get_by_label(f"Power drum, {name}").focus()
        for key in keys:
            page.keyboard.press(key)
    assert page.evaluate("() => model.get('drum')") == pytest.approx(-2.37)
    assert page.get_by_label("Power drum, fine").get_attribute("aria-valuetext") == "-2.37 D"


def test_pair_moved_right_brings_the_stop_left_on_it_and_the_other_way_when_turned_over(
    page, show_bench, bench
):
    show_bench(page, bench)
    before = page.evaluate("() => model.get('stage_x_mm')")
    page.get_by_label("Pair left or right").focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate("() => model.get('stage_x_mm')") == pytest.approx(before - 0.5)
    unfold(page)
    page.get_by_label("Front (convex) side").press("Space")
    page.get_by_label("Pair left or right").focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate("() => model.get('stage_x_mm')") == pytest.approx(before)


def test_dots_keep_the_place_of_each_lens(page, show_bench, bench):
    show_bench(page, bench)
    unfold(page)
    page.get_by_role("button", name="Dot the point over the stop").press("Enter")
    x, y = bench.stage_x_mm, bench.stage_y_mm
    assert page.evaluate("() => model.get('dots')") == {"R": [x, y]}
    page.get_by_role("button", name="Wipe off the dots").press("Enter")
    assert page.evaluate("() => model.get('dots')") == {}


def test_a_kernel_that_does_not_answer_is_mentioned_and_then_forgotten(page, show_bench, bench):
    show_bench(page, bench)
    page.get_by_label("Pair down or up").press("ArrowRight")
    notice = page.locator(".optics-notice")
    assert notice.inner_text() == ""
    page.wait_for_timeout(2300)
    assert "Run this cell again".lower() in notice.inner_text().lower()
    bench.stage_y_mm = page.evaluate("() => model.get('stage_y_mm')")
    page.evaluate("met => model.tell({ _met: met })", bench._met)
    assert notice.inner_text() == ""


@pytest.mark.parametrize("width", [320, 480, 640, 1000])
def test_nothing_is_cut_off_at_any_width(page, show_bench, bench, width):
    # A 1280 pixel screen at 200 % leaves 640, at 400 % 320.
    page.set_viewport_size({"width": width, "height": 800})
    show_bench(page, bench)
    unfold(page)
    assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    out = page.evaluate(
        """() => [...document.querySelectorAll('.optics-bench :is(button, label, p, summary, .optics-bench-head, .optics-bench-name, output)')]
            .filter((e) => !e.classList.contains('optics-aloud') && e.scrollWidth > e.clientWidth + 1 && e.clientWidth)
            .map((e) => e.textContent)"""
    )
    assert out == []


def test_colours_can_be_read_in_light_and_dark(page, show_bench, bench):
    for scheme, least in (("light", 7.0), ("dark", 7.0)):
        page.emulate_media(color_scheme=scheme)
        show_bench(page, bench)
        page.add_style_tag(content=f":root {{ color-scheme: {scheme} }}")
        ratio = page.evaluate(
            """() => {
                const lit = (colour) => {
                    const [r, g, b] = colour.match(/[\\d.]+/g).map((v) => v / 255)
                        .map((v) => (v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
                    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
                };
                const page = document.createElement('div');
                page.style.background = 'Canvas';
                document.body.append(page);
                const back = lit(getComputedStyle(page).backgroundColor);
                const ink = lit(getComputedStyle(document.querySelector('.optics-bench-words')).color);
                return (Math.max(back, ink) + 0.05) / (Math.min(back, ink) + 0.05);
            }"""
        )
        assert ratio >= least, (scheme, ratio)


def test_closing_leaves_nothing_listening(page, show_bench, bench):
    show_bench(page, bench)
    page.evaluate("() => window.close_bench()")
    assert page.evaluate("() => model.heard.length") == 0
