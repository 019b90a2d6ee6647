"""Cells that cannot be run, in a real IPython shell: a sentence, and never a page of red."""

import pytest
from IPython.core.interactiveshell import InteractiveShell

from optics.checks import collecting
from optics.checks.typed import answer_in_sentences


@pytest.fixture
def run():
    InteractiveShell.clear_instance()
    shell = InteractiveShell.instance()
    answer_in_sentences()
    answer_in_sentences()  # a chapter's first cell is run again

    def typed(cell):
        with collecting() as said:
            shell.run_cell(cell, store_history=True)
        return str(said), shell

    yield typed
    shell.history_manager.end_session()
    InteractiveShell.clear_instance()


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("learner = Mara Quillane", 'Put quotation marks round it: learner = "Mara Quillane"'),
        ("learner = Mara", 'Put quotation marks round it: learner = "Mara"'),
        ("# your name\nlearner = Mara", 'learner = "Mara"'),
        ("right = “-2.25 -0.75 x 015”", "curly quotation marks"),
        ("right = ‘pl’", "curly quotation marks"),
        ("bench(“F”, learner)", "curly quotation marks"),
        ("right “pl”", "curly quotation marks"),
        ("right = -2.25 -0.75 x 015", "Write an answer between quotation marks on one line"),
        ('right = "-2.25 -0.75 x 015', "Write an answer between quotation marks on one line"),
        ("check.recorded(right_a)", '"check" is not known yet: run the cells above this one first'),
    ],
)
def test_a_cell_that_cannot_be_run_is_answered_in_a_sentence(run, capsys, cell, told):
    said, _ = run(cell)
    assert told in said
    shown = capsys.readouterr()
    assert "Error" not in shown.out + shown.err
    assert "Traceback" not in shown.out + shown.err


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ('right = "he wrote “pl”"', "he wrote “pl”"),
        ('right = "-2.25 -0.75 x 015"', "-2.25 -0.75 x 015"),
        ("right = 2 + 3", 5),
    ],
)
def test_a_cell_that_can_be_run_is_left_alone(run, cell, value):
    said, shell = run(cell)
    assert said == "[]"
    assert shell.user_ns["right"] == value


@pytest.mark.parametrize(
    "cell", ["x = !echo hi", "x = %pwd", "right?", "a = len\nprint(zork)", "chekc.prism(1)"]
)
def test_commands_and_code_of_ones_own_are_not_taken_for_answers(run, cell):
    assert run(cell)[0] == "[]"


def test_code_of_ones_own_keeps_pythons_own_words(run, capsys):
    said, _ = run("for each in [1]:\n    print(undefined + each")
    assert said == "[]"
    assert "SyntaxError" in capsys.readouterr().out
