"""A lens of two surfaces and a thickness: why its back and its front read differently.

Light from a distant object meets the front surface F1, crosses the thickness t
in index n, and meets the back surface F2. With the reduced thickness c = t/n,
every surface a matrix (spherical, or toric at any axis):

    back vertex power    F1 (I - c F1)^-1 + F2
    front vertex power   F1 + F2 (I - c F2)^-1
    equivalent power     F1 + F2 - c F2 F1

The vertex powers are symmetric, so each can be written as sphere, cylinder and
axis. The equivalent power is not, where two toric surfaces cross obliquely, and
then no prescription can be written for it.

On the focimeter the surface that lies on the stop meets the axis square. The
vertex power of that side is read; an addition worked on the front surface is
therefore read truly with the front against the stop, and too strong from the
back.

References
----------
Formulae: standard; the matrix form after W. F. Long 1976 and Keating (from
memory). Reading an addition on the side that carries it: ISO 8980 and ISO 21987
(from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.angles import _plain
from optics.lens.laid_flat import Body, Curve, TwoSurfaces
from optics.lens.lens import BACK, FRONT
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.surface import checked_index, sagitta_mm

MM_PER_M = 1000.0
THICKEST_MM = 40.0


def _reduced(thickness_mm: ArrayLike, index: float) -> NDArray[np.float64]:
    """Thickness over index in metres, ready to multiply matrices."""
    return np.asarray(thickness_mm, dtype=float)[..., None, None] / MM_PER_M / checked_index(index)


def back_vertex_power(front: Power, back: Power, thickness_mm: ArrayLike, index: float) -> Power:
    """Back vertex power of two surfaces.

    Parameters
    ----------
    front, back : Power
        Surface powers in the lens's own index, dioptres; one or arrays.
    thickness_mm : float or array_like
        Centre thickness, millimetres.
    index : float
        Index of the lens.

    Examples
    --------
    >>> curve = Power.from_sphere_cylinder
    >>> round(back_vertex_power(curve(+8.00), curve(-2.00), 6, 1.5).mean, 2)
    6.26
    """
    f1, c = front.matrix, _reduced(thickness_mm, index)
    return Power.from_matrix(f1 @ np.linalg.inv(np.eye(2) - c * f1) + back.matrix)


@dataclass(frozen=True, slots=True, kw_only=True)
class ThickLens(TwoSurfaces):
    """A lens as it is made: two surfaces, a thickness, an index.

    Parameters
    ----------
    front, back : Power
        Surface powers in the lens's own index, dioptres, seen from the front.
    centre_thickness_mm : float
        Thickness at the optical centre, millimetres.
    index : float
        Refractive index.
    prism : Prism
        Ground prism, in which case (0, 0) is the point where it is found; with
        none, (0, 0) is the optical centre.

    Raises
    ------
    OpticsError
        For a thickness or an index that no spectacle lens has.

    Examples
    --------
    >>> curve = Power.from_sphere_cylinder
    >>> lens = ThickLens(front=curve(+8.00), back=curve(-2.00), centre_thickness_mm=6, index=1.5)
    >>> round(lens.over_stop(0, 0, "back").power.mean, 2), round(lens.over_stop(0, 0, "front").power.mean, 2)
    (6.26, 6.02)
    """

    front: Power
    back: Power
    centre_thickness_mm: float
    index: float
    prism: Prism = field(default_factory=Prism.none)

    def __post_init__(self) -> None:
        checked_index(self.index)
        if not 0.0 <= self.centre_thickness_mm <= THICKEST_MM:
            raise OpticsError(
                f"The centre thickness is {self.centre_thickness_mm:g} mm.",
                f"It lies between 0 and {THICKEST_MM:g} mm.",
                "Most minus lenses are 1 to 2 mm thick at the centre.",
            )

    @classmethod
    def made_to(
        cls,
        power: Power,
        front: Power,
        centre_thickness_mm: float,
        index: float,
        prism: Prism | None = None,
    ) -> ThickLens:
        """The lens with this back vertex power on this front curve.

        The back surface takes up what the front curve and the thickness leave,
        so any cylinder of `power` that the front does not carry is on the back.
        """
        through = back_vertex_power(front, front * 0.0, centre_thickness_mm, index)
        return cls(
            front=front,
            back=power - through,
            centre_thickness_mm=centre_thickness_mm,
            index=index,
            prism=Prism.none() if prism is None else prism,
        )

    @property
    def back_vertex_power(self) -> Power:
        """Back vertex power: what a prescription means, dioptres."""
        return back_vertex_power(self.front, self.back, self.centre_thickness_mm, self.index)

    @property
    def front_vertex_power(self) -> Power:
        """Front vertex power, axes seen from the front, dioptres."""
        f2, c = self.back.matrix, _reduced(self.centre_thickness_mm, self.index)
        return Power.from_matrix(self.front.matrix + f2 @ np.linalg.inv(np.eye(2) - c * f2))

    @property
    def equivalent_power(self) -> NDArray[np.float64]:
        """Equivalent power, shape (2, 2), dioptres, for light from front to back.

        Its transpose is for light the other way. It is asymmetric where two toric surfaces
        cross obliquely.
        """
        f1, f2 = self.front.matrix, self.back.matrix
        return f1 + f2 - _reduced(self.centre_thickness_mm, self.index) * (f2 @ f1)

    @property
    def body(self) -> Body:
        """The lens as light meets it."""
        return Body(
            front=Curve.of(self.front, self.index, FRONT),
            back=Curve.of(self.back, self.index, BACK),
            thickness_mm=self.centre_thickness_mm,
            index=self.index,
            ground=self.prism.vector,
        )

    def with_front_segment(self, add: float) -> ThickLens:
        """The near portion: the same lens with the addition worked on its front surface."""
        return replace(self, front=self.front + Power.from_sphere_cylinder(add))

    def with_back_segment(self, add: float) -> ThickLens:
        """The near portion of a lens with its addition on the back surface."""
        return replace(self, back=self.back + Power.from_sphere_cylinder(add))

    # --- thickness ---------------------------------------------------------------

    def edge_thickness_mm(self, diameter_mm: float, meridian: ArrayLike = 180.0) -> Any:
        """Thickness at the edge of a round lens centred on its optical centre.

        Parameters
        ----------
        diameter_mm : float
            Finished diameter, millimetres.
        meridian : float or array_like
            Which way from the centre, degrees.

        Returns
        -------
        float or ndarray
            Millimetres; negative where the surfaces cross before the edge. In
            an oblique meridian of a toric surface the sag is that of the sphere
            with the curve along that meridian: exact on the principal ones.
        """
        sag = sagitta_mm(self.front.along(meridian), self.index, diameter_mm)
        return _plain(
            self.centre_thickness_mm - sag - sagitta_mm(self.back.along(meridian), self.index, diameter_mm)
        )

    def with_edge_thickness_mm(self, diameter_mm: float, edge_mm: float) -> ThickLens:
        """The same curves, as thick as leaves this much at the thinnest part of the edge.

        The curves are kept, so the vertex power changes a little with the thickness.
        """
        thinnest = np.min(self.edge_thickness_mm(diameter_mm, np.arange(1, 181)))
        return replace(self, centre_thickness_mm=float(self.centre_thickness_mm + edge_mm - thinnest))
