"""What an apprentice writes after reading at the bench, with one wrong habit or none."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from optics.apprentices.operating import HAND_HABITS, find_eyepiece, read_power, scatter, see
from optics.instrument.repeats import axis_deviation
from optics.judging.settling import settle
from optics.lens.angles import axis_difference
from optics.lens.lens import EMPTY
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription, written
from optics.lens.prism import OTHER_EYE
from optics.marking.habits import SMALLEST_CYLINDER, Slip, Triple, slip
from optics.marking.marks import WEAKEST_MISSED, WEIGHTS, hold, triple_of, true_triple
from optics.marking.replies import LENS_SKILLS
from optics.specimens.sealed import PairBox
from optics.specimens.specimen import Specimen


class Made(NamedTuple):
    """Answers, the skills they are marked for, and those that a habit spoils."""

    answers: tuple[Any, ...]
    skills: tuple[str, ...]
    spoiled: frozenset[str] = frozenset()
    uncounted: frozenset[str] = frozenset()
    """What is right and earns nothing, because the power does not show that the lens was looked at."""
    at_most: float = 1.0
    """The share of the marks that may be had: half where it would harm."""


SPHERE_SKILLS = ("sphere", "cylinder", "notation")
"""What a lens without cylinder is marked for."""

CLEARLY_WRONG = 0.27
"""Dioptres; well beyond what a reading may be out."""
CLEARLY_RIGHT = 0.165
AXIS_CLEARLY_WRONG = 18.0
"""Degrees; beyond the widest limit, that of the weakest cylinder."""
A_STEP_OFF = 0.47
"""Dioptres; a quarter step, and what a reading may be out besides."""
BENCH = "bench"
OF_THE_PAIR = frozenset({"eyepiece not set", "lenses exchanged"})
LEARNT = (
    "form not converted",
    "cylinder sign kept",
    "axis 90 out",
    "axis mirrored",
    "second power as cylinder",
    "sphere not converted",
    "cylinder taken away",
    "drum read across zero",
    "drum counted the wrong way",
    *sorted(OF_THE_PAIR),
)
"""The habits with which an apprentice answers the questions of a chapter."""


def at_the_bench(
    pair: Specimen, eye: str, form: str, chance: Callable[[str], np.random.Generator], habit: str | None
) -> Made | None:
    """Read and write one lens of a pair.

    Parameters
    ----------
    pair : Specimen
        The pair on the bench.
    eye : {"R", "L"}
        The lens asked for.
    form : {"minus", "plus"}
        The form asked for.
    chance : callable
        Gives the unsteadiness of the hand for an eye, the same each time.
    habit : str or None
        A wrong habit.

    Returns
    -------
    (answers, skills, spoiled) or None
        None where the habit does not show cleanly on this lens; a habit that goes
        with the pair must show on both.
    """
    if habit in OF_THE_PAIR:
        both = {each: _one_lens(pair, each, form, chance(each), habit) for each in ("R", "L")}
        return both[eye] if all(both.values()) else None
    return _one_lens(pair, eye, form, chance(eye), habit)


def _one_lens(
    pair: Specimen, eye: str, form: str, chance: np.random.Generator, habit: str | None
) -> Made | None:
    true = Triple(*(float(value) for value in pair.power(eye).sphere_cylinder(form)))
    by_hand = habit if habit in HAND_HABITS else None
    as_read = {"minus": "plus", "plus": "minus"}[form] if habit == "form not converted" else form
    line = settle(read_power(pair, eye, chance, by_hand, as_read), form=as_read).choice
    skills = _asked(line, true)
    if habit is None:
        return Made((line.distance,), skills)
    entry = slip(habit)
    if BENCH not in entry.where:
        return None
    if by_hand is None:
        changed = with_habit(line, entry, form)
        if changed is None:
            return None
        line, skills = changed, _asked(changed, true)
    spoiled = _spoiled(line, true, form)
    if spoiled is None or not spoiled <= entry.spoils:
        return None
    # Exchanged lenses spoil only what differs between them; other habits all they declare.
    shows = bool(spoiled) if habit == "lenses exchanged" else spoiled == entry.spoils
    if not shows:
        return None
    beside = true_triple(pair.power(OTHER_EYE[eye]), form)
    if habit != "lenses exchanged" and line.cylinder and hold(line, beside, form).fits:
        # Eyes are mirror images: with its axis mirrored a lens may be the other one, and nobody can tell which.
        return None
    lost = frozenset(skills) if spoiled and habit == "lenses exchanged" else uncounted(skills, spoiled)
    harms = harmful(line, true, spoiled) or (habit == "lenses exchanged" and bool(spoiled and line.cylinder))
    return Made((line.distance,), skills, spoiled, lost, 0.5 if harms else 1.0)


def uncounted(skills: tuple[str, ...], spoiled: frozenset[str]) -> frozenset[str]:
    """Of a cylinder two facts of three show that it was looked at; of a sphere its power."""
    facts = {"sphere", "cylinder", "axis"} & set(skills)
    if len(facts - spoiled) >= 2 and ("axis" in facts or "sphere" not in spoiled):
        return frozenset()
    return frozenset(skills) - ({"sphere"} if "axis" in facts else set())


def harmful(line: Prescription, true: Triple, spoiled: frozenset[str]) -> bool:
    """Whether a line would hurt: about a dioptre out in some meridian, a wrong sign, an axis across."""
    # In tenths of a degree the greatest error is found to a hundred-thousandth, in whole ones to no better
    # than the thousandth by which a lens may fall short of a dioptre.
    around = np.deg2rad(np.arange(0.0, 180.0, 0.1))
    wrote, lens = (
        each.sphere + each.cylinder * np.sin(around - np.deg2rad(each.axis)) ** 2
        for each in (triple_of(line), true)
    )
    sign = (
        "sphere" in spoiled
        and line.sphere * true.sphere < 0
        and min(abs(line.sphere), abs(true.sphere)) >= 0.25
    )
    across = (
        "axis" in spoiled and abs(true.cylinder) >= 0.5 and axis_difference(line.axis or 180, true.axis) >= 60
    )
    return bool(np.abs(wrote - lens).max() >= 0.875 - 1e-5 or sign or across)


def _asked(line: Prescription, true: Triple) -> tuple[str, ...]:
    """Axis and form are asked for where there is a cylinder that cannot settle away."""
    size = abs(true.cylinder)
    shows = size > WEAKEST_MISSED or (size >= SMALLEST_CYLINDER and line.cylinder)
    return LENS_SKILLS if shows else SPHERE_SKILLS


def with_habit(line: Prescription, entry: Slip, form: str) -> Prescription | None:
    """A right line as somebody with a habit of writing would write it; None where it changes nothing."""
    made = entry.shown(triple_of(line), form)
    if made is None:
        return None
    axis = round(made.axis) if made.cylinder else None
    return Prescription(sphere=made.sphere, cylinder=made.cylinder, axis=axis)


def lightest(ways: list[frozenset[str]]) -> frozenset[str]:
    """Of several ways of looking at a line the one that loses least."""
    return min(ways, key=lambda lost: sum(WEIGHTS.get(skill, 1) for skill in lost))


def _spoiled(line: Prescription, true: Triple, form: str) -> frozenset[str] | None:
    """Skills that are clearly wrong in a line; None where one of them is doubtful."""
    # A sphere written where there is a cylinder has no form either.
    wrong_form = frozenset({"form"} if "form" in _asked(line, true) and line.form != form else ())
    # A line in the other form is looked at converted, or as a lens with the wrong sign.
    ways = [line.transposed(), line] if line.form not in ("sphere", form) else [line]
    lost = [_wrong(way, true) for way in ways]
    if frozenset() in lost:
        return wrong_form
    if None in lost:
        return None
    return lightest([way | wrong_form for way in lost if way is not None])


def _wrong(line: Prescription, true: Triple) -> frozenset[str] | None:
    second = abs(line.sphere + line.cylinder - true.sphere - true.cylinder)
    off = {
        "sphere": abs(line.sphere - true.sphere),
        "cylinder": min(second, abs(line.cylinder - true.cylinder)),
    }
    right = {"sphere": CLEARLY_RIGHT, "cylinder": CLEARLY_RIGHT}
    wrong = {"sphere": CLEARLY_WRONG, "cylinder": CLEARLY_WRONG}
    if "axis" in _asked(line, true):
        off["axis"] = float(axis_difference(line.axis, true.axis)) if line.axis else 90.0
        right["axis"] = 1.5 * axis_deviation(true.cylinder) + 0.5
        wrong["axis"] = AXIS_CLEARLY_WRONG
    if any(right[skill] < out <= wrong[skill] for skill, out in off.items()):
        return None
    return frozenset(skill for skill, out in off.items() if out > wrong[skill])


def noted(box: PairBox, given: dict[str, Any], learner: str, chance: np.random.Generator) -> Made:
    """Note one number at the bench with care, from what its pictures show."""
    letter, what = given["pair"], given["what"]
    dial = find_eyepiece(box.eye_setting(letter, learner))
    if what == "eyepiece":
        return Made((written(dial),), ("handling",))
    if what == "trial lens":
        # They come in quarter steps.
        return Made((written(round(4 * box.shown(what, letter, learner, given["eye"])) / 4),), ("sphere",))
    pair = box.pair(letter, learner)
    met = EMPTY if what == "zero" else pair.spectacles.mounted(given["eye"]).lens.over_stop(0.0, 0.0)
    seen = see(met.power, dial, box.eye_setting(letter, learner), zero_error=pair.zero_error)
    shown = seen.cylinder_lines if what == "cylinder lines" else seen.sphere_lines
    skill = {"zero": "handling", "sphere lines": "sphere", "cylinder lines": "cylinder"}[what]
    return Made((written(round(shown + scatter(chance), 2)),), (skill,))


def seen_so(pair: Specimen, eye: str, answer: str) -> bool:
    """Whether a sphere was written that somebody may have who looked at the lens: right, or a step off."""
    return bool(answer) and abs(parse(answer).sphere - float(pair.power(eye).mean)) <= A_STEP_OFF
