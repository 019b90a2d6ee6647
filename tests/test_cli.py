"""The command line: it says what it did, and ends bad input with one sentence and status 2."""

import os
import subprocess
import sys
from typing import ClassVar

import nbformat
import pytest

from optics import cli
from optics.course import folder as folder_module

FORMS, BENCH = "91-forms", "92-bench"


def _run(capsys, *words):
    try:
        status = cli.main([str(word) for word in words])
    except SystemExit as stop:
        status = stop.code
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.fixture
def toy_project(monkeypatch, released_once):
    monkeypatch.setattr(folder_module, "project_folder", lambda _: released_once.root)


def test_the_whole_course_in_commands(toy_project, tmp_path, capsys, fill, monkeypatch):
    from optics.course.folder import open_course

    root = tmp_path / "my course"
    status, out, _ = _run(capsys, "intake", "spring", "--course", root)
    assert status == 0
    assert "Keep a copy" in out
    status, out, _ = _run(capsys, "release", "--course", root)
    assert status == 0
    assert "91-forms is ready to hand out." in out
    assert "92-bench is ready to hand out, with its unknown pairs sealed." in out
    work = tmp_path / "from mail" / "Mara.ipynb"
    work.parent.mkdir()
    notebook = fill(open_course(root), FORMS, learner='"Mara"', convert_1='"+1.00 +1.50 x 080"')
    notebook.cells = [cell for cell in notebook.cells if cell.id != "along-1-check"]
    nbformat.write(notebook, work)
    # From inside the course folder, no --course is needed.
    monkeypatch.chdir(root)
    status, out, _ = _run(capsys, "gather", work.parent)
    assert (status, out.splitlines()[:2]) == (0, ["1 submission is ready to be marked.", "mara, 91-forms."])
    status, out, _ = _run(capsys, "mark", "91")
    assert status == 0
    assert "mara, 91-forms: marked. The check cell along-1-check was deleted and has been put back." in out
    assert "1 of 1 submissions were marked." in out
    assert "The class report lies in" in out
    assert _run(capsys, "mark")[1] == "There is nothing new to mark.\n"
    status, out, _ = _run(capsys, "hand-back")
    assert status == 0
    assert "Feedback for 1 learners lies in" in out
    status, out, _ = _run(capsys, "intake", "autumn")
    assert status == 0
    assert "What was handed out to spring is still marked with its own pairs" in out
    status, out, err = _run(capsys, "release", "92")
    assert (status, out) == (2, "")
    assert "released already" in err
    status, out, _ = _run(capsys, "release", "92", "--replace")
    assert status == 0
    assert "takes the place" in out
    assert "in hand again" in _run(capsys, "intake", "spring")[1]
    assert (
        'due 2026-03-02 23:59 for mara in the intake "spring"'
        in _run(capsys, "deadline", "2026-03-02", "--learner", "mara")[1]
    )


def test_make_class_into_a_new_folder(course, tmp_path, capsys):
    words = ("make-class", "91", "--course", course.root, "--count", 2, "--into", tmp_path / "class")
    status, out, _ = _run(capsys, *words)
    assert status == 0
    assert "2 invented apprentices handed in 2 notebooks" in out
    status, _, err = _run(capsys, *words)
    assert status == 2
    assert "already there" in err


