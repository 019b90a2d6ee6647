"""Mark-up charts of progressive lenses, and where the ink lands when one is laid by hand.

A chart shows a design at true size: two small circles for the engraved marks, and the
cross and circles that stand with them. Laid so that its circles cover the engravings it
puts the ink where the lens has its points; the chart of another design, or the right one
laid askew, puts it elsewhere, and heights, and often readings, come out wrong.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.angles import rotation
from optics.lens.power import Power
from optics.lens.prism import nasal
from optics.lens.progressive import Progressive, reference_places
from optics.lens.progressive_marks import ALIGNMENT_APART_MM, Mark, ink_marks, marks_at
from optics.project_files import data_rows, project_folder

REACH_MM, REACH_DEGREES = 15.0, 30.0
"""How far a chart can be moved from the middle of a rim, and turned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """The chart of one design.

    Parameters
    ----------
    sign : str
        What is engraved below the nasal mark of its lenses.
    fitting_cross_mm, corridor_mm, inset_mm : float
        As for `Progressive`, which is made from the same numbers.
    """

    sign: str
    fitting_cross_mm: float
    corridor_mm: float
    inset_mm: float

    def places(self, eye: str) -> dict[str, tuple[float, float]]:
        """Where its marks stand, from midway between its two circles; see `reference_places`."""
        return reference_places(eye, **self._measures)

    @property
    def _measures(self) -> dict[str, float]:
        return {name: value for name, value in asdict(self).items() if name != "sign"}

    def marks(self, eye: str) -> tuple[Mark, ...]:
        """What is printed on it for one lens: the circles for the rings, the sign, and where the ink goes."""
        half = ALIGNMENT_APART_MM / 2.0
        # Wide enough for the ring to be seen inside.
        rings = [("circle for a ring", "ring", (x, 0.0), 2.5) for x in (-half, half)]
        printed = (*rings, ("sign", "text", (nasal(eye) * half, -4.0), 2.0, self.sign))
        return marks_at(printed, permanent=False) + ink_marks(self.places(eye))

    def lens(self, power: Power, addition: float, eye: str, **more: Any) -> Progressive:
        """A lens of this design; more as for `Progressive`."""
        return Progressive(power=power, addition=addition, eye=eye, **asdict(self), **more)


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidChart:
    """A chart as it lies under a lens when the ink goes on.

    Parameters
    ----------
    sign : str
        Whose chart it is.
    x_mm, y_mm : float
        How far its middle lies from midway between the engravings, to the right and up,
        seen from the front.
    turned_degrees : float
        How far it is turned anticlockwise.
    """

    sign: str
    x_mm: float = 0.0
    y_mm: float = 0.0
    turned_degrees: float = 0.0

    def inked(self, eye: str) -> dict[str, tuple[float, float]]:
        """Where the ink lands on a lens, from its prism reference point, millimetres.

        Parameters
        ----------
        eye : {"R", "L"}
            The lens, and so which half of the chart.

        Returns
        -------
        dict
            "distance", "near", "prism" and "height", each (x, y).

        Raises
        ------
        OpticsError
            Where no chart has that sign.

        Examples
        --------
        >>> LaidChart(sign="Hb4").inked("R")["distance"]
        (0.0, 6.0)
        >>> LaidChart(sign="Hb4", x_mm=1.0, y_mm=-1.0).inked("R")["distance"]
        (1.0, 5.0)
        """
        places = chart_with(self.sign).places(eye)
        return {
            part: (x, y) for part, (x, y) in zip(places, self.lands([*places.values()]).tolist(), strict=True)
        }

    def lands(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Where points of the chart lie on the lens, (x, y) last."""
        turned = np.asarray(points_mm, dtype=float) @ rotation(self.turned_degrees).T
        return np.asarray(turned + np.array([self.x_mm, self.y_mm]))

    def on_a_lens(self, at_mm: tuple[float, float], turned_degrees: float = 0.0) -> LaidChart:
        """The same chart told from a lens, given where that lens lies in the same view, and how far it is turned."""
        away = (self.x_mm - at_mm[0], self.y_mm - at_mm[1])
        x, y = (rotation(-turned_degrees) @ away).tolist()
        return replace(self, x_mm=x, y_mm=y, turned_degrees=self.turned_degrees - turned_degrees)


@cache
def charts() -> tuple[Chart, ...]:
    """The charts in the drawer, in the order of their signs."""
    rows = data_rows(project_folder("datasets") / "charts" / "designs.csv")
    return tuple(
        Chart(sign=row.pop("sign"), **{name: float(value) for name, value in row.items()}) for row in rows
    )


def chart_with(sign: str) -> Chart:
    """The chart of a sign.

    Raises
    ------
    OpticsError
        Where no chart has it.
    """
    for chart in charts():
        if chart.sign == sign:
            return chart
    raise OpticsError(
        f"No chart has the sign {sign!r}.",
        f"The charts are {', '.join(chart.sign for chart in charts())}.",
        "Tilt the lens to the light and read the sign below the nasal mark again.",
    )
