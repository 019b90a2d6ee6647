"""Reading what somebody wrote: a line, a pair, two crossed cylinders; never guessing.

Text comes in as the trade writes it, with its many habits; what leaves is a
`Prescription` or a sentence that says what was given, what is allowed and what to
try.
"""

from __future__ import annotations

import re
from dataclasses import replace

from optics.errors import OpticsError
from optics.lens.angles import checked_axis
from optics.lens.prescription import EXAMPLE, Crossed, Prescription, checked_prism, written

__all__ = ["parse", "parse_crossed", "parse_pair"]

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?![\d.])"
_LENS = re.compile(
    rf"""^\s*
    (?P<sphere>{_NUMBER}|pl(?:ano)?)?\s*(?:d\.?s\.?|sph)?\s*
    (?:/|\bc\b)?\s*
    (?:(?P<cylinder>{_NUMBER})\s*(?:d\.?c\.?|cyl)?\s*
       (?:(?:x|@|ax(?:is)?)\s*(?P<axis>{_NUMBER})\s*(?P<degree>°|deg)?)?)?
    \s*$""",
    re.VERBOSE,
)
_ADD = re.compile(rf"\badd(?:ition)?\s*:?\s*(?P<add>{_NUMBER})")
_PRISM = re.compile(
    rf"(?:\bprism\s*)?(?P<amount>{_NUMBER})\s*(?:Δ|pd)?\s*base\s*(?:(?P<word>[a-z]+)|(?P<degrees>{_NUMBER})\s*(?:°|deg)?)"
)


def _tidied(text: object) -> str:
    if not isinstance(text, str):
        raise OpticsError(f"The answer is {text!r}.", "A prescription is text between quotes.", EXAMPLE)
    clean = text.replace("−", "-").replace("–", "-").replace("×", "x").replace("\u00a0", " ")
    # The Greek capital delta and the increment sign look alike; both mean prism dioptre.
    return clean.replace("∆", "Δ").strip().lower().replace("δ", "Δ")


def parse(text: str, eye: str | None = None) -> Prescription:
    """Read one written prescription; never guess.

    Parameters
    ----------
    text : str
        For example `"R +2.50 -1.50 x 170 add +2.00 prism 2.00 base out"`. Either
        minus sign, `x`, `×`, `@` or `axis`, DS and DC, "plano" or "pl", spaces or
        none, axis with or without leading zeros.
    eye : {"R", "L"}, optional
        The eye, where the text does not say it.

    Returns
    -------
    Prescription

    Raises
    ------
    OpticsError
        A sentence: what was given, what is allowed, what to try. Refused are a
        missing sign, a decimal comma, axis 0 or above 180, a cylinder without
        axis, and anything it cannot place.

    Examples
    --------
    >>> parse("pl −1.50 × 135").sphere
    0.0
    >>> parse("+2.50 -1.50 170")
    Traceback (most recent call last):
    ...
    optics.errors.OpticsError: "+2.50 -1.50 170" has no axis sign. The axis follows an x. Write "+2.50 -1.50 x 170".
    """
    clean = _tidied(text)
    shown = f'"{text.strip()}"'
    if not clean:
        raise OpticsError("There is nothing here yet.", "A prescription is text between quotes.", EXAMPLE)
    if re.search(r"\d,\d", clean):
        raise OpticsError(
            f"{shown} has a decimal comma.",
            "The decimal sign is a point, because a comma is easily lost.",
            f'Write "{text.strip().replace(",", ".")}".',
        )
    rest = clean
    sides = re.match(r"^(r\.?e\.?|l\.?e\.?|o\.?d\.?|o\.?s\.?|right|left|r|l)\s*[:.]?(?=[\s+\-\dp])", rest)
    if sides:
        word = sides.group(1).replace(".", "")
        eye = "R" if word in ("r", "re", "od", "right") else "L"
        rest = rest[sides.end() :]
    add, rest = _taken_add(rest, shown)
    without = re.sub(r"\bno prism\b", " ", rest)
    prism, rest = _taken_prism(without, shown) if (no_prism := without != rest) else _taken_prism(rest, shown)
    found = _LENS.match(rest)
    if not found or not found["sphere"]:
        raise OpticsError(f"{shown} cannot be read as a prescription.", *_why_not(rest, text))
    sphere = 0.0
    if found["sphere"] and found["sphere"][0] != "p":
        sphere = _signed(found["sphere"], "sphere", shown)
    cylinder = _signed(found["cylinder"], "cylinder", shown) if found["cylinder"] else 0.0
    axis: float | None = None
    if found["axis"]:
        axis = float(found["axis"])
        if found["axis"][0] in "+-":
            raise OpticsError(
                f"The axis is {found['axis']}.",
                "An axis has no sign; it runs from 001 to 180.",
                "Leave the sign out.",
            )
        axis = int(axis) if axis == int(axis) else axis
        checked_axis(axis)
    if found["cylinder"] and not cylinder and axis is not None:
        raise OpticsError(
            f"{shown} has a cylinder of 0.00 with an axis.",
            "A lens without cylinder has no axis.",
            f'Write "{written(sphere)} DS".',
        )
    return Prescription(
        sphere=sphere, cylinder=cylinder, axis=axis, add=add, prism=prism, eye=eye, no_prism=no_prism
    )


