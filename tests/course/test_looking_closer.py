"""What an instructor asks about one learner, and what goes back to the class."""

import csv
import json
import re
import zipfile
from collections import Counter
from functools import wraps
from urllib.parse import unquote

import nbformat
import pytest
from course.test_handed_out import _right
from course_names import BENCH, CLASS, FORMS

from optics.course.as_it_was_read import MOST_ON_A_PAGE, MOST_QUESTIONS, _told, as_it_was_read
from optics.course.class_list import keep_class_list, read_class_list
from optics.course.feedback import hand_back
from optics.course.folder import set_deadline, start_intake
from optics.course.gather import gather
from optics.course.looking_closer import key
from optics.course.marking import mark
from optics.course.release import release
from optics.course.report import write_report
from optics.course.solving import solve
from optics.errors import OpticsError
from optics.instrument import trace as traces
from optics.instrument.trace import TRACE_MIME, Trace
from optics.marking.telling import MARKS_MIME
from optics.specimens.sealed import open_pairs


def test_the_key_is_that_of_the_pairs_handed_out(course, submit, tmp_path):
    folder = course.step("release", chapter=BENCH)
    right = solve("A", "R", "t101", folder=folder)
    assert f"right {right}" in key(course, "t101", ["92"])
    submit(course, "t101", BENCH, _right(course, "t101"))
    start_intake(course, "autumn")
    release(course, variants=4, replace=True)
    assert f"right {right}" in key(course, "t101", ["92"])
    assert 'intake "autumn"' in key(course, "t102", ["92"])
    assert "no unknown pairs" in key(course, "t101", ["91"])


def test_an_answer_that_fits_anothers_pair_is_reported_and_its_mark_is_as_it_would_be(
    course, submit, marks_of
):
    box = open_pairs(course.step("release", chapter=BENCH))
    source = nbformat.read(course.notebook("source", BENCH), as_version=4)
    # A check of the left lens beside that of the right: one lens alone may fit by chance.
    other = next(one for one in CLASS if box.variant("A", one) != box.variant("A", "t101"))
    taken = _right(course, other)
    for cell in taken.cells:
        if cell.source.startswith("learner ="):
            cell.source = "learner = 't101'"
    call = "check.reading(left_a, learner=learner, pair='A', eye='L')"
    source.cells.append(nbformat.v4.new_code_cell(call))
    nbformat.write(source, course.notebook("source", BENCH))
    submit(course, "t101", BENCH, taken)
    submit(course, other, BENCH, _right(course, other))
    submit(course, "honest", BENCH, _right(course, "honest"))
    done = {each.learner: " ".join(each.notes) for each in mark(course)}
    assert re.search(rf"they fit that of .*{other}", done["t101"])
    assert "fit" not in done[other] and "fit" not in done["honest"]
    assert marks_of(course, "t101", BENCH)["right-a-check"] < 5.0


def _worked_start():
    return {"lens": "R", "against": "back", "aside": "no", "drum": 0.0, "wheel": 180.0, "eyepiece": 2.0, "stage_x_mm": -31.0,
             "stage_y_mm": 0.0, "compensator": 0.0, "compensator_base": 0.0}  # fmt: skip


def _worked(course, who="t101"):
    """A notebook as it is handed in, with the moves of a hand in an output."""
    trace = Trace(start=_worked_start(), pair="A")
    for number, (control, value) in enumerate(
        [("eyepiece", 0.0), ("drum", -1.25), ("noted", "sphere"), ("drum", -2.0), ("noted", "cylinder")]
    ):
        trace.note(control, value, 2000 * number)
    notebook = _right(course, who)
    cell = next(cell for cell in notebook.cells if cell.id == "right-a-check")
    cell.outputs = [nbformat.v4.new_output("display_data", data={TRACE_MIME: trace.bundle})]
    return notebook


def test_a_reading_is_seen_again_as_pictures_and_as_a_line(course, tmp_path):
    file = tmp_path / "t101.ipynb"
    nbformat.write(_worked(course), file)
    gather(course, [file], learner="t101")
    page = as_it_was_read(course, "t101", "92").read_text("utf-8")
    assert page.count("data:image/png") == 2
    assert "drum to -1.25 D" in page and "cylinder lines noted (8 s)" in page
    assert "The eyepiece was turned before the first reading." in page
    assert "no mark rests on it" in page
    assert len(re.findall(r'alt="[^"]{20,}"', page)) == 2


