"""What a pair on the bench is made to: powers, addition, prism, frame and places.

The powers follow published distributions of spectacle prescriptions: shares of
myopia, hyperopia and astigmatism from 153 598 records of Irish clinics
(PMC9732486), means and spreads from 6687 South African patients (PMC8569398);
most cylinders are 0.75 or less and half the axes lie near 180 (Clinical
Optometry 2018;10:119-127, whose axis shares add to 104 % and are used here as
rough weights only). Additions by age are from textbook tables (from memory).
Frames and heights are common practice. All orders are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from optics.lens.angles import axis_difference, whole_axis
from optics.lens.prescription import Prescription
from optics.lens.progressive import NEAR_BELOW_CORRIDOR_MM, thinning_prism
from optics.lens.segment import FLAT_TOP, ROUND, SHAPES, STRAIGHT_ACROSS, Segment
from optics.pair.frame import Frame, near_inset_mm
from optics.pair.records import LensRecord, PairRecord
from optics.specimens.briefs import BIFOCAL, PROGRESSIVE, SINGLE_VISION, TRIFOCAL, Brief
from optics.specimens.random import stream

__all__ = ["CROSS_MM", "Job", "frame_for", "job_for", "kind_of", "ordered_powers"]

STEP = 0.25
CROSS_MM = 4.0
"""Fitting cross above the prism reference point of the invented maker's progressives."""
NEAR_CIRCLE_MM = 4.0
"""Half of the near circle: it must lie inside the rim."""


def kind_of(style: str) -> str:
    """The kind of lens by which the tables of tolerances go."""
    return {BIFOCAL: "multifocal", TRIFOCAL: "multifocal"}.get(style, style)


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """An order with all that the workshop needs to make it.

    Parameters
    ----------
    order : PairRecord
        Powers, addition, prism and places. Heights of segments and fitting crosses
        are over the lowest point of the lens.
    frame : Frame
        The frame.
    segment : Segment, optional
        Of a bifocal or trifocal.
    insets_mm : (float, float)
        How far in the near part lies, right and left.
    corridor_mm : float
        Of a progressive.
    thinning : float
        Thinning prism of a progressive, prism dioptres base down.
    """

    order: PairRecord
    frame: Frame
    segment: Segment | None = None
    insets_mm: tuple[float, float] = (2.0, 2.0)
    corridor_mm: float = 14.0
    thinning: float = 0.0


# --- powers --------------------------------------------------------------------------


def ordered_powers(brief: Brief, rng: np.random.RandomState) -> tuple[Prescription, Prescription]:
    """What right and left are ordered to, minus-cylinder form."""
    right = _first(brief, rng)
    # The two eyes of one wearer are alike: most differ by less than a dioptre.
    return right, _companion(right, brief, rng)


def _on_step(value: float) -> float:
    return round(value / STEP) * STEP


def _first(brief: Brief, rng: np.random.RandomState) -> Prescription:
    while True:
        group = rng.choice(["myopia", "hyperopia", "neither"], p=[0.45, 0.42, 0.13])
        mean, spread = {"myopia": (-1.95, 2.6), "hyperopia": (1.04, 0.9), "neither": (0.0, 0.3)}[str(group)]
        sphere = _on_step(rng.normal(mean, spread))
        cylinder = _cylinder(brief, rng)
        axis = _axis(brief, rng) if cylinder else None
        if _fits(sphere, cylinder, brief):
            return Prescription(
                sphere=sphere, cylinder=cylinder, axis=axis, eye="R", prism=_any_prism(brief, rng)
            )


def _companion(first: Prescription, brief: Brief, rng: np.random.RandomState) -> Prescription:
    while True:
        sphere = first.sphere + _on_step(rng.normal(0.0, 0.6))
        cylinder = _cylinder(brief, rng)
        # Axes of a pair often mirror each other about the vertical.
        if not cylinder:
            axis = None
        elif first.axis is not None and rng.random_sample() < 0.6:
            axis = whole_axis(180 - first.axis + rng.normal(0.0, 8.0))
        else:
            axis = _axis(brief, rng)
        if axis is not None and not _axis_fits(axis, brief):
            continue
        if not _fits(sphere, cylinder, brief):
            continue
        # An exchange of the lenses must be visible, so they may not be the same.
        if (sphere, cylinder) == (first.sphere, first.cylinder) and axis == first.axis:
            continue
        return Prescription(
            sphere=sphere, cylinder=cylinder, axis=axis, eye="L", prism=_any_prism(brief, rng)
        )


def _fits(sphere: float, cylinder: float, brief: Brief) -> bool:
    sizes = abs(sphere), abs(sphere + cylinder)
    return max(sizes) <= brief.strongest and min(sizes) >= brief.weakest and bool(sphere or cylinder)


def _cylinder(brief: Brief, rng: np.random.RandomState) -> float:
    if brief.cylinder == "none" or (brief.cylinder == "some" and rng.random_sample() < 0.4):
        return 0.0
    smallest = 0.5 if brief.cylinder == "always" else 0.25
    return -float(np.clip(_on_step(smallest + rng.gamma(1.6, 0.45)), smallest, 4.0))


def _axis_fits(axis: int, brief: Brief) -> bool:
    return brief.axes == "any" or min(axis_difference(axis, 180), axis_difference(axis, 90)) >= 20


def _axis(brief: Brief, rng: np.random.RandomState) -> int:
    while True:
        near = rng.choice(["horizontal", "vertical", "oblique"], p=[0.48, 0.14, 0.38])
        spread = {"horizontal": 180 + rng.normal(0, 10), "vertical": 90 + rng.normal(0, 10)}
        axis = whole_axis(spread.get(str(near), rng.uniform(1, 180)))
        if _axis_fits(axis, brief):
            return axis


