"""Bounds, reasons in words, going on after a break, and pictures that survive."""

import base64
import json
import re
import sqlite3
import threading
import time
from contextlib import suppress

import nbformat
import pytest
from course_names import FORMS
from nbgrader.converters import Autograde, GenerateAssignment

from optics.course.feedback import hand_back
from optics.course.gather import gather
from optics.course.grader import Outcome, gradebook, run_step
from optics.course.marking import LOST_GRADEBOOK, mark
from optics.course.release import release
from optics.course.results import results
from optics.course.workers import in_processes

RIGHT = {"learner": '"Mara"', "convert_1": '"+1.00 +1.50 x 080"', "along_1": '"+1.00"'}
PNG = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="


# --- jobs for the processes; they stand here so that a process can import them ------------------


def job(what, number):
    match what:
        case "sleep":
            time.sleep(60)
        case "eat":
            return len(bytearray(3_000_000_000))
        case "die":
            import os

            os._exit(3)
        case "raise":
            raise ValueError("one  of\nthose")
    return number * 2


@pytest.mark.thorough
def test_what_takes_too_long_too_much_or_dies_is_named_and_the_rest_goes_on():
    jobs = [("fine", 0), ("sleep", 1), ("fine", 2), ("die", 3), ("raise", 4), ("eat", 5), ("fine", 6)]
    done = {n: (fine, said) for n, fine, said in in_processes(job, jobs, 2, longest_s=3, most_mb=500)}
    assert sorted(done) == list(range(7))
    assert [done[n] for n in (0, 2, 6)] == [(True, 0), (True, 4), (True, 12)]
    assert "more than 3 s" in done[1][1]
    assert "broke off" in done[3][1]
    assert "one of those" in done[4][1]
    assert "memory" in done[5][1]
    assert not any(fine for n, (fine, _) in done.items() if n in (1, 3, 4, 5))


@pytest.mark.thorough
def test_processes_give_the_same_marks_as_one(course, fill, submit):
    for number in range(5):
        submit(course, f"w{number}", FORMS, fill(course, FORMS, **(RIGHT if number % 2 else {})))
    submit(course, "broken", FORMS, "{")
    one = {each.learner: str(each) for each in mark(course)}
    marks = results(course)
    both = {each.learner: str(each) for each in mark(course, again=True, processes=2)}
    assert both == one
    assert results(course) == marks
    assert sum(result.mark for result in marks) == 14.0


# --- reasons --------------------------------------------------------------------------------


@pytest.mark.thorough
def test_a_lost_gradebook_says_what_to_do_and_releasing_again_does_it(course, fill, submit, marks_of):
    submit(course, "t101", FORMS, fill(course, FORMS, **RIGHT))
    mark(course)
    before = marks_of(course, "t101", FORMS)
    (course.root / "gradebook.db").unlink()
    done = mark(course)[0]
    assert not done.marked and done.notes == [LOST_GRADEBOOK]
    kept = {path: path.read_bytes() for path in (course.root / "release").rglob("*.ipynb")}
    release(course, variants=4)
    assert {path: path.read_bytes() for path in (course.root / "release").rglob("*.ipynb")} == kept
    assert mark(course)[0].marked
    assert marks_of(course, "t101", FORMS) == before


@pytest.mark.parametrize(
    ("log", "said"),
    [
        ("sqlite3.OperationalError: database is locked\n", "Another program keeps the gradebook locked."),
        ("x\nValueError: odd cell\n[ERROR] Please see the the above traceback for details", "(odd cell)"),
        ("", "gave no reason"),
    ],
)
def test_a_reason_is_a_sentence(log, said):
    reason = Outcome(False, log).reason
    assert said in reason and reason.endswith(".") and "traceback" not in reason


# --- going on --------------------------------------------------------------------------------


class Killed(BaseException):
    """The machine went off."""


@pytest.mark.parametrize("after", [1, 2, 3, 5, 7, 8])
def test_killed_in_marking_and_run_again_gives_the_same_gradebook(course, fill, submit, monkeypatch, after):
    for number in range(3):
        submit(course, f"w{number}", FORMS, fill(course, FORMS, **RIGHT))
    left = after

    import nbconvert.writers.files as files

    write = files.FilesWriter.write

    def stopping(*given, **named):
        nonlocal left
        left -= 1
        if left == 0:
            raise Killed
        return write(*given, **named)

    with monkeypatch.context() as patch, suppress(Killed):
        patch.setattr(files.FilesWriter, "write", stopping)
        mark(course)
    again = mark(course)
    assert all(each.marked for each in again)
    found = results(course)
    assert mark(course) == []
    assert sum(result.mark for result in found) == 21.0
    assert len({(r.learner, r.question) for r in found}) == len(found)


