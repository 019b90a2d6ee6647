"""The check of a verdict: how an unknown pair ends when it is held against its order."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from optics.checks.bench import nameless
from optics.judging.standards import load
from optics.judging.verify import Verification, verify
from optics.marking.marks import mark_pair, shared_out
from optics.marking.read import read_answer
from optics.marking.replies import unanswered
from optics.marking.telling import Reply, tell
from optics.specimens.sealed import open_pairs

ENDS = ("passes", "fails", "not yet known")
SKILLS = ("verdict", "deciding row")
READ_FIRST = "A verdict rests on a reading: read the lines of both lenses first, and hold the pair against its order again."
FILL_IN = (
    'Type the end between the quotes: "passes", "fails" or "not yet known"; where it fails, the lens and '
    'the row as well, such as "right axis".'
)
ROWS = frozenset("sphere cylinder axis meridian addition imbalance prism distance height curve".split())
"""One of these words stands in every row's name."""
_EYES = {"R": "right ", "L": "left ", None: ""}


def verdict(
    answer: object,
    *,
    learner: object,
    pair: str,
    ticket: object,
    points: float = 0.0,
    folder: str | Path = ".",
) -> float:
    """Mark how the unknown pair before this learner ends against its order.

    Parameters
    ----------
    answer : dict of str to str
        "end": one of passes, fails, not yet known; "row": the lens and the row that
        decided, where it fails.
    ticket : dict of str to str
        What was written of the pair: a verdict on a pair that was not looked at is a guess.
    learner, pair, points, folder
        As for `optics.checks.bench.reading`.

    Returns
    -------
    float
        The marks; the pair itself is judged, by the table that it was made for.
    """
    end, row = _taken(answer)
    nothing = shared_out(dict.fromkeys(SKILLS, False), points)
    if unanswered(end):
        return tell(Reply(state="Not answered yet", sentences=(FILL_IN,), marks=nothing))
    if unanswered(learner) or not isinstance(learner, str):
        return nameless(SKILLS, points)
    if end not in ENDS:
        sentence = f'"{end[:40]}" is no end. There are {", ".join(ENDS)}.'
        return tell(Reply(state="Not yet", sentences=(sentence,), marks=nothing, taken=False))
    specimen = open_pairs(folder).pair(pair, learner)
    read = read_answer(ticket if isinstance(ticket, Mapping) else {})
    if not mark_pair(read, specimen, "minus", 1.0, ("lines",)).looked:
        return tell(Reply(state="Not yet", sentences=(READ_FIRST,), marks=nothing))
    held = verify(load(specimen.brief.table), specimen.order, specimen.record())
    right = {"verdict": end == held.end}
    # Who does not see that it fails has no row to name, and earns none by leaving it empty.
    right["deciding row"] = right["verdict"] and (held.end != "fails" or _named(row) in _rows(held))
    marks = shared_out(right, points)
    by = f"Judged by {held.standard}."
    if not marks.missed:
        return tell(Reply(state="Right", sentences=(by,), marks=marks))
    sentence = (
        f"{'Another row decides' if row else 'The row that decides is not named'}: go through the table from the top, right lens, left lens, then the pair."
        if right["verdict"]
        else "Read what decides again, with the eyepiece set and zero checked; then go through the table row by row."
    )
    return tell(Reply(state="Not yet", sentences=(sentence, by), marks=marks))


def recorded_verdict(answer: object) -> None:
    """Say how a graded verdict is read, without marking it."""
    end, row = _taken(answer)
    if unanswered(end):
        tell(Reply(state="Not answered yet", sentences=(FILL_IN,)))
    elif end not in ENDS:
        tell(Reply(state="Not yet", sentences=(f'"{end[:40]}" is no end. There are {", ".join(ENDS)}.',)))
    elif end == "fails" and not row:
        told = "Read as fails. Which row decided? Type the lens and the row. It is marked after you hand in."
        tell(Reply(state="Recorded", sentences=(told,)))
    elif row and not _named(row) & ROWS:
        told = f'"{row[:40]}" names no row of the table, such as right axis or vertical imbalance.'
        tell(Reply(state="Not yet", sentences=(told,)))
    else:
        by = f" by {row[:40]}" if row else ""
        tell(Reply(state="Recorded", sentences=(f"Read as {end}{by}. It is marked after you hand in.",)))


def _taken(answer: object) -> tuple[str, str]:
    fields = answer if isinstance(answer, Mapping) else {"end": answer}
    end, row = (_plain(fields.get(name)) for name in ("end", "row"))
    return {"pass": "passes", "fail": "fails"}.get(end, end), row


def _plain(value: object) -> str:
    try:
        text = "" if value is None else str(value)
    except ValueError:  # a number of thousands of digits
        text = "a number"
    # Half a letter cannot be shown again.
    return " ".join(text.encode("utf-8", "replace").decode("utf-8").lower().split()).strip(". ")


def _rows(held: Verification) -> set[frozenset[str]]:
    """The words of each row that failed: its quantity, and the lens where it is one lens's."""
    return {frozenset(f"{_EYES[each.eye]}{each.quantity}".split()) for each in held.failures}


def _named(row: str) -> frozenset[str]:
    """The words of a row as it was typed, in any order: "right axis", "R axis", "axis, right lens"."""
    words = re.findall(r"[a-z]+", row)
    return frozenset({"r": "right", "l": "left"}.get(word, word) for word in words) - {"lens", "eye", "the"}
