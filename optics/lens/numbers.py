"""Numbers as people write them: one spelling, one reader of powers and of lengths.

Every text is bounded before it is read and its spaces are made single, and no run of
figures is longer than `NUMBER` allows, so that reading takes time in proportion to
the text whatever stands in it.
"""

from __future__ import annotations

import re
from math import isfinite
from numbers import Real

from optics.errors import OpticsError, shown

LONGEST_LINE = 100
"""Most characters of one written lens."""
LONGEST_MM = 100.0
STRONGEST = 60.0
"""Strongest power along any meridian, dioptres: the strongest sphere with the strongest cylinder."""
NUMBER = r"(?:[+-]|(?<![0-9.]))(?:[0-9]{1,5}(?:\.[0-9]{0,6})?|\.[0-9]{1,6})(?![0-9.])"
"""Pattern of a number: never a part of a longer one."""

_SAME = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212\ufe63\uff0d", "-")
    | dict.fromkeys("\uff0b\ufe62", "+")
    # The increment sign and small delta look like the Greek capital; all mean prism dioptre.
    | dict.fromkeys("\u2206\u03b4", "\u0394")
    # Two signs that keyboards have in place of a degree.
    | dict.fromkeys("\u00ba\u02da", "\u00b0")
    | {"\u00d7": "x"}
)
_UNSEEN = "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"
"""Marks without a shape that a copied text brings along; only at its ends are they passed over."""
_COMMA = re.compile(r"(?<=[0-9]),(?=[0-9])")


def tidied(text: object, longest: int = LONGEST_LINE, what: str = "A prescription") -> str:
    """Text in one spelling: small letters, single spaces, plain signs.

    Parameters
    ----------
    text : str
        What was written.
    longest : int
        Most characters.
    what : str
        What is read, to begin a sentence.

    Raises
    ------
    OpticsError
        For anything but text, and for text that is too long.

    Examples
    --------
    >>> tidied(" \N{MINUS SIGN}2.25  DS")
    '-2.25 ds'
    """
    if not isinstance(text, str):
        raise OpticsError(
            f"The answer is {shown(text)}.",
            f"{what} is text between quotes.",
            f'Write it like "-2.25{" DS" if what == "A prescription" else ""}".',
        )
    if len(text) > longest and len(text.strip()) > longest:
        raise OpticsError(
            f"The text has {len(text.strip())} characters.",
            f"{what} has at most {longest}.",
            "Write it alone, without anything else.",
        )
    return " ".join(text.strip(f"{_UNSEEN} \t\n").lower().translate(_SAME).split())


def pointed(text: str) -> str | None:
    """The text with its decimal commas made points; None where it has none."""
    mended = _COMMA.sub(".", text.strip())
    return mended if mended != text.strip() else None


def finite(value: object) -> float | None:
    """A number as a float; None for anything else: text, yes or no, NaN, infinity, too large.

    Examples
    --------
    >>> finite(3), finite(True), finite(float("nan")), finite(10**400)
    (3.0, None, None, None)
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if isfinite(number) else None


def power_of(text: object, name: str = "power", signed: bool = True) -> float:
    """A power by itself, dioptres, as a learner writes it.

    Parameters
    ----------
    text : str
        With its sign; "D" or "DS" may follow; "pl" and "plano" are 0.
    name : str
        What it is, for the sentence.
    signed : bool
        Whether a missing sign is refused; an addition is always plus.

    Raises
    ------
    OpticsError
        A sentence, where it is none.

    Examples
    --------
    >>> power_of("-3,25")
    Traceback (most recent call last):
    ...
    optics.errors.OpticsError: The power "-3,25" has a decimal comma. The decimal sign is a point. Write "-3.25".
    """
    clean = tidied(text, what="A power")
    given = f'The {name} is "{str(text).strip()}".'
    if mended := pointed(str(text)):
        raise OpticsError(
            f'The {name} "{str(text).strip()}" has a decimal comma.',
            "The decimal sign is a point.",
            f'Write "{mended}".',
        )
    if clean in ("pl", "plano"):
        return 0.0
    found = re.fullmatch(rf"({NUMBER}) ?(?:d\.?s?\.?)?", clean)
    if not found:
        raise OpticsError(
            given, f"A{'n' * (name[0] in 'aeiou')} {name} is one number in dioptres.", _like(clean)
        )
    number = float(found[1])
    if signed and number and found[1][0] not in "+-":
        raise OpticsError(
            f'The {name} "{str(text).strip()}" has no sign.',
            "Plus and minus are always written.",
            f'Write "+{found[1]}" or "-{found[1]}", as you read it.',
        )
    if abs(number) > STRONGEST:
        raise OpticsError(given, f"It lies between -{STRONGEST:g} and +{STRONGEST:g} D.", "Read it again.")
    return number + 0.0


def _like(clean: str) -> str:
    apart = re.fullmatch(rf"([+-]) ({NUMBER})", clean)
    return f'Write "{apart[1]}{apart[2]}", the sign right before it.' if apart else 'Write it like "+1.50".'


def length_mm(given: object, name: str = "length") -> float:
    """A length as a learner writes it, millimetres.

    Parameters
    ----------
    given : str or float
        Above 0 and at most 100; "mm" may follow.
    name : str
        What it is, for the sentence.

    Raises
    ------
    OpticsError
        A sentence, where it is none.

    Examples
    --------
    >>> length_mm("62.5 mm"), length_mm(31)
    (62.5, 31.0)
    """
    hint = "Write it like 31.5."
    value, seen = finite(given), shown(given)
    if isinstance(given, str):
        number = tidied(given, what="A length").removesuffix("mm").strip()
        seen = f'"{given.strip()}"'
        if number[:1] not in ("+", "-") and re.fullmatch(NUMBER, number):
            value = float(number)
        elif mended := pointed(number):
            hint = f"Write {mended}."
        elif number.endswith("cm"):
            centimetres = _plain(number[:-2].strip())
            hint = (
                "Write millimetres."
                if centimetres is None
                else f"Write millimetres: {centimetres:g} cm are {centimetres * 10:g}."
            )
        # The eye has a field of its own.
        elif beside := re.fullmatch(rf"(?:[rl] )?(?![+-])({NUMBER}) ?(?:mm)?(?: [rl])?", tidied(given)):
            hint = f"Write {beside[1]} alone."
    if value is None:
        raise OpticsError(
            f"The {name} is {seen}.", "A length is one number in millimetres, with a decimal point.", hint
        )
    if 0 < value <= LONGEST_MM:
        return value
    raise OpticsError(
        f"The {name} is {value:g} mm.", f"It lies between 0 and {LONGEST_MM:g} mm.", "Lay the rule on again."
    )


def between(value: float, low: float, high: float, name: str, unit: str, hint: str) -> None:
    """Refuse a value out of its range, or no number."""
    number = finite(value)
    if number is None or not low <= number <= high:
        seen = shown(value) if number is None else f"{number:g}{unit}"
        raise OpticsError(f"The {name} is {seen}.", f"It lies between {low:g} and {high:g}{unit}.", hint)


def _plain(clean: str) -> float | None:
    """A tidied number without a word; None where it is none."""
    return float(clean) if re.fullmatch(NUMBER, clean) else None
