"""Pairs for the bench: made from a seed and a brief, never to exactly what was ordered.

A specimen is one object that everybody asks: the instrument, the drawings, the
marks. It holds what the pair *is* (`spectacles`), what it was *made to* (`order`)
and what is wrong with it as it comes in; the surfacing error between order and
pair is why readings fall between steps. What the truth is, is always asked of the
lenses; nothing stores another beside it. All pairs are invented; `optics.specimens.orders` says
which published distributions they follow.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property

from optics.errors import OpticsError
from optics.judging.settling import settle
from optics.judging.standards import load
from optics.judging.verify import Verification, verify
from optics.lens.angles import whole_axis
from optics.lens.lens import SingleVision
from optics.lens.multifocal import Multifocal
from optics.lens.parsing import parse_pair
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism, nasal
from optics.lens.progressive import Progressive
from optics.lens.thick import ThickLens
from optics.pair.frame import Frame
from optics.pair.records import LensRecord, PairRecord
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.briefs import (
    ANY_STYLE,
    BIFOCAL,
    PROGRESSIVE,
    SINGLE_VISION,
    STYLES,
    TRIFOCAL,
    ZERO_ERROR,
    Brief,
)
from optics.specimens.conditions import Condition, conditions_of, laid_down
from optics.specimens.faults import Fault
from optics.specimens.making import WEARERS, made
from optics.specimens.orders import kind_of
from optics.specimens.random import stream
from optics.specimens.steps import READ_PRISM, by_rule, on_the_rings, settled_add

ZERO_ERRORS = (0.34, 0.37, 0.4)
"""How far an instrument is out, dioptres: so far that a reading from which it was not taken off is off
its lens by more than a mark allows, however it settles."""
PARTS = ("distance", "near", "prism", "height")
"""Points of a lens: where distance and near power are read, where prism is read (for
lenses without ordered prism the optical centre), and the segment's upper line or the
fitting cross, to which the height is measured."""


@dataclass(frozen=True, kw_only=True)
class Specimen:
    """One pair on the bench.

    Parameters
    ----------
    order : PairRecord
        What right and left were made to: minus-cylinder form, places in millimetres,
        heights of segment or fitting cross over the lowest point of the lens.
    spectacles : Spectacles
        What the pair is, true and clean.
    frame : Frame
        The frame, in boxing terms.
    brief : Brief
        What kind of pair was asked for.
    conditions : tuple of Condition
        What is wrong with it as it comes in.
    fault : Fault, optional
        What is wrong with how it was made.
    zero_error : float
        What the drum of the instrument that it lies on shows without a lens, dioptres.
    """

    order: PairRecord
    spectacles: Spectacles
    frame: Frame
    brief: Brief
    conditions: tuple[Condition, ...] = ()
    fault: Fault | None = None
    zero_error: float = 0.0

    @property
    def ordered(self) -> tuple[Prescription, Prescription]:
        """What right and left were ordered to."""
        return self.order.right.line, self.order.left.line

    # --- as it lies on the bench ------------------------------------------------------

    def as_found(self, mended: Collection[str] = ()) -> Spectacles:
        """The pair as it lies on the stage.

        Parameters
        ----------
        mended : collection of {"temple twisted", "front bent", "smeared"}
            What has been put right since it came in.
        """
        return laid_down(self.spectacles, self.conditions, mended)

    # --- what it is, asked of the lenses ----------------------------------------------

    @property
    def style(self) -> str:
        """Lens style, told from the lenses."""
        lens = self.spectacles.right.lens
        if isinstance(lens, Progressive):
            return PROGRESSIVE
        if isinstance(lens, Multifocal):
            return TRIFOCAL if lens.segment.intermediate_mm else BIFOCAL
        return SINGLE_VISION

    # Marking asks for these again and again; each is asked of the lenses once.

    @cached_property
    def _powers(self) -> dict[str, Power]:
        places = {eye: self.lens_point_mm(eye, "distance") or (0.0, 0.0) for eye in "RL"}
        return {eye: self.spectacles.mounted(eye).lens.over_stop(*at).read for eye, at in places.items()}

    @cached_property
    def _prisms(self) -> dict[str, Prism]:
        return {eye: self.spectacles.mounted(eye).lens.over_stop(0.0, 0.0).prism for eye in "RL"}

    @cached_property
    def _additions(self) -> dict[str, float | None]:
        lenses = {eye: self.spectacles.mounted(eye).lens for eye in "RL"}
        return {
            eye: lens.addition_read() if isinstance(lens, Multifocal | Progressive) else None
            for eye, lens in lenses.items()
        }

    def lens_point_mm(self, eye: str, part: str) -> tuple[float, float] | None:
        """Where a part of a lens lies, from its reference point, millimetres.

        Parameters
        ----------
        eye : {"R", "L"}
            The lens.
        part : str
            One of `PARTS`. None where the lens has no such part.
        """
        if part not in PARTS:
            raise ValueError(f"part is one of {', '.join(PARTS)}, not {part!r}")
        lens = self.spectacles.mounted(eye).lens
        if part == "prism":
            return (0.0, 0.0)
        if not isinstance(lens, Multifocal | Progressive):
            return (0.0, 0.0) if part == "distance" else None
        if part == "height":
            return lens.segment_top if isinstance(lens, Multifocal) else lens.fitting_cross
        return lens.distance_reference_point if part == "distance" else lens.near_reference_point

    def point_mm(self, eye: str, part: str) -> tuple[float, float] | None:
        """Where a part of a lens lies in the pair: x from the middle of the bridge, y from the datum line."""
        place = self.lens_point_mm(eye, part)
        if place is None:
            return None
        x, y = self.spectacles.reference_point_mm(eye)
        return x + place[0], y + place[1]

    def power(self, eye: str) -> Power:
        """Back vertex power read at the distance reference point, through the whole stop."""
        return self._powers[eye]

    def prism(self, eye: str) -> Prism:
        """Prism at the prism reference point, as it really is; thinning prism included."""
        return self._prisms[eye]

    def thinning(self, eye: str) -> Prism:
        """The part of the prism that only makes a progressive thinner."""
        lens = self.spectacles.mounted(eye).lens
        return Prism.from_base(getattr(lens, "thinning", 0.0), "down", eye)

    def addition_side(self, eye: str) -> str | None:
        """The side that carries the addition, which lies on the stop when it is measured."""
        return getattr(self.spectacles.mounted(eye).lens, "carried_by", None)

    def addition(self, eye: str) -> float | None:
        """The addition, near less distance on the side that carries it; none for single vision."""
        return self._additions[eye]

    @cached_property
    def _additions_by_lines(self) -> dict[str, tuple[float, float]]:
        lenses = {eye: self.spectacles.mounted(eye).lens for eye in "RL"}
        return {
            eye: lens.additions_by_lines()
            for eye, lens in lenses.items()
            if isinstance(lens, Multifocal | Progressive)
        }

    def addition_span(self, eye: str) -> tuple[float, float] | None:
        """The addition by either lines, the less first, and their mean between them; none for single vision."""
        read = self._additions_by_lines.get(eye)
        return None if read is None else (min(read), max(read))

    def pd_mm(self, eye: str) -> float:
        """Monocular distance to the prism reference point, millimetres."""
        return self.spectacles.mounted(eye).pd_mm

    def height_mm(self, eye: str) -> float | None:
        """Height of segment top or fitting cross over the lowest point of the lens; none for single vision."""
        place = self.point_mm(eye, "height")
        return None if place is None else self.frame.height_above_rim_mm(place[1])

    def record(self) -> PairRecord:
        """The pair as it is, to the hundredth, to be held against its order.

        The prism is that met where the order wants its prism.
        """
        return PairRecord(right=self._lens_record("R"), left=self._lens_record("L"), lens=kind_of(self.style))

    def _lens_record(self, eye: str) -> LensRecord:
        order, mounted = self.order.of(eye), self.spectacles.mounted(eye)
        assert order.pd_mm is not None and order.centre_height_mm is not None, "every order says where"
        sphere, cylinder, axis = (float(value) for value in self.power(eye).sphere_cylinder())
        sphere, cylinder = round(sphere, 2), round(cylinder, 2)
        add = self.addition(eye)
        wanted = self.spectacles.over_stop(eye, -nasal(eye) * order.pd_mm, order.centre_height_mm).prism
        # Where prism that nobody ordered is met at the reference point, no optical centre was found.
        is_centre = bool(order.line.prism) or (self.prism(eye) - self.thinning(eye)).amount < READ_PRISM
        return LensRecord(
            line=Prescription(
                sphere=sphere,
                cylinder=cylinder,
                axis=whole_axis(axis) if cylinder else None,
                add=None if add is None else round(add, 2),
                eye=eye,
            ),
            prism=wanted - self.thinning(eye),
            pd_mm=mounted.pd_mm,
            centre_height_mm=mounted.height_mm if is_centre else None,
            height_mm=self.height_mm(eye),
            base_curve=self._base_curve(eye),
        )

    def _base_curve(self, eye: str) -> float | None:
        """The front curve, where one was ordered."""
        return None if self.order.of(eye).base_curve is None else self.front_curve(eye)

    def front_curve(self, eye: str) -> float | None:
        """What a lens measure shows of the front, dioptres; none for a lens without surfaces."""
        lens = self.spectacles.mounted(eye).lens
        if isinstance(lens, ThickLens):
            return float(lens.front.mean)
        return lens.front_curve if isinstance(lens, Multifocal | Progressive) else None

    def written(self, form: str = "minus") -> PairRecord:
        """The pair as a careful reader writes it: each thing on its step, centre heights on no ticket."""
        right, left = (self._lens_written(eye, form) for eye in "RL")
        return PairRecord(right=right, left=left, lens=kind_of(self.style))

    def _lens_written(self, eye: str, form: str) -> LensRecord:
        add, height, prism = self.addition(eye), self.height_mm(eye), on_the_rings(self.prism(eye), eye)
        line = replace(
            settle(self.power(eye), form=form).choice,
            eye=eye,
            prism=prism,
            no_prism=not prism,
            add=None if add is None else settled_add(add),
        )
        return LensRecord(
            line=line,
            pd_mm=by_rule(self.pd_mm(eye)),
            height_mm=None if height is None else by_rule(height),
            base_curve=self._base_curve(eye),
        )

    # --- whether it came out as it was meant --------------------------------------------

    def _as_wanted(self) -> bool:
        """Whether a good pair passes its table, and a faulty one fails in what it was made for alone."""
        standard = load(self.brief.table)
        for found in (self.record(), self.written()):
            held = verify(standard, self.order, found)
            if {verdict.quantity for verdict in held.failures} != set(self.fault.shows if self.fault else ()):
                return False
            if self.fault:
                if any(verdict.eye not in (None, *self.fault.off) for verdict in held.failures):
                    return False
            elif held.passed is None:
                # Nothing may stay open but what the table is silent about even of a pair just as ordered.
                right, left = (
                    replace(each, prism=each.written_prism(eye) or Prism.none())
                    for eye, each in (("R", self.order.right), ("L", self.order.left))
                )
                best = verify(standard, self.order, replace(self.order, right=right, left=left))
                if not _open(held) <= _open(best):
                    return False
        return True


def _open(held: Verification) -> set[str]:
    """What weighs and was not judged."""
    return {verdict.quantity for verdict in held.unjudged if verdict.weighs}


def _as_written(brief: Brief, zero_error: float) -> Specimen:
    """The pair of a brief that names its lenses, ground to exactly that."""
    lines = parse_pair(brief.lenses)
    right, left = (
        Mounted(lens=SingleVision(power=line.power, prism=Prism.of_parts(line.prism, eye)))
        for eye, line in zip("RL", lines, strict=True)
    )
    first, second = (
        LensRecord(line=line, pd_mm=each.pd_mm, centre_height_mm=each.height_mm)
        for line, each in zip(lines, (right, left), strict=True)
    )
    return Specimen(
        order=PairRecord(right=first, left=second),
        spectacles=Spectacles(right=right, left=left),
        frame=Frame.marked("50-18", lens_height_mm=34.0),
        brief=brief,
        zero_error=zero_error,
    )


def make(brief: Brief, seed: int) -> Specimen:
    """Make one pair.

    Parameters
    ----------
    brief : Brief
        What kind of pair is wanted.
    seed : int
        The same seed and brief always give the same pair.

    Raises
    ------
    OpticsError
        Where no pair could be made as the brief wants it.

    Examples
    --------
    >>> pair = make(Brief(), seed=7)
    >>> pair.ordered == make(Brief(), seed=7).ordered
    True
    >>> from optics.specimens.briefs import brief_for
    >>> pair = make(brief_for("progressive", 2), seed=7)
    >>> pair.style, abs(pair.addition("R") - pair.ordered[0].add) < 0.12
    ('progressive', True)
    """
    if brief.style == ANY_STYLE:
        brief = replace(brief, style=str(stream(seed, "style").choice(STYLES)))
    zero = brief.zero_error
    if brief.fault == ZERO_ERROR and not zero:
        rng = stream(seed, ZERO_ERROR)
        zero = float(rng.choice([-1, 1]) * rng.choice(ZERO_ERRORS))
    if brief.lenses:
        return _as_written(brief, zero)
    for pair in made(brief, seed):
        specimen = Specimen(
            order=pair.job.order,
            spectacles=pair.spectacles,
            frame=pair.job.frame,
            brief=brief,
            conditions=conditions_of(brief, seed),
            fault=pair.fault,
            zero_error=zero,
        )
        if specimen._as_wanted():
            return specimen
    raise OpticsError(
        f"No pair came out as the brief wants it{f', with the fault {brief.fault}' if brief.fault else ''}.",
        f"{WEARERS} orders were tried against {brief.table}.",
        "Widen the powers of the brief, or ask for another fault.",
    )
