"""What a drawing may be asked for: a power, a written line, or text to be read."""

from __future__ import annotations

import re
from typing import NamedTuple

from optics.errors import OpticsError
from optics.lens.angles import right_angle_to, whole_axis
from optics.lens.numbers import NUMBER, tidied
from optics.lens.parsing import parse, parse_crossed
from optics.lens.power import Power
from optics.lens.prescription import Crossed, Prescription, written
from optics.lens.prism import Prism, nasal

LensLike = Power | Prescription | Crossed | str
"""Anything that names the power of one lens."""

_ALONG = re.compile(rf" ?(?P<power>{NUMBER}|pl(?:ano)?) along (?P<meridian>[0-9]{{1,3}}) ?")
_EYE = re.compile(r"^\s*(?P<eye>[RL])\b\s*(?P<rest>.*)$", re.I | re.S)


class Given(NamedTuple):
    """A lens to draw: its power, how it was written, and the eye if it was named."""

    power: Power
    written: str
    eye: str | None


def lens_of(given: LensLike) -> Given:
    """The lens that was asked for.

    Parameters
    ----------
    given : Power, Prescription, Crossed or str
        Text may be a prescription ("+2.50 -1.50 x 170"), two crossed cylinders
        ("+2.50 x 080 / +1.00 x 170") or two powers with their meridians
        ("+2.50 along 170 / +1.00 along 080").

    Raises
    ------
    OpticsError
        The reader's sentence, for text that cannot be read.

    Examples
    --------
    >>> cross = lens_of("+2.50 along 170 / +1.00 along 080")
    >>> cross.power.is_close(lens_of("+2.50 -1.50 x 170").power)
    True
    """
    if isinstance(given, Power):
        if given.vector.shape != (3,):
            raise ValueError("a drawing shows one lens, not an array of them")
        return Given(given, _minus_form(given), None)
    if isinstance(given, Crossed):
        return Given(given.power, str(given), None)
    if isinstance(given, Prescription):
        return Given(given.power, given.distance, given.eye)
    if isinstance(given, str):
        if "along" in given.lower():
            return _two_meridians(given)
        if "/" in given and len(re.findall(r"[x×@]|axis", given, re.I)) == 2:
            return lens_of(parse_crossed(given))
    return lens_of(parse(given))


def _minus_form(power: Power) -> str:
    sphere, cylinder, axis = (round(float(v), 6) for v in power.sphere_cylinder("minus"))
    if written(cylinder) == "0.00":
        return f"{written(sphere)} DS" if written(sphere) != "0.00" else "plano"
    return f"{written(sphere)} {written(cylinder)} x {whole_axis(axis):03d}"


def _two_meridians(text: str) -> Given:
    found = [_ALONG.fullmatch(part) for part in re.split(r"[/;,]", tidied(text, what="A power cross"))]
    example = 'Write it like "+2.50 along 170 / +1.00 along 080".'
    if len(found) != 2 or not (found[0] and found[1]):
        raise OpticsError(
            f'"{text.strip()}" cannot be read as a power cross.',
            "It is two powers, each along its meridian, parted by a stroke.",
            example,
        )
    values: list[tuple[float, int]] = []
    for match in found:
        assert match is not None
        # Read as a sphere, so that signs and sizes are judged by the same rules.
        values.append((parse(match["power"]).sphere, int(match["meridian"])))
    (first, one), (second, other) = values
    for meridian in (one, other):
        if not 1 <= meridian <= 180:
            raise OpticsError(
                f"The meridian is {meridian}.", "A meridian runs from 1 to 180.", "Horizontal is written 180."
            )
    if abs(one - other) != 90:
        raise OpticsError(
            f"The meridians are {one:03d} and {other:03d}.",
            "The two principal meridians of a lens stand at right angles.",
            f"Did you mean {one:03d} and {whole_axis(right_angle_to(one)):03d}?",
        )
    # A cylinder acts at right angles to its axis.
    return Given(Crossed(first, other, second, one).power, text.strip(), None)


def named_eye(
    eye: str | None,
    why: str = "Base in points to the nose, so a prism needs its eye, R or L.",
    example: str = "R prism 2.00 base in",
) -> str:
    """R or L, or the sentence that says why an eye is needed.

    Raises
    ------
    OpticsError
        Where no eye is named, or another than R and L.
    """
    if eye is None:
        raise OpticsError(
            "The eye is not named.",
            why,
            f'Write it first, "{example}".',
        )
    nasal(eye)
    return eye


def prism_of(given: Prism | Prescription | str, eye: str | None = None) -> tuple[Prism, str]:
    """The prism that was asked for, and its eye.

    Parameters
    ----------
    given : Prism, Prescription or str
        Text may be a whole prescription with its prism, or the prism alone:
        "R 2.00 base in 1.50 base up".
    eye : {"R", "L"}, optional
        The eye, where `given` does not say it.

    Raises
    ------
    OpticsError
        For text that cannot be read, a line without prism, or no eye.

    Examples
    --------
    >>> prism, eye = prism_of("R 4.00 base out and 3.00 base up")
    >>> eye, prism.amount
    ('R', 5.0)
    """
    if isinstance(given, Prism):
        return given, named_eye(eye)
    line = given if isinstance(given, Prescription) else line_of(given)
    if not line.prism:
        raise OpticsError(
            f'There is no prism in "{line}".',
            "A prism is an amount and then its base.",
            'Write "R prism 2.00 base out".',
        )
    side = named_eye(line.eye or eye)
    return Prism.of_parts(line.prism, side), side


def line_of(text: str) -> Prescription:
    """A prescription, or a prism alone: it lies on a lens without power.

    Raises
    ------
    OpticsError
        For text that cannot be read.

    Examples
    --------
    >>> line_of("R 2.00 base in 1.50 base up").prism
    ((2.0, 'in'), (1.5, 'up'))
    """
    try:
        return parse(text)
    except OpticsError:
        side = _EYE.match(text) if isinstance(text, str) else None
        eye, rest = (side["eye"].upper(), side["rest"]) if side else (None, text)
        try:
            alone = parse(f"plano {rest}", eye)
        except OpticsError:
            alone = None
        if alone is None or not alone.prism:
            raise
        return alone
