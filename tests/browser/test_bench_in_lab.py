"""The bench in a real JupyterLab: read by keyboard and eye alone, restarted, shown twice."""

import numpy as np
import pytest

from optics.instrument.focimeter import FIELD
from optics.instrument.reader import sharpness
from optics.lens.angles import axis_difference
from optics.lens.power import Power

PAIR = """
from optics import Mounted, Power, SingleVision, Spectacles
from optics.widgets.focimeter.bench import Bench
right = SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15))
left = SingleVision(power=Power.from_sphere_cylinder(+1.50, -1.25, 100))
pair = Spectacles(right=Mounted(lens=right, pd_mm=31.0), left=Mounted(lens=left, pd_mm=32.5))
bench = Bench(pair, seed=4)
bench
"""
SAY = "print(bench.lens, bench.drum, bench.wheel, bench.eyepiece == bench._eye_setting, bench.dots)"


@pytest.fixture
def in_lab(page, lab, request):
    """Give a function that opens a notebook with these cells and runs it."""

    def run(*cells):
        name = f"{request.node.originalname}.ipynb"
        lab.put(name, list(cells))
        lab.open(page, name)
        lab.run_all(page)
        page.wait_for_selector(".optics-bench[data-drawn]", timeout=60_000)
        return page

    return run


class Operator:
    """Hands on the keyboard and an eye on the screen; knows nothing of the lens."""

    def __init__(self, page, seen):
        self.page, self.seen, self.patience = page, seen, 0.0

    def tab_to(self, name):
        """Press Tab until the control with this name has the focus."""
        # The page's own controls come first, so look at both directions.
        for key in ["Tab"] * 45 + ["Shift+Tab"] * 90:
            at = self.page.evaluate(
                "() => document.activeElement.getAttribute('aria-label')"
                " || document.activeElement.labels?.[0]?.textContent || document.activeElement.textContent"
            )
            if at.startswith(name):
                return
            self.page.keyboard.press(key)
        pytest.fail(f"the keyboard never reaches {name!r}")

    def picture(self):
        """The picture once it shows the last key press."""
        self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        self.page.wait_for_timeout(1000 * self.patience)
        return self.seen(self.page)

    def best(self, name, key, back, presses, judge, give_up=99):
        """Press a key so many times, or until it only gets worse; then go back to the best."""
        self.tab_to(name)
        values = [judge(self.picture())]
        while len(values) <= presses and len(values) - np.argmax(values) <= give_up:
            self.page.keyboard.press(key)
            values.append(judge(self.picture()))
        for _ in range(len(values) - 1 - int(np.argmax(values))):
            self.page.keyboard.press(back)

    def words(self):
        return self.page.locator(".optics-bench-words").inner_text()

    def drum_and_wheel(self):
        parts = self.words().split()
        return float(parts[1]), int(parts[4].rstrip(","))


