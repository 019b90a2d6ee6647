"""Judging lenses by the million: the verdicts of `optics.judging.verdicts` on whole columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.judging.standards import GUARD, Standard
from optics.judging.verdicts import WEAK_CYLINDER, power_keys, power_off
from optics.lens.angles import axis_difference
from optics.lens.power import rewritten

_BLOCK = 16_384
"""Lenses judged at a time: what is worked out in between then stays in the processor's cache."""


class Passed(NamedTuple):
    """Verdicts on arrays of lenses: power, cylinder and axis, each True where it passes.

    `judged` is True where the end is known: something fails, or all that weighs has a row.
    """

    power: NDArray[np.bool_]
    cylinder: NDArray[np.bool_]
    axis: NDArray[np.bool_]
    judged: NDArray[np.bool_]

    @property
    def all(self) -> NDArray[np.bool_]:
        """True where all three pass."""
        return self.power & self.cylinder & self.axis


def passed(
    standard: Standard,
    ordered: tuple[ArrayLike, ArrayLike, ArrayLike],
    found: tuple[ArrayLike, ArrayLike, ArrayLike],
    lens: str = "single vision",
) -> Passed:
    """Judge arrays of lenses against their orders, a million at a time.

    Parameters
    ----------
    standard : Standard
        The table.
    ordered, found : tuple of three array_like
        Sphere, cylinder (dioptres, either form) and axis (degrees); the axis of a
        lens without cylinder is ignored.
    lens : str
        One of `optics.lens.kinds.LENS_KINDS`.

    Returns
    -------
    Passed
        Where the table has no row, nothing passes. Only the axis of a cylinder up to
        0.125 D does without one, and so does a lens found without cylinder: there the
        cylinder decides.

    Raises
    ------
    OpticsError
        Where a value is no number.

    Examples
    --------
    >>> from optics.judging.standards import load
    >>> order = (-1.50, -1.25, 170)
    >>> passed(load("ANSI Z80.1-2015"), order, (-1.62, -1.25, [173, 174])).axis.tolist()
    [True, False]
    """
    columns = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (*ordered, *found)))
    if not all(np.isfinite(column).all() for column in columns):
        raise OpticsError(
            "There is a value that is no number.", "Powers and axes are numbers.", "Leave that lens out."
        )
    if columns[0].size <= _BLOCK:
        return _passed(standard, columns, lens)
    verdicts = np.empty((len(Passed._fields), columns[0].size), dtype=bool)
    flat = [column.reshape(-1) for column in columns]
    for start in range(0, columns[0].size, _BLOCK):
        block = slice(start, start + _BLOCK)
        verdicts[:, block] = _passed(standard, [column[block] for column in flat], lens)
    return Passed(*verdicts.reshape(-1, *columns[0].shape))


def _passed(standard: Standard, columns: Sequence[NDArray[Any]], lens: str) -> Passed:
    s, c, a, s_found, c_found, a_found = columns
    s, c, a = rewritten(s, c, a)
    s_found, c_found, a_found = rewritten(s_found, c_found, a_found)
    keys = power_keys(s, c)

    power_quantity = standard.power_quantity(lens)
    power, cylinder, axis = (
        limits(standard, quantity, keys, lens) for quantity in (power_quantity, "cylinder", "axis")
    )
    axis_off = axis_difference(a_found, a)
    # A sphere has no axis, and the axis of a weak cylinder no weight where the table is silent.
    weak = (np.abs(c) <= WEAK_CYLINDER + GUARD) & np.isnan(axis)
    axis_off = np.where(weak | (c == 0.0) | (np.abs(c_found) <= GUARD), -np.inf, axis_off)
    offs = power_off(power_quantity, (s, c), (s_found, c_found)), np.abs(c_found - c), axis_off
    # Against the NaN of a missing row nothing passes and nothing fails.
    axis = np.where(np.isneginf(axis_off), 0.0, axis)
    rows = tuple(limit + GUARD for limit in (power, cylinder, axis))
    within = [off <= row for off, row in zip(offs, rows, strict=True)]
    beyond = [off > row for off, row in zip(offs, rows, strict=True)]
    return Passed(
        within[0], within[1], within[2], np.logical_and.reduce(within) | np.logical_or.reduce(beyond)
    )


def limits(standard: Standard, quantity: str, keys: dict[str, Any], lens: str) -> NDArray[np.float64]:
    """The limit for each of many orders; NaN where the table has no row.

    Parameters
    ----------
    standard : Standard
        The table.
    quantity : str
        As the table names it.
    keys : dict of str to array_like
        Ordered values, from `optics.judging.verdicts.power_keys`.
    lens : str
        One of `optics.lens.kinds.LENS_KINDS`.
    """
    found = np.full(np.shape(keys["cylinder"]), np.nan)
    # The first row that holds decides, as in `Standard.row`.
    for row in reversed(standard.rows_for(quantity, lens)):
        holds = row.holds(keys)
        if holds.any():
            found = np.where(holds, row.limit(keys), found)
    return found
