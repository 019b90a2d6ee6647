"""Released chapters in a real JupyterLab: a beginner's first lens, and the trace of a hand."""

import json
import shutil
from itertools import pairwise

import nbformat
import numpy as np
import pytest

from optics.course.as_it_was_read import _as_it_came
from optics.course.folder import open_course, start_intake
from optics.course.gather import gather
from optics.course.release import release
from optics.instrument.focimeter import FIELD
from optics.instrument.reader import sharpness
from optics.instrument.trace import TRACE_MIME, traces_in
from optics.project_files import project_folder
from optics.specimens.sealed import open_pairs

FIRST, WHOLE = "00-start-here", "12-the-unknown-pair"
WHO = "R. Ashdown"
WITHIN = 0.02


@pytest.fixture(scope="module")
def released(tmp_path_factory):
    root = tmp_path_factory.mktemp("course") / "course"
    source = project_folder("notebooks")
    for chapter in (FIRST, WHOLE):
        shutil.copytree(source / "source" / chapter, root / "source" / chapter)
    shutil.copy(source / "nbgrader_config.py", root)
    course = open_course(root)
    start_intake(course, "spring", secret="a secret of this test")
    release(course, variants=1)
    return course


@pytest.fixture
def handed_out(released, lab):
    """Give a function that lays a released chapter before a learner and gives its name in JupyterLab."""

    def lay(chapter):
        shutil.copytree(released.root / "release" / chapter, lab.root / chapter, dirs_exist_ok=True)
        return f"{chapter}/{chapter}.ipynb"

    return lay


# Where the space between the quotation marks of a line lies, once it is in view.
BETWEEN = """(name) => {
  const line = [...document.querySelectorAll(".jp-CodeCell .cm-line")].find((one) => one.textContent === name + ' = ""');
  line.scrollIntoView({ block: "center" });
  const walk = document.createTreeWalker(line, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const at = node.data.indexOf('""');
    if (at < 0) continue;
    const range = document.createRange();
    range.setStart(node, at + 1);
    range.setEnd(node, at + 1);
    const { x, y, height } = range.getBoundingClientRect();
    return [x, y + height / 2];
  }
  throw new Error(name);
}"""
IN_VIEW = "(one) => one.scrollIntoView({ block: 'center' })"


class Beginner:
    """Hands that count what they do: presses of key or button, letters typed, moves of the drum."""

    def __init__(self, page, seen):
        self.page, self.seen = page, seen
        self.presses = self.letters = self.moves = 0

    def click(self, place):
        self.page.mouse.click(*place)
        self.presses += 1

    def run(self):
        self.page.keyboard.press("Shift+Enter")
        self.presses += 1

    def answer(self, name, text):
        self.click(self.page.evaluate(BETWEEN, name))
        self.page.keyboard.type(text)
        self.letters += len(text)
        self.run()

    def click_cell(self, text):
        cell = self.page.locator(".jp-CodeCell").filter(has_text=text).first
        cell.evaluate(IN_VIEW)
        box = cell.locator(".cm-line").last.bounding_box()
        self.click((box["x"] + box["width"] - 20, box["y"] + box["height"] / 2))

    def drag(self, scale, units_per_dioptre, places, sharpest=0.0):
        """Take hold of a scale, stop at each place on the way (dioptres from here), go back to the sharpest."""
        face = self.page.locator(".optics-bench-scale").nth(scale)
        face.evaluate(IN_VIEW)
        box = face.bounding_box()
        pixels = units_per_dioptre * box["width"] / 240
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        self.page.mouse.move(x, y)
        self.page.mouse.down()
        looked = {}
        for place in places:
            self.page.mouse.move(x - place * pixels, y)
            self.page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
            picture = self.seen(self.page, largest=128)
            looked[place] = sharpness(picture, 180, FIELD) + sharpness(picture, 90, FIELD)
            self.moves += 1
        self.page.mouse.move(x - max(looked, key=looked.get) * pixels, y)
        self.page.mouse.up()
        self.moves += 1


@pytest.mark.thorough
def test_a_beginner_has_read_the_first_lens_after_few_presses(page, lab, seen, handed_out):
    """Every cell up to the first reply, as a hand meets them: nothing is run for the learner."""
    page.set_viewport_size({"width": 1366, "height": 768})
    lab.open(page, handed_out(FIRST))
    hand = Beginner(page, seen)
    hand.click_cell("from optics.lesson import")
    hand.run()
    hand.answer("learner", WHO)
    hand.click_cell('bench("F"')
    hand.run()
    page.wait_for_selector(".optics-bench[data-drawn]", timeout=60_000)
    # From plus, by whole dioptres; then by quarters past it and back.
    hand.drag(0, 10, (4, 3, 2, 1, 0, -1, -2, -3, -4))
    hand.drag(0, 10, (0.75, 0.5, 0.25, 0, -0.25, -0.5, -0.75))
    drum = float(page.locator(".optics-bench-words").inner_text().split()[1])
    nearest = round(drum * 4) / 4
    hand.answer("first_right", f"{nearest:+.2f} DS")
    hand.run()
    told = page.locator(".jp-CodeCell").filter(has_text="check.reading(first_right").locator(".jp-OutputArea")
    told.get_by_text("Right").first.wait_for(timeout=60_000)
    print(f"\npresses {hand.presses}, letters {hand.letters}, moves of the drum {hand.moves}")
    assert hand.presses <= 12 and hand.letters <= 30 and hand.moves <= 20


