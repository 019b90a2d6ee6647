"""The fields of a ticket: sphere, cylinder and axis apart, read into the lines of an answer."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from optics.errors import OpticsError
from optics.lens.numbers import NUMBER, pointed, tidied
from optics.lens.parsing import parse, parse_axis
from optics.lens.prescription import Prescription
from optics.lens.prism import EYES
from optics.marking.read import SHOP_FIELDS, Ticket, read_answer

OF_A_LENS = ("sphere", "cylinder", "axis", "add", "prism", "pd", "height")
"""What is written of each lens, in order."""
FIELDS = (
    *(f"{what}_{side}" for side in ("right", "left") for what in OF_A_LENS),
    "style",
    *SHOP_FIELDS,
    "remarks",
)
"""Names of all fields, in the order of the ticket."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TicketRead:
    """What can be read of a ticket.

    Parameters
    ----------
    pair : Ticket
        The pair, as far as it was read.
    answer : dict of str to str
        The fields with each line in one piece.
    faults : dict of str to str
        Fields that cannot be read, each with its sentence.
    """

    pair: Ticket
    answer: dict[str, str]
    faults: dict[str, str]

    def lens(self, eye: str) -> Prescription | None:
        """The line of that eye, addition and prism with it; none without a power."""
        return self.pair.of(eye).line

    def written(self, eye: str) -> str:
        """The line of that eye, as one would write it, or "" where there is none."""
        line = self.lens(eye)
        return "" if line is None else str(replace(line, eye=None))

    @property
    def style(self) -> str | None:
        """The lens style."""
        return self.pair.style


def read_fields(typed: Mapping[str, str]) -> TicketRead:
    """Read a ticket, field by field.

    Parameters
    ----------
    typed : mapping of str to str
        Any of `FIELDS`.

    Examples
    --------
    >>> read = read_fields({"sphere_left": "+1.00", "pd_left": "31,5"})
    >>> read.written("L"), list(read.faults)
    ('+1.00 DS', ['pd_left'])
    """
    fields = {name: text.strip() for name, text in typed.items() if name != "remarks"}
    answer = {
        name: text
        for name, text in typed.items()
        if text.strip() and name.split("_")[0] not in ("sphere", "cylinder", "axis")
    }
    faults: dict[str, str] = {}
    for side in EYES.values():
        parts = tuple(fields.get(f"{what}_{side}", "") for what in ("sphere", "cylinder", "axis"))
        try:
            parts = tuple(map(tidied, parts))
        except OpticsError as error:
            longest = max(
                ("sphere", "cylinder", "axis"), key=lambda what: len(fields.get(f"{what}_{side}", ""))
            )
            faults[f"{longest}_{side}"] = str(error)
            continue
        told_round = parts[1] in _NO_CYLINDER
        if told_round or (_is_zero(parts[1]) and not parts[2]):
            parts = (parts[0], "", parts[2])
        fault = _first_fault(*parts)
        if fault is not None:
            what, sentence = fault
            faults[f"{what}_{side}"] = sentence
        elif any(parts):
            answer[side] = _one_line(*parts) + " DS" * told_round
    pair = read_answer(answer)
    return TicketRead(pair=pair, answer=answer, faults={**faults, **pair.unread})


_NO_CYLINDER = ("ds", "sph", "sphere", "-", "none")
_NUMBER = re.compile(NUMBER)


def _is_zero(text: str) -> bool:
    return bool(_NUMBER.fullmatch(text)) and not float(text)


def _one_line(sphere: str, cylinder: str, axis: str) -> str:
    """The three fields as one line."""
    return f"{sphere} {cylinder} x {axis}" if cylinder else sphere


def _first_fault(sphere: str, cylinder: str, axis: str) -> tuple[str, str] | None:
    """The field that cannot be read and the reader's sentence; none where all is well."""
    if sphere:
        fault = _sentence(sphere, sphere)
        if fault is None and parse(sphere).axis is not None:
            fault = f'"{sphere}" is a whole line. The sphere stands alone here. Write cylinder and axis beside it.'
        elif fault is not None and not _NUMBER.fullmatch(sphere) and not pointed(sphere):
            fault = (
                f'The sphere is "{sphere}". It is one number with its sign, or plano. Write it like -2.25.'
            )
        if fault is not None:
            return "sphere", fault
    if cylinder:
        fault = _cylinder_fault(cylinder)
        if fault is not None:
            return "cylinder", fault
    if axis and not cylinder:
        return (
            "cylinder",
            f"There is an axis, {axis}, but no cylinder. An axis belongs to a cylinder. "
            "Write the cylinder before it, or leave the axis out.",
        )
    if not cylinder:
        return None
    if not axis:
        fault = _sentence(f"pl {cylinder}", cylinder)
    else:
        fault = _sentence(axis, axis, parse_axis)
    if fault is not None:
        return "axis", fault
    if not sphere:
        return (
            "sphere",
            "There is a cylinder but no sphere. The sphere is always written. Write pl if it is zero.",
        )
    return None


def _cylinder_fault(cylinder: str) -> str | None:
    if pointed(cylinder):
        return _sentence(cylinder, cylinder)
    if not _NUMBER.fullmatch(cylinder):
        return f'The cylinder is "{cylinder}". It is one number with its sign. Write it like -0.75, or leave it out.'
    if _is_zero(cylinder):
        return (
            f"The cylinder is {cylinder}, with an axis. A lens without cylinder has no axis. Leave both out."
        )
    # Read with a sphere and an axis that are in order, so that only the cylinder can be wrong.
    return _sentence(f"pl {cylinder} x 180", cylinder)


def _sentence(line: str, typed: str, reader: Callable[[str], object] = parse) -> str | None:
    """What the reader says of a line, with the field's own text in its quotes."""
    try:
        reader(line)
    except OpticsError as error:
        return str(error).replace(f'"{line}"', f'"{typed}"')
    return None
