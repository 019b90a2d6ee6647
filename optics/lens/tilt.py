"""A lens that does not stand square: tilted, off the stop, or turned in its rim.

The model. A thin lens is a layer whose optical thickness, for a ray at the angle
i in air and i' in the lens, is n cos i' - cos i for each millimetre, instead of
n - 1. Seen along the ray, lengths across the tilt axis are foreshortened by
cos i. Both together turn the power matrix F and the prism vector p into

    k T F T    and    k T p,    k = (n cos i' - cos i) / (n - 1),

with T stretching by 1/cos i across the tilt axis and by nothing along it. It is
what Coddington's equations give for the ray through the pole of a thin lens, for
any power and any tilt axis. For a sphere, and to the second order in the angle,
it is Martin's formula. Which way the lens leans makes no difference.

How far it holds, compared with a traced lens (see the tests): in the limit of a
thin lens it is exact, whatever the curves. A real thickness takes something off.
At 15 degrees both principal powers agree within 0.01 D for minus lenses, within
0.05 D up to +4, within 0.1 D for +6 (5 mm thick), and a +10 lens 6 to 8 mm thick
is overstated by 0.15 to 0.3 D. A thick plus lens also shows prism when it is
tilted, about t/n times its front curve times the angle (1 prism dioptre for +6 at
15 degrees), and the model shows none. So a lens whose surfaces are known is traced
as it leans, and the model is for those of which only the power is.

References
----------
The matrix form is known in the literature: R. Blendowske, "Oblique central
refraction in tilted spherocylindrical lenses", Optom Vis Sci 79 (2002) 68-73
(from memory); W. F. Harris, "Tilted power of thin lenses", Optom Vis Sci 79
(2002) (abstract read). It was derived here as above. Martin's formula:
Keating; Fannin and Grosvenor (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.angles import _plain, mirrored_axis, rotation
from optics.lens.laid_flat import Body, body_of
from optics.lens.lens import BACK, Lens, OverStop, checked_side
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.surface import checked_index
from optics.lens.vertex import power_nearer_eye

STEEPEST_TILT = 45.0
"""Beyond this no spectacle lens stands on a focimeter, and the model has no meaning."""


def _checked_tilt(tilt_degrees: ArrayLike) -> NDArray[np.float64]:
    tilt = np.asarray(tilt_degrees, dtype=float)
    if np.any(np.abs(tilt) > STEEPEST_TILT):
        raise OpticsError(
            f"The tilt is {np.max(np.abs(tilt)):g} degrees.",
            f"It lies between 0 and {STEEPEST_TILT:g} degrees.",
            "A frame worn with a strong lean has about 15.",
        )
    return np.deg2rad(tilt)


def martin(sphere: ArrayLike, tilt_degrees: ArrayLike, index: float = 1.5) -> tuple[Any, Any]:
    """Effective sphere and induced cylinder of a tilted spherical lens, by Martin's formula.

    Parameters
    ----------
    sphere : float or array_like
        Power of the lens, dioptres.
    tilt_degrees : float or array_like
        Tilt, degrees, either way.
    index : float
        Index of the lens; 1.5 gives the form with "divided by 3".

    Returns
    -------
    sphere, cylinder : float or ndarray
        Dioptres. The cylinder has the sign of the sphere and its axis lies along
        the tilt axis: 180 for pantoscopic tilt, 90 for face form.

    Examples
    --------
    >>> sphere, cylinder = martin(+10.00, 15)
    >>> round(sphere, 2), round(cylinder, 2)
    (10.22, 0.73)
    """
    tilt = _checked_tilt(tilt_degrees)
    stronger = np.asarray(sphere, dtype=float) * (1.0 + np.sin(tilt) ** 2 / (2.0 * checked_index(index)))
    return _plain(stronger), _plain(stronger * np.tan(tilt) ** 2)


def _layer(tilt_degrees: ArrayLike, tilt_axis: ArrayLike, index: float) -> tuple[NDArray, NDArray]:
    """The factor k, shape (...), and the stretch T, shape (..., 2, 2)."""
    tilt = _checked_tilt(tilt_degrees)
    cos_air = np.cos(tilt)
    cos_lens = np.sqrt(1.0 - (np.sin(tilt) / checked_index(index)) ** 2)
    factor = (index * cos_lens - cos_air) / (index - 1.0)
    across = np.deg2rad(np.asarray(tilt_axis, dtype=float) + 90.0)
    n = np.stack([np.cos(across), np.sin(across)], -1)
    stretch = np.eye(2) + (1.0 / cos_air - 1.0)[..., None, None] * (n[..., :, None] * n[..., None, :])
    return factor, stretch


def tilted_power(
    power: Power, tilt_degrees: ArrayLike, tilt_axis: ArrayLike = 180.0, index: float = 1.5
) -> Power:
    """What a thin lens of any power is worth when it is tilted.

    Parameters
    ----------
    power : Power
        Power of the lens seen square, one or an array.
    tilt_degrees : float or array_like
        Tilt, degrees, either way.
    tilt_axis : float or array_like
        The line about which it is tilted, degrees: 180 for pantoscopic tilt, 90
        for face form.
    index : float
        Index of the lens.

    Returns
    -------
    Power
        Dioptres, in the plane square to the line of sight.

    Raises
    ------
    OpticsError
        For a tilt above 45 degrees.

    Examples
    --------
    A strong plus lens gains plus cylinder along the tilt axis:

    >>> tilted = tilted_power(Power.from_sphere_cylinder(+10.00), 15)
    >>> sphere, cylinder, axis = tilted.sphere_cylinder("plus")
    >>> round(sphere, 2), round(cylinder, 2), round(axis)
    (10.23, 0.73, 180)
    """
    factor, stretch = _layer(tilt_degrees, tilt_axis, index)
    return Power.from_matrix(factor[..., None, None] * (stretch @ power.matrix @ stretch))


def tilted_prism(
    prism: Prism, tilt_degrees: ArrayLike, tilt_axis: ArrayLike = 180.0, index: float = 1.5
) -> Prism:
    """What a thin prism is worth when it is tilted; parameters as for `tilted_power`.

    Examples
    --------
    >>> up = Prism.from_base(4.0, "up", "R")
    >>> round(tilted_prism(up, 15).amount, 2)
    4.24
    """
    factor, stretch = _layer(tilt_degrees, tilt_axis, index)
    return Prism(factor[..., None] * np.einsum("...ij,...j->...i", stretch, prism.vector))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilted:
    """A lens held out of square, so that the instrument reads what a tilted lens reads.

    Parameters
    ----------
    lens : Lens
        The lens itself.
    tilt_degrees : float
        How far it leans from the plane of the stop, degrees.
    tilt_axis : float
        The line about which it leans, degrees seen from the front.
    off_stop_mm : float
        How far the point over the stop stands off the plane of the stop, towards
        the operator, millimetres.
    index : float
        Index of the lens.

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> flat = SingleVision(power=Power.from_sphere_cylinder(+10.00))
    >>> lifted = Tilted(lens=flat, off_stop_mm=1.0)
    >>> round(lifted.over_stop(0, 0).power.mean, 2)
    10.1
    """

    lens: Lens
    tilt_degrees: float = 0.0
    tilt_axis: float = 180.0
    off_stop_mm: float = 0.0
    index: float = 1.5

    def __post_init__(self) -> None:
        _checked_tilt(self.tilt_degrees)
        checked_index(self.index)

    @property
    def body(self) -> Body | None:
        """The lens as light meets it, if it has surfaces."""
        body = body_of(self.lens)
        return body and replace(
            body, tilt_degrees=self.tilt_degrees, tilt_axis=self.tilt_axis, off_stop_mm=self.off_stop_mm
        )

    def over_stop(self, x_mm: float, y_mm: float, against: str = BACK) -> OverStop:
        """Power, prism and rays met with the point (x_mm, y_mm) of the lens over the stop.

        A lens with surfaces is traced as it leans. Of a thin lens of one power the
        model above is exact; the target's light leaves the stop as if it came from F
        behind the lens, so a gap between stop and lens changes the reading as a gap
        between eye and lens changes a power. Prism is the turning of one ray and does
        not change with the gap.
        """
        if self.body is not None:
            return self.body.over_stop(x_mm, y_mm, against)
        met = self.lens.over_stop(x_mm, y_mm, against)
        axis = self.tilt_axis if checked_side(against) == BACK else mirrored_axis(self.tilt_axis)
        power = tilted_power(met.power, self.tilt_degrees, axis, self.index)
        prism = tilted_prism(met.prism, self.tilt_degrees, axis, self.index)
        return OverStop(power_nearer_eye(power, self.off_stop_mm), prism)


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A lens turned in its rim about its reference point.

    Parameters
    ----------
    lens : Lens
        The lens as it should stand.
    degrees : float
        How far it is turned, anticlockwise seen from the front.

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> lens = SingleVision(power=Power.from_sphere_cylinder(-2.00, -1.50, 90))
    >>> round(Turned(lens=lens, degrees=5).over_stop(0, 0).power.sphere_cylinder()[2])
    95
    """

    lens: Lens
    degrees: float = 0.0

    @property
    def body(self) -> Body | None:
        """The lens as light meets it, if it has surfaces."""
        body = body_of(self.lens)
        return body and body.turned(self.degrees)

    def over_stop(self, x_mm: float, y_mm: float, against: str = BACK) -> OverStop:
        """What is met with the point (x_mm, y_mm), as it now stands, over the stop."""
        if self.body is not None:
            return self.body.over_stop(x_mm, y_mm, against)
        inside = rotation(-self.degrees) @ np.array([x_mm, y_mm], dtype=float)
        met = self.lens.over_stop(float(inside[0]), float(inside[1]), against)
        seen = self.degrees if checked_side(against) == BACK else -self.degrees
        return OverStop(met.power.rotated(seen), Prism(rotation(seen) @ met.prism.vector))
