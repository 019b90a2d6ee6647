"""Formgrader in a real browser: the marked class, one submission, and no learner's script."""

import json
import shutil
from pathlib import Path

import pytest

from optics.course.folder import open_course
from optics.course.gather import gather
from optics.course.lab import PLAIN
from optics.course.marking import mark

FORMS = "91-forms"
SCRIPT = "<script>document.title = 'taken'</script>"


@pytest.fixture(scope="module")
def marked(released_once, tmp_path_factory, fill):
    """A class of three, gathered and marked."""
    import nbformat

    root = tmp_path_factory.mktemp("formgrader") / "course"
    shutil.copytree(released_once.root, root)
    course = open_course(root)
    (root / "class-list.csv").write_text(
        "id,name\nt101,Mara Quillane\nt102,Corra Lindlow\nt103,Orwin Fenwold\n", "utf-8"
    )
    inbox = tmp_path_factory.mktemp("mail")
    answers = {
        "t101": {"convert_1": '"+1.00 +1.50 x 080"', "along_1": '"+1.00"', "why": f"They turn. {SCRIPT}"},
        "t102": {"convert_1": '"+1.00 +1.50 x 170"', "along_1": '"+1.00"'},
        "t103": {},
    }
    for learner, given in answers.items():
        nbformat.write(fill(course, FORMS, **given), inbox / f"{learner}.ipynb")
    gather(course, [inbox])
    assert all(each.marked for each in mark(course))
    return course


@pytest.fixture(scope="module")
def running(marked, start_lab):
    """JupyterLab on the course, as `optics teach` opens it."""
    return start_lab(marked.root)


@pytest.fixture
def desk(running, page):
    """The same, with somebody logged in."""
    page.goto(f"{running.url}/lab?token={running.token}", wait_until="commit")
    return running


def test_the_marked_class_is_shown(desk, page):
    page.goto(f"{desk.url}/formgrader/gradebook/{FORMS}/{FORMS}")
    page.get_by_text("Submission #3").wait_for()
    assert page.locator("tbody tr").count() == 3
    page.goto(f"{desk.url}/formgrader/manage_students")
    page.get_by_text("Quillane, Mara").wait_for()
    assert page.get_by_text("Lindlow, Corra").count() == 1
    page.goto(f"{desk.url}/formgrader/manage_submissions/{FORMS}")
    page.get_by_text("Quillane, Mara").wait_for()
    assert page.get_by_text("graded").count() >= 2


def _open_submission(desk, page, marked, learner):
    from optics.course.grader import gradebook

    with gradebook(marked) as book:
        name = book.find_submission_notebook(FORMS, FORMS, learner).id
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{desk.url}/formgrader/submissions/{name}/")
    page.get_by_text("Write each lens in the form asked for.").wait_for()
    return asked


def test_one_submission_shows_answers_replies_and_marks(desk, page, marked):
    _open_submission(desk, page, marked, "t102")
    assert page.get_by_text("+1.00 +1.50 x 170").count() >= 1
    assert page.get_by_text("The axis stands at right angles to where it should.").count() == 1
    page.wait_for_function("() => document.querySelector('#convert-1-check').placeholder !== ''")
    assert (
        page.locator("#convert-1-check").get_attribute("placeholder") == "2.5"
    )  # an axis 90 out harms: half at most


def test_a_learners_script_is_not_run_and_nobody_else_is_asked(desk, page, marked):
    asked = _open_submission(desk, page, marked, "t101")
    assert page.title() != "taken"
    assert page.get_by_text("document.title = 'taken'").count() == 1
    assert {url.split("/")[2] for url in asked if url.startswith("http")} == {desk.url.split("/")[2]}


def test_marking_again_from_formgrader_runs_nothing_either(desk, page, marked):
    source = marked.notebook("submitted", FORMS, "t103")
    victim = marked.root / "ran"
    plain = json.loads(source.read_text("utf-8"))
    for cell in plain["cells"]:
        if cell["id"] == "convert-1":
            cell["source"] = [f"convert_1 = open({str(victim)!r}, 'w')"]
        if cell["id"] == "along-1":
            cell["source"] = ['along_1 = "+1.00"']
    source.write_text(json.dumps(plain), "utf-8")
    page.goto(f"{desk.url}/formgrader/manage_submissions/{FORMS}")
    done = page.evaluate(
        """async ([path]) => {
            const cookie = document.cookie.match(/_xsrf=([^;]+)/);
            const answer = await fetch(path, {method: 'POST', headers: {'X-CSRFToken': cookie ? cookie[1] : ''}});
            return await answer.json();
        }""",
        [f"{desk.url}/formgrader/api/submission/{FORMS}/t103/autograde"],
    )
    assert done["success"], done
    assert not victim.exists()
    _open_submission(desk, page, marked, "t103")
    page.wait_for_function("() => document.querySelector('#along-1-check').placeholder === '2'")


def test_a_learners_jupyterlab_has_no_instructors_menu(start_lab, page, tmp_path, marked):
    shutil.copytree(marked.root / "release", tmp_path / "work")
    plain = start_lab(tmp_path / "work", settings={"JUPYTER_CONFIG_PATH": str(Path(PLAIN))})
    page.goto(f"{plain.url}/lab/tree/{FORMS}/{FORMS}.ipynb?token={plain.token}")
    page.wait_for_selector(".jp-Notebook .jp-Cell")
    assert page.get_by_text("Nbgrader", exact=True).count() == 0
    assert page.get_by_text("Validate", exact=True).count() == 0
    # The words of a released chapter stay closed to a stray double click; answers open to one click.
    words = page.locator(".jp-MarkdownCell .jp-RenderedMarkdown").first
    words.dblclick()
    page.wait_for_timeout(300)
    assert words.is_visible()
    assert page.evaluate(
        "() => window.jupyterapp.shell.currentWidget.content.widgets"
        ".filter((cell) => cell.model.type === 'markdown' && cell.readOnly).every((cell) => cell.rendered)"
    )
