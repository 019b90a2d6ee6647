"""The words a notebook uses: what a chapter shows, and what running a cell again keeps."""

import json
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.lesson import (
    at_the_line,
    bench,
    charts,
    crib,
    held,
    homework,
    my_marks,
    my_spread,
    own_ticket,
    reading_form,
    segment,
    tilted,
    tray,
    two_readers,
    wearer,
)
from optics.marking.telling import MARKS_MIME, collecting
from optics.project_files import project_folder
from optics.specimens.sealed import open_pairs


@pytest.mark.parametrize(
    ("chapter", "shown", "hidden"),
    [
        (0, {"stage"}, {"wheel", "eyepiece", "pad", "lock"}),
        (3, {"stage", "eyepiece", "aside", "wheel"}, {"pad", "compensator"}),
        (4, {"wheel", "pad"}, {"dot", "side"}),
        (6, {"wheel", "eyepiece", "pad"}, {"compensator", "side", "lock"}),
        (7, {"lock", "dot", "compensator"}, {"side"}),
    ],
)
def test_a_chapter_shows_only_what_it_has_introduced(released_pairs, chapter, shown, hidden):
    parts = set(bench("G", "Ada", released_pairs, chapter=chapter)._parts)
    assert shown <= parts
    assert not hidden & parts


def test_a_tray_shows_only_what_its_chapter_has_introduced():
    source = project_folder("notebooks") / "source"
    view = tray("A", "Ada", str(source / "08-before-the-instrument"), chapter=8)
    assert view._parts == ["look", "hand", "true"]
    view = tray("A", "Ada", str(source / "09-lined-multifocals"), chapter=9)
    assert view._parts == ["look", "hand", "true", "rule"]


def test_an_eyepiece_that_is_not_shown_is_set(released_pairs):
    assert bench("G", "Ada", released_pairs, chapter=0).settings.eyepiece_error == 0
    assert bench("G", "Ada", released_pairs, chapter=5).settings.eyepiece_error != 0


def test_the_eyepiece_that_is_marked_is_the_one_of_the_bench(released_pairs):
    laid = bench("A", "Ada", released_pairs, chapter=5)
    assert laid.settings.eye == open_pairs(released_pairs).eye_setting("A", "Ada") != 0


def test_running_the_cell_again_keeps_the_pad(released_pairs):
    once = bench("A", "Ada", released_pairs, chapter=5)
    once._readings = [{"eye": "R", "against": "back", "lines": "sphere", "drum": -2.0, "wheel": 15.0}]
    again = bench("A", "Ada", released_pairs, chapter=5)
    assert again is once and len(again.readings) == 1
    assert bench("B", "Ada", released_pairs, chapter=5) is not once
    assert once.trace.pair == "A"


def test_a_tray_is_that_of_its_chapter():
    source = project_folder("notebooks") / "source"
    first, second = (tray("B", "t109", str(next(source.glob(f"{n}-*")))) for n in ("08", "09"))
    assert first.spectacles != second.spectacles


def test_two_pictures_stand_at_the_line_and_one_beside_it():
    told = at_the_line("R -2.00 DS add +2.50").alt
    assert "Drum minus 2.00: one picture" in told and "Drum plus 0.50: the lower picture is sharp" in told
    assert "trifocal" in segment("R +0.50 DS add +2.00", intermediate_mm=7).alt
    with pytest.raises(OpticsError, match="There is no addition"):
        segment("R -2.00 DS")


SAID = "05 is marked.\nPractice: 3 of 4 right. Not right yet: recall 2.\nMarks: 20 of 20.\n"


def test_ones_marks_are_told_in_the_chapter(tmp_path, monkeypatch):
    """By the command that marks, for the notebook that was saved here."""
    asked = []

    def run(command, **_):
        asked.append(command)
        return subprocess.CompletedProcess(command, 0, stdout=SAID, stderr="")

    monkeypatch.setattr("subprocess.run", run)
    monkeypatch.setenv("JPY_SESSION_NAME", "work/my copy.ipynb")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "my copy.ipynb").write_text("{}", "utf-8")
    with collecting() as said:
        my_marks()
    assert asked[0][-1] == str(tmp_path / "my copy.ipynb")
    assert "Not right yet: recall 2." in said[0]["text/plain"] and "last saved" in said[0]["text/plain"]


