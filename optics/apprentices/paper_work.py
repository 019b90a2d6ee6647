"""What an apprentice writes when it can be worked out on paper, with one wrong habit or none."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

from optics.apprentices.bench_work import SPHERE_SKILLS, Made, harmful, lightest, uncounted, with_habit
from optics.judging.settling import defensible
from optics.lens.lens import SingleVision
from optics.lens.parsing import parse, parse_place, parse_prism
from optics.lens.power import Power
from optics.lens.prescription import Crossed, Prescription, written
from optics.lens.prism import Prism, decentration_mm, nasal
from optics.marking.habits import slip
from optics.marking.marks import in_form, triple_of
from optics.marking.replies import LENS_SKILLS
from optics.project_files import project_folder

OF_CONVERTING = frozenset(
    {"form not converted", "cylinder sign kept", "axis 90 out", "sphere not converted", "cylinder taken away"}
)
OF_SUBTRACTING = frozenset({"second power as cylinder", "axis 90 out"})


class _Lens(NamedTuple):
    """A question about a whole lens: what is right, in which form, and which habits it invites."""

    right: tuple[Prescription, ...]
    form: str
    invites: frozenset[str]
    as_written: bool = False
    """Whether the other form earns nothing, because converting is the question."""


def on_paper(check: str, given: dict[str, Any], habit: str | None) -> Made | None:
    """Answer a question that needs no instrument.

    Parameters
    ----------
    check : str
        Name of the check in `optics.checks`.
    given : dict
        What the check is given.
    habit : str or None
        A wrong habit.

    Returns
    -------
    (answers, skills, spoiled) or None
        None where the habit does not show cleanly.

    Raises
    ------
    ValueError
        For a check that no apprentice has learnt yet.
    """
    match check:
        case "choice":
            return _choice(given["question"], habit)
        case "meridian_power":
            power = parse(given["given"]).power.along(given["meridian"])
            return Made((written(power),), ("sphere",)) if habit is None else None
        case "to_cross":
            return _to_cross(parse(given["given"]), habit)
        case "crossed":
            return _crossed(parse(given["given"]).to_crossed(), habit)
        case "notation":
            distance = parse(given["given"]).distance
            return Made((distance,), ("notation",)) if habit is None else None
        case "prism" | "jump":
            return Made((_prism(given),), ("prism",)) if habit is None else None
        case "place":
            return Made((_place(parse(given["lens"])),), ("prism",)) if habit is None else None
        case "conversion" | "from_cross" | "from_readings" | "settled":
            return _lens_line(_question(check, given), habit)
    raise ValueError(f"no apprentice has learnt to answer check.{check}")


def _question(check: str, given: dict[str, Any]) -> _Lens:
    if check == "conversion":
        right = in_form(parse(given["given"]), given["to"])
        return _Lens((right,), given["to"], OF_CONVERTING, as_written=True)
    form = given.get("form", "minus")
    if check == "settled":
        first = given["sphere_lines"]
        second = given.get("cylinder_lines", first)
        read = Power.from_line_readings(first, second, given.get("wheel", 180))
        return _Lens(tuple(defensible(read, form=form)), form, OF_SUBTRACTING)
    if check == "from_cross":
        (axis, sphere), (_, other) = sorted(given["powers"].items())
        invites = OF_SUBTRACTING | {"form not converted"}
    else:
        axis, sphere, other = given["wheel"], given["sphere_lines"], given["cylinder_lines"]
        invites = OF_SUBTRACTING
    if sphere == other:
        return _Lens((Prescription(sphere=sphere),), form, frozenset())
    as_taken = Prescription(sphere=sphere, cylinder=other - sphere, axis=axis)
    if check == "from_readings" and as_taken.form != form:
        invites = OF_CONVERTING
    return _Lens((in_form(as_taken, form),), form, invites)


def _prism(given: dict[str, Any]) -> str:
    """An amount with its base: by Prentice's rule, at a segment's line, or of two prisms together."""
    if "add" in given:
        eye, across = given["eye"], given.get("across_mm", 0.0)
        below = given.get("below_mm", given.get("deep_mm", across) - across / 2.0)
        met = Prism.from_base(given["add"] * below / 10.0, "down", eye)
    elif "lens" in given:
        line = parse(given["lens"])
        eye = line.eye or "R"
        met = SingleVision(power=line.power).over_stop(*parse_place(given["looked"], eye)).prism
    else:
        eye, met = given["prisms"][0], Prism.of_parts(parse_prism(given["prisms"][1:]), given["prisms"][0])
    return met.written(eye, "360" if given.get("to") == "one" else "words")


def _place(line: Prescription) -> str:
    """Where the centre must lie for the prism of a line, in words."""
    eye = line.eye or "R"
    x, y = decentration_mm(line.power, Prism.of_parts(line.prism, eye)).tolist()
    across, upright = "in" if x * nasal(eye) > 0 else "out", "up" if y > 0 else "down"
    return ", ".join(f"{abs(mm):g} mm {way}" for mm, way in ((x, across), (y, upright)) if abs(mm) > 0.05)


def _lens_line(question: _Lens, habit: str | None) -> Made | None:
    best = question.right[0]
    skills = LENS_SKILLS if best.axis is not None else SPHERE_SKILLS
    if habit is None:
        return Made((best.distance,), skills)
    if habit not in question.invites:
        return None
    entry = slip(habit)
    line = with_habit(best, entry, question.form)
    if line is None or not line.cylinder:
        return None
    spoiled = lightest([_wrong(line, right, question.as_written) for right in question.right])
    if spoiled != entry.spoils:
        return None
    harms = harmful(line, triple_of(best), spoiled)
    return Made((line.distance,), skills, spoiled, uncounted(skills, spoiled), 0.5 if harms else 1.0)


def _wrong(line: Prescription, right: Prescription, as_written: bool) -> frozenset[str]:
    ways = (line,) if as_written else (line, in_form(line, right.form))
    form = frozenset() if line.form == right.form else frozenset({"form"})
    return lightest(
        [
            form
            | {part for part in ("sphere", "cylinder", "axis") if getattr(way, part) != getattr(right, part)}
            for way in ways
        ]
    )


def _to_cross(lens: Prescription, habit: str | None) -> Made | None:
    skills = ("sphere", "cylinder")
    across = lens.sphere + lens.cylinder
    if habit is None:
        return Made((written(lens.sphere), written(across)), skills)
    if habit != "second power as cylinder" or not lens.sphere:
        return None
    # The same mix-up the other way round: the cylinder stands where a power belongs.
    return Made((written(lens.sphere), written(lens.cylinder)), skills, frozenset({"cylinder"}))


def _crossed(right: Crossed, habit: str | None) -> Made | None:
    skills = ("sphere", "cylinder", "axis", "notation")
    if habit is None:
        return Made((str(right),), skills)
    if habit != "axis 90 out" or right.first == right.second:
        return None
    turned = Crossed(right.first, right.second_axis, right.second, right.first_axis)
    # The lens turned by 90: that harms where the two powers are half a dioptre apart.
    harms = abs(right.first - right.second) >= 0.5
    return Made((str(turned),), skills, frozenset({"axis"}), at_most=0.5 if harms else 1.0)


def _choice(question: str, habit: str | None) -> Made | None:
    """A letter; the bank may say to which wrong one a habit leads."""
    chapter, name = question.split("/")
    path = project_folder("datasets") / "questions" / f"{chapter}.json"
    entry = json.loads(path.read_text("utf-8"))[name]
    skill = entry.get("skill", "notation")
    if habit is None:
        return Made((entry["right"],), (skill,))
    letter = entry.get("habits", {}).get(habit)
    return None if letter is None else Made((letter,), (skill,), frozenset({skill}))
