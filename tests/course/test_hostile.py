"""Submissions made to do harm: none is run, none stops the others, none shows a script."""

import copy
import json
import os
import re
import shutil
import sys

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_output, new_raw_cell

from optics.course.feedback import hand_back
from optics.course.folder import open_course
from optics.course.grader import gradebook
from optics.course.marking import CheckAnswers, mark
from optics.course.report import write_report
from optics.course.results import results

FORMS = "91-forms"
RIGHT = {"learner": '"Mara"', "convert_1": '"+1.00 +1.50 x 080"', "along_1": '"+1.00"'}
SCRIPT = "<script>document.title = 'taken'</script>"


def _victim(course):
    return course.root / "ran"


def _trap(course):
    """Python that would leave a trace if anybody ran it."""
    return f"open({str(_victim(course))!r}, 'w').close()"


ATTACKS = {
    "an endless loop": lambda course: "while True:\n    pass",
    "leaving at once": lambda course: "import os\nos._exit(0)",
    "reading the solutions": lambda course: (
        f"convert_1 = open({str(course.notebook('source', FORMS))!r}).read()"
    ),
    "a trap in an answer": lambda course: f"convert_1 = {_trap(course)}",
    "a trap as a decorator": lambda course: f"@{_trap(course)}\ndef convert_1(): ...",
    "a trap in a default": lambda course: f"def convert_1(x={_trap(course)}): ...",
    "a trap in a comprehension": lambda course: f"convert_1 = [{_trap(course)} for _ in 'x']",
    "a trap behind a magic": lambda course: f"!touch '{_victim(course)}'",
    "a system call": lambda course: f"import os; os.system('touch \"{_victim(course)}\"')",
    "abs made anew": lambda course: "abs = lambda x: 0\nfloat = abs\nround = abs",
    "the check made anew": lambda course: "class check:\n    conversion = staticmethod(lambda *a, **k: 5.0)",
    "names of the check": lambda course: 'check = "5.0"\n__builtins__ = {}\nconvert_1 = ""',
    "the gradebook edited": lambda course: (
        f"import sqlite3\nsqlite3.connect({str(course.root / 'gradebook.db')!r})"
    ),
    "much memory": lambda course: "convert_1 = 'x' * 10**12",
    "a huge number": lambda course: "convert_1 = 9 ** 9 ** 9",
    "a bomb of lists": lambda course: "\n".join(
        ["a = [1, 1]", *(f"a = [a, a, a, a]  # {n}" for n in range(90))]
    ),
}


@pytest.fixture(scope="module")
def attacked(released_once, tmp_path_factory, fill, submit):
    """One class in which every learner tries something else."""
    root = tmp_path_factory.mktemp("hostile") / "course"
    shutil.copytree(released_once.root, root)
    course = open_course(root)
    for number, attack in enumerate(ATTACKS):
        notebook = fill(course, FORMS, **RIGHT)
        cell = next(cell for cell in notebook.cells if cell.id == "convert-1")
        cell.source = ATTACKS[attack](course)
        submit(course, f"answer-{number}", FORMS, notebook)
    for place in PLACES:
        submit(course, place, FORMS, _trapped(course, fill(course, FORMS, **RIGHT), place))
    done = {each.learner: each for each in mark(course)}
    found = {}
    for result in results(course):
        if not result.practice:
            found.setdefault(result.learner, {})[result.question] = result.mark
    return course, done, found


PLACES = ("setup", "convert-1-check", "own", "locked", "graded")


def _trapped(course, notebook, place):
    """A notebook with the trap in one of the cells that are not for answers."""
    key = {
        "grade": False,
        "solution": False,
        "locked": True,
        "task": False,
        "schema_version": 3,
        "grade_id": "mine",
    }
    match place:
        case "own":
            notebook.cells.insert(0, new_code_cell(_trap(course)))
        case "locked":
            # A cell that says of itself that it is the instructor's.
            notebook.cells.insert(0, new_code_cell(_trap(course), metadata={"nbgrader": key}))
        case "graded":
            key |= {"grade": True, "points": 50}
            notebook.cells.insert(0, new_code_cell(_trap(course), metadata={"nbgrader": key}))
        case _:
            cell = next(cell for cell in notebook.cells if cell.id == place)
            cell.source = _trap(course) + "\n5.0"
    return notebook


