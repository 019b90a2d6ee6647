"""Feedback on hostile words and attachments, opened in a browser: nothing runs, nothing is fetched, the marks are seen."""

import json
import shutil

import nbformat
import pytest
from course.test_hostile_class import PLAIN as KINDS
from course.test_hostile_class import _course
from course_names import FORMS

GIF = "R0lGODlhAQABAIAAAP///wAAACH5BAEAAAAALAAAAAABAAEAAAICRAEAOw=="
PNG = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
RUNS = "<img src=x onerror=\"document.title='taken'\"><svg onload=\"document.title='taken'\"></svg>"
# Attachments by name and what is said to be in them; and how many pictures are to be seen.
ATTACHED = {
    "png": ({"a.png": {"image/png": PNG}}, 1),
    "gif": ({"a.gif": {"image/gif": GIF}}, 1),
    "two kinds of one picture": ({"a.png": {"image/png": PNG, "image/gif": GIF}}, 1),
    "svg": ({"a.svg": {"image/svg+xml": RUNS}}, 0),
    "html": ({"a.png": {"text/html": RUNS}}, 0),
    "png that is html": ({"a.png": {"image/png": RUNS}}, 0),
    "png that breaks out": ({"a.png": {"image/png": 'x" onerror="document.title=1'}}, 0),
    "pdf": ({"a.pdf": {"application/pdf": PNG}}, 0),
    "name that breaks out": ({'a.png" onerror="document.title=1': {"image/png": PNG}}, 0),
}


@pytest.fixture(scope="module")
def pages(released_once, tmp_path_factory, fill):
    """The feedback page of each kind, made end to end."""
    plain = nbformat.writes(fill(released_once, FORMS, convert_1='"+1.00 +1.50 x 080"', along_1='"+1.00"'))
    files = {}
    for attachments, _ in ATTACHED.values():
        raw = json.loads(plain)
        cell = next(cell for cell in raw["cells"] if cell["id"] == "why")
        name = next(iter(attachments))
        cell["source"], cell["attachments"] = f"![mine](attachment:{name}) {RUNS} the rest", attachments
        files[f"k{len(files):03d}"] = json.dumps(raw).encode()
    words = [kind for kind in KINDS if kind.startswith(("words of", "a page of", "a table", "a kernel"))]
    assert len(words) > 5
    for kind in words:
        raw = json.loads(plain)
        KINDS[kind](raw)
        files[f"k{len(files):03d}"] = json.dumps(raw).encode()
    course, _, done, *_ = _course(released_once, tmp_path_factory.mktemp("attached") / "course", files)
    assert len(done) == len(files) and all(each.marked for each in done.values())
    made = (course.step("feedback", who, FORMS) / f"{FORMS}.html" for who in files)
    yield dict(zip([*ATTACHED, *words], made, strict=True))
    shutil.rmtree(course.root, ignore_errors=True)


@pytest.mark.thorough
def test_nothing_runs_nothing_is_fetched_and_the_marks_are_seen(pages, chromium):
    page = chromium.new_page()
    asked, dialogs = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    try:
        for kind, file in pages.items():
            asked.clear()
            page.goto(file.as_uri(), timeout=60_000)
            page.evaluate("document.querySelectorAll('details').forEach((each) => each.open = true)")
            assert page.title().startswith(f"{FORMS}: feedback for"), kind
            assert all(url.startswith("data:image/") or url == file.as_uri() for url in asked), (kind, asked)
            assert page.locator("header strong").first.is_visible(), kind
            assert page.locator("#convert-1-check").is_visible(), kind
            broken = page.evaluate(
                "[...document.images].filter((each) => each.src && !each.naturalWidth).map((each) => each.outerHTML)"
            )
            assert broken == [], kind
            if kind in ATTACHED:
                assert page.locator("#why img[src]").count() == ATTACHED[kind][1], kind
                assert "the rest" in page.locator("#why").inner_text(), kind
        assert dialogs == []
    finally:
        page.close()
