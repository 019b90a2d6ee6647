"""A right ticket for a whole pair, and how each thing on it is settled.

Powers and additions go to quarter steps, prism to quarters of a prism dioptre,
distances and heights to half a millimetre (common practice).
"""

from __future__ import annotations

from math import floor

from optics.judging.settling import settle
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import Prism
from optics.marking.read import EYES
from optics.specimens.specimen import Specimen

__all__ = [
    "RULE_STEP_MM",
    "by_rule",
    "prism_read",
    "right_ticket",
    "settled_add",
]

RULE_STEP_MM = 0.5
RING_STEP = 0.25


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
    parts = [(floor(amount / RING_STEP + 0.5) * RING_STEP, base) for amount, base in prism.bases(eye)]
    return " and ".join(f"{written(amount, signed=False)} base {base}" for amount, base in parts if amount)


def right_ticket(pair: Specimen, form: str = "minus") -> dict[str, str]:
    """A right answer for a whole pair, field by field as it would be typed.

    Parameters
    ----------
    pair : Specimen
        The pair.
    form : {"minus", "plus"}
        The cylinder form asked for.

    Returns
    -------
    dict of str to str
        As `optics.marking.read.read_answer` takes it.

    Examples
    --------
    >>> from optics.specimens.specimen import brief_for, make
    >>> sorted(right_ticket(make(brief_for("bifocal", 1), seed=3)))[:4]
    ['add_left', 'add_right', 'height_left', 'height_right']
    """
    ticket = {"style": pair.style}
    for eye, side in EYES.items():
        ticket[side] = settle(pair.power(eye), form=form).choice.distance
        ticket[f"pd_{side}"] = f"{by_rule(pair.pd_mm(eye)):g}"
        addition, height, prism = (
            pair.addition(eye),
            pair.height_mm(eye),
            prism_read(pair.prism(eye), eye),
        )
        if addition is not None:
            ticket[f"add_{side}"] = written(settled_add(addition))
        if height is not None:
            ticket[f"height_{side}"] = f"{by_rule(height):g}"
        if prism:
            ticket[f"prism_{side}"] = prism
    return ticket
