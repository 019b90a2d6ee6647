"""The right ticket for a whole pair, each thing on its step."""

from __future__ import annotations

from dataclasses import replace

from optics.judging.standards import load
from optics.judging.verify import verify
from optics.lens.prescription import written
from optics.lens.prism import EYES
from optics.specimens.specimen import Specimen
from optics.specimens.steps import prism_words


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
    >>> from optics.specimens.briefs import brief_for
    >>> from optics.specimens.specimen import make
    >>> sorted(right_ticket(make(brief_for("bifocal", 1), seed=3)))[:4]
    ['add_left', 'add_right', 'height_left', 'height_right']
    """
    ticket, record = {"style": pair.style}, pair.written(form)
    for eye, side in EYES.items():
        lens = record.of(eye)
        ticket[side] = replace(lens.line, eye=None).distance
        ticket[f"pd_{side}"] = f"{lens.pd_mm:g}"
        ticket[f"prism_{side}"] = prism_words(lens.line.prism) or "no prism"
        if lens.line.add is not None:
            ticket[f"add_{side}"] = written(lens.line.add)
        if lens.height_mm is not None:
            ticket[f"height_{side}"] = f"{lens.height_mm:g}"
    return ticket


def right_end(pair: Specimen) -> dict[str, str]:
    """How a pair ends against its order by the table it was made for, and the first row that fails."""
    held = verify(load(pair.brief.table), pair.order, pair.record())
    first = next(iter(held.failures), None)
    lens = f"{EYES[first.eye]} " if first and first.eye else ""
    return {"end": held.end, "row": f"{lens}{first.quantity}" if first else ""}
