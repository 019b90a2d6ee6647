"""Making a pair to its order: never quite, and now and then clearly wrong.

A good pair passes the table that its brief names, a faulty one fails it in what was
asked for and in nothing else. That is not left to chance: errors are drawn, the judge is
asked about the pair as it is and as a careful reader writes it on a ticket, and what
does not come out as wanted is drawn again. Of delivered spectacles 8 to 29 in 100 failed
at least one optical tolerance (Citek et al., Optometry 2011;82:549-555; PubMed 34905522).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from optics.errors import OpticsError
from optics.judging.settling import settle
from optics.judging.standards import Standard, load
from optics.judging.verify import Verification, verify
from optics.lens.angles import whole_axis
from optics.lens.laid_flat import usual_front_curve, usual_thickness_mm
from optics.lens.lens import Lens
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism, nasal, prism_at
from optics.lens.progressive import Progressive
from optics.lens.thick import ThickLens
from optics.pair.records import LensRecord, PairRecord
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.briefs import PROGRESSIVE, ZERO_ERROR, Brief
from optics.specimens.faults import Fault, faults_for, made_faulty
from optics.specimens.orders import CROSS_MM, Job, job_for
from optics.specimens.random import stream
from optics.specimens.steps import by_rule, on_the_rings, settled_add

__all__ = ["Made", "made"]

INDEX = 1.5
WEARERS, TRIES = 40, 6
"""How many orders are drawn, and errors for each, before a brief is given up."""
READ_PRISM = 0.125
"""Prism from which a lens no longer has its optical centre where it was ordered, as read from the rings."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Off:
    """How far one lens comes out from its order: dioptres, degrees, prism dioptres, millimetres.

    `out` is away from the nose, `up` moves the whole lens, `segment` its segment alone.
    """

    sphere: float
    cylinder: float
    axis: float
    addition: float
    out: float
    up: float
    segment: float
    base: float = 0.0
    prism: Prism = field(default_factory=Prism.none)


def made(brief: Brief, seed: int) -> Made:
    """Make a whole pair.

    Parameters
    ----------
    brief : Brief
        What is wanted, and how often it is faulty.
    seed : int
        Decides the order and the errors.

    Raises
    ------
    OpticsError
        Where no pair could be made as the brief wants it.
    """
    standard, possible = load(brief.table), faults_for(brief)
    chance = stream(seed, "fault")
    is_faulty = chance.random_sample() < brief.faulty
    # In an order of its own for every pair, so that no fault stands in for the others.
    names = list(chance.permutation(possible)) if is_faulty and not brief.fault else []
    if brief.fault and brief.fault != ZERO_ERROR:
        names = [brief.fault]
    for wearer in range(WEARERS):
        job = job_for(brief, partial(stream, seed, wearer))
        for name in names or [None]:
            for again in range(TRIES):
                rng = stream(seed, wearer, name, again)
                fault = None if name is None else made_faulty(str(name), job, brief, rng)
                if name is not None and fault is None:
                    break
                lenses = {eye: _ground(job, eye, _off(job, brief, eye, fault, rng)) for eye in "RL"}
                if _as_wanted(standard, job, lenses, fault):
                    right, left = (_mounted(job, lenses[eye]) for eye in "RL")
                    return Made(job=job, spectacles=Spectacles(right=right, left=left), fault=fault)
    raise OpticsError(
        f"No pair came out as the brief wants it{f', with the fault {brief.fault}' if brief.fault else ''}.",
        f"{WEARERS} orders were tried against {standard.name}.",
        "Widen the powers of the brief, or ask for another fault.",
    )


# --- how far it comes out ------------------------------------------------------------------


def _clipped(rng: np.random.RandomState, spread: float, most: float) -> float:
    return float(np.clip(rng.normal(0.0, spread), -most, most))


def _off(job: Job, brief: Brief, eye: str, fault: Fault | None, rng: np.random.RandomState) -> _Off:
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
    usual = _Off(
        sphere=float(sphere),
        cylinder=float(cylinder),
        axis=_clipped(rng, 0.3, 0.8),
        addition=float(add),
        prism=ground,
        out=out,
        up=up,
        segment=_clipped(rng, 0.2, 0.4),
    )
    return usual if fault is None else replace(usual, **fault.off.get(eye, {}))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """One lens as it comes out: what its surfaces are worked to, and where it stands in the rim.

    `prism` is met at the reference point, without thinning; heights are those of the reference point over the datum line, and of segment top
    or fitting cross over the lowest point.
    """

    eye: str
    order: LensRecord
    power: Power
    addition: float | None
    prism: Prism
    front: float
    pd_mm: float
    centre_height_mm: float
    height_mm: float | None
    off: _Off


def _ground(job: Job, eye: str, off: _Off) -> _Ground:
    order, (pd_mm, up_mm) = job.order.of(eye), job.centre_mm(eye)
    line = order.line
    axis = 90.0 if line.axis is None else line.axis + off.axis
    power = Power.from_sphere_cylinder(line.sphere + off.sphere, line.cylinder + off.cylinder, axis)
    # A segment is set by itself, a fitting cross goes with its lens.
    moved = off.up if job.segment is None else off.segment
    return _Ground(
        eye=eye,
        order=order,
        power=power,
        addition=None if line.add is None else line.add + off.addition,
        prism=(order.written_prism(eye) or Prism.none()) + off.prism,
        front=(order.base_curve or usual_front_curve(power)) + off.base,
        pd_mm=pd_mm + off.out,
        centre_height_mm=up_mm + off.up,
        height_mm=None if order.height_mm is None else order.height_mm + moved,
        off=off,
    )


