"""Prism: what a lens does to the direction of light, and how its base is named.

A prism is a vector in prism dioptres (centimetres at one metre) that points to
its base, in the coordinates of the front of the spectacles: x to the viewer's
right, y up. Nasal is +x for the right eye and -x for the left eye, so "base in"
points to +x for R and to -x for L.

References
----------
Prentice's rule with the power matrix: W. F. Long 1976 (from memory); worked
numbers in The Indian Optician, Nov-Dec 2024, pp. 133-134. Notations: common
practice (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError, shown
from optics.lens.angles import _plain, wrapped_base
from optics.lens.power import Power

MM_PER_CM = 10.0
EYES = {"R": "right", "L": "left"}
OTHER_EYE = {"R": "L", "L": "R"}


def nasal(eye: str) -> float:
    """+1 where nasal is the viewer's right (R), -1 where it is the left (L).

    Raises
    ------
    OpticsError
        For anything but R or L.
    """
    if eye not in ("R", "L"):
        raise OpticsError(f"The eye is {shown(eye)}.", "It is R or L.", "Write R for the right lens.")
    return 1.0 if eye == "R" else -1.0


@dataclass(frozen=True, slots=True, eq=False)
class Prism:
    """Prismatic effect of one lens, or of an array of them.

    Parameters
    ----------
    vector : ndarray, shape (..., 2)
        Prism dioptres along x (viewer's right) and y (up); it points to the base.

    Examples
    --------
    >>> p = Prism.from_base(3.0, "up", "R") + Prism.from_base(4.0, "out", "R")
    >>> p.amount
    5.0
    >>> p.bases("R")
    ((4.0, 'out'), (3.0, 'up'))
    """

    vector: NDArray[np.float64]

    def __post_init__(self) -> None:
        vector = np.array(self.vector, dtype=float)
        if vector.shape[-1:] != (2,):
            raise ValueError(f"a prism vector has 2 components last; this has shape {vector.shape}")
        object.__setattr__(self, "vector", vector)

    @classmethod
    def none(cls) -> Prism:
        """No prism."""
        return cls(np.zeros(2))

    @classmethod
    def from_base(cls, amount: ArrayLike, base: str | ArrayLike, eye: str) -> Prism:
        """Prism from its amount and base.

        Parameters
        ----------
        amount : float or array_like
            Prism dioptres.
        base : str or float or array_like
            "in", "out", "up", "down", or degrees (0 to below 360) seen from the front.
        eye : {"R", "L"}
            Decides which way "in" is.
        """
        if isinstance(base, str):
            towards = {
                "in": (nasal(eye), 0.0),
                "out": (-nasal(eye), 0.0),
                "up": (0.0, 1.0),
                "down": (0.0, -1.0),
            }
            if base not in towards:
                raise OpticsError(
                    f'The base is "{base}".', "It is in, out, up or down, or degrees.", "Name it."
                )
            direction = np.array(towards[base])
        else:
            angle = np.deg2rad(np.asarray(base, dtype=float))
            direction = np.stack([np.cos(angle), np.sin(angle)], -1)
        return cls(np.asarray(amount, dtype=float)[..., None] * direction)

    @classmethod
    def of_parts(cls, parts: Iterable[tuple[float, str | float]], eye: str) -> Prism:
        """What a lens's written prisms, each with its base, make together; none of none.

        Examples
        --------
        >>> Prism.of_parts((((4.0, "in"), (3.0, "up"))), "R").amount
        5.0
        """
        total = cls.none()
        for amount, base in parts:
            total = total + cls.from_base(amount, base, eye)
        return total

    @property
    def x(self) -> Any:
        """Component to the viewer's right, prism dioptres."""
        return _plain(self.vector[..., 0])

    @property
    def y(self) -> Any:
        """Component up, prism dioptres."""
        return _plain(self.vector[..., 1])

    @property
    def amount(self) -> Any:
        """Size of the prism, prism dioptres."""
        return _plain(np.hypot(self.vector[..., 0], self.vector[..., 1]))

    @property
    def base_degrees(self) -> Any:
        """Direction of the base in 360 degree notation, seen from the front."""
        return wrapped_base(np.rad2deg(np.arctan2(self.vector[..., 1], self.vector[..., 0])))

    def inward(self, eye: str) -> Any:
        """Horizontal part, base in positive, prism dioptres."""
        return _plain(self.vector[..., 0] * nasal(eye))

    def bases(self, eye: str, ignore_below: float = 1e-9) -> tuple[tuple[float, str], ...]:
        """One prism as the trade writes it: horizontal part, then vertical part.

        Parameters
        ----------
        eye : {"R", "L"}
            Decides which way "in" is.
        ignore_below : float
            Parts of this size or smaller (prism dioptres) are left out.
        """
        inward, up = float(self.inward(eye)), float(self.vector[1])
        parts = ((inward, "in", "out"), (up, "up", "down"))
        return tuple((abs(v), yes if v > 0 else no) for v, yes, no in parts if abs(v) > ignore_below)

    def along(self, degrees: ArrayLike) -> Any:
        """Part of the prism with its base in one direction, prism dioptres: resolving a prism.

        Parameters
        ----------
        degrees : float or array_like
            Base direction, 360 degree notation; the part the other way is negative.

        Examples
        --------
        >>> oblique = Prism.from_base(5.0, 60, "R")
        >>> round(oblique.along(0), 2), round(oblique.along(90), 2)
        (2.5, 4.33)
        """
        angle = np.deg2rad(np.asarray(degrees, dtype=float))
        return _plain(self.vector[..., 0] * np.cos(angle) + self.vector[..., 1] * np.sin(angle))

    def written(self, eye: str, notation: str = "words") -> str:
        """One prism as it is written.

        Parameters
        ----------
        eye : {"R", "L"}
            Decides which way "in" is.
        notation : {"words", "360", "180"}
            Horizontal and vertical part in words; one base direction round the
            whole circle; or one on the axis scale, with up or down beside it (in
            or out where the base is horizontal).

        Examples
        --------
        >>> both = Prism.from_base(2.0, "in", "L") + Prism.from_base(1.5, "down", "L")
        >>> both.written("L"), both.written("L", "360"), both.written("L", "180")
        ('2.00 base in and 1.50 base down', '2.50 base 217', '2.50 base 037 down')
        """
        parts = self.bases(eye, ignore_below=0.005)
        if notation not in ("words", "360", "180"):
            raise ValueError(f'notation is "words", "360" or "180", not {notation!r}')
        if not parts:
            return "no prism"
        if notation == "words":
            return " and ".join(f"{amount:.2f} base {base}" for amount, base in parts)
        whole = int(np.floor(float(self.base_degrees) + 0.5)) % 360
        if notation == "360":
            return f"{self.amount:.2f} base {whole:03d}"
        which = ("up" if whole < 180 else "down") if whole % 180 else parts[0][1]
        return f"{self.amount:.2f} base {whole % 180 or 180:03d} {which}"

    def __add__(self, other: Prism) -> Prism:
        return Prism(self.vector + other.vector)

    def __sub__(self, other: Prism) -> Prism:
        return Prism(self.vector - other.vector)

    def __neg__(self) -> Prism:
        return Prism(-self.vector)

    def turned_over(self) -> Prism:
        """The prism seen from the other side of the lens: left and right change places."""
        return Prism(self.vector * np.array([-1.0, 1.0]))


def prism_at(power: Power, x_mm: ArrayLike, y_mm: ArrayLike) -> Prism:
    """Prism met at a point of a lens, by Prentice's rule for any power.

    Parameters
    ----------
    power : Power
        One lens or an array.
    x_mm, y_mm : float or array_like
        The point, measured from the optical centre, millimetres; x to the
        viewer's right, y up, seen from the front.

    Returns
    -------
    Prism
        -F r with r in centimetres. A plus lens has its base towards the centre,
        a minus lens away from it.

    Examples
    --------
    >>> below = prism_at(Power.from_sphere_cylinder(-3.00), 0, -8)
    >>> [(round(amount, 2), base) for amount, base in below.bases("R")]
    [(2.4, 'down')]
    """
    r_cm = np.stack(np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float)), -1) / MM_PER_CM
    return Prism(-np.einsum("...ij,...j->...i", power.matrix, r_cm))


