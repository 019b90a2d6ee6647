"""Whatever happens to a notebook on its way, the released one is marked with the learner's answers."""

import copy
import json

import nbformat
import pytest

from optics.course.handed_out import STAMP
from optics.course.opening import NotebookError, load_notebook, to_text
from optics.course.repair import OWN, put_into_release

FORMS = "91-forms"


@pytest.fixture
def released(released_once):
    return nbformat.read(released_once.notebook("release", FORMS), as_version=4)


@pytest.fixture
def answered(released_once, fill):
    return fill(released_once, FORMS, learner='"Mara"', convert_1='"+1.00 +1.50 x 080"', along_1='"+1.00"')


def _cell(notebook, name):
    return next(cell for cell in notebook.cells if cell.id == name)


def _index(notebook, name):
    return next(place for place, cell in enumerate(notebook.cells) if cell.id == name)


def _back(released, notebook):
    """As it would come back: through a file, opened, put into the release."""
    opened, notes = load_notebook(nbformat.writes(notebook).encode())
    assert notes == []
    return put_into_release(released, opened)


def _same_but_answers(released, restored):
    for before, after in zip(released.cells, restored.cells, strict=True):
        if not before.metadata.get("nbgrader", {}).get("solution"):
            assert after == before


def test_an_undamaged_notebook_needs_no_word(released, answered):
    restored = _back(released, answered)
    assert restored.notes == []
    _same_but_answers(released, restored.notebook)
    assert _cell(restored.notebook, "convert-1").source == 'convert_1 = "+1.00 +1.50 x 080"'


def test_the_original_of_a_copied_answer_is_marked(released, answered):
    twin = copy.deepcopy(_cell(answered, "convert-1"))
    twin.id, twin.source = "pasted", 'convert_1 = "another try"'
    answered.cells.insert(_index(answered, "convert-1"), twin)
    restored = _back(released, answered)
    assert restored.notes == ["The answer cell convert-1 is there 2 times; the original was marked."]
    assert _cell(restored.notebook, "convert-1").source == 'convert_1 = "+1.00 +1.50 x 080"'
    kept = [cell for cell in restored.notebook.cells if cell.source == 'convert_1 = "another try"']
    assert len(kept) == 1
    assert "nbgrader" not in kept[0].metadata


def test_a_copy_is_marked_where_the_original_was_left_empty(released, released_once, fill):
    notebook = fill(released_once, FORMS)
    twin = copy.deepcopy(_cell(notebook, "convert-1"))
    twin.id, twin.source = "pasted", 'convert_1 = "+1.00 +1.50 x 080"'
    notebook.cells.append(twin)
    restored = _back(released, notebook)
    assert "the copy was marked" in restored.notes[0]
    assert _cell(restored.notebook, "convert-1").source == twin.source


def test_deleted_checks_and_answers_come_back(released, answered):
    gone = {"convert-1-check", "along-1", "why", "setup"}
    answered.cells = [cell for cell in answered.cells if cell.id not in gone]
    restored = _back(released, answered)
    _same_but_answers(released, restored.notebook)
    assert restored.notes == [
        "The check cell convert-1-check was deleted and has been put back.",
        "The answer cell along-1 was deleted; it counts as not answered.",
        "The answer cell why was deleted; it counts as not answered.",
    ]


def test_an_answer_in_a_new_cell_is_found(released, answered):
    answered.cells = [cell for cell in answered.cells if cell.id != "along-1"]
    answered.cells.append(nbformat.v4.new_code_cell('along_1 = "+1.00"'))
    restored = _back(released, answered)
    assert "found in another cell" in restored.notes[0]
    assert _cell(restored.notebook, "along-1").source == 'along_1 = "+1.00"'


def test_tampering_does_not_reach_the_marked_notebook(released, answered):
    _cell(answered, "convert-1-check").source = "5.0"
    _cell(answered, "along-1-check").metadata.nbgrader.points = 50
    _cell(answered, "convert-1").metadata.nbgrader.grade = True
    _cell(answered, "convert-1").metadata.nbgrader.points = 99
    _cell(answered, "title").source = "# Another title"
    restored = _back(released, answered)
    _same_but_answers(released, restored.notebook)
    assert _cell(restored.notebook, "convert-1").metadata == _cell(released, "convert-1").metadata
    assert len(restored.notes) == 3


def test_every_key_lost_is_made_good(released, answered):
    for cell in answered.cells:
        cell.metadata = {}
    restored = _back(released, answered)
    _same_but_answers(released, restored.notebook)
    assert _cell(restored.notebook, "along-1").source == 'along_1 = "+1.00"'


def test_keys_and_identifiers_both_lost(released, answered):
    for number, cell in enumerate(answered.cells):
        cell.metadata, cell.id = {}, f"n{number}"
    _cell(answered, f"n{_index(released, 'why')}").source = "Because the meridians change places."
    restored = _back(released, answered)
    _same_but_answers(released, _without_own(restored.notebook))
    assert _cell(restored.notebook, "convert-1").source == 'convert_1 = "+1.00 +1.50 x 080"'
    # Free words cannot be told from a note any more; they are kept, and said to be missing.
    assert any("why was deleted" in note for note in restored.notes)


def test_words_that_stand_in_two_places_tell_nothing(released):
    second = copy.deepcopy(_cell(released, "why"))
    second.id, second.metadata.nbgrader.grade_id = "why-2", "why-2"
    released = copy.deepcopy(released)
    released.cells.append(second)
    submitted = copy.deepcopy(released)
    for number, cell in enumerate(submitted.cells):
        cell.metadata, cell.id = {}, f"n{number}"
    notes = _back(released, submitted).notes
    assert notes == [
        f"The answer cell {name} was deleted; it counts as not answered." for name in ("why", "why-2")
    ]


