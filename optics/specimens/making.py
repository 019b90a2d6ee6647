"""Making a pair to its order: never quite, and now and then clearly wrong.

What comes out is only offered: `optics.specimens.specimen.make` asks the judge whether a
good pair passes and a faulty one fails in what was wanted, and else takes the next. Of
delivered spectacles 8 to 29 in 100 failed at least one optical tolerance (Citek et al.,
Optometry 2011;82:549-555; PubMed 34905522).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from optics.lens.laid_flat import usual_front_curve, usual_thickness_mm
from optics.lens.lens import Lens
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prism import Prism, nasal
from optics.lens.thick import ThickLens
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.briefs import PROGRESSIVE, ZERO_ERROR, Brief
from optics.specimens.faults import Fault, faults_for, made_faulty
from optics.specimens.orders import Job, job_for
from optics.specimens.random import stream

INDEX = 1.5
WEARERS, TRIES = 40, 2
"""How many orders are drawn, and errors for each, before a brief is given up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What the workshop gives back.

    Parameters
    ----------
    job : Job
        What was ordered.
    spectacles : Spectacles
        The pair.
    fault : Fault or None
        What is wrong with it.
    """

    job: Job
    spectacles: Spectacles
    fault: Fault | None


def made(brief: Brief, seed: int) -> Iterator[Made]:
    """Whole pairs to one brief, to take the first that comes out as it was meant.

    Parameters
    ----------
    brief : Brief
        What is wanted, and how often it is faulty.
    seed : int
        Decides the order and the errors.
    """
    possible, chance = faults_for(brief), stream(seed, "fault")
    is_faulty = chance.random_sample() < brief.faulty
    # In an order of its own for every pair, so that no fault stands in for the others.
    names: list[str | None] = [*map(str, chance.permutation(possible))] if is_faulty else []
    if brief.fault:
        names = [] if brief.fault == ZERO_ERROR else [brief.fault]
    for wearer in range(WEARERS):
        job = job_for(brief, partial(stream, seed, wearer))
        for name in names or [None]:
            for again in range(TRIES):
                rng = stream(seed, wearer, name, again)
                fault = None if name is None else made_faulty(name, job, brief, rng)
                if name is None or fault is not None:
                    right, left = (_mounted(job, eye, _off(job, brief, eye, fault, rng)) for eye in "RL")
                    yield Made(job=job, spectacles=Spectacles(right=right, left=left), fault=fault)


def made_as_ordered(job: Job, brief: Brief, rng: np.random.RandomState) -> Spectacles:
    """A pair to a job, well made: no further out than good work comes."""
    right, left = (_mounted(job, eye, _off(job, brief, eye, None, rng)) for eye in "RL")
    return Spectacles(right=right, left=left)


# --- how far it comes out ------------------------------------------------------------------


def _clipped(rng: np.random.RandomState, spread: float, most: float) -> float:
    return float(np.clip(rng.normal(0.0, spread), -most, most))


def _off(job: Job, brief: Brief, eye: str, fault: Fault | None, rng: np.random.RandomState) -> dict[str, Any]:
    """How far one lens comes out from its order: dioptres, degrees, prism dioptres, millimetres.

    "out" is away from the nose, "up" moves the whole lens, "segment" its segment alone.
    """
    line = job.order.of(eye).line
    if brief.between_steps:
        # Both meridians to the same side, so that the cylinder stays inside its limit.
        sphere, across = rng.choice([-1.0, 1.0]) * rng.uniform(0.07, 0.11, 2)
        cylinder, add = across - sphere, rng.choice([-1.0, 1.0]) * rng.uniform(0.05, 0.1)
    else:
        sphere, cylinder, add = (
            _clipped(rng, *each) for each in ((0.025, 0.05), (0.02, 0.04), (0.025, 0.05))
        )
    if not line.cylinder:
        # A sphere comes out round: no more cylinder than polishing leaves.
        cylinder = -abs(_clipped(rng, 0.01, 0.03))
    ground = Prism(np.array([_clipped(rng, 0.05, 0.1), _clipped(rng, 0.05, 0.1)]))
    # Centres of strong lenses are set with more care.
    care = min(1.0, 3.0 / max(line.power.strength, 1.0))
    out, up = _clipped(rng, 0.25, 0.5) * care, _clipped(rng, 0.2, 0.4) * care
    if brief.style == PROGRESSIVE:
        # Its reference point is engraved, so prism and place come out apart.
        ground, up = Prism(ground.vector / 2), up / 2
    elif line.prism:
        out = up = 0.0
    else:
        # Prism that was not ordered is nothing but an optical centre in another place.
        ground = Prism.none()
    usual = {
        "sphere": float(sphere),
        "cylinder": float(cylinder),
        "axis": _clipped(rng, 0.3, 0.8),
        "addition": float(add),
        "prism": ground,
        "out": out,
        "up": up,
        "segment": _clipped(rng, 0.2, 0.4),
        "base": 0.0,
    }
    return usual if fault is None else usual | fault.off.get(eye, {})


# --- the lenses ------------------------------------------------------------------------------


def _mounted(job: Job, eye: str, off: dict[str, Any]) -> Mounted:
    pd_mm, up_mm = job.centre_mm(eye)
    height_mm = up_mm + off["up"]
    return Mounted(lens=_lens(job, eye, off, height_mm), pd_mm=pd_mm + off["out"], height_mm=height_mm)


def _lens(job: Job, eye: str, off: dict[str, Any], centre_mm: float) -> Lens:
    order = job.order.of(eye)
    line = order.line
    axis = 90.0 if line.axis is None else line.axis + off["axis"]
    power = Power.from_sphere_cylinder(line.sphere + off["sphere"], line.cylinder + off["cylinder"], axis)
    prism = (order.written_prism(eye) or Prism.none()) + off["prism"]
    front = (order.base_curve or usual_front_curve(power)) + off["base"]
    if line.add is None:
        thickness = usual_thickness_mm(power, 0.0, INDEX)
        return ThickLens.made_to(power, Power.from_sphere_cylinder(front), thickness, INDEX, prism)
    if job.design is not None:
        return job.design.lens(
            power,
            line.add + off["addition"],
            eye,
            prism=prism,
            thinning=job.thinning,
            front_curve=front,
            index=INDEX,
            carried_by=job.carried_by,
        )
    assert order.height_mm is not None and job.segment is not None, "a segment has a top"
    top = job.frame.height_above_datum_mm(order.height_mm) + off["segment"]
    return Multifocal.made_to(
        power=power,
        addition=line.add + off["addition"],
        eye=eye,
        segment=job.segment,
        top_mm=top - centre_mm,
        inset_mm=job.insets_mm[0 if nasal(eye) > 0 else 1],
        prism=prism,
        front_curve=front,
        index=INDEX,
    )