def test_a_learners_copy_for_a_class_says_how_practice_stands(tmp_path, monkeypatch):
    """That copy cannot mark; what its checks said when they were run is in the saved chapter."""

    def cell(name, state, grade=False):
        output = {"output_type": "display_data", "data": {MARKS_MIME: {"state": state}}, "metadata": {}}
        key = {"grade_id": name, "grade": grade, "locked": True}
        return {
            "cell_type": "code",
            "metadata": {"nbgrader": key},
            "source": ["check.choice(x)"],
            "outputs": [output] * bool(state),
        }

    cells = [cell("recall-1-check", "Right"), cell("my-zero-check", "Not yet"), cell("drum-check", "")]
    cells += [cell("own-1-check", "Recorded", grade=True), cell("guided-check", "No name yet")]
    (tmp_path / f"{tmp_path.name}.ipynb").write_text(json.dumps({"cells": cells}), "utf-8")
    monkeypatch.delenv("JPY_SESSION_NAME", raising=False)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    monkeypatch.setattr("subprocess.run", None)
    monkeypatch.chdir(tmp_path)
    with collecting() as said:
        my_marks()
    told = said[0]["text/plain"]
    assert "Practice: 1 of 4 right. Not right yet: my zero. Not answered yet: drum." in told
    assert "No name yet, so not marked: guided. Type your name in the cell at the top" in told
    assert "after you hand in" in told and "own" not in told


def test_marks_of_nothing_are_a_sentence(tmp_path, monkeypatch, released_pairs):
    monkeypatch.delenv("JPY_SESSION_NAME", raising=False)
    monkeypatch.setattr("subprocess.run", None)
    for folder, sentence in ((tmp_path, "no chapter saved"), (released_pairs, "source, with its solutions")):
        monkeypatch.chdir(folder)
        with collecting() as said:
            my_marks()
        assert sentence in said[0]["text/plain"]


def test_homework_and_crib_from_a_notebook(tmp_path):
    """A teacher's words: shown, saved where a file is named, and a sentence for what cannot be."""
    with collecting() as said:
        own = homework("read-axes", lenses="+1.00 -0.50 x 015\n", title="Ours", file=str(tmp_path / "a.pdf"))
        first = crib(file=str(tmp_path / "crib.pdf"))
        page = charts(file=str(tmp_path / "charts.pdf"))
    assert own.title == "Ours"
    assert {each.name for each in tmp_path.iterdir()} == {"a.pdf", "a-answers.pdf", "crib.pdf", "charts.pdf"}
    assert "At the bench" in first.alt and "at true size" in page.alt
    assert len(said) == 3
    with collecting() as said:
        assert homework("crosses") is None
        assert homework("draw-crosses", lenses="1.00 DS") is None
        assert crib(file=str(tmp_path / "crib.pdf")) is None
    assert ["no sheet called" in each["text/plain"] for each in said] == [True, False, False]
    assert "Line 1 of the list" in said[1]["text/plain"]
    assert "already a file" in said[2]["text/plain"]


def test_real_pairs_are_worked_out_and_never_more_is_said_than_known(tmp_path):
    with collecting() as said:
        assert my_spread("-2.31 -0.69 x 014\n-2.25 -0.75 x 016\n", known="-2.25 -0.75 x 015") is not None
        assert two_readers("-2.25 DS\n-1.25 DS\n+1.00 DS", "-2.25 DS\n-1.00 DS\n+0.75 DS") is not None
        ticket = own_ticket("-2.25 -0.75 x 015", "", pd_right="31.5")
        assert ticket is not None and "of a real pair." in ticket.alt  # of no invented shop
        assert reading_form(file=str(tmp_path / "form.pdf")) is not None
    assert (tmp_path / "form.pdf").is_file()
    words = [each["text/plain"] for each in said]
    assert "2 readings, mean -2.28 -0.72 x 015" in words[0]
    assert "no more than chance explains" in words[1] and "only a lens of known power can tell" in words[1]
    with collecting() as said:
        assert my_spread("-2.31 -0.69 x 014") is None
        assert my_spread("") is None
        assert two_readers("-2.25 DS\n-1.25 DS\n+1.00 DS", "-2.25 DS") is None
        assert own_ticket("2.25", "", pd_right="31.5") is None
    words = [each["text/plain"] for each in said]
    told = ("There is one reading", "There are no readings", "has 3 lenses, the second 1", "no sign")
    assert [here in word for here, word in zip(told, words, strict=True)] == [True] * 4, words


