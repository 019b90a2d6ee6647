"""The right ticket for a whole pair, each thing on its step."""

from __future__ import annotations

from optics.judging.settling import settle
from optics.lens.prescription import written
from optics.specimens.specimen import Specimen
from optics.specimens.steps import by_rule, prism_read, settled_add

__all__ = ["EYES", "right_ticket"]

EYES = {"R": "right", "L": "left"}


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
        ticket[f"prism_{side}"] = prism or "no prism"
    return ticket