@pytest.mark.parametrize(
    ("moves", "late", "told"),
    [
        ("e n", False, "The eyepiece was turned before the first reading. 1 reading was"),
        ("n e", False, "The eyepiece was not turned before the first reading. 1 reading was"),
        ("n s e n", False, "The eyepiece was turned before the first reading. 1 reading was"),
        ("d", False, "The eyepiece was not turned. 0 readings were"),
        ("n e", True, "0 min 1 s. 1 reading was noted. The record was switched on"),
    ],
)
def test_no_more_is_told_of_the_eyepiece_than_the_moves_show(moves, late, told):
    value = {"e": ("eyepiece", 0.0), "d": ("drum", 1.0), "n": ("noted", "sphere"), "s": ("struck", "last")}
    trace = Trace(start=_worked_start(), late=late)
    for number, letter in enumerate(moves.split()):
        trace.note(*value[letter], 1000 * number)
    assert told in _told(trace, None, 0)[0]


def test_it_is_seen_from_the_report_from_formgraders_notebook_and_from_the_feedback(
    course, tmp_path, marks_of
):
    notebook = _worked(course)
    file = tmp_path / "t101.ipynb"
    nbformat.write(notebook, file)
    gather(course, [file], learner="t101")
    assert mark(course)[0].marked
    assert marks_of(course, "t101", BENCH)["right-a-check"] == 5.0  # the moves came from another lens
    report = write_report(course)
    (link,) = re.findall(r'<td><a href="([^"]+)">92</a></td>', (report / "class.html").read_text("utf-8"))
    page = (report / unquote(link)).resolve()
    assert page.read_text("utf-8").count("data:image/png") == 2
    # Formgrader shows the outputs of this notebook.
    cells = nbformat.read(course.notebook("autograded", BENCH, "t101"), as_version=4).cells
    shown = next(cell for cell in cells if cell.id == "right-a-check").outputs[-1].data["text/html"]
    assert shown.startswith("<details><summary>As it was read, pair A</summary>")
    with zipfile.ZipFile(hand_back(course).folder / "t101.zip") as archive:
        told = archive.read(f"{BENCH}.html").decode()
    assert told.count("data:image/png") == 2 and "drum to -1.25 D" in told
    # Without moves nothing of it is left anywhere.
    for cell in notebook.cells:
        cell.outputs = []
    nbformat.write(notebook, file)
    notebook.cells[0].source += "."
    nbformat.write(notebook, file)
    gather(course, [file], learner="t101")
    assert mark(course)[0].marked
    assert "as it was read" not in (write_report(course) / "class.html").read_text("utf-8").casefold()


@pytest.mark.thorough
def test_moves_without_end_hold_nobody_up_and_cost_no_mark(course, tmp_path, marks_of, monkeypatch):
    """Of a notebook full of moves no more is read, gone through again and drawn than a full page shows."""
    notebook = _worked(course)
    trace = Trace(start=_worked_start(), pair="A")
    for number in range(900):
        trace.note("noted", "sphere", number)
    (output,) = next(cell for cell in notebook.cells if cell.id == "right-a-check").outputs
    output.data[TRACE_MIME] = trace.bundle
    for number in range(200):
        notebook.cells.append(nbformat.v4.new_code_cell("", id=f"c{number}", outputs=[output]))
    file = tmp_path / "t101.ipynb"
    nbformat.write(notebook, file)
    gather(course, [file], learner="t101")
    done = Counter()

    def counted(place, name):
        whole = getattr(place, name)

        @wraps(whole)
        def counting(*given, **more):
            done[name] += 1
            return whole(*given, **more)

        monkeypatch.setattr(place, name, counting)

    for place, name in ((traces, "trace_from"), (Trace, "picture"), (Trace, "after")):
        counted(place, name)
    assert mark(course)[0].marked
    assert done["trace_from"] == MOST_QUESTIONS and done["picture"] == MOST_ON_A_PAGE
    # Each goes through all the moves before it: a few times for each picture, and not for each of the 900 readings.
    assert done["after"] < 10 * MOST_ON_A_PAGE
    assert marks_of(course, "t101", BENCH)["right-a-check"] == 5.0
    page = as_it_was_read(course, "t101", "92").read_text("utf-8")
    assert page.count("data:image/png") == MOST_ON_A_PAGE


