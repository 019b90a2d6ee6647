"""A lens of two surfaces laid flat on the stop, and the rays that go through it.

The surface on the stop meets the axis square. Rays start at points of the stop,
are bent at both surfaces by Snell's law, and leave towards the operator. Three
things are told of them, all as the operator sees them:

- the prism: where the ray in the middle of the stop is sent;
- the power: the vergence with which the light about that ray must set out so that
  it leaves parallel, which is what a drum reads, oblique astigmatism included;
- where every point of the stop sends its ray: the whole stop.

Sags are millimetres, positive towards the eye: a convex front and a concave back
have positive sags.

References
----------
Light about a ray that meets a surface slantwise: equal phase on both sides of the
surface to the second order, which for the meridians of a sphere gives Coddington's
equations (from memory; held against traced rays in the tests).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.lens.angles import rotation
from optics.lens.lens import BACK, FRONT, Lens, OverStop, checked_side
from optics.lens.power import Power
from optics.lens.prism import Prism

MM_PER_M = 1000.0
STOP_RADIUS_MM = 4.0
"""The stop is 8 mm wide."""
EVEN_WITHIN = 0.01
"""A stop whose rays stray less than this from one power is drawn as one power, prism dioptres:
less than the eye's own blur spreads."""
SMALL = 0.005
"""Slope of the rays that show how large the target is seen."""
RINGS_READ = 3
"""Rings of points that a reading is worked out from; 10 rings move none by 0.003 D."""

Shape = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


class Sheet:
    """One surface of a lens, seen from the front, in the coordinates of the lens."""

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        """Sag (mm), slope (..., 2) and second derivatives (..., 2, 2; per mm), without any segment."""
        raise NotImplementedError

    def added(self, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray]:
        """Slope and second derivatives that a segment adds; none here."""
        return np.zeros((*x_mm.shape, 2)), np.zeros((*x_mm.shape, 2, 2))

    def line(self) -> dict[str, Any] | None:
        """The segment, as the browser takes it; none here."""
        return None


@dataclass(frozen=True, slots=True)
class Curve(Sheet):
    """A surface of one power, spherical or toric, level at the origin.

    Parameters
    ----------
    curvature : ndarray, shape (2, 2)
        Of its sag, per millimetre.
    """

    curvature: NDArray[np.float64]

    @classmethod
    def of(cls, power: Power, index: float, side: str) -> Curve:
        """From a surface power in dioptres: a plus front and a minus back have positive sags."""
        sign = 1.0 if side == FRONT else -1.0
        return cls(sign * power.matrix / (MM_PER_M * (index - 1.0)))

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        """As `Sheet.shape`: exact for a sphere and along the principal meridians of a torus."""
        c = self.curvature
        r = np.stack([x_mm, y_mm], -1)
        cr = r @ c
        ccr = cr @ c
        # Where a steep curve would close, it goes on as it was.
        s = np.sqrt(np.maximum(1.0 - _dot(cr, cr), 0.05))[..., None]
        z = _dot(r, cr)[..., None] / (1.0 + s)
        ds = -ccr / s
        dz = (2.0 * cr - z * ds) / (1.0 + s)
        s, z = s[..., None], z[..., None]
        dds = -(c @ c) / s - ccr[..., :, None] * ccr[..., None, :] / s**3
        both = ds[..., :, None] * dz[..., None, :]
        ddz = (2.0 * c - both - np.swapaxes(both, -1, -2) - z * dds) / (1.0 + s)
        return z[..., 0, 0], dz, ddz