def test_learn_and_mark_mine(course, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("optics.course.self_study.study_course", lambda: course)
    work = tmp_path / "my work"
    status, out, _ = _run(capsys, "learn", work, "--only-lay-out")
    assert status == 0
    assert "3 files of the workbook were put into" in out
    status, out, _ = _run(capsys, "learn", work, "--only-lay-out")
    assert "as you left it" in out
    # Handed out by an instructor, so what counts waits for the hand-in.
    status, out, _ = _run(capsys, "mark-mine", work / FORMS / f"{FORMS}.ipynb")
    assert status == 0
    assert "marked by your instructor" in out
    assert not list(work.rglob("*.html"))
    notebook = nbformat.read(work / FORMS / f"{FORMS}.ipynb", as_version=4)
    notebook.metadata["optics_workbook"]["intake"] = "self-study"
    nbformat.write(notebook, work / FORMS / f"{FORMS}.ipynb")
    assert _run(capsys, "mark-mine", work / FORMS / f"{FORMS}.ipynb")[0] == 0
    assert (work / FORMS / f"{FORMS}-feedback.html").is_file()


@pytest.fixture(autouse=True)
def nobody_learnt_here_yet(tmp_path, monkeypatch):
    note = tmp_path / "kept" / "my-folder.txt"
    monkeypatch.setattr("optics.course.self_study._remembered", lambda: note)
    monkeypatch.setattr("pathlib.Path.home", lambda: tmp_path / "home")


class _AtRest:
    """A JupyterLab that has ended as soon as it was started."""

    started: ClassVar[list] = []

    def __init__(self, command, **options):
        self.started.append((command, options))

    def wait(self, _seconds=None):
        return 0

    poll = wait


@pytest.fixture
def jupyterlab_at_rest(course, monkeypatch):
    monkeypatch.setattr("optics.course.lab.subprocess.Popen", _AtRest)
    monkeypatch.setattr("optics.course.self_study.study_course", lambda: course)
    _AtRest.started.clear()
    return _AtRest.started


def test_learn_says_three_lines_and_opens_the_same_workbook_the_next_day(
    jupyterlab_at_rest, tmp_path, capsys, monkeypatch
):
    status, out, err = _run(capsys, "learn")
    assert (status, err, out.count("\n")) == (0, "", 3)
    mine = tmp_path / "home" / "optics workbook"
    assert str(mine) in out
    assert "http://localhost:" in out
    (mine / FORMS / f"{FORMS}.ipynb").write_text("my answers", "utf-8")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    _, out, _ = _run(capsys, "learn")
    assert f"Your workbook lies in {mine}, as you left it." in out
    assert (mine / FORMS / f"{FORMS}.ipynb").read_text("utf-8") == "my answers"
    assert list(elsewhere.iterdir()) == []


def test_learn_lays_no_second_blank_workbook_unasked(jupyterlab_at_rest, tmp_path, capsys):
    assert _run(capsys, "learn", tmp_path / "mine")[0] == 0
    status, out, err = _run(capsys, "learn", tmp_path / "other")
    assert (status, out) == (2, "")
    assert f"Your workbook lies in {tmp_path / 'mine'}" in err
    assert not (tmp_path / "other").exists()
    assert _run(capsys, "learn", tmp_path / "other", "--blank")[0] == 0
    # Both are there now, and either opens by its name.
    assert _run(capsys, "learn", tmp_path / "mine")[0] == 0


def test_learn_takes_no_stray_notebook_for_a_workbook(jupyterlab_at_rest, tmp_path, capsys):
    assert _run(capsys, "learn")[0] == 0
    (tmp_path / "work" / "x").mkdir(parents=True)
    (tmp_path / "work" / "x" / "y.ipynb").write_text("{}", "utf-8")
    for place in (tmp_path / "work", tmp_path / "home"):
        before = sorted(tmp_path.rglob("*"))
        assert _run(capsys, "learn", place)[0] == 2
        assert sorted(tmp_path.rglob("*")) == before
    status, _, err = _run(capsys, "learn", "--blank")
    assert status == 2
    assert "needs a folder of its own" in err


@pytest.mark.parametrize("note", [b"\xff\xfe", b"", b"  "])
def test_a_damaged_note_costs_nothing(jupyterlab_at_rest, tmp_path, capsys, note):
    assert _run(capsys, "learn")[0] == 0
    (tmp_path / "kept" / "my-folder.txt").write_bytes(note)
    assert "as you left it" in _run(capsys, "learn")[1]
    # Without a note the workbook in its usual place is still one's own.
    assert _run(capsys, "learn", tmp_path / "other")[0] == 2


def test_a_first_start_that_fails_is_not_remembered(jupyterlab_at_rest, tmp_path, capsys):
    (tmp_path / "a file").write_text("x", "utf-8")
    assert _run(capsys, "learn", tmp_path / "a file")[0] == 2
    status, out, _ = _run(capsys, "learn")
    assert (status, str(tmp_path / "home" / "optics workbook") in out) == (0, True)


def test_learn_says_where_a_workbook_lay_that_has_gone(jupyterlab_at_rest, tmp_path, capsys):
    assert _run(capsys, "learn", tmp_path / "mine")[0] == 0
    (tmp_path / "mine").rename(tmp_path / "moved")
    status, out, err = _run(capsys, "learn")
    assert (status, out) == (2, "")
    assert f"lay in {tmp_path / 'mine'} and is not there any more" in err
    assert _run(capsys, "learn", tmp_path / "moved")[0] == 0
    assert "as you left it" in _run(capsys, "learn")[1]


def test_learn_stays_out_of_the_programs_own_folder(jupyterlab_at_rest, tmp_path, capsys):
    (tmp_path / "pyproject.toml").write_text('[project]\nname = "optics-workbook"\n', "utf-8")
    status, _, err = _run(capsys, "learn", tmp_path / "mine")
    assert status == 2
    assert "inside the program's own folder" in err
    assert not (tmp_path / "mine").exists()


def test_learn_and_teach_open_jupyterlab(jupyterlab_at_rest, course, tmp_path, capsys):
    assert _run(capsys, "teach", "--course", course.root)[0] == 0
    assert _run(capsys, "learn", tmp_path / "my work")[0] == 0
    (teach, for_teaching), (learn, for_learning) = jupyterlab_at_rest
    assert f"--ServerApp.root_dir={course.root}" in teach
    # nbgrader finds its settings in the folder it is started in.
    assert for_teaching["cwd"] == course.root
    assert f"--LabApp.default_url=/lab/tree/{FORMS}/{FORMS}.ipynb" in learn
    assert "for_learners" in for_learning["env"]["JUPYTER_CONFIG_PATH"]
    # JupyterLab itself reads the options, and stops at one that it does not know.
    from jupyterlab.labapp import LabApp

    LabApp().parse_command_line(learn[3:])
    assert os.path.dirname(sys.executable) in for_teaching["env"]["PATH"].split(os.pathsep)


def test_draw_and_sheet_never_replace_a_file(tmp_path, capsys):
    picture = tmp_path / "cross.svg"
    assert _run(capsys, "draw", "power-cross", "-2.25 -0.75 x 015", picture)[0] == 0
    before = picture.read_bytes()
    status, _, err = _run(capsys, "draw", "power-cross", "+1.00 DS", picture)
    assert status == 2
    assert "cross.svg" in err
    assert picture.read_bytes() == before
    assert _run(capsys, "sheet", "other-form", tmp_path / "sheet.pdf", "--count", 4)[0] == 0
    assert (tmp_path / "sheet-answers.pdf").is_file()
    assert _run(capsys, "sheet", "other-form", tmp_path / "sheet.pdf")[0] == 2


@pytest.mark.parametrize("lens", ["-2.25", "-2.25DS", "−2.25 DS", "-2.25 -0.75 x 015"])
def test_a_line_may_begin_with_a_minus_sign(lens, tmp_path, capsys):
    assert _run(capsys, "draw", "power-cross", lens, tmp_path / "cross.svg")[0] == 0
    assert (tmp_path / "cross.svg").is_file()


def test_words_of_a_list_may_stand_on_both_sides_of_an_option(tmp_path, capsys):
    status, said, _ = _run(capsys, "sheet", "other-form", "--count", 4, "tidy-lines", tmp_path / "s.pdf")
    assert (status, "s-answers.pdf" in said) == (0, True)
    status, _, said = _run(capsys, "sheet", "other-form", "--frog", tmp_path / "t.pdf")
    assert (status, "--frog" in said) == (2, True)
    status, _, said = _run(capsys, "sheet", "other-form", "--count", "six", tmp_path / "t.pdf")
    assert (status, '"six" is not a whole number' in said) == (2, True)


def test_a_mixed_sheet_of_ones_own_lenses(tmp_path, capsys):
    own = tmp_path / "week 6.txt"
    own.write_text("-2.25 -0.75 x 015\n+1.00 +0.50 x 180\n", "utf-8")
    words = ("sheet", "other-form", "draw-axes", tmp_path / "s.pdf", "--lenses", own, "--paper", "Letter")
    status, out, _ = _run(capsys, *words, "--title", "Week 6", "--shop", "Tarn Lane Optical")
    assert (status, out.count(".pdf")) == (0, 2)
    status, _, err = _run(capsys, "sheet", tmp_path / "t.pdf")
    assert status == 2
    assert "draw-crosses" in err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "the following arguments are required"),
        (("frobnicate",), "invalid choice"),
        (("rehearse", "many"), "not a whole number"),
        (("draw", "power-cross", "-2.25 -0.75", "x.png"), "no axis"),
        (("draw", "portrait", "+1.00 DS", "x.png"), 'no drawing called "portrait"'),
        (("draw", "power-cross", "+1.00 DS", "nowhere/x.png"), "nowhere"),
        (("release", "--course", "nowhere"), "There is no course in"),
        (("gather", "x.zip", "--course", "nowhere"), "There is no course in"),
        (("mark-mine", "nothing.ipynb"), "There is no file"),
        (("intake", " ", "--course", "new"), "has no name"),
    ],
)
def test_bad_input_ends_with_a_sentence_and_status_2(tmp_path, capsys, monkeypatch, toy_project, words, told):
    monkeypatch.chdir(tmp_path)
    status, _, err = _run(capsys, *words)
    assert status == 2
    assert told.lower() in err.lower()
    assert "Traceback" not in err
    assert err.count("\n") == 1


