"""An invented class does the whole course, and gets just the marks it ought to get."""

import csv
import json
import shutil
import zipfile

import nbformat
import pytest

from optics.course import folder as folder_module
from optics.course import self_study
from optics.course.class_maker import DAMAGES, fill_in, make_class
from optics.course.folder import Course, make_course
from optics.course.rehearsal import compare, rehearse
from optics.course.results import results
from optics.course.self_study import lay_out, mark_mine, study_course
from optics.errors import OpticsError
from optics.progress.file import PROGRESS_FILE, read_progress
from optics.project_files import project_folder
from optics.specimens.sealed import SELF_STUDY, open_pairs, seal

FORMS, BENCH = "91-forms", "92-bench"


@pytest.fixture
def toy_project(monkeypatch, released_once):
    """The two small chapters in place of the workbook's own."""

    def toy(name):
        return released_once.root if name == "notebooks" else project_folder(name)

    monkeypatch.setattr(folder_module, "project_folder", toy)
    monkeypatch.setattr(self_study, "project_folder", toy)


@pytest.fixture(scope="module")
def rehearsed(released_once, tmp_path_factory):
    """One rehearsal of the two small chapters."""
    patch = pytest.MonkeyPatch()
    patch.setattr(folder_module, "project_folder", lambda _: released_once.root)
    course = make_course(tmp_path_factory.mktemp("rehearsed") / "course")
    patch.undo()
    return course, rehearse(course, 5, seed=3, variants=4)


def test_every_mark_is_the_expected_one(rehearsed):
    _, done = rehearsed
    assert done.differences == []
    assert done.success
    assert done.answers == done.agreed == 5 * 4
    assert done.habitual > 0


def test_the_summary_reads_well(rehearsed):
    course, done = rehearsed
    said = str(done)
    assert "5 invented apprentices handed in 10 notebooks" in said
    assert "10 submissions were gathered, 0 files need a look" in said
    assert "10 submissions were marked" in said
    assert "20 of 20 answers got just the mark they ought to get." in said
    # One for each learner, and one of all.
    assert len(list((course.root / "reports").glob("* hand-back/*.zip"))) == 6


def test_a_wrong_mark_would_be_noticed(rehearsed):
    course, _ = rehearsed
    truth = json.loads((course.root / "handed in" / "truth.json").read_text("utf-8"))
    found = results(course)
    assert compare(truth, found)[4] == []
    question = truth[0]["questions"][0]
    got, of = next(iter(question["expected"].values()))
    question["expected"] = {"sphere": [got + 1.0, of]}
    truth[1]["questions"][0]["question"] = "nobody-check"
    differences = compare(truth, found)[4]
    assert len(differences) == 2
    assert "instead of" in differences[0]
    assert "was not marked" in differences[1]


def test_a_class_is_the_same_again_and_another_with_another_seed(released_once, tmp_path):
    first = make_class(released_once, 3, tmp_path / "a", seed=1, chapters=[FORMS])
    again = make_class(released_once, 3, tmp_path / "b", seed=1, chapters=[FORMS])
    other = make_class(released_once, 3, tmp_path / "c", seed=2, chapters=[FORMS])
    assert first.truth == again.truth
    assert first.truth != other.truth
    with zipfile.ZipFile(first.handed_in) as archive:
        assert len(archive.namelist()) == 3
        assert all("_assignsubmission_file_" in name for name in archive.namelist())
    with (tmp_path / "a" / "truth.csv").open(encoding="utf-8-sig", newline="") as file:
        assert len(list(csv.DictReader(file))) == 9


def test_a_class_is_made_nowhere_twice(released_once, tmp_path):
    with pytest.raises(OpticsError, match="already there"):
        make_class(released_once, 3, tmp_path)
    with pytest.raises(OpticsError, match="A class of 0"):
        make_class(released_once, 0, tmp_path / "new")


def test_nothing_released_nothing_handed_in(tmp_path):
    (tmp_path / "source").mkdir()
    with pytest.raises(OpticsError, match="released no chapter"):
        make_class(Course(root=tmp_path), 3, tmp_path / "new")


@pytest.mark.parametrize("damage", DAMAGES)
def test_each_damage_damages(released_once, damage):
    notebook = nbformat.read(released_once.notebook("release", FORMS), as_version=4)
    filled = fill_in(notebook, {"convert_1": "+1.00 +1.50 x 080"})
    before = nbformat.writes(filled)
    DAMAGES[damage](filled)
    assert (nbformat.writes(filled) == before) == (damage == "the file renamed")


# --- alone ------------------------------------------------------------------------------


