"""Checks of what is worked out on paper: forms, crosses, readings given, settling, choices."""

from __future__ import annotations

import json
import re
from functools import lru_cache

from optics.errors import OpticsError
from optics.located import project_folder
from optics.power import Power
from optics.practice.marks import in_form, shared_out, triple_of
from optics.practice.replies import (
    LENS_SKILLS,
    exact_marks,
    lens_answer,
    names_of,
    not_answered,
    reply,
    unanswered,
    unreadable,
)
from optics.practice.slips import Triple, diagnose
from optics.practice.telling import Reply, tell
from optics.prescription import Prescription, parse, parse_crossed
from optics.rounding import settle

__all__ = [
    "choice",
    "conversion",
    "crossed",
    "from_cross",
    "from_readings",
    "meridian_power",
    "settled",
]

_NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)$")


def _paper_slips(line: Prescription, right: Prescription) -> tuple[str, ...]:
    """Slips that lead exactly from the right line to the one written."""
    # The catalogue speaks minus form. For a question that asks for plus form the
    # same habits are found by looking at both lines with their signs turned.
    turned = right.form == "plus"

    def as_minus(entry: Prescription) -> Triple:
        t = triple_of(entry)
        return Triple(-t.sphere, -t.cylinder, t.axis) if turned else t

    return names_of(diagnose(as_minus(line), as_minus(right), within=0.01, axis_within=0.5, where="paper"))


def conversion(answer: object, *, given: str, to: str, points: float = 1.0) -> float:
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
        Marks for the whole answer.

    Returns
    -------
    float
        The marks.
    """
    right = in_form(parse(given), to)

    def mark(line: Prescription) -> float:
        return reply(exact_marks(line, right, points, as_written=True), _paper_slips(line, right))

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 +0.50 x 090"', mark)


def crossed(answer: object, *, given: str, points: float = 1.0) -> float:
    """Mark a lens rewritten as two crossed cylinders.

    Parameters
    ----------
    answer : str
        Two cylinders with their axes, parted by a stroke, in either order.
    given : str
        The lens as sphere, cylinder and axis.
    points : float
        Marks for the whole answer.
    """
    skills = ("sphere", "cylinder", "axis", "notation")
    if unanswered(answer):
        return not_answered(skills, points, '"+1.00 x 090 / +2.00 x 180"')
    try:
        line = parse_crossed(answer)  # type: ignore[arg-type]
    except OpticsError as error:
        return unreadable(error, skills, points)
    right = parse(given).to_crossed()
    found, wanted = (
        {line.first: line.first_axis, line.second: line.second_axis},
        {
            right.first: right.first_axis,
            right.second: right.second_axis,
        },
    )
    powers = sorted(wanted)
    good = {
        "sphere": powers[-1] in found,
        "cylinder": powers[0] in found,
        "axis": set(found) == set(wanted) and found == wanted,
        "notation": True,
    }
    exchanged = set(found) == set(wanted) and not good["axis"]
    extra = (
        (
            "Both powers are right. A cylinder has no power along its axis: its power acts at right angles to it.",
        )
        if exchanged
        else ()
    )
    marks = shared_out(good, points)
    if not marks.missed:
        return tell(Reply(state="Right", marks=marks))
    hint = extra or (
        "Each cylinder has the power of one principal meridian: the sphere, and sphere plus cylinder.",
    )
    return tell(Reply(state="Not yet", sentences=hint, marks=marks))


def from_cross(
    answer: object, *, powers: dict[int, float], form: str = "minus", points: float = 1.0
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
        Marks for the whole answer.
    """
    (first, along_first), (_, along_second) = sorted(powers.items())
    lens = (
        Prescription(sphere=along_first, cylinder=along_second - along_first, axis=first)
        if along_first != along_second
        else Prescription(sphere=along_first)
    )
    right = in_form(lens, form)

    def mark(line: Prescription) -> float:
        return reply(exact_marks(line, right, points), _paper_slips(line, right))

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 -0.50 x 090"', mark)


def from_readings(
    answer: object,
    *,
    sphere_lines: float,
    cylinder_lines: float,
    wheel: int,
    form: str = "minus",
    points: float = 1.0,
) -> float:
    """Mark a line written down from two drum readings and the axis wheel.

    Parameters
    ----------
    answer : str
        The line as the learner wrote it.
    sphere_lines, cylinder_lines : float
        Drum readings, dioptres.
    wheel : int
        Axis wheel, degrees.
    form : {"minus", "plus"}
        The form asked for.
    points : float
        Marks for the whole answer.
    """
    at_right_angles = wheel + 90 if wheel <= 90 else wheel - 90
    return from_cross(
        answer, powers={wheel: sphere_lines, at_right_angles: cylinder_lines}, form=form, points=points
    )