def _any_prism(brief: Brief, rng: np.random.RandomState) -> tuple[tuple[float, str], ...]:
    if not brief.prism:
        return ()
    amount = float(rng.randint(2, max(3, int(brief.prism * 2) + 1))) / 2
    return ((amount, str(rng.choice(["in", "out", "up", "down"]))),)


# --- the rest of a whole pair --------------------------------------------------------


def job_for(brief: Brief, seed: int, powers: tuple[Prescription, Prescription]) -> Job:
    """Complete two ordered powers to a whole pair: addition, prism, frame, places."""
    frame, pds = _frame_and_pds(brief, seed)
    rng = stream(seed, "order")
    # Additions by age, 40 to over 65; both eyes alike.
    add = float(
        rng.choice(
            [1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75], p=[0.06, 0.06, 0.1, 0.12, 0.2, 0.2, 0.18, 0.08]
        )
    )
    prisms = _prisms(brief, rng)
    # The middle of the pupil lies a little above the datum line.
    pupil = round(float(rng.uniform(2.0, 5.0)) * 2) / 2
    shape = _shape(brief, rng)
    corridor, thinned = float(rng.choice([14.0, 16.0])), bool(rng.random_sample() < 0.6)
    near_places = [round(near_inset_mm(pd) * 2) / 2 for pd in pds]
    segment, centre, height = None, pupil - 1.5, None
    if brief.style == PROGRESSIVE:
        # The near circle must find room in the rim.
        room = frame.height_above_rim_mm(pupil) - NEAR_BELOW_CORRIDOR_MM - NEAR_CIRCLE_MM
        corridor = min(corridor, max(12.0, float(np.floor(room))))
        centre, height = pupil - CROSS_MM, frame.height_above_rim_mm(pupil)
    elif brief.style in (BIFOCAL, TRIFOCAL):
        segment = _segment(brief, shape, rng)
        below = 2.5 if brief.style == TRIFOCAL else round(float(rng.uniform(3.5, 5.0)) * 2) / 2
        height = frame.height_above_rim_mm(centre - below)
    records = [
        LensRecord(
            line=replace(line, prism=prism, add=None if brief.style == SINGLE_VISION else add),
            pd_mm=pd,
            centre_height_mm=centre,
            height_mm=height,
        )
        for line, prism, pd in zip(powers, prisms, pds, strict=True)
    ]
    return Job(
        order=PairRecord(right=records[0], left=records[1], lens=kind_of(brief.style)),
        frame=frame,
        segment=segment,
        insets_mm=(near_places[0], near_places[1]),
        corridor_mm=corridor,
        thinning=thinning_prism(add) if brief.style == PROGRESSIVE and thinned else 0.0,
    )


def _shape(brief: Brief, rng: np.random.RandomState) -> str:
    shapes = tuple(shape for shape in SHAPES if brief.style != TRIFOCAL or shape != ROUND)
    drawn = str(rng.choice(shapes))
    return drawn if brief.segment == "any" else brief.segment


def _segment(brief: Brief, shape: str, rng: np.random.RandomState) -> Segment:
    width = {FLAT_TOP: float(rng.choice([25.0, 28.0])), ROUND: 22.0, STRAIGHT_ACROSS: 40.0}[shape]
    return Segment(shape=shape, width_mm=width, intermediate_mm=7.0 if brief.style == TRIFOCAL else 0.0)


def _prisms(brief: Brief, rng: np.random.RandomState) -> list[tuple[tuple[float, str], ...]]:
    """Prism shared out as it is usually ordered: the same base in both, or up before one and down before the other."""
    amount = float(rng.randint(2, max(3, int(brief.prism * 2) + 1))) / 2
    bases = [("in", "in"), ("out", "out"), ("up", "down"), ("down", "up")][rng.randint(4)]
    return [((amount, base),) if brief.prism else () for base in bases]


def _half(value: float) -> float:
    return round(value * 2) / 2


def _frame_and_pds(brief: Brief, seed: int) -> tuple[Frame, tuple[float, float]]:
    rng = stream(seed, "places")
    right = _half(float(np.clip(rng.normal(31.5, 1.4), 27, 36)))
    left = _half(float(np.clip(right + rng.normal(0.0, 0.7), 27, 36)))
    return frame_for(brief.style, (right + left) / 2, seed), (right, left)


def frame_for(style: str, monocular_mm: float, seed: int) -> Frame:
    """A frame that suits a wearer.

    Parameters
    ----------
    style : str
        Lens style: a trifocal or a progressive wants a deep frame.
    monocular_mm : float
        Half of the wearer's PD.
    seed : int
        Decides what is left to chance.
    """
    rng = stream(seed, "frame")
    between = 2.0 * (monocular_mm + rng.uniform(0.5, 4.0))
    bridge = float(rng.randint(15, 21))
    width = float(np.clip(round(between - bridge), 44, 58))
    lowest = {SINGLE_VISION: 30, BIFOCAL: 36, TRIFOCAL: 40, PROGRESSIVE: 36}[style]
    height = float(min(rng.randint(lowest, lowest + 9), width - 4))
    # Between a lens hardly longer than wide and one that fills its box.
    corner = float(np.hypot(width, height))
    reach = width + (corner - width) * rng.uniform(0.25, 0.6)
    return Frame(
        lens_width_mm=width,
        lens_height_mm=height,
        bridge_mm=bridge,
        effective_diameter_mm=round(reach * 2) / 2,
    )