@dataclass(frozen=True, slots=True)
class Placed(Sheet):
    """A surface that is turned and lies elsewhere in the lens.

    Parameters
    ----------
    sheet : Sheet
        The surface.
    degrees : float
        How far it is turned, anticlockwise seen from the front.
    at_mm : (float, float)
        Where its own origin lies.
    """

    sheet: Sheet
    degrees: float
    at_mm: tuple[float, float] = (0.0, 0.0)

    def _own(self, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        turn = rotation(self.degrees)
        own = np.stack([x_mm - self.at_mm[0], y_mm - self.at_mm[1]], -1) @ turn
        return own[..., 0], own[..., 1], turn

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        """As `Sheet.shape`."""
        x, y, turn = self._own(x_mm, y_mm)
        z, dz, ddz = self.sheet.shape(x, y)
        return z, dz @ turn.T, turn @ ddz @ turn.T

    def added(self, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray]:
        """As `Sheet.added`."""
        x, y, turn = self._own(x_mm, y_mm)
        dz, ddz = self.sheet.added(x, y)
        return dz @ turn.T, turn @ ddz @ turn.T

    def line(self) -> dict[str, Any] | None:
        """As `Sheet.line`."""
        line = self.sheet.line()
        if line is None:
            return None
        top = rotation(self.degrees) @ line["top"] + self.at_mm
        return {**line, "top": top.tolist(), "degrees": line["degrees"] + self.degrees}


@lru_cache(maxsize=4)
def stop_points_mm(rings: int = 10) -> NDArray[np.float64]:
    """Points of the stop that stand for equal parts of it, shape (n, 2).

    One in the middle and 6 more on each ring than on the one before: 331 for 10 rings.
    """
    number = np.arange(1, rings + 1)
    # Each ring in the middle of its own share of the area.
    inner, outer = 3 * number * (number - 1) + 1, 3 * number * (number + 1) + 1
    radius = STOP_RADIUS_MM * np.sqrt((inner + outer) / 2.0 / outer[-1])
    # Each ring turned a little further, so that no straight line meets many points at once.
    turns = [2.0 * np.pi * (np.arange(6 * k) + (0.618 * k) % 1.0) / (6 * k) for k in number]
    angle = np.concatenate([[0.0], *turns])
    return np.repeat(np.r_[0.0, radius], np.r_[1, 6 * number])[:, None] * np.stack(
        [np.cos(angle), np.sin(angle)], -1
    )


@lru_cache(maxsize=4)
def _per_cm(rings: int) -> NDArray[np.float64]:
    """What finds the slope of a plane, per centimetre, through values at the points of the stop."""
    return np.asarray(np.linalg.pinv(stop_points_mm(rings) / 10.0), dtype=float)


@dataclass(frozen=True, kw_only=True)
class Body:
    """A lens as light meets it.

    Parameters
    ----------
    front, back : Sheet
        Its surfaces.
    thickness_mm : float
        At the origin, where both sags are counted from.
    index : float
        Refractive index.
    ground : ndarray, shape (2,)
        Prism ground into it beside what the surfaces give, prism dioptres seen from the front.
    tilt_degrees, tilt_axis : float
        How far it leans from the plane of the stop, and about which line: positive about 0
        leans its upper edge towards the operator when the back lies on the stop.
    off_stop_mm : float
        Gap between lens and stop.
    """

    front: Sheet
    back: Sheet
    thickness_mm: float
    index: float
    ground: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))
    tilt_degrees: float = 0.0
    tilt_axis: float = 180.0
    off_stop_mm: float = 0.0

    def turned(self, degrees: float) -> Body:
        """The lens turned about its origin, anticlockwise seen from the front."""
        return replace(
            self,
            front=Placed(self.front, degrees),
            back=Placed(self.back, degrees),
            ground=rotation(degrees) @ self.ground,
        )

    def over_stop(self, x_mm: ArrayLike, y_mm: ArrayLike, against: str = BACK) -> OverStop:
        """Power, prism and rays met with a point of the lens over the stop; arrays are allowed.

        Parameters
        ----------
        x_mm, y_mm : float or array_like
            The point, on the side that lies on the stop, seen from the front.
        against : {"back", "front"}
            Which side that is.
        """
        laid = _Laid(self, x_mm, y_mm, against)
        met = laid.met()
        return met._replace(whole=WholeStop(laid, met))


class TwoSurfaces:
    """A lens with two surfaces: what is met at a point is asked of its `body`."""

    __slots__ = ()

    @property
    def body(self) -> Body:
        """The lens as light meets it."""
        raise NotImplementedError

    def over_stop(self, x_mm: float, y_mm: float, against: str = BACK) -> OverStop:
        """Power, prism and rays met with the point (x_mm, y_mm) over the stop; arrays are allowed.

        Parameters
        ----------
        x_mm, y_mm : float
            The point, from the reference point of the lens, seen from the front.
        against : {"back", "front"}
            Side on the stop. An addition is read with the side that carries it against
            the stop, distance and near alike.

        Returns
        -------
        OverStop
            As the operator sees it.
        """
        return self.body.over_stop(x_mm, y_mm, against)

    def power_map(self, x_mm: ArrayLike, y_mm: ArrayLike, against: str = BACK) -> Power:
        """Power at many points at once; parameters as for `over_stop`, arrays broadcast."""
        return self.body.over_stop(x_mm, y_mm, against).power


