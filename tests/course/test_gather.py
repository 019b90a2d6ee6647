"""Submissions are gathered from whatever an LMS hands over, and nothing is overwritten."""

import os
import zipfile
from pathlib import Path

import nbformat
import pytest

from optics.course.gather import gather
from optics.errors import OpticsError

FORMS, BENCH = "91-forms", "92-bench"


def _zip(path, files, time=(2026, 3, 2, 10, 0, 0)):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, time)
            archive.writestr(entry, data)
    return path


def _answer(course, learner, chapter=FORMS, name="convert_1"):
    notebook = nbformat.read(course.notebook("submitted", chapter, learner), as_version=4)
    return next(cell.source for cell in notebook.cells if cell.source.startswith(f"{name} = "))


# --- from a zip, a folder, a file ---------------------------------------------------------


def test_a_zip_as_a_platform_gives_it(course, tmp_path, class_list, text_of):
    handed_in = _zip(
        tmp_path / "all.zip",
        {
            "Quillane Mara_55301_assignsubmission_file_/91-forms.ipynb": text_of(convert_1='"a"'),
            "Von-Ester Amilis_55302_assignsubmission_file_91-forms (1).ipynb": text_of(convert_1='"b"'),
            "late_t103_91-forms-2.ipynb": text_of(convert_1='"c"'),
            "Lindlow, Corra Ann/answers.ipynb.txt": text_of(convert_1='"d"'),
            "upload\\someone\\renamed.ipynb": text_of("Orwin Fenwold t105", convert_1='"e"'),
            "__MACOSX/._91-forms.ipynb": b"\x00",
            "Quillane Mara_55301_assignsubmission_file_/.ipynb_checkpoints/91-forms-checkpoint.ipynb": text_of(),
            "read me.md": "hello",
        },
    )
    done = gather(course, [handed_in], class_list)
    assert done.unsettled == []
    assert sorted(done.taken) == [f"t10{n}, 91-forms" for n in (1, 2, 3, 4, 5)]
    answers = [_answer(course, f"t10{n}") for n in (1, 2, 3, 4, 5)]
    assert answers == [f'convert_1 = "{letter}"' for letter in "abcde"]
    assert done.left == ["read me.md"]
    assert "Nothing has come from: Orwin Fenwold." in str(done)


def test_zips_within_a_zip_and_both_chapters(course, tmp_path, class_list, text_of):
    inner = _zip(tmp_path / "inner.zip", {"x.ipynb": text_of(), "y.ipynb": text_of(chapter=BENCH)})
    outer = _zip(tmp_path / "outer.zip", {"Mara Quillane_1_work.zip": inner.read_bytes()})
    done = gather(course, [outer], class_list)
    assert sorted(done.taken) == ["t101, 91-forms", "t101, 92-bench"]


def test_a_folder_and_a_single_file(course, tmp_path, class_list, text_of):
    folder = tmp_path / "from mail"
    (folder / "Mara Quillane").mkdir(parents=True)
    (folder / "Mara Quillane" / "work.ipynb").write_text(text_of(), "utf-8")
    (folder / "Mara Quillane" / "photo.jpg").write_bytes(b"x")
    single = tmp_path / "t102.ipynb"
    single.write_text(text_of(), "utf-8")
    done = gather(course, [folder, single], class_list)
    assert sorted(done.taken) == ["t101, 91-forms", "t102, 91-forms"]


def test_without_a_class_list_the_typed_name_or_the_file_name_serves(course, tmp_path, text_of):
    handed_in = _zip(
        tmp_path / "all.zip",
        {
            "a.ipynb": text_of("Mara Quillane"),
            "Brindo Marrowby_7_assignsubmission_file_91-forms (2).ipynb": text_of(),
            "91-forms.ipynb": text_of(),
        },
    )
    done = gather(course, [handed_in])
    assert sorted(done.taken) == ["brindo-marrowby, 91-forms", "mara-quillane, 91-forms"]
    assert "Nothing in it says whose it is" in done.unsettled[0]


def test_the_original_lies_untouched_in_the_inbox(course, tmp_path, class_list, text_of):
    notebook = nbformat.reads(text_of("Mara Quillane"), as_version=4)
    notebook.cells[1].outputs = [nbformat.v4.new_output("stream", text="x" * 50_000_000)]
    data = nbformat.writes(notebook).encode()
    gather(course, [_zip(tmp_path / "a.zip", {"Mara Quillane.ipynb": data})], class_list)
    kept = list((course.root / "inbox" / "t101" / FORMS).iterdir())
    assert [path.read_bytes() for path in kept] == [data]
    assert course.notebook("submitted", FORMS, "t101").stat().st_size < 20_000


