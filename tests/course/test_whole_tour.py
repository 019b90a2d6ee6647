"""The README's tour with a class of two hundred, from an empty folder to feedback handed back."""

import csv
import io
import json
import os
import re
import zipfile

import pytest

from optics.cli import main
from optics.course.folder import open_course
from optics.course.rehearsal import compare
from optics.course.results import results

LEARNERS, CHAPTERS = int(os.environ.get("TOUR", 200)), ("02", "05")


def _rows(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"))))


@pytest.mark.exhaustive
def test_two_hundred_learners_from_an_empty_folder_to_feedback(tmp_path, capsys):
    def said(*words):
        assert main([str(word) for word in words]) == 0, capsys.readouterr()
        return capsys.readouterr().out

    root, made = tmp_path / "my-course", tmp_path / "made"
    said("intake", "Spring", "--course", root)
    said("release", *CHAPTERS, "--course", root)
    course = open_course(root)
    chapters = course.chapters("release")
    assert len(chapters) == len(CHAPTERS)
    count = LEARNERS * len(chapters)
    said("make-class", "--count", LEARNERS, "--course", root, "--into", made)
    truth = json.loads((made / "truth.json").read_text("utf-8"))
    assert len(truth) == count
    with zipfile.ZipFile(made / "handed-in.zip") as archive:
        assert len(archive.namelist()) == count
    told = said("gather", made / "handed-in.zip", "--class-list", made / "class-list.csv", "--course", root)
    assert told.startswith(f"{count} submissions are ready")
    assert len(course.learners("submitted")) == LEARNERS
    told = said("mark", "--course", root)
    (tmp_path / "said-in-marking.txt").write_text(told, "utf-8")  # kept, because a run takes long
    left = [line for line in told.splitlines() if ": not marked." in line]
    assert not left, "\n".join(left)
    assert f"{count} of {count} submissions were marked." in told
    assert "There is no answer named" not in told
    assert said("mark", "--course", root) == "There is nothing new to mark.\n"
    found = results(course)
    answers, agreed, named, habitual, differences = compare(truth, found)
    assert (answers, agreed, differences) == (answers, answers, []), differences[:10]
    # Where a habit hardly shows on the pair that came up, nothing is said.
    assert habitual > LEARNERS and named >= 0.93 * habitual
    told = said("report", "--course", root)
    report = root / "reports" / re.search(r"reports.(.+? class)\b", told)[1]
    totals = _rows(report / "totals.csv")
    assert len(totals) == LEARNERS
    in_book = sum(result.mark for result in found if not result.practice)
    assert sum(float(row["marks"]) for row in totals) == pytest.approx(in_book, abs=0.01 * LEARNERS)
    assert len(_rows(report / "marks.csv")) == sum(not result.practice for result in found)
    told = said("hand-back", "--course", root)
    assert told.startswith(f"Feedback for {LEARNERS} learners")
    assert "No page for" not in told
    (back,) = (root / "reports").glob("* hand-back")
    names = _rows(back / "names.csv")
    assert {row["id"] for row in names} == {entry["learner"] for entry in truth}
    assert len(list(back.glob("t*.zip"))) == LEARNERS
    with zipfile.ZipFile(back / "all.zip") as archive:
        assert len(archive.namelist()) == count
    for row in names[:5]:
        with zipfile.ZipFile(back / row["file"]) as archive:
            assert sorted(archive.namelist()) == [f"{chapter}.html" for chapter in chapters]