def reticle(picture):
    """How sharp the reticle is: steepness straight down, right of the middle, where no line crosses."""
    size = picture.shape[0]
    return float(np.sum(np.diff(picture[: size // 4, size // 3 : size // 2], axis=0) ** 2))


@pytest.mark.thorough
def test_a_lens_is_read_by_keyboard_and_eye_alone(in_lab, lab, seen, tmp_path):
    page = in_lab(PAIR, SAY)
    operator = Operator(page, seen)
    page.locator(".jp-Cell").first.focus()

    # Eyepiece first: rack it out, then in, until the reticle is sharp.
    operator.tab_to("Eyepiece dial")
    page.keyboard.press("Home")
    operator.best("Eyepiece dial", "ArrowRight", "ArrowLeft", 40, reticle)

    def across(lines):
        def judge(picture):
            wheel = operator.drum_and_wheel()[1]
            return sharpness(picture, wheel + (90 if lines == "cylinder" else 0), FIELD)

        return judge

    def drum_to(lines):
        for key, back in (("ArrowRight", "ArrowLeft"), ("ArrowLeft", "ArrowRight")):
            operator.best("Power drum, coarse", key, back, 20, across(lines))
        operator.tab_to("Power drum, fine")
        for _ in range(6):
            page.keyboard.press("PageDown")
        operator.best("Power drum, fine", "ArrowRight", "ArrowLeft", 60, across(lines))
        return operator.drum_and_wheel()[0]

    # Lines sharp, then unbroken, then both sets in turn.
    drum_to("sphere")
    seen_at = []
    operator.tab_to("Wheel on by 5 degrees")
    for _ in range(36):
        page.keyboard.press("Space")
        seen_at.append((across("sphere")(operator.picture()), operator.drum_and_wheel()[1]))
    best_wheel = max(seen_at)[1]
    while operator.drum_and_wheel()[1] != best_wheel:
        page.keyboard.press("Space")
    operator.tab_to("Axis wheel")
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    operator.best("Axis wheel", "ArrowRight", "ArrowLeft", 10, across("sphere"))
    sphere_lines, wheel = drum_to("sphere"), operator.drum_and_wheel()[1]

    # Centre the crossing and dot it, while the sphere lines are sharp.
    def off_centre(side):
        def judge(picture):
            light = np.clip(picture**2 - 0.15, 0, None)
            places = np.linspace(-1, 1, picture.shape[0])
            return -abs(float((light.sum(axis=side) * places).sum() / light.sum()))

        return judge

    for name, side in (("Pair left or right", 0), ("Pair down or up", 1)) * 2:
        operator.patience = 0.15
        for key, back in (("ArrowRight", "ArrowLeft"), ("ArrowLeft", "ArrowRight")):
            operator.best(name, key, back, 12, off_centre(side), give_up=2)
    operator.patience = 0.0
    operator.tab_to("Dot")
    page.keyboard.press("Enter")
    operator.tab_to("Dot the point")
    page.keyboard.press("Enter")

    cylinder_lines = drum_to("cylinder")
    found = Power.from_sphere_cylinder(sphere_lines, cylinder_lines - sphere_lines, wheel)
    higher, axis, lower, _ = found.principal()
    assert (higher, lower) == pytest.approx((-2.25, -3.00), abs=0.06)
    assert axis_difference(axis, 15) <= 5
    page.screenshot(path=tmp_path / "read.png")

    # The kernel knows it all.
    lab.run_cell(page, 1)
    told = printed(page)
    assert told.startswith(f"R {operator.drum_and_wheel()[0]} {wheel}.0 True")
    x_mm, y_mm = (float(number.strip("[]{},")) for number in told.split("'R': ")[1].split(","))
    assert (x_mm, y_mm) == pytest.approx((-31.0, 0.0), abs=0.6)


def printed(page):
    output = page.locator(".jp-OutputArea-output pre").last
    output.wait_for(timeout=60_000)
    page.wait_for_timeout(500)
    return output.inner_text().strip()


def middle_of_light(picture):
    light = np.clip(picture**2 - 0.12, 0, None)
    places = np.linspace(-FIELD, FIELD, picture.shape[0])
    return (
        float((light.sum(0) * places).sum() / light.sum()),
        -float((light.sum(1) * places).sum() / light.sum()),
    )


@pytest.mark.sampled(2)
@pytest.mark.parametrize(("eye", "drum", "way"), [("R", -2.6, -1), ("L", 0.9, +1)], ids=["minus", "plus"])
def test_the_target_moves_with_a_plus_lens_and_against_a_minus_lens(in_lab, seen, eye, drum, way):
    show = f"bench.lens = {eye!r}; bench.drum = {drum}; bench.eyepiece = bench._eye_setting"
    page = in_lab(PAIR, show)
    page.wait_for_timeout(1500)
    before = middle_of_light(seen(page))
    for _ in range(6):
        page.get_by_label("Pair left or right").press("ArrowRight")
    for _ in range(4):
        page.get_by_label("Pair down or up").press("ArrowRight")
    page.wait_for_timeout(1000)
    after = middle_of_light(seen(page))
    assert np.sign(after[0] - before[0]) == way and abs(after[0] - before[0]) > 0.02
    assert np.sign(after[1] - before[1]) == way and abs(after[1] - before[1]) > 0.05
    assert page.locator(".optics-notice").inner_text() == ""


@pytest.mark.thorough
def test_two_benches_and_one_shown_twice_keep_apart(in_lab):
    other = PAIR.replace("bench = ", "second = ").replace("\nbench\n", "\nsecond\n")
    page = in_lab(PAIR, other, "bench")
    page.wait_for_function("() => document.querySelectorAll('.optics-bench[data-drawn]').length === 3")
    words = page.locator(".optics-bench-words")
    page.get_by_label("Power drum, coarse").nth(0).press("ArrowLeft")
    page.get_by_label("Left lens").nth(1).check()
    page.wait_for_timeout(1000)
    told = words.all_inner_texts()
    assert told[0] == told[2] and told[0].startswith("Drum -0.25 D") and "right lens" in told[0]
    assert told[1].startswith("Drum 0.00 D") and "left lens" in told[1]


@pytest.mark.thorough
def test_a_restart_is_told_and_running_again_leaves_one_picture(in_lab, lab):
    page = in_lab(PAIR)
    lab.restart(page)
    page.wait_for_timeout(1500)
    page.get_by_label("Pair down or up").press("ArrowRight")
    page.get_by_label("Power drum, coarse").press("ArrowLeft")
    notice = page.locator(".optics-notice")
    notice.filter(has_text="run this cell again").wait_for(timeout=60_000)
    assert "Drum -0.25 D" in page.locator(".optics-bench-words").inner_text(), "the drum still answers"
    lab.run_all(page)
    page.wait_for_function(
        "() => document.querySelector('.optics-bench-words')?.textContent.startsWith('Drum 0.00')",
        timeout=60_000,
    )
    assert page.locator(".optics-bench").count() == 1
    page.get_by_label("Pair down or up").press("ArrowRight")
    page.wait_for_timeout(2500)
    assert notice.inner_text() == ""
