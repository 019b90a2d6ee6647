"""Choice questions, whose wrong letters each stand for one misconception."""

from __future__ import annotations

import json
from functools import lru_cache

from optics.marking.marks import shared_out
from optics.marking.replies import unanswered
from optics.marking.telling import Reply, tell
from optics.project_files import project_folder


@lru_cache(maxsize=32)
def _bank(chapter: str) -> dict[str, dict]:
    path = project_folder("datasets") / "questions" / f"{chapter}.json"
    return json.loads(path.read_text("utf-8"))


def choice(answer: object, *, question: str, points: float = 0.0) -> float:
    """Mark a choice between lettered answers; every wrong letter has its own reply.

    Parameters
    ----------
    answer : str
        One letter.
    question : str
        `chapter/name`, which finds the replies in `datasets/questions`.
    points : float
        Marks; 0 is practice.
    """
    chapter, name = question.split("/")
    entry = _bank(chapter)[name]
    # A learner's copy knows the letters of a marked question, and not the right one.
    here = "right" in entry
    letters = sorted({entry["right"], *entry["replies"]}) if here else entry["letters"]
    skill = entry.get("skill", "notation")
    nothing = shared_out({skill: False}, points)
    if unanswered(answer):
        return tell(
            Reply(
                state="Not answered yet",
                sentences=(f"Type one letter: {', '.join(letters)}.",),
                marks=nothing,
            )
        )
    letter = str(answer).strip().strip(".)(").lower()
    if letter not in letters:
        sentence = f'"{answer}" is not one of the letters. Type one of {", ".join(letters)}.'
        return tell(Reply(state="Not yet", sentences=(sentence,), marks=nothing, taken=False))
    if not here:
        return tell(
            Reply(state="Recorded", sentences=("Your answer can be read. It is marked after you hand in.",))
        )
    if letter == entry["right"]:
        marks = shared_out({skill: True}, points)
        return tell(Reply(state="Right", sentences=(entry["because"],), marks=marks))
    # Some wrong letters stand for a known habit; the class report counts it with the others.
    slips = tuple(habit for habit, led in entry.get("habits", {}).items() if led == letter)
    return tell(Reply(state="Not yet", sentences=(entry["replies"][letter],), marks=nothing, slips=slips))
