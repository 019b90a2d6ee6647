"""Whose a submission is and of which chapter: told by clear signs, never guessed."""

import nbformat
import pytest

from optics.course.class_list import Learner, checked_identifier, read_class_list
from optics.course.names import chapter_of, who_sent
from optics.errors import OpticsError

FORMS, BENCH = "91-forms", "92-bench"


@pytest.mark.parametrize(
    ("path", "typed", "whose"),
    [
        ("Quillane Mara_55301_assignsubmission_file_91-forms.ipynb", "", "t101"),
        ("QUILLANE_mara.ipynb", "", "t101"),
        ("vonester/Ämilis Von Ester 91-forms.ipynb", "", "t102"),
        ("Amilis von-ester.ipynb", "", "t102"),
        ("Corra Lindlow.ipynb", "", "t103"),
        ("Lindlow Corra Ann.ipynb", "", "t104"),
        ("Orwin Fenwold t106.ipynb", "", "t106"),
        ("x.ipynb", "mara  quillane", "t101"),
        ("x.ipynb", "T105", "t105"),
        ("Orwin Fenwold.ipynb", "t106", "t106"),
        ("91-forms-2.ipynb", "t102", "t102"),
    ],
)
def test_whose_it_is(text_of, class_list, path, typed, whose):
    notebook = nbformat.reads(text_of(typed), as_version=4)
    assert who_sent(path, notebook, read_class_list(class_list).learners, (FORMS, BENCH)).identifier == whose


def test_a_short_number_in_the_class_list_is_not_an_attempt(text_of):
    notebook = nbformat.reads(text_of(), as_version=4)
    learners = (Learner("1", "Mara Quillane"), Learner("2", "Corra Lindlow"))
    assert who_sent("Mara Quillane 91-forms (2).ipynb", notebook, learners, (FORMS,)).identifier == "1"


@pytest.mark.parametrize(
    "wrong", ["", "../x", "a/b", "a\\b", ".x", "x.", "a..b", "con", "nul.txt", "a*", "[a]", "é", "a" * 65]
)
def test_identifiers_that_cannot_name_a_folder(wrong):
    with pytest.raises(OpticsError, match="cannot be used"):
        checked_identifier(wrong)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("shoes,name\nbig,Mara\nbig,Corra", "has the columns shoes, name"),
        ("", "has the columns none"),
        ("id,name\nT1,Mara\nt1,Corra", "stands twice"),
        ("id,name\n../x,Mara", "cannot be used"),
    ],
)
def test_a_wrong_class_list(tmp_path, text, told):
    path = tmp_path / "class.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(OpticsError, match=told):
        read_class_list(path)


@pytest.mark.parametrize(("encoding", "stroke"), [("utf-8-sig", ","), ("cp1252", ";")])
def test_a_class_list_as_a_spreadsheet_saves_it(tmp_path, encoding, stroke):
    path = tmp_path / "class.csv"
    path.write_text(f"ID{stroke}Name\r\nt1{stroke}Bréda Sänderow\r\n", encoding)
    assert read_class_list(path).learners == (Learner("t1", "Bréda Sänderow"),)


def test_the_chapter_is_known_by_its_cells_not_its_name(course, text_of):
    released = {c: nbformat.read(course.notebook("release", c), as_version=4) for c in (FORMS, BENCH)}
    notebook = nbformat.reads(text_of(chapter=BENCH), as_version=4)
    assert chapter_of("91-forms.ipynb", notebook, released) == BENCH
    for cell in notebook.cells:
        cell.metadata = {}
    assert chapter_of("91-forms.ipynb", notebook, released) == BENCH
    assert chapter_of("91-forms.ipynb", nbformat.v4.new_notebook(), released) == ""
