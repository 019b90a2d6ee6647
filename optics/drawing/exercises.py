"""Kinds of homework: what is asked of a lens, and how question and answer are drawn.

A question and its answer are drawn from the same lens by the same function, so that
neither can drift from the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from optics.drawing import describe
from optics.drawing.axis_dial import draw_axis_dial
from optics.drawing.given import prism_of
from optics.drawing.power_cross import draw_power_cross
from optics.drawing.prism_displacement import draw_prism_displacement, draw_prism_rings, name_rings
from optics.errors import OpticsError
from optics.lens.prescription import Prescription, written


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What stands on the paper for one lens.

    Parameters
    ----------
    given : str
        Beside the number.
    answer : str
        On the line to write on, or under the picture.
    words : str
        Question, or question and answer, for those who hear the page.
    """

    given: str
    answer: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """One kind of homework.

    Parameters
    ----------
    asks : str
        The line printed above it.
    invent : callable
        From a random generator to a lens that suits it.
    suits : callable
        Empty for a lens that can be asked about, otherwise why not.
    show : callable
        From a lens, axes or None, and whether it is answered, to `Shown`; draws on the axes.
    drawn : bool
        Whether it has a picture.
    foot : str
        Said of the pictures.
    """

    asks: str
    invent: Callable[[np.random.Generator], Prescription]
    suits: Callable[[Prescription], str]
    show: Callable[[Prescription, Axes | None, bool], Shown]
    drawn: bool = True
    foot: str = "all seen from the front"


# --- lenses to ask about -------------------------------------------------------------------


def _sphere_cylinder(draw: np.random.Generator) -> Prescription:
    """A sphere-cylinder in quarter steps, its axis to 5 degrees, in either form."""
    cylinder = int(draw.integers(1, 13)) / 4 * (-1 if draw.random() < 0.5 else 1)
    return Prescription(
        sphere=int(draw.integers(-24, 21)) / 4, cylinder=cylinder, axis=int(draw.integers(1, 37)) * 5
    )


def _misreadable(draw: np.random.Generator) -> Prescription:
    """A lens that looks another way when it is taken down in haste."""
    while _in_haste(line := _sphere_cylinder(draw)) == line.distance:
        pass
    return line


def _two_prisms(draw: np.random.Generator) -> Prescription:
    """A plano lens with a horizontal and a vertical prism in half steps."""
    across, upright = (int(draw.integers(1, 9)) / 2 for _ in range(2))
    bases = str(draw.choice(["in", "out"])), str(draw.choice(["up", "down"]))
    return Prescription(
        sphere=0.0, eye=str(draw.choice(["R", "L"])), prism=((across, bases[0]), (upright, bases[1]))
    )


def _one_prism(draw: np.random.Generator) -> Prescription:
    """A plano lens with one slanting prism, its base on the scale round the whole circle."""
    quarter = int(draw.integers(0, 4)) * 90
    base = float(quarter + int(draw.integers(1, 6)) * 15)
    return Prescription(
        sphere=0.0, eye=str(draw.choice(["R", "L"])), prism=((int(draw.integers(2, 13)) / 2, base),)
    )


def _any(line: Prescription) -> str:
    left_out = line.add is not None or line.prism or line.no_prism
    return "Its addition or prism would be left out." if left_out else ""


def _with_cylinder(line: Prescription) -> str:
    return _any(line) if line.axis is not None else "It has no cylinder, and so no axis and no other form."


def _with_prism(line: Prescription) -> str:
    if not line.prism:
        return "It has no prism."
    return "" if line.eye else "A base needs its eye, R or L."


# --- how each is shown ------------------------------------------------------------------------


def _minus(text: object) -> str:
    return str(text).replace("-", "−")


def _forms(line: Prescription) -> str:
    both = dict.fromkeys(
        _minus(form.distance) for form in (line.to_minus_cylinder(), line.to_plus_cylinder())
    )
    # Beside each other while both fit under a cross.
    return ("   or   " if sum(map(len, both)) < 36 else "\nor ").join(both)


def _draw_cross(line: Prescription, ax: Axes | None, answered: bool) -> Shown:
    assert ax is not None
    draw_power_cross(ax, line if answered else None)
    cross = f" {describe.power_cross(line.power)}" if answered else ""
    return Shown(given=_minus(line.distance), answer="", words=f"{describe.line(line)}.{cross}")


def _read_cross(line: Prescription, ax: Axes | None, answered: bool) -> Shown:
    assert ax is not None
    draw_power_cross(ax, line)
    cross = describe.power_cross(line.power)
    said = " or ".join(describe.line(form) for form in (line.to_minus_cylinder(), line.to_plus_cylinder()))
    return Shown(
        given="",
        answer=_forms(line) if answered else "_" * 18 + "   or   " + "_" * 18,
        words=f"{cross[:-1]}; {said}." if answered else cross,
    )


def _other_form(line: Prescription, _: Axes | None, answered: bool) -> Shown:
    other = line.transposed()
    return Shown(
        given=_minus(line.distance),
        answer=_minus(other.distance) if answered else "",
        words=f"{describe.line(line)}" + (f" is {describe.line(other)}." if answered else "."),
    )


