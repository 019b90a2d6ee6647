"""What learners hold: everything to work with, and nothing that marks or solves."""

import importlib
import json
import os
import re
import subprocess
import sys
import zipfile

import nbformat
import pytest
from course_names import BENCH, FORMS

from optics.course.learner_side import learner_wheel, pack
from optics.course.self_study import mark_mine
from optics.project_files import project_folder


@pytest.fixture(scope="module")
def unpacked(released_once, tmp_path_factory):
    """A learner's machine: the zip unpacked, the wheel installed from it and nothing else of ours."""
    work = tmp_path_factory.mktemp("learner")
    with zipfile.ZipFile(pack(released_once)) as archive:
        archive.extractall(work / "w")
    (wheel,) = (work / "w").glob("*.whl")
    words = [
        sys.executable,
        "-m",
        "pip",
        "install",
        "-q",
        "--no-deps",
        "--target",
        str(work / "site"),
        str(wheel),
    ]
    subprocess.run(words, check=True, capture_output=True)
    return work


def _python(unpacked, code, folder="."):
    environment = {**os.environ, "PYTHONPATH": str(unpacked / "site")}
    return subprocess.run(
        [sys.executable, "-c", code], cwd=unpacked / "w" / folder, env=environment, capture_output=True, text=True
    )  # fmt: skip


def test_the_zip_holds_start_page_chapters_pairs_and_wheel(unpacked):
    names = {
        path.relative_to(unpacked / "w").as_posix() for path in (unpacked / "w").rglob("*") if path.is_file()
    }
    assert {
        "start-here.html",
        f"{FORMS}/{FORMS}.ipynb",
        f"{BENCH}/{BENCH}.ipynb",
        f"{BENCH}/pairs.sealed",
    } <= names
    assert len([name for name in names if name.endswith(".whl")]) == 1
    assert not any("pairs.json" in name for name in names)
    page = (unpacked / "w" / "start-here.html").read_text("utf-8")
    assert next(name for name in names if name.endswith(".whl")) in page
    # Windows stops at 260 letters, and the site folder lies deep there.
    assert (
        max(len(path.relative_to(unpacked / "site").as_posix()) for path in (unpacked / "site").rglob("*"))
        < 110
    )


def test_nothing_that_marks_or_solves_is_found_by_a_search(unpacked):
    site = unpacked / "site"
    files = [path for path in site.rglob("*") if path.is_file() and path.suffix != ".pyc"]
    assert len(files) > 100
    assert not list(site.rglob("*.ipynb")) and not list(site.rglob("pairs.json"))
    course = {path.name for path in (site / "optics" / "course").glob("*.py")}
    assert course == {"__init__.py", "lab.py", "folder.py", "grader.py"}
    for path in files:
        text = path.read_text("utf-8", "replace")
        assert not re.search(r"^\s*### BEGIN|^def solve(_ticket)?\b", text, re.MULTILINE), path
    ran = _python(unpacked, "import optics.course.solving")
    assert ran.returncode != 0 and "No module named" in ran.stderr


def test_marked_questions_have_no_key_and_practice_keeps_its_replies(tmp_path):
    from optics.course.folder import Course

    course = Course(root=project_folder("notebooks"))
    _, wheel = learner_wheel(course)
    (tmp_path / "x.whl").write_bytes(wheel)
    marked = practice = 0
    with zipfile.ZipFile(tmp_path / "x.whl") as archive:
        for name in archive.namelist():
            if "/questions/" in name:
                for entry in json.loads(archive.read(name)).values():
                    marked += set(entry) == {"letters"}
                    practice += "replies" in entry
    assert marked >= 3 and practice > marked


def test_the_learners_copy_works_and_says_what_it_is_not(unpacked):
    ran = _python(
        unpacked,
        "from optics.lesson import *; check.conversion('+1.00 +1.50 x 080', given='+2.50 -1.50 x 170', to='plus');"
        "from optics.specimens.sealed import open_pairs; print(open_pairs().pair('A', 'Mara').power('R').mean is not None)",
        BENCH,
    )
    assert ran.returncode == 0, ran.stderr
    ran = _python(unpacked, "from optics.cli import main; raise SystemExit(main(['mark']))")
    assert ran.returncode == 2 and "a learner's copy" in ran.stderr
    ran = _python(unpacked, "from optics.cli import main; raise SystemExit(main(['learn']))", FORMS)
    assert ran.returncode == 2 and "no chapters" in ran.stderr


def test_a_marked_question_is_recorded_without_its_key(monkeypatch):
    from optics import checks

    module = importlib.import_module("optics.checks.choice")
    monkeypatch.setattr(module, "_bank", lambda _: {"q": {"letters": ["a", "b"]}})
    with checks.collecting() as said:
        assert float(module.choice("a", question="x/q", points=2)) == 0.0
        module.choice("z", question="x/q", points=2)
        module.choice("", question="x/q", points=2)
    told = [bundle["text/plain"] for bundle in said]
    assert "after you hand in" in told[0] and "not one of the letters" in told[1] and "a, b" in told[2]


def test_mark_mine_answers_only_the_practice_of_an_instructors_release(released_once, fill, tmp_path):
    work = tmp_path / FORMS
    work.mkdir()
    wrong = {
        "learner": '"Mara"',
        "convert_1": '"+9.00 +1.50 x 080"',
        "crossed_1": '"+1.00 x 170 / +2.50 x 080"',
    }
    nbformat.write(fill(released_once, FORMS, **wrong), work / f"{FORMS}.ipynb")
    done = mark_mine(work / f"{FORMS}.ipynb", released_once)
    assert done.page is None and not list(work.glob("*.html"))
    assert "Practice: 1 of 1 right." in str(done)
    assert "convert" not in str(done) and "marked by your instructor" in str(done)
