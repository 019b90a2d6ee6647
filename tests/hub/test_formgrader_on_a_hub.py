"""Formgrader through a hub's proxy in a real browser: an instructor at work in it, two at once, and a learner refused."""

from __future__ import annotations

import json
import os
import secrets
import subprocess
from concurrent.futures import ThreadPoolExecutor

import nbformat
import pytest
from browser.real_lab import chromium, why_not
from course.test_looking_closer import _worked
from course_names import BENCH, FORMS
from running_hub import JOSS, MARA, PELL, SECOND, TUTOR

from optics.course.folder import open_course

pytestmark = [pytest.mark.campus, pytest.mark.skipif(bool(why_not()), reason=why_not() or "-")]
PASSWORD = secrets.token_hex(12)


@pytest.fixture(scope="module")
def collected(handed_in):
    """Both chapters handed in, one of them with the moves of a hand; collected and marked by an instructor."""
    hub = handed_in
    people = "".join(f"{who}:{PASSWORD}\n" for who in (TUTOR, SECOND, MARA))
    subprocess.run(["chpasswd"], input=people, text=True, check=True)
    hub.command(TUTOR, "nbgrader", "release_assignment", BENCH)
    for who in (MARA, JOSS):
        hub.command(who, "nbgrader", "fetch_assignment", BENCH)
        path = hub.place / "home" / who / BENCH / f"{BENCH}.ipynb"
        nbformat.write(_worked(open_course(hub.course), who), path)
        hub.command(who, "nbgrader", "submit", BENCH)
    for chapter in (FORMS, BENCH):
        hub.command(TUTOR, "nbgrader", "collect", chapter, "--update")
    hub.command(TUTOR, "python", "-m", "optics", "mark")
    return hub


@pytest.fixture(scope="module")
def log_in(collected):
    """Give a function that logs somebody in at the hub's own page, in a browser of their own."""
    with chromium() as browser:

        def page_of(who):
            page = browser.new_context(viewport={"width": 1280, "height": 1000}).new_page()
            page.goto(f"{collected.address}/hub/login")
            page.locator("#username_input").fill(who)
            page.locator("#password_input").fill(PASSWORD)
            page.locator("#login_submit").click()
            page.wait_for_url(f"**/user/{who}/**", wait_until="commit")
            page.troubles = []
            page.on("pageerror", lambda error: page.troubles.append(str(error)))
            return page

        yield page_of


def _to_submission(page, hub, who, chapter, learner):
    """By the links that an instructor follows, from formgrader's own start to a learner's submission."""
    page.goto(f"{hub.address}/user/{who}/formgrader")
    page.get_by_role("link", name="Manual Grading").click()
    for opened in (f"**/gradebook/{chapter}", f"**/gradebook/{chapter}/{chapter}"):
        page.locator("#main-table").get_by_role("link", name=chapter).click()
        page.wait_for_url(opened)
    page.get_by_role("link", name="Submission #1").wait_for()
    page.get_by_role("button", name="Show All Names").click()
    page.get_by_role("link", name=learner).click()
    # Marks and comments are fetched after the page, and what was typed before is written over.
    page.wait_for_function(
        "() => [...document.querySelectorAll('.comment')].every((each) => each.placeholder !== '')"
        " && [...document.querySelectorAll('input.score')].some((each) => each.placeholder !== '')"
    )


def _typed(page, where, text, kept="/api/grade/"):
    with page.expect_response(lambda each: kept in each.url and each.request.method == "PUT") as done:
        page.locator(where).fill(text)
        page.locator(where).blur()
    assert done.value.ok


def _picture(page, name):
    """A picture to look at, where OPTICS_PICTURES names a folder for it."""
    if folder := os.environ.get("OPTICS_PICTURES"):
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)


def _marks(hub):
    found = hub.run(
        SECOND,
        f"""
        import json
        from optics.course.folder import open_course
        from optics.course.results import results
        found = results(open_course({str(hub.course)!r}))
        print(json.dumps([[r.learner, r.question, r.mark] for r in found if not r.practice]))
        """,
    )
    return {(learner, question): mark for learner, question, mark in json.loads(found)}


