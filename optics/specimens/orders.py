"""What a pair on the bench is made to: powers, addition, prism, frame and places.

Powers of one eye: shares of myopia, hyperopia and astigmatism from 153 598 records of
Irish clinics (PMC9732486), means and spreads from 6687 South African patients
(PMC8569398); most cylinders are 0.75 or less and half the axes lie near 180 (Clinical
Optometry 2018;10:119-127, whose axis shares add to 104 % and are used here as rough
weights only); whoever wears an addition is more often hyperopic (lens orders, Portugal
2010-2020).

The other eye of the same wearer: 13.4 % differ by a dioptre or more (PMC9732486); axes
mirror each other about the vertical, half of them within 10 degrees ("Axes of
astigmatism in fellow eyes show mirror rather than direct symmetry", 2008, 50 995
astigmats); 79 % have half-PDs that differ (The Scientific World Journal 2014:347826). PDs are
about 63 mm (Dodgson, SPIE 5291, 2004). That cylinders are alike in size, how often
prism is ordered, additions by age, heights and frames are common practice, from memory.
All orders are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optics.lens.angles import axis_difference, whole_axis
from optics.lens.lens import BACK, FRONT
from optics.lens.prescription import Prescription
from optics.lens.progressive import NEAR_BELOW_CORRIDOR_MM, thinning_prism
from optics.lens.segment import FLAT_TOP, ROUND, SHAPES, STRAIGHT_ACROSS, Segment
from optics.pair.charts import Chart, charts
from optics.pair.frame import Frame, near_inset_mm
from optics.pair.records import LensRecord, PairRecord
from optics.specimens.briefs import BIFOCAL, PROGRESSIVE, SINGLE_VISION, TRIFOCAL, Brief

Chance = Callable[..., np.random.RandomState]
"""Random numbers for one thing about a pair, by its name."""

STEP = 0.25
NEAR_CIRCLE_MM = 4.0
"""Half of the near circle: it must lie inside the rim."""
GROUPS = {"myopia": (-1.95, 2.6), "hyperopia": (1.04, 0.9), "neither": (0.0, 0.3)}
WEARERS = {True: (0.45, 0.42, 0.13), False: (0.3, 0.56, 0.14)}
"""Shares of these groups among wearers of single vision, and of anything with an addition."""
UNLIKE = 0.2
"""Share of wearers whose eyes grew apart."""
EVEN_CYLINDERS = np.arange(0.75, 3.01, STEP)
NEAREST, FARTHEST = 0.75, 2.5
"""Cylinders of a pair whose powers are drawn evenly, and how unlike its spheres are, dioptres
(our own choice)."""


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
    design : Chart, optional
        Of a progressive.
    thinning : float
        Thinning prism of a progressive, prism dioptres base down.
    carried_by : {"front", "back"}
        The surface of a progressive that carries the addition.
    """

    order: PairRecord
    frame: Frame
    segment: Segment | None = None
    insets_mm: tuple[float, float] = (2.0, 2.0)
    design: Chart | None = None
    thinning: float = 0.0
    carried_by: str = FRONT

    def centre_mm(self, eye: str) -> tuple[float, float]:
        """Where the centre of a lens was ordered: half-PD, and height over the datum line."""
        order = self.order.of(eye)
        assert order.pd_mm is not None and order.centre_height_mm is not None, "every job says where"
        return order.pd_mm, order.centre_height_mm


# --- powers --------------------------------------------------------------------------


def ordered_powers(brief: Brief, rng: np.random.RandomState) -> tuple[Prescription, Prescription]:
    """What right and left are ordered to, minus-cylinder form, without prism and addition."""
    first = _first(brief, rng)
    return first, _fellow(first, brief, rng)


def _on_step(value: float) -> float:
    return round(value / STEP) * STEP


def _first(brief: Brief, rng: np.random.RandomState) -> Prescription:
    while True:
        group = rng.choice(list(GROUPS), p=WEARERS[brief.style == SINGLE_VISION])
        sphere = _evenly(brief, rng) if brief.even else _on_step(rng.normal(*GROUPS[str(group)]))
        if brief.cylinder == "none" or (brief.cylinder == "some" and rng.random_sample() < 0.4):
            cylinder = 0.0
        elif brief.even:
            cylinder = -float(rng.choice(EVEN_CYLINDERS))
        else:
            cylinder = -float(np.clip(_on_step(_smallest(brief) + rng.gamma(1.6, 0.45)), 0.25, 4.0))
        axis = _axis(brief, rng) if cylinder else None
        if _fits(sphere, cylinder, brief):
            return Prescription(sphere=sphere, cylinder=cylinder, axis=axis, eye="R")