def test_moves_that_were_handed_in_lead_the_reply_and_move_no_mark(course, tmp_path, marks_of):
    notebook, told = _worked(course), {}
    cell = next(cell for cell in notebook.cells if cell.id == "right-a-check")
    for answer in notebook.cells:
        if found := re.search(r"right_a = (['\"])([-+][0-9.]+)(.*)", answer.source):
            answer.source = f"right_a = {found[1]}{float(found[2]) + 0.5:+.2f}{found[3]}"
    for eyepiece in (0.0, 5.0):
        trace = Trace(start=_worked_start() | {"eyepiece": eyepiece}, pair="A")
        trace.note("drum", -1.0, 0)
        trace.note("noted", "sphere", 1000)
        cell.outputs = [nbformat.v4.new_output("display_data", data={TRACE_MIME: trace.bundle})]
        notebook.cells[0].source += "."
        file = tmp_path / "t101.ipynb"
        nbformat.write(notebook, file)
        gather(course, [file], learner="t101")
        assert mark(course)[0].marked
        cells = nbformat.read(course.notebook("autograded", BENCH, "t101"), as_version=4).cells
        (said,) = [
            out.data[MARKS_MIME]
            for each in cells
            if each.id == "right-a-check"
            for out in each.outputs
            if "skills" in out.get("data", {}).get(MARKS_MIME, {})
        ]
        told[eyepiece] = (said["slips"], marks_of(course, "t101", BENCH)["right-a-check"])
    assert told[5.0][0] == ["eyepiece not set"] != told[0.0][0]
    assert told[5.0][1] == told[0.0][1] < 5.0


@pytest.mark.parametrize("spoil", ["cleared", "edited", "nothing"])
def test_where_no_moves_are_kept_it_is_said(course, tmp_path, spoil):
    file = tmp_path / "t101.ipynb"
    notebook = _worked(course)
    for cell in notebook.cells:
        if cell.get("outputs") and spoil == "cleared":
            cell.outputs = []
        elif cell.get("outputs"):
            cell.outputs[0].data[TRACE_MIME] = {"moves": "z" * 99, "start": []}
    nbformat.write(notebook, file)
    if spoil != "nothing":
        gather(course, [file], learner="t101")
    with pytest.raises(OpticsError, match="no moves kept"):
        as_it_was_read(course, "t101", "92")


def test_what_goes_back_lies_in_the_folders_it_came_from_and_in_lists_with_everybody(
    course, tmp_path, text_of, class_list
):
    keep_class_list(course, read_class_list(class_list).learners)
    set_deadline(course, "2026-03-01 12:00")
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for folder in ("Quillane Mara_55301_file_", "..", "Con"):
            who = {"Con": "t103", "..": "t104"}.get(folder, "")
            archive.writestr(zipfile.ZipInfo(f"{folder}/{who}.ipynb", (2026, 3, 2, 10, 0, 0)), text_of(who))
    gather(course, [tmp_path / "a.zip"])
    mark(course)
    back = hand_back(course)
    with zipfile.ZipFile(back.folder / "all.zip") as archive:
        names = set(archive.namelist())
    assert names == {f"Quillane Mara_55301_file_/{FORMS}.html", f"Con/{FORMS}.html", f"t104/{FORMS}.html"}
    for path in (back.folder / "names.csv", write_report(course) / "totals.csv"):
        assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = {row["id"]: row for row in csv.DictReader(file)}
    assert set(rows) == set(CLASS)
    assert rows["t101"]["late"] == f"{FORMS}: 22 h 0 min"
    assert rows["t102"]["late"] == "nothing came" and rows["t102"]["name"] == "Ämilis Von-Ester"
    assert json.loads((course.root / "intake.json").read_text("utf-8"))["deadlines"] == {
        "": "2026-03-01 12:00"
    }
