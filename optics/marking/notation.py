"""Whether a line is written so that nobody can misread it.

Common practice: two decimals and a figure before the point, the axis in three
digits without a degree sign, DS behind a sphere. A line can be readable, and
right, and still be a danger on a ticket.
"""

from __future__ import annotations

import re

from optics.errors import OpticsError
from optics.lens.numbers import NUMBER, pointed, tidied
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription

_AXIS = re.compile(r"(?:x|×|@|ax(?:is)?)\s*(\d+)")
_DIRECTION = re.compile(r"base\s*\d+\s*(?:°|deg)?")
_POWER = re.compile(r"\d*\.?\d+")
TWO_DECIMALS = "A power has a figure before the point and two behind it: 0.50, not .5."
# Both ways are in use: encyclopaedia article "Eyeglass prescription".
PLANO = "A lens without power is written pl, plano or 0.00 DS, so that nobody looks for the rest of it."
ZERO = "A zero has two decimals too: 0.00, or pl for a sphere."

_BARE = re.compile(
    rf"(?P<eye>(?:[rl]|right|left)[ :.]+)?(?P<sphere>{NUMBER}|pl(?:ano)?)(?P<between> ?(?:d\.?s?\.?|sph)? ?/? ?)"
    rf"(?:(?P<cylinder>{NUMBER})(?P<axis> ?(?:d\.?c?\.?)? ?(?:x|@|ax(?:is)?) ?.*))?"
)


def only_reading(text: object, form: str) -> Prescription | None:
    """The lens in a line that may not stand so on a ticket, where only one reading is possible.

    A comma is a point and axis 0 is 180. A sphere without a sign is plus, as everybody
    after will take it, whatever was meant; a cylinder without one has the sign of the form
    that was asked for. Nothing else is guessed.

    Parameters
    ----------
    text : str
        A line that `parse` refuses.
    form : {"minus", "plus"}
        The form asked for.

    Examples
    --------
    >>> print(only_reading("2,25 0.75 x 0", "minus"))
    +2.25 -0.75 x 180
    >>> only_reading("+2.25 -0.75", "minus") is None
    True
    """
    try:
        clean = tidied(text)
        found = _BARE.fullmatch(pointed(clean) or clean)
        if not found:
            return None
        sphere, cylinder = found["sphere"], found["cylinder"] or ""
        sphere = sphere if sphere[0] in "+-p" else f"+{sphere}"
        if cylinder and cylinder[0] not in "+-":
            cylinder = f"{'+' if form == 'plus' else '-'}{cylinder}"
        axis = re.sub(r"(?<=[ x@s])0{1,3}(?= ?(?:°|deg|$))", "180", found["axis"] or "")
        return parse("".join((found["eye"] or "", sphere, found["between"], cylinder, axis)))
    except OpticsError:
        return None


PAST_180 = "An axis that has gone past 180 is brought back by taking 180 away."


def refusal(error: OpticsError) -> tuple[str, str, str]:
    """The sentences of a line that cannot be read."""
    # What the reader of a line guesses ("Did you mean 060?") may be the answer.
    guessed = error.suggestion.startswith("Did you mean")
    hint = (PAST_180 if "axis" in error.given else "Read it again.") if guessed else error.suggestion
    return error.given, error.allowed, hint


def loosely_written(text: object) -> tuple[str, ...]:
    """What could be misread in a line, as sentences; empty for a safe line.

    Parameters
    ----------
    text : str
        A line that can be read: a lens, or two crossed cylinders.

    Examples
    --------
    >>> loosely_written("+2.50 -1.50 x 005")
    ()
    >>> loosely_written("+2.5 -1.50 x 5")[1]
    'An axis has three digits, 005 and not 5: a lone 5 may be part of a longer number.'
    """
    line = str(text).lower()
    axes = _AXIS.findall(line)
    powers = _POWER.findall(_DIRECTION.sub(" ", _AXIS.sub(" ", line)))
    loose = [float(power) for power in powers if not re.fullmatch(r"\d+\.\d\d", power)]
    unmarked = bool(powers) and not axes and not re.search(r"d\.?s|sph|pl", line)
    found = []
    if powers and not axes and "pl" not in line and not float(powers[0]) and (unmarked or 0.0 in loose):
        found.append(PLANO)
    elif 0.0 in loose:
        found.append(ZERO)
    if any(loose):
        found.append(TWO_DECIMALS)
    if any(len(axis) != 3 for axis in axes):
        found.append("An axis has three digits, 005 and not 5: a lone 5 may be part of a longer number.")
    if re.search(r"°|deg", _DIRECTION.sub(" ", line)):
        found.append("An axis has no degree sign: 10° may be taken for 100.")
    if unmarked and PLANO not in found:
        found.append("A sphere is marked DS, so that nobody looks for a lost cylinder.")
    return tuple(found)
