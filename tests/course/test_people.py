"""Who is who: lists as platforms export them, senders without a list, dates in names, mending afterwards."""

import shutil
import zipfile
from datetime import datetime

import pytest
from course_names import FORMS

from optics.course.class_list import Learner, class_list, keep_class_list, read_class_list
from optics.course.dates import date_in
from optics.course.gather import choose, gather, ledger
from optics.course.grader import gradebook
from optics.course.marking import mark
from optics.course.people import merge, remove, rename
from optics.errors import OpticsError


def _zip(path, files, time=(2026, 3, 2, 10, 0, 0)):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name, time), data)
    return path


def _everything(course, inside="."):
    root = course.root / inside
    return {path.relative_to(root): path.read_bytes() for path in root.rglob("*") if path.is_file()}


# --- class lists -----------------------------------------------------------------------------


MARA = Learner("t101", "Mara Quillane", "mara@example.org", "55301")


@pytest.mark.parametrize(
    ("text", "first"),
    [
        (
            "Given name;Family name;E-mail;User name;Participant\nMara;Quillane;mara@example.org;t101;P 55301",
            MARA,
        ),
        (
            "First name,Surname,ID number,Email address,Platform\nMara,Quillane,t101,mara@example.org,55301",
            MARA,
        ),
        (
            "Identifier\tFull name\tEmail\tUsername\nParticipant 55301\tMara Quillane\tmara@example.org\tt101",
            MARA,
        ),
        (
            "Last access;Surname;Given name(s);Student number;Contact;Cohort\n"
            "2026-02-11;Quillane;Mara;t101;mara@example.org;B2\n"
            "2026-02-12;Lindlow;Corra;t102;corra@example.org;B2",
            Learner("t101", "Mara Quillane", "mara@example.org"),
        ),
        (
            "Wer,Name,Post\nt101,Mara Quillane,mara@example.org",
            Learner("t101", "Mara Quillane", "mara@example.org"),
        ),
        (
            "Group,Last,First,Mail\n1,Quillane,Mara,mara@example.org\n1,Lindlow,Corra,corra@example.org",
            Learner("mara@example.org", "Mara Quillane", "mara@example.org"),
        ),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_columns_are_known_by_what_they_hold(tmp_path, text, first, encoding):
    path = tmp_path / "list.csv"
    path.write_bytes(text.encode(encoding))
    found = read_class_list(path)
    assert found.learners[0] == first
    assert f"{len(found.learners)} learners; " in str(found)


def test_what_was_left_aside_and_half_a_name_are_said(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text(
        "Surname,Rufname,Student number,Cohort\nQuillane,Mara,101,B2\nLindlow,Corra,102,B2", "utf-8"
    )
    said = str(read_class_list(path))
    assert "Left aside: Rufname, Cohort." in said or "Left aside: Cohort." in said, said
    assert "Only one half of the names was found" in said


def test_a_list_kept_is_read_the_same_again(course):
    people = (MARA, Learner("x=1", "=Formula, Ann"), Learner("9", "Ämilis"))
    people = tuple(each for each in people if "=" not in each.identifier)
    keep_class_list(course, people)
    assert class_list(course) == people


def test_the_platforms_number_and_the_address_tell_whose_it_is(course, tmp_path, text_of):
    keep_class_list(course, [MARA, Learner("t102", "Corra Lindlow", "corra@example.org", "55302")])
    files = {"somebody_55302_file/a.ipynb": text_of(), "b mara@example.org.ipynb": text_of()}
    done = gather(course, [_zip(tmp_path / "a.zip", files)])
    assert sorted(done.taken) == ["t101, 91-forms", "t102, 91-forms"]


# --- senders without a list -----------------------------------------------------------------


def test_two_of_one_name_are_told_apart_by_the_platforms_number(course, tmp_path, text_of):
    files = {
        "Orwin Fenwold_55_assignsubmission_file_/a.ipynb": text_of(convert_1='"one"'),
        "Orwin Fenwold_56_assignsubmission_file_/a.ipynb": text_of(convert_1='"two"'),
    }
    done = gather(course, [_zip(tmp_path / "a.zip", files)])
    assert sorted(done.taken) == ["orwin-fenwold, 91-forms", "orwin-fenwold-56, 91-forms"]
    assert "Somebody else of this name" in str(done)
    assert gather(course, [tmp_path / "a.zip"]).taken == {}


def test_another_sender_who_types_a_name_takes_nobodys_place(course, tmp_path, text_of):
    gather(course, [_zip(tmp_path / "a.zip", {"desk one/a.ipynb": text_of("Mara", convert_1='"mine"')})])
    done = gather(
        course, [_zip(tmp_path / "b.zip", {"desk two/a.ipynb": text_of("Mara", convert_1='"taken"')})]
    )
    assert done.taken == {}
    assert "whose work came from" in done.unsettled[0]
    assert "mine" in course.notebook("submitted", FORMS, "mara").read_text("utf-8")


def test_a_typed_name_that_is_not_the_senders_is_told(course, tmp_path, text_of):
    done = gather(
        course, [_zip(tmp_path / "a.zip", {"Corra Lindlow_9_file/a.ipynb": text_of("Mara Quillane")})]
    )
    assert list(done.taken) == ["corra-lindlow, 91-forms"]
    assert 'The name typed inside is "Mara Quillane"' in str(done)


@pytest.mark.parametrize(
    "typed", ["Con", "nul", "AUX", "lpt1", "김민서", "Ж", "Ä Ö", "../..", "a" * 300, "\u202eevil"]
)
def test_a_typed_name_becomes_a_folder_on_any_machine(course, tmp_path, text_of, typed):
    from optics.course.class_list import checked_identifier

    done = gather(course, [_zip(tmp_path / "a.zip", {"x.ipynb": text_of(typed)})])
    assert len(done.taken) + len(done.unsettled) == 1
    for learner in course.learners():
        assert checked_identifier(learner) == learner


# --- dates --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "moment"),
    [
        ("Mara_attempt_2026-03-02-10-15-30_91-forms.ipynb", (2026, 3, 2, 10, 15, 30)),
        ("2026-03-02 10.15 Mara/91-forms.ipynb", (2026, 3, 2, 10, 15)),
        ("20260302_101530_Mara.ipynb", (2026, 3, 2, 10, 15, 30)),
        ("2026-03-01/late 2026-03-02T10h15.ipynb", (2026, 3, 2, 10, 15)),
        ("Mara 2026-03-02.ipynb", (2026, 3, 2)),
        ("Mara_202603021015.ipynb", None),
        ("Mara 2026-02-31.ipynb", None),
        ("Mara_55301_file.ipynb", None),
    ],
)  # fmt: skip
def test_dates_in_names(name, moment):
    assert date_in(name) == (datetime(*moment) if moment else None)


def test_the_newest_attempt_by_its_date_stands_and_another_can_be_chosen(
    course, tmp_path, text_of, class_list
):
    files = {
        "Mara Quillane_attempt_2026-03-02-10-15-30.ipynb": text_of(convert_1='"second"'),
        "Mara Quillane_attempt_2026-03-01-23-59-59.ipynb": text_of(convert_1='"first"'),
        # The year is no learner's number, and the seconds are no attempt's.
        "Mara Quillane_attempt_2026-02-28-08-00-00.ipynb": text_of(convert_1='"zeroth"'),
    }
    done = gather(course, [_zip(tmp_path / "a.zip", files)], class_list)
    stands = course.notebook("submitted", FORMS, "t101")
    assert list(done.taken) == ["t101, 91-forms"] and len(done.kept_aside) == 2
    assert '\\"second\\"' in stands.read_text("utf-8")
    assert choose(course, "t101", "91").splitlines()[1].startswith("2  sent 2026-03-01 23:59:59")
    assert "Version 2" in choose(course, "t101", "91", 2)
    assert '\\"first\\"' in stands.read_text("utf-8")
    assert "2026-03-01 23:59:59" in stands.with_name("timestamp.txt").read_text("utf-8")
    for wrong in (("t101", "91", 4), ("t109", "91", None)):
        with pytest.raises(OpticsError):
            choose(course, *wrong)


# --- preview and safety ----------------------------------------------------------------------


def test_a_preview_says_what_gathering_does_and_writes_nothing(course, tmp_path, text_of, class_list):
    from optics.course.folder import set_deadline

    set_deadline(course, "2026-03-01 12:00")
    files = {"t101.ipynb": text_of(), "t102.ipynb": "broken", "nobody.ipynb": text_of(), "pic.png": b"x",
             "t103-2.ipynb": text_of(convert_1='"2"'), "t103-1.ipynb": text_of(convert_1='"1"')}  # fmt: skip
    handed_in = _zip(tmp_path / "a.zip", files)
    before = _everything(course)
    shown = gather(course, [handed_in], class_list, preview=True)
    assert _everything(course) == before
    assert "t101, 91-forms (Mara Quillane). Sent 2026-03-02 10:00:00. 22 h 0 min late." in str(shown)
    assert "Nothing was written." in str(shown)
    done = gather(course, [handed_in], class_list)
    for what in ("taken", "kept_aside", "unsettled", "left"):
        assert len(getattr(shown, what)) == len(getattr(done, what)) > 0
    assert done.left == ["pic.png"]


@pytest.mark.parametrize("place", [".", "..", "submitted", "inbox", "release/91-forms"])
def test_the_course_itself_is_not_gathered(course, place):
    (course.root / "inbox").mkdir(exist_ok=True)
    (course.root / "submitted").mkdir(exist_ok=True)
    with pytest.raises(OpticsError, match="belongs to the course itself"):
        gather(course, [course.root / place])


class Killed(BaseException):
    """The machine went off; nothing cleans up after it."""


@pytest.mark.parametrize("after", range(1, 26, 3))
def test_killed_at_any_write_and_run_again_gives_the_same(
    course, tmp_path, text_of, class_list, monkeypatch, after
):
    files = {f"t10{n}-{m}.ipynb": text_of(convert_1=f'"{n}{m}"') for n in (1, 2, 3) for m in (1, 2)}
    handed_in = _zip(tmp_path / "a.zip", files | {"odd.ipynb": "broken", "x.ipynb": text_of()})
    gather(course, [handed_in], class_list)
    whole = _state(course)
    for folder in ("submitted", "inbox"):
        shutil.rmtree(course.root / folder)
    left = after

    def counted(write):
        def stopping(*given):
            nonlocal left
            left -= 1
            if left == 0:
                raise Killed
            return write(*given)

        return stopping

    import optics.course.gather as gathering

    with monkeypatch.context() as patch:
        patch.setattr(gathering, "write_whole", counted(gathering.write_whole))
        patch.setattr(gathering, "_append", counted(gathering._append))
        try:
            gather(course, [handed_in], class_list)
        except Killed:
            pass
    assert left <= 0
    gather(course, [handed_in], class_list)
    assert _state(course) == whole


def _state(course):
    rows = sorted(tuple(v for k, v in row.items() if k != "gathered") for row in ledger(course))
    files = {
        k: v
        for inside in ("submitted", "inbox")
        for k, v in _everything(course, inside).items()
        if k.name != "received.csv"
    }
    return rows, files


# --- mending -------------------------------------------------------------------------------


def test_merged_renamed_and_removed(course, tmp_path, text_of, marks_of):
    right = {"convert_1": '"+1.00 +1.50 x 080"'}
    gather(
        course,
        [
            _zip(
                tmp_path / "a.zip",
                {"mara.ipynb": text_of("Mara", **right), "b.ipynb": text_of("Mara Quillane")},
            )
        ],
    )
    mark(course)
    assert marks_of(course, "mara", FORMS)["convert-1-check"] == 5.0
    with gradebook(course) as book:
        book.find_grade("why", FORMS, FORMS, "mara").manual_score = 1.5
        book.db.commit()
    assert "Both had handed in 91-forms" in merge(course, "mara-quillane", "mara")
    assert "is t101 now" in merge(course, "mara", "t101")
    keep_class_list(course, [Learner("t102", "Mara Quillane")])
    assert merge(course, "t102", "t101") == "t102 is t101 now, with everything that came from both."
    found = marks_of(course, "t101", FORMS)
    assert (found["convert-1-check"], found["why"]) == (5.0, 1.5)
    assert marks_of(course, "mara", FORMS) == {}
    assert {row["learner"] for row in ledger(course)} == {"t101"}
    assert all((course.root / row["file"]).is_file() for row in ledger(course))
    assert len(choose(course, "t101", "91").splitlines()) == 2
    rename(course, "t101", "Mara Ann Quillane")
    with gradebook(course) as book:
        assert book.find_student("t101").last_name == "Quillane"
    kept = len(_everything(course, "inbox/t101"))
    remove(course, "t101")
    assert course.learners() == () and marks_of(course, "t101", FORMS) == {}
    assert (
        len(
            [
                path
                for path in (course.root / "removed").rglob("*")
                if path.is_file() and "inbox" in path.parts
            ]
        )
        == kept
    )
    for wrong in (
        lambda: merge(course, "nobody", "t1"),
        lambda: rename(course, "nobody", "x"),
        lambda: remove(course, "t101"),
    ):
        with pytest.raises(OpticsError, match="no learner"):
            wrong()
