"""The notebooks: tidy, whole, open to all, and right when they are run.

Every test walks the notebooks that are there, so a new chapter is looked at
without being named here. The helpers that look for a fault are themselves
tested on a broken notebook.
"""

from __future__ import annotations

import ast
import contextlib
import io
import json
import os
import re
import subprocess
import sys
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from urllib.parse import unquote

import nbformat
import pytest
from nbconvert.exporters import NotebookExporter
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from traitlets.config.loader import PyFileConfigLoader

from optics import checks
from optics.marking.telling import MARKS_MIME

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOKS = ROOT / "notebooks"
QUESTIONS = ROOT / "datasets" / "questions"
TIDY = "notebooks/tidy_config.py"

ALL = sorted(
    path
    for path in NOTEBOOKS.rglob("*.ipynb")
    if not {"release", "submitted", "autograded", "feedback", ".ipynb_checkpoints"} & set(path.parts)
)
CHAPTERS = [path for path in ALL if path.parent.parent == NOTEBOOKS / "source"]

every_notebook = pytest.mark.parametrize("path", ALL, ids=lambda path: path.stem)
every_chapter = pytest.mark.parametrize("path", CHAPTERS, ids=lambda path: path.stem)

REGION = re.compile(r"^### BEGIN (SOLUTION|HIDDEN TESTS)\n.*?^### END \1(?:\n|$)", re.M | re.S)
SCHEMA = {"grade", "grade_id", "locked", "schema_version", "solution", "task"}
SET_UP = "from optics.lesson import *"


def read(path: Path) -> nbformat.NotebookNode:
    return nbformat.read(path, as_version=4)


def words(notebook: nbformat.NotebookNode) -> str:
    return "\n\n".join(cell.source for cell in notebook.cells if cell.cell_type == "markdown")


def key(cell: nbformat.NotebookNode) -> dict:
    return cell.metadata.get("nbgrader", {})


def released(source: str) -> str:
    """A cell as a learner gets it: without the solution and the hidden checks."""
    return REGION.sub("", source)


# --- how it is kept ------------------------------------------------------------


def tidied(path: Path) -> str:
    config = PyFileConfigLoader(Path(TIDY).name, path=str(ROOT / Path(TIDY).parent)).load_config()
    text, _ = NotebookExporter(config=config).from_filename(str(path))
    return text.rstrip("\n") + "\n"


def mending(path: Path) -> str:
    return f"jupyter nbconvert --config {TIDY} --to notebook --inplace {path}"


def test_there_are_notebooks_to_look_at() -> None:
    assert CHAPTERS


@every_notebook
def test_is_tidy(path: Path) -> None:
    assert path.read_text("utf-8") == tidied(path), (
        f"untidy; mend it with\n    {mending(path.relative_to(ROOT))}"
    )


def test_an_untidy_notebook_is_noticed_and_the_command_mends_it(tmp_path: Path) -> None:
    cell = new_code_cell(
        "1 + 1", execution_count=3, metadata={"collapsed": True, "tags": ["raises-exception"]}
    )
    cell.outputs = [nbformat.v4.new_output("execute_result", {"text/plain": "2"}, execution_count=3)]
    prose = new_markdown_cell("Words. \n", metadata={"editable": True, "deletable": False})
    path = tmp_path / "untidy.ipynb"
    nbformat.write(new_notebook(cells=[cell, prose], metadata={"language_info": {"name": "python"}}), path)
    assert path.read_text("utf-8") != tidied(path)

    subprocess.run([sys.executable, "-m", *mending(path).split()], cwd=ROOT, check=True, capture_output=True)
    assert path.read_text("utf-8") == tidied(path)
    after = read(path)
    assert after.cells[0].outputs == []
    assert after.cells[0].metadata == {"tags": ["raises-exception"]}
    assert after.cells[1].metadata == {"deletable": False}


@every_notebook
def test_cell_ids_are_names(path: Path) -> None:
    ids = [cell.id for cell in read(path).cells]
    assert len(set(ids)) == len(ids)
    unreadable = [name for name in ids if not re.fullmatch(r"[a-z]+[a-z0-9]*(-[a-z0-9]+)*", name)]
    assert unreadable == []
    assert [name for name in ids if re.fullmatch(r"[0-9a-f]{8}", name)] == []


