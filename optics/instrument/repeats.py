"""Reading one lens several times: mean, scatter, and how much scatter to expect.

Powers are averaged as power vectors, because axes cannot be averaged as numbers:
178 and 2 have 180 between them, not 90. No paper with standard deviations of
sphere, cylinder and axis for manual focimeters was found; the figures to expect
are proposals and are marked so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from optics.errors import OpticsError
from optics.lens.angles import whole_axis
from optics.lens.power import Power
from optics.lens.prescription import written

INSTRUMENT_DEVIATION = 0.03
"""Standard deviation of the instrument alone, dioptres: half of 0.06 D, within which
focimeters stay up to 5 D (D. Whitney, "Focimetry issues, part one", 20/20), taken
as a 95 % limit."""

FEW = 10
"""From fewer than this the 95 % limits say little: of five readings the true deviation
may be nearly three times the one found (chi-squared with 4 degrees of freedom)."""


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
            f" within {1.96 * self.deviation[0]:.2f} D of it.{_rough(self.count, 'readings')}"
        )


def _two(value: float, signed: bool = True) -> str:
    """Two decimals, halves rounded as the pictures round them."""
    return written(round(value, 6), signed)


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
    2 readings, mean -2.25 -0.75 x 180: 95 of 100 readings of the mean power lie within 0.14 D of it. Limits from 2 readings are rough: take 10 or more.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How two readers of the same lenses differ.

    Parameters
    ----------
    count : int
        Lenses that both read.
    bias : Power
        Mean difference, first reader less second, as power vectors.
    limits : tuple of three (float, float)
        95 % limits of agreement in M, J0 and J45: the mean difference less and plus
        1.96 standard deviations of the differences, dioptres (J. M. Bland and
        D. G. Altman, Lancet 1986;1:307-310).
    surely_apart : bool
        Whether the mean difference in M is further from nought than chance allows: beyond
        its own 95 % limits by Student's t.
    """

    count: int
    bias: Power
    limits: tuple[tuple[float, float], ...]
    surely_apart: bool

    @property
    def sentence(self) -> str:
        """How the two differ, in plain words; which of them is right is not known from this."""
        low, high = self.limits[0]
        apart = float(self.bias.mean)
        if self.surely_apart:
            which = "more plus" if apart > 0 else "more minus"
            told = f"the first reads {_two(abs(apart), False)} D {which} than the second, more than chance explains"
        else:
            told = f"the first reads {_two(apart)} D beside the second, no more than chance explains"
        return (
            f"{self.count} lenses read by both: {told}. 95 of 100 differences in the mean power lie between "
            f"{_two(low)} and {_two(high)} D.{_rough(self.count, 'lenses')}"
            " Which of the two is off only a lens of known power can tell."
        )


def _rough(count: int, what: str) -> str:
    """How far limits from a few can be trusted."""
    return f" Limits from {count} {what} are rough: take {FEW} or more." if count < FEW else ""


def agreement(first: Sequence[Power], second: Sequence[Power]) -> Agreement:
    """How two readers of the same lenses differ, as limits of agreement.

    Parameters
    ----------
    first, second : sequence of Power
        The same lenses in the same order, at least three, each read once by either; or
        one of them the powers as they are known.

    Raises
    ------
    OpticsError
        For lists of unequal length, or fewer than three lenses.
    """
    if len(first) != len(second):
        raise OpticsError(
            f"The first reader has {len(first)} lenses, the second {len(second)}.",
            "Both read the same lenses in the same order.",
            "Put a lens that only one of them read aside.",
        )
    if len(first) < 3:
        raise OpticsError(
            f"Both read {('no lens', 'one lens', 'two lenses')[len(first)]}.",
            "Three are the fewest that show a scatter.",
            "Read more lenses.",
        )
    from scipy.stats import t as student

    apart = np.array([one.vector - other.vector for one, other in zip(first, second, strict=True)])
    middle, deviation = apart.mean(axis=0), apart.std(axis=0, ddof=1)
    return Agreement(
        count=len(apart),
        bias=Power(middle),
        limits=tuple(
            (float(m - 1.96 * sd), float(m + 1.96 * sd)) for m, sd in zip(middle, deviation, strict=True)
        ),
        surely_apart=bool(
            abs(middle[0]) > 0.005  # less is no difference that can be written
            and abs(middle[0]) > student.ppf(0.975, len(apart) - 1) * deviation[0] / sqrt(len(apart))
        ),
    )
