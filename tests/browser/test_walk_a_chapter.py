"""An unknown that counts, from the zip handed out to the mark: read by pointer and keys in JupyterLab, typed, saved.

The pair is known to nobody here: what is written comes from the picture on the canvas,
by the steps that the chapter names.
"""

from __future__ import annotations

import shutil
import zipfile

import numpy as np
import pytest
from test_chapters_in_lab import IN_VIEW
from test_read_by_hand import Keys

from optics import read_lens, settle
from optics.cli import main
from optics.course.folder import open_course, start_intake
from optics.course.results import results
from optics.instrument.focimeter import FIELD
from optics.lens.power import Power
from optics.project_files import project_folder
from optics.specimens.right_ticket import EYES

WHO = "t101"

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

    def lay(self, eye):
        self.choose("Right lens" if eye == "R" else "Left lens")

    def find_and_centre(self):
        """Come from plus until some lines stand there, and bring their crossing into the middle."""
        drums = np.arange(12.0, -12.5, -0.5)
        self.look(max(drums, key=lambda drum: np.sum(self.look(drum, 180) ** 6)), 180)
        self.centre()

    def powers(self, zero):
        """The line of the ticket of the lens as it lies."""
        lens = read_lens(self.look, half_width=FIELD)
        read = Power.from_line_readings(lens.sphere_lines - zero, lens.cylinder_lines - zero, lens.wheel)
        return settle(read).choice.distance


def prepared(hand):
    """Steps 1 and 2: the eyepiece, and zero; what is taken off every reading."""
    hand.unfold()
    hand.set_eyepiece()
    zero = hand.zero()
    return zero if abs(zero) > 0.09 else 0.0


def both_lenses(hand):
    """Chapters 4 and 5: centred, and read."""
    zero = prepared(hand)
    for eye, side in EYES.items():
        hand.lay(eye)
        hand.find_and_centre()
        yield f"pair_a_{side} = ", hand.powers(zero)


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


WALKED = ["04", "05"]


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    """A course as the README has it, but for the chapters that are walked, and always the same pairs."""
    root, source = tmp_path_factory.mktemp("course") / "course", project_folder("notebooks")
    for number in WALKED:
        chapter = next((source / "source").glob(f"{number}-*"))
        shutil.copytree(chapter, root / "source" / chapter.name)
    shutil.copy(source / "nbgrader_config.py", root)
    start_intake(open_course(root), "Spring", secret="a secret of this walk")
    assert main(["release", "--course", str(root)]) == 0
    return open_course(root)


@pytest.mark.exhaustive
@pytest.mark.parametrize("number", WALKED)
def test_an_unknown_is_read_typed_saved_and_earns_full_marks(page, seen, lab, course, number, tmp_path):
    (chapter,) = course.chosen([number])
    hand = begin(page, seen, lab, course, chapter)
    hand.run('bench("A", learner')
    page.wait_for_selector(".optics-bench[data-drawn]", timeout=60_000)
    hand.write('pair_a_right = ""', dict(both_lenses(hand)))
    for _ in EYES:  # the checks of both lenses, which say how the line was read
        page.keyboard.press("Shift+Enter")
    page.get_by_text("Recorded").nth(1).wait_for(timeout=60_000)
    page.keyboard.press("Control+s")
    page.wait_for_function("() => !window.jupyterapp.shell.currentWidget.context.model.dirty")
    handed_in = tmp_path / "handed in"
    handed_in.mkdir()
    shutil.copy(lab.root / chapter / f"{chapter}.ipynb", handed_in)
    for words in (["gather", str(handed_in), "--learner", WHO], ["mark", chapter]):
        assert main([*words, "--course", str(course.root)]) == 0
    earned = {r.question: r.mark for r in results(course, [chapter]) if r.question.startswith("pair-a")}
    print("\n", earned, "keys pressed:", hand.pressed)
    assert earned == {"pair-a-right-check": 5, "pair-a-left-check": 5}