def _draw_axis(line: Prescription, ax: Axes | None, answered: bool) -> Shown:
    assert ax is not None and line.axis is not None
    draw_axis_dial(ax, line.axis if answered else None, line.eye, bare=True)
    dial = f" {describe.axis_dial({line.eye: line.axis})}" if answered else ""
    axis = f"axis {line.axis:03d}" if answered else ""
    return Shown(given=_minus(line.distance), answer=axis, words=f"{describe.line(line)}.{dial}")


def _read_axis(line: Prescription, ax: Axes | None, answered: bool) -> Shown:
    assert ax is not None and line.axis is not None
    draw_axis_dial(ax, line.axis, line.eye, bare=True)
    answer = f"axis {line.axis:03d}" if answered else "axis ______"
    return Shown(given="", answer=answer, words=describe.axis_dial({line.eye: line.axis}, not answered))


def _combine(line: Prescription, ax: Axes | None, answered: bool) -> Shown:
    assert ax is not None
    prism, eye = prism_of(line)
    given = ", ".join(_part(amount, base) for amount, base in line.prism)
    one = prism.written(eye, "360")
    if answered:
        draw_prism_displacement(ax, prism, eye, blank=True)  # the answer stands below it
    else:
        draw_prism_rings(ax, prism, eye)
    name_rings(ax, prism)
    words = f"{describe.EYES[eye]} lens, {given}"
    return Shown(
        given=f"{eye}  {given}",
        answer=one if answered else "one prism: ______ base ______",
        words=f"{words} is {one}." if answered else f"{words}.",
    )


def _resolve(line: Prescription, ax: Axes | None, answered: bool) -> Shown:
    assert ax is not None
    prism, eye = prism_of(line)
    one, parts = prism.written(eye, "360"), prism.written(eye)
    draw_prism_displacement(ax, prism, eye, resolve=answered, blank=True)
    name_rings(ax, prism)
    words = f"{describe.EYES[eye]} lens, {one}"
    return Shown(
        given=f"{eye}  {one}",
        answer=parts if answered else "______ base ______ and ______ base ______",
        words=f"{words} is {parts}." if answered else f"{words}.",
    )


def _part(amount: float, base: str | float) -> str:
    return f"{amount:.2f} base {base if isinstance(base, str) else f'{round(base) % 360:03d}'}"


def _tidy(line: Prescription, _: Axes | None, answered: bool) -> Shown:
    hasty = _in_haste(line)
    return Shown(
        given=_minus(hasty),
        answer=_minus(line.distance) if answered else "",
        words=f'"{hasty}"' + (f" is {line.distance}." if answered else "."),
    )


def _in_haste(line: Prescription) -> str:
    """A line as somebody in a hurry takes it down: readable, and easy to misread."""

    def short(value: float) -> str:
        text = written(value).rstrip("0").rstrip(".")
        return text.replace("0.", ".") if abs(value) < 1 else text

    sphere = "pl" if line.sphere == 0 else short(line.sphere)
    return sphere if line.axis is None else f"{sphere} {short(line.cylinder)} x {line.axis}"


EXERCISES: dict[str, Exercise] = {
    "draw-crosses": Exercise(
        asks="Draw the power cross of each lens.", invent=_sphere_cylinder, suits=_any, show=_draw_cross
    ),
    "read-crosses": Exercise(
        asks="Write each lens with minus cylinder, then with plus cylinder.",
        invent=_sphere_cylinder,
        suits=_any,
        show=_read_cross,
    ),
    "other-form": Exercise(
        asks="Write each lens in the other cylinder form.",
        invent=_sphere_cylinder,
        suits=_with_cylinder,
        show=_other_form,
        drawn=False,
    ),
    "draw-axes": Exercise(
        asks="Draw the axis of each cylinder on its dial.",
        invent=_sphere_cylinder,
        suits=_with_cylinder,
        show=_draw_axis,
    ),
    "read-axes": Exercise(
        asks="Read the axis off each dial, to 5 degrees.",
        invent=_sphere_cylinder,
        suits=_with_cylinder,
        show=_read_axis,
    ),
    "combine-prisms": Exercise(
        asks="Draw the prisms and write them as one, to 0.01, its base from 0 to 359 degrees.",
        invent=_two_prisms,
        suits=_with_prism,
        show=_combine,
        foot="as seen in the eyepiece",
    ),
    "resolve-prisms": Exercise(
        asks="Write each prism as a horizontal and a vertical one, to 0.01, with their bases.",
        invent=_one_prism,
        suits=_with_prism,
        show=_resolve,
        foot="as seen in the eyepiece",
    ),
    "tidy-lines": Exercise(
        asks="Each line was taken down in haste. Write it so that nobody can misread it.",
        invent=_misreadable,
        suits=_any,
        show=_tidy,
        drawn=False,
    ),
}
"""The kinds, by the name an optician would type."""


def checked(task: str) -> Exercise:
    """The exercise of that name, or the sentence that lists them."""
    if task not in EXERCISES:
        raise OpticsError(
            f'There is no sheet called "{task}".', f"There are {', '.join(EXERCISES)}.", 'Try "draw-crosses".'
        )
    return EXERCISES[task]
