"""The first screen of a feedback page, made from what checks said."""

from __future__ import annotations

import re
from html import unescape

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from nbgrader.utils import compute_checksum

from optics import checks as check
from optics.course.overview import overview
from optics.course.pages import cleaned
from optics.course.solving import solve
from optics.project_files import project_folder

SPHERES = project_folder("notebooks") / "source" / "04-reading-a-sphere"


def marked(**asked):
    """A notebook as marking leaves it, with one question for each name."""
    cells = []
    for name, ask in asked.items():
        with check.collecting() as said:
            ask()
        cell = new_code_cell(metadata={"nbgrader": {"grade_id": f"{name}-check"}})
        cell.outputs = [new_output("display_data", said[0])]
        cells.append(cell)
    return new_notebook(cells=cells)


def convert(answer: str, points: float = 5.0):
    return lambda: check.conversion(answer, given="-1.75 -1.25 x 060", to="plus", points=points)


def words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


def test_marks_by_skill_the_habit_its_twin_and_what_next() -> None:
    html = overview(marked(first=convert("-3.00 +1.25 x 060"), second=convert("-3.00 +1.25 x 150")))
    told = words(html)
    assert "sphere cylinder axis form notation 100 % 100 % 50 % 100 % 100 %" in told
    assert "Seen once: axis 90 out." in told and "The axis stands at right angles" in told
    assert "With this habit" in told and "Next: axis. It is the meridian" in told
    assert "would hurt its wearer, so it earned at most half: first." in told
    assert "Right so far" not in told and "-3.00 +1.25 x 150" not in told
    # One screen: about as many words as a laptop shows, and nothing that the filter takes out.
    assert len(told.split()) < 170
    assert words(cleaned(html)) == told


def test_the_habit_that_shows_most_is_told_practice_counted_in() -> None:
    html = overview(
        marked(
            one=convert("-3.00 +1.25 x 060", 0.0),
            two=convert("-3.00 -1.25 x 150"),
            three=convert("-3.00 -1.25 x 150", 0.0),
        )
    )
    assert "Your habit: cylinder sign kept. It shows 2 times." in words(html) and "Seen once" not in html


def test_all_right_and_nothing_said() -> None:
    assert "everything that counts is right" in words(overview(marked(one=convert("-3.00 +1.25 x 150"))))
    assert overview(new_notebook()) == ""


def test_a_reason_left_empty_is_not_everything_right() -> None:
    """What is marked by hand has no check that speaks; nbgrader knows an answer that was never changed."""
    whole = marked(one=convert("-3.00 +1.25 x 150"))
    entry = {"grade_id": "reason", "grade": True, "solution": True, "points": 4, "cell_type": "markdown"}
    reason = new_markdown_cell("Your reason: ", metadata={"nbgrader": entry})
    reason.metadata.nbgrader["checksum"] = compute_checksum(reason)
    whole.cells.append(reason)
    told = words(overview(whole))
    assert "Left empty: reason." in told and "answer what was left empty" in told
    reason.source = "The base is out because the centres lie too far apart."
    told = words(overview(whole))
    assert "Left empty" not in told and "see what your instructor gave for reason" in told
    assert "everything that counts" not in told


def test_a_question_left_empty_is_named() -> None:
    told = words(overview(marked(one=convert("-3.00 +1.25 x 150"), two=convert(""))))
    assert "Left empty: two." in told


def test_a_habit_is_told_where_nothing_else_may_as_well_be_it() -> None:
    def other(answer: str):
        return lambda: check.conversion(answer, given="-0.25 +2.50 x 045", to="minus", points=5.0)

    # On the first 180 - 045 and 045 + 90 are the same; on the second only one of them leads there.
    told = words(overview(marked(first=other("+2.25 -2.50 x 045"), second=convert("-3.00 +1.25 x 060"))))
    assert "It shows 2 times. Second: " in told and "could equally be" not in told


def test_what_a_learner_wrote_is_no_html() -> None:
    cell = new_code_cell(metadata={"nbgrader": {"grade_id": "<b>x</b>"}})
    data = {
        "application/vnd.optics.marks+json": {"skills": {"<i>": [0, 1]}, "counts": True, "slips": ["<u>"]}
    }
    cell.outputs = [new_output("display_data", data)]
    html = overview(new_notebook(cells=[cell]))
    assert "<i>" not in html and "<u>" not in html and "<b>" not in html


@pytest.mark.parametrize("answer", ["+1.00 DS", "", "+1.00 -0.75 x 090", "+1,00 -0.75"])
def test_a_sphere_shows_no_skill_of_a_cylinder(answer) -> None:
    """Right, left empty, with a cylinder that is not there, unreadable: none is a matter of cylinder, axis or form."""
    pair = {"learner": "Mara Quill", "pair": "P", "eye": "R", "folder": SPHERES}
    assert solve("P", "R", "Mara Quill", folder=SPHERES) == "+1.00 DS"
    told = words(overview(marked(first=lambda: check.reading(answer, **pair, points=5.0))))
    table = told.partition(" % ")[0]
    assert table.endswith(("sphere notation 100", "sphere notation 0", "sphere notation 50")), told
