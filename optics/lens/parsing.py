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
from optics.lens.numbers import LONGEST_LINE, NUMBER, pointed, tidied
from optics.lens.prescription import EXAMPLE, Crossed, Prescription, checked_prism, written
from optics.lens.prism import nasal

_DEGREES = r"(?:°|deg(?:rees?)?\b)?"
_AXIS = rf"(?:x|@|ax(?:is)?) ?(?P<axis>{NUMBER}) ?{_DEGREES}"
_LENS = re.compile(
    rf"""
    (?P<sphere>(?:{NUMBER}|pl(?:ano)?\b)?)[ ]?(?:sph(?:ere)?\b|d\.?s?\.?)?[ ]?
    (?:(?:/|\bc\b)[ ]?)?
    (?:(?P<cylinder>{NUMBER})[ ]?(?:cyl\b|d\.?c?\.?)?[ ]?(?:{_AXIS.replace(" ", "[ ]")})?)?
    """,
    re.VERBOSE,
)
_ADD = re.compile(rf"\badd(?:ition)? ?:? ?(?P<add>{NUMBER})(?: ?d\b)?")
_PRISM = re.compile(
    rf"(?:\bprism ?:? ?)?(?P<amount>{NUMBER}) ?(?:Δ|pd)? ?base ?(?:(?P<word>[a-z]+)\b|(?P<degrees>{NUMBER}) ?{_DEGREES})"
)
_NO_PRISM = re.compile(r"\bno prism\b|\bprism ?:? ?(?:none\b|nil\b|0(?:\.0{0,4})?(?![0-9.]| ?(?:Δ|pd|base)))")
_PLACE = re.compile(rf"(?P<mm>{NUMBER}) ?(?:mm)? ?(?P<way>in|out|up|down)\b")
TAKEN = "\n"
"""Left where a part was taken out of a line; tidied text has none."""
WHOLE_PRISM = "A prism is an amount and then its base: in, out, up, down, or degrees."


def parse(text: object, eye: str | None = None) -> Prescription:
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
    clean, text = tidied(text), str(text)  # tidying refuses what is no text
    shown = f'"{text.strip()}"'
    if not clean:
        raise OpticsError("There is nothing here yet.", "A prescription is text between quotes.", EXAMPLE)
    if mended := pointed(text):
        raise OpticsError(
            f"{shown} has a decimal comma.",
            "The decimal sign is a point, because a comma is easily lost.",
            f'Write "{mended}".',
        )
    rest = clean
    sides = re.match(r"^(r\.?e\.?|l\.?e\.?|o\.?d\.?|o\.?s\.?|right|left|r|l)\s*[:.]?(?=[ +\-0-9p])", rest)
    if sides:
        word = sides.group(1).replace(".", "")
        eye = "R" if word in ("r", "re", "od", "right") else "L"
        rest = rest[sides.end() :]
    add, rest = _taken_add(rest, shown)
    prism, no_prism, rest = _taken_prism(rest, shown)
    # What stood on the two sides of a prism or an addition is never put together.
    pieces = [piece.strip() for piece in rest.split(TAKEN)]
    rest = " ".join(filter(None, pieces))
    found = _LENS.fullmatch(rest) if rest in pieces else None
    if not found or not found["sphere"]:
        raise OpticsError(f"{shown} cannot be read as a prescription.", *_why_not(rest, text))
    sphere = 0.0
    if found["sphere"] and found["sphere"][0] != "p":
        sphere = _signed(found["sphere"], "sphere", shown)
    cylinder = _signed(found["cylinder"], "cylinder", shown) if found["cylinder"] else 0.0
    axis: int | None = None
    if found["axis"]:
        degrees = _axis(found["axis"])
        if not degrees and cylinder:
            raise OpticsError(
                "The axis is 0.",
                "An axis is a whole number from 1 to 180.",
                f'The horizontal axis is written 180: write "{found["sphere"]} {found["cylinder"]} x 180".',
            )
        axis = checked_axis(degrees)
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
    return _on_paper(number, name)


def _on_paper(number: str, name: str) -> float:
    """A number with at most two decimals, or an eighth in full: no other is written."""
    if len(number.partition(".")[2].rstrip("0")) > 2 and not (float(number) * 8).is_integer():
        raise OpticsError(
            f"The {name} is {number}.",
            "A power is written with two decimals.",
            f"Settle it on a step first: it lies near {float(number):{'+' * (number[0] in '+-')}.2f}.",
        )
    return float(number) + 0.0


def _axis(number: str) -> float:
    if len(number.partition(".")[0].lstrip("+-")) > 3:
        raise OpticsError(
            f"The axis is {number}.", "An axis has three digits, 001 to 180.", "Read the axis scale again."
        )
    if number[0] in "+-":
        raise OpticsError(
            f"The axis is {number}.",
            "An axis has no sign; it runs from 001 to 180.",
            "Leave the sign out.",
        )
    return int(float(number)) if float(number).is_integer() else float(number)


def parse_axis(text: str) -> int:
    """Read an axis by itself: whole degrees, 1 to 180; "°" or "degrees" may follow.

    Examples
    --------
    >>> parse_axis("015")
    15
    """
    found = re.fullmatch(rf"({NUMBER}) ?{_DEGREES}", tidied(text, what="An axis"))
    if not found:
        raise OpticsError(
            f'The axis is "{text.strip()}".', "An axis is a whole number from 1 to 180.", "Write it like 015."
        )
    return checked_axis(_axis(found[1]))


