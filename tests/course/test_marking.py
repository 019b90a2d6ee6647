"""From the submission to marks, feedback and report: the four learners of every class, and more."""

import copy
import csv
import os
import re
import shutil
import zipfile

import nbformat
import pytest

from optics.course.feedback import hand_back
from optics.course.folder import open_course
from optics.course.gather import gather
from optics.course.grader import gradebook
from optics.course.marking import FAULT, Bench, mark
from optics.course.report import write_report
from optics.course.results import results
from optics.marking.telling import MARKS_MIME
from optics.specimens.sealed import open_pairs

FORMS, BENCH = "91-forms", "92-bench"
RIGHT = {"learner": '"Mara"', "convert_1": '"+1.00 +1.50 x 080"', "along_1": '"+1.00"'}


@pytest.fixture(scope="module")
def marked(released_once, tmp_path_factory, fill, submit):
    """One course with the four learners marked, for all tests that only look."""
    root = tmp_path_factory.mktemp("marked") / "course"
    shutil.copytree(released_once.root, root)
    course = open_course(root)
    right = fill(course, FORMS, **RIGHT, why="Because the powers change places.")
    wrong = fill(course, FORMS, **RIGHT | {"convert_1": '"+1.00 +1.50 x 170"', "along_1": '"1.00"'})
    damaged = copy.deepcopy(right)
    damaged.cells = [cell for cell in damaged.cells if cell.id != "along-1-check"]
    damaged.cells.append(copy.deepcopy(next(cell for cell in damaged.cells if cell.id == "convert-1")))
    damaged.cells[-1].id = "pasted"
    for learner, notebook in (
        ("right", right),
        ("wrong", wrong),
        ("untouched", fill(course, FORMS)),
        ("damaged", damaged),
    ):
        submit(course, learner, FORMS, notebook)
    return course, mark(course)


def _autograded(course, learner, chapter=FORMS):
    return nbformat.read(course.notebook("autograded", chapter, learner), as_version=4)


def _outputs(course, learner, name, chapter=FORMS):
    return next(cell for cell in _autograded(course, learner, chapter).cells if cell.id == name).outputs


# --- marks ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("learner", "convert", "along"),
    # An axis across the lens would harm: half of the five marks at most.
    [("right", 5.0, 2.0), ("wrong", 2.5, 0.0), ("untouched", 0.0, 0.0), ("damaged", 5.0, 2.0)],
)
def test_marks_of_the_four_learners(marked, marks_of, learner, convert, along):
    course, done = marked
    assert all(each.marked for each in done)
    found = marks_of(course, learner, FORMS)
    assert found["convert-1-check"] == convert
    assert found["along-1-check"] == along


def test_a_written_reason_waits_for_a_mark_by_hand_unless_it_is_empty(marked):
    course, _ = marked
    waiting = {result.learner for result in results(course) if result.by_hand}
    assert waiting == {"right", "damaged"}


def test_what_was_mended_is_told(marked):
    course, done = marked
    notes = {each.learner: each.notes for each in done}
    assert notes["right"] == notes["wrong"] == notes["untouched"] == []
    assert notes["damaged"] == [
        "The answer cell convert-1 is there 2 times; the original was marked.",
        "The check cell along-1-check was deleted and has been put back.",
    ]
    assert "Put right before marking" in _autograded(course, "damaged").cells[0].source


def test_outputs_are_recorded_as_a_kernel_would(marked):
    course, _ = marked
    said, value = _outputs(course, "wrong", "convert-1-check")
    assert said.output_type == "display_data"
    assert said.data[MARKS_MIME]["slips"] == ["axis 90 out"]
    assert value.output_type == "execute_result"
    assert value.data == {"text/plain": "2.5"}
    # The hidden check is there when marking, and its word comes last.
    assert [
        out.data.get(MARKS_MIME, {}).get("state") for out in _outputs(course, "right", "along-1-check")
    ] == [
        "Recorded",
        "Right",
        None,
    ]