def test_a_ticket_takes_prism_and_addition_as_the_chapters_do_and_answers_the_rest_in_a_sentence(
    tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    apart = own_ticket("+1.50 DS", "+1.00 DS", add_right="+2.00", prism_left="2.00 base in", prism_right="")
    together = own_ticket("+1.50 DS add +2.00", "+1.00 DS prism 2.00 base in")
    assert "addition plus 2.00" in apart.alt
    assert apart.alt == together.alt
    with collecting():
        assert own_ticket("+1.50 DS", "+1.00 DS", prism_left="no prism", number="7", learner="Mara")
    assert (tmp_path / "pair-7.csv").read_text("utf-8").splitlines()[1:] == [
        "Mara,7,+1.50 DS,+1.00 DS no prism"
    ]
    with collecting() as said:
        assert own_ticket("+1.50 DS", prism_rihgt="2.00 base in") is None
        assert own_ticket("+1.50 DS", prism_right="2.00 inwards") is None
        assert own_ticket("+1.50 DS", prism_left="2.00 base in") is None
        assert own_ticket("+1.50 DS add +1.00", add_right="+2.00") is None
    told = (
        'no "prism_rihgt". Beside what stands in its cell it takes add_right, add_left, prism_right, prism_left.',
        "2.00 inwards",
        "a left prism and no left line",
        "Write it once",
    )
    words = [each["text/plain"] for each in said]
    assert [here in word for here, word in zip(told, words, strict=True)] == [True] * 4, words


@pytest.fixture
def released_pairs():
    """A chapter's folder with pairs in it."""
    return str(Path(__file__).parents[1] / "notebooks" / "source" / "05-reading-a-cylinder")


def test_the_bench_reads_a_pair_as_it_lies_on_its_tray():
    chapter = str(project_folder("notebooks") / "source" / "08-before-the-instrument")
    assert tray("B", "", chapter) is None
    view = tray("B", "R. Ashdown", chapter)
    assert view is tray("B", "R. Ashdown", chapter)
    laid = bench("B", "R. Ashdown", chapter, chapter=8)
    bent, asked = {}, open_pairs(chapter).pair("B", "R. Ashdown")
    for eye in "RL":
        laid.lens = eye
        laid.stage_x_mm, laid.stage_y_mm = asked.spectacles.reference_point_mm(eye)
        bent[eye] = laid.met.power
    view.trued = True
    for eye in "RL":
        laid.lens = eye
        true = laid.met.power
        np.testing.assert_allclose(true.vector, asked.power(eye).vector, atol=0.02)
    off = max(float(np.abs(bent[eye].vector - asked.power(eye).vector).max()) for eye in "RL")
    assert off > 0.1, "a twisted temple has to cost something"


def test_a_leaning_lens_is_said_by_the_formula_and_as_traced():
    # Martin's formula, -6.00 D at 15 degrees, index 1.5: -6.1340 and -0.4404, computed apart
    # from this package; a minus lens agrees with it as traced, a thick plus lens does not.
    with collecting() as said:
        tilted("-6.00 DS", 15)
        tilted("+6.00 DS", 15)
    minus, plus = (each["text/plain"] for each in said)
    assert "formula: -6.13 -0.44 x 180" in minus
    assert re.search(r"surfaces: -6\.1\d -0\.4\d x 180", minus)
    assert "formula: +6.13 +0.44 x 180" in plus and "surfaces: +6.13" not in plus


def test_the_order_is_shown_after_a_reading_and_the_record_as_a_rule_gives_it():
    chapter = next((project_folder("notebooks") / "source").glob("11-*"))
    order = open_pairs(chapter).pair("A", "Mara").order
    for ticket in ({}, {"right": order.right.line.distance}):
        with collecting() as said:
            assert held(ticket, "A", "Mara", str(chapter)) is None
        assert "Ordered" not in said[0]["text/plain"]
    with collecting() as said:
        table = held({"right": "-1.00 DS", "left": "-1.00 DS"}, "A", "Mara", str(chapter))
    assert table is not None and str(order.right.line) in said[0]["text/plain"]
    with collecting() as said:
        wearer("A", "Mara", str(chapter))
    lengths = re.findall(r"([0-9.]+) mm", said[0]["text/plain"])
    assert len(lengths) >= 2 and all(2 * float(length) % 1 == 0 for length in lengths)
