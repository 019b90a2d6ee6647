"""The written prescription: read it, print it, change its form.

A `Prescription` is what stands on a job ticket, exact to its hundredths. It
says how a power is *written*; the power itself is `Prescription.power`.

Common practice followed here: signs always written, two decimals, axis in three
digits from 001 to 180 and without a degree sign, sphere-only lenses marked DS,
no power written "plano" or "pl". Eighths of a dioptre are written .12, .37, .62
and .87 and mean .125, .375, .625 and .875.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import isfinite
from numbers import Real

from optics.angles import checked_axis
from optics.errors import OpticsError
from optics.power import Power

__all__ = ["Crossed", "Prescription", "parse", "parse_crossed", "parse_pair", "written"]

# Strongest values seen in dispensing, with room to spare; beyond these a decimal
# point was almost certainly forgotten ("-225").
STRONGEST_SPHERE = 40.0
STRONGEST_CYLINDER = 20.0
STRONGEST_ADD = 8.0
STRONGEST_PRISM = 40.0

BASES = ("in", "out", "up", "down")
_EXAMPLE = 'Write it like "-2.25 -0.75 x 015", or "+1.50 DS" for a sphere.'


def exact(value: float) -> float:
    """A written power as the number it means: .12 stands for .125, and so on."""
    hundredths = round(abs(value) * 100)
    ending = hundredths % 100
    size = hundredths / 100
    for eighth in (0.125, 0.375, 0.625, 0.875):
        if ending in (int(eighth * 100), int(eighth * 100) + 1):
            size = hundredths // 100 + eighth
    return size if value >= 0 else -size


def written(value: float, signed: bool = True) -> str:
    """A power in the trade's notation: sign, two decimals, eighths cut to .12.

    Parameters
    ----------
    value : float
        Dioptres or prism dioptres.
    signed : bool
        Whether to write the plus sign.

    Examples
    --------
    >>> written(1.125), written(-0.75), written(0.0)
    ('+1.12', '-0.75', '0.00')
    """
    size = abs(value)
    eighths = size * 8
    # Eighths are cut, not rounded, because the trade writes .12 for .125.
    hundredths = int(size * 100) if eighths == int(eighths) else int(size * 100 + 0.5 + 1e-9)
    if hundredths == 0:
        return "0.00"
    sign = "-" if value < 0 else "+" if signed else ""
    return f"{sign}{hundredths // 100}.{hundredths % 100:02d}"


def _checked(name: str, value: object, limit: float) -> float:
    if isinstance(value, bool) or not isinstance(value, Real) or not isfinite(value):
        raise OpticsError(f"The {name} is {value!r}.", "It must be a number in dioptres.", _EXAMPLE)
    number = float(value)
    if abs(number) > limit:
        hint = (
            f"Did you mean {written(number / 100)}?"
            if abs(number) >= 25 and number == int(number)
            else "Read it again."
        )
        raise OpticsError(
            f"The {name} is {number:+g} D.", f"It lies between -{limit:g} and +{limit:g} D.", hint
        )
    return exact(number)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prescription:
    """One lens as it is written.

    Parameters
    ----------
    sphere : float
        Dioptres.
    cylinder : float
        Dioptres, either sign; 0 for a sphere.
    axis : int, optional
        Whole degrees 1 to 180; required with a cylinder, absent without one.
    add : float, optional
        Addition, dioptres, above 0.
    prism : tuple of (float, str or float)
        Each prism in prism dioptres with its base: "in", "out", "up", "down", or
        degrees 0 to below 360 seen from the front.
    eye : {"R", "L"}, optional
        Which eye the line is for.

    Raises
    ------
    OpticsError
        A sentence, for any value that cannot stand on a ticket.

    Examples
    --------
    >>> rx = parse("+2.50 -1.50 x 170")
    >>> print(rx.transposed())
    +1.00 +1.50 x 080
    """

    sphere: float
    cylinder: float = 0.0
    axis: int | None = None
    add: float | None = None
    prism: tuple[tuple[float, str | float], ...] = ()
    eye: str | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "sphere", _checked("sphere", self.sphere, STRONGEST_SPHERE) + 0.0)
        put(self, "cylinder", _checked("cylinder", self.cylinder, STRONGEST_CYLINDER) + 0.0)
        # The other form has this for its sphere, and both forms must be writable.
        _checked("sphere plus cylinder", self.sphere + self.cylinder, STRONGEST_SPHERE)
        if self.cylinder and self.axis is None:
            raise OpticsError(
                f"The cylinder {written(self.cylinder)} has no axis.",
                "A cylinder needs its axis, 001 to 180.",
                f'Write "{written(self.cylinder)} x 090", with the axis you found.',
            )
        if not self.cylinder and self.axis is not None:
            raise OpticsError(
                f"There is an axis, {self.axis}, but no cylinder.",
                "An axis belongs to a cylinder.",
                "Write the cylinder before it, or leave the axis out and write DS.",
            )
        if self.axis is not None:
            put(self, "axis", checked_axis(self.axis))
        if self.add is not None:
            add = _checked("addition", self.add, STRONGEST_ADD)
            if add <= 0:
                raise OpticsError(
                    f"The addition is {written(add)} D.",
                    "An addition is above 0: it is what near has more than distance.",
                    "Leave it out for a single vision lens, or subtract the distance reading again.",
                )
            put(self, "add", add)
        put(self, "prism", tuple(_checked_prism(amount, base) for amount, base in self.prism))
        if self.eye not in (None, "R", "L"):
            raise OpticsError(f"The eye is {self.eye!r}.", "It is R or L.", "Write R for the right lens.")

    # --- the power, and the forms ---------------------------------------------

    @property
    def power(self) -> Power:
        """The distance power, whatever the form."""
        return Power.from_sphere_cylinder(self.sphere, self.cylinder, self.axis or 180)

    @property
    def form(self) -> str:
        """Sign of the cylinder as written: "minus", "plus" or "sphere"."""
        return "sphere" if not self.cylinder else "minus" if self.cylinder < 0 else "plus"

    def transposed(self) -> Prescription:
        """The same lens in the other cylinder form; a sphere stays as it is.

        New sphere: sphere plus cylinder. New cylinder: same size, other sign.
        New axis: turned 90 degrees, kept between 1 and 180.
        """
        if self.axis is None:
            return self
        axis = self.axis + 90 if self.axis <= 90 else self.axis - 90
        return replace(self, sphere=self.sphere + self.cylinder, cylinder=-self.cylinder, axis=axis)

    def to_minus_cylinder(self) -> Prescription:
        """The same lens written with minus cylinder."""
        return self.transposed() if self.cylinder > 0 else self

    def to_plus_cylinder(self) -> Prescription:
        """The same lens written with plus cylinder."""
        return self.transposed() if self.cylinder < 0 else self

    def to_crossed(self) -> Crossed:
        """The same lens written as two plano cylinders crossed at right angles."""
        if self.axis is None:
            return Crossed(self.sphere, 90, self.sphere, 180)
        other = self.axis + 90 if self.axis <= 90 else self.axis - 90
        return Crossed(self.sphere, other, self.sphere + self.cylinder, self.axis)

    def same_power(self, other: Prescription) -> bool:
        """Whether the other line describes the same distance power, in whatever form."""
        a, b = self.to_minus_cylinder(), other.to_minus_cylinder()
        return (a.sphere, a.cylinder, a.axis) == (b.sphere, b.cylinder, b.axis)

    # --- printing ---------------------------------------------------------------

    @property
    def distance(self) -> str:
        """The distance power alone, as written: `+2.50 -1.50 x 170`."""
        if self.axis is None:
            return f"{written(self.sphere)} DS" if self.sphere else "plano"
        sphere = written(self.sphere) if self.sphere else "pl"
        return f"{sphere} {written(self.cylinder)} x {self.axis:03d}"

    def __str__(self) -> str:
        parts = [self.eye] if self.eye else []
        parts.append(self.distance)
        if self.add is not None:
            parts.append(f"add {written(self.add)}")
        for amount, base in self.prism:
            if not isinstance(base, str):
                base = f"{base:03.0f} deg" if base == int(base) else f"{base:g} deg"
            parts.append(f"prism {written(amount, signed=False)} base {base}")
        return " ".join(parts)


@dataclass(frozen=True, slots=True)
class Crossed:
    """A lens written as two plano cylinders with axes at right angles.

    Parameters
    ----------
    first, second : float
        The two cylinders, dioptres.
    first_axis, second_axis : int
        Their axes, degrees 1 to 180, at right angles.

    Examples
    --------
    >>> print(parse("+2.50 -1.50 x 170").to_crossed())
    +2.50 x 080 / +1.00 x 170
    """

    first: float
    first_axis: int
    second: float
    second_axis: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "first", _checked("first cylinder", self.first, STRONGEST_SPHERE))
        object.__setattr__(self, "second", _checked("second cylinder", self.second, STRONGEST_SPHERE))
        if (checked_axis(self.first_axis) - checked_axis(self.second_axis)) % 180 != 90:
            raise OpticsError(
                f"The axes are {self.first_axis:03d} and {self.second_axis:03d}.",
                "The two cylinders of the crossed form stand at right angles.",
                "Make the axes differ by 90.",
            )

    @property
    def power(self) -> Power:
        """The power of both cylinders together."""
        return Power.from_sphere_cylinder(0.0, self.first, self.first_axis) + Power.from_sphere_cylinder(
            0.0, self.second, self.second_axis
        )

    def to_prescription(self, form: str = "minus") -> Prescription:
        """The same lens as sphere, cylinder and axis, with cylinder of the sign asked for.

        A cylinder acts at right angles to its axis, so each cylinder's axis is
        where only the *other* cylinder is felt.
        """
        if self.first == self.second:
            return Prescription(sphere=self.first)
        line = Prescription(sphere=self.first, cylinder=self.second - self.first, axis=self.second_axis)
        return line.to_minus_cylinder() if form == "minus" else line.to_plus_cylinder()

    def __str__(self) -> str:
        return (
            f"{written(self.first)} x {self.first_axis:03d} / {written(self.second)} x {self.second_axis:03d}"
        )


def _checked_prism(amount: object, base: object) -> tuple[float, str | float]:
    size = _checked("prism", amount, STRONGEST_PRISM)
    if size <= 0:
        raise OpticsError(
            f"The prism is {written(size)}.",
            "A prism is above 0; its direction is said by its base.",
            'Leave it out, or turn the base round: "2.00 base out" instead of "-2.00 base in".',
        )
    if isinstance(base, str):
        if base not in BASES:
            raise OpticsError(
                f'The base is "{base}".', "A base is in, out, up or down, or degrees.", "Name it."
            )
        return size, base
    if isinstance(base, bool) or not isinstance(base, Real) or not 0 <= base < 360:
        raise OpticsError(
            f"The base is {f'{base:g}' if isinstance(base, Real) else repr(base)} degrees.",
            "A base in degrees runs from 0 to below 360, seen from the front.",
            "Write 0 instead of 360.",
        )
    return size, float(base)


# --- reading -----------------------------------------------------------------------

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
        raise OpticsError(f"The answer is {text!r}.", "A prescription is text between quotes.", _EXAMPLE)
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
        raise OpticsError("There is nothing here yet.", "A prescription is text between quotes.", _EXAMPLE)
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
    prism, rest = _taken_prism(rest, shown)
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
    return Prescription(sphere=sphere, cylinder=cylinder, axis=axis, add=add, prism=prism, eye=eye)


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
        prism.append(_checked_prism(float(found["amount"]), base))
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
    return "It is sphere, cylinder, x, axis, in that order.", _EXAMPLE


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