def decentration_mm(power: Power, prism: Prism) -> NDArray[np.float64]:
    """Where the optical centre must lie for a wanted prism at the point looked through.

    Parameters
    ----------
    power : Power
        One lens.
    prism : Prism
        Wanted prism at the origin.

    Returns
    -------
    ndarray, shape (2,)
        Position of the optical centre seen from that point, millimetres.

    Raises
    ------
    OpticsError
        Where a principal power is zero and the prism asks for it: no
        decentration of that lens can give it.
    """
    higher, higher_meridian, lower, lower_meridian = (float(v) for v in power.principal())
    centre = np.zeros(2)
    for value, meridian in ((higher, higher_meridian), (lower, lower_meridian)):
        along = np.array([np.cos(np.deg2rad(meridian)), np.sin(np.deg2rad(meridian))])
        wanted = float(prism.vector @ along)
        if abs(wanted) < 1e-9:
            continue
        if abs(value) < 1e-9:
            raise OpticsError(
                f"The lens has no power along {meridian:03.0f}.",
                "Decentration gives prism only where there is power.",
                "Order the prism as ground prism.",
            )
        centre += wanted / value * MM_PER_CM * along
    return centre


@dataclass(frozen=True, slots=True)
class Imbalance:
    """Prism difference of a pair, R minus L.

    Parameters
    ----------
    horizontal : float
        Prism dioptres; base in of both eyes adds, positive is base in.
    vertical : float
        Prism dioptres; base up R with base down L adds, positive is base up R.
    """

    horizontal: float
    vertical: float


def imbalance(right: Prism, left: Prism) -> Imbalance:
    """Prism difference of a pair with its signs.

    Vertically, the same base in both eyes cancels; horizontally, base in of one
    eye and base in of the other add (common practice, from memory).

    Examples
    --------
    >>> r = Prism.from_base(2.4, "down", "R")
    >>> l = Prism.from_base(4.8, "down", "L")
    >>> round(imbalance(r, l).vertical, 2)
    2.4
    """
    return Imbalance(
        horizontal=float(right.inward("R") + left.inward("L")),
        vertical=float(right.vector[1] - left.vector[1]),
    )
