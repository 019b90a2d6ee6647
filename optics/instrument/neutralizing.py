"""Hand neutralization: what a cross does, seen through a lens that is moved or turned.

The cross stands u in front of the lens and the eye e behind it. A ray from a
point X of the cross crosses the lens at P and goes on to the eye, so

    -P/e = (P - X)/u - F (P - c) + p,

with c the place of the optical centre and p the prism. The eye sees the point
along P, and laid back onto the plane of the cross it is seen at

    (I - F/D)^-1 (X - u F c - u p),   D = 1/u + 1/e .

Everything falls out of that line. Moving a plus lens moves the cross against it,
a minus lens with it. Turning a sphere does nothing; turning a lens with a
cylinder turns the two limbs of the cross opposite ways, like scissors. Prism
shifts the cross towards its apex.

It holds while the power along every meridian is well below D. Above D the cross
is seen upside down and the signs turn round: hold a strong plus lens nearer to
the eye.

A trial lens is laid against the *front* of the spectacle lens, where the surface
lets it touch, so what neutralizes is minus the front vertex power, which for a
thick plus lens is less than the back vertex power on the order (common
practice). It finds a power to about a quarter of a dioptre: a first look, not a
reading.

References
----------
With, against and scissors: common practice (published teaching notes agree). The
formula was derived here as above.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.angles import _plain, rotation, wrapped_axis
from optics.lens.lens import FRONT, Lens
from optics.lens.power import Power
from optics.lens.prism import Prism

WITH = "with"
AGAINST = "against"
NONE = "none"
SCISSORS = "scissors"

LEAST_SEEN = 0.10
"""Power below which the cross is not seen to move, dioptres: an eighth still shows
(common practice, from memory)."""


def neutralizer(lens: Lens) -> Power:
    """The trial lens that stops all movement when laid against the front.

    Parameters
    ----------
    lens : Lens
        The unknown lens.

    Returns
    -------
    Power
        Minus the front vertex power, axes seen from the front.

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> lens = SingleVision(power=Power.from_sphere_cylinder(-2.00, -1.00, 90))
    >>> neutralizer(lens).sphere_cylinder("plus")
    (2.0, 1.0, 90.0)
    """
    return -lens.over_stop(0.0, 0.0, FRONT).power.turned_over()


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A lens held before a cross.

    Parameters
    ----------
    power : Power
        Power of the lens, with any trial lens laid against it, dioptres.
    prism : Prism
        Prism at the reference point.
    from_eye_mm : float
        From the eye to the lens.
    cross_mm : float
        From the lens to the cross.

    Notes
    -----
    Positions are millimetres in the plane of the cross or of the lens, as the
    holder sees them, with the front of the spectacles towards the *holder*: the
    same x and y, and the same axes, as everywhere in this package.

    Examples
    --------
    >>> held = Held(power=Power.from_sphere_cylinder(+2.00))
    >>> held.movement(90)
    'against'
    >>> held.with_trial(Power.from_sphere_cylinder(-2.00)).movement(90)
    'none'
    """

    power: Power
    prism: Prism = field(default_factory=Prism.none)
    from_eye_mm: float = 150.0
    cross_mm: float = 3000.0

    def __post_init__(self) -> None:
        if not (self.from_eye_mm > 0 and self.cross_mm > 0):
            raise OpticsError(
                f"The lens is {self.from_eye_mm:g} mm from the eye and {self.cross_mm:g} mm from the cross.",
                "Both distances are above 0.",
                "Hold the lens between your eye and the cross.",
            )

    def with_trial(self, trial: Power) -> Held:
        """The same with a trial lens laid against it."""
        return replace(self, power=self.power + trial)

    def turned(self, degrees: float) -> Held:
        """The same with the lens turned anticlockwise, as seen."""
        prism = Prism(rotation(degrees) @ self.prism.vector)
        return replace(self, power=self.power.rotated(degrees), prism=prism)

    @property
    def inverting_power(self) -> float:
        """Power above which the cross is seen upside down, dioptres: 1/u + 1/e."""
        return 1000.0 / self.cross_mm + 1000.0 / self.from_eye_mm

    @property
    def upright(self) -> bool:
        """Whether the cross is seen upright in every meridian, so that movement tells the sign."""
        return bool(self.power.principal()[0] < self.inverting_power)

    @property
    def magnification(self) -> NDArray[Any]:
        """How the cross is seen enlarged, shape (2, 2): 1 without power, more for plus."""
        return np.linalg.inv(np.eye(2) - self.power.matrix / self.inverting_power)

    def seen_mm(self, points_mm: ArrayLike, centre_mm: ArrayLike = (0.0, 0.0)) -> NDArray[np.float64]:
        """Where points of the cross are seen, laid back onto the plane of the cross.

        Parameters
        ----------
        points_mm : array_like, shape (..., 2)
            Points of the cross; (0, 0) is straight ahead.
        centre_mm : array_like, shape (..., 2)
            Where the optical centre (with prism: the reference point) of the
            lens is.

        Returns
        -------
        ndarray, shape (..., 2)
            Millimetres. Outside the lens a point is seen where it is.
        """
        point, centre = np.asarray(points_mm, dtype=float), np.asarray(centre_mm, dtype=float)
        # A dioptre bends by 1 mm a metre for each millimetre; a prism dioptre by 10 mm a metre.
        bent = np.einsum("ij,...j->...i", self.power.matrix, centre) + 10.0 * self.prism.vector
        return np.einsum("ij,...j->...i", self.magnification, point - self.cross_mm / 1000.0 * bent)

    def displacement_mm(self, moved_mm: ArrayLike) -> NDArray[np.float64]:
        """How far the centre of the cross moves when the lens is moved.

        Parameters
        ----------
        moved_mm : array_like, shape (..., 2)
            Movement of the lens from any place.

        Returns
        -------
        ndarray, shape (..., 2)
            Movement of the cross, in the plane of the cross. Off the principal
            meridians it is not in line with the movement of the lens.
        """
        return self.seen_mm((0.0, 0.0), moved_mm) - self.seen_mm((0.0, 0.0))

    def seen_direction(self, line: ArrayLike) -> Any:
        """Direction in which a line of the cross is seen through the lens.

        Parameters
        ----------
        line : float or array_like
            Direction of the line, degrees.

        Returns
        -------
        float or ndarray
            Degrees in (0, 180]; the same as `line` only where it lies along a
            principal meridian, or the lens has no cylinder.
        """
        angle = np.deg2rad(np.asarray(line, dtype=float))
        seen = np.einsum("ij,...j->...i", self.magnification, np.stack([np.cos(angle), np.sin(angle)], -1))
        return wrapped_axis(np.rad2deg(np.arctan2(seen[..., 1], seen[..., 0])))

    def rotation_degrees(self, line: ArrayLike, turned_degrees: float) -> Any:
        """How far a line is seen to turn when the lens is turned.

        Parameters
        ----------
        line : float or array_like
            Direction of the line, degrees.
        turned_degrees : float
            How far the lens is turned, anticlockwise.

        Returns
        -------
        float or ndarray
            Degrees, anticlockwise positive, the short way round.
        """
        after = np.asarray(self.turned(turned_degrees).seen_direction(line))
        return _plain((after - np.asarray(self.seen_direction(line)) + 90.0) % 180.0 - 90.0)

    def movement(self, meridian: float, least: float = LEAST_SEEN) -> str:
        """What the cross does when the lens is moved along a meridian.

        Parameters
        ----------
        meridian : float
            Degrees.
        least : float
            Power below which nothing is seen to move, dioptres.

        Returns
        -------
        {"with", "against", "none"}
        """
        angle = np.deg2rad(meridian)
        along = np.array([np.cos(angle), np.sin(angle)])
        share = float(self.displacement_mm(along) @ along)
        if abs(share) < least * self.cross_mm / 1000.0:
            return NONE
        return WITH if share > 0 else AGAINST

    def turning(self, line: float, turned_degrees: float = 10.0, least_degrees: float = 0.25) -> str:
        """What one limb of the cross does when the lens is turned.

        Parameters
        ----------
        line : float
            Direction of the limb, degrees.
        turned_degrees : float
            How far the lens is turned.
        least_degrees : float
            Rotation below which nothing is seen.

        Returns
        -------
        {"with", "against", "none"}
        """
        share = float(self.rotation_degrees(line, turned_degrees)) * np.sign(turned_degrees)
        if abs(share) < least_degrees:
            return NONE
        return WITH if share > 0 else AGAINST

    def turning_of_cross(self, turned_degrees: float = 10.0) -> str:
        """What the whole cross does when the lens is turned from a principal meridian.

        The cross is set with its limbs along the principal meridians first, as
        one does by turning it, or the lens, until they look unbroken.

        Returns
        -------
        {"scissors", "none"}
        """
        axis = float(self.power.principal()[1])
        limbs = {self.turning(axis, turned_degrees), self.turning(axis + 90.0, turned_degrees)}
        return SCISSORS if limbs == {WITH, AGAINST} else NONE
