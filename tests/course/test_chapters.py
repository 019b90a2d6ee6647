"""The workbook's own chapters: released without a trace, and their solutions earn every mark."""

import contextlib

import nbformat
import pytest

from optics.course.class_maker import fill_in
from optics.course.folder import Course, make_course, start_intake
from optics.course.marking import mark
from optics.course.release import release, traces
from optics.course.report import results
from optics.project_files import project_folder

CHAPTERS = Course(root=project_folder("notebooks")).chapters()
LEARNER = "Mara Quillane"


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    """A fresh course with every chapter released, and the solutions handed in."""
    course = make_course(tmp_path_factory.mktemp("chapters") / "course")
    start_intake(course, "test", secret="only a test")
    release(course)
    for chapter in CHAPTERS:
        answers = _solutions(course, chapter) | {"learner": LEARNER}
        notebook = fill_in(nbformat.read(course.notebook("release", chapter), as_version=4), answers)
        path = course.notebook("submitted", chapter, "mara")
        path.parent.mkdir(parents=True)
        nbformat.write(notebook, path)
    done = mark(course)
    assert [str(each) for each in done if each.notes or not each.marked] == []
    return course


def _solutions(course, chapter):
    """The answers of the source's own solution cells, for this learner."""
    names = {}
    source = nbformat.read(course.notebook("source", chapter), as_version=4)
    with contextlib.chdir(course.root / "release" / chapter):
        for cell in source.cells:
            key = cell.metadata.get("nbgrader", {})
            if cell.cell_type == "code" and (
                key.get("solution") or cell.source.startswith("from optics.lesson")
            ):
                exec(cell.source, names)
                if "learner" in names:
                    names["learner"] = LEARNER
    return {
        name: value
        for name, value in names.items()
        if isinstance(value, str | int | float | dict | list | tuple)
    }


def test_there_are_chapters():
    assert "01-power-cross" in CHAPTERS


@pytest.mark.parametrize("chapter", CHAPTERS)
def test_the_release_shows_no_answer(course, chapter):
    assert traces(course, chapter) == []


@pytest.mark.parametrize("chapter", CHAPTERS)
def test_the_solutions_earn_every_mark(course, chapter):
    found = results(course, [chapter])
    assert any(not result.practice for result in found)
    assert {r.question: (r.mark, r.slips) for r in found if not r.by_hand} == {
        r.question: (r.out_of, ()) for r in found if not r.by_hand
    }
