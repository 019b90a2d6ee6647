"""Reading one lens several times: mean, scatter, and how much scatter to expect.

Powers are averaged as power vectors, because axes cannot be averaged as numbers:
178 and 2 have 180 between them, not 90. No paper with standard deviations of
sphere, cylinder and axis for manual focimeters was found; the figures to expect
are proposals and are marked so.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from optics.errors import OpticsError
from optics.lens.angles import whole_axis
from optics.lens.power import Power

__all__ = [
    "INSTRUMENT_DEVIATION",
    "READING_DEVIATION",
    "Spread",
    "axis_deviation",
    "scale_deviation",
    "spread",
]

INSTRUMENT_DEVIATION = 0.03
"""Standard deviation of the instrument alone, dioptres: half of 0.06 D, within which
focimeters stay up to 5 D (D. Whitney, "Focimetry issues, part one", 20/20), taken
as a 95 % limit."""


def scale_deviation(step: float) -> float:
    """Standard deviation from reading a scale to its nearest step, dioptres.

    Examples
    --------
    >>> round(scale_deviation(0.125), 3)
    0.036
    """
    return step / sqrt(12.0)


READING_DEVIATION = hypot(INSTRUMENT_DEVIATION, scale_deviation(0.125))
"""Proposed standard deviation of one drum reading, dioptres: the instrument's own
error with the reading of an eighth scale. No published figure was found."""


def axis_deviation(cylinder: float) -> float:
    """Proposed standard deviation of one axis reading, degrees.

    Parameters
    ----------
    cylinder : float
        Dioptres, either sign.

    Returns
    -------
    float
        1.7 over the cylinder, at least 1 and at most 10: the error that leaves a
        residual cylinder of 0.06 D. A proposal; no published figure was found.

    Examples
    --------
    >>> axis_deviation(-0.50)
    3.4
    """
    size = abs(cylinder)
    return 10.0 if size * 10.0 <= 1.7 else max(1.7 / size, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How several readings of one lens scatter.

    Parameters
    ----------
    count : int
        How many readings.
    mean : Power
        Their mean as power vectors: axes are never averaged as numbers.
    deviation : tuple of three float
        Standard deviations of M, J0 and J45, dioptres.
    """

    count: int
    mean: Power
    deviation: tuple[float, float, float]

    @property
    def limits(self) -> tuple[tuple[float, float], ...]:
        """95 % limits of M, J0 and J45: mean less and plus 1.96 standard deviations, dioptres.

        With fewer than about ten readings the true limits are wider than these.
        """
        return tuple(
            (float(middle) - 1.96 * sd, float(middle) + 1.96 * sd)
            for middle, sd in zip(self.mean.vector, self.deviation, strict=True)
        )

    @property
    def sentence(self) -> str:
        """The scatter in plain words."""
        sphere, cylinder, axis = self.mean.sphere_cylinder()
        line = f"{sphere:+.2f}"
        if cylinder <= -INSTRUMENT_DEVIATION:
            line += f" {cylinder:+.2f} x {whole_axis(axis):03d}"
        return (
            f"{self.count} readings, mean {line}: 95 of 100 readings of the mean power lie"
            f" within {1.96 * self.deviation[0]:.2f} D of it."
        )


def spread(readings: Iterable[Power]) -> Spread:
    """Mean and scatter of several readings of one lens.

    Parameters
    ----------
    readings : iterable of Power
        At least two readings of the same lens, each read afresh.

    Returns
    -------
    Spread
        Settle its `mean` (`optics.judging.settling`) to write the lens.

    Raises
    ------
    OpticsError
        For fewer than two readings.

    Examples
    --------
    >>> repeats = [Power.from_sphere_cylinder(s, -0.75, a) for s, a in ((-2.20, 178), (-2.30, 2))]
    >>> print(spread(repeats).sentence)
    2 readings, mean -2.25 -0.75 x 180: 95 of 100 readings of the mean power lie within 0.14 D of it.
    """
    vectors = np.array([reading.vector for reading in readings])
    if len(vectors) < 2:
        raise OpticsError(
            f"There {'is one reading' if len(vectors) else 'are no readings'}.",
            "A spread needs at least two.",
            "Turn the drum away, set it again and read once more.",
        )
    deviation = vectors.std(axis=0, ddof=1)
    return Spread(
        count=len(vectors),
        mean=Power(vectors.mean(axis=0)),
        deviation=(float(deviation[0]), float(deviation[1]), float(deviation[2])),
    )
