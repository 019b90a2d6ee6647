"""What an optician meets on the page: names, sizes, words, keys; without JupyterLab."""

import pytest

from optics import Mounted, Power, SingleVision, Spectacles
from optics.widgets.focimeter.bench import Bench

CONTROLS = "input, button"


@pytest.fixture
def bench():
    right = SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15))
    left = SingleVision(power=Power.from_sphere_cylinder(+1.50, -1.25, 100))
    return Bench(Spectacles(right=Mounted(lens=right), left=Mounted(lens=left)), seed=2)


def test_every_control_has_a_name_and_can_be_hit(page, show_bench, bench):
    show_bench(page, bench)
    controls = page.locator(".optics-bench").locator(CONTROLS).all()
    assert len(controls) == 18
    for control in controls:
        name = control.evaluate(
            "c => c.getAttribute('aria-label') || c.labels?.[0]?.textContent || c.textContent"
        )
        assert name and name.strip(), control.evaluate("c => c.outerHTML")
        box = control.evaluate(
            "c => { const b = (c.labels?.[0] ?? c).getBoundingClientRect(); return [b.width, b.height] }"
        )
        assert min(box) >= 24, (name, box)


def test_controls_stand_in_the_order_of_the_work(page, show_bench, bench):
    show_bench(page, bench)
    titles = page.locator(".optics-step-title").all_inner_texts()
    assert [title.split("\n")[-1].lstrip("12345678 ") for title in titles] == [
        "Lens",
        "Eyepiece",
        "Power drum",
        "Axis wheel",
        "Stage: move the pair",
        "Prism compensator",
        "Side against the stop",
        "Dot",
    ]


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
    assert "eyepiece 0.00 D, compensator 2.50 base at 090 up, right lens" in words.inner_text()
    page.wait_for_timeout(1000)
    assert "compensator 2.50 base at 090 up" in page.locator(".optics-aloud").inner_text()


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
        ("Power drum, fine", ["End"], "drum", 0.3),
        ("Axis wheel, degrees", ["Home"], "wheel", 1),
        ("Axis wheel, degrees", ["Home", *["ArrowRight"] * 14], "wheel", 15),
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
    page.get_by_label("Front (convex) side").press("Space")
    page.get_by_label("Pair left or right").focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate("() => model.get('stage_x_mm')") == pytest.approx(before)


def test_dots_keep_the_place_of_each_lens(page, show_bench, bench):
    show_bench(page, bench)
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
    assert page.evaluate("() => document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    out = page.evaluate(
        """() => [...document.querySelectorAll('.optics-bench :is(button, label, p, .optics-step-title, output)')]
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
