"""Whether a line is written so that nobody can misread it.

Common practice: two decimals and a figure before the point, the axis in three
digits without a degree sign, DS behind a sphere. A line can be readable, and
right, and still be a danger on a ticket.
"""

from __future__ import annotations

import re

__all__ = ["loosely_written"]

_AXIS = re.compile(r"(?:x|×|@|ax(?:is)?)\s*(\d+)")
_DIRECTION = re.compile(r"base\s*\d+\s*(?:°|deg)?")
_POWER = re.compile(r"\d*\.?\d+")


def loosely_written(text: str) -> tuple[str, ...]:
    """What could be misread in a line, as sentences; empty for a safe line.

    Parameters
    ----------
    text : str
        A line that can be read: a lens, or two crossed cylinders.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> loosely_written("+2.50 -1.50 x 005")
    ()
    >>> loosely_written("+2.5 -1.50 x 5")[1]
    'An axis has three digits, 005 and not 5: a lone 5 may be part of a longer number.'
    """
    line = text.lower()
    axes = _AXIS.findall(line)
    powers = _POWER.findall(_DIRECTION.sub(" ", _AXIS.sub(" ", line)))
    found = []
    if any(not re.fullmatch(r"\d+\.\d\d", power) for power in powers):
        found.append("A power has a figure before the point and two behind it: 0.50, not .5.")
    if any(len(axis) != 3 for axis in axes):
        found.append("An axis has three digits, 005 and not 5: a lone 5 may be part of a longer number.")
    if re.search(r"°|deg", _DIRECTION.sub(" ", line)):
        found.append("An axis has no degree sign: 10° may be taken for 100.")
    if powers and not axes and not re.search(r"d\.?s|sph|pl", line):
        found.append("A sphere is marked DS, so that nobody looks for a lost cylinder.")
    return tuple(found)