def test_self_study_is_released_once_and_kept(toy_project, tmp_path):
    first = study_course(tmp_path / "kept")
    assert first.chapters("release") == (FORMS, BENCH)
    stamp = first.notebook("release", FORMS).stat().st_mtime_ns
    assert study_course(tmp_path / "kept") == first
    assert first.notebook("release", FORMS).stat().st_mtime_ns == stamp
    assert [path.name for path in (tmp_path / "kept").iterdir()] == [first.root.name]


def test_an_interrupted_first_start_leaves_nothing_half_made(toy_project, tmp_path, monkeypatch):
    def stop(*_args, **_options):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(self_study, "release", stop)
        study_course(tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir()) == []


def test_laying_out_never_touches_a_learners_file(released_once, tmp_path):
    work = tmp_path / "my work, größer"
    first = lay_out(work, released_once)
    assert sorted(first.laid) == [f"{FORMS}/{FORMS}.ipynb", f"{BENCH}/{BENCH}.ipynb", f"{BENCH}/pairs.sealed"]
    mine = work / FORMS / f"{FORMS}.ipynb"
    mine.write_text("my answers", "utf-8")
    (work / BENCH / "pairs.sealed").unlink()
    again = lay_out(work, released_once)
    assert again.laid == (f"{BENCH}/pairs.sealed",)
    assert mine.read_text("utf-8") == "my answers"


def test_laying_out_interrupted_midway_leaves_only_whole_files(released_once, tmp_path, monkeypatch):
    calls = []
    whole = folder_module.os.replace

    def stop_at_the_second(part, target):
        calls.append(target)
        if len(calls) == 2:
            raise KeyboardInterrupt
        whole(part, target)

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(folder_module.os, "replace", stop_at_the_second)
        lay_out(tmp_path, released_once)
    there = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert [path.name for path in there] == [f"{FORMS}.ipynb"]
    json.loads(there[0].read_text("utf-8"))
    assert len(lay_out(tmp_path, released_once).laid) == 2


def test_ones_own_notebook_is_marked(released_once, fill, tmp_path):
    mine = tmp_path / "my copy.ipynb"
    alone = fill(released_once, FORMS, convert_1='"+1.00 +1.50 x 170"')
    alone.metadata["optics_workbook"] = {"intake": SELF_STUDY, "pairs": ""}
    nbformat.write(alone, mine)
    before = sorted(path.stat().st_mtime_ns for path in released_once.root.rglob("*"))
    done = mark_mine(mine, released_once)
    page = done.page.read_text("utf-8")
    assert done.page == tmp_path / "my copy-feedback.html"
    assert "2.5 of 5" in page
    assert "right angles" in page
    assert mark_mine(mine, released_once).page == tmp_path / "my copy-feedback-2.html"
    assert done.page.read_text("utf-8") == page
    # The kept course stays as it is.
    assert sorted(path.stat().st_mtime_ns for path in released_once.root.rglob("*")) == before


def test_ones_own_pairs_are_those_beside_the_notebook(released_once, fill, tmp_path):
    work = tmp_path / BENCH
    work.mkdir()
    shutil.copy(released_once.root / "source" / BENCH / "pairs.json", work)
    seal(work, intake=SELF_STUDY, secret="another secret", variants=4)
    lens = open_pairs(work).pair("A", "Mara").power("R")
    sphere, cylinder, axis = (float(value) for value in lens.sphere_cylinder("minus"))
    line = f"{round(sphere * 4) / 4:+.2f} {round(cylinder * 4) / 4:+.2f} x {round(axis):03d}"
    mine = work / f"{BENCH}.ipynb"
    nbformat.write(fill(released_once, BENCH, learner='"Mara"', right_a=repr(line)), mine)
    assert "5 of 5" in mark_mine(mine, released_once).page.read_text("utf-8")


def test_ones_marks_in_words(released_once, fill, tmp_path):
    """In a class what counts is kept back for the hand-in; who learns alone is told."""
    mine = tmp_path / "mine.ipynb"
    notebook = fill(released_once, FORMS, convert_1='"+1.00 +1.50 x 170"')
    for intake in ("spring", SELF_STUDY):
        notebook.metadata["optics_workbook"] = {"intake": intake, "pairs": ""}
        nbformat.write(notebook, mine)
        done = mark_mine(mine, released_once, page=False)
        assert done.page is None and [path.name for path in tmp_path.iterdir()] == ["mine.ipynb"]
        said = str(done)
        assert "Practice: 0 of 1 right. Not answered yet: crossed 1." in said
        assert ("Not right yet: convert 1" in said) == (intake == SELF_STUDY)
        assert ("marked by your instructor" in said) == (intake != SELF_STUDY)