@every_notebook
def test_one_sentence_a_line(path: Path) -> None:
    # So that a changed sentence is one changed line. Tables keep their rows.
    lines = [line for line in words(read(path)).split("\n") if not line.startswith(("|", "- ", "<small>"))]
    lines = [re.sub(r"^ *\d+\. ", "", line) for line in lines]
    assert [line for line in lines if re.search(r"[a-z0-9)\"*][.?!] [A-Z]", line)] == []


def misnumbered(text: str) -> list[str]:
    """Items of numbered lists that a page shows with another number than the one that was typed."""
    wrong, shown = [], 0
    for line in text.split("\n"):
        if item := re.match(r"(\d+)\. ", line):
            shown += 1
            # Two numbers in one line: the page counts them as one, and every later step slips.
            if int(item[1]) != shown or re.search(r"[,;] \d+\. ", line):
                wrong.append(line)
        elif line and not line.startswith("   "):
            shown = 0
    return wrong


@every_notebook
def test_a_page_shows_the_numbers_that_were_typed(path: Path) -> None:
    assert misnumbered(words(read(path))) == []


def test_two_steps_in_one_line_are_noticed() -> None:
    assert misnumbered("1. **Set**, 2. **check**.\n3. **Centre**\n") == [
        "1. **Set**, 2. **check**.",
        "3. **Centre**",
    ]
    assert misnumbered("1. **Set**\n   Look.\n2. **Check**\n\nWords.\n\n1. **Again**\n") == []


@every_notebook
def test_one_top_heading_and_none_skipped(path: Path) -> None:
    depths = [len(marks) for marks in re.findall(r"^(#+) ", words(read(path)), re.M)]
    assert depths[:1] == [1]
    assert depths.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(depths))


# --- open to all -----------------------------------------------------------------


class _Pictures(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.without_words = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "img" and not (dict(attrs).get("alt") or "").strip():
            self.without_words += 1


def pictures_without_words(text: str) -> int:
    """How many pictures of a Markdown text or of an HTML output have no alternative text."""
    parser = _Pictures()
    parser.feed(text)
    return parser.without_words + len(re.findall(r"!\[\s*\]", text))


@every_notebook
def test_pictures_in_the_text_have_words(path: Path) -> None:
    assert pictures_without_words(words(read(path))) == 0


@pytest.mark.parametrize("text", ["![](cross.png)", '<img src="cross.png">', '<img alt=" " src="cross.png">'])
def test_a_picture_without_words_is_noticed(text: str) -> None:
    assert pictures_without_words(text) == 1


def broken_links(path: Path, text: str) -> list[str]:
    targets = [unquote(found.partition("#")[0]) for found in re.findall(r"\]\(([^)\s]+)\)", text)]
    return [
        target
        for target in targets
        if target and not re.match(r"[a-z]+:", target) and not (path.parent / target).exists()
    ]


@every_notebook
def test_links_lead_somewhere(path: Path) -> None:
    assert broken_links(path, words(read(path))) == []


def test_a_broken_link_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "there.md").touch()
    text = "[a](there.md#part), [b](gone.md), [c](https://example.org/)"
    assert broken_links(tmp_path / "here.ipynb", text) == ["gone.md"]


def tricks(notebook: nbformat.NotebookNode) -> list[str]:
    """What has no place in front of a learner: commands to the shell, questions, layout by HTML."""
    found = []
    for cell in notebook.cells:
        if cell.cell_type == "code":
            found += re.findall(r"^\s*[%!?].*|\binput\(|^import \w+|\bsys\.path\b", cell.source, re.M)
        else:
            found += re.findall(r"<(?!/?(?:small|kbd|sub|sup)>)/?[a-zA-Z][^>]*>", cell.source)
    return found


@every_chapter
def test_no_tricks(path: Path) -> None:
    assert tricks(read(path)) == []


def test_a_trick_is_noticed() -> None:
    cells = [new_code_cell("%matplotlib inline"), new_markdown_cell('<div style="color:white">b</div>')]
    assert len(tricks(new_notebook(cells=cells))) == 3


