"""What comes back is marked with the pairs it was handed out with, or refused with a sentence."""

import json
import shutil

import nbformat
import pytest
from course_names import BENCH, CLASS, FORMS, write_class_list

from optics.course.folder import open_course, set_deadline, start_intake
from optics.course.gather import choose, gather
from optics.course.handed_out import STAMP
from optics.course.marking import mark
from optics.course.release import HandedOutError, release
from optics.course.solving import solve
from optics.errors import OpticsError
from optics.specimens.sealed import open_pairs

FULL = 5.0


def _right(course, who, *, handed_out=None, typed=None):
    """A notebook as it was handed out, with the right answers to the pairs that lay there."""
    folder = handed_out or course.step("release", chapter=BENCH)
    notebook = nbformat.read(folder / f"{BENCH}.ipynb", as_version=4)
    typed = who if typed is None else typed
    answers = {
        "learner": typed,
        **{f"{eye}_a": solve("A", eye[0].upper(), typed, folder=folder) for eye in ("right", "left")},
    }
    for cell in notebook.cells:
        for name, value in answers.items():
            if cell.source.startswith(f"{name} = "):
                cell.source = f"{name} = {value!r}"
    return notebook


def _handed_out(course, tmp_path, name):
    """What is in the release folder now, as learners keep it."""
    return shutil.copytree(course.step("release", chapter=BENCH), tmp_path / name)


@pytest.fixture(scope="module")
def two_intakes_once(released_once, tmp_path_factory):
    """Two classes in one folder, and beside it what each was handed out; never written to."""
    place = tmp_path_factory.mktemp("two")
    shutil.copytree(released_once.root, place / "course")
    course = open_course(place / "course")
    _handed_out(course, place, "spring")
    start_intake(course, "autumn", secret="another secret")
    release(course, variants=4, replace=True)
    _handed_out(course, place, "autumn")
    return place


@pytest.fixture
def two_intakes(two_intakes_once, tmp_path):
    """Two classes in one folder: what each was handed out, the second in hand."""
    place = shutil.copytree(two_intakes_once, tmp_path / "two")
    return open_course(place / "course"), place / "spring", place / "autumn"


def test_two_intakes_handed_in_mixed_are_each_marked_with_their_own_pairs(two_intakes, submit, marks_of):
    course, spring, autumn = two_intakes
    for number in range(6):
        folder = (spring, autumn)[number % 2]
        submit(course, f"w{number}", BENCH, _right(course, f"w{number}", handed_out=folder))
    # Even after going back, and after another release.
    start_intake(course, "spring")
    release(course, variants=4, replace=True)
    assert all(each.marked for each in mark(course))
    assert [marks_of(course, f"w{n}", BENCH)["right-a-check"] for n in range(6)] == [FULL] * 6
    # It could fail: with the stamps exchanged the same answers are wrong.
    wrong = _right(course, "w0", handed_out=spring)
    wrong.metadata[STAMP] = _right(course, "w0", handed_out=autumn).metadata[STAMP]
    submit(course, "w0", BENCH, wrong)
    mark(course)
    assert marks_of(course, "w0", BENCH)["right-a-check"] < FULL


def test_going_back_gives_the_same_pairs_again(two_intakes):
    course, spring, autumn = two_intakes
    assert open_pairs(spring).seeds != open_pairs(autumn).seeds
    start_intake(course, " Spring ")
    assert [intake.name for intake in course.intakes()] == ["spring", "autumn"]
    release(course, variants=4, replace=True)
    assert (course.step("release", chapter=BENCH) / "pairs.sealed").read_bytes() == (
        spring / "pairs.sealed"
    ).read_bytes()


def test_a_lost_stamp_is_refused_only_where_it_matters(two_intakes, submit, tmp_path, marks_of):
    course, spring, _ = two_intakes
    notebook = _right(course, "t101", handed_out=spring)
    del notebook.metadata[STAMP]
    submit(course, "t101", BENCH, notebook)
    done = mark(course)[0]
    assert not done.marked
    assert "which of 2 sets of pairs" in done.notes[0]
    assert marks_of(course, "t101", BENCH) == {}
    file = tmp_path / "t101.ipynb"
    file.write_text(nbformat.writes(notebook), "utf-8")
    gather(course, [file], learner="t101", intake="spring")
    assert mark(course)[0].marked
    assert marks_of(course, "t101", BENCH)["right-a-check"] == FULL
    with pytest.raises(OpticsError, match='no intake "summer"'):
        gather(course, [file], learner="t101", intake="summer")