class WithAddition(TwoSurfaces):
    """A lens that has one power in the distance and more of it near."""

    __slots__ = ()
    carried_by: str

    @property
    def distance_reference_point(self) -> tuple[float, float]:
        """Where the distance power is read, millimetres."""
        raise NotImplementedError

    @property
    def near_reference_point(self) -> tuple[float, float]:
        """Where the near power is read, millimetres."""
        raise NotImplementedError

    def addition_read(self, against: str | None = None) -> float:
        """The addition as a focimeter gives it: mean reading at near less that at distance, dioptres.

        Parameters
        ----------
        against : {"front", "back"}, optional
            Side on the stop for both readings; if left out, the side that carries the
            addition, which is the right one.
        """
        near, distance = self._near_and_distance(self.carried_by if against is None else against)
        return float(near.mean - distance.mean)

    def additions_by_lines(self) -> tuple[float, float]:
        """The addition by the sphere lines and by the cylinder lines, unbroken at near and at distance, dioptres.

        Unwanted astigmatism at near sets them apart, and both from the mean, where it
        meets a cylinder of the lens.
        """
        (*near, _), (*distance, _) = (
            power.sphere_cylinder() for power in self._near_and_distance(self.carried_by)
        )
        by_sphere, by_both = near[0] - distance[0], sum(near) - sum(distance)
        return float(by_sphere), float(by_both)

    def _near_and_distance(self, side: str) -> tuple[Power, Power]:
        at_near = self.over_stop(*self.near_reference_point, side)
        return at_near.read, self.over_stop(*self.distance_reference_point, side).read


def body_of(lens: Lens) -> Body | None:
    """The lens as light meets it, if it has surfaces; none for a thin lens of one power."""
    return getattr(lens, "body", None)


class _Laid:
    """A lens with one side, or at many points, on the stop: x and y of the front view, w along the light."""

    def __init__(self, body: Body, x_mm: ArrayLike, y_mm: ArrayLike, against: str) -> None:
        x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
        self.body, self.mirrored = body, checked_side(against) == FRONT
        self.resting, self.other = (body.front, body.back) if self.mirrored else (body.back, body.front)
        height, slope, _ = self.surface(self.resting, x, y, lined=False)
        self.foot = np.stack([x, y, height], -1)
        self.axis = _leaning(_unit(_normal(slope)), body, self.mirrored)
        self.sideways = _sideways(self.axis)

    def surface(self, sheet: Sheet, x: NDArray, y: NDArray, lined: bool = True) -> Shape:
        """Height of a surface along the light, its slope and its second derivatives."""
        z, dz, ddz = sheet.shape(x, y)
        if lined:
            more, bent = sheet.added(x, y)
            dz, ddz = dz + more, ddz + bent
        z = z + self.body.thickness_mm * (sheet is self.body.back)
        return (z, dz, ddz) if self.mirrored else (-z, -dz, -ddz)

    def meet(self, sheet: Sheet, start: NDArray, way: NDArray) -> tuple[NDArray, NDArray]:
        """Where rays meet a surface, and its slope there."""
        at = start
        for _ in range(4):
            z, dz, ddz = self.surface(sheet, at[..., 0], at[..., 1], lined=False)
            miss = at[..., 2] - z
            step = (miss / (way[..., 2] - _dot(way[..., :2], dz)))[..., None] * way
            at = at - step
            # What is left goes with the square of the last step: less than a millionth of it.
            if np.max(np.abs(step)) < 1e-4:
                break
        slope = dz - (ddz @ step[..., :2, None])[..., 0]
        more = sheet.added(at[..., 0], at[..., 1])[0]
        return at, slope + (more if self.mirrored else -more)

    def trace(self, start: NDArray, way: NDArray) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        """Both surfaces: where rays meet them, and their directions between and behind."""
        index = self.body.index
        first, slope = self.meet(self.resting, start, way)
        inside = _refracted(way, _unit(_normal(slope)), 1.0 / index)
        second, slope = self.meet(self.other, first, inside)
        return first, inside, second, _refracted(inside, _unit(_normal(slope)), index)

    def seen(self, out: NDArray) -> NDArray:
        """Directions of rays (..., n, 3) as places in the field, prism dioptres as the operator sees them."""
        x_y_ahead = out @ np.stack([*self.sideways, self.axis], -1)
        x_y = 100.0 * x_y_ahead[..., :2] / x_y_ahead[..., 2:]
        return (x_y + self.body.ground) * ([-1.0, 1.0] if self.mirrored else [1.0, 1.0])

    def met(self) -> OverStop:
        """Power and prism about the ray in the middle of the stop."""
        index = self.body.index
        first, inside, second, out = self.trace(self.foot, self.axis)
        near, far = (
            self.surface(sheet, at[..., 0], at[..., 1])
            for sheet, at in ((self.resting, first), (self.other, second))
        )
        path = _dot(second - first, inside)[..., None, None]
        # Backwards, from light that leaves parallel: how it must have come.
        vergence = _before(far, inside, out, index, 1.0, 0.0)
        vergence = _farther(vergence, path)
        vergence = _before(near, self.axis, inside, 1.0, index, vergence)
        vergence = _farther(vergence, self.body.off_stop_mm)
        sideways = np.stack(self.sideways, -2)
        matrix = sideways @ vergence @ np.swapaxes(sideways, -1, -2)
        power = Power.from_matrix(MM_PER_M * matrix)
        prism = Prism(self.seen(out[..., None, :])[..., 0, :])
        return OverStop(power.turned_over() if self.mirrored else power, prism)

    def sent(self, rho_mm: NDArray, slope: NDArray) -> NDArray:
        """Where rays from points of the stop (..., n, 2), sent off with these slopes, stand in the field."""
        turn = [-1.0, 1.0] if self.mirrored else [1.0, 1.0]
        sideways, axis = np.stack(self.sideways, -2), self.axis[..., None, :]
        start = self.foot[..., None, :] - self.body.off_stop_mm * axis + (rho_mm * turn) @ sideways
        return self.seen(self.trace(start, _unit(axis + (slope * turn) @ sideways))[-1])