def test_a_mark_given_by_hand_stands_through_all_of_it(course, fill, submit, marks_of):
    submit(course, "t101", FORMS, fill(course, FORMS, **RIGHT))
    mark(course)
    with gradebook(course) as book:
        book.find_grade("why", FORMS, FORMS, "t101").manual_score = 1.5
        book.db.commit()
    mark(course, again=True)
    assert marks_of(course, "t101", FORMS)["why"] == 1.5


# --- pictures ---------------------------------------------------------------------------------


def _with(notebook, attachments, text):
    cell = next(cell for cell in notebook.cells if cell.id == "why")
    cell.source, cell.attachments = text, attachments
    return notebook


@pytest.mark.parametrize(
    ("attachments", "shown", "told"),
    [
        ({"image.png": {"image/png": PNG}}, 1, ""),
        ({"a.svg": {"image/svg+xml": "<svg onload='alert(1)'/>"}}, 0, "did not come"),
        ({"a.webp": {"image/webp": PNG}}, 0, "did not come"),
        ({"a.pdf": {"application/pdf": PNG}}, 0, "did not come"),
        ({"a.png": {"image/png": "x" * 3_000_000}}, 0, "did not come"),
        ({"a.png": ["image/png"]}, 0, "did not come"),
        ({"a.png": {"text/html": "<script>1</script>"}}, 0, "did not come"),
        ({}, 0, "did not come"),
    ],
)
def test_a_pasted_picture_comes_into_the_feedback_and_never_takes_the_page(
    course, fill, tmp_path, attachments, shown, told
):
    name = next(iter(attachments), "gone.png")
    notebook = fill(course, FORMS, **RIGHT)
    raw = nbformat.writes(_with(notebook, {}, f"See ![mine](attachment:{name}) and\n\nthe rest."))
    plain = json.loads(raw)
    for cell in plain["cells"]:
        if cell["id"] == "why":
            cell["attachments"] = attachments
    file = tmp_path / "t101.ipynb"
    file.write_text(json.dumps(plain), "utf-8")
    gather(course, [file], learner="t101")
    assert mark(course)[0].marked
    assert hand_back(course).troubles == []
    page = (course.step("feedback", "t101", FORMS) / f"{FORMS}.html").read_text("utf-8")
    assert page.count("data:image/png;base64,") == shown
    assert told in page and "the rest." in page
    assert not re.search(r"<(script|svg)", page)


def test_the_picture_is_a_picture():
    assert base64.b64decode(PNG).startswith(b"\x89PNG")


def test_two_pictures_of_one_name_stay_with_their_cells(course, fill, submit):
    notebook = _with(
        fill(course, FORMS, **RIGHT), {"image.png": {"image/png": PNG}}, "![a](attachment:image.png)"
    )
    other = nbformat.v4.new_markdown_cell("![b](attachment:image.png)")
    other.attachments = {"image.png": {"image/gif": "R0lGODlhAQABAAAAACw="}}
    notebook.cells.insert(2, other)
    submit(course, "t101", FORMS, notebook)
    mark(course)
    assert hand_back(course).troubles == []
    page = (course.step("feedback", "t101", FORMS) / f"{FORMS}.html").read_text("utf-8")
    assert "data:image/png" in page and "data:image/gif" in page


@pytest.mark.thorough
def test_a_gradebook_that_another_holds_for_some_seconds_is_waited_for(course, submit, fill):
    submit(course, "t101", FORMS, fill(course, FORMS))
    other = sqlite3.connect(course.root / "gradebook.db", check_same_thread=False, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    done = threading.Timer(9.0, other.rollback)
    done.start()
    outcome = run_step(course, Autograde, FORMS, "t101")
    done.join()
    other.close()
    assert outcome.success, outcome.reason


def test_ctrl_c_ends_the_work_and_is_no_fault_of_a_chapter(course):
    class Stopped(GenerateAssignment):
        def start(self):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_step(course, Stopped, FORMS)
