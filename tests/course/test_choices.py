"""An intake's own chapters, points and table: kept with it, handed out with it, marked by it, beside others."""

import copy
import json
import re
import shutil
import zipfile

import nbformat
import pytest
from course_names import BENCH, FORMS
from nbconvert import HTMLExporter

from optics.course.choices import as_chosen, described, read_choices
from optics.course.feedback import write_feedback
from optics.course.folder import open_course, start_intake
from optics.course.grader import configuration
from optics.course.learner_side import pack
from optics.course.marking import mark
from optics.course.release import HandedOutError, release
from optics.course.report import write_report
from optics.course.results import results
from optics.course.solving import solve_end, solve_ticket
from optics.errors import OpticsError
from optics.project_files import project_folder
from optics.specimens.sealed import open_pairs, sealed

JUDGING = "11-judging-a-pair"
ISO = "ISO 21987:2009"
ANSWERS = {"convert_1": '"+1.00 +1.50 x 080"', "along_1": '"+9.00"', "why": "It turns."}


@pytest.fixture(scope="module")
def chapters():
    """Every chapter of the workbook as it stands in the source."""
    paths = sorted((project_folder("notebooks") / "source").glob("*/*.ipynb"))
    assert len(paths) == 13
    return {path.stem: nbformat.read(path, as_version=4) for path in paths}


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"chapters": ["2026"]}, 'no chapter "2026"'),
        ({"points": ["91=0"]}, "gives no points"),
        ({"points": ["91=many"]}, "gives no points"),
        ({"points": ["91=nan"]}, "gives no points"),
        ({"points": ["93=5"]}, 'no chapter "93"'),
        ({"points": ["91/along=5"]}, "No question"),
        ({"points": ["91/crossed-1=5"]}, "No question"),
        ({"points": ["91/why=5"]}, "marked by hand"),
        ({"points": ["91=2"]}, "spoken for"),
        ({"points": ["91=9", "91/along-1=8"]}, "spoken for"),
        ({"points": ["91=20", "91-forms=30"]}, "been given some already"),
        ({"chapters": ["92"], "points": ["91=20"]}, "not among the chapters chosen"),
        ({"tolerance": "somewhere"}, "no table named"),
        ({"tolerance": "RAL-RG 915"}, "no pair could pass"),
    ],
)
def test_what_cannot_be_chosen_gets_a_sentence(released_once, given, said):
    with pytest.raises(OpticsError, match=said):
        read_choices(released_once, **given)


@pytest.mark.thorough
def test_two_intakes_with_other_points_are_each_marked_by_their_own(course, fill, submit):
    """Handed in mixed, one of them late; the same answers, in the points each was handed out with."""
    spring = fill(course, FORMS, **ANSWERS)
    choices = read_choices(course, points=["91=20", "91/along-1=8"])
    assert "91-forms: 20; 91-forms, along-1: 8" in described(start_intake(course, "autumn", **choices))
    with pytest.raises(HandedOutError):
        release(course, [FORMS])
    release(course, [FORMS], variants=4, replace=True)
    autumn = fill(course, FORMS, **ANSWERS)
    shown = [next(c.source for c in each.cells if c.id == "convert-1-check") for each in (spring, autumn)]
    assert [each.rpartition("points=")[2] for each in shown] == ["5)", "10)"]
    submit(course, "s1", FORMS, spring)
    submit(course, "a1", FORMS, autumn)
    assert [(each.marked, each.notes) for each in mark(course)] == [(True, [])] * 2
    lost = copy.deepcopy(spring)
    lost.metadata.pop("optics_workbook")
    submit(course, "lost", FORMS, lost)
    (said,) = mark(course)
    assert not said.marked and "which intake's points it was handed out with" in str(said)
    shutil.rmtree(course.step("submitted", "lost"))
    start_intake(course, "spring")
    release(course, [FORMS], variants=4, replace=True)
    submit(course, "a2", FORMS, autumn)
    submit(course, "s2", FORMS, spring)
    done = mark(course, again=True)
    # Nothing of either has been "edited" or "altered" because another intake's release stands.
    assert [(each.marked, each.notes) for each in done] == [(True, [])] * 4
    found = {(r.learner, r.question): (r.mark, r.out_of) for r in results(course) if not r.practice}
    for learner, convert, along in (("s1", 5, 2), ("s2", 5, 2), ("a1", 10, 8), ("a2", 10, 8)):
        assert found[learner, "convert-1-check"] == (convert, convert)
        assert found[learner, "along-1-check"] == (0, along)
        assert found[learner, "why"][1] == 2
    skills = {r.learner: r.skills for r in results(course) if r.question == "convert-1-check"}
    assert sum(of for _, of in skills["a1"].values()) == pytest.approx(10)
    assert write_feedback(course) == []
    for learner, total in (("s1", "of 9"), ("a1", "of 20"), ("a2", "of 20")):
        page = (course.step("feedback", learner, FORMS) / f"{FORMS}.html").read_text("utf-8")
        assert f"{total}</strong>" in page
        assert ("Marks: 10 of 10." in page) == (total == "of 20")
    # In formgrader, under the question whose mark is typed there out of what the chapter is written with.
    scales = {who: _formgraders_page(course, who) for who in ("s1", "a1")}
    assert "This intake chose" not in scales["s1"] and scales["a1"].count("This intake chose") == 2
    for written, chosen in ((5, 10), (2, 8)):
        assert f"Give it out of {written} here. This intake chose {chosen}, and reports" in scales["a1"]
    start_intake(course, "autumn")
    assert "Its points: 91-forms: 20" in (write_report(course) / "class.html").read_text("utf-8")