class WholeStop:
    """Where every point of the stop sends its ray.

    Made by `Body.over_stop`; traced when first asked for.

    Attributes
    ----------
    magnification : ndarray, shape (2, 2)
        How the middle of the stop shows the target itself: a thick lens shows it a
        little larger or smaller.
    even : bool
        Whether one power stands for the whole stop.
    power : Power
        What drum and wheel read.
    """

    def __init__(self, laid: _Laid, met: OverStop, rings: int = 10) -> None:
        self._laid, self._met = laid, met
        self.points_mm = stop_points_mm(rings)

    def sent(self, drum: float) -> NDArray[np.float64]:
        """Place in the field of the target's crossing through each point, shape (n, 2), prism dioptres."""
        at, more = self._sent
        return at + (drum - float(self._met.power.mean)) * more

    @cached_property
    def _traced(self) -> NDArray[np.float64]:
        """Rays through every point with half a dioptre less and more, and four through the middle."""
        # The light that the drum sends through a point leans by drum times its height;
        # what it does to the way through the lens is all but linear.
        lean, middle = self.points_mm / MM_PER_M, self._met.power.vector[..., 0, None, None]
        ways = SMALL * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        slopes = [(middle + d) * lean for d in (-0.5, 0.5)]
        slopes.append(np.broadcast_to(ways, (*middle.shape[:-2], 4, 2)))
        points = np.concatenate([self.points_mm, self.points_mm, np.zeros((4, 2))])
        return self._laid.sent(points, np.concatenate(slopes, -2))

    @property
    def _sent(self) -> tuple[NDArray, NDArray]:
        n = len(self.points_mm)
        less, more = self._traced[..., :n, :], self._traced[..., n:-4, :]
        return (less + more) / 2.0, more - less

    @property
    def magnification(self) -> NDArray[np.float64]:
        """How directions of the target are seen through the middle of the stop."""
        seen = self._traced[..., -4:, :] / (200.0 * SMALL)
        return np.swapaxes(seen[..., ::2, :] - seen[..., 1::2, :], -1, -2)

    @cached_property
    def even(self) -> bool:
        """Whether the rays stray nowhere from what one power would do."""
        height_cm = self.points_mm / 10.0
        left = self._met.power.matrix - float(self._met.power.mean) * np.eye(2)
        expected = self._met.prism.vector - height_cm @ left @ self.magnification.T
        return bool(np.max(np.abs(self._sent[0] - expected)) < EVEN_WITHIN)

    @cached_property
    def power(self) -> Power:
        """The one power that leaves least of the spread: where lines are sharpest.

        Across a segment's line stand two pictures, and one of them is read: that of the
        part in the middle of the stop.
        """
        few = WholeStop(self._laid, self._met, RINGS_READ)
        sent = few._sent[0]
        slope = _per_cm(RINGS_READ) @ (sent - sent.mean(-2, keepdims=True))
        left = -np.linalg.solve(few.magnification, np.swapaxes(slope, -1, -2))
        middle = self._met.power
        whole = left + middle.vector[..., 0, None, None] * np.eye(2)
        return Power(np.where(few._lined[..., None], middle.vector, Power.from_matrix(whole).vector))

    @property
    def _lined(self) -> NDArray[np.bool_]:
        """Whether a segment's line crosses the stop."""
        at = self._laid.foot[..., None, :2] + self.points_mm
        sheets = (self._laid.resting, self._laid.other)
        bent = [sheet.added(at[..., 0], at[..., 1])[1][..., 0, 0] for sheet in sheets]
        return np.any(np.ptp(bent, axis=-1) > 0.0, axis=0)