@pytest.mark.parametrize("attack", ATTACKS)
def test_nothing_in_an_answer_cell_is_run(attacked, attack):
    course, done, found = attacked
    learner = f"answer-{list(ATTACKS).index(attack)}"
    assert done[learner].marked
    assert not _victim(course).exists()
    assert found[learner] == {"convert-1-check": 0.0, "along-1-check": 2.0, "why": 0.0}


@pytest.mark.parametrize("place", PLACES)
def test_nothing_elsewhere_is_run_either(attacked, place):
    course, done, found = attacked
    assert done[place].marked
    assert not _victim(course).exists()
    assert found[place] == {"convert-1-check": 5.0, "along-1-check": 2.0, "why": 0.0}


def test_nothing_is_imported_from_a_submission(course, fill, submit, monkeypatch):
    path = submit(course, "t101", FORMS, fill(course, FORMS, **RIGHT))
    path.with_name("colorsys.py").write_text(_trap(course), "utf-8")
    # The instructor's check needs a module that nobody has loaded yet, in a
    # process that looks for modules where it stands.
    with gradebook(course) as book:
        book.find_source_cell("convert-1-check", FORMS, FORMS).source = "import colorsys\n3.0"
        book.db.commit()
    monkeypatch.delitem(sys.modules, "colorsys", raising=False)
    monkeypatch.setattr(sys, "path", ["", *sys.path])
    CheckAnswers().preprocess(*_sanitized(course, path))
    assert not _victim(course).exists()


def test_what_is_run_comes_from_the_gradebook_even_if_a_trap_got_so_far(course, fill, submit):
    notebook = fill(course, FORMS, **RIGHT)
    for cell in notebook.cells:
        if cell.id in {"setup", "convert-1-check"}:
            cell.source = _trap(course)
    CheckAnswers().preprocess(*_sanitized(course, submit(course, "t101", FORMS, notebook)))
    assert not _victim(course).exists()


def _sanitized(course, path):
    notebook = nbformat.read(path, as_version=4)
    names = {"db_url": course.gradebook, "notebook": FORMS, "assignment": FORMS, "student": "t101"}
    return notebook, {"nbgrader": names, "metadata": {"path": str(path.parent)}}


def test_the_trap_would_close_if_anybody_stepped_in(course):
    # Otherwise the tests above could not fail.
    exec(_trap(course))
    assert _victim(course).exists()


def test_one_bad_submission_never_stops_the_others(course, fill, submit, marks_of):
    good = fill(course, FORMS, **RIGHT)
    submit(course, "a-good", FORMS, good)
    submit(course, "b-broken", FORMS, '{"cells": [')
    submit(course, "c-empty", FORMS, "")
    submit(course, "d-other", FORMS, nbformat.v4.new_notebook(cells=[new_code_cell("1")]))
    raw = json.loads(nbformat.writes(good))
    for cell in raw["cells"]:
        cell["metadata"] = {"nbgrader": {"schema_version": 99, "grade_id": [], "grade": "yes", "points": {}}}
    submit(course, "e-keys", FORMS, json.dumps(raw))
    (course.root / "submitted" / "f-nothing" / FORMS).mkdir(parents=True)
    twice = copy.deepcopy(good)
    twice.cells += copy.deepcopy(twice.cells)
    raw = json.loads(nbformat.writes(good))
    raw["cells"] += raw["cells"]
    submit(course, "g-twice", FORMS, json.dumps(raw))
    huge = copy.deepcopy(good)
    huge.cells[1].outputs = [new_output("stream", text="x" * 5_000_000)]
    submit(course, "h-huge", FORMS, huge)
    old = json.loads(nbformat.writes(good)) | {"nbformat": 4, "nbformat_minor": 0}
    for cell in old["cells"]:
        del cell["id"]
    old["metadata"] = {}
    submit(course, "i-old", FORMS, json.dumps(old))
    submit(course, "z-good", FORMS, good)
    done = {each.learner: each for each in mark(course)}
    assert len(done) == 10
    assert {who for who, each in done.items() if not each.marked} == {"b-broken", "c-empty", "f-nothing"}
    assert "not a notebook" in str(done["b-broken"])
    assert "There is no notebook in the submission." in str(done["f-nothing"])
    for who in ("a-good", "e-keys", "g-twice", "h-huge", "i-old", "z-good"):
        found = marks_of(course, who, FORMS)
        assert (found["convert-1-check"], found["along-1-check"]) == (5.0, 2.0), who
    assert sum(marks_of(course, "d-other", FORMS).values()) == 0.0
    assert course.notebook("autograded", FORMS, "h-huge").stat().st_size < 50_000
    assert hand_back(course).troubles == []