def test_who_knows_better_may_say_so(course, tmp_path, class_list, text_of):
    single = tmp_path / "anything.ipynb"
    single.write_text(text_of("Mara Quillane"), "utf-8")
    done = gather(course, [single], class_list, learner="t105")
    assert list(done.taken) == ["t105, 91-forms"]


# --- nothing overwritten ----------------------------------------------------------------------


def test_the_newest_version_stands_whatever_the_order(course, tmp_path, class_list, text_of):
    old = _zip(tmp_path / "old.zip", {"t101.ipynb": text_of(convert_1='"old"')}, (2026, 3, 1, 9, 0, 0))
    new = _zip(tmp_path / "new.zip", {"t101.ipynb": text_of(convert_1='"new"')}, (2026, 3, 2, 9, 0, 0))
    gather(course, [new], class_list)
    again = gather(course, [old], class_list)
    assert "older version, sent 2026-03-01 09:00:00" in again.kept_aside[0]
    assert _answer(course, "t101") == 'convert_1 = "new"'
    assert len(list((course.root / "inbox" / "t101" / FORMS).iterdir())) == 2


def test_a_newer_version_takes_the_place_and_the_older_is_kept(course, tmp_path, class_list, text_of):
    old = _zip(tmp_path / "old.zip", {"t101.ipynb": text_of(convert_1='"old"')}, (2026, 3, 1, 9, 0, 0))
    new = _zip(tmp_path / "new.zip", {"t101.ipynb": text_of(convert_1='"new"')}, (2026, 3, 2, 9, 0, 0))
    gather(course, [old], class_list)
    done = gather(course, [new], class_list)
    assert "takes the place of an older version" in str(done)
    assert _answer(course, "t101") == 'convert_1 = "new"'
    kept = "".join(path.read_text("utf-8") for path in (course.root / "inbox" / "t101" / FORMS).iterdir())
    assert '\\"old\\"' in kept


def test_the_second_attempt_in_one_zip_stands(course, tmp_path, class_list, text_of):
    files = {"t101-2.ipynb": text_of(convert_1='"two"'), "t101-1.ipynb": text_of(convert_1='"one"')}
    done = gather(course, [_zip(tmp_path / "a.zip", files)], class_list)
    assert _answer(course, "t101") == 'convert_1 = "two"'
    assert "older version" in done.kept_aside[0]


def test_two_of_one_time_are_both_kept_and_told(course, tmp_path, class_list, text_of):
    files = {"t101 a.ipynb": text_of(convert_1='"one"'), "t101 b.ipynb": text_of(convert_1='"two"')}
    done = gather(course, [_zip(tmp_path / "a.zip", files)], class_list)
    assert "look at both" in done.kept_aside[0]
    assert len(list((course.root / "inbox" / "t101" / FORMS).iterdir())) == 2


def test_gathering_twice_changes_nothing(course, tmp_path, class_list, text_of):
    handed_in = _zip(tmp_path / "a.zip", {"t101.ipynb": text_of(), "again/t101.ipynb": text_of()})
    assert gather(course, [handed_in], class_list, preview=True).kept_aside == [
        "t101, 91-forms: the same file came twice."
    ]
    gather(course, [handed_in], class_list)
    before = {path: path.stat().st_mtime_ns for path in (course.root / "submitted").rglob("*")}
    done = gather(course, [handed_in], class_list)
    assert done.taken == {}
    assert done.kept_aside == ["t101, 91-forms: this version was gathered before."] * 2
    assert {path: path.stat().st_mtime_ns for path in (course.root / "submitted").rglob("*")} == before


def test_what_a_killed_run_was_writing_goes_and_what_another_writes_stays(
    course, tmp_path, class_list, text_of
):
    folder = course.root / "inbox" / "t101" / FORMS
    folder.mkdir(parents=True)
    killed, running = folder / ".0123abcd.part", folder / ".4567abcd.part"
    for part in (killed, running):
        part.write_text("half of a", "utf-8")
    os.utime(killed, (0, 0))
    handed_in = _zip(tmp_path / "all.zip", {"t101_91-forms.ipynb": text_of()})
    gather(course, [handed_in], class_list, preview=True)
    assert killed.exists()
    gather(course, [handed_in], class_list)
    assert (killed.exists(), running.exists()) == (False, True)


def test_a_submission_put_there_by_hand_is_kept_when_replaced(course, tmp_path, class_list, text_of, submit):
    submit(course, "t101", FORMS, text_of(convert_1='"by hand"'))
    gather(course, [_zip(tmp_path / "a.zip", {"t101.ipynb": text_of()})], class_list)
    kept = "".join(path.read_text("utf-8") for path in (course.root / "inbox" / "t101" / FORMS).iterdir())
    assert "by hand" in kept