def test_points_that_are_shared_out_are_told_with_one_decimal(course, fill, submit):
    """11 of 13, without the 2 given by hand, in the ratio of 5 to 2: 7.857142... and 3.142857..."""
    start_intake(course, "autumn", **read_choices(course, points=["91=13"]))
    release(course, [FORMS], variants=4, replace=True)
    submit(course, "a1", FORMS, fill(course, FORMS, **ANSWERS))
    mark(course)
    assert write_feedback(course) == []
    page = (course.step("feedback", "a1", FORMS) / f"{FORMS}.html").read_text("utf-8")
    assert "7.9 of 7.9" in page and "0 of 3.1" in page and "of 13</strong>" in page
    assert "Marks: 7.9 of 7.9." in page
    grading = _formgraders_page(course, "a1")
    assert "This intake chose 7.9," in grading and "This intake chose 3.1," in grading
    told = [re.sub(r"<(style|pre)\b.*?</\1>", "", each, flags=re.DOTALL) for each in (page, grading)]
    assert not [found for each in told for found in re.findall(r"(?:of|chose|Marks:) \d+\.\d\d", each)]
    # What is kept is not rounded.
    assert [r.out_of for r in results(course) if not r.practice] == [7.8571, 3.1429, 2.0]


def _formgraders_page(course, learner):
    """As nbgrader's server makes it: its exporter, its template, and what it hands over."""
    config = configuration(course)
    config.HTMLExporter.template_name = "formgrade"
    handed = {"submission_id": "x", "notebook_id": FORMS, "assignment_id": FORMS, "base_url": "", "index": 0,
              "total": 1, "student": learner, "last_name": None, "first_name": None, "notebook_path": ""}  # fmt: skip
    return HTMLExporter(config=config).from_filename(
        str(course.notebook("autograded", FORMS, learner)), resources=handed
    )[0]


def test_an_intake_has_only_its_chapters(course):
    start_intake(course, "autumn", **read_choices(course, chapters=["92"]))
    with pytest.raises(OpticsError, match=f'"autumn" does not have {FORMS}'):
        release(course, [FORMS], replace=True)
    release(course, variants=4, replace=True)
    handed_out = _names_in(pack(course))
    assert f"{BENCH}/{BENCH}.ipynb" in handed_out and f"{FORMS}/{FORMS}.ipynb" not in handed_out
    start_intake(course, "autumn", **read_choices(course, chapters=["all"]))
    # Released to spring alone, so not in autumn's zip, though it may have it.
    assert f"{FORMS}/{FORMS}.ipynb" not in _names_in(pack(course))
    start_intake(course, "spring")
    assert f"{FORMS}/{FORMS}.ipynb" in _names_in(pack(course))


def _names_in(path):
    with zipfile.ZipFile(path) as archive:
        return archive.namelist()


