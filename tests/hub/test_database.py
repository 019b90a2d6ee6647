"""A course whose gradebook lies in PostgreSQL gets the marks that it gets in a file."""

import shutil
import subprocess
import sys

import pytest
from course_names import BENCH, FORMS

from optics.course.feedback import hand_back
from optics.course.folder import CONFIGURATION, open_course
from optics.course.grader import gradebook
from optics.course.marking import mark
from optics.course.report import write_report
from optics.course.results import results
from optics.errors import OpticsError

pytestmark = pytest.mark.campus
CLASS = 12


@pytest.fixture(scope="module")
def address(postgres, sql):
    sql("CREATE ROLE root LOGIN", "CREATE DATABASE spring OWNER root")
    return f"postgresql+psycopg:///spring?host={postgres}"


@pytest.fixture(scope="module")
def handed_in(released_once, tmp_path_factory, fill, submit):
    """One course with a class's answers: right, wrong, untouched, and one that is no notebook."""
    root = tmp_path_factory.mktemp("file") / "course"
    shutil.copytree(released_once.root, root)
    course = open_course(root)
    forms = ['"+1.00 +1.50 x 080"', '"+1.00 +1.50 x 170"', '"1.00 1.50 x 080"']
    for number in range(CLASS):
        who = f"t{number:03d}"
        typed = {"learner": repr(who), "convert_1": forms[number % 3], "along_1": '"+1.00"'}
        submit(course, who, FORMS, fill(course, FORMS, **typed, why="Because the powers change places."))
        submit(
            course, who, BENCH, fill(course, BENCH, learner=repr(who), right_a='"-1.00"', left_a='"-2.00"')
        )
    submit(course, "broken", FORMS, "this is no notebook")
    return course


def _in_a_database(course, root, address):
    """The same course, with a gradebook in the database and released into it anew."""
    from optics.course.release import release

    shutil.copytree(
        course.root, root, ignore=shutil.ignore_patterns("gradebook.db*", "autograded", "reports")
    )
    with (root / CONFIGURATION).open("a", encoding="utf-8") as configuration:
        configuration.write(f'c.CourseDirectory.db_url = "{address}"\n')
    course = open_course(root)
    release(course, variants=4)
    return course


def test_two_processes_and_a_database_give_the_marks_of_one_process_and_a_file(
    handed_in, tmp_path, address, sql
):
    done = mark(handed_in, processes=0)
    there = _in_a_database(handed_in, tmp_path / "there", address)
    also = mark(there, processes=2)
    assert sum(each.marked for each in done) == 2 * CLASS
    assert sorted(map(str, also)) == sorted(map(str, done))
    assert results(there) == results(handed_in)
    assert not (there.root / "gradebook.db").exists()
    assert int(sql("SELECT count(*) FROM submitted_assignment", database="spring")) == 2 * CLASS

    # Marked again, rows have moved about in the database; the tables still read the same.
    mark(there, again=True, processes=2)
    tables = [write_report(course) for course in (handed_in, there)]
    for name in ("marks.csv", "totals.csv", "skills.csv", "slips.csv", "class.html"):
        assert len({(table / name).read_bytes() for table in tables}) == 1, name
    assert hand_back(there).zips == CLASS


def test_a_mark_given_by_hand_outlives_marking_again(handed_in, tmp_path, address, sql):
    sql("CREATE DATABASE summer OWNER root")
    there = _in_a_database(handed_in, tmp_path / "there", address.replace("spring", "summer"))
    mark(there, learners=["t000"])
    with gradebook(there) as book:
        book.find_grade("why", FORMS, FORMS, "t000").manual_score = 1.5
        book.db.commit()
    mark(there, learners=["t000"], again=True, processes=2)
    assert {r.mark for r in results(there) if r.question == "why"} == {1.5}


def test_two_who_mark_different_chapters_at_once_get_the_marks_of_one(handed_in, tmp_path, address, sql):
    """Each meets learners that the other is just putting into the gradebook, and both write a report."""
    mark(handed_in)
    sql("CREATE DATABASE winter OWNER root")
    there = _in_a_database(handed_in, tmp_path / "there", address.replace("spring", "winter"))
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "optics", "mark", chapter, "--processes", "1"],
            cwd=there.root, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )
        for chapter in (FORMS, BENCH)
    ]  # fmt: skip
    said = [each.communicate(timeout=240)[0] for each in running]
    assert [each.returncode for each in running] == [0, 0], said
    assert f"{CLASS} of {CLASS + 1} submissions" in said[0] and f"{CLASS} of {CLASS} submissions" in said[1]
    assert results(there) == results(handed_in)
    assert len(list((there.root / "reports").iterdir())) == 2


def test_a_database_that_is_not_there_is_named_with_what_to_do(course, postgres):
    with (course.root / CONFIGURATION).open("a", encoding="utf-8") as configuration:
        configuration.write(
            f'c.CourseDirectory.db_url = "postgresql+psycopg://me:hush@/autumn?host={postgres}"\n'
        )
    with pytest.raises(OpticsError, match=r"cannot be opened at postgresql.*autumn") as said:
        mark(course)
    assert "hush" not in str(said.value)
