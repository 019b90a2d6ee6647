"""Formgrader in a real browser: the marked class, one submission, and no learner's script."""

import json
import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import pytest
from course.test_looking_closer import _worked
from course_names import BENCH, FORMS
from real_lab import START_SECONDS

from optics.course.as_it_was_read import PIXELS
from optics.course.feedback import write_feedback
from optics.course.folder import open_course
from optics.course.gather import gather
from optics.course.handed_out import box_for, stamp_of
from optics.course.lab import PLAIN
from optics.course.marking import mark

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
    """JupyterLab on the course, opened by `optics teach`."""
    return start_lab(marked.root, "teach", program="optics")


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


def _open_submission(
    desk, page, marked, learner, chapter=FORMS, words="Write each lens in the form asked for."
):
    from optics.course.grader import gradebook

    with gradebook(marked) as book:
        name = book.find_submission_notebook(chapter, chapter, learner).id
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{desk.url}/formgrader/submissions/{name}/")
    page.get_by_text(words).first.wait_for()
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


def test_marks_and_comments_by_hand_reach_the_feedback_and_practice_bears_no_nought(desk, page, marked):
    _open_submission(desk, page, marked, "t101")
    assert page.locator("div.prompt", has_text="Out").count() == 2  # the two checks that count
    # Marks and comments are fetched after the page, and what was typed before is written over; and the
    # sign that they are saved fades within a second, so the answers to the saving are waited for.
    page.wait_for_function("() => document.querySelector('#why-comment').placeholder.startsWith('Type any')")
    page.wait_for_function("() => document.querySelector('#along-1-check').placeholder === '2'")
    for where, typed, saved in (
        ("#why", "1.5", "/api/grade/"),
        ("#why-comment", "Say which way they turn.", "/api/comment/"),
    ):
        with page.expect_response(
            lambda each, to=saved: to in each.url and each.request.method == "PUT"
        ) as done:
            page.locator(where).fill(typed)
            page.locator(where).blur()
        assert done.value.ok
    page.goto(f"{desk.url}/formgrader/manage_assignments")
    page.locator("tr", has_text=FORMS).locator(".glyphicon-comment").click()
    page.locator(".modal.in", has_text="Successfully generated feedback").wait_for()
    told = marked.step("feedback", "t101", FORMS) / f"{FORMS}.html"
    page.goto(told.as_uri())
    assert page.get_by_text("Say which way they turn.").count() == 1
    assert page.locator("#why .marks-of").text_content() == "1.5 of 2"


def _seen_again(page):
    """What stands in the eyepiece again, once its line is opened: as a learner or an instructor sees it."""
    shown = page.locator("details", has_text="As it was read").last
    assert shown.locator("img").count() == 2 and not shown.locator("img").first.is_visible()
    line = shown.locator("summary")
    # It is seen that the line opens, and a picture is not framed as something wrong.
    assert line.evaluate("(each) => getComputedStyle(each).display") == "list-item"
    line.click()
    assert shown.locator("img").first.evaluate("(each) => getComputedStyle(each).borderTopWidth") == "0px"
    shown.scroll_into_view_if_needed()
    images = shown.locator("img").evaluate_all(
        "(all) => all.map((each) => [each.complete, each.naturalWidth, each.getBoundingClientRect().width, each.alt])"
    )
    assert all(done and wide == seen == PIXELS for done, wide, seen, _ in images)
    assert len({alt for *_, alt in images}) == 2 and all(len(alt) > 20 for *_, alt in images)
    assert "drum to -1.25 D" in shown.inner_text() and "no mark rests on it" in shown.inner_text()
    return shown


