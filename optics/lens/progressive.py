"""A progressive lens: where its points lie, and what each of them reads.

One surface is progressive (`optics.lens.progressive_surface`), usually the front: the
same for both eyes, symmetrical about its line of sight and turned about the fitting cross
so that near falls to the nasal side. The back, spherical or toric beside what it may
carry, makes the distance power what was ordered.

Points are millimetres from the prism reference point, x to the viewer's right
and y up, seen from the front. What is read at a point is what light meets there:
`over_stop` follows it through both surfaces, in the middle of the stop and, for the
picture, at every point of it.

References
----------
Reference points and their names: ISO 13666 (from memory). Two alignment
reference markings 34 mm apart, the prism reference point midway: "Ophthalmic
Lenses" (textbook), p. 136, and D. Meister, Lens Talk, Oct 1998 (read through a
summary). Addition as near less distance, both with the progressive surface
against the stop: ISO 8980-2 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError
from optics.lens.laid_flat import (
    Body,
    Curve,
    Placed,
    Shape,
    Sheet,
    WithAddition,
    checked_side,
    usual_front_curve,
    usual_thickness_mm,
)
from optics.lens.lens import BACK, FRONT
from optics.lens.numbers import between
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import Prism, nasal
from optics.lens.progressive_surface import ProgressiveSurface
from optics.lens.surface import checked_index
from optics.lens.thick import back_vertex_power

DISTANCE_ABOVE_CROSS_MM = 4.0
NEAR_BELOW_CORRIDOR_MM = 2.0

Point = tuple[float, float]


def thinning_prism(addition: float) -> float:
    """The usual thinning prism for an addition, prism dioptres base down, the same for both eyes.

    Two thirds of the addition. It takes weight out of a lens whose upper edge
    would be thick, and does no harm as long as both eyes have the same.

    References
    ----------
    "What amount of prism thinning" (laboratory page) and D. Meister, Lens Talk,
    Oct 1998 (read through a summary). The latter also prints 0.6 of the addition.

    Examples
    --------
    >>> round(thinning_prism(2.00), 2)
    1.33
    """
    return addition * 2.0 / 3.0


def reference_places(
    eye: str, *, fitting_cross_mm: float, corridor_mm: float, inset_mm: float
) -> dict[str, Point]:
    """Where the points of a design lie: on the lens that is made to it, and on its chart.

    Parameters
    ----------
    eye : {"R", "L"}
        Decides which way nasal is.
    fitting_cross_mm, corridor_mm, inset_mm : float
        As for `Progressive`.

    Returns
    -------
    dict
        "distance", "near", "prism" and "height" (the fitting cross), each (x, y) from the
        prism reference point, millimetres, x to the viewer's right and y up from the front.

    Examples
    --------
    >>> reference_places("R", fitting_cross_mm=4.0, corridor_mm=14.0, inset_mm=2.5)["near"]
    (2.5, -12.0)
    """
    return {
        "distance": (0.0, fitting_cross_mm + DISTANCE_ABOVE_CROSS_MM),
        "near": (nasal(eye) * inset_mm, fitting_cross_mm - corridor_mm - NEAR_BELOW_CORRIDOR_MM),
        "prism": (0.0, 0.0),
        "height": (0.0, fitting_cross_mm),
    }


@dataclass(frozen=True, slots=True)
class _Flattened(Sheet):
    """A back surface that a progressive one is taken from: less hollow is more plus."""

    sheet: Sheet
    by: Sheet

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        pairs = zip(self.sheet.shape(x_mm, y_mm), self.by.shape(x_mm, y_mm), strict=True)
        z, dz, ddz = (own - taken for own, taken in pairs)
        return z, dz, ddz


@dataclass(frozen=True, slots=True, kw_only=True)
class Progressive(WithAddition):
    """A progressive lens.

    Parameters
    ----------
    power : Power
        Distance power, back vertex, as it reads at the distance reference point.
    addition : float
        Dioptres, 0.25 to 4.00.
    eye : {"R", "L"}
        Decides which way nasal is.
    prism : Prism
        Ordered prism at the prism reference point, without thinning.
    thinning : float
        Thinning prism, prism dioptres base down (negative is base up); see
        `thinning_prism` for the usual amount.
    corridor_mm : float
        From the fitting cross down to where the whole addition is reached.
    inset_mm : float
        How far the near reference point lies to the nasal side.
    fitting_cross_mm : float
        Height of the fitting cross above the prism reference point.
    hardness : float
        0 for a soft design to 1 for a hard one.
    front_curve : float, optional
        Front surface power in the distance, dioptres; a usual one if left out.
    centre_thickness_mm : float, optional
        Thickness; a usual one if left out.
    index : float
        Refractive index.
    carried_by : {"front", "back"}
        The surface that carries the progression; the other is a plain one.
    sign : str
        What is engraved under its nasal ring: the maker, and which design where it has a chart.

    Raises
    ------
    OpticsError
        For a measure that no such lens has.

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> lens = Progressive(power=parse("+1.00 -0.50 x 090").power, addition=2.00, eye="R")
    >>> sphere, cylinder, axis = lens.over_stop(*lens.distance_reference_point).read.sphere_cylinder()
    >>> print(f"{sphere:+.2f} {cylinder:+.2f} x {axis:03.0f}")
    +1.00 -0.50 x 090
    >>> f"{lens.addition_read('front'):.1f}", f"{lens.addition_read('back'):.1f}"
    ('2.0', '2.3')
    """

    power: Power
    addition: float
    eye: str
    prism: Prism = field(default_factory=Prism.none)
    thinning: float = 0.0
    corridor_mm: float = 16.0
    inset_mm: float = 2.5
    fitting_cross_mm: float = 4.0
    hardness: float = 0.5
    front_curve: float | None = None
    centre_thickness_mm: float | None = None
    index: float = 1.5
    carried_by: str = FRONT
    sign: str = "Hb"
    body: Body = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        nasal(self.eye)
        checked_index(self.index)
        checked_side(self.carried_by)
        if not 0.25 <= self.addition <= 4.0:
            raise OpticsError(
                f"The addition is {written(self.addition)} D.",
                "Progressive lenses are made from +0.25 to +4.00 D.",
                "Subtract the distance reading from the near reading again.",
            )
        between(self.corridor_mm, 9.0, 22.0, "corridor", " mm", "Most are 11 to 18 mm long.")
        between(self.inset_mm, 0.0, 5.0, "inset", " mm", "Most are about 2.5 mm.")
        between(self.fitting_cross_mm, 0.0, 6.0, "height of the fitting cross", " mm", "Most lie 4 mm up.")
        between(self.hardness, 0.0, 1.0, "hardness", "", "0 is soft, 1 is hard.")
        put = object.__setattr__
        curve, thickness_mm = self.front_curve, self.centre_thickness_mm
        if curve is None:
            curve = usual_front_curve(self.power)
        if thickness_mm is None:
            thickness_mm = usual_thickness_mm(self.power, self.addition, self.index)
        between(curve, 0.0, 9.0, "front curve", " D", "Most lie between 2 and 8 D.")
        between(thickness_mm, 0.0, 20.0, "centre thickness", " mm", "Most are 2 to 6 mm.")
        put(self, "front_curve", curve)
        put(self, "centre_thickness_mm", thickness_mm)
        put(self, "body", self._made(curve, thickness_mm))

    def _made(self, curve: float, thickness_mm: float) -> Body:
        # An addition is what is read of it, so the surface gains a little less or more.
        gain = self.addition
        for _ in range(3):
            body = self._with_gain(gain, curve, thickness_mm)
            near, distance = (
                body.over_stop(*place, self.carried_by).read.mean
                for place in (self.near_reference_point, self.distance_reference_point)
            )
            gain += self.addition - float(near - distance)
        wanted = self.prism.vector - (0.0, self.thinning)
        return replace(body, ground=wanted - body.over_stop(0.0, 0.0).prism.vector)

    def _with_gain(self, gain: float, curve: float, thickness_mm: float) -> Body:
        """The lens that gains so much; its back makes the distance power what was ordered."""
        degrees = float(
            np.rad2deg(np.arctan2(self.inset_mm, self.corridor_mm + NEAR_BELOW_CORRIDOR_MM)) * nasal(self.eye)
        )
        curved, in_front = Power.from_sphere_cylinder(curve), self.carried_by == FRONT
        surface = ProgressiveSurface(
            base=curve if in_front else 0.0,
            addition=gain,
            index=self.index,
            # The corridor is measured straight down, the line of sight slants.
            length_mm=self.corridor_mm / np.cos(np.deg2rad(degrees)),
            hardness=self.hardness,
        )
        placed = Placed(surface, degrees, (0.0, self.fitting_cross_mm))
        back = self.power - back_vertex_power(curved, curved * 0.0, thickness_mm, self.index)
        for _ in range(3):
            plain = Curve.of(back, self.index, BACK)
            body = Body(
                front=placed if in_front else Curve.of(curved, self.index, FRONT),
                back=plain if in_front else _Flattened(plain, placed),
                thickness_mm=thickness_mm,
                index=self.index,
            )
            back = back + (self.power - body.over_stop(*self.distance_reference_point).read)
        return body

    # --- where to read it ----------------------------------------------------------

    @property
    def prism_reference_point(self) -> Point:
        """Where prism is read and the thinning prism found: the origin, millimetres."""
        return (0.0, 0.0)

    @property
    def fitting_cross(self) -> Point:
        """Where the pupil stands when the wearer looks straight ahead, millimetres."""
        return self.places["height"]

    @property
    def distance_reference_point(self) -> Point:
        """Middle of the distance circle, above the fitting cross, millimetres."""
        return self.places["distance"]

    @property
    def near_reference_point(self) -> Point:
        """Middle of the near circle, below and to the nasal side, millimetres."""
        return self.places["near"]

    @property
    def places(self) -> dict[str, Point]:
        """Where its points lie; see `reference_places`."""
        return reference_places(
            self.eye,
            fitting_cross_mm=self.fitting_cross_mm,
            corridor_mm=self.corridor_mm,
            inset_mm=self.inset_mm,
        )
