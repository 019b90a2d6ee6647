"""An unknown that counts, from the zip handed out to the mark: read by pointer and keys in JupyterLab, typed, saved.

The pair is known to nobody here: what is written comes from the picture on the canvas,
by the steps that the chapter names.
"""

from __future__ import annotations

import re
import shutil
import zipfile

import numpy as np
import pytest
from rule_on_the_tray import height_by_the_rule
from test_chapters_in_lab import IN_VIEW
from test_read_by_hand import ACROSS, UPWARD, Keys

from optics import read_lens, settle
from optics.cli import main
from optics.course.folder import open_course, start_intake
from optics.course.results import results
from optics.instrument.focimeter import FIELD
from optics.lens.power import Power
from optics.project_files import project_folder
from optics.specimens.right_ticket import EYES

WHO = "t101"
AMOUNT = "Prism compensator, amount in prism dioptres"
BASE = "Prism compensator, base direction in degrees as you see it"

# Where the space between the quotes lies that follow some text of a cell; of the line, once it is in view.
BETWEEN = """(cell, before) => {
  const line = [...cell.querySelectorAll(".cm-line")].find((one) => one.textContent.includes(before + '""'));
  line.scrollIntoView({ block: "center" });
  let left = line.textContent.indexOf(before + '""') + before.length + 1;
  const walk = document.createTreeWalker(line, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; left -= node.data.length, node = walk.nextNode()) {
    if (left > node.data.length) continue;
    const range = document.createRange();
    range.setStart(node, left);
    range.setEnd(node, left);
    const { x, y, height } = range.getBoundingClientRect();
    return [x, y + height / 2];
  }
}"""


