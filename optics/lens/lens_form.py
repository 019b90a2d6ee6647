"""The form of a lens: which curves give its power.

The same thin lens can be made with many pairs of curves. Written by its
surfaces, a toric lens names the sphere on one side and, on the other, the base
curve and the cross curve, each with its axis.

References
----------
Base curve rule: "Ophthalmic Lenses" (textbook), p. 25 (read). Toric form: worked
stations of an ophthalmology mock examination (read).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from optics.errors import OpticsError
from optics.lens.angles import _plain, right_angle_to
from optics.lens.power import Power
from optics.lens.prescription import Prescription, written


def base_curve(power: Power) -> Any:
    """A usual base curve for a power, by a rule of thumb.

    Parameters
    ----------
    power : Power
        Back vertex power, one lens or an array.

    Returns
    -------
    float or ndarray
        Front curve, dioptres: the spherical equivalent plus 4 for a plus lens,
        plus 8 for a minus lens, and not below plano.

    Notes
    -----
    A guess from which to start, in a textbook (see the module). Other shops halve
    the equivalent and add 6 for minus lenses (from memory); makers print their
    own charts.

    Examples
    --------
    >>> base_curve(Power.from_sphere_cylinder(-4.00, -1.00, 180))
    3.5
    """
    mean = np.asarray(power.mean)
    return _plain(np.maximum(mean + np.where(mean > 0.0, 4.0, 8.0), 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class ToricForm:
    """A lens written by its surfaces: a sphere on one side, a toric curve on the other.

    Parameters
    ----------
    sphere : float
        Power of the spherical surface, dioptres.
    base, cross : float
        The weaker and the stronger curve of the toric surface, dioptres.
    base_axis, cross_axis : int
        Their axes, degrees, at right angles.
    """

    sphere: float
    base: float
    base_axis: int
    cross: float
    cross_axis: int

    @property
    def toric(self) -> Power:
        """Power of the toric surface."""
        return Power.from_sphere_cylinder(0.0, self.base, self.base_axis) + Power.from_sphere_cylinder(
            0.0, self.cross, self.cross_axis
        )

    @property
    def power(self) -> Power:
        """Power of the thin lens with these surfaces."""
        return Power.from_sphere_cylinder(self.sphere) + self.toric

    def __str__(self) -> str:
        return (
            f"{written(self.sphere)} DS / {written(self.base)} x {self.base_axis:03d}"
            f" / {written(self.cross)} x {self.cross_axis:03d}"
        )


def toric_form(prescription: Prescription, base: float) -> ToricForm:
    """Write a thin lens on a chosen base curve.

    Transpose to the cylinder sign of the base curve; the base curve stands at
    right angles to that axis, the cross curve is the base curve plus the
    cylinder on that axis, and the sphere is what is left.

    Parameters
    ----------
    prescription : Prescription
        The lens.
    base : float
        Base curve, dioptres, plus or minus.

    Raises
    ------
    OpticsError
        For a lens without cylinder, or a base curve without power.

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> print(toric_form(parse("+3.00 -1.00 x 180"), +6.00))
    -4.00 DS / +6.00 x 180 / +7.00 x 090
    """
    if prescription.axis is None:
        raise OpticsError(
            f"The lens is {prescription.distance}.",
            "A toric surface is for a lens with a cylinder.",
            "Write it with two spherical surfaces.",
        )
    if base == 0:
        raise OpticsError(
            "The base curve is 0.00 D.", "A toric surface has a curve to stand on.", "Choose about 6 D."
        )
    same = prescription.to_plus_cylinder() if base > 0 else prescription.to_minus_cylinder()
    assert same.axis is not None, "a lens with an axis keeps one in either form"
    return ToricForm(
        sphere=same.sphere - base,
        base=base,
        base_axis=int(right_angle_to(same.axis)),
        cross=base + same.cylinder,
        cross_axis=same.axis,
    )
