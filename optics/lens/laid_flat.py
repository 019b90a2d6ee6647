"""A lens of two surfaces laid flat on the stop, at any point of it.

The surface on the stop meets the axis square. Light along the axis is bent there
not at all, crosses the lens, and meets the other surface a little nearer to or
farther from the middle, because the two are not square to the axis in the same
place. From that follow the prism (the angle between the surfaces) and the vertex
power of the side on the stop.

`ThickLens` does the same for a lens with one power on each surface; here the
surfaces may change their power from place to place.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.thick import back_vertex_power, front_vertex_power

__all__ = ["Curve", "Surface", "checked_side", "laid_flat", "usual_front_curve", "usual_thickness_mm"]


class Surface(Protocol):
    """A surface that tells its power and its prism at a point, both seen from the front."""

    def power(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Power:
        """Surface power, dioptres."""
        ...

    def bending(self, x_mm: ArrayLike, y_mm: ArrayLike) -> NDArray[np.float64]:
        """Prism of the surface, prism dioptres along x and y, shape (..., 2)."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A surface of one power, spherical or toric.

    Parameters
    ----------
    everywhere : Power
        Surface power, dioptres.
    at_origin : ndarray, shape (2,)
        Prism at the origin, prism dioptres: none where the surface stands level.
    """

    everywhere: Power
    at_origin: NDArray[np.float64] = field(default_factory=lambda: np.zeros(2))

    def power(self, x_mm: ArrayLike, y_mm: ArrayLike) -> Power:
        """Surface power, dioptres: the same at every point."""
        shape = np.broadcast_shapes(np.shape(x_mm), np.shape(y_mm))
        return Power(np.broadcast_to(self.everywhere.vector, (*shape, 3)))

    def bending(self, x_mm: ArrayLike, y_mm: ArrayLike) -> NDArray[np.float64]:
        """Prism of the surface, prism dioptres, by Prentice's rule."""
        r_cm = np.stack(np.broadcast_arrays(np.asarray(x_mm, float), np.asarray(y_mm, float)), -1) / 10.0
        return self.at_origin - r_cm @ self.everywhere.matrix


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


def checked_side(against: str) -> str:
    """The side on the stop, if it is one.

    Raises
    ------
    OpticsError
        For anything but "back" or "front".
    """
    if against not in (BACK, FRONT):
        raise OpticsError(
            f'The side on the stop is "{against}".',
            "It is back or front.",
            "Write back for the distance power, front for an addition on the front.",
        )
    return against


def laid_flat(
    front: Surface,
    back: Surface,
    thickness_mm: float,
    index: float,
    x_mm: ArrayLike,
    y_mm: ArrayLike,
    against: str = BACK,
) -> OverStop:
    """Power and prism met with a point of the lens over the stop.

    Parameters
    ----------
    front, back : Surface
        The two surfaces, both described as seen from the front.
    thickness_mm : float
        Centre thickness, millimetres; it stands for the thickness everywhere.
    index : float
        Refractive index.
    x_mm, y_mm : float or array_like
        The point, on the side that lies on the stop, seen from the front.
    against : {"back", "front"}
        Which side that is.

    Returns
    -------
    OverStop
        As the operator sees it, so mirrored with the front against the stop.
    """
    resting, other = (back, front) if checked_side(against) == BACK else (front, back)
    x, y = np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float)
    resting_bend = resting.bending(x, y)
    # The square line through the lens leans by bend / (100 (n - 1)).
    step_mm = thickness_mm * resting_bend / (100.0 * (index - 1.0))
    across = (x + step_mm[..., 0], y + step_mm[..., 1])
    prism = Prism(resting_bend + other.bending(*across))
    if against == BACK:
        return OverStop(back_vertex_power(front.power(*across), back.power(x, y), thickness_mm, index), prism)
    power = front_vertex_power(front.power(x, y), back.power(*across), thickness_mm, index)
    return OverStop(power.turned_over(), prism.turned_over())