def _power_text(answer: object) -> float:
    text = str(answer).replace("−", "-").replace("–", "-").strip().rstrip("dD ").strip()
    if "," in text:
        raise OpticsError(f'"{answer}" has a comma.', "The decimal sign is a point.", 'Write "-1.25".')
    if text.lower() in ("pl", "plano"):
        return 0.0
    if not _NUMBER.match(text):
        raise OpticsError(
            f'"{answer}" is not a power.', "A power is one number in dioptres.", 'Write "-1.25".'
        )
    if text[0] not in "+-" and float(text):
        raise OpticsError(
            f'"{answer}" has no sign.', "Plus and minus are always written.", f'Write "+{text}" or "-{text}".'
        )
    return float(text)


def meridian_power(
    answer: object, *, given: str, meridian: int, within: float = 0.02, points: float = 1.0
) -> float:
    """Mark the power along a meridian.

    Parameters
    ----------
    answer : str
        A power with its sign, dioptres.
    given : str
        The lens.
    meridian : int
        Degrees.
    within : float
        Tolerance, dioptres; the question states it.
    points : float
        Marks.
    """
    if unanswered(answer):
        return not_answered(("sphere",), points, '"-1.25"')
    try:
        found = _power_text(answer)
    except OpticsError as error:
        return unreadable(error, ("sphere",), points)
    lens = parse(given)
    right = float(lens.power.along(meridian))
    if abs(found - right) <= within + 1e-9:
        return tell(Reply(state="Right", marks=shared_out({"sphere": True}, points)))
    hint = "Along its axis a cylinder has no power: there the lens has the sphere alone."
    if abs(found - lens.power.along(meridian + 90)) <= within:
        hint = f"That is the power at right angles to {meridian:03d}. " + hint
    elif abs(found + right) <= within:
        hint = "The size is right and the sign is not."
    elif lens.cylinder and abs(found - lens.cylinder) <= within:
        hint = "That is the cylinder, which is a difference between two meridians. " + hint
    marks = shared_out({"sphere": False}, points)
    return tell(Reply(state="Not yet", sentences=(hint,), marks=marks))


@lru_cache(maxsize=32)
def _bank(chapter: str) -> dict[str, dict]:
    path = project_folder("datasets") / "questions" / f"{chapter}.json"
    return json.loads(path.read_text("utf-8"))


def choice(answer: object, *, question: str, points: float = 1.0) -> float:
    """Mark a choice between lettered answers; every wrong letter has its own reply.

    Parameters
    ----------
    answer : str
        One letter.
    question : str
        `chapter/name`, which finds the replies in `datasets/questions`.
    points : float
        Marks.
    """
    chapter, name = question.split("/")
    entry = _bank(chapter)[name]
    letters = sorted({entry["right"], *entry["replies"]})
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
        return tell(Reply(state="Not yet", sentences=(sentence,), marks=nothing))
    if letter == entry["right"]:
        marks = shared_out({skill: True}, points)
        return tell(Reply(state="Right", sentences=(entry["because"],), marks=marks))
    return tell(Reply(state="Not yet", sentences=(entry["replies"][letter],), marks=nothing))


def settled(
    answer: object,
    *,
    sphere_lines: float,
    cylinder_lines: float | None = None,
    wheel: int = 180,
    points: float = 1.0,
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
        Marks for the whole answer.

    Notes
    -----
    Where a reading lies so near the middle that settling is a judgement, both
    neighbours are right.
    """
    second = sphere_lines if cylinder_lines is None else cylinder_lines
    power = Power.from_sphere_cylinder(sphere_lines, second - sphere_lines, wheel)
    result = settle(power, form="minus")
    allowed = [result.choice, *([result.alternative] if result.is_judgement else [])]

    def mark(line: Prescription) -> float:
        best = max((exact_marks(line, right, points) for right in allowed), key=lambda marks: marks.share)
        if not best.missed:
            return reply(best, extra=(result.sentence,) if result.is_judgement else ())
        true = power.principal()
        found = line.power.principal()
        extra: tuple[str, ...] = ()
        if abs(found[0] - true[0]) <= 0.126 < abs(found[2] - true[2]):
            extra = ("The first meridian is settled well and the second is not: settle both, then subtract.",)
        slips = next((s for right in allowed if (s := _paper_slips(line, right))), ())
        return reply(best, slips, extra)

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 -0.50 x 090"', mark)
