"""The path every answer takes: answered? readable? marked, and a reply in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription
from optics.marking.habits import Explanation, diagnose, slip
from optics.marking.marks import Marks, best_of, in_form, shared_out, triple_of
from optics.marking.notation import loosely_written
from optics.marking.telling import Reply, tell

__all__ = [
    "LENS_SKILLS",
    "exact_marks",
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
PAST_180 = "An axis that has gone past 180 is brought back by taking 180 away."
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
    # What the reader of a line guesses ("Did you mean 060?") may be the answer.
    guessed = error.suggestion.startswith("Did you mean")
    hint = (PAST_180 if "axis" in error.given else "Read it again.") if guessed else error.suggestion
    return tell(
        Reply(
            state="Not yet",
            sentences=(error.given, error.allowed, hint),
            marks=shared_out(dict.fromkeys(skills, False), points),
        )
    )


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
) -> float:
    """Answered, readable, then marked: the path every written lens takes.

    `mark` is given the line and what could be misread in the way it was written.
    """
    if unanswered(answer):
        return not_answered(skills, points, example)
    try:
        line = parse(answer)  # type: ignore[arg-type]
    except OpticsError as error:
        return unreadable(error, skills, points)
    return mark(line, loosely_written(str(answer)))


def exact_marks(
    line: Prescription, right: Prescription, points: float, safely: bool = True, as_written: bool = False
) -> Marks:
    """Marks for an answer that can be worked out exactly on paper.

    `safely` is whether it is written so that nobody can misread it. With
    `as_written` the other form earns nothing: converting was the question.
    """

    def compared(way: Prescription) -> Marks:
        good = {"sphere": way.sphere == right.sphere, "cylinder": way.cylinder == right.cylinder}
        if right.axis is not None:
            good |= {"axis": way.axis == right.axis, "form": line.form == right.form}
        return shared_out(good | {"notation": safely}, points)

    if as_written:
        return compared(line)
    # As for a lens that is read: converted, or with the wrong sign, whichever is nearer.
    return best_of(compared(line), compared(in_form(line, right.form)))


def paper_slips(line: Prescription, right: Prescription) -> tuple[str, ...]:
    """Slips that lead exactly from the right line to the one written."""
    return names_of(
        diagnose(
            triple_of(line), triple_of(right), within=0.01, axis_within=0.5, where="paper", form=right.form
        )
    )