def test_no_page_runs_a_learners_script(course, fill, submit):
    notebook = fill(
        course,
        FORMS,
        learner=repr(SCRIPT),
        convert_1=repr(SCRIPT),
        along_1=repr('"><img src=x onerror=alert(1)>'),
        why=f"{SCRIPT}\n\n[press](javascript:alert(1))\n\n<img src=x onerror=alert(1)>\n\n"
        "<iframe src='https://example.org'></iframe>\n\n![](https://example.org/seen.png)\n\n"
        "<a href=' javascript:alert(1)'>press</a> <svg onload=alert(1)>",
    )
    notebook.cells.insert(2, new_markdown_cell(SCRIPT))
    notebook.cells.insert(2, new_raw_cell(SCRIPT, metadata={"raw_mimetype": "text/html"}))
    notebook.cells.insert(
        2, new_code_cell("1", outputs=[new_output("display_data", data={"text/html": SCRIPT})])
    )
    notebook.cells.insert(2, new_code_cell(SCRIPT))
    submit(course, "t101", FORMS, notebook)
    mark(course)
    assert hand_back(course).troubles == []
    page = (course.step("feedback", "t101", FORMS) / f"{FORMS}.html").read_text("utf-8")
    report = (write_report(course) / "class.html").read_text("utf-8")
    for html in (page, report):
        assert not re.search(r"<(script|iframe|svg|object|embed|form|meta http)", html, re.IGNORECASE)
        assert not re.search(r"<[^>]+\son\w+\s*=", html)
        assert not re.search(r"<[^>]+(src|href)\s*=\s*[\"']?\s*(javascript|https?:)", html)
    assert "&lt;script&gt;" in page


def test_formgraders_page_runs_none_either(course, fill, submit):
    # The page is made by the same exporter and settings as in formgrader.
    from nbconvert.exporters import HTMLExporter

    from optics.course.grader import configuration

    notebook = fill(
        course, FORMS, **RIGHT, why=f"{SCRIPT} <img src=x onerror=alert(1)> [x](javascript:alert(1))"
    )
    submit(course, "t101", FORMS, notebook)
    mark(course)
    config = configuration(course)
    config.HTMLExporter.template_name = "formgrade"
    resources = {"base_url": "", "submission_id": "1", "index": 0, "total": 1, "notebook_id": FORMS}
    html, _ = HTMLExporter(config=config).from_filename(
        str(course.notebook("autograded", FORMS, "t101")), resources=resources
    )
    assert "document.title = 'taken'</script>" not in html
    assert "onerror=alert" not in re.sub(r"&lt;.*?&gt;", "", html)
    assert 'href="javascript' not in html
    assert "cdnjs" not in html
    assert "convert_1" in html


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_strange_names_of_folders_are_left_alone(course, fill, submit):
    submit(course, "t101", FORMS, fill(course, FORMS, **RIGHT))
    (course.root / "submitted" / "a [b] *" / FORMS).mkdir(parents=True)
    done = {each.learner: each.marked for each in mark(course)}
    assert done == {"t101": True, "a [b] *": False}


@pytest.mark.parametrize(
    "typed",
    ["sphere<cyl, so it turns", "$x<y$ & more", "1 < 2 and <90>", "<y", "<!-- a", "<a href=", "a<b<c"],
)
def test_a_written_reason_loses_nothing_to_a_sign_for_less(typed):
    import html

    from optics.course.pages import cleaned

    assert html.unescape(cleaned(typed)) == typed
