"""Verdicts on lenses against an order: which row decided, by how much, pass or fail.

All comparing is done in minus-cylinder form, whatever form was written
(ANSI Z80.1-2015 words its table so), with a guard against floating point only.
The tables themselves are `optics.judging.standards`; whole columns of lenses are judged by
`optics.judging.many_lenses`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.judging.standards import GUARD, UNITS, Row, Standard
from optics.lens.angles import axis_difference, whole_axis
from optics.lens.kinds import LENS_KINDS
from optics.lens.power import Power
from optics.lens.prescription import Prescription, written

WEAK_CYLINDER = 0.125
"""Up to here a table may be silent about the axis (ANSI Z80.1-2015, item 3: not defined), dioptres."""


def minus_form(lens: Prescription | Power) -> tuple[float, float, float]:
    """Sphere, cylinder and axis in minus form; a `Prescription` stays exact."""
    if isinstance(lens, Power):
        if not np.isfinite(lens.vector).all():
            raise OpticsError("The reading is no number.", "A power is in dioptres.", "Read it again.")
        sphere, cylinder, axis = lens.sphere_cylinder("minus")
        return float(sphere), float(cylinder), float(axis)
    line = lens.to_minus_cylinder()
    return line.sphere, line.cylinder, float(line.axis or 180)


def keys_of(
    sphere: ArrayLike,
    cylinder: ArrayLike = 0.0,
    axis: ArrayLike = 180.0,
    add: ArrayLike = 0.0,
    ordered_prism: ArrayLike = 0.0,
) -> dict[str, Any]:
    """The values by which tables are keyed, from an order in minus-cylinder form.

    Parameters
    ----------
    sphere, cylinder, axis : float or array_like
        The order, cylinder minus or zero; arrays broadcast.
    add, ordered_prism : float or array_like
        Addition (dioptres) and amount of ordered prism (prism dioptres).

    Returns
    -------
    dict
        Sizes without sign, dioptres or prism dioptres.
    """
    s, c, a = (np.asarray(v, dtype=float) for v in (sphere, cylinder, axis))
    # Power along a meridian m: S + C sin^2(m - A); 180 lies along the horizontal.
    sine = np.sin(np.deg2rad(a))
    return {
        **power_keys(s, c),
        "addition": add,
        "ordered prism": ordered_prism,
        "horizontal meridian": np.abs(s + c * sine**2),
        "vertical meridian": np.abs(s + c * (1.0 - sine**2)),
    }


def power_keys(s: NDArray[Any], c: NDArray[Any]) -> dict[str, Any]:
    """Those of `keys_of` that need no trigonometry; s and c in minus form."""
    return {
        "sphere meridian": np.abs(s),
        "strongest meridian": np.maximum(np.abs(s), np.abs(s + c)),
        "cylinder": np.abs(c),
    }


def power_off(quantity: str, ordered: tuple[Any, Any], found: tuple[Any, Any]) -> Any:
    """Difference in "power" as an edition judges it; (sphere, cylinder) in minus form, dioptres."""
    (s, c), (s_found, c_found) = ordered, found
    sphere_off = np.abs(s_found - s)
    if quantity == "sphere":
        return sphere_off
    across_off = np.abs((s_found + c_found) - (s + c))
    if quantity == "each meridian":
        return np.maximum(sphere_off, across_off)
    return np.where(np.abs(s) >= np.abs(s + c), sphere_off, across_off)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One thing judged against one row of a table.

    Parameters
    ----------
    quantity : str
        What was judged.
    eye : {"R", "L"}, optional
        The lens; none for a pair.
    ordered, found : str
        As written; empty for a pair's prism, of which only the difference counts.
    off : float
        The difference, without sign, in `unit`.
    unit : str
        "dioptre", "degree", "prism dioptre" or "mm".
    limit : float, optional
        The limit for this order; none where the table has no row.
    row : Row, optional
        The row that decided.
    remark : str
        What else the reader must know.
    weighs : bool
        Whether the pair cannot pass while this is not judged.
    """

    quantity: str
    eye: str | None
    ordered: str
    found: str
    off: float
    unit: str
    limit: float | None
    row: Row | None
    remark: str = ""
    weighs: bool = True

    @property
    def passed(self) -> bool | None:
        """Whether the difference stays within the limit; none where nothing was judged."""
        return None if self.limit is None else self.off <= self.limit + GUARD

    @property
    def sentence(self) -> str:
        """The verdict in plain words, with the row that decided."""
        return self.told("ordered", "found", "Passes by", "Fails by")

    def told(self, first: str, second: str, within: str, beyond: str) -> str:
        """The verdict with other words for what was held against what."""
        subject = f"{self.eye} {self.quantity}" if self.eye else self.quantity.capitalize()
        told = (
            f"{subject}: {first} {self.ordered}, {second} {self.found}, " if self.ordered else f"{subject}: "
        )
        if self.row is None or self.limit is None:
            return f"{told}not judged: {self.remark or 'the table has no row for it.'}"
        # A percentage or a prismatic effect must be worked out for the order.
        worked_out = self.row.unit == "percent" or self.row.plus_mm
        here = f", here {_amount(self.limit, self.unit)}" if worked_out else ""
        return " ".join(
            part
            for part in (
                f"{told}off by {_amount(self.off, self.unit)}.",
                f"{within if self.passed else beyond} the row {self.row}{here}.",
                self.remark,
                "" if self.row.status == "read" else f"Status of this row: {self.row.status}.",
            )
            if part
        )