def _fellow(first: Prescription, brief: Brief, rng: np.random.RandomState) -> Prescription:
    """The other eye of the same wearer."""
    while True:
        apart = rng.random_sample() < UNLIKE
        sphere = first.sphere + _on_step(rng.normal(0.0, 1.3 if apart else 0.35))
        cylinder = first.cylinder + _on_step(rng.normal(0.0, 0.5 if apart else 0.25))
        cylinder = float(np.clip(cylinder, -4.0, -_smallest(brief) if brief.cylinder == "always" else 0.0))
        if brief.even:
            sphere = _evenly(brief, rng)
            cylinder = -float(rng.choice(EVEN_CYLINDERS)) if first.cylinder else 0.0
            if not NEAREST <= abs(sphere - first.sphere) <= FARTHEST:
                continue
            # Counting from the wrong whole dioptre does not show on halves and whole ones.
            if not first.cylinder and not any(4 * each % 2 for each in (sphere, first.sphere)):
                continue
        if brief.cylinder == "none":
            cylinder = 0.0
        axis = None
        if cylinder and first.axis is not None:
            # The weaker the cylinders, the less certain their axes.
            wander = np.clip(5.0 - 12.0 / (first.cylinder + cylinder), 4.0, 25.0)
            axis = whole_axis(180 - first.axis + rng.normal(0.0, wander))
            if not _axis_fits(axis, brief):
                continue
        elif cylinder:
            axis = _axis(brief, rng)
        # An exchange of the lenses must be visible, so they may not be the same.
        same = (sphere, cylinder, axis) == (first.sphere, first.cylinder, first.axis)
        if not same and _fits(sphere, cylinder, brief):
            return Prescription(sphere=sphere, cylinder=cylinder, axis=axis, eye="L")


def _evenly(brief: Brief, rng: np.random.RandomState) -> float:
    """A sphere that knowing what is common does not help to meet."""
    return float(rng.choice(np.arange(-brief.strongest, brief.strongest + STEP / 2, STEP)))


def _fits(sphere: float, cylinder: float, brief: Brief) -> bool:
    sizes = abs(sphere), abs(sphere + cylinder)
    return max(sizes) <= brief.strongest and min(sizes) >= brief.weakest and bool(sphere or cylinder)


def _smallest(brief: Brief) -> float:
    return 0.5 if brief.cylinder == "always" else 0.25


def _axis_fits(axis: int, brief: Brief) -> bool:
    # At 45 and 135 a mirrored axis is one turned by 90.
    alike = brief.even and min(axis_difference(axis, 45), axis_difference(axis, 135)) < 8
    far = min(axis_difference(axis, 180), axis_difference(axis, 90)) >= 20
    return not alike and (brief.axes == "any" or far)


def _axis(brief: Brief, rng: np.random.RandomState) -> int:
    while True:
        near = rng.choice(["horizontal", "vertical", "oblique"], p=[0.48, 0.14, 0.38])
        spread = {"horizontal": 180 + rng.normal(0, 10), "vertical": 90 + rng.normal(0, 10)}
        axis = whole_axis(spread.get(str(near), rng.uniform(1, 180)))
        if _axis_fits(axis, brief):
            return axis


# --- the rest of a whole pair --------------------------------------------------------