def test_a_chapter_says_its_points_and_table_and_with_nothing_chosen_its_own_words(chapters, tmp_path):
    for chapter, notebook in chapters.items():
        folder = project_folder("notebooks") / "source" / chapter
        said = copy.deepcopy(notebook)
        as_chosen(said, open_pairs(folder))
        assert [each.source for each in said.cells] == [each.source for each in notebook.cells], chapter
    said = copy.deepcopy(chapters[JUDGING])
    box = sealed(
        folder.parent / JUDGING, intake="x", secret="y", points={"end-a-check": 9}, tables={"A": ISO}
    )
    (tmp_path / "pairs.sealed").write_text(box, "utf-8")
    as_chosen(said, open_pairs(tmp_path))
    words = "\n".join(each.source for each in said.cells if each.id == "own-words")
    own = next(c.metadata.nbgrader.points for c in chapters[JUDGING].cells if c.id == "end-a-check")
    asked = next(each.source for each in chapters[JUDGING].cells if each.id == "own-words")
    written = float(re.search(r"([\d.]+) marks together", asked)[1])
    assert own != 9 and f"{written - own + 9:g} marks together" in words
    assert f"Judge by {ISO}." in words
    keys = [each.metadata.get("nbgrader", {}) for each in chapters[JUDGING].cells]
    graded = [key["grade_id"] for key in keys if key.get("grade")]
    shared = dict.fromkeys(graded, round(20 / len(graded), 4))
    assert sum(shared.values()) != 20
    (tmp_path / "pairs.sealed").write_text(
        sealed(folder.parent / JUDGING, intake="x", secret="y", points=shared), "utf-8"
    )
    as_chosen(said, open_pairs(tmp_path))
    assert "20 marks together" in next(each.source for each in said.cells if each.id == "own-words")
    asked = re.findall(r"points=([\d.]+)", "\n".join(each.source for each in said.cells))
    assert set(asked) == {f"{20 / len(graded):.1f}"}
    as_chosen(said, open_pairs(folder.parent / JUDGING))
    assert [each.source for each in said.cells] == [each.source for each in chapters[JUDGING].cells]


@pytest.fixture(scope="module")
def judging(tmp_path_factory, write_source):
    """A course with the chapter on verdicts, and what two intakes were handed out of it."""
    place = tmp_path_factory.mktemp("judging")
    source = project_folder("notebooks") / "source" / JUDGING
    write_source(place / "course")
    shutil.copytree(source, place / "course" / "source" / JUDGING)
    course = open_course(place / "course")
    for name, edition in (("ansi", ""), ("iso", ISO)):
        choices = read_choices(course, chapters=[JUDGING], tolerance=edition)
        start_intake(course, name, secret="not a secret", **choices)
        release(course, replace=True)
        shutil.copytree(course.step("release", chapter=JUDGING), place / name)
    return course, place


def _judged(folder, learner, end):
    notebook = nbformat.read(folder / f"{JUDGING}.ipynb", as_version=4)
    answers = {"learner": learner, "pair_a": solve_ticket("A", learner, folder=folder), "end_a": end}
    for cell in notebook.cells:
        for name, value in answers.items():
            if cell.source.startswith(f"{name} = "):
                cell.source = f"{name} = {value!r}"
    return notebook


@pytest.mark.thorough
def test_a_verdict_is_judged_by_the_edition_its_notebook_was_handed_out_with(judging, submit):
    course, place = judging
    # A pair whose power is out fails by the sphere in the one table, by a meridian in the other.
    rows = {name: {} for name in ("ansi", "iso")}
    for name, by_learner in rows.items():
        for number in range(12):
            by_learner[f"w{number}"] = solve_end("A", f"w{number}", folder=place / name)
    ours = next(who for who, end in rows["iso"].items() if end["row"].endswith("each meridian"))
    assert {end["row"] for end in rows["ansi"].values()} & {"right sphere", "left sphere", "right axis"}
    for name, own in rows.items():
        submit(course, f"{name}-right", JUDGING, _judged(place / name, ours, own[ours]))
    submit(course, "iso-wrong", JUDGING, _judged(place / "iso", ours, {"end": "fails", "row": "left axis"}))
    assert all(each.marked for each in mark(course))
    ends = {r.learner: r.mark for r in results(course) if r.question == "end-a-check"}
    assert ends["ansi-right"] == ends["iso-right"] == 3.0
    assert ends["iso-wrong"] < 3.0
    for name, edition in (("ansi", "ANSI Z80.1-2015"), ("iso", ISO)):
        marked = course.notebook("autograded", JUDGING, f"{name}-right").read_text("utf-8")
        # In the words of the chapter and in the reply, whichever release stands now.
        assert f"Judge by {edition}." in marked and f"Judged by {edition}." in marked


def test_a_chapter_that_says_no_edition_cannot_be_asked_by_another(write_source, tmp_path):
    write_source(tmp_path)
    course = open_course(tmp_path)
    shutil.copytree(project_folder("notebooks") / "source" / JUDGING, tmp_path / "source" / JUDGING)
    assert read_choices(course, tolerance=ISO) == {"tolerance": ISO}
    path = course.notebook("source", JUDGING)
    plain = json.loads(path.read_text("utf-8"))
    for cell in plain["cells"]:
        cell["source"] = "".join(cell["source"]).replace("Judge by ANSI Z80.1-2015.", "")
    path.write_text(json.dumps(plain), "utf-8")
    with pytest.raises(OpticsError, match="no sentence says by which table"):
        read_choices(course, tolerance=ISO)