def test_interrupted_midway_what_stood_still_stands(course, tmp_path, class_list, text_of, monkeypatch):
    old = _zip(tmp_path / "old.zip", {"t101.ipynb": text_of(convert_1='"old"')}, (2026, 3, 1, 9, 0, 0))
    gather(course, [old], class_list)

    def stop(*_):
        raise KeyboardInterrupt

    new = _zip(tmp_path / "new.zip", {"t101.ipynb": text_of(convert_1='"new"')}, (2026, 3, 2, 9, 0, 0))
    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr("optics.course.folder.os.replace", stop)
        gather(course, [new], class_list)
    assert _answer(course, "t101") == 'convert_1 = "old"'
    assert not list(course.root.rglob("*.part"))
    assert list(gather(course, [new], class_list).taken) == ["t101, 91-forms"]
    assert _answer(course, "t101") == 'convert_1 = "new"'


# --- what needs a look ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "typed", "told"),
    [
        ("Orwin Fenwold.ipynb", "", "several learners: Orwin Fenwold (t105), Orwin Fenwold (t106)"),
        (
            "Mara Quillane.ipynb",
            "Corra Lindlow",
            "points to Mara Quillane (t101), but the answer typed inside to Corra Lindlow (t103)",
        ),
        ("Mara Quillane t105.ipynb", "", "several learners: Mara Quillane (t101), Orwin Fenwold (t105)"),
        (
            "Mara Quillane and Corra Lindlow.ipynb",
            "",
            "several learners: Mara Quillane (t101), Corra Lindlow (t103)",
        ),
        (
            "Selwa Stonehay.ipynb",
            "Selwa",
            'fits nobody in the class list; the answer typed inside is "Selwa"',
        ),
        ("91-forms.ipynb", "", "fits nobody"),
    ],
)
def test_what_cannot_be_told_is_not_guessed(course, tmp_path, class_list, text_of, path, typed, told):
    done = gather(course, [_zip(tmp_path / "a.zip", {path: text_of(typed)})], class_list)
    assert done.taken == {}
    assert told in done.unsettled[0]
    assert len(list((course.root / "inbox" / "unsettled").iterdir())) == 1


def test_another_notebook_is_not_taken(course, tmp_path, class_list):
    other = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1")])
    done = gather(course, [_zip(tmp_path / "a.zip", {"t101.ipynb": nbformat.writes(other)})], class_list)
    assert "none of the chapters" in done.unsettled[0]


def test_a_printed_notebook_is_asked_for_again(course, tmp_path, class_list):
    done = gather(course, [_zip(tmp_path / "a.zip", {"t101.pdf": b"%PDF"})], class_list)
    assert done.unsettled == ['"t101.pdf" is no notebook; ask for the file ending in .ipynb.']


def test_a_name_that_climbs_out_reaches_nowhere(course, tmp_path, class_list, text_of):
    names = ["../../../t101.ipynb", "/etc/t102.ipynb", "C:\\Windows\\t103.ipynb", "..\\..\\t104.ipynb"]
    before = set(tmp_path.rglob("*"))
    handed_in = _zip(tmp_path / "a.zip", {name: text_of() for name in names})
    done = gather(course, [handed_in], class_list)
    assert sorted(done.taken) == [f"t10{n}, 91-forms" for n in (1, 2, 3, 4)]
    new = set(tmp_path.rglob("*")) - before - {handed_in}
    assert all(path.is_relative_to(course.root) for path in new)
    assert not Path("/etc/t102.ipynb").exists()


def test_a_place_that_is_not_there(course):
    with pytest.raises(OpticsError, match="There is nothing at"):
        gather(course, ["nowhere.zip"])


def test_the_next_gathering_knows_the_same_people(course, tmp_path, class_list, text_of):
    """A second zip without the list made a second learner of everybody, and said nothing."""
    kept = "The class list is kept in the course; the next gathering needs none."
    (course.root / "class-list.csv").unlink(missing_ok=True)
    files = {"Quillane Mara_55301_assignsubmission_file_/91-forms.ipynb": text_of()}
    looked = gather(course, [_zip(tmp_path / "a.zip", files)], class_list, preview=True)
    assert kept not in looked.notes
    assert kept in gather(course, [tmp_path / "a.zip"], class_list).notes
    more = {"Quillane Mara_55301_assignsubmission_file_/92-bench.ipynb": text_of(chapter=BENCH)}
    again = gather(course, [_zip(tmp_path / "b.zip", more)])
    assert list(again.taken) == ["t101, 92-bench"]
    assert kept not in again.notes
