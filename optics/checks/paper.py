"""Checks of a line worked out on paper: changing its form, settling it on steps."""

from __future__ import annotations

from optics.errors import OpticsError
from optics.judging.settling import settle
from optics.lens.parsing import parse, parse_crossed
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.marking.marks import best_of, in_form, shared_out
from optics.marking.notation import loosely_written
from optics.marking.replies import (
    LENS_SKILLS,
    exact_marks,
    lens_answer,
    not_answered,
    paper_slips,
    reply,
    unanswered,
    unreadable,
)
from optics.marking.telling import Reply, tell

__all__ = ["conversion", "crossed", "notation", "settled"]

WHOLE_POWER = (
    "Each of the two has the whole power of one principal meridian: the sphere, and sphere plus cylinder."
)


def conversion(answer: object, *, given: str, to: str, points: float = 0.0) -> float:
    """Mark a change of cylinder form, worked on paper.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it.
    given : str
        The line to be converted.
    to : {"minus", "plus"}
        The form asked for.
    points : float
        Marks for the whole answer; 0 is practice.

    Returns
    -------
    float
        The marks.
    """
    right = in_form(parse(given), to)

    def mark(line: Prescription, loose: tuple[str, ...]) -> float:
        marks = exact_marks(line, right, points, not loose, as_written=True)
        return reply(marks, paper_slips(line, right), loose)

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 +0.50 x 090"', mark)


def crossed(answer: object, *, given: str, points: float = 0.0) -> float:
    """Mark a lens rewritten as two crossed cylinders.

    Parameters
    ----------
    answer : str
        Two cylinders with their axes, parted by a stroke, in either order.
    given : str
        The lens as sphere, cylinder and axis.
    points : float
        Marks for the whole answer; 0 is practice.
    """
    skills = ("sphere", "cylinder", "axis", "notation")
    if unanswered(answer):
        return not_answered(skills, points, '"+1.00 x 090 / +2.00 x 180"')
    try:
        line = parse_crossed(answer)  # type: ignore[arg-type]
    except OpticsError as error:
        return unreadable(error, skills, points)
    loose = loosely_written(str(answer))
    lens = parse(given)
    right = lens.to_crossed()
    found = {line.first: line.first_axis, line.second: line.second_axis}
    wanted = {right.first: right.first_axis, right.second: right.second_axis}
    both = set(found) == set(wanted)
    good = {
        "sphere": max(wanted) in found,
        "cylinder": min(wanted) in found,
        "axis": found == wanted,
        "notation": not loose,
    }
    marks = shared_out(good, points)
    if not marks.missed:
        return tell(Reply(state="Right", marks=marks))
    if found == wanted:
        sentences = ("The lens is right; mind how it is written.", *loose)
        return tell(Reply(state="Not yet", sentences=sentences, marks=marks))
    if both:
        hint = (
            "Both powers are right. A cylinder acts at right angles to its axis: which axis belongs to which?"
        )
    elif lens.cylinder in found:
        hint = "One of them is the cylinder as it was written. " + WHOLE_POWER
    else:
        hint = WHOLE_POWER
    return tell(Reply(state="Not yet", sentences=(hint, *loose), marks=marks))


def notation(answer: object, *, given: str, points: float = 0.0) -> float:
    """Mark a loosely written line copied so that nobody can misread it.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it.
    given : str
        The lens, loosely written, yet readable.
    points : float
        Marks; 0 is practice.
    """
    skills = ("notation",)
    if unanswered(answer):
        return not_answered(skills, points, '"-1.00 +0.50 x 090"')
    try:
        line = parse(answer)  # type: ignore[arg-type]
    except OpticsError as error:
        return unreadable(error, skills, points)
    loose = loosely_written(str(answer))
    same = line.distance == parse(given).distance
    marks = shared_out({"notation": same and not loose}, points)
    if not marks.missed:
        return tell(Reply(state="Right", marks=marks))
    other = () if same else ("That is another lens than the one given: copy it figure by figure.",)
    return tell(Reply(state="Not yet", sentences=(*other, *loose), marks=marks))


def settled(
    answer: object,
    *,
    sphere_lines: float,
    cylinder_lines: float | None = None,
    wheel: int = 180,
    points: float = 0.0,
) -> float:
    """Mark a line settled on quarter steps from readings that fall between them.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it, minus-cylinder form.
    sphere_lines, cylinder_lines : float
        Drum readings, dioptres; one reading for a sphere.
    wheel : int
        Axis wheel, degrees.
    points : float
        Marks for the whole answer; 0 is practice.

    Notes
    -----
    Where a reading lies so near the middle that settling is a judgement, both
    neighbours are right.
    """
    second = sphere_lines if cylinder_lines is None else cylinder_lines
    power = Power.from_sphere_cylinder(sphere_lines, second - sphere_lines, wheel)
    result = settle(power, form="minus")
    allowed = [result.choice, *([result.alternative] if result.is_judgement else [])]

    def mark(line: Prescription, loose: tuple[str, ...]) -> float:
        best = best_of(*(exact_marks(line, right, points, not loose) for right in allowed))
        if not best.missed:
            return reply(best, extra=(result.sentence,) if result.is_judgement else ())
        true = power.principal()
        found = line.power.principal()
        slips = next((s for right in allowed if (s := paper_slips(line, right))), ())
        extra: tuple[str, ...] = ()
        if not slips and abs(found[0] - true[0]) <= 0.126 < abs(found[2] - true[2]):
            extra = ("The first meridian is settled well and the second is not: settle both, then subtract.",)
        return reply(best, slips, (*extra, *loose))

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 -0.50 x 090"', mark)