class Learner(Keys):
    """Somebody with a mouse and a keyboard before a chapter: clicks into a cell, runs it, turns with the keys."""

    def cell(self, text):
        return self.page.locator(".jp-CodeCell").filter(has_text=text).first

    def run(self, text):
        cell = self.cell(text)
        cell.evaluate(IN_VIEW)
        box = cell.locator(".cm-line").last.bounding_box()
        self.page.mouse.click(box["x"] + box["width"] - 20, box["y"] + box["height"] / 2)
        self.page.keyboard.press("Shift+Enter")

    def write(self, text, answers):
        """Type answers between their quotes, in the cell that holds this text, and run it."""
        cell = self.cell(text).element_handle()  # its text changes under the hand
        for before, answer in answers.items():
            self.page.mouse.click(*cell.evaluate(BETWEEN, before))
            self.page.keyboard.type(answer)
        self.page.keyboard.press("Shift+Enter")

    def turn(self, name, value):
        if abs(float(self.page.get_by_label(name, exact=True).input_value()) - value) > 1e-6:
            super().turn(name, value)

    def press(self, name):
        self.page.get_by_role("button", name=name).click()

    def choose(self, name):
        self.page.get_by_label(name, exact=True).check()
        self.settle()

    def lay(self, eye, side=None):
        if side:
            self.choose(side)
        self.choose("Right lens" if eye == "R" else "Left lens")

    def says(self, title):
        """What stands beside a control, without its unit."""
        line = self.page.locator(".optics-bench-line").filter(has_text=title)
        return float(line.locator("output").inner_text().split()[0].rstrip("°"))

    def move_to(self, across, up):
        """Step the pair until the stage says this place; which way a key moves it shows at the first step."""
        for control, title, wanted in ((ACROSS, "Left, right", across), (UPWARD, "Down, up", up)):
            begun = self.says(title)
            self.step(control, 1)
            way = 1 if abs(wanted - self.says(title)) < abs(wanted - begun) else -1
            for _ in range(round(abs(wanted - self.says(title)) / 0.5)):
                self.step(control, way)
            assert abs(wanted - self.says(title)) < 0.3, title
        self.settle()

    def find(self):
        """Come from plus until some lines stand there."""
        drums = np.arange(12.0, -12.5, -0.5)
        self.look(max(drums, key=lambda drum: np.sum(self.look(drum, 180) ** 6)), 180)

    def find_and_centre(self):
        self.find()
        self.centre()

    def read(self):
        return read_lens(self.look, half_width=FIELD)

    def powers(self, zero):
        """The line of the ticket of the lens as it lies."""
        lens = self.read()
        read = Power.from_line_readings(lens.sphere_lines - zero, lens.cylinder_lines - zero, lens.wheel)
        return str(settle(read).choice.distance)

    def prism(self, eye):
        """Where the lines cross: the compensator brings them to the middle, and what is left is added."""
        lens = self.read()
        self.look(lens.sphere_lines, lens.wheel)
        right, up = self.off()
        base = float(np.rad2deg(np.arctan2(up, right)) % 360)
        for control, value, sizes in (
            (AMOUNT, float(np.hypot(right, up) // 0.25) / 4, (1, 0.25)),
            (BASE, round(base / 5) * 5 % 360, (15, 1)),
        ):
            self.go(control)
            self.strike(value, sizes)
        out, towards = self.says("Amount"), np.deg2rad(self.says("Base"))
        rest = self.off()
        self.go(AMOUNT)
        self.strike(0.0, (1, 0.25))
        right, up = out * np.cos(towards) + rest[0], out * np.sin(towards) + rest[1]
        bases = (right, "in" if (right > 0) == (eye == "R") else "out"), (up, "up" if up > 0 else "down")
        found = [f"{round(abs(each) * 4) / 4:.2f} base {base}" for each, base in bases if abs(each) > 0.3]
        return " and ".join(found) or "no prism"


def prepared(hand):
    """Steps 1 and 2: the eyepiece, and zero; what is taken off every reading."""
    hand.unfold()
    hand.set_eyepiece()
    zero = hand.zero()
    return zero if abs(zero) > 0.09 else 0.0


def lines(hand):
    """Chapters 4 and 5: centred, and read."""
    zero = prepared(hand)
    for eye, side in EYES.items():
        hand.lay(eye)
        hand.find_and_centre()
        yield f"pair_a_{side} = ", hand.powers(zero)


def dots(hand):
    """Chapter 7, pair A: read, dotted, and measured between the dots."""
    zero = prepared(hand)
    for eye, side in EYES.items():
        hand.lay(eye)
        hand.find_and_centre()
        yield f'"{side}": ', hand.powers(zero)
        hand.centre()
        hand.press("Dot the point over the stop")
    said = hand.page.get_by_text("from the middle of the bridge.")
    for side, mm in re.findall(r"(right|left) dot ([\d.]+) mm", said.inner_text(), re.IGNORECASE):
        yield f'"pd_{side.lower()}": ', mm


def prisms(hand):
    """Chapter 7, pair B: read where the record says that the wearer looks through."""
    hand.run('wearer("B"')
    said = hand.page.get_by_text("From the record").inner_text()
    zero = prepared(hand)
    for eye, side in EYES.items():
        place = rf"{side} eye ([\d.]+) mm from the middle of the bridge and (?:([\d.]+) mm (above|below)|on) the datum"
        across, up, where = re.search(place, " ".join(said.split())).groups()
        hand.lay(eye)
        hand.move_to(float(across), float(up or 0) * (-1 if where == "below" else 1))
        hand.find()
        yield f'"{side}": ', hand.powers(zero)
        yield f'"prism_{side}": ', hand.prism(eye)


def addition(hand):
    """Chapter 9: heights on the tray; distance, then both from the front, near well below the line."""
    hand.run('tray("A"')
    hand.page.wait_for_selector(".optics-pair[data-drawn]", timeout=60_000)
    for eye, side in EYES.items():
        yield f'"height_{side}": ', f"{height_by_the_rule(hand.page, eye, 32, 'line'):g}"
    hand.run('bench("A", learner')
    zero = prepared(hand)
    for eye, side in EYES.items():
        hand.lay(eye, "Back (concave) side")
        hand.find_and_centre()
        across, up = hand.says("Left, right"), hand.says("Down, up") + 1
        hand.move_to(across, up)
        yield f'"{side}": ', hand.powers(zero)
        hand.lay(eye, "Front (convex) side")
        hand.move_to(across, up)
        far = hand.read()
        near = []
        for below in (11, 13, 15):
            hand.move_to(across - 2, up - below)
            near.append(hand.sharpest(far.wheel, far.sphere_lines + 1.25, 1.75))
        yield f'"add_{side}": ', f"+{round(4 * (float(np.median(near)) - far.sphere_lines)) / 4:.2f}"


def begin(page, seen, lab, course, chapter):
    with zipfile.ZipFile(next((course.root / "to-hand-out").glob("*.zip"))) as handed_out:
        for name in handed_out.namelist():
            if name.startswith(f"{chapter}/"):
                handed_out.extract(name, lab.root)
    page.set_viewport_size({"width": 1366, "height": 900})
    lab.open(page, f"{chapter}/{chapter}.ipynb")
    hand = Learner(page, seen)
    hand.run("from optics.lesson import")
    hand.write('learner = ""', {"learner = ": WHO})
    return hand


WALKED = {
    ("04", "A"): lines,
    ("05", "A"): lines,
    ("07", "A"): dots,
    ("07", "B"): prisms,
    ("09", "A"): addition,
}

FULL = {
    ("04", "A"): [(5, 5)] * 2, ("05", "A"): [(5, 5)] * 2,
    ("07", "A"): [(8, 8)], ("07", "B"): [(10, 10)], ("09", "A"): [(10, 10)],
}  # fmt: skip


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    """A course as the README has it, but for the chapters that are walked, and always the same pairs."""
    root, source = tmp_path_factory.mktemp("course") / "course", project_folder("notebooks")
    for number in {number for number, _ in WALKED}:
        chapter = next((source / "source").glob(f"{number}-*"))
        shutil.copytree(chapter, root / "source" / chapter.name)
    shutil.copy(source / "nbgrader_config.py", root)
    start_intake(open_course(root), "Spring", secret="a secret of this walk")
    assert main(["release", "--course", str(root)]) == 0
    return open_course(root)


@pytest.mark.exhaustive
@pytest.mark.parametrize(("number", "pair"), WALKED)
def test_an_unknown_is_read_typed_saved_and_earns_full_marks(page, seen, lab, course, number, pair, tmp_path):
    (chapter,) = course.chosen([number])
    hand = begin(page, seen, lab, course, chapter)
    if number != "09":  # there the tray comes first
        hand.run(f'bench("{pair}", learner')
        page.wait_for_selector(".optics-bench[data-drawn]", timeout=60_000)
    answers = dict(WALKED[number, pair](hand))
    hand.write("pair_a_right = " if number in ("04", "05") else f"pair_{pair.lower()} = {{", answers)
    checks = 2 if number in ("04", "05") else 1
    for _ in range(checks):  # they say how the answers were read
        page.keyboard.press("Shift+Enter")
    page.get_by_text("Recorded").nth(checks - 1).wait_for(timeout=60_000)
    page.keyboard.press("Control+s")
    page.wait_for_function("() => !window.jupyterapp.shell.currentWidget.context.model.dirty")
    handed_in = tmp_path / "handed in"
    handed_in.mkdir()
    shutil.copy(lab.root / chapter / f"{chapter}.ipynb", handed_in)
    for words in (["gather", str(handed_in), "--learner", WHO], ["mark", chapter]):
        assert main([*words, "--course", str(course.root)]) == 0
    found = [r for r in results(course, [chapter]) if r.question.startswith(f"pair-{pair.lower()}")]
    print("\n", answers, {r.question: r.mark for r in found}, "keys pressed:", hand.pressed)
    assert [(r.mark, r.out_of) for r in found] == FULL[number, pair]
