"""What a faulty pair has wrong with it: one quantity, clearly beyond its limit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from optics.judging.standards import load
from optics.judging.verdicts import keys_of
from optics.lens.prescription import Prescription
from optics.specimens.briefs import BIFOCAL, PROGRESSIVE, SINGLE_VISION, TRIFOCAL, Brief
from optics.specimens.orders import Job
from optics.specimens.random import stream

__all__ = ["Fault", "fault_of"]

STANDARD = "ANSI Z80.1-2015"
CLEARLY = (1.7, 2.4)
"""How many times its limit a fault is."""
STRONG = 1.5
"""Power from which a moved centre shows as prism, dioptres."""
BY_PRISM_UP_TO = 2.75
"""Power up to which ANSI Z80.1-2015 judges a pair's prism in prism dioptres both ways."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault.

    Parameters
    ----------
    quantity : str
        As the tables of tolerances name it.
    eyes : str
        The lens that has it, or both: "R", "L" or "RL".
    off : dict of str to float
        What comes out how far from the order, in place of the usual small error.
    """

    quantity: str
    eyes: str
    off: dict[str, float]


def fault_of(job: Job, brief: Brief, seed: int) -> Fault | None:
    """The fault of a pair; none for most pairs."""
    rng = stream(seed, "fault")
    if rng.random_sample() >= brief.faulty:
        return None
    eye = "R" if rng.random_sample() < 0.5 else "L"
    way, times = float(rng.choice([-1.0, 1.0])), float(rng.uniform(*CLEARLY))
    possible = list(_possible(job, brief, eye, way, times))
    return possible[rng.randint(len(possible))]


def _limit(job: Job, quantity: str, line: Prescription) -> float:
    keys = keys_of(line.sphere, line.cylinder, float(line.axis or 180), line.add or 0.0)
    row = load(STANDARD).row(quantity, keys, job.order.lens)
    assert row is not None, f"the table has a row for {quantity}"
    return float(row.limit(keys))


def _possible(job: Job, brief: Brief, eye: str, way: float, times: float) -> Iterator[Fault]:
    line = job.order.of(eye).line
    yield Fault(
        quantity="sphere",
        eyes=eye,
        off={"sphere": way * times * _limit(job, "sphere", line), "cylinder": 0.0},
    )
    if line.cylinder:
        # Made stronger, so that it cannot turn into a cylinder of the other sign.
        off = {"sphere": 0.0, "cylinder": -times * _limit(job, "cylinder", line)}
        yield Fault(quantity="cylinder", eyes=eye, off=off)
    if line.cylinder <= -0.5:
        yield Fault(quantity="axis", eyes=eye, off={"axis": way * times * _limit(job, "axis", line)})
    if line.add:
        off = {"addition": way * times * _limit(job, "addition", line)}
        yield Fault(quantity="addition", eyes=eye, off=off)
    yield from _prism_and_places(job, brief, eye, way, times)


def _prism_and_places(job: Job, brief: Brief, eye: str, way: float, times: float) -> Iterator[Fault]:
    across, upright = (
        [float(job.order.of(each).line.power.along(meridian)) for each in "RL"] for meridian in (180, 90)
    )
    line = job.order.of(eye).line
    if line.prism and max(map(abs, (*across, *upright))) <= BY_PRISM_UP_TO:
        ((_, base),) = line.prism
        which, limit = ("horizontal", 0.67) if base in ("in", "out") else ("vertical", 0.33)
        yield Fault(quantity=f"{which} imbalance", eyes=eye, off={"prism": times * limit})
    if not line.prism and np.prod(across) > 0 and min(map(abs, across)) >= STRONG:
        # Both centres too far out, or too far in: as prism, or in millimetres where the lenses are strong.
        each = max(times * 6.7 / sum(map(abs, across)), times * 1.25)
        yield Fault(quantity="horizontal imbalance", eyes="RL", off={"out": way * each})
    if brief.style == SINGLE_VISION and not line.prism:
        power = abs(upright[0 if eye == "R" else 1])
        if power >= STRONG:
            off = {"up": way * times * max(3.3 / power, 1.0)}
            yield Fault(quantity="vertical imbalance", eyes=eye, off=off)
    if brief.style in (BIFOCAL, TRIFOCAL):
        # Downwards, so that the stop still finds room above the segment.
        yield Fault(quantity="height", eyes=eye, off={"segment": -times})
    if brief.style == PROGRESSIVE:
        yield Fault(quantity="height", eyes=eye, off={"up": way * times})