def test_an_instructor_marks_a_reason_looks_at_a_reading_and_hands_back(collected, log_in):
    hub = collected
    page = log_in(TUTOR)
    page.goto(f"{hub.address}/user/{TUTOR}/formgrader")
    row = page.locator("tr", has_text=FORMS)
    row.wait_for()
    _picture(page, "assignments")
    page.get_by_role("link", name="Manage Students").click()
    page.locator("td", has_text=MARA).wait_for()
    _to_submission(page, hub, TUTOR, FORMS, MARA)
    assert page.get_by_text(f"The powers change places, says {MARA}.").count() == 1
    _typed(page, "#why", "1.5")
    _typed(page, "#why-comment", "Say which way they turn.", kept="/api/comment/")
    _picture(page, "submission")
    _to_submission(page, hub, TUTOR, BENCH, MARA)
    reading = page.locator("details", has_text="As it was read").last
    reading.locator("summary").click()
    assert reading.locator("img").count() == 2 and "drum to -1.25 D" in reading.inner_text()
    assert reading.locator("img").evaluate_all("(all) => all.every((each) => each.naturalWidth > 0)")
    _picture(page, "as it was read")
    for button, said in (("comment", "generated feedback"), ("envelope", "released feedback")):
        page.goto(f"{hub.address}/user/{TUTOR}/formgrader/manage_assignments")
        page.locator("tr", has_text=FORMS).locator(f".glyphicon-{button}").click()
        told = page.locator(".modal.in")
        told.wait_for()
        _picture(page, button)
        assert f"Successfully {said}" in told.inner_text()
    hub.command(MARA, "nbgrader", "fetch_feedback", FORMS)
    sent = hub.run(
        MARA,
        f"import pathlib; print(*(p.read_text('utf-8') for p in pathlib.Path({FORMS!r}).glob('feedback/*/*.html')))",
    )
    assert "Say which way they turn." in sent and "1.5 of 2" in sent
    assert page.troubles == []


def test_a_learner_is_refused_formgrader_their_own_as_the_instructors(collected, log_in):
    hub = collected
    page = log_in(MARA)
    for whose, refused in ((TUTOR, 403), (MARA, 404)):
        answer = page.goto(f"{hub.address}/user/{whose}/formgrader/manage_assignments")
        assert answer.status == refused
        _picture(page, f"refused {refused}")
    answer = page.goto(f"{hub.address}/user/{TUTOR}/formgrader/gradebook/{FORMS}/{FORMS}")
    assert answer.status == 403 and PELL not in page.content()
    page.goto(f"{hub.address}/user/{MARA}/lab")
    page.get_by_text("Terminal", exact=True).first.wait_for()  # where a chapter is fetched and handed in
    assert page.get_by_text("Nbgrader", exact=True).count() == 0
    # The same address is a page to whom it belongs.
    answer = log_in(SECOND).goto(f"{hub.address}/user/{SECOND}/formgrader/manage_assignments")
    assert answer.status == 200


def test_two_instructors_at_once_in_two_chapters_get_the_same_marks(collected, log_in):
    hub = collected
    before = _marks(hub)
    jobs = [(TUTOR, FORMS), (SECOND, BENCH)]
    with ThreadPoolExecutor(2) as both:
        said = list(
            both.map(
                lambda job: hub.command(job[0], "python", "-m", "optics", "mark", job[1], "--again"), jobs
            )
        )
    assert all("submissions were marked" in each for each in said), said
    assert _marks(hub) == before
    pages = [log_in(TUTOR), log_in(SECOND)]
    _to_submission(pages[0], hub, TUTOR, FORMS, JOSS)
    _to_submission(pages[1], hub, SECOND, BENCH, JOSS)
    for mark in ("1", "2", "0.5"):
        _typed(pages[0], "#why", mark)
        _typed(pages[1], "#right-a-check", mark)
    after = _marks(hub)
    assert {key: mark for key, mark in after.items() if before.get(key) != mark} == {
        (JOSS, "why"): 0.5,
        (JOSS, "right-a-check"): 0.5,
    }
