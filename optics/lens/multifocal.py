"""A lined multifocal: distance lens and segment, and what each point of it reads.

The segment changes the power of the surface that carries it, by the addition,
and has an optical centre of its own. So the prism met in the segment is that of
the distance lens at the point plus that of a small lens of the addition's power
about the segment's centre.

An addition worked on the front is read truly with the front against the stop.
Read from the back it comes out too strong, the more so the thicker and steeper
the lens: the thick-lens numbers are in `optics.lens.thick`.

The instrument held across the line shows both parts at once, one picture over the
other; `over_stop` tells of the middle of the stop, and its rays of all of it.

References
----------
Prism at near from a segment, and segments of unequal size: "Ophthalmic Lenses"
(textbook), p. 121 (read). The side to read an addition from: ISO 8980 and
ISO 21987 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError
from optics.lens.laid_flat import (
    Body,
    Curve,
    Shape,
    Sheet,
    WithAddition,
    checked_side,
    usual_front_curve,
    usual_thickness_mm,
)
from optics.lens.lens import BACK, FRONT
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import Prism, nasal
from optics.lens.segment import Segment
from optics.lens.surface import checked_index
from optics.lens.thick import THICKEST_MM, back_vertex_power

CLEAR_OF_LINE_MM = 5.0
"""How far from the line the middle of an 8 mm stop must be, with a millimetre to spare."""

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Carrying(Sheet):
    """A surface that carries a segment: what its curve gains there, per millimetre."""

    sheet: Sheet
    segment: Segment
    curvature: float
    top: Point

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        return self.sheet.shape(x_mm, y_mm)

    def added(self, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray]:
        own = np.stack([x_mm, y_mm], -1) - self.top
        gained = self.curvature * self.segment.share(own[..., 0], own[..., 1])[..., None]
        return gained * (own - self.segment.centre_mm), gained[..., None] * np.eye(2)

    def line(self) -> dict[str, Any]:
        return {**self.segment.measures(), "curvature": self.curvature, "top": list(self.top), "degrees": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Multifocal(WithAddition):
    """A bifocal or trifocal lens with visible lines.

    Parameters
    ----------
    power : Power
        Distance power, back vertex.
    addition : float
        Dioptres, above 0.
    eye : {"R", "L"}
        Decides which way nasal is.
    segment : Segment
        Its shape.
    top_mm : float
        Height of the segment's upper line above the distance reference point,
        usually negative.
    inset_mm : float
        How far the middle of the segment lies to the nasal side.
    prism : Prism
        Ordered prism at the distance reference point.
    front_curve : float, optional
        Front surface power in the distance, dioptres; a usual one if left out.
    centre_thickness_mm : float, optional
        Thickness; a usual one if left out. With 0 it is a thin lens.
    index : float
        Refractive index.
    carried_by : {"front", "back"}
        The surface that carries the segment.

    Raises
    ------
    OpticsError
        For a measure that no such lens has.

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> lens = Multifocal.made_to(
    ...     power=parse("+6.00 DS").power, addition=2.50, eye="R", front_curve=9.00, centre_thickness_mm=6
    ... )
    >>> round(lens.addition_read("front"), 2), round(lens.addition_read("back"), 2)
    (2.5, 2.9)
    """

    power: Power
    addition: float
    eye: str
    segment: Segment = field(default_factory=Segment)
    top_mm: float = -4.0
    inset_mm: float = 2.0
    prism: Prism = field(default_factory=Prism.none)
    front_curve: float | None = None
    centre_thickness_mm: float | None = None
    index: float = 1.5
    carried_by: str = FRONT
    body: Body = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        nasal(self.eye)
        checked_index(self.index)
        checked_side(self.carried_by)
        if not 0.0 < self.addition <= 8.0:
            raise OpticsError(
                f"The addition is {written(self.addition)} D.",
                "It is above 0 and not more than +8.00 D.",
                "Subtract the distance reading from the near reading again.",
            )
        put = object.__setattr__
        curve, thickness_mm = self.front_curve, self.centre_thickness_mm
        if curve is None:
            curve = usual_front_curve(self.power)
        if thickness_mm is None:
            thickness_mm = usual_thickness_mm(self.power, self.addition, self.index)
        put(self, "front_curve", curve)
        put(self, "centre_thickness_mm", thickness_mm)
        if not 0.0 <= thickness_mm <= THICKEST_MM:
            raise OpticsError(
                f"The centre thickness is {thickness_mm:g} mm.",
                f"It lies between 0 and {THICKEST_MM:g} mm.",
                "Most lenses are 2 to 6 mm thick at the centre.",
            )
        front = Power.from_sphere_cylinder(curve)
        through = back_vertex_power(front, front * 0.0, thickness_mm, self.index)
        sheets: dict[str, Sheet] = {
            FRONT: Curve.of(front, self.index, FRONT),
            BACK: Curve.of(self.power - through, self.index, BACK),
        }
        # More plus is more sag in front and less behind.
        gained = self.addition / (1000.0 * (self.index - 1.0)) * (1.0 if self.carried_by == FRONT else -1.0)
        sheets[self.carried_by] = _Carrying(sheets[self.carried_by], self.segment, gained, self.segment_top)
        body = Body(
            front=sheets[FRONT],
            back=sheets[BACK],
            thickness_mm=thickness_mm,
            index=self.index,
            ground=self.prism.vector,
        )
        put(self, "body", body)

    @classmethod
    def made_to(cls, *, addition: float, **measures: Any) -> Multifocal:
        """The lens whose addition is read as ordered, in the near circle, on the side that carries it.

        Away from the middle of a lens light leaves slantwise, and the addition ground
        into the segment is read a few hundredths higher or lower.
        """
        ground = addition
        for _ in range(2):
            made = cls(addition=ground, **measures)
            ground += addition - made.addition_read()
        return cls(addition=ground, **measures)

    # --- where things lie ------------------------------------------------------------

    @property
    def segment_top(self) -> Point:
        """Middle of the segment's upper line, millimetres from the distance reference point."""
        return (nasal(self.eye) * self.inset_mm, self.top_mm)

    @property
    def segment_centre(self) -> Point:
        """Optical centre of the segment, millimetres from the distance reference point."""
        return (self.segment_top[0], self.top_mm + self.segment.centre_mm[1])

    @property
    def distance_reference_point(self) -> Point:
        """Where the distance power is read, clear of the segment, millimetres."""
        return (0.0, max(0.0, self.top_mm + CLEAR_OF_LINE_MM))

    @property
    def near_reference_point(self) -> Point:
        """Where the near power is read, with the stop inside the reading part, millimetres."""
        line = self.top_mm + self.segment.reading_line_mm
        return (self.segment_top[0], line - max(self.segment.centre_below_line_mm, CLEAR_OF_LINE_MM))

    def part_at(self, x_mm: float, y_mm: float) -> str:
        """What lies at a point: "distance", "intermediate" or "near"."""
        return self.segment.part_at(x_mm - self.segment_top[0], y_mm - self.top_mm)

    def lines_mm(self) -> tuple[NDArray[np.float64], ...]:
        """The segment's lines in the coordinates of the lens; see `Segment.lines_mm`."""
        return tuple(line + self.segment_top for line in self.segment.lines_mm())