def _signed(number: str, name: str, shown: str) -> float:
    if number[0] not in "+-" and float(number) != 0:
        raise OpticsError(
            f"The {name} in {shown} has no sign.",
            "Plus and minus are always written.",
            f"Write +{number} or -{number}, as you read it.",
        )
    return float(number)


def _taken_add(rest: str, shown: str) -> tuple[float | None, str]:
    found = _ADD.search(rest)
    if not found:
        return None, rest
    return _signed(found["add"], "addition", shown), rest[: found.start()] + " " + rest[found.end() :]


def _taken_prism(rest: str, shown: str) -> tuple[tuple[tuple[float, str | float], ...], str]:
    prism: list[tuple[float, str | float]] = []
    while found := _PRISM.search(rest):
        base: str | float = found["word"] or float(found["degrees"])
        prism.append(checked_prism(float(found["amount"]), base))
        rest = rest[: found.start()] + " " + rest[found.end() :].lstrip(" ,;")
        rest = re.sub(r"\b(?:and|with)\s*$", "", rest.strip())
    if "prism" in rest or "base" in rest:
        raise OpticsError(
            f"The prism in {shown} is not whole.",
            "A prism is an amount and then its base: in, out, up, down, or degrees.",
            'Write "prism 2.00 base out".',
        )
    return tuple(prism), rest


def _why_not(rest: str, text: str) -> tuple[str, str]:
    """What is allowed and what to try, for a line that did not match."""
    lone = re.match(rf"^\s*({_NUMBER})\s+({_NUMBER})\s+(\d{{1,3}})\s*$", rest)
    if lone:
        raise OpticsError(
            f'"{text.strip()}" has no axis sign.',
            "The axis follows an x.",
            f'Write "{lone[1]} {lone[2]} x {int(lone[3]):03d}".',
        )
    if re.search(r"[+-]\s+\d", rest):
        return "A sign stands right before its number.", 'Write "-2.25", not "- 2.25".'
    if re.match(rf"^\s*({_NUMBER})\s*x\s*\d+\s*$", rest):
        return "The sphere stands before the cylinder.", f'If there is none, write "pl {rest.strip()}".'
    if re.search(rf"({_NUMBER})\s*x\s*$", rest):
        return "The axis is missing after the x.", 'Write the axis in three digits, "x 090".'
    return "It is sphere, cylinder, x, axis, in that order.", EXAMPLE


def parse_pair(text: str) -> tuple[Prescription, Prescription]:
    """Read a pair: the right lens, then the left, on two lines or parted by a semicolon.

    Parameters
    ----------
    text : str
        For example `"R +1.00 DS; L +1.25 -0.50 x 090"`.

    Returns
    -------
    right, left : Prescription

    Examples
    --------
    >>> right, left = parse_pair("R +1.00 DS; L +1.25 -0.50 x 090")
    >>> print(left)
    L +1.25 -0.50 x 090
    """
    lines = [line for line in re.split(r"[\n;]", _only_text(text)) if line.strip()]
    if len(lines) != 2:
        raise OpticsError(
            f"There {'is' if len(lines) == 1 else 'are'} {len(lines)} line{'s' * (len(lines) != 1)}.",
            "A pair is two: right, then left.",
            'Write "R +1.00 DS; L +1.25 -0.50 x 090".',
        )
    first, second = (parse(line) for line in lines)
    right = replace(first, eye=first.eye or "R")
    left = replace(second, eye=second.eye or "L")
    if (right.eye, left.eye) == ("L", "R"):
        return left, right
    if right.eye == left.eye:
        raise OpticsError(
            f"Both lines are for {right.eye}.", "A pair is one R and one L.", "Name each line R or L."
        )
    return right, left


def _only_text(text: object) -> str:
    _tidied(text)
    return str(text)


_CYLINDER = re.compile(
    rf"^\s*(?P<power>{_NUMBER}|pl(?:ano)?)\s*(?:d\.?c\.?|cyl)?\s*(?:x|@|ax(?:is)?)\s*(?P<axis>\d+)\s*$"
)


def parse_crossed(text: str) -> Crossed:
    """Read a lens written as two crossed cylinders.

    Parameters
    ----------
    text : str
        For example `"+2.50 x 080 / +1.00 x 170"`; DC after a power is allowed.

    Returns
    -------
    Crossed

    Examples
    --------
    >>> print(parse_crossed("+2.50 DC x 80 / +1.00 DC x 170").to_prescription())
    +2.50 -1.50 x 170
    """
    parts = _tidied(text).split("/")
    found = [_CYLINDER.match(part) for part in parts]
    if len(parts) != 2 or not all(found):
        raise OpticsError(
            f'"{text.strip()}" cannot be read as two crossed cylinders.',
            "It is two cylinders, each with its axis, parted by a stroke.",
            'Write it like "+2.50 x 080 / +1.00 x 170".',
        )
    values: list[float] = []
    for match in found:
        assert match is not None
        power = (
            0.0
            if match["power"].startswith("pl")
            else _signed(match["power"], "cylinder", f'"{text.strip()}"')
        )
        values += [power, checked_axis(int(match["axis"]))]
    return Crossed(values[0], int(values[1]), values[2], int(values[3]))