def _normal(slope: NDArray) -> NDArray:
    return np.concatenate([-slope, np.ones((*slope.shape[:-1], 1))], -1)


def _unit(vector: NDArray) -> NDArray:
    return vector / np.sqrt(_dot(vector, vector))[..., None]


def _dot(one: NDArray, other: NDArray) -> NDArray:
    return np.einsum("...i,...i->...", one, other)


def _sideways(axis: NDArray) -> tuple[NDArray, NDArray]:
    """The directions x and y brought square to the axis by the shortest turn."""
    ahead = axis + np.array([0.0, 0.0, 1.0])
    return tuple(np.eye(3)[i] - axis[..., i, None] * ahead / ahead[..., 2, None] for i in (0, 1))


def _leaning(axis: NDArray, body: Body, mirrored: bool) -> NDArray:
    """The instrument's axis in a lens that leans; turned over, the light comes the other way."""
    if not body.tilt_degrees:
        return axis
    tilt, about = np.deg2rad(body.tilt_degrees), np.deg2rad(body.tilt_axis)
    x, y = _sideways(axis)
    across = (np.sin(about) * x - np.cos(about) * y) * (-1.0 if mirrored else 1.0)
    return np.cos(tilt) * axis + np.sin(tilt) * across


def _refracted(way: NDArray, normal: NDArray, ratio: float) -> NDArray:
    """Snell's law for directions: `ratio` is the index before over the index behind."""
    cos = _dot(way, normal)[..., None]
    # At the very edge of a steep lens nothing would come through; it grazes.
    behind = np.sqrt(np.maximum(1.0 - ratio**2 * (1.0 - cos**2), 1e-6))
    return ratio * way + (behind - ratio * cos) * normal


def _before(shape: Shape, way: NDArray, behind: NDArray, n: float, n_behind: float, vergence: Any) -> NDArray:
    """Curvature of the light before a surface from that behind it, (..., 3, 3), per mm.

    Both have the same phase all over the surface; along the ray there is no curvature.
    """
    _, slope, bent = shape
    normal = _normal(slope)
    length = np.sqrt(_dot(normal, normal))[..., None]
    normal = normal / length
    ahead = _dot(way, normal)[..., None]
    step = n_behind * _dot(behind, normal)[..., None] - n * ahead
    curved = np.zeros((*slope.shape[:-1], 3, 3))
    curved[..., :2, :2] = (step / length)[..., None] * bent
    onto = np.eye(3) - way[..., :, None] * normal[..., None, :] / ahead[..., None]
    return np.swapaxes(onto, -1, -2) @ (n_behind * vergence + curved) @ onto / n


def _farther(vergence: NDArray, back_mm: NDArray | float) -> NDArray:
    """Curvature of the light a way back along the ray."""
    return vergence @ np.linalg.inv(np.eye(3) - back_mm * vergence)


def usual_front_curve(power: Power) -> float:
    """A usual front curve where none is ordered, dioptres.

    Half the spherical equivalent and 6, between 1 and 9 (a rule of thumb, from
    memory; makers print their own charts).
    """
    return float(np.clip(6.0 + power.mean / 2.0, 1.0, 9.0))


def usual_thickness_mm(power: Power, addition: float, index: float) -> float:
    """A usual centre thickness where none is ordered, millimetres.

    Enough for a 60 mm lens with a 1 mm edge, half of the addition counted, and
    not below 2 mm.
    """
    strongest = max(0.0, float(power.principal()[0]) + addition / 2.0)
    return max(2.0, 1.0 + 30.0**2 * strongest / (2000.0 * (index - 1.0)))
