"""The workbook's own chapters: released without a trace, and their solutions earn every mark."""

import contextlib
import shutil

import nbformat
import pytest

from optics.course.class_maker import fill_in
from optics.course.folder import Course, make_course, start_intake
from optics.course.marking import mark
from optics.course.release import release, traces
from optics.course.results import results
from optics.lens.parsing import parse_pair
from optics.project_files import project_folder
from optics.specimens.sealed import briefs_in

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
        for cell in notebook.cells:
            if cell.cell_type == "markdown" and cell.metadata.get("nbgrader", {}).get("solution"):
                assert cell.source == "Write your answer here.", "a reason in words is handed out empty"
                cell.source = "A reason in words."
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
def test_the_words_are_locked_and_the_answers_are_open(course, chapter):
    cells = nbformat.read(course.notebook("release", chapter), as_version=4).cells
    answers = [cell for cell in cells if cell.metadata.get("nbgrader", {}).get("solution")]
    words = [cell for cell in cells if cell.cell_type == "markdown" and cell not in answers]
    assert answers and words
    assert all(cell.metadata.get("editable", True) for cell in answers)
    assert all((cell.metadata.editable, cell.metadata.deletable) == (False, False) for cell in words)


def test_guided_pairs_are_sealed_too(course):
    """What a guided pair is made to stands in no released file of its chapter, prose included."""
    guided = {
        (chapter, line.distance)
        for chapter in CHAPTERS
        for brief in briefs_in(course.root / "source" / chapter).values()
        if brief.lenses
        for line in parse_pair(brief.lenses)
        if line.cylinder or line.sphere  # "pl" stands in many a word
    }
    assert {chapter[:2] for chapter, _ in guided} >= {"03", "04", "05", "12"}
    for chapter, lens in guided:
        for path in (course.root / "release" / chapter).iterdir():
            assert lens not in path.read_text("utf-8"), (path, lens)


def test_a_guided_pair_that_stands_in_a_cell_is_found(course, tmp_path):
    chapter = next(each for each in CHAPTERS if each.startswith("05"))
    spoiled = Course(root=tmp_path)
    for step in ("source", "release"):
        shutil.copytree(course.root / step / chapter, tmp_path / step / chapter)
    path = spoiled.notebook("release", chapter)
    notebook = nbformat.read(path, as_version=4)
    notebook.cells.append(nbformat.v4.new_code_cell('Bench("R +1.50 -1.00 x 030; L -2.00 DS")'))
    nbformat.write(notebook, path)
    assert any("names a lens of the bench" in each for each in traces(spoiled, chapter))


@pytest.mark.parametrize("chapter", CHAPTERS)
def test_the_solutions_earn_every_mark(course, chapter):
    found = results(course, [chapter])
    assert any(not result.practice for result in found)
    assert {r.question: (r.mark, r.slips) for r in found if not r.by_hand} == {
        r.question: (r.out_of, ()) for r in found if not r.by_hand
    }
