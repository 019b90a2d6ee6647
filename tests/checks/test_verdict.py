"""How a pair ends against its order: the end, the row, and what is said before hand-in."""

import json

import pytest

from optics import checks
from optics.checks import collecting, recorded_verdict, verdict
from optics.specimens.right_ticket import right_ticket
from optics.specimens.sealed import open_pairs


@pytest.fixture
def folder(tmp_path):
    """One pair that passes and one with an axis out, by what each was made to."""
    good = {"style": "single vision", "strongest": 3.0, "cylinder": "always"}
    briefs = {"A": good, "B": good | {"fault": "axis"}}
    (tmp_path / "pairs.json").write_text(json.dumps(briefs), "utf-8")
    return tmp_path


def looked(folder, pair):
    """What a careful reader writes of the lines."""
    return right_ticket(open_pairs(folder).pair(pair, "Mara"))


def said(check, *args, **given):
    if check is verdict and "ticket" not in given:
        given["ticket"] = looked(given["folder"], given["pair"])
    with collecting() as replies:
        mark = check(*args, **given)
    return mark, replies[0]["text/plain"]


def marked(folder, pair, **answer):
    return said(verdict, answer, learner="Mara", pair=pair, points=3, folder=folder)[0]


def test_ends_and_rows_are_marked(folder):
    assert marked(folder, "A", end="passes", row="") == 3.0
    assert marked(folder, "A", end="Passes.", row="") == 3.0
    for end in ("fails", "not yet known", ""):
        assert marked(folder, "A", end=end, row="right axis") == 0.0
    rows = [marked(folder, "B", end="fails", row=f"{side} axis") for side in ("right", "left")]
    # One lens was made so, and naming it earns all; who sees only that it fails earns a part.
    assert sorted(rows) == [1.5, 3.0]
    assert marked(folder, "B", end="fails", row="") == 1.5
    # The same row in other words, found from outside.
    for words in ("R axis", "axis right", "right lens, axis", "L axis", "the axis, left lens"):
        earned = marked(folder, "B", end="fail", row=words)
        assert earned == rows[0 if words.lower().startswith("r") or "right" in words else 1]
    assert marked(folder, "B", end="passes", row="right axis") == 0.0


@pytest.mark.parametrize(
    "bad", [None, "", {}, {"end": None}, {"end": ""}, ["passes"], 7, {"end": "x" * 5000}]
)
def test_what_is_no_verdict_is_a_sentence(folder, bad):
    mark, words = said(verdict, bad, learner="Mara", pair="A", points=3, folder=folder)
    assert mark == 0.0
    assert "passes" in words and len(words) < 400
    assert said(recorded_verdict, bad)[0] is None


@pytest.mark.parametrize(
    "ticket", [None, {}, {"right": "", "left": ""}, {"right": "+9.00 DS", "left": "+9.00 DS"}, "-1.00 DS", 7]
)
def test_a_verdict_without_a_reading_earns_nothing(folder, ticket):
    given = {"learner": "Mara", "pair": "A", "points": 3, "folder": folder}
    assert said(verdict, {"end": "passes"}, **given)[0] == 3.0
    mark, words = said(verdict, {"end": "passes"}, ticket=ticket, **given)
    assert mark == 0.0 and "read the lines of both lenses first" in words


def test_a_bare_word_is_an_end(folder):
    assert said(verdict, "passes", learner="Mara", pair="A", points=3, folder=folder)[0] == 3.0


def test_nothing_of_the_truth_is_told(folder):
    for answer in ({"end": "passes"}, {"end": "fails", "row": "right sphere"}):
        words = said(verdict, answer, learner="Mara", pair="B", folder=folder)[1]
        assert "axis" not in words
    assert "which row" in said(recorded_verdict, {"end": "fails", "row": ""})[1].lower()
    assert said(recorded_verdict, {"end": "fails", "row": "right axis"})[1].startswith(
        "Recorded. Read as fails by right axis"
    )
    assert said(verdict, {"end": "passes"}, learner="", pair="B", folder=folder)[1].startswith(
        "No name yet. Type your name"
    )
    assert "names no row of the table" in said(recorded_verdict, {"end": "fails", "row": "banana"})[1]
    said(recorded_verdict, {"end": "\ud800", "row": "\ud800"})[1].encode()
    said(verdict, {"end": 10**5000}, learner="Mara", pair="B", folder=folder)[1].encode()
    assert checks.verdict is verdict
