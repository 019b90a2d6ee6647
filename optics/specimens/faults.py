"""What a faulty pair has wrong with it: one quantity, clearly beyond its limit.

A fault is meant to show in one row of the table and in no other, so that the learner
can say what it is: both segments too low is a height, one up and one down within the
limit is a difference. Whether it does is asked of the judge, by `optics.specimens.making`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from optics.errors import OpticsError
from optics.judging.standards import Standard, load
from optics.judging.verdicts import keys_of
from optics.judging.verify import pair_keys
from optics.lens.prism import Prism
from optics.pair.records import ordered_parts
from optics.specimens.briefs import FAULTS, PROGRESSIVE, SINGLE_VISION, ZERO_ERROR, Brief
from optics.specimens.orders import Job, kind_of

CLEARLY = (1.7, 2.4)
"""How many times its limit a fault is."""
EACH_OF_TWO = (0.76, 0.95)
"""How far each of two lenses is off, in limits, where only their difference is out."""
STRONG = 1.5
"""Power from which a moved centre shows as prism, dioptres."""
FARTHEST_MM = 6.0
"""Nobody sets a centre further off than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault.

    Parameters
    ----------
    name : str
        One of `optics.specimens.briefs.FAULTS`.
    shows : tuple of str
        The quantities that fail by it, as the table names them: one, or two where a
        table judges the same thing twice.
    off : dict of str to dict
        For each lens that has it what comes out how far from the order, in place of the
        usual small error.
    """

    name: str
    shows: tuple[str, ...]
    off: dict[str, dict[str, Any]]


def faults_for(brief: Brief) -> tuple[str, ...]:
    """The faults that a pair of this brief may have: those its table has a row for.

    Raises
    ------
    OpticsError
        Where a fault was asked for that no pair of this brief can have.
    """
    standard, kind = load(brief.table), kind_of(brief.style)
    quantities = {name: standard.power_quantity(kind) if name == "sphere" else name for name in FAULTS}
    possible = tuple(
        name
        for name, quantity in quantities.items()
        if standard.rows_for(quantity, kind)
        and not (name in ("cylinder", "axis") and brief.cylinder == "none")
        and not (name == "base curve" and not brief.base_curve)
        and not (name == "addition" and brief.style == SINGLE_VISION)
    )
    if brief.fault and brief.fault not in (*possible, ZERO_ERROR):
        raise OpticsError(
            f'The brief asks for the fault "{brief.fault}".',
            f"By {brief.table} a {brief.style} pair of this brief may have: {', '.join(possible) or 'none'}.",
            "Ask for one of these, or for another table.",
        )
    return possible


def made_faulty(name: str, job: Job, brief: Brief, rng: np.random.RandomState) -> Fault | None:
    """A fault of this name for this order; none where the order does not lend itself to it."""
    standard = load(brief.table)
    eye = "R" if rng.random_sample() < 0.5 else "L"
    way, times = float(rng.choice([-1.0, 1.0])), float(rng.uniform(*CLEARLY))
    line = job.order.of(eye).line
    shows = standard.power_quantity(job.order.lens) if name == "sphere" else name
    limit = _limit(standard, job, shows, eye)
    if limit is None:
        return None
    off: dict[str, dict[str, Any]] = {}
    also: tuple[str, ...] = ()
    if name == "sphere":
        off[eye] = {"sphere": way * times * limit, "cylinder": 0.0}
    elif name == "cylinder" and line.cylinder:
        # Made stronger, so that it cannot turn into a cylinder of the other sign; the
        # meridian that the table judges as power stays as ordered.
        more, power = times * limit, standard.power_quantity(job.order.lens)
        is_across = power == "strongest meridian" and abs(line.sphere + line.cylinder) > abs(line.sphere)
        off[eye] = {"sphere": more if is_across else 0.0, "cylinder": -more}
        also = (power,) if power == "each meridian" else ()
    elif name == "axis" and line.cylinder <= -0.5:
        off[eye] = {"axis": way * times * limit}
    elif name == "addition":
        off[eye] = {"addition": way * times * limit}
    elif name == "base curve":
        off[eye] = {"base": way * times * limit}
    elif name == "centre distance one eye":
        off[eye] = {"out": way * times * limit}
    elif name == "height":
        # Downwards, so that the stop still finds room above a segment; both, for they are set alike.
        down = -times * limit
        off = {each: {"up": down} if brief.style == PROGRESSIVE else {"segment": down} for each in "RL"}
    elif name == "height difference":
        part = "up" if brief.style == PROGRESSIVE else "segment"
        off = {
            each: {part: way * sign * rng.uniform(*EACH_OF_TWO) * limit}
            for each, sign in (("R", 1), ("L", -1))
        }
    elif name == "vertical imbalance":
        off[eye] = {"prism": Prism(np.array([0.0, way * times * limit]))}
    elif name == "horizontal imbalance":
        off = _across(job, brief, eye, way * times * limit)
    return Fault(name=name, shows=(shows, *also), off=off) if off else None


def _limit(standard: Standard, job: Job, quantity: str, eye: str) -> float | None:
    """The limit of the row that decides, of prism always in prism dioptres."""
    line = job.order.of(eye).line
    keys = keys_of(line.sphere, line.cylinder, float(line.axis or 180), line.add or 0.0)
    direction, _, rest = quantity.partition(" ")
    is_pair = rest == "imbalance"
    if is_pair:
        keys = {**pair_keys(job.order), "ordered prism": ordered_parts(job.order)[direction]}
    row = standard.row(quantity, keys, job.order.lens)
    if row is None:
        return None
    limit = float(row.limit(keys))
    return limit * float(keys[f"{direction} meridian"]) / 10.0 if is_pair and row.unit == "mm" else limit


def _across(job: Job, brief: Brief, eye: str, prism: float) -> dict[str, dict[str, Any]]:
    """Horizontal prism: ground in where it is read at a place of its own, else centres too far out or in."""
    # The record of a marked pair says where its centres lie, so one that was moved would not be found.
    if brief.style == PROGRESSIVE or brief.even or job.order.of(eye).line.prism:
        return {eye: {"prism": Prism(np.array([prism, 0.0]))}}
    powers = [float(job.order.of(each).line.power.along(180)) for each in "RL"]
    if np.prod(powers) <= 0 or min(map(abs, powers)) < STRONG:
        return {}
    each_mm = 10.0 * prism / sum(map(abs, powers))
    return {each: {"out": each_mm} for each in "RL"} if abs(each_mm) <= FARTHEST_MM else {}
