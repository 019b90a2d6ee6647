"""Dioptric power, free of any way of writing it.

A lens has one power. It can be *written* with minus cylinder, plus cylinder or
as two crossed cylinders; `Power` knows nothing of that. It holds the power
vector (M, J0, J45) and therefore adds, subtracts, compares and turns like any
vector, for one lens or for a million.

Coordinates are those of the front of the spectacles: x to the viewer's right,
y up, angles anticlockwise (see `optics.lens.angles`).

References
----------
W. F. Long, "A matrix formalism for decentration problems", Am J Optom Physiol
Opt 53 (1976) 27-33 (from memory): the power matrix.
L. N. Thibos, W. Wheeler, D. Horner, "Power vectors", Optom Vis Sci 74 (1997)
367-375 (from memory); their 1994 paper in Vision Science and Its Applications 2,
14-17, seen in its opening.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.lens.angles import _plain, wrapped_axis
from optics.lens.kinds import checked_form


@dataclass(frozen=True, slots=True, eq=False)
class Power:
    """The dioptric power of one lens or of an array of lenses.

    Parameters
    ----------
    vector : ndarray, shape (..., 3)
        Mean power M and the two astigmatic components J0 and J45, dioptres.

    Notes
    -----
    M = S + C/2, J0 = -(C/2) cos 2A, J45 = -(C/2) sin 2A for sphere S, cylinder
    C, axis A. The power *along* a meridian m is S + C sin^2(m - A): it is S
    along the axis and S + C at right angles to it.

    Examples
    --------
    >>> minus = Power.from_sphere_cylinder(+2.50, -1.50, 170)
    >>> plus = Power.from_sphere_cylinder(+1.00, +1.50, 80)
    >>> minus.is_close(plus)
    True
    """

    vector: NDArray[np.float64]

    def __post_init__(self) -> None:
        vector = np.array(self.vector, dtype=float)
        if vector.shape[-1:] != (3,):
            raise ValueError(f"a power vector has 3 components last; this has shape {vector.shape}")
        object.__setattr__(self, "vector", vector)

    # --- ways in ---------------------------------------------------------------

    @classmethod
    def from_sphere_cylinder(
        cls, sphere: ArrayLike, cylinder: ArrayLike = 0.0, axis: ArrayLike = 180.0
    ) -> Power:
        """Power of lenses given as sphere, cylinder and axis, in any cylinder form.

        Parameters
        ----------
        sphere, cylinder : float or array_like
            Dioptres; arrays broadcast.
        axis : float or array_like
            Degrees on the TABO scale.
        """
        c = np.asarray(cylinder, dtype=float)
        angle = np.deg2rad(np.asarray(axis, dtype=float))
        sine, cosine = np.sin(angle), np.cos(angle)
        # The cylinder's matrix is C n n^T with n = (-sin A, cos A), across the axis.
        return cls(
            np.stack(
                np.broadcast_arrays(
                    np.asarray(sphere, dtype=float) + c / 2.0,
                    c * (0.5 - cosine**2),
                    -c * (sine * cosine),
                ),
                axis=-1,
            )
        )

    @classmethod
    def from_line_readings(
        cls, sphere_lines: ArrayLike, cylinder_lines: ArrayLike, wheel: ArrayLike
    ) -> Power:
        """Power from what a crossed-line focimeter reads.

        Parameters
        ----------
        sphere_lines, cylinder_lines : float or array_like
            Drum where the closely set and the widely set lines are sharp, dioptres.
        wheel : float or array_like
            Axis wheel, degrees. The sphere lines show the power along it, the
            cylinder lines the power at right angles to it.

        Examples
        --------
        >>> lens = Power.from_sphere_cylinder(+2.50, -1.50, 170)
        >>> Power.from_line_readings(+2.50, +1.00, 170).is_close(lens)
        True
        """
        sphere = np.asarray(sphere_lines, dtype=float)
        return cls.from_sphere_cylinder(sphere, np.asarray(cylinder_lines, dtype=float) - sphere, wheel)

    @classmethod
    def from_matrix(cls, matrix: ArrayLike) -> Power:
        """Power from symmetric 2 by 2 matrices, shape (..., 2, 2), dioptres."""
        f = np.asarray(matrix, dtype=float)
        xx, yy = f[..., 0, 0], f[..., 1, 1]
        xy = (f[..., 0, 1] + f[..., 1, 0]) / 2.0
        return cls(np.stack([(xx + yy) / 2.0, (xx - yy) / 2.0, xy], axis=-1))

    # --- ways out --------------------------------------------------------------

    @property
    def mean(self) -> Any:
        """Mean power M (the spherical equivalent), dioptres."""
        return _plain(self.vector[..., 0])

    @property
    def j0(self) -> Any:
        """Astigmatic component J0, dioptres; positive when the axis is near 180 in minus form."""
        return _plain(self.vector[..., 1])

    @property
    def j45(self) -> Any:
        """Astigmatic component J45, dioptres; positive when the axis is near 45 in minus form."""
        return _plain(self.vector[..., 2])

    @property
    def astigmatism(self) -> Any:
        """Difference between the two principal powers, dioptres, never negative."""
        return _plain(2.0 * np.hypot(self.vector[..., 1], self.vector[..., 2]))

    @property
    def matrix(self) -> NDArray[np.float64]:
        """Power matrix, shape (..., 2, 2), dioptres."""
        m, j0, j45 = np.moveaxis(self.vector, -1, 0)
        return np.stack([np.stack([m + j0, j45], -1), np.stack([j45, m - j0], -1)], -2)

    def along(self, meridian: ArrayLike) -> Any:
        """Power along a meridian.

        Parameters
        ----------
        meridian : float or array_like
            Degrees; broadcasts with the array of lenses.

        Returns
        -------
        float or ndarray
            Dioptres. Powers along two meridians at right angles sum to 2S + C.
        """
        double = np.deg2rad(2.0 * np.asarray(meridian, dtype=float))
        m, j0, j45 = np.moveaxis(self.vector, -1, 0)
        return _plain(m + j0 * np.cos(double) + j45 * np.sin(double))

    def sphere_cylinder(self, form: str = "minus") -> tuple[Any, Any, Any]:
        """Sphere, cylinder and axis with cylinder of the sign asked for.

        Parameters
        ----------
        form : {"minus", "plus"}
            Sign of the cylinder.

        Returns
        -------
        sphere, cylinder, axis : float or ndarray
            Dioptres, dioptres, degrees in (0, 180]. Where there is no
            cylinder the axis is 180 (minus) or 90 (plus) and means nothing.
        """
        checked_form(form)
        m, j0, j45 = np.moveaxis(self.vector, -1, 0)
        half = np.hypot(j0, j45)
        # Adding zero turns -0.0 into 0.0, which would put the axis of a sphere at 090.
        axis = np.rad2deg(np.arctan2(j45 + 0.0, j0 + 0.0)) / 2.0
        if form == "plus":
            axis = axis + 90.0
        axis = _plain(np.where(axis <= 0.0, axis + 180.0, axis))
        if form == "minus":
            return _plain(m + half), _plain(-2.0 * half), axis
        return _plain(m - half), _plain(2.0 * half), axis

    def principal(self) -> tuple[Any, Any, Any, Any]:
        """Both principal powers and the meridians they act along.

        Returns
        -------
        higher, higher_meridian, lower, lower_meridian : float or ndarray
            The more plus power and its meridian, the more minus power and its
            meridian (dioptres, degrees).
        """
        sphere, cylinder, axis = self.sphere_cylinder("minus")
        return sphere, axis, sphere + cylinder, wrapped_axis(np.asarray(axis) + 90.0)

    # --- arithmetic ------------------------------------------------------------

    def __add__(self, other: Power) -> Power:
        return Power(self.vector + other.vector)

    def __sub__(self, other: Power) -> Power:
        return Power(self.vector - other.vector)

    def __neg__(self) -> Power:
        return Power(-self.vector)

    def __mul__(self, factor: ArrayLike) -> Power:
        return Power(self.vector * np.asarray(factor, dtype=float)[..., None])

    __rmul__ = __mul__

    def rotated(self, degrees: ArrayLike) -> Power:
        """The lens turned anticlockwise by `degrees`; half a turn changes nothing."""
        double = np.deg2rad(2.0 * np.asarray(degrees, dtype=float))
        m, j0, j45 = np.moveaxis(self.vector, -1, 0)
        cos, sin = np.cos(double), np.sin(double)
        return Power(np.stack(np.broadcast_arrays(m, j0 * cos - j45 * sin, j0 * sin + j45 * cos), -1))

    def turned_over(self) -> Power:
        """The lens seen from its other side: every axis becomes 180 minus itself."""
        return Power(self.vector * np.array([1.0, 1.0, -1.0]))

    @property
    def strength(self) -> Any:
        """Length of the power vector, dioptres: one number for "how different".

        Zero only for no power at all. For a difference of two lenses it is the
        root-mean-square blur over all meridians, up to a constant.
        """
        return _plain(np.sqrt(np.sum(self.vector**2, axis=-1)))

    def is_close(self, other: Power, within: float = 1e-9) -> Any:
        """Whether two lenses have the same power, however each is written."""
        same = np.all(np.abs(self.vector - other.vector) <= within, axis=-1)
        return bool(same) if np.ndim(same) == 0 else same


def rewritten(
    sphere: ArrayLike, cylinder: ArrayLike, axis: ArrayLike, form: str = "minus"
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Columns of written lenses in one cylinder form, exact to the hundredth.

    Changing the form needs no trigonometry, so whole columns keep their
    quarters and eighths and can be compared with ``==``.

    Parameters
    ----------
    sphere, cylinder, axis : float or array_like
        Dioptres, dioptres, degrees; arrays broadcast. Where there is no cylinder
        the axis is left as it is and means nothing.
    form : {"minus", "plus"}
        Sign of the cylinder wanted.

    Returns
    -------
    sphere, cylinder, axis : ndarray

    Examples
    --------
    >>> [float(v) for v in rewritten(+1.00, +1.50, 80)]
    [2.5, -1.5, 170.0]
    """
    checked_form(form)
    s, c, a = (np.asarray(v, dtype=float) for v in (sphere, cylinder, axis))
    turn = c > 0 if form == "minus" else c < 0
    size = np.abs(c)
    return (
        s + np.where(turn, c, 0.0),
        0.0 - size if form == "minus" else size,
        a + np.where(turn, np.where(a > 90, -90.0, 90.0), 0.0),
    )