def parse_prism(text: object) -> tuple[tuple[float, str | float], ...]:
    """Read the prism of a lens by itself; empty where it says that there is none.

    Examples
    --------
    >>> parse_prism("2.00 base out"), parse_prism("no prism")
    (((2.0, 'out'),), ())
    """
    clean, shown = tidied(text, what="A prism"), f'"{str(text).strip()}"'
    if mended := pointed(str(text)):
        raise OpticsError(
            f"The prism {shown} has a decimal comma.", "The decimal sign is a point.", f'Write "{mended}".'
        )
    prism, none, rest = _taken_prism(clean, shown)
    if rest.strip(f" {TAKEN}") or bool(prism) == none:
        raise OpticsError(f"The prism is {shown}.", WHOLE_PRISM, 'Write it like "2.00 base out".')
    return prism


def parse_place(text: object, eye: str) -> tuple[float, float]:
    """Read where something lies from a centre, "4 mm in, 8 mm down".

    Parameters
    ----------
    text : str
        One or two distances, each with in, out, up or down; millimetres.
    eye : {"R", "L"}
        Decides which way in is.

    Returns
    -------
    tuple of float
        Millimetres to the viewer's right and up, as seen from the front.

    Raises
    ------
    OpticsError
        For text that says no place.

    Examples
    --------
    >>> parse_place("4 mm in, 8 mm down", "L")
    (-4.0, -8.0)
    """
    clean, shown = tidied(text, what="A place"), f'"{str(text).strip()}"'
    found = list(_PLACE.finditer(clean))
    ways = [each["way"] for each in found]
    rest = re.sub(r"[\s,;\0]|\band\b", "", _PLACE.sub("\0", clean))
    across, upright = (sum(way in pair for way in ways) for pair in (("in", "out"), ("up", "down")))
    if not found or rest or across > 1 or upright > 1 or any(float(each["mm"]) < 0 for each in found):
        raise OpticsError(
            f"The place is {shown}.",
            "It is so many millimetres in, out, up or down from the centre.",
            'Write it like "4 mm in, 8 mm down".',
        )
    towards = {"in": nasal(eye), "out": -nasal(eye)}
    x = sum(float(each["mm"]) * towards[each["way"]] for each in found if each["way"] in towards)
    y = sum(float(each["mm"]) * {"up": 1, "down": -1}.get(each["way"], 0) for each in found)
    return float(x), float(y)


def _taken_add(rest: str, shown: str) -> tuple[float | None, str]:
    # An addition is always plus, so that a missing sign leaves nothing to guess.
    found = _ADD.search(rest)
    if not found:
        return None, rest
    return _on_paper(found["add"], "addition"), rest[: found.start()] + TAKEN + rest[found.end() :]


def _taken_prism(rest: str, shown: str) -> tuple[tuple[tuple[float, str | float], ...], bool, str]:
    found = list(_PRISM.finditer(rest))
    prism = tuple(
        checked_prism(_on_paper(one["amount"], "prism"), one["word"] or float(one["degrees"]))
        for one in found
    )
    rest = re.sub(r" ?[,;]? ?(?:and |with )?\0[ ,;]*", TAKEN, _PRISM.sub("\0", rest.replace("\0", "?")))
    without = _NO_PRISM.sub(TAKEN, rest)
    if "prism" in without or "base" in without:
        raise OpticsError(f"The prism in {shown} is not whole.", WHOLE_PRISM, 'Write "prism 2.00 base out".')
    return prism, without != rest, without


def _why_not(rest: str, text: str) -> tuple[str, str]:
    """What is allowed and what to try, for a line that did not match."""
    lone = re.match(rf"^\s*({NUMBER})\s+({NUMBER})\s+([0-9]{{1,3}})\s*$", rest)
    if lone:
        raise OpticsError(
            f'"{text.strip()}" has no axis sign.',
            "The axis follows an x.",
            f'Write "{lone[1]} {lone[2]} x {int(lone[3]):03d}".',
        )
    if apart := re.search(rf"([+-]) ({NUMBER})", rest):
        close = apart[1] + apart[2]
        return "A sign stands right before its number.", f'Write "{close}", not "{apart[0]}".'
    if re.match(rf"^\s*({NUMBER})\s*x\s*[0-9]+\s*$", rest):
        return "The sphere stands before the cylinder.", f'If there is none, write "pl {rest.strip()}".'
    if re.search(rf"({NUMBER})\s*x\s*$", rest):
        line = f"{rest.strip()} 090"
        return (
            "The axis is missing after the x.",
            f'Write it in three digits, "{line}", with the axis you found.',
        )
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
    tidied(text, 2 * LONGEST_LINE + 1, "A pair")
    lines = [line for line in re.split(r"[\n;]", text) if line.strip()]
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


_CYLINDER = re.compile(rf" ?(?P<power>{NUMBER}|pl(?:ano)?) ?(?:d\.?c?\.?|cyl)? ?{_AXIS} ?")


def parse_crossed(text: object) -> Crossed:
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
    parts, text = tidied(text).split("/"), str(text)
    found = [_CYLINDER.fullmatch(part) for part in parts]
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
        values += [power, checked_axis(_axis(match["axis"]))]
    return Crossed(values[0], int(values[1]), values[2], int(values[3]))
