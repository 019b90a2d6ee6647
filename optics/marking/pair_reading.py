"""Reading a whole pair rightly or wrongly: from a manner of reading to what is read.

A wrong manner is done with the real lenses: the stop stands in the wrong place, the
wrong side lies on it, the frame is still bent. So the wrong answer is the one that
this pair would give, and a habit that costs nothing on a pair gives the right one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

from optics.judging.settling import settle
from optics.lens.angles import rotation
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import Prism
from optics.marking.habits import Slip, Triple
from optics.marking.read import EYES
from optics.specimens.briefs import CONDITIONS
from optics.specimens.specimen import Specimen
from optics.specimens.steps import by_rule, prism_read, settled_add

__all__ = ["GEOMETRIC_CENTRE", "PRISM_POINT", "LensRead", "Manner", "PairReader", "written_ticket"]

GEOMETRIC_CENTRE = "geometric centre"
"""The middle of the lens in its rim: where one looks who looks for no marks."""
PRISM_POINT = "prism"
OTHER = {"R": "L", "L": "R"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Manner:
    """How somebody goes about reading a pair; as it stands here, rightly.

    Parameters
    ----------
    left_as_found : tuple of str
        Conditions of the pair that were not put right before reading.
    distance_at : str
        Where the distance power is read: a part of the lens, or `GEOMETRIC_CENTRE`.
    prism_at : str
        Where the prism is read, likewise.
    other_side : bool
        Whether near and distance are read with the wrong side on the stop.
    near_total : bool
        Whether the near reading itself is written as the addition.
    reversed_base : tuple of (str, str)
        Lens whose base is named the wrong way round, and whether "across" only or
        "all" of it.
    exchanged : str
        "" for no; "lenses" where each lens is written for the other eye, "all"
        where its distance and height go with it.
    in_centimetres : tuple of str
        Which lengths are written in centimetres: "pd", "height".
    eyepiece : float
        What every power is read too high by, dioptres.
    writing : tuple of (str, Slip)
        Habits of reading and writing a line, in turn, with the eyes they touch.
    """

    left_as_found: tuple[str, ...] = ()
    distance_at: str = "distance"
    prism_at: str = PRISM_POINT
    other_side: bool = False
    near_total: bool = False
    reversed_base: tuple[str, str] = ("", "")
    exchanged: str = ""
    in_centimetres: tuple[str, ...] = ()
    eyepiece: float = 0.0
    writing: tuple[tuple[str, Slip], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LensRead:
    """What somebody reads of one lens, before it is settled.

    Parameters
    ----------
    line : Triple or None
        Sphere, cylinder and axis in the form they would be written in; None where a
        habit does not show on this lens.
    add, pd_mm, height_mm : float, optional
        Dioptres and millimetres (or what is taken for millimetres).
    prism : Prism
        As it would be written for this eye.
    """

    line: Triple | None
    add: float | None
    prism: Prism
    pd_mm: float
    height_mm: float | None


class PairReader:
    """Reads one pair in any manner, asking each place of each lens only once.

    Parameters
    ----------
    pair : Specimen
        The pair as it comes in.
    form : {"minus", "plus"}
        The cylinder form asked for.
    """

    def __init__(self, pair: Specimen, form: str = "minus") -> None:
        self.pair, self.form = pair, form
        self._met: dict[tuple, OverStop] = {}

    @cached_property
    def right(self) -> dict[str, LensRead]:
        """What is read rightly."""
        return self.read(Manner())

    def read(self, manner: Manner) -> dict[str, LensRead]:
        """What is read in a manner, by eye."""
        return {eye: self._lens(manner, eye) for eye in "RL"}

    # --- the lens over the stop ----------------------------------------------------------

    def _over_stop(self, eye: str, where: str, against: str, left_as_found: tuple[str, ...]) -> OverStop:
        key = (eye, where, against, left_as_found)
        if key not in self._met:
            mended = tuple(name for name in CONDITIONS if name not in left_as_found)
            lying = self.pair.as_found(mended).mounted(eye).lens
            self._met[key] = lying.over_stop(*self._place(eye, where, left_as_found), against)
        return self._met[key]

    def _place(self, eye: str, where: str, left_as_found: tuple[str, ...]) -> tuple[float, float]:
        """Where a part of a lens stands, from its reference point; a turned lens takes its parts along."""
        if where == GEOMETRIC_CENTRE:
            # Found in the rim, so it does not turn with the lens.
            x, y = self.pair.spectacles.reference_point_mm(eye)
            middle = self.pair.frame.boxing_centre_mm(eye)
            return middle[0] - x, middle[1] - y
        place = self.pair.lens_point_mm(eye, where)
        assert place is not None, "asked only of lenses that have it"
        turned = sum(
            each.turned_degrees
            for each in self.pair.conditions
            if each.name in left_as_found and each.eye == eye
        )
        x, y = (rotation(turned) @ place).tolist()
        return x, y

    # --- one lens ------------------------------------------------------------------------

    def _lens(self, manner: Manner, eye: str) -> LensRead:
        laid = OTHER[eye] if manner.exchanged else eye
        places = laid if manner.exchanged == "all" else eye
        power = self._over_stop(laid, manner.distance_at, BACK, manner.left_as_found).read
        shifted = power + Power.from_sphere_cylinder(manner.eyepiece)
        line: Triple | None = Triple(*(float(value) for value in shifted.sphere_cylinder(self.form)))
        for eyes, habit in manner.writing:
            line = habit.shown(line, self.form) if line is not None and eye in eyes else line
        pd, height = self.pair.pd_mm(places), self.pair.height_mm(places)
        return LensRead(
            line=line,
            add=self._add(manner, laid),
            prism=self._prism(manner, laid, eye),
            pd_mm=pd / 10.0 if "pd" in manner.in_centimetres else pd,
            height_mm=height / 10.0 if height is not None and "height" in manner.in_centimetres else height,
        )

    def _add(self, manner: Manner, laid: str) -> float | None:
        side = self.pair.addition_side(laid)
        if side is None:
            return None
        if manner.other_side:
            side = BACK if side == FRONT else FRONT
        near = self._over_stop(laid, "near", side, manner.left_as_found).read
        if manner.near_total:
            return float(near.sphere_cylinder(self.form)[0]) + manner.eyepiece
        distance = self._over_stop(laid, manner.distance_at, side, manner.left_as_found).read
        return float(near.mean - distance.mean)

    def _prism(self, manner: Manner, laid: str, eye: str) -> Prism:
        prism = self._over_stop(laid, manner.prism_at, BACK, manner.left_as_found).prism
        turned_eye, how_much = manner.reversed_base
        if turned_eye != eye:
            return prism
        return -prism if how_much == "all" else prism.turned_over()


def written_ticket(
    reader: PairReader, read: dict[str, LensRead], keep: Callable[[str], bool] = lambda name: True
) -> dict[str, str] | None:
    """The ticket that somebody writes who has read this; every value settled on its steps.

    Parameters
    ----------
    reader : PairReader
        Of the pair that was read.
    read : dict of str to LensRead
        What was read, by eye.
    keep : callable
        Which fields are filled in.

    Returns
    -------
    dict of str to str or None
        As `optics.marking.read.read_answer` takes it; None where it could
        not be written: a habit that does not show, or an addition that is not above 0.
    """
    ticket = {"style": reader.pair.style}
    for eye, side in EYES.items():
        lens = read[eye]
        if lens.line is None or (lens.add is not None and settled_add(lens.add) <= 0):
            return None
        # In whatever form it was read in: a habit may have turned it.
        form = "minus" if lens.line.cylinder < 0 else "plus"
        ticket[side] = settle(Power.from_sphere_cylinder(*lens.line), form=form).choice.distance
        ticket[f"prism_{side}"] = prism_read(lens.prism, eye) or "none"
        small = lens.pd_mm < 10.0
        ticket[f"pd_{side}"] = f"{lens.pd_mm:.1f}" if small else f"{by_rule(lens.pd_mm):g}"
        if lens.add is not None:
            ticket[f"add_{side}"] = written(settled_add(lens.add))
        if lens.height_mm is not None:
            small = lens.height_mm < 10.0
            ticket[f"height_{side}"] = f"{lens.height_mm:.1f}" if small else f"{by_rule(lens.height_mm):g}"
    return {name: text for name, text in ticket.items() if keep(name)}