def _without_own(notebook):
    left = copy.deepcopy(notebook)
    left.cells = [cell for cell in left.cells if OWN not in cell.metadata.get("tags", [])]
    return left


def test_own_cells_stay_where_they_were_as_notes(released, answered):
    answered.cells.insert(_index(answered, "along-1"), nbformat.v4.new_markdown_cell("170 - 90 = 80"))
    answered.cells.insert(0, nbformat.v4.new_code_cell("while True: pass"))
    answered.cells.append(nbformat.v4.new_raw_cell("<script>alert(1)</script>"))
    restored = _back(released, answered)
    assert restored.notes == []
    assert restored.notebook.cells[0].source == "while True: pass"
    assert restored.notebook.cells[_index(restored.notebook, "along-1") - 1].source == "170 - 90 = 80"
    assert not any("script" in cell.source for cell in restored.notebook.cells)


def test_hundreds_of_own_cells_are_not_kept(released, answered):
    answered.cells += [nbformat.v4.new_code_cell(f"{n}.5") for n in range(300)]
    answered.cells.append(nbformat.v4.new_code_cell("#" * 20_000))
    restored = _back(released, answered)
    assert len(restored.notebook.cells) == len(released.cells) + 100
    assert "201 of the learner's own cells" in restored.notes[0]


# --- opening ---------------------------------------------------------------------------


def test_outputs_and_everything_else_are_left_behind(answered):
    cell = _cell(answered, "convert-1")
    cell.outputs = [nbformat.v4.new_output("stream", text="x" * 1_000_000)]
    cell.metadata.trusted = True
    answered.metadata.widgets = {"state": {}}
    opened, notes = load_notebook(nbformat.writes(answered).encode())
    assert notes == []
    assert len(to_text(opened)) < 20_000
    assert set(opened.metadata) == {STAMP}
    assert set(_cell(opened, "convert-1").metadata) == {"nbgrader"}


def test_a_file_that_breaks_off_is_read_as_far_as_it_goes(released, answered):
    text = nbformat.writes(answered)
    broken = text[: text.index('"along-1-check"')]
    opened, notes = load_notebook(broken.encode())
    assert "could still be read" in notes[0]
    restored = put_into_release(released, opened)
    assert _cell(restored.notebook, "convert-1").source == 'convert_1 = "+1.00 +1.50 x 080"'


def test_an_old_format_is_read(released, answered):
    old = {
        "nbformat": 3,
        "nbformat_minor": 0,
        "metadata": {},
        "worksheets": [
            {
                "cells": [
                    {"cell_type": c.cell_type, "metadata": c.metadata}
                    | ({"input": c.source, "outputs": []} if c.cell_type == "code" else {"source": c.source})
                    for c in answered.cells
                ]
            }
        ],
    }
    opened, notes = load_notebook(json.dumps(old).encode())
    assert notes == ["The notebook was saved in an old format."]
    restored = put_into_release(released, opened)
    assert restored.notes == []
    assert _cell(restored.notebook, "along-1").source == 'along_1 = "+1.00"'


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-8"])
def test_any_encoding_is_read(answered, encoding):
    _cell(answered, "why").source = "Weil sie sich drehen: größer, −, ×."
    opened, _ = load_notebook(nbformat.writes(answered).encode(encoding))
    assert _cell(opened, "why").source == "Weil sie sich drehen: größer, −, ×."


@pytest.mark.parametrize(
    "data",
    [b"", b"{}", b"[]", b"null", b"\xff\xfe\x00", b"%PDF-1.7", b'{"cells": 3}', b'{"cells": [', b"[" * 100_000,
     b'{"cells": [' + b"[" * 100_000, b"9" * 10_000],
)  # fmt: skip
def test_what_is_no_notebook_is_told_in_a_sentence(data):
    with pytest.raises(NotebookError, match="not a notebook"):
        load_notebook(data)


@pytest.mark.parametrize(
    "cell",
    [3, None, [], {}, {"cell_type": "code"}, {"cell_type": "code", "source": 3}, {"cell_type": "code", "source": [1, "a"]},
     {"cell_type": "code", "source": "x", "metadata": []}, {"cell_type": "markdown", "source": "x", "attachments": 3},
     {"cell_type": "code", "source": "\ud800", "id": 7}, {"cell_type": "code", "source": "x", "id": "../../x"},
     {"cell_type": "code", "source": "x", "metadata": {"nbgrader": {"grade_id": ["a"], "points": "many"}}}],
)  # fmt: skip
def test_a_spoiled_cell_spoils_nothing_else(released, cell):
    raw = json.loads(nbformat.writes(released))
    raw["cells"].insert(3, cell)
    opened, _ = load_notebook(json.dumps(raw).encode())
    restored = put_into_release(released, opened)
    assert len(to_text(restored.notebook).encode()) > 1000


def test_only_pictures_may_be_attached():
    raw = {
        "cells": [
            {
                "cell_type": "markdown",
                "source": "![](attachment:a.png)",
                "attachments": {
                    "a.png": {"image/png": "iVBORw0K\nGgo="},
                    "words.png": {"image/png": "AAAA"},
                    "named.png": {"image/jpeg": "iVBORw0KGgo="},
                    "b.html": {"text/html": "<script>"},
                    "c.png": {"image/png": "iVBORw0KGgoA" + "A" * 3_000_000},
                },
            }
        ]
    }
    opened, _ = load_notebook(json.dumps(raw).encode())
    assert opened.cells[0].attachments == {"a.png": {"image/png": "iVBORw0K\nGgo="}}
