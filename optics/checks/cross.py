"""Checks of the power cross: from the lens, to the lens, and between its meridians."""

from __future__ import annotations

from optics.errors import OpticsError
from optics.lens.numbers import power_of
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription
from optics.marking.marks import in_form, mark_against, shared_out, triple_of
from optics.marking.replies import (
    LENS_SKILLS,
    exactly,
    lens_answer,
    not_answered,
    on_paper,
    one_skill,
    reply,
    unanswered,
    unreadable,
)
from optics.marking.telling import Reply, tell

FLAT = "Along its axis a cylinder has no power: there the lens has the sphere alone."
MERIDIAN_WITHIN = 0.02
"""Of a power along a meridian, dioptres; the question states it."""


def from_cross(
    answer: object, *, powers: dict[int, float], form: str = "minus", points: float = 0.0
) -> float:
    """Mark a line written down from a power cross.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it.
    powers : dict of int to float
        Power along each of the two principal meridians, dioptres by degrees.
    form : {"minus", "plus"}
        The form asked for.
    points : float
        Marks for the whole answer; 0 is practice.
    """
    (first, along_first), (_, along_second) = sorted(powers.items())
    lens = (
        Prescription(sphere=along_first, cylinder=along_second - along_first, axis=first)
        if along_first != along_second
        else Prescription(sphere=along_first)
    )
    right = in_form(lens, form)

    def mark(line: Prescription, loose: tuple[str, ...]) -> float:
        held = exactly(line, right, not loose)
        return reply(
            mark_against(held, points),
            on_paper(line, right),
            loose,
            form=form,
            wrote=line,
            true=triple_of(right),
        )

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 -0.50 x 090"', mark, form)


def from_readings(
    answer: object,
    *,
    sphere_lines: float,
    cylinder_lines: float,
    wheel: int,
    points: float = 0.0,
) -> float:
    """Mark a line in minus form, written down from two drum readings and the axis wheel.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it.
    sphere_lines, cylinder_lines : float
        Drum readings, dioptres.
    wheel : int
        Axis wheel, degrees.
    points : float
        Marks for the whole answer; 0 is practice.
    """
    at_right_angles = wheel + 90 if wheel <= 90 else wheel - 90
    return from_cross(answer, powers={wheel: sphere_lines, at_right_angles: cylinder_lines}, points=points)


def to_cross(along: object, across: object, *, given: str, points: float = 0.0) -> float:
    """Mark a power cross made from a written lens.

    Parameters
    ----------
    along, across : str
        The powers along the axis and along the meridian at right angles, each
        with its sign, dioptres.
    given : str
        The lens, with its cylinder, in either form.
    points : float
        Marks for both; 0 is practice.
    """
    skills = ("sphere", "cylinder")
    if unanswered(along) or unanswered(across):
        return not_answered(skills, points, '"+6.50"')
    try:
        found = power_of(along), power_of(across)
    except OpticsError as error:
        return unreadable(error, skills, points)
    lens = parse(given)
    right = lens.sphere, lens.sphere + lens.cylinder
    good = {"sphere": found[0] == right[0], "cylinder": found[1] == right[1]}
    marks = shared_out(good, points)
    if not marks.missed:
        return tell(Reply(state="Right", marks=marks))
    sentences: tuple[str, ...]
    if found == right[::-1]:
        sentences = ("Both powers are right, and exchanged.", FLAT)
    elif good["sphere"] and found[1] == lens.cylinder:
        sentences = (
            "The power along the axis is right.",
            "Across the axis you wrote the cylinder alone: it comes on top of the sphere, so add the two.",
        )
    elif good["sphere"] and found[1] == lens.sphere - lens.cylinder:
        sentences = (
            "The power along the axis is right.",
            "Across the axis the cylinder was taken away: add it, with its sign.",
        )
    elif good["sphere"]:
        sentences = ("The power along the axis is right.", "Across it stands sphere plus cylinder.")
    elif good["cylinder"]:
        sentences = ("The power across the axis is right.", FLAT)
    else:
        sentences = (FLAT, "Across the axis stands sphere plus cylinder.")
    return tell(Reply(state="Not yet", sentences=sentences, marks=marks))


def meridian_power(answer: object, *, given: str, meridian: int, points: float = 0.0) -> float:
    """Mark the power along a meridian.

    Parameters
    ----------
    answer : str
        A power with its sign, dioptres.
    given : str
        The lens.
    meridian : int
        Degrees.
    points : float
        Marks; 0 is practice.
    """
    if unanswered(answer):
        return not_answered(("sphere",), points, '"+6.50"')
    try:
        found = power_of(answer)
    except OpticsError as error:
        return unreadable(error, ("sphere",), points)
    lens = parse(given)
    right = float(lens.power.along(meridian))
    hint = FLAT
    if abs(found - lens.power.along(meridian + 90)) <= MERIDIAN_WITHIN:
        hint = f"That is the power at right angles to {meridian:03d}. " + hint
    elif abs(found + right) <= MERIDIAN_WITHIN:
        hint = "The size is right and the sign is not."
    elif lens.cylinder and abs(found - lens.cylinder) <= MERIDIAN_WITHIN:
        hint = "That is the cylinder, which is a difference between two meridians. " + hint
    return one_skill("sphere", abs(found - right) <= MERIDIAN_WITHIN + 1e-9, points, hint)