def test_an_intake_that_was_said_in_gathering_is_kept(two_intakes, tmp_path, marks_of):
    course, spring, _ = two_intakes
    first, second = (_right(course, "t101", handed_out=spring) for _ in range(2))
    second.cells.append(nbformat.v4.new_markdown_cell("Once more."))
    files = [tmp_path / f"t101_attempt_2026-03-0{day}-10-00-00.ipynb" for day in (1, 2)]
    for notebook, file in zip((first, second), files, strict=True):
        del notebook.metadata[STAMP]
        file.write_text(nbformat.writes(notebook), "utf-8")
    gather(course, files, learner="t101")
    assert "Gather it again with --intake" in mark(course)[0].notes[0]
    # As the sentence says; that these files came before does not make them known.
    assert gather(course, files, learner="t101", intake="spring").taken
    assert len(choose(course, "t101", BENCH).splitlines()) == 2
    assert mark(course)[0].marked
    assert marks_of(course, "t101", BENCH)["right-a-check"] == FULL
    choose(course, "t101", BENCH, 1)
    assert mark(course)[0].marked
    assert marks_of(course, "t101", BENCH)["right-a-check"] == FULL
    before = course.notebook("submitted", BENCH, "t101").read_bytes()
    assert not gather(course, files, learner="t101", intake="spring").taken
    assert not gather(course, files, learner="t101").taken
    assert course.notebook("submitted", BENCH, "t101").read_bytes() == before


def test_one_set_of_pairs_needs_no_stamp(course, submit, marks_of):
    notebook = _right(course, "t101")
    del notebook.metadata[STAMP]
    submit(course, "t101", BENCH, notebook)
    assert mark(course)[0].marked
    assert marks_of(course, "t101", BENCH)["right-a-check"] == FULL


@pytest.mark.parametrize(
    "stamp",
    [{"intake": "elsewhere", "pairs": "0123456789ab"}, {"intake": "x", "pairs": "../../../etc"}, {"pairs": 5}, [], "x", None,
     {"intake": "\ud800" * 3, "pairs": "0123456789ab"}],
)  # fmt: skip
def test_a_stamp_that_leads_nowhere_is_refused_or_passed_over(two_intakes, submit, stamp):
    course, spring, _ = two_intakes
    raw = json.loads(nbformat.writes(_right(course, "t101", handed_out=spring)))
    raw["metadata"][STAMP] = stamp
    submit(course, "t101", BENCH, json.dumps(raw))
    done = mark(course)[0]
    assert not done.marked
    assert "pairs" in done.notes[0]


def test_pairs_that_were_lost_are_told(two_intakes, submit):
    course, spring, _ = two_intakes
    submit(course, "t101", BENCH, _right(course, "t101", handed_out=spring))
    shutil.rmtree(
        course.root / "handed-out" / BENCH / _right(course, "x", handed_out=spring).metadata[STAMP]["pairs"]
    )
    assert "not kept in this course" in mark(course)[0].notes[0]


def test_nothing_handed_out_is_replaced_unasked(course):
    before = {path: path.read_bytes() for path in (course.root / "release").rglob("*") if path.is_file()}
    release(course, variants=4)  # the same again is no replacement
    start_intake(course, "autumn")
    with pytest.raises(HandedOutError, match="91-forms, 92-bench"):
        release(course, variants=4)
    assert {
        path: path.read_bytes() for path in (course.root / "release").rglob("*") if path.is_file()
    } == before
    assert not list(course.root.glob(".releasing*"))


