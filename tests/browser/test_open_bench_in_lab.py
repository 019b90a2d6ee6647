"""Apprentices at the open bench in a real JupyterLab, through what can be seen and pressed alone.

Every hand that moves tray, bench and ticket is a visible control. The powers and the
additions are read off the picture on the screen, by the reader that knows nothing
of the lens, the centres off the bench's own rule, the heights off the tray's. Only
where to put the stage without marks comes from the replay of the same pair, made
here again from its number.
"""

import re

import numpy as np
import pytest
from rule_on_the_tray import height_by_the_rule

from optics import read_lens, settle
from optics.apprentices.replaying import replay
from optics.instrument.focimeter import FIELD
from optics.instrument.reader import sharpness
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import make
from optics.widgets.open_bench.open_bench import brief_of

LABELS = {
    "add": "Add",
    "prism": "Prism and base",
    "pd": "PD, mm",
    "height": "Height, mm",
}


class Apprentice:
    """Hands for tray, bench and ticket."""

    def __init__(self, page, seen):
        self.page, self.seen = page, seen

    def slide(self, name, value):
        """Put a slider where it is wanted, as a hand that lets go of it there."""
        slider = self.page.get_by_label(name, exact=True)
        assert slider.is_visible() and slider.is_enabled()
        slider.fill(str(value))

    def press(self, name):
        self.page.get_by_role("button", name=name, exact=True).click()

    def look_over(self, pair, mark_up, chart=None):
        for name, hand in (("smeared", "Wipe the lenses"), ("bent", "True the frame")):
            if any((name == "smeared") == (each.name == "smeared") for each in pair.conditions):
                self.press(hand)
        if mark_up:
            self.page.get_by_label("Tilted to the light").check()
            for eye in "RL":
                self.lay_the_chart(eye, chart)
            self.page.wait_for_selector("button:has-text('Near circle'):not([disabled])")

    def lay_the_chart(self, eye, chart=None):
        """Choose a chart, by the engraved sign if at all, lay its circles over the rings as drawn, and ink."""
        tray, side = self.page.locator(".optics-pair-picture").first, {"R": "right", "L": "left"}[eye]
        signs = tray.locator("text.optics-pair-engraved").filter(has_text=re.compile("Hb"))
        self.page.get_by_label(f"Chart {chart or signs.first.text_content()}", exact=True).check()
        self.page.get_by_label(f"Under the {side} lens", exact=True).check()
        self.slide("Chart turned, degrees anticlockwise", 0)
        for hand in ("Chart left or right", "Chart down or up"):
            self.slide(hand, 0)
        self.page.wait_for_timeout(300)  # the tray asks the kernel
        x, y = tray.evaluate(
            """(svg, left) => {
              const middle = (path) => { const b = path.getBBox(); return [b.x + b.width / 2, b.y + b.height / 2]; };
              const mean = (ends) => [0, 1].map((k) => (ends[0][k] + ends[1][k]) / 2);
              const rings = [...svg.querySelectorAll("path.optics-pair-engraved")].map(middle).sort((a, b) => a[0] - b[0]);
              const ring = mean(left ? rings.slice(0, 2) : rings.slice(-2));
              const circles = svg.querySelector(".optics-pair-paper").parentNode.getCTM();
              const origin = new DOMPoint(0, 0).matrixTransform(svg.getCTM().inverse().multiply(circles));
              return [ring[0] - origin.x, origin.y - ring[1]];
            }""",
            eye == "R",
        )
        self.slide("Chart left or right", round(2 * x) / 2)
        self.slide("Chart down or up", round(2 * y) / 2)
        self.press("Ink this lens")
        self.page.get_by_text(f"The {side} lens is inked").wait_for()

    def set_eyepiece(self):
        """Rack it out, then in to where the reticle is sharpest."""

        def rings(dial):
            whole = self.seen(self.page, [("Eyepiece dial, dioptres at the eye", dial)])
            size = whole.shape[0]
            return float(np.sum(np.diff(whole[: size // 4, size // 3 : size // 2], axis=0) ** 2))

        best = max(np.arange(-5.0, 5.25, 0.25), key=rings)
        self.slide("Eyepiece dial, dioptres at the eye", best)

    def look(self, drum, wheel):
        """What drum and wheel show, in a small picture."""
        hands = [("Power drum, fine", round(drum, 2)), ("Axis wheel, degrees", round(wheel) or 180)]
        return self.seen(self.page, hands, largest=128)

    def lens_over_stop(self):
        """Turn drum and wheel until the lines say what lies over the stop."""
        return read_lens(self.look, half_width=FIELD)

    def sphere_lines(self, wheel, around):
        """Turn the drum alone to where the sphere lines are sharpest, first roughly and then closely."""
        for reach, step in ((3.0, 0.25), (0.2, 0.05)):
            places = np.arange(around + reach, around - reach - step / 2, -step)
            around = max(places, key=lambda drum: sharpness(self.look(drum, wheel), wheel, FIELD))
        return around

    def lay(self, eye, against, stage_mm=None):
        """Choose the lens and the side against the stop, and bring a point over the stop."""
        self.page.get_by_label("Right lens" if eye == "R" else "Left lens", exact=True).check()
        self.page.get_by_label(
            {"back": "Back (concave) side", "front": "Front (convex) side"}[against]
        ).check()
        if stage_mm is not None:
            sideways = -1 if against == "back" else 1
            across = "Pair left or right; distance of the stop from the middle of the bridge"
            self.slide(across, sideways * round(stage_mm[0] * 2) / 2)
            upward = "Pair down or up; height of the stop from the datum line"
            self.slide(upward, -round(stage_mm[1] * 2) / 2)
            self.page.wait_for_timeout(300)  # the stage asks the kernel

    def read(self, pair, mark_up):
        """Go through the steps of the right way with one's own hands; what was read, by lens and step."""
        found = {}
        for fold in self.page.locator(".optics-bench-fold > summary").all():
            fold.click()
        self.set_eyepiece()
        for step in replay(pair):
            if step.stage_mm is None or step.reads == "cylinder lines":
                continue
            self.lay(step.eye, step.against, None if mark_up else step.stage_mm)
            if mark_up:
                mark = {"crossing": "Prism reference point", "near": "Near circle"}
                self.press(mark.get(step.reads, "Distance circle"))
            self.page.wait_for_timeout(300)  # the stage asks the kernel
            if step.reads == "crossing":
                self.press("Dot the point over the stop")
            elif step.reads == "sphere lines":
                found[step.eye, step.reads] = self.lens_over_stop()
            else:
                # For the addition the same lines are read twice, the wheel left where it stands.
                lens = found[step.eye, "sphere lines"]
                found[step.eye, step.reads] = self.sphere_lines(lens.wheel, lens.sphere_lines)
        return found

    def write(self, ticket):
        page = self.page
        page.get_by_label("Lens style", exact=True).select_option(ticket["style"])
        for side in ("right", "left"):
            lens = f"{side.capitalize()} lens"
            parts = re.fullmatch(r"(\S+) (\S+)(?: x (\S+))?", ticket[side]).groups()
            for label, text in zip(("Sphere", "Cylinder", "Axis"), parts, strict=True):
                page.get_by_label(f"{lens}, {label}", exact=True).fill(text or "")
            for what, label in LABELS.items():
                if f"{what}_{side}" in ticket:
                    page.get_by_label(f"{lens}, {label}", exact=True).fill(ticket[f"{what}_{side}"])
        page.get_by_label("Remarks", exact=True).fill("read on the open bench")

    def ask(self):
        self.page.wait_for_timeout(900)  # the ticket is read a moment after the last letter
        self.press("How did I do")
        told = self.page.locator("p:has-text('right'), p:has-text('Right')").filter(
            has_text=re.compile("everything on this ticket|Look again at|cannot be read")
        )
        told.first.wait_for(timeout=60_000)
        return told.first.locator("xpath=..").inner_text()


@pytest.fixture
def at_the_bench(page, lab, seen, request, tmp_path):
    """Give a function that lays a pair of this style on the open bench."""

    def sit(style, seed):
        name = re.sub(r"\W+", "-", request.node.name) + ".ipynb"
        options = f"style={style!r}, difficulty=3, seed={seed}, folder={str(tmp_path)!r}"
        lab.put(name, ["from optics.lesson import *", f"open_bench({options})"])
        page.set_viewport_size({"width": 1280, "height": 1000})
        lab.open(page, name)
        lab.run_all(page)
        for panel in ("pair", "bench", "ticket"):
            page.wait_for_selector(f".optics-{panel}[data-drawn]", timeout=60_000)
        return Apprentice(page, seen), make(brief_of(style, 3, seed), seed)

    return sit


LINE = {"bifocal": "line", "progressive": "fitting cross"}


def own_ticket(page, style, found, dotted):
    """The ticket from what was read and measured, and from nothing else."""
    ticket = {"style": style}
    for eye, side in (("R", "right"), ("L", "left")):
        ticket[side] = str(settle(found[eye, "sphere lines"].power).choice)
        pd_mm = float(re.search(rf"{side} dot ([\d.]+) mm", dotted, re.IGNORECASE)[1])
        ticket[f"pd_{side}"] = f"{pd_mm:g}"
        if style in LINE:
            gain = found[eye, "near"] - found[eye, "distance again"]
            ticket[f"add_{side}"] = f"+{round(gain * 4) / 4:.2f}"
            ticket[f"height_{side}"] = f"{height_by_the_rule(page, eye, pd_mm, LINE[style]):g}"
    return ticket


@pytest.mark.parametrize(
    "style",
    [
        "single vision",
        *(pytest.param(each, marks=pytest.mark.thorough) for each in ("bifocal", "progressive")),
    ],
)
def test_an_apprentice_reads_a_pair_and_is_told_it_is_right(at_the_bench, page, style, tmp_path):
    apprentice, pair = at_the_bench(style, 11)
    marked = style == "progressive"
    apprentice.look_over(pair, mark_up=marked)
    found = apprentice.read(pair, mark_up=marked)
    # The rule between the dots says what was ground, to the half millimetre of the stage.
    dotted = page.locator(".optics-bench-dotted").filter(has_text="Between the dots").inner_text()
    between = float(re.search(r"Between the dots: ([\d.]+) mm", dotted)[1])
    assert between == pytest.approx(pair.pd_mm("R") + pair.pd_mm("L"), abs=0.8)
    apprentice.write(own_ticket(page, style, found, dotted))
    told = apprentice.ask()
    assert "Right: everything on this ticket that is marked is what the pair is" in told
    steps = replay(pair)
    for number, _ in enumerate(steps, 1):
        page.get_by_role("button", name="Next", exact=True).click()
        page.get_by_text(f"Step {number} of {len(steps)}.").wait_for()
    assert page.get_by_role("button", name="Next", exact=True).is_disabled()
    page.get_by_role("button", name="Back", exact=True).click()
    page.get_by_text(f"Step {len(steps) - 1} of {len(steps)}.").wait_for()


@pytest.mark.thorough
def test_a_progressive_read_without_marks_is_told_its_habit(at_the_bench, page):
    apprentice, pair = at_the_bench("progressive", 11)
    assert page.get_by_role("button", name="Distance circle").is_disabled()
    ticket = right_ticket(pair)
    # The distance powers are what the bench shows in the middle of each rim.
    apprentice.set_eyepiece()
    for eye, side in (("R", "right"), ("L", "left")):
        middle = pair.frame.boxing_centre_mm(eye)
        apprentice.lay(eye, "back", middle)
        ticket[side] = str(settle(apprentice.lens_over_stop().power).choice)
    apprentice.write(ticket)
    told = apprentice.ask()
    assert "Look again at" in told and "progressive read unmarked" in told
    assert "put the ink back from the chart of their sign" in told


@pytest.mark.exhaustive
def test_a_progressive_read_from_the_wrong_chart_is_told_so(at_the_bench, page):
    apprentice, pair = at_the_bench("progressive", 11)
    own = pair.spectacles.right.lens.sign
    apprentice.look_over(pair, mark_up=True, chart="Hb6" if own == "Hb8" else "Hb8")
    found = apprentice.read(pair, mark_up=True)
    dotted = page.locator(".optics-bench-dotted").filter(has_text="Between the dots").inner_text()
    apprentice.write(own_ticket(page, "progressive", found, dotted))
    told = apprentice.ask()
    assert "wrong chart" in told and "take the chart with that sign" in told


@pytest.mark.thorough
def test_restarted_twice_and_run_again_nothing_typed_is_lost(page, lab, request):
    name = request.node.originalname + ".ipynb"
    lab.put(name, ["from optics.lesson import *", "open_bench('one')", "open_bench('two')"])
    lab.open(page, name)
    lab.run_all(page)
    page.wait_for_function("() => document.querySelectorAll('.optics-ticket[data-drawn]').length === 2")
    sphere = page.get_by_label("Right lens, Sphere", exact=True)
    sphere.nth(0).fill("-2.25")
    sphere.nth(1).fill("+1.00")
    page.wait_for_timeout(1200)
    # Out of order, then after a restart.
    lab.run_cell(page, 2)
    lab.run_cell(page, 1)
    page.wait_for_timeout(1500)
    assert [sphere.nth(0).input_value(), sphere.nth(1).input_value()] == ["-2.25", "+1.00"]
    lab.restart(page)
    lab.run_all(page)
    page.wait_for_timeout(4000)
    page.wait_for_function("() => document.querySelectorAll('.optics-bench[data-drawn]').length === 2")
    for panel in ("bench", "pair", "ticket"):
        assert page.locator(f".optics-{panel}").count() == 2, panel
    assert [sphere.nth(0).input_value(), sphere.nth(1).input_value()] == ["-2.25", "+1.00"]
    assert page.locator("[data-mime-type='application/vnd.jupyter.stderr']").count() == 0