# Ten moments: controls, and what is noted there. Each is a picture that must come again.
MOMENTS = (
    [("Eyepiece dial, dioptres at the eye", 3.0)],
    [("Eyepiece dial, dioptres at the eye", 1.75), ("Power drum, fine", 4.0)],
    [("Power drum, fine", -1.37), ("Axis wheel, degrees", 35)],
    [("Pair down or up; height of the stop from the datum line", -4)],
    [("Power drum, fine", -2.12)],
    [("Prism compensator, amount in prism dioptres", 2.5)],
    [("Prism compensator, base direction in degrees as you see it", 90)],
    "Left lens",
    [("Power drum, fine", -0.81), ("Axis wheel, degrees", 164)],
    "Front (convex) side",
)
SHOW = """
import json
from pathlib import Path
from optics.instrument.trace import traces_in
kept = traces_in(json.loads(Path("12-the-unknown-pair.ipynb").read_text("utf-8")))[-1][1]
noted = [at for at, move in enumerate(kept.moves) if move.control == "noted"]
stood = kept.after(noted[int(Path("moment.txt").read_text())])
bench("A", learner).show(**{**stood, "aside": stood["aside"] == "yes"})
print("shown")
"""


def in_view(page):
    page.locator(".optics-bench").last.evaluate(IN_VIEW)


def unfold(page):
    for fold in page.locator(".optics-bench-fold > summary").all():
        fold.click()


@pytest.fixture
def whole_pair(handed_out, lab):
    """Chapter 12 cut down to one pair, its answer and one more cell that shows a kept moment."""
    name = handed_out(WHOLE)
    path = lab.root / name
    notebook = nbformat.read(path, as_version=4)
    wanted = ("set-up", "learner", "pair-a", "pair-a-answers", "pair-a-check")
    cells = {cell.id: cell for cell in notebook.cells}
    cells["learner"].source = f'learner = "{WHO}"'
    cells["pair-a-answers"].source = 'pair_a = {"right": "-1.25 -0.75 x 035", "left": "-0.75 DS"}'
    notebook.cells = [cells[each] for each in wanted]
    notebook.cells.append(nbformat.v4.new_code_cell(SHOW, id="show"))
    nbformat.write(notebook, path)
    return name


@pytest.mark.exhaustive
def test_the_trace_of_a_pair_outlasts_save_restart_and_hand_in(
    page, lab, seen, whole_pair, released, tmp_path
):
    page.set_viewport_size({"width": 1280, "height": 1000})
    lab.open(page, whole_pair)
    for number in range(3):
        lab.run_cell(page, number)
    page.wait_for_selector(".optics-bench[data-drawn]", timeout=60_000)
    unfold(page)
    pictures = []
    for moment in MOMENTS:
        if isinstance(moment, str):
            page.get_by_label(moment, exact=True).check()
            page.wait_for_timeout(200)
            moment = []
        pictures.append(seen(page, moment))
        page.get_by_role("button", name="Note a reading of the sphere lines").click()
    for one, other in pairwise(pictures):
        assert np.abs(one - other).max() > 0.05, "every moment is another picture"
    # A whole pair's work: the drum alone is turned many times more.
    for turn in range(120):
        seen(page, [("Power drum, fine", round(-4 + turn / 20, 2))], largest=8)
    page.wait_for_timeout(500)
    lab.run_cell(page, 3)
    lab.run_cell(page, 4)
    page.locator(".jp-CodeCell").nth(4).get_by_text("Recorded").first.wait_for(timeout=60_000)
    page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    path = lab.root / whole_pair

    def carried():
        outputs = [
            out for cell in json.loads(path.read_text("utf-8"))["cells"] for out in cell.get("outputs", [])
        ]
        return [json.dumps(out["data"][TRACE_MIME]) for out in outputs if TRACE_MIME in out.get("data", {})]

    letters = sum(map(len, carried()))
    print(f"\nthe trace takes {letters / 1000:.1f} kB of the notebook")
    assert 500 < letters <= 30_000

    # Hand-in: what the instructor draws is what was on the screen.
    shutil.copy(path, tmp_path / "R. Ashdown.ipynb")
    gather(released, [tmp_path], learner="t1")
    handed_in = _as_it_came(released, "t1", WHOLE)
    assert handed_in is not None and handed_in != path
    trace = traces_in(json.loads(handed_in.read_text("utf-8")))[-1][1]
    pair = open_pairs(path.parent).pair("A", WHO)
    noted = [at for at, move in enumerate(trace.moves) if move.control == "noted"]
    assert len(noted) == len(pictures) == 10
    for at, picture in zip(noted, pictures, strict=True):
        drawn = trace.picture(pair.spectacles, at, picture.shape[0])
        assert np.sqrt(np.mean((drawn - picture) ** 2)) <= WITHIN, trace.after(at)

    # Restart: the file alone brings every moment back onto the screen.
    lab.restart(page)
    for number in range(3):
        lab.run_cell(page, number)
    page.wait_for_timeout(500)
    for number, picture in enumerate(pictures):
        (path.parent / "moment.txt").write_text(str(number))
        lab.run_cell(page, 5)
        page.wait_for_timeout(250)
        assert np.abs(seen(page) - picture).max() <= 2 / 255, number
