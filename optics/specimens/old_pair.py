"""The pair that a wearer had before: the same job with one thing changed."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from optics.judging.compare import compare
from optics.judging.standards import load
from optics.pair.records import PairRecord
from optics.specimens.making import WEARERS, made_as_ordered
from optics.specimens.orders import job_for
from optics.specimens.random import stream
from optics.specimens.specimen import Specimen

LESS_ADD, SHIFT_D, TURN_DEGREES, APART_MM, LOWER_MM = 0.5, 0.5, 15, 2.0, 3.0
PRISM_IN = 1.5
"""Base in before each eye of an old pair, where the new one is ordered without prism."""
STRONG_ENOUGH = 0.75


def old_pair(pair: Specimen, seed: int) -> Specimen:
    """The pair worn before this one, well made, with one thing another than in the new order.

    Parameters
    ----------
    pair : Specimen
        The new pair, made from a seed.
    seed : int
        The seed that it was made from; it also decides what is changed.

    Returns
    -------
    Specimen
        In the same frame; it comes in true and clean.

    Examples
    --------
    >>> from optics.specimens.briefs import brief_for
    >>> from optics.specimens.specimen import make
    >>> new = make(brief_for("bifocal", 2), seed=4)
    >>> old_pair(new, seed=4).ordered == new.ordered
    False
    """
    job = next(
        job
        for job in (job_for(pair.brief, partial(stream, seed, wearer)) for wearer in range(WEARERS))
        if job.order == pair.order
    )
    rng = stream(seed, "old pair")
    standard = load(pair.brief.table)
    for what in rng.permutation(_possible(pair.order)):
        order = _before(pair.order, str(what))
        spectacles = made_as_ordered(replace(job, order=order), pair.brief, rng)
        old = replace(pair, order=order, spectacles=spectacles, conditions=(), fault=None)
        if compare(standard, old.record(), pair.record()).deciding:
            return old
    return old


def _possible(order: PairRecord) -> list[str]:
    lines = [order.of(eye).line for eye in "RL"]
    changes = ["power"]
    if all(line.cylinder and abs(line.cylinder) >= STRONG_ENOUGH for line in lines):
        changes.append("axis")
    if all(line.add and line.add > 1.0 for line in lines):
        changes += ["addition"]
    if order.lens == "progressive":
        changes.append("distances")
    if order.right.height_mm is not None and order.lens != "progressive":
        changes.append("height")
    # A progressive's prism is read together with its thinning prism: hard to tell from a change.
    if order.lens != "progressive" and not any(line.prism for line in lines):
        changes.append("prism")
    return changes


def _before(order: PairRecord, what: str) -> PairRecord:
    """The order as it stood before one thing was changed."""
    lenses = []
    for each in (order.right, order.left):
        line = each.line
        if what == "power":
            each = replace(each, line=replace(line, sphere=line.sphere + SHIFT_D))
        elif what == "axis" and line.axis is not None:
            each = replace(each, line=replace(line, axis=(line.axis + TURN_DEGREES - 1) % 180 + 1))
        elif what == "prism":
            each = replace(each, line=replace(line, prism=((PRISM_IN, "in"),)))
        elif what == "addition" and line.add is not None:
            each = replace(each, line=replace(line, add=line.add - LESS_ADD))
        elif what == "distances" and each.pd_mm is not None:
            each = replace(each, pd_mm=each.pd_mm + APART_MM)
        elif what == "height" and each.height_mm is not None:
            each = replace(each, height_mm=each.height_mm - LOWER_MM)
        lenses.append(each)
    return replace(order, right=lenses[0], left=lenses[1])