def test_a_chapter_of_spheres_teaches_no_cylinder(released_once, fill, tmp_path):
    work = tmp_path / "work" / BENCH
    work.mkdir(parents=True)
    (work / "pairs.json").write_text(json.dumps({"A": {"strongest": 4.0, "cylinder": "none"}}), "utf-8")
    seal(work, intake=SELF_STUDY, secret="another secret", variants=4)
    line = f'"{round(float(open_pairs(work).pair("A", "Mara").power("R").mean) * 4) / 4:+.2f} DS"'
    nbformat.write(fill(released_once, BENCH, learner='"Mara"', right_a=line), work / f"{BENCH}.ipynb")
    assert "5 of 5" in str(mark_mine(work / f"{BENCH}.ipynb", released_once, page=False))
    progress, _ = read_progress(work.parent / PROGRESS_FILE)
    assert progress.chapters[BENCH].states == {"sphere": "done", "notation": "done"}


def test_what_rests_on_a_name_that_is_missing_is_not_called_wrong(released_once, fill, tmp_path):
    work = tmp_path / BENCH
    work.mkdir()
    shutil.copy(released_once.root / "source" / BENCH / "pairs.json", work)
    seal(work, intake=SELF_STUDY, secret="another secret", variants=4)
    mine = work / f"{BENCH}.ipynb"
    for typed, told in (
        ('"-2.25 DS"', "No name yet, so not marked: right a."),
        ('""', "Not answered yet: right a."),
    ):
        nbformat.write(fill(released_once, BENCH, learner='""', right_a=typed), mine)
        said = str(mark_mine(mine, released_once, page=False))
        assert told in said and "Not right yet" not in said


@pytest.mark.parametrize(("intake", "told"), [("another", False), (SELF_STUDY, True)])
def test_in_a_class_the_unknown_pairs_are_kept_back(released_once, fill, tmp_path, intake, told):
    work = tmp_path / BENCH
    work.mkdir()
    shutil.copy(released_once.root / "source" / BENCH / "pairs.json", work)
    seal(work, intake=intake, secret="another secret", variants=4)
    mine = work / f"{BENCH}.ipynb"
    nbformat.write(fill(released_once, BENCH, learner='"Mara"', right_a='"-9.00 DS"'), mine)
    said = str(mark_mine(mine, released_once, page=False))
    assert ("right a" in said) == told
    assert ("marked by your instructor" in said) == (not told)


def test_what_cannot_be_marked_is_told(released_once, tmp_path):
    with pytest.raises(OpticsError, match="There is no file"):
        mark_mine(tmp_path / "nothing.ipynb", released_once)
    other = tmp_path / "other.ipynb"
    nbformat.write(nbformat.v4.new_notebook(), other)
    with pytest.raises(OpticsError, match="none of the workbook's chapters"):
        mark_mine(other, released_once)


def test_a_chapter_that_was_marked_stands_in_ones_progress(released_once, fill, tmp_path):
    folder = tmp_path / "work" / FORMS
    folder.mkdir(parents=True)
    alone = fill(released_once, FORMS, convert_1='"+1.00 +1.50 x 080"')
    alone.metadata["optics_workbook"] = {"intake": SELF_STUDY, "pairs": ""}
    nbformat.write(alone, folder / f"{FORMS}.ipynb")
    mark_mine(folder / f"{FORMS}.ipynb", released_once, page=False)
    progress, told = read_progress(tmp_path / "work" / PROGRESS_FILE)
    assert told == ()
    got, of = progress.chapters[FORMS].skills["sphere"]
    assert 0 < got < of, "one of two questions about it was answered"
    # What nobody tried yet is not to be tried again.
    along = fill(released_once, FORMS, along_1='"+1.00"')
    along.metadata["optics_workbook"] = alone.metadata["optics_workbook"]
    nbformat.write(along, folder / f"{FORMS}.ipynb")
    mark_mine(folder / f"{FORMS}.ipynb", released_once, page=False)
    progress, _ = read_progress(tmp_path / "work" / PROGRESS_FILE)
    assert set(progress.chapters[FORMS].skills) == {"sphere"}
    # A copy that lies by itself makes no file in a folder of somebody else's.
    nbformat.write(fill(released_once, FORMS), tmp_path / "my copy.ipynb")
    mark_mine(tmp_path / "my copy.ipynb", released_once, page=False)
    assert not (tmp_path / PROGRESS_FILE).exists() and not (tmp_path.parent / PROGRESS_FILE).exists()
