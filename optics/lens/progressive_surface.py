"""A progressive surface of our own design: a height field, and the power it has everywhere.

How it is designed. The power along the line of sight is given: none is added
above the fitting cross, the whole addition is reached at near, a smooth step in
between. What lies beside that line cannot be chosen freely (Minkwitz: unwanted
astigmatism grows to the side twice as fast as the mean power rises along the
line), only spread. So the rest of the surface is the one, among all surfaces
with that line, with the least weighted astigmatism: clear zones for distance and
near count most, and how little the sides count is the *hardness*. A hard design
has wide clear zones and steep, strong astigmatism at their edge; a soft one has
narrower zones and spreads it thinly. That is a linear least squares problem in
B-splines and takes a fraction of a second, once for each corridor.

The surface is then the base sphere plus that departure, mended so that on the
line itself the curvature is exact: equal in both directions, and base plus what
the profile adds.

Coordinates are the surface's own: y up along the line of sight, x across it,
millimetres from the fitting cross, where the power begins to rise downwards and
where the surface stands level. The height is the sag: positive towards the eye.

References
----------
Minkwitz's relation: G. Minkwitz, Optica Acta 10 (1963) 223-227 (from memory).
Design by least squares over a height field: J. Loos, G. Greiner, H.-P. Seidel,
Computer-Aided Design 30 (1998) 595-602 (from memory). Curvature of a height
field: any book of differential geometry.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.angles import _plain
from optics.lens.laid_flat import Curve, Shape, Sheet
from optics.lens.power import Power

if TYPE_CHECKING:
    from scipy.interpolate import RectBivariateSpline

MM_PER_M = 1000.0
EDGE_MM = 40.0
"""How far the surface reaches from the fitting cross."""

# The design square reaches beyond that, so that its border does not show.
_HALF_SQUARE_MM = 45.0
_DEGREE = 5
# How much a change of mean power from place to place counts, millimetres.
_EVENNESS_MM = 0.4
_SPLINES = 26
# Sine of the steepest slope that still leaves a lens to lay on the stop.
_STEEPEST = 0.97
# How far beside the line two corrections reach: that for the slope of the surface,
# which the whole width wants, and that for what the splines could not follow.
_SLOPE_REACH_MM = 15.0
_MEND_REACH_MM = 5.0


def _rise(t: NDArray) -> NDArray:
    """Smooth step from 0 to 1, level at both ends to the second derivative."""
    t = np.clip(t, 0.0, 1.0)
    return t**3 * (10.0 - 15.0 * t + 6.0 * t**2)


def _risen(t: NDArray) -> NDArray:
    """Integral of the smooth step from 0."""
    inside = np.clip(t, 0.0, 1.0)
    return inside**4 * (2.5 - 3.0 * inside + inside**2) + np.maximum(t - 1.0, 0.0)


def _bowl(x: NDArray, reach_mm: float) -> NDArray:
    """Half of x squared near the line, fading out beyond the reach."""
    return 0.5 * x**2 * np.exp(-0.5 * (x / reach_mm) ** 2)


def _splines(at: NDArray, derivative: int = 0) -> NDArray:
    """Values of all B-splines of the design square, shape (points, splines)."""
    from scipy.interpolate import BSpline

    inner = np.linspace(-_HALF_SQUARE_MM, _HALF_SQUARE_MM, _SPLINES - _DEGREE + 1)
    knots = np.r_[[inner[0]] * _DEGREE, inner, [inner[-1]] * _DEGREE]
    return BSpline(knots, np.eye(_SPLINES), _DEGREE)(at, nu=derivative)


@lru_cache(maxsize=32)
def _least_astigmatism(length_mm: float, hardness: float) -> NDArray[np.float64]:
    """Spline coefficients of the departure for a gain of 1 in curvature."""
    x, y = np.linspace(0.0, _HALF_SQUARE_MM, 31), np.linspace(-_HALF_SQUARE_MM, _HALF_SQUARE_MM, 61)
    half = _SPLINES // 2
    # Left and right are alike, so a spline and its mirror image share one coefficient.
    across = [(b + b[:, ::-1])[:, :half] for b in (_splines(x, k) for k in range(4))]
    along = [_splines(y, k) for k in range(4)]

    def derivative(nx: int, ny: int) -> NDArray:
        product = np.einsum("im,jn->ijmn", across[nx], along[ny])
        return product.reshape(x.size * y.size, half * _SPLINES)

    gx, gy = (g.ravel() for g in np.meshgrid(x, y, indexing="ij"))
    xx, yy, xy = derivative(2, 0), derivative(0, 2), derivative(1, 1)
    profile = _rise(-gy / length_mm)
    # Half-width of the zone that is to be clear, how gently it ends, and how much
    # the sides count beside it. These numbers are the taste of this design.
    clear = np.where(gy > 0.0, 2.0 + 1.5 * gy, 2.0 + (4.0 + 2.0 * hardness) * profile)
    fade = 2.0 + 0.25 * np.maximum(gy, 0.0) + 3.0 * (1.0 - hardness) * profile
    zone = (4.0 - 1.5 * profile) / (1.0 + np.exp(np.clip((gx - clear) / fade, -50.0, 50.0)))
    side = 10.0 ** (-0.5 - 1.5 * hardness)
    blur = np.sqrt(side + zone)[:, None]
    mean = np.sqrt(0.02 * side + 0.3 * zone)[:, None]
    # The line is asked for far more strongly than anything else; the level and
    # slope at the origin, which no curvature fixes, are set to nothing.
    line = (gx == 0.0)[:, None] * 30.0
    origin = (gx == 0.0) & (np.abs(gy) < 1e-9)
    rows = np.vstack(
        [
            blur * (xx - yy) / 2.0,
            blur * xy,
            mean * (xx + yy) / 2.0,
            _EVENNESS_MM * (derivative(3, 0) + derivative(1, 2)),
            _EVENNESS_MM * (derivative(2, 1) + derivative(0, 3)),
            line * xx,
            line * yy,
            10.0 * derivative(0, 0)[origin],
            10.0 * derivative(0, 1)[origin],
        ]
    )
    nothing = np.zeros(gx.size)
    wanted = np.r_[
        nothing,
        nothing,
        mean[:, 0] * profile,
        nothing,
        nothing,
        line[:, 0] * profile,
        line[:, 0] * profile,
        0,
        0,
    ]
    normal = rows.T @ rows
    normal += 1e-9 * np.trace(normal) / len(normal) * np.eye(len(normal))
    found = np.linalg.solve(normal, rows.T @ wanted).reshape(half, _SPLINES)
    return np.vstack([found, found[::-1]])


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgressiveSurface(Sheet):
    """A convex surface whose power rises downwards by the addition.

    Parameters
    ----------
    base : float
        Surface power in the distance, dioptres.
    addition : float
        What the surface gains at near, dioptres.
    index : float
        Refractive index of the lens.
    length_mm : float
        How far below the origin the whole addition is reached, on the line of sight.
    hardness : float
        From 0 (soft) to 1 (hard).
    """

    base: float
    addition: float
    index: float = 1.5
    length_mm: float = 16.0
    hardness: float = 0.5
    _departure: RectBivariateSpline = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_departure", self._made())

    # --- the line of sight -------------------------------------------------------

    def profile(self, y_mm: ArrayLike) -> Any:
        """Power added on the line of sight, dioptres."""
        return _plain(self.addition * _rise(-np.asarray(y_mm, dtype=float) / self.length_mm))

    def profile_slope(self, y_mm: ArrayLike) -> Any:
        """How fast the added power changes upwards on the line of sight, dioptres a millimetre."""
        t = np.clip(-np.asarray(y_mm, dtype=float) / self.length_mm, 0.0, 1.0)
        return _plain(-self.addition * 30.0 * t**2 * (1.0 - t) ** 2 / self.length_mm)

    # --- making it ---------------------------------------------------------------

    def _made(self) -> RectBivariateSpline:
        """Departure from the base sphere, millimetres, as one spline over the whole square."""
        from scipy.interpolate import CubicSpline, RectBivariateSpline

        curvature = 1.0 / (MM_PER_M * (self.index - 1.0))
        x = np.linspace(-EDGE_MM, EDGE_MM, 61)
        y = x
        # The line as it must be. A curve of given curvature is drawn by adding up
        # the curvature: the sum is the sine of its slope.
        fine = np.linspace(-EDGE_MM, EDGE_MM, 641)
        gained = -self.length_mm * _risen(-fine / self.length_mm)
        sphere = curvature * self.base * fine
        sine = sphere + curvature * self.addition * gained
        if np.max(np.abs(sine)) > _STEEPEST:
            raise OpticsError(
                f"The front curve is {self.base:+.2f} D in index {self.index:g}.",
                f"With this addition it closes before the edge of a {2 * EDGE_MM:g} mm blank.",
                "Choose a flatter front curve or a higher index.",
            )
        slope = sine / np.sqrt(1.0 - sine**2) - sphere / np.sqrt(1.0 - sphere**2)
        height = CubicSpline(fine, slope).antiderivative()
        line = height(y) - height(0.0)
        steeper = CubicSpline(
            fine,
            curvature * (self.base + self.profile(fine)) / np.sqrt(1.0 - sine**2)
            - curvature * self.base / np.sqrt(1.0 - sphere**2)
            - curvature * self.profile(fine),
        )(y)
        # The sides as designed for a flat sheet, and what joins them to the line.
        design = curvature * self.addition * _least_astigmatism(self.length_mm, self.hardness)
        along = design @ _splines(y).T
        sides = (_splines(x) - _splines(np.zeros(1))) @ along
        mend = curvature * self.profile(y) - (_splines(np.zeros(1), 2) @ along)[0]
        joined = np.outer(_bowl(x, _SLOPE_REACH_MM), steeper) + np.outer(_bowl(x, _MEND_REACH_MM), mend)
        return RectBivariateSpline(x, y, line + sides + joined, kx=5, ky=5)

    # --- reading it --------------------------------------------------------------

    def height_mm(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Any:
        """Sag at a point, millimetres towards the eye."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
        return _plain(self.shape(x, y)[0])

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        """Sag (mm), slope and second derivatives (per mm) at a point.

        Beyond its edge there is no lens; the edge then stands for what is missing.
        """
        pull = np.minimum(1.0, EDGE_MM / np.maximum(np.hypot(x_mm, y_mm), 1e-9))
        x, y, d = pull * x_mm, pull * y_mm, self._departure
        z, dz, ddz = Curve(np.eye(2) * self.base / (MM_PER_M * (self.index - 1.0))).shape(x, y)
        slope = np.stack([d.ev(x, y, dx=1), d.ev(x, y, dy=1)], -1)
        across = d.ev(x, y, dx=1, dy=1)
        rows = ((d.ev(x, y, dx=2), across), (across, d.ev(x, y, dy=2)))
        return z + d.ev(x, y), dz + slope, ddz + np.stack([np.stack(row, -1) for row in rows], -2)

    def power(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Power:
        """Surface power at a point, from the curvature there.

        Parameters
        ----------
        x_mm, y_mm : float or array_like
            The point, within `EDGE_MM`; arrays broadcast.

        Returns
        -------
        Power
            Curvature times (index - 1), as met with the lens tipped, by the
            shortest turn, until the point lies flat on the stop.
        """
        x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
        _, g, hessian = self.shape(x, y)
        w = np.sqrt(1.0 + np.sum(g**2, -1))
        tip = np.eye(2) - g[..., :, None] * g[..., None, :] / (w * (1.0 + w))[..., None, None]
        shape = tip @ hessian @ tip / w[..., None, None]
        return Power.from_matrix(MM_PER_M * (self.index - 1.0) * shape)