@every_chapter
def test_stays_short_enough_for_one_sitting(path: Path) -> None:
    notebook = read(path)
    assert 15 <= len(notebook.cells) <= 60
    assert 400 <= len(words(notebook).split()) <= 1700
    longest = max(len(cell.source.split()) for cell in notebook.cells if cell.cell_type == "markdown")
    assert longest <= 190
    # A whole ticket has a line for each pair of fields.
    assert all(
        len(released(cell.source).splitlines()) <= (10 if "= {" in cell.source else 6)
        for cell in notebook.cells
        if cell.cell_type == "code"
    )


def test_the_words_of_what_is_not_released_are_locked_where_they_stand() -> None:
    # A chapter's words are locked when it is released.
    handed_out_as_they_are = [path for path in ALL if path not in CHAPTERS]
    assert handed_out_as_they_are
    for path in handed_out_as_they_are:
        cells = [cell for cell in read(path).cells if cell.cell_type == "markdown"]
        assert cells and all(cell.metadata.get("editable", True) is False for cell in cells), path


# --- questions -------------------------------------------------------------------


@every_chapter
def test_begins_with_the_set_up_and_the_name(path: Path) -> None:
    code = [cell for cell in read(path).cells if cell.cell_type == "code"]
    assert code[0].source == SET_UP
    assert key(code[0])["locked"] and not key(code[0])["grade"]
    assert path.stem == path.parent.name
    name = next(cell for cell in code if cell.id == "learner")
    assert released(name.source) == 'learner = ""\n'


MARKS_WORDS = """## Your marks

Save, and run the last cell: it marks what was saved, and says what is not right yet.
If you learn alone, it tells what counts too; in a class your instructor marks that after you hand in."""


@every_chapter
def test_ends_with_ones_own_marks(path: Path) -> None:
    *_, words, last = read(path).cells
    assert last.source == "my_marks()"
    # It says what is not right yet and not where to look, and gives no unknown pair away.
    assert words.source == MARKS_WORDS


@every_chapter
def test_a_choice_is_asked_for(path: Path) -> None:
    """By a question or an order in bold, right before its letters."""
    faults = []
    for cell in read(path).cells:
        for before, choice in pairwise(cell.source.split("\n\n")):
            if choice.startswith("- **a** ") and not re.search(r"\?|\*\*[A-Z].*\*\*", before):
                faults.append(f"{cell.id}: {before}")
    assert not faults


HOW_TO_TYPE = (
    "Double-click the words below, click once more into the grey box that opens, type in their place, "
    "and press **Shift + Enter**."
)


@every_chapter
def test_a_reason_in_words_says_how_it_is_typed(path: Path) -> None:
    cells = read(path).cells
    for before, cell in pairwise(cells):
        if cell.cell_type == "markdown" and key(cell).get("solution"):
            assert HOW_TO_TYPE in before.source


def nbgrader_faults(notebook: nbformat.NotebookNode) -> list[str]:
    """What would trip nbgrader or a marker, as sentences."""
    faults: list[str] = []
    answered: set[str] = set()
    for cell in notebook.cells:
        entry = key(cell)
        if not entry:
            # Unnamed cells may draw and show, but a check must be restored before marking.
            if "check." in cell.source and cell.cell_type == "code":
                faults.append(f"{cell.id} checks, and is not locked")
            continue
        if set(entry) - {"points"} != SCHEMA or entry.get("schema_version") != 3:
            faults.append(f"{cell.id} has other keys than schema 3")
        if entry["grade_id"] != cell.id:
            faults.append(f"{cell.id} is called {entry['grade_id']} for nbgrader")
        if ("points" in entry) != entry["grade"]:
            faults.append(f"{cell.id} has points without marks, or marks without points")
        if entry["solution"] and cell.cell_type == "markdown":
            if not entry["grade"] or entry["locked"]:
                faults.append(f"{cell.id} is a reason in words and has no marks, or is locked")
        elif entry["solution"]:
            if entry["grade"] or entry["locked"]:
                faults.append(f"{cell.id} is an answer and is locked or graded")
            answered |= set(assigned(released(cell.source)))
        elif not entry["locked"]:
            faults.append(f"{cell.id} is a check and is not locked")
        elif cell.source != SET_UP:
            faults += check_faults(cell, answered)
    return faults


