"""Checks of a line worked out on paper: changing its form, settling it on steps."""

from __future__ import annotations

from optics.judging.settling import JUDGEMENT, PRACTICE, TABLES, defensible, settle
from optics.judging.standards import load
from optics.judging.verdicts import judge_lens
from optics.lens.parsing import parse, parse_crossed
from optics.lens.power import Power
from optics.lens.prescription import Crossed, Prescription
from optics.marking.marks import in_form, mark_against, shared_out, triple_of
from optics.marking.replies import LENS_SKILLS, exactly, lens_answer, on_paper, one_skill, reply
from optics.marking.telling import Reply, tell

WHOLE_POWER = (
    "Each of the two has the whole power of one principal meridian: the sphere, and sphere plus cylinder."
)

NEAR = 0.2
"""A line this near in both powers was settled, not miscalculated, dioptres."""


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
        held = exactly(line, right, not loose, as_written=True)
        return reply(
            mark_against(held, points),
            on_paper(line, right),
            loose,
            form=to,
            wrote=line,
            true=triple_of(right),
        )

    example = f'"-1.00 {"+" if to == "plus" else "-"}0.50 x 090"'
    return lens_answer(answer, LENS_SKILLS, points, example, mark, to)


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
    lens = parse(given)
    right = lens.to_crossed()
    wanted = {right.first: right.first_axis, right.second: right.second_axis}

    def mark(line: Crossed, loose: tuple[str, ...]) -> float:
        found = {line.first: line.first_axis, line.second: line.second_axis}
        good = {
            "sphere": max(wanted) in found,
            "cylinder": min(wanted) in found,
            "axis": found == wanted,
            "notation": not loose,
        }
        both = good["sphere"] and good["cylinder"]
        # How it is written counts once one of the powers is right.
        counted = good | {"notation": not loose and (good["sphere"] or good["cylinder"])}
        # Axes that changed places make another lens, which is marked as any line of it is.
        harm = exactly(line.to_prescription(), lens.to_minus_cylinder()).harm
        marks = shared_out(good, points, counted, harm)
        if not marks.missed:
            return tell(Reply(state="Right", marks=marks))
        if good["axis"]:
            hint = "The lens is right; mind how it is written."
        elif both:
            hint = "Both powers are right. A cylinder acts at right angles to its axis: which axis belongs to which?"
        elif lens.cylinder in found:
            hint = "One of them is the cylinder as it was written. " + WHOLE_POWER
        else:
            hint = WHOLE_POWER
        return tell(Reply(state="Not yet", sentences=(hint, *loose), marks=marks, notation=loose))

    skills = ("sphere", "cylinder", "axis", "notation")
    return lens_answer(answer, skills, points, '"+1.00 x 090 / +2.00 x 180"', mark, read=parse_crossed)


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

    def mark(line: Prescription, loose: tuple[str, ...]) -> float:
        same = line.distance == parse(given).distance
        other = () if same else ("That is another lens than the one given: copy it figure by figure.",)
        return one_skill("notation", same and not loose, points, *other, *loose)

    return lens_answer(answer, ("notation",), points, '"-1.00 -0.50 x 090"', mark)


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
    Every line is right that would pass on this reading by one of the tables in
    `optics.judging.settling.TABLES`; the reply says by which.
    """
    second = sphere_lines if cylinder_lines is None else cylinder_lines
    power = Power.from_line_readings(sphere_lines, second, wheel)
    allowed = defensible(power)

    def mark(line: Prescription, loose: tuple[str, ...]) -> float:
        ways = [mark_against(exactly(line, right, not loose), points) for right in allowed]
        best = max(ways, key=lambda marks: marks.share)
        if not best.missed:
            return reply(best, extra=_suits(line, power, allowed))
        right, explained = next(
            ((right, found) for right in allowed if (found := on_paper(line, right))),
            (next(iter(allowed)), None),
        )
        held = () if explained else _held(line, power)
        return reply(best, explained, loose, extra=held, wrote=line, true=triple_of(right))

    return lens_answer(answer, LENS_SKILLS, points, '"-1.00 -0.50 x 090"', mark, "minus")


def _suits(line: Prescription, power: Power, allowed: dict[Prescription, tuple[str, ...]]) -> tuple[str, ...]:
    """Which tables a right line passes, and which other lines would be right as well."""
    # An eye or an addition written with it makes it no other lens.
    tables = next(suits for right, suits in allowed.items() if right.same_power(line))
    told = [f"Held against the reading it would pass {' and '.join(tables)}."]
    missed = [table for table in TABLES if table not in tables]
    if missed:
        memory = " (limits from memory)" if load(missed[0]).rows[0].from_memory else ""
        told.append(f"By {missed[0]}{memory} it would not pass: check which table your shop uses.")
    others = [other.distance for other in allowed if not other.same_power(line)]
    if others:
        told.append(f"As defensible: {', '.join(others)}. {PRACTICE}")
    if others or settle(power).is_judgement:
        told.append(JUDGEMENT)
    return tuple(told)


def _held(line: Prescription, power: Power) -> tuple[str, ...]:
    """What a line that is near in both powers fails when it is held against the reading."""
    off = (
        abs(line.power.principal()[0] - power.principal()[0]),
        abs(line.power.principal()[2] - power.principal()[2]),
    )
    if max(off) > NEAR:
        return ()
    failed = [each for each in judge_lens(load(TABLES[0]), line, power) if each.passed is False]
    return tuple(
        f"Hold it against the reading: the {each.quantity} is {each.off:.2f} D from what was read, "
        f"and the limit is {each.limit:.2f} D."
        for each in failed
        if each.unit == "dioptre" and each.limit is not None
    )
