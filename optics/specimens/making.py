"""Making a pair to its order: never quite, and now and then clearly wrong.

The surfacing error of a good pair stays inside the limits of ANSI Z80.1-2015. A
faulty pair has one quantity beyond its limit by enough that nobody reads it as
good: of delivered spectacles 8 to 29 in 100 failed at least one optical tolerance
(Citek et al., Optometry 2011;82:549-555; PubMed 34905522).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optics.lens.laid_flat import usual_front_curve, usual_thickness_mm
from optics.lens.lens import Lens, SingleVision
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism, nasal
from optics.lens.progressive import Progressive
from optics.lens.thick import ThickLens
from optics.pair.records import LensRecord
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.briefs import PROGRESSIVE, SINGLE_VISION, Brief
from optics.specimens.faults import Fault, fault_of
from optics.specimens.orders import CROSS_MM, Job
from optics.specimens.random import stream

__all__ = ["LARGEST_ERROR", "made_exactly_centred", "made_to"]

LARGEST_ERROR = 0.11
"""Surfacing error of a good pair stays inside the usual 0.12 D limit."""
INDEX = 1.5


def _clipped(rng: np.random.RandomState, spread: float, most: float) -> float:
    return float(np.clip(rng.normal(0.0, spread), -most, most))


# --- thin single vision lenses, centred as ordered ---------------------------------------


def _surfacing_error(brief: Brief, rng: np.random.RandomState) -> float:
    if brief.between_steps:
        return float(rng.choice([-1.0, 1.0]) * rng.uniform(0.07, LARGEST_ERROR))
    return _clipped(rng, 0.025, 0.05)


def made_exactly_centred(ordered: Prescription, brief: Brief, rng: np.random.RandomState) -> Mounted:
    """A thin single vision lens made to an order, its reference point where it was ordered."""
    first, second = (_surfacing_error(brief, rng) for _ in range(2))
    sphere, cylinder, axis = ordered.sphere, ordered.cylinder, ordered.axis
    if axis is None:
        # A sphere comes out round: no more cylinder than polishing leaves.
        second = first - abs(rng.normal(0.0, 0.01))
        axis = float(rng.uniform(1, 180))
    else:
        axis = axis + float(np.clip(rng.normal(0.0, 0.4), -0.9, 0.9))
    prism = Prism.none()
    for amount, base in ordered.prism:
        prism = prism + Prism.from_base(amount + rng.normal(0.0, 0.05), base, ordered.eye or "R")
    return Mounted(
        lens=SingleVision(
            power=Power.from_sphere_cylinder(sphere + first, cylinder + second - first, axis), prism=prism
        ),
        pd_mm=round(float(np.clip(rng.normal(31.5, 1.4), 27, 36)) * 2) / 2,
        height_mm=round(float(np.clip(rng.normal(1.5, 1.0), -2, 4)) * 2) / 2,
    )


# --- whole pairs ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Off:
    """How far one lens comes out from its order: dioptres, degrees, prism dioptres, millimetres.

    `out` is away from the nose, `up` moves the whole lens, `segment` its segment alone.
    """

    sphere: float
    cylinder: float
    axis: float
    addition: float
    prism: Prism
    out: float
    up: float
    segment: float


def made_to(job: Job, brief: Brief, seed: int) -> Spectacles:
    """Make a whole pair to its order.

    Parameters
    ----------
    job : Job
        What was ordered.
    brief : Brief
        Whether it falls between steps, and how often it is faulty.
    seed : int
        Decides the errors.
    """
    fault = fault_of(job, brief, seed)
    right, left = (_made(job, brief, eye, _off(job, brief, eye, seed, fault)) for eye in "RL")
    return Spectacles(right=right, left=left)


def _off(job: Job, brief: Brief, eye: str, seed: int, fault: Fault | None) -> _Off:
    rng = stream(seed, "made", eye)
    line = job.order.of(eye).line
    if brief.between_steps:
        # Both meridians together, so that the cylinder stays inside its limit.
        sphere = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.07, LARGEST_ERROR))
        add = float(rng.choice([-1.0, 1.0]) * rng.uniform(0.05, 0.1))
    else:
        sphere, add = _clipped(rng, 0.025, 0.05), _clipped(rng, 0.025, 0.05)
    # A sphere comes out round: no more cylinder than polishing leaves.
    cylinder = _clipped(rng, 0.02, 0.04) if line.cylinder else -abs(_clipped(rng, 0.01, 0.03))
    axis = _clipped(rng, 0.4, 0.9)
    progressive = brief.style == PROGRESSIVE
    ground = Prism(np.array([_clipped(rng, 0.05, 0.1), _clipped(rng, 0.05, 0.1)]))
    out, up, segment = _clipped(rng, 0.25, 0.5), _clipped(rng, 0.2, 0.4), _clipped(rng, 0.2, 0.4)
    if progressive:
        # Its reference point is engraved, so prism and place come out apart.
        ground, up = Prism(ground.vector / 2), up / 2
    elif line.prism:
        out = up = 0.0
    else:
        # Prism that was not ordered is nothing but an optical centre in another place.
        ground = Prism.none()
    add_to = {} if fault is None or eye not in fault.eyes else fault.off
    return _Off(
        sphere=add_to.get("sphere", sphere),
        cylinder=add_to.get("cylinder", cylinder),
        axis=add_to.get("axis", axis),
        addition=add_to.get("addition", add),
        prism=ground if "prism" not in add_to else _longer(line, add_to["prism"], eye),
        out=add_to.get("out", out),
        up=add_to.get("up", up),
        segment=add_to.get("segment", segment),
    )


def _longer(line: Prescription, by: float, eye: str) -> Prism:
    """Prism error along the ordered prism."""
    ((_, base),) = line.prism
    return Prism.from_base(by, base, eye)


def _made(job: Job, brief: Brief, eye: str, off: _Off) -> Mounted:
    order = job.order.of(eye)
    line = order.line
    axis = 90.0 if line.axis is None else line.axis + off.axis
    power = Power.from_sphere_cylinder(line.sphere + off.sphere, line.cylinder + off.cylinder, axis)
    prism = (order.written_prism(eye) or Prism.none()) + off.prism
    height = order.centre_height_mm + off.up
    return Mounted(
        lens=_lens(job, brief, eye, off, power, prism, height),
        pd_mm=order.pd_mm + off.out,
        height_mm=height,
    )


def _lens(job: Job, brief: Brief, eye: str, off: _Off, power: Power, prism: Prism, height: float) -> Lens:
    order: LensRecord = job.order.of(eye)
    if brief.style == SINGLE_VISION:
        return ThickLens.made_to(
            power,
            Power.from_sphere_cylinder(usual_front_curve(power)),
            usual_thickness_mm(power, 0.0, INDEX),
            INDEX,
            prism,
        )
    addition = order.line.add + off.addition
    if brief.style == PROGRESSIVE:
        return Progressive(
            power=power,
            addition=addition,
            eye=eye,
            prism=prism,
            thinning=job.thinning,
            corridor_mm=job.corridor_mm,
            fitting_cross_mm=CROSS_MM,
            index=INDEX,
        )
    top = job.frame.height_above_datum_mm(order.height_mm) + off.segment
    return Multifocal.made_to(
        power=power,
        addition=addition,
        eye=eye,
        segment=job.segment,
        top_mm=top - height,
        inset_mm=job.insets_mm[0 if nasal(eye) > 0 else 1],
        prism=prism,
        index=INDEX,
    )