def test_a_bad_name_of_an_intake_makes_no_course(tmp_path, capsys, toy_project):
    assert _run(capsys, "intake", " ", "--course", tmp_path / "new")[0] == 2
    assert not (tmp_path / "new").exists()


def test_a_rehearsal_that_differs_has_its_own_status(tmp_path, capsys, toy_project, monkeypatch):
    from optics.course.rehearsal import Rehearsed

    def differs(*_):
        return Rehearsed([], 1, 0, 0, 0, ["t101, 91-forms, x-check: 1 instead of 2."])

    monkeypatch.setattr("optics.course.rehearsal.rehearse", differs)
    status, out, _ = _run(capsys, "rehearse", 3, "--into", tmp_path / "new")
    assert status == 1
    assert "1 instead of 2" in out


def test_interrupted_and_unusable_files(capsys, monkeypatch, tmp_path):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("optics.course.self_study.lay_out", stop)
    assert _run(capsys, "learn", tmp_path)[0] == 130

    def full(*_):
        raise OSError(28, "No space left on device", "x.ipynb")

    monkeypatch.setattr("optics.course.self_study.lay_out", full)
    status, _, err = _run(capsys, "learn", tmp_path, "--blank")
    assert (status, err) == (2, "The file or folder x.ipynb could not be used: No space left on device.\n")


def test_help_reads_well_and_loads_nothing_heavy():
    code = (
        "import sys\nfrom optics.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as stop:\n    assert stop.code == 0\n"
        "heavy = {'matplotlib', 'nbgrader', 'ipywidgets', 'sqlalchemy'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "A reading is not an eye examination." in done.stdout


def test_every_command_has_help(capsys):
    listed = _run(capsys, "--help")[1]
    for name in (
        "learn", "mark-mine", "draw", "sheet", "intake", "release", "deadline", "class", "gather", "choose", "merge", "rename", "remove", "mark", "report", "kit", "key", "as-read", "hand-back", "teach",
        "make-class", "rehearse",
    ):  # fmt: skip
        assert f"  {name}" in listed
        status, out, _ = _run(capsys, name, "--help")
        assert status == 0
        assert out.startswith(f"usage: python -m optics {name}")


def test_the_module_runs_as_the_command_does():
    done = subprocess.run(
        [sys.executable, "-m", "optics", "draw"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "required" in done.stderr
