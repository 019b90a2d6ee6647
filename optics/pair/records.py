"""A pair on paper: what an order asks for, or what was found when a pair was read.

Order and finding are described alike, in plain values, so that either can be
held against the other. What was not ordered or not read is left out; nothing is
guessed for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from optics.errors import OpticsError, shown
from optics.lens.kinds import LENS_KINDS, checked_kind
from optics.lens.numbers import finite
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism, imbalance, nasal, prism_at


@dataclass(frozen=True, slots=True, kw_only=True)
class LensRecord:
    """One lens on paper.

    Parameters
    ----------
    line : Prescription
        Power, addition and prism. In an order, the prism ordered, and silence means
        none; in a finding, the prism read at the place where the order wants its prism,
        and silence means that it was not read.
    prism : Prism, optional
        The same prism as a vector, where it was read finer than it is written, or to
        say that no prism was found. It stands before the prism of the line.
    pd_mm : float, optional
        Distance from the middle of the bridge to where the ordered prism is met (the
        optical centre, if none was ordered), millimetres.
    centre_height_mm : float, optional
        Height of that place above the datum line, millimetres.
    height_mm : float, optional
        Height of the segment top or the fitting cross, measured the same way in both
        records, millimetres.
    base_curve : float, optional
        Dioptres, as the same lens measure shows it.

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> LensRecord(line=parse("-2.25 -0.75 x 015"), pd_mm=31.5).line.sphere
    -2.25
    """

    line: Prescription
    prism: Prism | None = None
    pd_mm: float | None = None
    centre_height_mm: float | None = None
    height_mm: float | None = None
    base_curve: float | None = None

    def __post_init__(self) -> None:
        for name in ("pd_mm", "centre_height_mm", "height_mm", "base_curve"):
            value = getattr(self, name)
            if value is not None and finite(value) is None:
                raise OpticsError(
                    f"The {name} is {shown(value)}.", "It is a number.", "Leave out what was not read."
                )

        if self.prism is not None and not np.isfinite(self.prism.vector).all():
            raise OpticsError("The prism is no number.", "It is in prism dioptres.", "Read it again.")

    def written_prism(self, eye: str) -> Prism | None:
        """The prism as given here, or none where nothing was written of it."""
        if self.prism is not None:
            return self.prism
        if not self.line.prism and not self.line.no_prism:
            return None
        return Prism.of_parts(self.line.prism, eye)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRecord:
    """A pair on paper: right, then left.

    Parameters
    ----------
    right, left : LensRecord
        The two lenses.
    lens : str
        "single vision", "multifocal" or "progressive".
    is_kind_read : bool
        False in a finding where nobody wrote what kind of lens it is; `lens` then says nothing.
    """

    right: LensRecord
    left: LensRecord
    lens: str = LENS_KINDS[0]
    is_kind_read: bool = True

    def __post_init__(self) -> None:
        checked_kind(self.lens)

    def of(self, eye: str) -> LensRecord:
        """The lens of that eye, "R" or "L"."""
        return self.right if nasal(eye) > 0 else self.left

    @property
    def pd_mm(self) -> float | None:
        """Distance between the two centres, millimetres, where both are known."""
        if self.right.pd_mm is None or self.left.pd_mm is None:
            return None
        return self.right.pd_mm + self.left.pd_mm

    @property
    def centre_step_mm(self) -> float | None:
        """Height of the right centre above the left, millimetres, where both are known."""
        if self.right.centre_height_mm is None or self.left.centre_height_mm is None:
            return None
        return self.right.centre_height_mm - self.left.centre_height_mm

    @property
    def height_step_mm(self) -> float | None:
        """The right segment or fitting cross above the left, millimetres, where both are known."""
        if self.right.height_mm is None or self.left.height_mm is None:
            return None
        return self.right.height_mm - self.left.height_mm


def moved_mm(order: LensRecord, found: LensRecord, eye: str) -> tuple[float | None, float | None]:
    """How far the centre found lies from the centre ordered: x to the viewer's right, y up."""
    x = y = None
    if order.pd_mm is not None and found.pd_mm is not None:
        x = -nasal(eye) * (found.pd_mm - order.pd_mm)
    if order.centre_height_mm is not None and found.centre_height_mm is not None:
        y = found.centre_height_mm - order.centre_height_mm
    return x, y


class PrismError(NamedTuple):
    """Prism of one lens beyond the ordered one: to the viewer's right or up, prism dioptres.

    `was_read` is False where it was worked out from the place of the centre; `contradicts`
    is True where both were read and cannot both be right.
    """

    amount: float
    was_read: bool
    contradicts: bool


SCATTER = (0.33, 1.0)
"""Prism and place agree within this, prism dioptres and mm: what an uncut lens is allowed
of either (ANSI Z80.1-2015 in its quick reference guide, item 5)."""


def prism_error(order: PairRecord, found: PairRecord, eye: str, direction: str) -> PrismError | None:
    """Prism found less prism ordered on one lens, "vertical" or "horizontal".

    Silence is no prism on an order, and not read in a finding. Where none was ordered, a
    centre that was found tells it by Prentice's rule, also beside a written "no prism":
    that says there is a centre. Where prism was ordered and none found, the place found is
    such a centre too. A progressive is read at its engraved point, never so.
    """
    ordered, read = order.of(eye), found.of(eye)
    wanted, prism = ordered.written_prism(eye) or Prism.none(), read.written_prism(eye)
    across, up = moved_mm(ordered, read, eye)
    part = int(direction == "vertical")
    by_place = None
    if order.lens != "progressive" and (across, up)[part] is not None:
        # From the centre found, the ordered place lies the other way.
        by_place = float(prism_at(read.line.power, -(across or 0.0), -(up or 0.0)).vector[part])
    if by_place is not None and not wanted.amount and (prism is None or not prism.amount):
        return PrismError(by_place, was_read=False, contradicts=False)
    if prism is None:
        return None
    if by_place is not None and wanted.amount and prism.amount <= SCATTER[0]:
        # A lens without prism has a centre there; what it has at the ordered place goes with that.
        return PrismError(by_place - float(wanted.vector[part]), was_read=True, contradicts=False)
    error = float((prism - wanted).vector[part])
    room = SCATTER[0] + SCATTER[1] / 10.0 * read.line.power.strength
    contradicts = by_place is not None and abs(error - by_place) > room
    return PrismError(error, was_read=True, contradicts=contradicts)


def imbalance_error(order: PairRecord, found: PairRecord, direction: str) -> PrismError | None:
    """Prism difference of the pair beyond the ordered one; None where a lens's prism is not known."""
    right, left = (prism_error(order, found, eye, direction) for eye in "RL")
    if right is None or left is None:
        return None
    both = imbalance(*(Prism(np.full(2, each.amount)) for each in (right, left)))
    return PrismError(
        getattr(both, direction), right.was_read and left.was_read, right.contradicts or left.contradicts
    )


def ordered_parts(pair: PairRecord) -> dict[str, float]:
    """Largest horizontal and vertical part of the ordered prisms, prism dioptres."""
    vectors = np.abs([(pair.of(eye).written_prism(eye) or Prism.none()).vector for eye in "RL"])
    return {"horizontal": float(vectors[:, 0].max()), "vertical": float(vectors[:, 1].max())}
