"""The steps of reading a lens bear the same names, in the same order, wherever they are told."""

import re

import nbformat
import pytest

from optics.apprentices.replaying import replay
from optics.instrument.focimeter import RINGS, TELESCOPE_MAGNIFICATION, Settings
from optics.instrument.standard_lens import target_travel_mm
from optics.lens.laid_flat import WithAddition
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prism import prism_at
from optics.lens.thick import ThickLens
from optics.marking.account import LOOK_AGAIN
from optics.project_files import project_folder
from optics.specimens.briefs import Brief
from optics.specimens.sealed import open_pairs
from optics.specimens.specimen import make

STEPS = (
    "set the eyepiece",
    "check zero",
    "centre the lens",
    "find the sphere lines from the plus side",
    "turn the wheel until the lines are unbroken",
    "note drum and wheel",
    "on to the cylinder lines",
    "note the drum",
    "subtract",
    "write",
)


def words(number: str, cell: str) -> str:
    path = next((project_folder("notebooks") / "source").glob(f"{number}-*/*.ipynb"))
    cells = {each.id: each.source for each in nbformat.read(path, as_version=4).cells}
    return cells[cell]


@pytest.mark.parametrize(
    ("number", "cell", "told"),
    [
        ("03", "steps", STEPS[:2]),
        ("03", "guided-words", STEPS[:4]),
        ("04", "steps", STEPS),
        ("04", "guided-words", STEPS),
        ("05", "steps", STEPS),
        ("05", "guided-words", STEPS),
    ],
)
def test_a_chapter_tells_the_steps_by_number_and_name(number, cell, told):
    found = re.findall(r"(?:^|, )(\d+)\. \*\*([^*]+?)[.:]?\*\*", words(number, cell), re.M)
    assert [(int(at), name.lower()) for at, name in found] == [(STEPS.index(name) + 1, name) for name in told]


def test_the_replay_tells_the_same_steps_in_the_same_order():
    pair = make(Brief(lenses="R +2.50 -1.50 x 170; L -2.00 -0.75 x 110"), 0)
    told = " ".join(step.words for step in replay(pair)).lower().replace("centre the right", "centre the")
    at = [told.find(name) for name in STEPS]
    assert min(at) >= 0 and at == sorted(at)


@pytest.mark.parametrize(
    ("number", "cell"),
    [
        ("09", "guided-words"),
        pytest.param("10", "steps", marks=pytest.mark.thorough),
        pytest.param("12", "centres", marks=pytest.mark.thorough),
    ],
)
def test_where_the_lines_cross_beyond_the_rings_a_chapter_says_what_brings_them_back(number, cell):
    box = open_pairs(next((project_folder("notebooks") / "source").glob(f"{number}-*")))
    pairs = (box.pair("A", f"t{learner}").spectacles for learner in range(101, 161))
    lenses = (pair.mounted(eye).lens for pair in pairs for eye in "RL")
    far = (
        lens.over_stop(*lens.near_reference_point, lens.carried_by).prism.amount
        for lens in lenses
        if isinstance(lens, WithAddition)
    )
    assert any(amount > RINGS[-1] for amount in far)
    told = words(number, cell)
    assert "*Prism compensator*" in told and "(chapter 7)" in told
    script = (project_folder("optics") / "widgets" / "focimeter" / "bench.js").read_text("utf-8")
    assert 'folded("Prism compensator"' in script
    assert "**prism compensator**" in words("07", "dots")


def test_feedback_names_the_step_to_look_at_again():
    told = LOOK_AGAIN["bench"]
    assert "eyepiece set" in told["sphere"] and "sphere lines again from the plus side" in told["sphere"]
    assert STEPS[4] in told["axis"]


# --- numbers that stand in the prose of 03 and 04 -----------------------------------------


def test_what_a_skipped_eyepiece_costs_is_as_computed():
    rows = re.findall(r"^\| (\d) D \| (0\.\d\d) D \|$", words("03", "cost"), re.M)
    assert [row[0] for row in rows] == ["1", "2", "3", "4"]
    for out, costs in rows:
        # Half up, as a person rounds.
        too_high = -Settings(eyepiece=float(out)).eyepiece_error
        assert f"{too_high + 1e-9:.2f}" == costs
    assert "Too far out, towards plus, and every reading is too high" in words("03", "cost")
    assert f"{TELESCOPE_MAGNIFICATION:g} × 4 = {TELESCOPE_MAGNIFICATION**2:g}" in words("03", "cost")
    assert f"**c** −{2 + Settings(eyepiece=3.0).eyepiece_error:.2f} for both" in words("03", "own-words")


def test_the_other_numbers_of_03_and_04():
    assert f"f = 50 mm the target moves {target_travel_mm(1.0, 50.0):g} mm" in words("03", "parts-bench")
    moved = float(prism_at(parse("-8.00 DS").power, 2.0, 0.0).amount)
    told = words("04", "sign")
    assert "2 mm beside its centre a −8.00 lens moves the crossing by more than one and a half rings" in told
    assert "0.2 cm times 8 D" in told
    assert 1.5 * RINGS[0] < moved < RINGS[1] == 2 * RINGS[0]


def test_the_lens_that_is_no_sphere_is_the_one_the_question_means():
    box = open_pairs(project_folder("notebooks") / "source" / "04-reading-a-sphere")
    pair = box.pair("T", "anybody")
    assert [line.cylinder != 0 for line in pair.ordered] == [False, True]
    assert "**b** the left lens" in words("04", "odd-words")


@pytest.mark.parametrize(
    ("number", "cell", "letter", "hints"),
    [
        ("03", "guided-words", "G", {("zero", "R"): (0.0, 0.5), ("sphere lines", "R"): (-3.0, -2.5)}),
        ("04", "guided-words", "G", {("sphere lines", "R"): (5.0, 6.0), ("sphere lines", "L"): (-0.5, 0.5)}),
        ("05", "guided-words", "G", {("sphere lines", "R"): (1.0, 2.0), ("cylinder lines", "R"): (0.0, 1.0)}),
    ],
)
def test_a_hint_is_true_of_the_sealed_pair(number, cell, letter, hints):
    folder = next((project_folder("notebooks") / "source").glob(f"{number}-*"))
    text = words(number, cell)
    for (what, eye), (low, high) in hints.items():
        assert low < open_pairs(folder).shown(what, letter, "anybody", eye) < high
        shown = [f"{value:+.2f}".replace("+0.00", "0.00").replace("-", "−") for value in (low, high)]
        assert f"between {shown[0]} and {shown[1]}" in text


def test_the_addition_of_a_thick_lens_in_09_is_as_computed():
    curve, text = Power.from_sphere_cylinder, words("09", "front")

    def read(side, front, back, thickness_mm, index):
        lens = ThickLens(front=curve(front), back=curve(back), centre_thickness_mm=thickness_mm, index=index)
        return float(lens.over_stop(0, 0, side).power.mean)

    rows = re.findall(r"^\| (back|front) against the stop \| (\S+) \| (\S+) \| \*\*(\S+)\*\* \|$", text, re.M)
    assert [row[0] for row in rows] == ["back", "front"]
    for side, *told in rows:
        far, near = (read(side, front, -2, 6, 1.5) for front in (8, 10.5))
        assert told == [f"{far:+.2f}", f"{near:+.2f}", f"{near - far:.2f}"]
    far, near = (read("back", front, -9, 1.5, 1.498) for front in (6, 8.5))
    assert f"gives {near - far:.2f} against 2.50" in text