def assigned(source: str) -> list[str]:
    return [
        target.id
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    ]


def check_calls(source: str) -> list[ast.Call]:
    return [
        node
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and isinstance(node.func.value, ast.Name)
        and node.func.value.id == "check"
    ]


def check_faults(cell: nbformat.NotebookNode, answered: set[str]) -> list[str]:
    faults = []
    if not cell.id.endswith("-check"):
        faults.append(f"{cell.id} is a check and its name does not say so")
    calls = check_calls(cell.source)
    if len(check_calls(released(cell.source))) != 1:
        faults.append(f"{cell.id} is not one call of a check")
    names = {node.id for call in calls for node in ast.walk(call) if isinstance(node, ast.Name)}
    if names - {"check"} - answered:
        faults.append(f"{cell.id} uses an answer that no cell before it asks for")
    given = [word.value.value for word in calls[-1].keywords if word.arg == "points"] if calls else []
    if (given or [0]) != [key(cell).get("points", 0)]:
        faults.append(f"{cell.id} gives other points than it says")
    return faults


@every_chapter
def test_nbgrader_can_use_it(path: Path) -> None:
    assert nbgrader_faults(read(path)) == []


def _answer(name: str) -> nbformat.NotebookNode:
    metadata = {
        "nbgrader": dict.fromkeys(SCHEMA, False) | {"schema_version": 3, "grade_id": name, "solution": True}
    }
    return new_code_cell(f'{name} = ""', id=name, metadata=metadata)


def _check(name: str, source: str, **changes: object) -> nbformat.NotebookNode:
    entry = dict.fromkeys(SCHEMA, False) | {"schema_version": 3, "grade_id": name, "locked": True}
    return new_code_cell(source, id=name, metadata={"nbgrader": entry | changes})


@pytest.mark.parametrize(
    ("cell", "fault"),
    [
        (_check("cross-check", "check.recorded(gone)", points=1, grade=True), "no cell before it"),
        (
            _check("cross-check", "check.choice(cross, question='a/b', points=2)", grade=True, points=3),
            "other points",
        ),
        (
            _check("cross-check", "check.choice(cross, question='a/b', points=2)", grade=True),
            "without points",
        ),
        (_check("verdict", "check.choice(cross, question='a/b', points=0)"), "does not say so"),
        (_check("cross-check", "check.choice(cross, question='a/b', points=0)", locked=False), "not locked"),
        (
            _check("cross-check", "check.choice(cross, question='a/b', points=0)", schema_version=2),
            "schema 3",
        ),
        (new_code_cell("check.choice(cross, question='a/b')", id="loose"), "not locked"),
    ],
)
def test_a_fault_in_a_question_is_noticed(cell: nbformat.NotebookNode, fault: str) -> None:
    sound = _check("cross-check", "check.choice(cross, question='a/b', points=0)")
    assert nbgrader_faults(new_notebook(cells=[_answer("cross"), sound])) == []
    faults = nbgrader_faults(new_notebook(cells=[_answer("cross"), cell]))
    assert any(fault in sentence for sentence in faults)


def asked(notebook: nbformat.NotebookNode) -> list[str]:
    return re.findall(r'question="([^"]+)"', "\n".join(cell.source for cell in notebook.cells))


@every_chapter
def test_choice_questions_are_in_the_bank_and_whole(path: Path) -> None:
    notebook = read(path)
    questions = asked(notebook)
    bank_path = QUESTIONS / f"{path.stem}.json"
    bank = json.loads(bank_path.read_text("utf-8")) if bank_path.exists() else {}
    assert sorted(questions) == sorted(f"{path.stem}/{name}" for name in bank)
    text = words(notebook)
    for name, entry in bank.items():
        letters = {entry["right"], *entry["replies"]}
        assert letters == set("abcd"[: len(letters)]) and len(letters) >= 3, name
        assert entry["right"] not in entry["replies"], name
        told = [entry["because"], *entry["replies"].values()]
        assert all(sentence.strip() for sentence in told) and len(set(told)) == len(told), name
        assert entry["skill"], name
    # As many lettered choices stand in the text as the bank has replies for.
    offered = re.findall(r"^- \*\*([a-d])\*\* ", text, re.M)
    assert len(offered) == sum(1 + len(entry["replies"]) for entry in bank.values())