def test_the_unknown_pair_is_the_one_before_this_learner(course, fill, submit, marks_of):
    box = open_pairs(course.root / "release" / BENCH)
    for learner in ("Mara Quillane", "Corra Lindlow"):
        lens = box.pair("A", learner).power("R")
        sphere, cylinder, axis = (float(value) for value in lens.sphere_cylinder("minus"))
        line = f'"{round(sphere * 4) / 4:+.2f} {round(cylinder * 4) / 4:+.2f} x {round(axis):03d}"'
        submit(course, learner.split()[0], BENCH, fill(course, BENCH, learner=repr(learner), right_a=line))
    mark(course)
    assert marks_of(course, "Mara", BENCH) == {"right-a-check": 5.0}
    assert marks_of(course, "Corra", BENCH) == {"right-a-check": 5.0}


def test_only_what_is_new_is_marked_again(course, fill, submit):
    submit(course, "t101", FORMS, fill(course, FORMS, **RIGHT))
    assert len(mark(course)) == 1
    assert mark(course) == []
    assert len(mark(course, again=True)) == 1
    assert mark(course, learners=["t102"], again=True) == []
    path = submit(course, "t101", FORMS, fill(course, FORMS))
    later = path.stat().st_mtime + 10
    os.utime(path, (later, later))
    assert [str(each) for each in mark(course)] == ["t101, 91-forms: marked."]


def test_a_mark_given_by_hand_outlives_marking_again(course, fill, submit, marks_of):
    submit(course, "t101", FORMS, fill(course, FORMS, **RIGHT, why="They turn."))
    mark(course)
    with gradebook(course) as book:
        book.find_grade("why", FORMS, FORMS, "t101").manual_score = 1.5
        book.db.commit()
    mark(course, again=True)
    assert marks_of(course, "t101", FORMS)["why"] == 1.5


# --- the bench --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("3.5", "3.5"),
        ("9", "5.0"),
        ("__import__('numpy').float64(1.5)", "1.5"),
        ("-1", "0.0"),
        ("True", "1.0"),
    ],
)
def test_a_mark_is_a_plain_number_within_the_points(value, text):
    # nbgrader 0.9.6 gives full marks for a negative and for NumPy's number, and
    # fails the whole submission above the cell's points (tried).
    (output,) = Bench().run(value, points=5.0)
    assert output.data == {"text/plain": text}


@pytest.mark.parametrize(
    "value", ["float('nan')", "float('inf')", "'4.0'", "[4.0]", "1 / 0", "nobody", "exit(3)"]
)
def test_a_check_that_fails_gives_no_mark_and_says_so(value):
    (output,) = Bench().run(value, points=5.0)
    assert output.output_type == "error"
    assert output.ename == FAULT
    assert output.evalue.startswith("This check could not be carried out")
    assert "Traceback" not in "".join(output.traceback)


def test_a_warning_costs_nothing():
    warned = Bench().run(
        "import warnings, sys\nwarnings.warn('old')\nprint('x', file=sys.stderr)\n2.0", points=2.0
    )
    assert [output.output_type for output in warned] == ["execute_result"]


def test_a_set_up_cell_runs_but_shows_nothing():
    bench = Bench()
    assert bench.run("from optics.lesson import *\nnobody_has_this_name", points=None) == []
    assert "check" in bench.names


def test_a_check_without_marks_is_run_for_its_words():
    bench = Bench()
    bench.run("from optics.lesson import *", points=None)
    # The reply alone, and no nought under it that would look like a mark.
    (said,) = bench.run('check.conversion("", given="+1.00 -0.50 x 090", to="plus", points=0)', points=None)
    assert "Not answered yet" in said.data["text/plain"]
    assert bench.run('bench("A", "nobody")', points=None) == []


def test_an_answer_cannot_take_a_checks_place():
    bench = Bench()
    bench.run("from optics.lesson import *", points=None)
    check = bench.names["check"]
    bench.read('check = "mine"\nright = "plano"', untouched='right = ""')
    assert bench.names["check"] is check
    assert bench.names["right"] == "plano"


