"""The path every answer takes: answered? readable? marked, and a reply in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription
from optics.marking.account import account
from optics.marking.diagnosis import BareLenses, Diagnosis, diagnose
from optics.marking.marks import EXACTLY, Held, Marks, Off, hold, shared_out, triple_of
from optics.marking.notation import loosely_written, only_reading, refusal
from optics.marking.read import LensAnswer, Ticket
from optics.marking.telling import Reply, tell

LENS_SKILLS = ("sphere", "cylinder", "axis", "form", "notation")


def unanswered(answer: object) -> bool:
    """Whether nothing has been typed yet, or a gap ("x ___") still stands open."""
    return (
        answer is None
        or answer is ...
        or (isinstance(answer, str) and (not answer.strip() or "__" in answer))
    )


def not_answered(skills: tuple[str, ...], points: float, example: str) -> float:
    """Ask for an answer; no marks yet."""
    marks = shared_out(dict.fromkeys(skills, False), points)
    return tell(
        Reply(
            state="Not answered yet",
            sentences=(f"Type your answer between the quotes, for example {example}.",),
            marks=marks,
        )
    )


def unreadable(error: OpticsError, skills: tuple[str, ...], points: float) -> float:
    """Pass on the sentence of a line that cannot be read; no marks yet."""
    marks = shared_out(dict.fromkeys(skills, False), points)
    return tell(Reply(state="Not yet", sentences=refusal(error), marks=marks, taken=False))


def one_skill(skill: str, good: bool, points: float, *why_not: str, counts: bool = True) -> float:
    """Mark what shows one skill alone: right, or where to look again; what was had blindly does not count."""
    marks = shared_out({skill: good}, points, {skill: good and counts})
    state, sentences = ("Right", ()) if good else ("Not yet", why_not)
    return tell(Reply(state=state, sentences=sentences, marks=marks))


def reply(
    marks: Marks,
    explained: Diagnosis | None = None,
    notation: tuple[str, ...] = (),
    where: str = "paper",
    extra: tuple[str, ...] = (),
    offs: tuple[Off, ...] = (),
    **lens: Any,
) -> float:
    """Tell what a marked line earned: right, or one account of it (`optics.marking.account`).

    `notation` is what could be misread, which may be mended before hand-in; `extra` is what
    else there is to say; `offs` is how far off; `lens` is what was written and what it is, as `account` takes them.
    """
    if not marks.missed:
        return tell(Reply(state="Right", sentences=extra, marks=marks, where=where, offs=offs))
    found = explained or Diagnosis()
    told = account(marks, found.slips, where=where, notation=(*extra, *notation), either=found.either, **lens)
    return tell(
        Reply(
            state="Not yet",
            sentences=told,
            marks=marks,
            slips=found.names,
            either=found.either,
            notation=notation,
            where=where,
            offs=offs,
        )
    )


def lens_answer(
    answer: object,
    skills: tuple[str, ...],
    points: float,
    example: str,
    mark: Callable[[Any, tuple[str, ...]], float],
    form: str = "",
    read: Callable[[object], Any] = parse,
) -> float:
    """Answered, readable, then marked: the path every line takes that is worked out on paper.

    `mark` is given what was read and what could be misread in the way it was written. With a
    `form`, a line that is refused and has only one reading is read.
    """
    if unanswered(answer):
        return not_answered(skills, points, example)
    try:
        line, loose = read(answer), loosely_written(answer)
    except OpticsError as error:
        only = only_reading(answer, form) if form else None
        if only is None:
            return unreadable(error, skills, points)
        line, loose = only, refusal(error)
    return mark(line, loose)


def exactly(line: Prescription, right: Prescription, safely: bool = True, as_written: bool = False) -> Held:
    """A line held against one that can be worked out exactly on paper; see `hold`."""
    form = right.form if right.cylinder else "minus"
    return hold(line, triple_of(right), form, safely, EXACTLY, as_written)


def on_paper(line: Prescription, right: Prescription) -> Diagnosis:
    """Slips that lead exactly from the right line to the one written."""
    form = right.form if right.cylinder else "minus"
    ticket = Ticket(right=LensAnswer(distance=line))
    return diagnose(ticket, BareLenses({"R": right.power}), form, where="paper")
