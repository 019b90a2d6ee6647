"""Every figure in words, from the same values the figure is drawn from.

Signs are spoken ("minus 2.25"), because reading programmes skip a hyphen. What
a figure leaves blank for the learner, the words leave open too.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from optics.instrument.focimeter import RINGS, Settings, residual
from optics.lens.angles import whole_axis
from optics.lens.lens import OverStop
from optics.lens.power import Power
from optics.lens.prescription import Prescription, written
from optics.lens.prism import EYES, Prism, nasal

LETTERS = "ABCDEFGHIJKL"
SHARP = 0.07
"""Residual that still looks sharp, dioptres: half an eighth step of the drum."""
SOFT = 0.30
"""Residual up to which lines are soft but still told apart, dioptres."""


def spoken(value: float) -> str:
    """A power as it is said aloud.

    Examples
    --------
    >>> spoken(-2.25), spoken(1.5), spoken(0)
    ('minus 2.25', 'plus 1.50', 'zero')
    """
    size = written(round(abs(float(value)), 6), signed=False)
    if size == "0.00":
        return "zero"
    return f"{'minus' if value < 0 else 'plus'} {size}"


def _degrees(value: float) -> str:
    tenth = round(float(value), 1)
    return str(whole_axis(tenth)) if tenth == round(tenth) else f"{tenth:.1f}"


def _joined(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _lens(power: Power) -> str:
    sphere, cylinder, axis = (float(v) for v in power.sphere_cylinder("minus"))
    if spoken(cylinder) == "zero":
        return f"sphere {spoken(sphere)}"
    return f"sphere {spoken(sphere)}, cylinder {spoken(cylinder)}, axis {_degrees(axis)}"


def line(prescription: Prescription) -> str:
    """A written lens as it is read aloud, in the form it is written in.

    Examples
    --------
    >>> line(Prescription(sphere=-2.25, cylinder=+0.75, axis=15))
    'sphere minus 2.25, cylinder plus 0.75, axis 15'
    """
    if prescription.axis is None:
        return f"sphere {spoken(prescription.sphere)}"
    return (
        f"sphere {spoken(prescription.sphere)}, cylinder {spoken(prescription.cylinder)}, "
        f"axis {prescription.axis}"
    )


def power_cross(
    power: Power | None,
    *,
    eye: str | None = None,
    meridians: str = "both",
    blank: Collection[str] = (),
    axis: str | None = None,
) -> str:
    """A power cross in words; parameters as for `draw_power_cross`.

    Examples
    --------
    >>> power_cross(Power.from_sphere_cylinder(2.50, -1.50, 170))
    'Power cross, seen from the front: plus 2.50 along meridian 170 and plus 1.00 along meridian 80.'
    """
    whose = f" of the {EYES[eye]} lens" if eye else ""
    start = f"Power cross{whose}, seen from the front: "
    if power is None or meridians == "none":
        return f"{start}an empty lens outline with an axis scale, to draw on."
    higher, higher_at, lower, lower_at = (float(v) for v in power.principal())
    alike = spoken(higher - lower) == "zero"
    if alike:
        higher_at, lower_at = 180.0, 90.0
    lines = {"higher": (higher, higher_at), "lower": (lower, lower_at)}
    said = []
    for name, (value, meridian) in lines.items():
        if meridians in ("both", name):
            strength = "a power to be written in" if "powers" in blank else spoken(value)
            where = (
                "a meridian to be read off"
                if "meridians" in blank
                else f"along meridian {_degrees(meridian)}"
            )
            said.append(f"{strength} {where}")
    words = start + _joined(said)
    if axis and not alike:
        at = higher_at if axis == "minus" else lower_at
        where = "to be written in" if "axis" in blank else _degrees(at)
        words += f"; the axis of the {axis} cylinder, {where}, is marked"
    return words + "."


def axis_dial(axes: Mapping[str | None, float | None], blank: bool = False) -> str:
    """One or two axis dials in words: the axis of each eye, None where no axis is drawn.

    Examples
    --------
    >>> axis_dial({"R": 15, "L": 165})
    'Axis dials, seen from the front: right lens, axis 15; left lens, axis 165.'
    """
    said = []
    for eye, axis in axes.items():
        line = "no axis drawn" if axis is None else "an axis to be read off"
        if axis is not None and not blank:
            line = f"axis {_degrees(axis)}"
        said.append(f"{EYES[eye]} lens, {line}" if eye else line)
    return f"Axis dial{'s' * (len(said) > 1)}, seen from the front: {'; '.join(said)}."


def _bases(prism: Prism, eye: str) -> str:
    parts = [f"{written(amount, False)} base {base}" for amount, base in prism.bases(eye, 0.005)]
    return _joined(parts) if parts else "no prism"


def prism_displacement(prism: Prism, eye: str, blank: bool = False) -> str:
    """The target's crossing on the prism rings, in words.

    Examples
    --------
    >>> prism_displacement(Prism.from_base(2.0, "in", "R"), "R")
    'Prism rings, right lens: the crossing of the target stands to the right of the centre: 2.00 base in.'
    """
    start = f"Prism rings, {EYES[eye]} lens: the crossing of the target stands "
    parts = prism.bases(eye, 0.005)
    if not parts:
        return start + "at the centre: no prism."
    sideways = {1.0: {"in": "to the right", "out": "to the left"}}.get(
        nasal(eye), {"in": "to the left", "out": "to the right"}
    )
    upright = {"up": "above", "down": "below"}
    where = [sideways.get(base) or upright[base] for _, base in parts]
    place = " and ".join(where) + (" of" if where[-1].startswith("to the") else "")
    if blank:
        rings = (
            f"{float(prism.amount):.1f} rings out"
            if len(parts) == 1
            else (f"{abs(float(prism.x)):.1f} rings across and {abs(float(prism.y)):.1f} rings up or down")
        )
        return f"{start}{place} the centre, {rings}; its amount and base are to be written in."
    total = ""
    if len(parts) == 2:
        total = f", together {written(float(prism.amount), False)} base at {round(float(prism.base_degrees)) % 360} degrees"
    return f"{start}{place} the centre: {_bases(prism, eye)}{total}."


def place(x_mm: float, y_mm: float, eye: str, centre: str) -> str:
    """Where a point of the lens lies, in the trade's words.

    Examples
    --------
    >>> place(2.5, -11, "R", "the optical centre")
    '11 mm below and 2.5 mm nasal of the optical centre'
    """
    parts = []
    if y_mm:
        parts.append(f"{abs(y_mm):g} mm {'above' if y_mm > 0 else 'below'}")
    if x_mm:
        parts.append(f"{abs(x_mm):g} mm {'nasal' if x_mm * nasal(eye) > 0 else 'temporal'} of")
    return f"{' and '.join(parts)} {centre}" if parts else f"at {centre}"


def prentice(power: Power, x_mm: float, y_mm: float, prism: Prism, eye: str) -> str:
    """A lens looked through away from its optical centre, in words."""
    return (
        f"{EYES[eye].capitalize()} lens, {_lens(power)}, looked through "
        f"{place(x_mm, y_mm, eye, 'its optical centre')}: the prism there is {_bases(prism, eye)}."
    )


def line_set(settings: Settings, met: OverStop, lines: str) -> str:
    """How one set of lines looks: sharp, soft or blurred, straight or broken; what is broken is not sharp.

    Parameters
    ----------
    settings, met
        The instrument and what lies over its stop.
    lines : {"sphere", "cylinder"}
        Which set.
    """
    turn = np.deg2rad(settings.wheel + (0.0 if lines == "sphere" else 90.0))
    across = np.array([np.cos(turn), np.sin(turn)])
    left_over = residual(settings, met)
    # Where the light of one point goes, across its line and along it, from the rim of the stop.
    wide, long = left_over @ across, left_over @ np.array([-across[1], across[0]])
    width = float(np.hypot(*wide))
    slides = abs(float(wide @ long)) / max(float(np.hypot(*long)), 1e-9)
    looks = "sharp" if width <= SHARP else "soft" if width <= SOFT else "blurred"
    # Light that goes along the line and across it at once sets its dashes askew.
    return f"{looks} and broken" if slides > SHARP else looks


def eyepiece(settings: Settings, met: OverStop) -> str:
    """The view in the eyepiece, in words: what a sighted operator sees, no more.

    Examples
    --------
    >>> met = OverStop(Power.from_sphere_cylinder(-2.0, -1.5, 30), Prism.none())
    >>> print(eyepiece(Settings(drum=-2.0, wheel=30), met))
    Eyepiece view, drum minus 2.00, wheel 30: the sphere lines are sharp, the cylinder lines are blurred, the crossing is at the centre.
    """
    shift = met.prism.vector - np.array([settings.compensator_x, settings.compensator_y])
    x, y = (float(v) for v in shift)
    sides = []
    if abs(y) > 0.05:
        sides.append("above" if y > 0 else "below")
    if abs(x) > 0.05:
        sides.append(f"to the {'right' if x > 0 else 'left'} of")
    far = float(np.hypot(x, y))
    place = "at the centre" if not sides else f"{' and '.join(sides)} the centre"
    if sides:
        place += (
            ", beyond the last ring" if far > RINGS[-1] else f", {written(far, False)} prism dioptres away"
        )
    reticle = "" if abs(settings.eyepiece_error) <= SHARP else ", and the reticle itself is blurred"
    return (
        f"Eyepiece view, drum {spoken(settings.drum)}, wheel {_degrees(settings.wheel)}: "
        f"the sphere lines are {line_set(settings, met, 'sphere')}, "
        f"the cylinder lines are {line_set(settings, met, 'cylinder')}, the crossing is {place}{reticle}."
    )


PART_WORDS = {
    "lamp": "sends its light to the right",
    "target": "a dark plate with lines of light",
    "axis wheel": "goes round the target and turns it",
    "power drum": "under the target, moves it to and fro along the light",
    "standard lens": "one focal length behind the target and one before the stop",
    "stop": "a round opening, with a lens of the pair against it",
    "marking device": "ink pins above the lens, on the side of the eye",
    "stage": "carries the pair from below",
    "telescope": "a tube with a lens at its front, towards the stop",
    "reticle": "a thin plate in the telescope, where its picture lies",
    "eyepiece": "the lens next to the eye, in a ring that turns",
}


def instrument(names: Sequence[str], blank: bool = False) -> str:
    """The parts of the instrument in words, in the order of their letters."""
    if blank:
        told = [f"{letter}: {PART_WORDS[name]}" for name, letter in zip(names, LETTERS, strict=False)]
        return f"A focimeter from the side, its parts to be named. {'; '.join(told)}."
    return f"A focimeter from the side. {'; '.join(f'{name}: {PART_WORDS[name]}' for name in names)}."


def oblique_sum(first: Power, second: Power) -> str:
    """Two lenses laid on each other, in words.

    Examples
    --------
    >>> a, b = Power.from_sphere_cylinder(0, 2, 180), Power.from_sphere_cylinder(0, 2, 45)
    >>> oblique_sum(a, b).split(": ")[1]
    'sphere plus 3.41, cylinder minus 2.83, axis 112.5.'
    """
    return (
        f"Two lenses laid on each other, as arrows in the double-angle plane ({_lens(first)}; "
        f"{_lens(second)}), and the power cross of their sum: {_lens(first + second)}."
    )


def spread(count: int, mean: Power, limits: Sequence[tuple[float, float]], known: Power | None = None) -> str:
    """Repeated readings of one lens, in words; `limits` are those of M, J0 and J45, dioptres.

    Examples
    --------
    >>> spread(4, Power.from_sphere_cylinder(-2.0), [(-2.1, -1.9), (-0.05, 0.05), (-0.03, 0.03)])
    '4 readings of one lens, mean sphere minus 2.00. 95 % limits in dioptres: mean power minus 2.10 to minus 1.90, J0 minus 0.05 to plus 0.05, J45 minus 0.03 to plus 0.03.'
    """
    parts = ", ".join(
        f"{name} {spoken(low)} to {spoken(high)}"
        for name, (low, high) in zip(("mean power", "J0", "J45"), limits, strict=True)
    )
    words = f"{count} readings of one lens, mean {_lens(mean)}. 95 % limits in dioptres: {parts}."
    return words if known is None else f"{words} The lens is known to be {_lens(known)}."


def settling(
    reading: float,
    choice: float,
    alternative: float | None = None,
    step: float = 0.25,
    meridian: float | None = None,
    decided: bool = True,
    what: str = "reading",
) -> str:
    """A reading between two steps, in words.

    Examples
    --------
    >>> print(settling(-2.15, -2.25, -2.0))
    A reading of minus 2.150 on a number line: minus 2.25 is chosen, 0.10 away; minus 2.00 is the other choice, 0.15 away.
    >>> print(settling(-2.15, -2.25, decided=False))
    A reading of minus 2.150 on a number line, between minus 2.25 and minus 2.00; the choice is left open.
    """
    where = "" if meridian is None else f" along meridian {_degrees(meridian)}"
    start = f"A {what} of {'minus' if reading < 0 else 'plus'} {abs(reading):.3f}{where} on a number line"
    if not decided:
        lower = float(np.floor(reading / step + 1e-9)) * step
        return f"{start}, between {spoken(lower)} and {spoken(lower + step)}; the choice is left open."
    words = f"{start}: {spoken(choice)} is chosen, {written(abs(choice - reading), False)} away"
    if alternative is not None:
        words += (
            f"; {spoken(alternative)} is the other choice, {written(abs(alternative - reading), False)} away"
        )
    return words + "."


def drum_readings(rows: Mapping[str, Sequence[float]], known: float | None = None) -> str:
    """Repeated drum readings on a number line, in words; the words over a row come first.

    Examples
    --------
    >>> print(drum_readings({"eyepiece set": [1.0, 1.06], "eyepiece not set": [0.75, 0.87]}, 1.0))
    Drum readings on a number line. Eyepiece set: 2 readings from plus 1.00 to plus 1.06, mean plus 1.03. Eyepiece not set: 2 readings from plus 0.75 to plus 0.87, mean plus 0.81. The lens is known to be plus 1.00.
    """
    told = ["Drum readings on a number line."]
    for words, values in rows.items():
        count = f"{len(values)} reading{'s' * (len(values) != 1)}"
        told.append(
            f"{words[:1].upper()}{words[1:]}: {count} from {spoken(min(values))} to {spoken(max(values))}, "
            f"mean {spoken(float(np.mean(values)))}."
        )
    if known is not None:
        told.append(f"The lens is known to be {spoken(known)}.")
    return " ".join(told)