def test_what_cannot_be_read_counts_as_not_answered():
    bench = Bench()
    (note,) = bench.read("right = input()", untouched='right = ""')
    assert bench.names["right"] == ""
    assert "was not read" in note.data["text/plain"]
    (note,) = bench.read("rihgt = 'plano'", untouched='right = ""')
    assert note.data["text/plain"] == 'There is no answer named "right" in this cell any more.'


# --- feedback and report ------------------------------------------------------------------


def test_feedback_pages_ask_nobody_and_run_nothing(marked):
    course, _ = marked
    done = hand_back(course)
    assert done.troubles == []
    assert sorted(path.name for path in done.folder.iterdir()) == [
        "all.zip", "damaged.zip", "names.csv", "right.zip", "untouched.zip", "wrong.zip",
    ]  # fmt: skip
    with zipfile.ZipFile(done.folder / "wrong.zip") as archive:
        assert archive.namelist() == ["91-forms.html"]
        page = archive.read("91-forms.html").decode()
    assert "<script" not in page
    assert not re.search(r"(src|href)=[\"'](?!#|data:image)", page)
    assert not re.search(r"@import|url\(", page)
    assert "The axis stands at right angles to where it should." in page
    assert "2.5 of 5" in page
    assert "+1.00 +1.50 x 170" in page
    # No Python for somebody who does not program: neither checks nor set-up.
    assert "check.conversion" not in page
    assert "import" not in page


def test_handing_back_twice_keeps_the_first(marked):
    course, _ = marked
    first, second = hand_back(course, learners=["right"]), hand_back(course, learners=["right"])
    assert first.folder != second.folder
    assert (first.folder / "right.zip").is_file()


def test_the_class_report(marked):
    course, _ = marked
    folder = write_report(course)

    def rows(name):
        with (folder / name).open(encoding="utf-8-sig", newline="") as file:
            return list(csv.DictReader(file))

    marks = {(row["id"], row["question"]): row for row in rows("marks.csv")}
    assert len(marks) == 12
    assert marks["wrong", "convert-1-check"]["mark"] == "2.5"
    assert marks["wrong", "convert-1-check"]["slips"] == "axis 90 out"
    assert marks["right", "why"]["waits for a mark by hand"] == "yes"
    totals = {row["id"]: row for row in rows("totals.csv")}
    assert (totals["right"]["marks"], totals["right"]["out of"]) == ("7.0", "9.0")
    assert totals["wrong"]["axis %"] == "0"
    assert totals["right"]["axis %"] == "100"
    skills = [row for row in rows("skills.csv") if row["id"] == "wrong" and row["skill"] == "axis"]
    assert [(row["question"], row["practice"], row["mark"]) for row in skills] == [
        ("convert-1-check", "", "0.0"),
        ("crossed-1-check", "yes", "0.0"),
    ]
    assert rows("slips.csv") == [
        {"chapter": FORMS, "question": "convert-1-check", "slip": "axis 90 out", "learners": "1"}
    ]
    page = (folder / "class.html").read_text("utf-8")
    assert "axis 90 out (1)" in page
    assert "crossed-1 (practice)" in page
    assert "<script" not in page


def test_a_name_in_a_spreadsheet_is_never_a_formula(course, tmp_path, fill):
    (course.root / "class-list.csv").write_text('id,name\nt101,"=HYPERLINK(""x"") Mara"\n', "utf-8")
    work = tmp_path / "t101.ipynb"
    work.write_text(nbformat.writes(fill(course, FORMS, **RIGHT)), "utf-8")
    gather(course, [work])
    mark(course)
    text = (write_report(course) / "totals.csv").read_text("utf-8-sig")
    assert "t101,\"'=HYPERLINK" in text


def test_names_of_the_class_list_stand_in_the_gradebook(course, tmp_path, fill):
    (course.root / "class-list.csv").write_text("id,name\nt101,Mara Ann Quillane\n", "utf-8")
    work = tmp_path / "t101.ipynb"
    work.write_text(nbformat.writes(fill(course, FORMS, **RIGHT)), "utf-8")
    gather(course, [work])
    with gradebook(course) as book:
        student = book.find_student("t101")
        assert (student.first_name, student.last_name) == ("Mara Ann", "Quillane")
