"""The steps on which each thing on a ticket is written.

Powers and additions go to quarter steps, prism to quarters of a prism dioptre,
distances and heights to half a millimetre (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from math import floor

from optics.judging.settling import settle
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import Prism

RULE_STEP_MM = 0.5
RING_STEP = 0.25
READ_PRISM = RING_STEP / 2.0
"""From here a prism is seen on the rings."""


def by_rule(length_mm: float) -> float:
    """A length as a rule gives it, millimetres.

    Examples
    --------
    >>> by_rule(31.62)
    31.5
    """
    return floor(length_mm / RULE_STEP_MM + 0.5) * RULE_STEP_MM


def settled_add(addition: float) -> float:
    """An addition on its nearest quarter step, dioptres.

    Examples
    --------
    >>> settled_add(2.07)
    2.0
    """
    return settle(Power.from_sphere_cylinder(addition)).choice.sphere


def prism_read(prism: Prism, eye: str) -> str:
    """A prism as it is read from the rings and written; empty for none.

    Examples
    --------
    >>> prism_read(Prism.from_base(1.93, "up", "R"), "R")
    '2.00 base up'
    """
    return prism_words(on_the_rings(prism, eye))


def prism_words(parts: Iterable[tuple[float, str | float]]) -> str:
    """Parts of a prism, amount and base, as they are written on a ticket; empty for none."""
    return " and ".join(f"{written(amount, signed=False)} base {base}" for amount, base in parts)


def on_the_rings(prism: Prism, eye: str) -> tuple[tuple[float, str], ...]:
    """The parts of a prism as they are read from the rings, amount and base; empty for none."""
    parts = [(floor(amount / RING_STEP + 0.5) * RING_STEP, base) for amount, base in prism.bases(eye)]
    return tuple(part for part in parts if part[0])
