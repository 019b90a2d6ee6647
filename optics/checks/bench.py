"""Checks of what is read at the bench, from the unknown pair before the learner."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from optics.errors import OpticsError
from optics.instrument.trace import Trace, bundle_in_hand, trace_of
from optics.lens.numbers import power_of
from optics.lens.parsing import parse
from optics.lens.prescription import written
from optics.lens.prism import EYES, OTHER_EYE
from optics.marking.diagnosis import Diagnosis, diagnose
from optics.marking.habits import slip
from optics.marking.marks import mark_pair, shared_out, true_triple
from optics.marking.notation import loosely_written
from optics.marking.read import LensAnswer, Ticket, read_answer
from optics.marking.replies import LENS_SKILLS, not_answered, one_skill, reply, unanswered, unreadable
from optics.marking.telling import NO_NAME, Reply, tell
from optics.specimens.sealed import open_pairs
from optics.specimens.specimen import Specimen

EXAMPLE = '"-2.25 DS" or "-2.25 -0.75 x 015"'
ALONE = object()
"""In place of a lens: the number counts by itself."""
NAME_FIRST = "Type your name in the cell at the top first: it decides which pair lies on your bench."


def recorded(*answers: object) -> None:
    """Say whether graded answers can be read, without marking them.

    Parameters
    ----------
    *answers : str
        Lines as the learner wrote them; they are marked after hand-in. The moves of
        the bench in hand go with them, unless the learner has switched that off.
    """
    for answer in answers:
        if unanswered(answer):
            sentence = f"Type your answer between the quotes, for example {EXAMPLE}."
            tell(Reply(state="Not answered yet", sentences=(sentence,)))
            continue
        try:
            line = parse(answer)
        except OpticsError as error:
            tell(Reply(state="Not yet", sentences=(str(error),)))
            continue
        sentences = (f"Read as {line}. It is marked after you hand in.", *loosely_written(answer))
        tell(Reply(state="Recorded", sentences=sentences, trace=bundle_in_hand()))


def recorded_power(answer: object) -> None:
    """Say whether a graded number in dioptres can be read, without marking it."""
    if unanswered(answer):
        sentence = 'Type the number with its sign between the quotes, for example "+0.50".'
        tell(Reply(state="Not answered yet", sentences=(sentence,)))
        return
    try:
        found = power_of(answer)
    except OpticsError as error:
        tell(Reply(state="Not yet", sentences=(str(error),)))
        return
    told = f"Read as {written(found)} D. It is marked after you hand in."
    tell(Reply(state="Recorded", sentences=(told,), trace=bundle_in_hand()))


def noted(
    answer: object,
    *,
    what: str,
    learner: object,
    pair: str,
    eye: str = "R",
    lens: object = ALONE,
    within: float = 0.13,
    points: float = 0.0,
    folder: str | Path = ".",
) -> float:
    """Mark one number noted at the bench with the sealed pair before this learner.

    Parameters
    ----------
    answer : str
        The number with its sign, dioptres.
    what : {"sphere lines", "cylinder lines", "zero", "eyepiece", "trial lens"}
        A drum reading of a lens, coming from plus; the drum without a lens; the
        eyepiece dial at which the reticle is sharp; or the trial lens that stops it.
    learner, pair, eye, folder
        As for `reading`.
    lens : str, optional
        What was written of that lens, where the number only counts beside a lens that was looked at.
    within : float
        Tolerance, dioptres; the question states it.
    points : float
        Marks; 0 is practice.
    """
    skill, example, hint = NOTED[what]
    if unanswered(answer):
        return not_answered((skill,), points, example)
    if unanswered(learner) or not isinstance(learner, str):
        return nameless((skill,), points)
    try:
        found = power_of(answer)
    except OpticsError as error:
        return unreadable(error, (skill,), points)
    box = open_pairs(folder)
    right = box.shown(what, pair, learner, eye)
    other = box.shown(OTHER_LINES[what], pair, learner, eye) if what in OTHER_LINES else None
    if other is not None and abs(found - other) <= within:
        hint = f"That is the power of the other set of lines. {hint}"
    elif abs(found + right) <= within:
        hint = "The size is right and the sign is not."
    elif other is not None and abs(found + abs(other - right)) <= within:
        hint = "That is the difference of the two readings; note what the drum shows."
    looked = lens is ALONE or _looked_at(lens, box.pair(pair, learner), eye)
    return one_skill(skill, abs(found - right) <= within + 1e-9, points, hint, counts=looked)


def _looked_at(answer: object, specimen: Specimen, eye: str) -> bool:
    """Whether what was written of a lens shows that it was looked at, be it a step off."""
    if unanswered(answer):
        return False
    return mark_pair(read_answer({EYES[eye]: answer}), specimen, asks=("lines",), eyes=eye).looked


def nameless(skills: tuple[str, ...], points: float) -> float:
    """Ask for the name; no marks yet."""
    nothing = shared_out(dict.fromkeys(skills, False), points)
    return tell(Reply(state=NO_NAME, sentences=(NAME_FIRST,), marks=nothing, taken=False))


OTHER_LINES = {"sphere lines": "cylinder lines", "cylinder lines": "sphere lines"}
NOTED = {
    "sphere lines": (
        "sphere",
        '"+6.50"',
        "Come down from plus until the sphere lines are sharp, the wheel where they are unbroken.",
    ),
    "cylinder lines": (
        "cylinder",
        '"+6.50"',
        "Go on towards minus until the cylinder lines are sharp, and leave the wheel where it is.",
    ),
    "zero": (
        "handling",
        '"-0.12"',
        "Set the eyepiece, lay the pair aside, and come down from plus until all lines are sharp.",
    ),
    "eyepiece": (
        "handling",
        '"+1.50"',
        "Look only at the reticle; start from plus and stop where it is first sharp.",
    ),
    "trial lens": (
        "sphere",
        '"+6.50"',
        "With the lens in the hand, change the trial lens until nothing moves any more.",
    ),
}
"""What can be noted at the bench: its skill, how it is typed, and where to look again."""


def reading(
    answer: object,
    *,
    learner: object,
    pair: str,
    eye: str,
    other: object = None,
    form: str = "minus",
    eyepiece_set: bool = False,
    points: float = 0.0,
    folder: str | Path = ".",
) -> float:
    """Mark a lens read at the instrument from the unknown pair before this learner.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it.
    learner : str
        The name or number the learner typed; it decides which pair lies there.
    pair : str
        Letter of the pair.
    eye : {"R", "L"}
        Which lens.
    other : str, optional
        The answer for the other lens, so that habits over the whole pair show.
    form : {"minus", "plus"}
        The form asked for.
    eyepiece_set : bool
        Whether the bench of this chapter has its eyepiece set already; then nobody left it unset.
    points : float
        Marks for the whole answer; 0 is practice.
    folder : path
        The chapter's folder.
    """
    if unanswered(learner) or not isinstance(learner, str):
        if unanswered(answer):
            return not_answered(LENS_SKILLS, points, EXAMPLE)
        return nameless(LENS_SKILLS, points)
    # A lens alone is a pair of which one lens is asked.
    specimen = open_pairs(folder).pair(pair, learner)
    both = {EYES[eye]: answer, EYES[OTHER_EYE[eye]]: "" if unanswered(other) else other}
    ticket = read_answer(both, form)
    line = ticket.of(eye).distance
    found = mark_pair(ticket, specimen, form, points, asks=("lines",), eyes=eye)
    if unanswered(answer):
        return not_answered(tuple(found.marks.skills), points, EXAMPLE)
    if line is None:
        return unreadable(ticket.refused[EYES[eye]], tuple(found.marks.skills), points)
    explained = Diagnosis() if found.all_right else _of_this_lens(ticket, specimen, eye, form, trace_of(pair))
    if eyepiece_set:
        unset = slip("eyepiece not set")
        others = tuple(each for each in explained.ranked if unset not in each.slips)
        explained = replace(explained, ranked=() if unset in explained.slips else others)
    return reply(
        found.marks,
        explained,
        found.remarks,
        where="bench",
        offs=found.offs,
        form=form,
        wrote=line,
        true=true_triple(specimen.power(eye), form),
    )


def _of_this_lens(ticket: Ticket, specimen: Specimen, eye: str, form: str, trace: Trace | None) -> Diagnosis:
    """What explains this lens: over the pair if the other lens is written too, else alone."""
    over_pair = diagnose(ticket, specimen, form, trace=trace)
    nothing = LensAnswer()
    alone = replace(ticket, left=nothing) if eye == "R" else replace(ticket, right=nothing)
    # What is one habit's of the other lens alone is not said of this one.
    if over_pair and eye in over_pair.ranked[0].eyes and all(eye in own for own in over_pair.ranked[0].each):
        of_both = over_pair.of(eye)
        by_itself = diagnose(alone, specimen, form, trace=trace) if len(of_both.slips) > 1 else of_both
        return by_itself if set(by_itself.names) < set(of_both.names) and by_itself else of_both
    return diagnose(alone, specimen, form, trace=trace)