# --- whether it comes out as wanted ----------------------------------------------------------


def _as_wanted(standard: Standard, job: Job, lenses: dict[str, _Ground], fault: Fault | None) -> bool:
    """Whether the pair, as it is and as a careful reader writes it, ends as it is meant to."""
    for record in (_as_it_is, _as_written):
        held = _held(standard, job, record(job, lenses["R"]), record(job, lenses["L"]))
        if {verdict.quantity for verdict in held.failures} != set(fault.shows if fault else ()):
            return False
        if fault:
            if any(verdict.eye not in (None, *fault.off) for verdict in held.failures):
                return False
        elif not _open(held) <= _open(
            _held(standard, job, *map(_found_so, (job.order.right, job.order.left)))
        ):
            return False
    return True


def _held(standard: Standard, job: Job, right: LensRecord, left: LensRecord) -> Verification:
    return verify(standard, job.order, PairRecord(right=right, left=left, lens=job.order.lens))


def _open(held: Verification) -> set[str]:
    """What weighs and is not judged; of a pair just as ordered, what the table is silent about."""
    return {verdict.quantity for verdict in held.unjudged if verdict.weighs}


def _found_so(order: LensRecord) -> LensRecord:
    """An order as a finding, where silence about prism is not enough."""
    return order if order.line.prism else replace(order, prism=Prism.none())


def _as_it_is(job: Job, lens: _Ground) -> LensRecord:
    return found_lens(
        lens.order,
        eye=lens.eye,
        power=lens.power,
        addition=lens.addition,
        at_reference=lens.prism,
        prism=lens.prism + prism_at(lens.power, nasal(lens.eye) * lens.off.out, -lens.off.up),
        pd_mm=lens.pd_mm,
        centre_height_mm=lens.centre_height_mm,
        height_mm=lens.height_mm,
        front=lens.front,
    )


def found_lens(
    order: LensRecord,
    *,
    eye: str,
    power: Power,
    addition: float | None,
    at_reference: Prism,
    prism: Prism,
    pd_mm: float,
    centre_height_mm: float,
    height_mm: float | None,
    front: float,
) -> LensRecord:
    """One lens as it is, to the hundredth, to be held against its order.

    Parameters
    ----------
    order : LensRecord
        What was ordered.
    eye, power, addition
        The lens.
    at_reference : Prism
        What is met at its own reference point. Where none was ordered and some is
        there, no optical centre was found, and its height is left out.
    prism : Prism
        What is met where the order wants its prism.
    pd_mm, centre_height_mm, height_mm : float
        As `LensRecord` has them.
    front : float
        Front curve, dioptres; told only where one was ordered.
    """
    sphere, cylinder, axis = (float(value) for value in power.sphere_cylinder())
    cylinder = round(cylinder, 2)
    is_centre = bool(order.line.prism) or at_reference.amount < READ_PRISM
    return LensRecord(
        line=Prescription(
            sphere=round(sphere, 2),
            cylinder=cylinder,
            axis=whole_axis(axis) if cylinder else None,
            add=None if addition is None else round(addition, 2),
            eye=eye,
        ),
        prism=prism,
        pd_mm=pd_mm,
        centre_height_mm=centre_height_mm if is_centre else None,
        height_mm=height_mm,
        base_curve=None if order.base_curve is None else front,
    )


def _as_written(job: Job, lens: _Ground) -> LensRecord:
    """What a careful reader writes: everything on its step, and no centre heights, which no ticket has."""
    read = on_the_rings(lens.prism + Prism.from_base(job.thinning, "down", lens.eye), lens.eye)
    return LensRecord(
        line=replace(
            settle(lens.power).choice,
            eye=lens.eye,
            prism=read,
            add=None if lens.addition is None else settled_add(lens.addition),
        ),
        prism=None if read else Prism.none(),
        pd_mm=by_rule(lens.pd_mm),
        height_mm=None if lens.height_mm is None else by_rule(lens.height_mm),
        base_curve=None if lens.order.base_curve is None else lens.front,
    )


# --- the lenses ------------------------------------------------------------------------------


def _mounted(job: Job, lens: _Ground) -> Mounted:
    return Mounted(lens=_lens(job, lens), pd_mm=lens.pd_mm, height_mm=lens.centre_height_mm)


def _lens(job: Job, lens: _Ground) -> Lens:
    if lens.addition is None:
        thickness = usual_thickness_mm(lens.power, 0.0, INDEX)
        front = Power.from_sphere_cylinder(lens.front)
        return ThickLens.made_to(lens.power, front, thickness, INDEX, lens.prism)
    if job.segment is None:
        return Progressive(
            power=lens.power,
            addition=lens.addition,
            eye=lens.eye,
            prism=lens.prism,
            thinning=job.thinning,
            corridor_mm=job.corridor_mm,
            fitting_cross_mm=CROSS_MM,
            front_curve=lens.front,
            index=INDEX,
            carried_by=job.carried_by,
        )
    assert lens.height_mm is not None, "a segment has a top"
    return Multifocal.made_to(
        power=lens.power,
        addition=lens.addition,
        eye=lens.eye,
        segment=job.segment,
        top_mm=job.frame.height_above_datum_mm(lens.height_mm) - lens.centre_height_mm,
        inset_mm=job.insets_mm[0 if nasal(lens.eye) > 0 else 1],
        prism=lens.prism,
        front_curve=lens.front,
        index=INDEX,
    )