def test_the_reading_is_seen_again_under_its_question_in_formgrader_and_on_the_feedback(
    desk, page, marked, tmp_path
):
    import nbformat

    nbformat.write(_worked(marked), tmp_path / "t101.ipynb")
    gather(marked, [tmp_path / "t101.ipynb"])
    assert [each.marked for each in mark(marked, [BENCH])] == [True]
    asked = _open_submission(desk, page, marked, "t101", BENCH, "The bench")
    page.wait_for_function("() => document.querySelector('#right-a-check').placeholder === '5'")
    shown = _seen_again(page)
    # Under the mark's own question, below the answer that it belongs to.
    question = page.locator("#right-a-check")
    assert question.bounding_box()["y"] < shown.bounding_box()["y"]
    assert {url.split("/")[2] for url in asked if url.startswith("http")} == {desk.url.split("/")[2]}
    assert write_feedback(marked, [BENCH], ["t101"]) == []
    page.goto((marked.step("feedback", "t101", BENCH) / f"{BENCH}.html").as_uri())
    page.get_by_text("The chapter with your answers").click()
    _seen_again(page)
    assert page.locator("section#right-a-check details img").count() == 2


def _release_by_button(desk, page, chapter):
    page.goto(f"{desk.url}/formgrader/manage_assignments")
    page.locator("tr", has_text=chapter).locator(".glyphicon-education").click()
    said = page.locator(".modal.in")
    said.wait_for()
    return said.inner_text()


def test_a_release_by_formgraders_button_is_sealed_stamped_and_never_replaces_unasked(desk, page, marked):
    before = marked.notebook("release", BENCH).read_bytes()
    source = marked.notebook("source", BENCH)
    unchanged = source.read_text("utf-8")
    source.write_text(unchanged.replace("# The bench", "# Another bench"), "utf-8")
    said = _release_by_button(desk, page, BENCH)
    assert "There was an error" in said and "Another version has been released already" in said
    assert marked.notebook("release", BENCH).read_bytes() == before
    shutil.rmtree(marked.step("release", chapter=BENCH))
    said = _release_by_button(desk, page, BENCH)
    assert "is ready to hand out, with its unknown pairs sealed" in said and "DEBUG" not in said
    stamp = stamp_of(json.loads(marked.notebook("release", BENCH).read_text("utf-8"))["metadata"])
    assert stamp.intake == "spring"
    assert box_for(marked, BENCH, stamp) is not None
    assert list((marked.root / "to-hand-out").glob("*.zip"))


@pytest.mark.skipif(os.name == "nt", reason="Windows ends programs in another way")
@pytest.mark.thorough
@pytest.mark.parametrize("way", [signal.SIGINT, signal.SIGTERM])
def test_stopping_stops_everything(start_lab, page, tmp_path, released_once, way):
    root = shutil.copytree(released_once.root, tmp_path / "course")
    lab = start_lab(root, "teach", program="optics")
    lab.put("note.ipynb", ["import os; os.getpid()"])
    lab.open(page, "note.ipynb")
    mine = _below(lab.process.pid)
    assert len(mine) >= 2  # JupyterLab and its kernel
    if way == signal.SIGINT:
        os.killpg(lab.process.pid, way)  # as a terminal does with Ctrl-C
    else:
        lab.process.terminate()
    assert lab.process.wait(START_SECONDS) in (0, 128 + way)
    # A kernel that nobody stops stays for good.
    left = time.monotonic() + START_SECONDS
    while any(map(_alive, mine)) and time.monotonic() < left:
        time.sleep(0.1)
    assert not any(map(_alive, mine))


def _below(number):
    """Processes that a process has started, and those that these have."""
    listed = subprocess.run(["ps", "-eo", "pid=,ppid="], capture_output=True, text=True, check=True).stdout
    above = dict(tuple(map(int, line.split())) for line in listed.splitlines())
    found, grown = {number}, True
    while grown:
        more = {child for child, parent in above.items() if parent in found} - found
        found, grown = found | more, bool(more)
    return found - {number}


def _alive(number):
    state = subprocess.run(
        ["ps", "-o", "stat=", "-p", str(number)], capture_output=True, text=True, check=False
    ).stdout
    return bool(state.strip()) and not state.startswith("Z")


@pytest.mark.thorough
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
