"""What is said where a cell cannot be run because of how an answer was typed.

Python answers curly quotation marks, or a name without any, with a page of red that
means nothing to somebody who has never programmed. In a notebook the cell is answered
with a sentence instead; marking, which runs nothing, says the same one.
"""

from __future__ import annotations

import ast
import re
import warnings
from typing import Any

from optics.marking.telling import Reply, tell

CURLY = "“”„‘’"
_ANSWER = re.compile(r"\A(?:\s*#[^\n]*\n|\s*\n)*\s*([A-Za-z_]\w*)[ ]*=(?!=)")
_BARE = re.compile(r"^([A-Za-z_]\w*)[ ]*=[ ]*([^\W\d][\w .'-]*?)[ ]*$", re.MULTILINE)


def why_unreadable(source: str) -> str:
    """What keeps a cell from being read as an answer, and how one is written."""
    if any(mark in source for mark in CURLY):
        return 'It has curly quotation marks; an answer stands between straight ones: "..."'
    return without_quotes(source) or (
        'Write an answer between quotation marks on one line, like right = "-2.25 -0.75 x 015"'
    )


def without_quotes(source: str) -> str:
    """A sentence where words stand without quotation marks; empty where none do."""
    bare = _BARE.search(source)
    return f'Put quotation marks round it: {bare[1]} = "{bare[2]}"' if bare else ""


def answer_in_sentences() -> None:
    """From now on, answer cells that cannot be run are answered in sentences in this notebook."""
    from IPython import get_ipython

    shell: Any = get_ipython()
    if shell is None or _sentence_for in shell.input_transformers_cleanup:
        return
    shell.input_transformers_cleanup.append(_sentence_for)
    shell.set_custom_exc((NameError,), _name_unknown)


def _sentence_for(lines: list[str]) -> list[str]:
    """The cell as it is, or a call that says why it cannot be read."""
    source = "".join(lines)
    # Commands of the notebook's own (x = !ls, x = %pwd, x?) are no Python and no answers.
    curly = any(mark in source for mark in CURLY)
    if not (curly or _ANSWER.match(source)) or re.search(r"=\s*[!%]|^\s*[!%]|\?\s*$", source, re.MULTILINE):
        return lines
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            ast.parse(source)
    except SyntaxError:
        return [f"__import__('optics.checks.typed', fromlist=['_say'])._say({why_unreadable(source)!r})\n"]
    except (ValueError, RecursionError, MemoryError):
        pass
    return lines


def _say(sentence: str) -> None:
    tell(Reply(state="Not yet", sentences=("This cell could not be read. " + sentence,)))


def _name_unknown(shell: Any, kind: Any, error: Any, traceback: Any, tb_offset: Any = None) -> None:
    cell = next(reversed(shell.user_ns.get("In", [""])), "")
    name = getattr(error, "name", None)
    bare = _BARE.search(cell)
    if bare and name == re.split(r"\W", bare[2])[0]:
        _say(without_quotes(cell))
    elif name in ("check", "learner") or (name and cell.lstrip().startswith(("check.", "bench(", "tray("))):
        _say(f'"{name}" is not known yet: run the cells above this one first, from the top.')
    else:
        shell.showtraceback((kind, error, traceback), tb_offset=tb_offset)