def test_right_letters_do_not_follow_a_habit() -> None:
    right = [
        entry["right"]
        for bank in sorted(QUESTIONS.glob("*.json"))
        for entry in json.loads(bank.read_text("utf-8")).values()
    ]
    assert all(right.count(letter) >= len(right) / 6 for letter in "abc"), {x: right.count(x) for x in "abc"}


@every_chapter
def test_one_letter_throughout_earns_little(path: Path) -> None:
    bank = json.loads((QUESTIONS / f"{path.stem}.json").read_text("utf-8"))
    cells = read(path).cells
    earned = dict.fromkeys("abcd", 0.0)
    for cell in cells:
        for question in re.findall(r'question="[^"/]+/([^"]+)"', cell.source):
            earned[bank[question]["right"]] += key(cell).get("points", 0)
    out_of = sum(key(cell).get("points", 0) for cell in cells)
    assert out_of >= 20 and max(earned.values()) <= out_of / 12, earned
    right = [entry["right"] for entry in bank.values()]
    assert bank and max(map(right.count, right)) <= max(1, 3 * len(right) / 4), right


# --- run without a kernel, as marking does --------------------------------------------


@dataclass
class Ran:
    """What the cells of a notebook gave."""

    replies: dict[str, list[dict]] = field(default_factory=dict)
    values: dict[str, object] = field(default_factory=dict)
    html: str = ""
    stderr: str = ""


def run_cells(path: Path, monkeypatch: pytest.MonkeyPatch, untouched: bool) -> Ran:
    monkeypatch.chdir(path.parent)
    ran, names = Ran(), {}
    errors = io.StringIO()
    for cell in read(path).cells:
        if cell.cell_type != "code":
            continue
        tree = ast.parse(released(cell.source) if untouched else cell.source)
        last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
        with checks.collecting() as said, contextlib.redirect_stderr(errors):
            try:
                exec(compile(tree, cell.id, "exec"), names)
                value = last and eval(compile(ast.Expression(last.value), cell.id, "eval"), names)
            except Exception as error:
                assert "raises-exception" in cell.metadata.get("tags", []), f"{cell.id}: {error!r}"
                continue
        ran.values[cell.id] = value
        ran.replies[cell.id] = said
        if hasattr(value, "_repr_html_"):
            ran.html += value._repr_html_()
    ran.stderr = errors.getvalue()
    return ran


@every_chapter
def test_the_solutions_earn_full_marks(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ran = run_cells(path, monkeypatch, untouched=False)
    for cell in read(path).cells:
        if not cell.id.endswith("-check"):
            continue
        states = [bundle[MARKS_MIME]["state"] for bundle in ran.replies[cell.id]]
        assert set(states) <= {"Right", "Recorded"} and states, f"{cell.id}: {ran.replies[cell.id]}"
        if key(cell)["grade"]:
            assert repr(ran.values[cell.id]) == repr(float(ran.values[cell.id])), cell.id
            assert ran.values[cell.id] == pytest.approx(key(cell)["points"]), cell.id
    assert ran.stderr == ""
    assert pictures_without_words(ran.html) == 0


@every_chapter
def test_an_untouched_copy_asks_for_answers(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ran = run_cells(path, monkeypatch, untouched=True)
    for cell in read(path).cells:
        if cell.id.endswith("-check"):
            states = {bundle[MARKS_MIME]["state"] for bundle in ran.replies[cell.id]}
            assert states == {"Not answered yet"}, cell.id
            assert not ran.values[cell.id], cell.id
    assert ran.stderr == ""


# --- run in kernels --------------------------------------------------------------------


@pytest.mark.thorough
def test_every_notebook_runs_in_a_kernel() -> None:
    # Two at a time: a kernel spends most of its time starting.
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--nbval-lax",
        "--nbval-current-env",
        "-p",
        "no:cacheprovider",
    ]
    running = [
        subprocess.Popen(
            [*command, *map(str, half)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"JUPYTER_PLATFORM_DIRS": "1"},
        )
        for half in (ALL[::2], ALL[1::2])
        if half
    ]
    said = [process.communicate()[0] for process in running]
    assert [process.returncode for process in running] == [0] * len(running), "\n".join(said)
