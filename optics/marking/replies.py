"""The path every answer takes: answered? readable? marked, and a reply in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription
from optics.marking.habits import Explanation, diagnose, slip
from optics.marking.marks import EXACTLY, Held, Marks, hold, shared_out, triple_of
from optics.marking.notation import loosely_written, only_reading, refusal
from optics.marking.telling import Reply, tell

__all__ = [
    "LENS_SKILLS",
    "exactly",
    "lens_answer",
    "look_again",
    "names_of",
    "not_answered",
    "paper_slips",
    "reply",
    "unanswered",
    "unreadable",
]

LENS_SKILLS = ("sphere", "cylinder", "axis", "form", "notation")

_AT_THE_BENCH = {
    "sphere": "The sphere is not right yet: set the eyepiece, then find the sphere lines again from the plus side.",
    "cylinder": "The cylinder is not right yet: it is the second reading minus the first.",
    "axis": "The axis is not right yet: turn the wheel until the lines are unbroken, then read it.",
    "form": "The cylinder form is not the one asked for.",
}
_ON_PAPER = {
    "sphere": "The sphere is not right yet: it is the power along the axis.",
    "cylinder": "The cylinder is not right yet: it is the power across the axis minus the power along it.",
    "axis": "The axis is not right yet: it is the meridian where the lens has the sphere alone.",
    "form": _AT_THE_BENCH["form"],
}
LOOK_AGAIN = {"bench": _AT_THE_BENCH, "paper": _ON_PAPER}
_ON_THE_TICKET = {
    "add": "The addition is not right yet: near less distance, with the side that carries it on the stop.",
    "prism": "The prism is not right yet: read it at the reference point, amount and base for each eye.",
    "centres": "The PD is not right yet: measure each eye from the middle of the bridge to its dot.",
    "heights": "The height is not right yet: from the lowest point of the lens up to the line or the cross.",
    "style": "The lens style is not the one named.",
}
RIGHT_SO_FAR = "Right so far: {}."


def look_again(missed: Iterable[str], where: str = "bench") -> list[str]:
    """Where to look, skill by skill; what is wrong with the notation is told elsewhere."""
    steps = LOOK_AGAIN[where] | _ON_THE_TICKET
    return [steps[skill] for skill in missed if skill in steps]


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
    return tell(Reply(state="Not yet", sentences=refusal(error), marks=marks))


def reply(
    marks: Marks,
    slips: tuple[str, ...] = (),
    extra: tuple[str, ...] = (),
    where: str = "paper",
) -> float:
    """Tell what a marked line earned, a known slip first, else skill by skill."""
    missed = marks.missed
    if not missed:
        return tell(Reply(state="Right", sentences=extra, marks=marks))
    sentences: list[str] = []
    # Where there is no cylinder, none is spoken of.
    silent = () if "axis" in marks.skills else ("cylinder",)
    good = [skill for skill in marks.skills if skill not in (*missed, *silent)]
    if good:
        sentences.append(RIGHT_SO_FAR.format(", ".join(good)))
    if slips:
        for name in slips:
            entry = slip(name)
            sentences += [entry.habit, entry.mend_for(where)]
    else:
        sentences += look_again(missed, where)
    return tell(Reply(state="Not yet", sentences=(*sentences, *extra), marks=marks, slips=slips))


def names_of(found: tuple[Explanation, ...]) -> tuple[str, ...]:
    """Names of the slips in the best explanation, if there is one."""
    return tuple(entry.name for entry in found[0].slips) if found else ()


def lens_answer(
    answer: object,
    skills: tuple[str, ...],
    points: float,
    example: str,
    mark: Callable[[Prescription, tuple[str, ...]], float],
    form: str = "minus",
) -> float:
    """Answered, readable, then marked: the path every line takes that is worked out on paper.

    `mark` is given the line and what could be misread in the way it was written.
    """
    if unanswered(answer):
        return not_answered(skills, points, example)
    try:
        line, loose = parse(answer), loosely_written(answer)
    except OpticsError as error:
        only = only_reading(answer, form)
        if only is None:
            return unreadable(error, skills, points)
        line, loose = only, refusal(error)
    return mark(line, loose)


def exactly(line: Prescription, right: Prescription, safely: bool = True, as_written: bool = False) -> Held:
    """A line held against one that can be worked out exactly on paper; see `hold`."""
    form = right.form if right.cylinder else "minus"
    return hold(line, triple_of(right), form, safely, EXACTLY, as_written)


def paper_slips(line: Prescription, right: Prescription) -> tuple[str, ...]:
    """Slips that lead exactly from the right line to the one written."""
    return names_of(
        diagnose(
            triple_of(line), triple_of(right), within=0.01, axis_within=0.5, where="paper", form=right.form
        )
    )