def job_for(brief: Brief, chance: Chance) -> Job:
    """What a pair is made to.

    Parameters
    ----------
    brief : Brief
        What kind of pair is wanted.
    chance : callable
        Random numbers for each thing, by its name.
    """
    powers = ordered_powers(brief, chance("powers"))
    pds = _pds(brief, chance("places"))
    frame = _frame(brief, sum(pds), chance("frame"))
    rng = chance("order")
    # Additions by age, 40 to over 65; both eyes alike.
    adds, shares = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75), (6, 6, 10, 12, 20, 20, 18, 8)
    add = float(rng.choice(adds, p=np.divide(shares, 100)))
    if brief.style == TRIFOCAL:
        # Nobody whose own eyes still reach the middle is given a strip for it (from memory).
        add = max(add, 1.75)
    prisms = _prisms(brief, rng)
    # The middle of the pupil lies a little above the datum line; few sit higher on one side.
    pupil = _half(rng.uniform(2.0, 5.0))
    step = float(rng.choice([0.0, 0.5, -0.5, 1.0, -1.0], p=[0.7, 0.11, 0.11, 0.04, 0.04]))
    liked, thinned = charts()[rng.choice(len(charts()))], bool(rng.random_sample() < 0.6)
    carried_by = str(rng.choice([FRONT, BACK]))
    segment: Segment | None = None
    design: Chart | None = None
    heights: list[float] | list[None] = [None, None]
    centres = (pupil - 1.5, pupil - 1.5)
    if brief.style == PROGRESSIVE:
        pupils = (pupil, pupil + step)
        # The near circle must find room in the rim.
        room = frame.height_above_rim_mm(min(pupils)) - NEAR_BELOW_CORRIDOR_MM - NEAR_CIRCLE_MM
        by_corridor = sorted(charts(), key=lambda each: -each.corridor_mm)
        design = next((each for each in (liked, *by_corridor) if each.corridor_mm <= room), by_corridor[-1])
        centres = (pupils[0] - design.fitting_cross_mm, pupils[1] - design.fitting_cross_mm)
        heights = [frame.height_above_rim_mm(each) for each in pupils]
    elif brief.style in (BIFOCAL, TRIFOCAL):
        segment = _segment(brief, rng)
        below = 2.5 if brief.style == TRIFOCAL else _half(rng.uniform(3.5, 5.0))
        # Unlike tops are seen, so they are ordered only where the eyes stand clearly unlike.
        tops = (centres[0] - below, centres[1] - below + (step if abs(step) > 0.5 else 0.0))
        heights = [frame.height_above_rim_mm(each) for each in tops]
    records = [
        LensRecord(
            line=Prescription(
                sphere=line.sphere,
                cylinder=line.cylinder,
                axis=line.axis,
                eye=line.eye,
                prism=prism,
                add=None if brief.style == SINGLE_VISION else add,
            ),
            pd_mm=pd,
            centre_height_mm=centre,
            height_mm=height,
            base_curve=brief.base_curve or None,
        )
        for line, prism, pd, centre, height in zip(powers, prisms, pds, centres, heights, strict=True)
    ]
    return Job(
        order=PairRecord(right=records[0], left=records[1], lens=kind_of(brief.style)),
        frame=frame,
        segment=segment,
        insets_mm=(_half(near_inset_mm(pds[0])), _half(near_inset_mm(pds[1]))),
        design=design,
        thinning=thinning_prism(add) if brief.style == PROGRESSIVE and thinned else 0.0,
        carried_by=carried_by if brief.carried_by == "any" else brief.carried_by,
    )


def _segment(brief: Brief, rng: np.random.RandomState) -> Segment:
    is_trifocal = brief.style == TRIFOCAL
    drawn = str(rng.choice([shape for shape in SHAPES if not (is_trifocal and shape == ROUND)]))
    shape = drawn if brief.segment == "any" else brief.segment
    flat = float(rng.choice([25.0, 28.0, 35.0], p=[0.15, 0.6, 0.25]))
    width = {FLAT_TOP: flat, ROUND: 22.0, STRAIGHT_ACROSS: 40.0}[shape]
    # The strip of the wide trifocal is a millimetre deeper (common practice, from memory).
    strip = 8.0 if width == 35.0 else 7.0
    return Segment(shape=shape, width_mm=width, intermediate_mm=strip if is_trifocal else 0.0)


def _prisms(brief: Brief, rng: np.random.RandomState) -> list[tuple[tuple[float, str], ...]]:
    """Prism shared out as it is usually ordered: the same base in both, or up before one and down before the other."""
    amount = float(rng.randint(2, max(3, int(brief.prism * 2) + 1))) / 2
    bases = [("in", "in"), ("out", "out"), ("up", "down"), ("down", "up")][rng.randint(4)]
    return [((amount, base),) if brief.prism else () for base in bases]


def _half(value: float) -> float:
    return round(float(value) * 2) / 2


def _pds(brief: Brief, rng: np.random.RandomState) -> tuple[float, float]:
    """Half-PDs, right and left."""
    whole, apart = np.clip(rng.normal(63.0, 3.3), 55.0, 72.0), np.clip(rng.normal(0.0, 1.0), -2.5, 2.5)
    if brief.frame:
        # A frame that was asked for is given to a wearer whom it suits.
        between = Frame.marked(brief.frame, 30.0).between_centres_mm
        whole = np.clip(whole, between - 8.0, between - 1.0)
    right = _half((whole + apart) / 2.0)
    return right, right - _half(apart)


def _frame(brief: Brief, pd_mm: float, rng: np.random.RandomState) -> Frame:
    """A frame that suits a wearer: a trifocal or a progressive wants a deep one."""
    between = pd_mm + 2.0 * rng.uniform(0.5, 4.0)
    bridge = float(rng.randint(15, 21))
    width = float(np.clip(round(between - bridge), 44, 58))
    if brief.frame:
        asked = Frame.marked(brief.frame, 30.0)
        width, bridge = asked.lens_width_mm, asked.bridge_mm
    lowest = {SINGLE_VISION: 30, BIFOCAL: 36, TRIFOCAL: 40, PROGRESSIVE: 36}[brief.style]
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
