"""Tables of tolerances: one edition of a standard, row by row, with its source.

Each edition of a standard is one table in `datasets/tolerances`. A table is not
the standard: it holds the rows that could be read in a published summary, and
rows from memory, which say so wherever they decide. Local codes and licensed
practice decide what may be handed over.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from optics.errors import OpticsError, shown
from optics.lens.kinds import LENS_KINDS, checked_kind
from optics.lens.numbers import LONGEST_LINE
from optics.project_files import data_rows, project_folder

POWER_QUANTITIES = ("sphere", "strongest meridian", "each meridian")
"""What the editions judge as "power": each standard has rows for one of them."""

GUARD = 1e-6
"""Floating point only: far finer than any reading."""

# Limits printed in hundredths that stand for eighths and sixteenths, as powers do on
# a drum with eighths (from memory). ANSI avoids the question with 0.13.
_MEANT = {0.12: 0.125, 0.18: 0.1875, 0.37: 0.375}

UNITS = {"dioptre": " D", "percent": " %", "degree": "°", "prism dioptre": " Δ", "mm": " mm"}


def _edge(value: float) -> str:
    return f"{value:.2f}" if round(value * 1000) % 10 == 0 else f"{value:.3f}"


class Range(NamedTuple):
    """A range of one keyed value; `key` is empty where the row always holds."""

    key: str
    low: float
    low_included: bool
    high: float

    def holds(self, keys: Mapping[str, Any]) -> Any:
        """Whether the keyed value lies in the range, for one lens or an array."""
        if not self.key:
            return np.True_
        value = keys[self.key]
        above = value >= self.low - GUARD if self.low_included else value > self.low + GUARD
        return above if self.high == np.inf else above & (value <= self.high + GUARD)

    def __str__(self) -> str:
        if not self.key:
            return ""
        if self.low == self.high:
            return f"{self.key} {_edge(self.low)}"
        lower = "" if self.low <= 0 else f" {'from' if self.low_included else 'above'} {_edge(self.low)}"
        upper = "" if self.high == np.inf else f" up to {_edge(self.high)}"
        return f"{self.key}{lower}{upper}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of a tolerance table.

    Parameters
    ----------
    name : str
        Name of the row in its table.
    standard : str
        Standard and edition.
    quantity : str
        What is judged: "sphere", "cylinder", "axis", "vertical imbalance", ...
    of : {"lens", "each lens", "pair"}
        Whether the figure belongs to one lens, to the worse lens or to the pair.
    lenses : tuple of str
        Kinds of lens it holds for.
    ranges : tuple of Range
        Where it holds, by the *ordered* values.
    printed : float
        The limit as printed.
    unit : str
        "dioptre", "percent" (of the first keyed value), "degree", "prism dioptre", "mm".
    plus_mm : float
        Displacement whose prismatic effect is added to the limit, millimetres.
    source, status : str
        Where the row was read, and whether it was read or is from memory.
    """

    name: str
    standard: str
    quantity: str
    of: str
    lenses: tuple[str, ...]
    ranges: tuple[Range, ...]
    printed: float
    unit: str
    plus_mm: float
    source: str
    status: str

    def holds(self, keys: Mapping[str, Any]) -> Any:
        """Whether the row holds for these ordered values, one lens or an array."""
        first, second = self.ranges
        return first.holds(keys) & second.holds(keys) if second.key else first.holds(keys)

    def limit(self, keys: Mapping[str, Any]) -> Any:
        """The limit for these ordered values, in `limit_unit`."""
        if self.unit == "percent":
            return self.printed / 100.0 * keys[self.ranges[0].key]
        meant = _MEANT.get(self.printed, self.printed) if self.unit == "dioptre" else self.printed
        return meant + self.plus_mm / 10.0 * keys[self.ranges[0].key] if self.plus_mm else meant

    @property
    def limit_unit(self) -> str:
        """Unit of the limit and of the difference held against it."""
        return "dioptre" if self.unit == "percent" else self.unit

    @property
    def from_memory(self) -> bool:
        """Whether the row was written from memory and is still to be confirmed."""
        return self.status.startswith("from memory")

    def __str__(self) -> str:
        limit = f"{self.printed:g}{UNITS[self.unit]}"
        if self.plus_mm:
            effect = f"the effect of {self.plus_mm:g} mm"
            limit = f"{limit} and {effect}" if self.printed else effect
        where = " and ".join(str(r) for r in self.ranges if r.key)
        return f"{self.standard}, {self.quantity}{f' ({where})' if where else ''}: {limit}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """The table of one edition.

    Parameters
    ----------
    name : str
        Standard and edition, such as "ANSI Z80.1-2015".
    rows : tuple of Row
        In the order of the table.
    """

    name: str
    rows: tuple[Row, ...]

    def rows_for(self, quantity: str, lens: str) -> tuple[Row, ...]:
        """The rows for one quantity and kind of lens; none where the table is silent."""
        return tuple(r for r in self.rows if r.quantity == quantity and checked_kind(lens) in r.lenses)

    def row(self, quantity: str, keys: Mapping[str, float], lens: str = "single vision") -> Row | None:
        """The row that decides for these ordered values, or none."""
        return next((r for r in self.rows_for(quantity, lens) if r.holds(keys)), None)

    def power_quantity(self, lens: str) -> str:
        """What this edition judges as power: sphere, strongest or each meridian."""
        held = (q for q in POWER_QUANTITIES if self.rows_for(q, lens))
        return next(held, POWER_QUANTITIES[0])


def _number(text: str, otherwise: float) -> float:
    return float(text) if text else otherwise


def _row(line: Mapping[str, str], name: str) -> Row:
    return Row(
        name=line["id"],
        standard=name,
        quantity=line["quantity"],
        of=line["of"],
        lenses=LENS_KINDS if line["lens"] == "any" else tuple(line["lens"].split("; ")),
        ranges=(
            Range(
                line["keyed_to"],
                _number(line["from"] or line["above"], -np.inf),
                bool(line["from"]),
                _number(line["up_to"], np.inf),
            ),
            Range(
                line["also_keyed_to"],
                _number(line["also_above"], -np.inf),
                False,
                _number(line["also_up_to"], np.inf),
            ),
        ),
        printed=float(line["limit"]),
        unit=line["unit"],
        plus_mm=_number(line["plus_mm"], 0.0),
        source=line["source"],
        status=line["status"],
    )


@lru_cache(maxsize=1)
def _tables() -> dict[str, Standard]:
    tables = {}
    for path in sorted((project_folder("datasets") / "tolerances").glob("*.csv")):
        lines = data_rows(path)
        standard, edition = lines[0]["standard"], lines[0]["edition"]
        # ISO parts its year by a colon, the others by a hyphen.
        joint = ":" if standard.startswith("ISO") else "-"
        name = f"{standard}{joint}{edition}" if edition else standard
        tables[name] = Standard(name=name, rows=tuple(_row(line, name) for line in lines))
    return tables


def available() -> tuple[str, ...]:
    """Names of the tables that can be loaded.

    Examples
    --------
    >>> "ANSI Z80.1-2015" in available()
    True
    """
    return tuple(_tables())


def for_pairs() -> tuple[str, ...]:
    """Names of the tables by which a mounted pair can pass: those with a row for imbalance."""
    return tuple(name for name in available() if load(name).rows_for("vertical imbalance", "single vision"))


def load(name: str) -> Standard:
    """The table of one edition, by its plain name.

    Parameters
    ----------
    name : str
        For example "ANSI Z80.1-2015"; capitals, spaces and punctuation do not matter.

    Raises
    ------
    OpticsError
        For a name that no table has.

    Examples
    --------
    >>> print(load("ansi z80.1 2015").row("axis", {"cylinder": 0.50}))
    ANSI Z80.1-2015, axis (cylinder above 0.25 up to 0.50): 7°
    """

    def plain(text: str) -> str:
        return "".join(ch for ch in text.casefold() if ch.isalnum())

    wanted = plain(name) if isinstance(name, str) and len(name) <= LONGEST_LINE else ""
    for known, standard in _tables().items():
        if plain(known) == wanted:
            return standard
    raise OpticsError(
        f"There is no table named {shown(name)}.",
        f"There are {', '.join(available())}.",
        "Name one of these.",
    )