def test_a_release_is_all_or_nothing(course, monkeypatch):
    start_intake(course, "autumn")
    before = {path: path.read_bytes() for path in (course.root / "release").rglob("*") if path.is_file()}
    spoiled = course.notebook("source", BENCH)
    notebook = nbformat.read(spoiled, as_version=4)
    notebook.cells.append(notebook.cells[2].copy())
    notebook.cells[-1].id = "again"
    nbformat.write(notebook, spoiled)
    with pytest.raises(OpticsError, match="could not be released"):
        release(course, replace=True)
    assert {
        path: path.read_bytes() for path in (course.root / "release").rglob("*") if path.is_file()
    } == before


# --- whose pairs ---------------------------------------------------------------------------


@pytest.fixture(scope="module")
def listed_once(released_once, tmp_path_factory):
    """The course, released to a class list; never written to."""
    root = shutil.copytree(released_once.root, tmp_path_factory.mktemp("listed") / "course")
    write_class_list(root / "class-list.csv")
    release(open_course(root), variants=24, replace=True)
    return root


@pytest.fixture
def listed(listed_once, tmp_path):
    """The course, released to a class list."""
    return open_course(shutil.copytree(listed_once, tmp_path / "listed"))


def test_however_a_listed_name_is_typed_the_same_pairs_lie_there(listed):
    box = open_pairs(listed.step("release", chapter=BENCH))
    for typed in (
        "t101",
        "T 101",
        "Mara Quillane",
        "mara quillane",
        "Quillane Mara",
        "Quillane, Mara",
        "Mara",
    ):
        assert box.whose(typed) == box.whose("t101") != ""
        assert box.variant("A", typed) == box.variant("A", "t101")
    # Shared by two people, so it is nobody's.
    assert box.whose("Corra") == box.whose("Orwin Fenwold") == box.whose("Selwa") == ""
    assert len({box.whose(one) for one in CLASS}) == len(CLASS)


def test_the_sealed_box_is_no_class_list(listed):
    from optics.specimens.sealed import mark_of

    people = open_pairs(listed.step("release", chapter=BENCH)).people
    assert mark_of("spring", "t101") in people
    assert not any(
        "t101" in text or "quillane" in text.casefold() for pair in people.items() for text in pair
    )


@pytest.mark.parametrize(
    ("typed", "mark_got", "told"),
    [
        ("Mara Quillane", FULL, ""),
        ("Selwa", FULL, "nobody's in the class list"),
        ("Orwin Fenwold t105", FULL, "nobody's"),
    ],
)
def test_a_typed_name_is_held_against_the_sender(listed, submit, marks_of, typed, mark_got, told):
    submit(listed, "t101", BENCH, _right(listed, "t101", typed=typed))
    done = mark(listed)[0]
    assert marks_of(listed, "t101", BENCH)["right-a-check"] == mark_got
    assert (told in " ".join(done.notes)) and bool(told) == bool(done.notes)


def test_somebody_elses_name_gives_nobody_their_pairs(listed, submit, marks_of):
    box = open_pairs(listed.step("release", chapter=BENCH))
    other = next(one for one in CLASS if box.variant("A", one) != box.variant("A", "t101"))
    submit(listed, "t101", BENCH, _right(listed, "t101", typed=other))
    done = mark(listed)[0]
    assert "somebody else's" in " ".join(done.notes)
    assert marks_of(listed, "t101", BENCH)["right-a-check"] < FULL


# --- deadlines --------------------------------------------------------------------------------


def test_deadlines_and_extensions(course):
    assert set_deadline(course, "2026-03-02") == "2026-03-02 23:59"
    set_deadline(course, "2026-03-09 12:00", [BENCH])
    set_deadline(course, "2026-04-01", [], ["t101"])
    intake = course.intake
    assert intake.deadline(FORMS, "t102") == "2026-03-02 23:59"
    assert intake.deadline(BENCH, "t102") == "2026-03-09 12:00"
    assert intake.deadline(BENCH, "t101") == "2026-04-01 23:59"
    start_intake(course, "autumn")
    assert course.intake.deadline(FORMS) == ""
    start_intake(course, "spring")
    assert course.intake == intake
    set_deadline(course, "none")
    assert course.intake.deadline(FORMS) == ""
    with pytest.raises(OpticsError, match="is no date"):
        set_deadline(course, "02.03.2026")