def _amount(value: float, unit: str) -> str:
    if unit == "degree":
        return f"{value:.3g}°"
    # Eighths are cut as on a ticket, so that 0.125 and a limit of 0.12 read alike.
    return (
        f"{written(value, signed=False)}{UNITS[unit]}" if unit == "dioptre" else f"{value:.2f}{UNITS[unit]}"
    )


def judge(
    standard: Standard,
    quantity: str,
    off: float | None,
    keys: Mapping[str, Any],
    *,
    ordered: str = "",
    found: str = "",
    lens: str = "single vision",
    eye: str | None = None,
    remark: str = "",
    weighs: bool = True,
) -> Verdict:
    """Hold one difference against the row that decides.

    Parameters
    ----------
    standard : Standard
        The table.
    quantity : str
        As the table names it.
    off : float or None
        Difference between found and ordered, in the unit of the row; None where it
        could not be told, and `remark` says why.
    keys : mapping
        Ordered values, from `keys_of`.
    ordered, found : str
        As written, for the sentence; empty where only the difference counts.
    lens : str
        One of `optics.lens.kinds.LENS_KINDS`.
    eye : {"R", "L"}, optional
        The lens; leave out for a pair.
    remark : str
        Put behind the sentence.
    weighs : bool
        Whether the pair cannot pass while this is not judged.
    """
    row = standard.row(quantity, keys, lens)
    if row is None and off is not None:
        of = "" if lens == LENS_KINDS[0] else f" on a {lens} lens"
        remark = f"the table has no row for it{of}."
    return Verdict(
        quantity=quantity,
        eye=eye,
        ordered=ordered,
        found=found,
        off=0.0 if off is None else abs(float(off)),
        unit=row.limit_unit if row else "",
        limit=None if row is None or off is None else float(row.limit(keys)),
        row=None if off is None else row,
        remark=remark,
        weighs=weighs,
    )


def together(verdicts: Iterable[Verdict]) -> bool | None:
    """The end of several verdicts: any failure fails; what weighs and is not judged keeps it open."""
    ends = [verdict.passed for verdict in verdicts if verdict.weighs or verdict.passed is not None]
    return False if False in ends else None if None in ends or not ends else True


def judge_lens(
    standard: Standard,
    ordered: Prescription | Power,
    found: Prescription | Power,
    lens: str = "single vision",
    eye: str | None = None,
) -> tuple[Verdict, ...]:
    """Judge power, cylinder, axis and addition of one lens against its order.

    Parameters
    ----------
    standard : Standard
        The table, from `load`.
    ordered, found : Prescription or Power
        In any cylinder form; a `Power` where a reading was not yet settled.
    lens : str
        One of `optics.lens.kinds.LENS_KINDS`.
    eye : {"R", "L"}, optional
        For the sentences.

    Returns
    -------
    tuple of Verdict
        Power, cylinder, then axis where a cylinder was ordered, then addition
        where two written lines have one.

    Examples
    --------
    >>> from optics.judging.standards import load
    >>> from optics.lens.parsing import parse
    >>> order, pair = parse("-7.00 DS"), parse("-7.15 DS")
    >>> judge_lens(load("ANSI Z80.1-2015"), order, pair)[0].passed
    False
    >>> judge_lens(load("ANSI Z80.1-2015"), order, pair, lens="progressive")[0].passed
    True
    """
    s, c, a = minus_form(ordered)
    s_found, c_found, a_found = minus_form(found)
    add, add_found = (getattr(line, "add", None) or 0.0 for line in (ordered, found))
    keys = keys_of(s, c, a, add)

    def held(
        quantity: str, off: float | None, wanted: str, got: str, remark: str = "", weighs: bool = True
    ) -> Verdict:
        words = {"ordered": wanted, "found": got, "remark": remark}
        return judge(standard, quantity, off, keys, lens=lens, eye=eye, weighs=weighs, **words)

    quantity = standard.power_quantity(lens)
    off = power_off(quantity, (s, c), (s_found, c_found))
    verdicts = [
        held(quantity, off, _told(quantity, s, c, s, c), _told(quantity, s_found, c_found, s, c)),
        held("cylinder", c_found - c, written(c), written(c_found)),
    ]
    if c and abs(c_found) > GUARD:
        wanted, got = f"{whole_axis(a):03d}", f"{whole_axis(a_found):03d}"
        # However it lies, a weaker cylinder moves no meridian by more than its own size.
        weighs = abs(c) > WEAK_CYLINDER + GUARD
        verdicts.append(held("axis", axis_difference(a_found, a), wanted, got, weighs=weighs))
    elif c:
        remark = "without a cylinder there is no axis, and the cylinder decides."
        verdicts.append(held("axis", None, f"{whole_axis(a):03d}", "none", remark, weighs=False))
    if add and not add_found and not isinstance(found, Power):
        verdicts.append(
            held("addition", None, written(add), "none", "an addition was ordered and none read.")
        )
    elif add_found:
        verdicts.append(held("addition", add_found - add, written(add), written(add_found)))
    return tuple(verdicts)


def _told(quantity: str, sphere: float, cylinder: float, s: float, c: float) -> str:
    """The powers that were compared, as written; s and c are the order's."""
    along, across = written(sphere), written(sphere + cylinder)
    if quantity == "each meridian":
        return f"{along} and {across}"
    return along if quantity == "sphere" or abs(s) >= abs(s + c) else across
