"""Lenses as the instrument meets them: what lies over the stop at one point.

Every kind of lens answers one question, `over_stop(x_mm, y_mm, against)`: with
this point of the lens on the axis of the instrument and that side against the
stop, which power and which prism are met? Positions are millimetres from the
lens's own reference point, x to the viewer's right and y up, *seen from the
front of the spectacles* whichever way the lens lies; what comes back is as the
operator sees it. With the back against the stop the operator faces the front.
With the front against the stop the lens is turned over and axes are mirrored.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError, shown
from optics.lens.power import Power
from optics.lens.prism import Prism, prism_at

BACK = "back"
FRONT = "front"


def checked_side(against: str) -> str:
    """The side on the stop, if it is one.

    Raises
    ------
    OpticsError
        For anything but "back" or "front".
    """
    if against not in (BACK, FRONT):
        raise OpticsError(
            f"The side on the stop is {shown(against)}.",
            "It is back or front.",
            "Write back for the distance power, front for an addition on the front.",
        )
    return against


class Rays(Protocol):
    """Where every point of the stop sends its ray; made by `optics.lens.laid_flat`."""

    points_mm: NDArray[np.float64]

    @property
    def magnification(self) -> NDArray[np.float64]:
        """How the middle of the stop shows the target itself, shape (2, 2)."""
        ...

    @property
    def even(self) -> bool:
        """Whether one power stands for the whole stop."""
        ...

    @property
    def power(self) -> Power:
        """What drum and wheel read through the whole stop."""
        ...

    def sent(self, drum: float) -> NDArray[np.float64]:
        """Place in the field of the target's crossing through each point, prism dioptres."""
        ...


class OverStop(NamedTuple):
    """What lies over the stop, as the operator sees it.

    Parameters
    ----------
    power : Power
        Power about the ray in the middle of the stop.
    prism : Prism
        Where that ray is sent.
    whole : Rays, optional
        Where every point of the stop sends its ray; left out where one power
        stands for them all.
    """

    power: Power
    prism: Prism
    whole: Rays | None = None

    @property
    def read(self) -> Power:
        """The power that drum and wheel read: of the whole stop, as the picture shows it.

        Where the power changes across the stop this is not the power of its middle: in
        the near circle of a progressive the stop takes in weaker parts above.
        """
        return self.power if self.whole is None else self.whole.power


EMPTY = OverStop(Power.from_sphere_cylinder(0.0), Prism.none())
"""The stop with nothing on it."""


class Lens(Protocol):
    """Anything that can be laid on the stage of the focimeter."""

    def over_stop(self, x_mm: float, y_mm: float, against: str = BACK) -> OverStop:
        """Power and prism met with the point (x_mm, y_mm) over the stop."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class SingleVision:
    """A thin single vision lens: one power everywhere.

    Parameters
    ----------
    power : Power
        Back vertex power.
    prism : Prism
        Prism at the lens's reference point (0, 0): ordered prism, or none, in
        which case the reference point is the optical centre.
    """

    power: Power
    prism: Prism = field(default_factory=Prism.none)

    def over_stop(self, x_mm: float, y_mm: float, against: str = BACK) -> OverStop:
        """Power and prism met with the point (x_mm, y_mm) over the stop."""
        met = OverStop(self.power, self.prism + prism_at(self.power, x_mm, y_mm))
        return (
            met
            if checked_side(against) == BACK
            else OverStop(met.power.turned_over(), met.prism.turned_over())
        )
