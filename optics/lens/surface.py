"""One surface of a lens: its curve, its sag, and what a lens measure tells of it.

A surface power belongs to an index. The same curve is worth (n - 1) over its
radius, so a lens measure, which feels the curve only, tells the power in its own
calibration index and has to be converted for any other material.

Signs: a surface power is plus where it adds plus. A convex front and a concave
back, seen as they sit in the lens, have plus and minus power. Sagitta follows
the sign of the power: both sags are *subtracted* from the centre thickness to
give the edge.

References
----------
Lens measure: encyclopaedia article "Lens clock" (read). Index of the dioptre's
history: R. E. Parks, Optics & Photonics News 4(4), April 1993 (read).
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from optics.errors import OpticsError
from optics.lens.angles import _plain
from optics.lens.power import Power

MM_PER_M = 1000.0

LENS_MEASURE_INDEX = 1.53
"""Index most lens measures are marked for (trade, and the history of the dioptre).
Some are marked for 1.523, the index of crown glass: look on the dial. The two
readings of one surface differ by 1.3 %."""

Dioptric = TypeVar("Dioptric", Power, Any)


def checked_index(index: float) -> float:
    """A refractive index that a spectacle lens can have.

    Raises
    ------
    OpticsError
        Outside 1.40 to 2.00.
    """
    if not 1.4 <= index <= 2.0:
        raise OpticsError(
            f"The refractive index is {index:g}.",
            "Spectacle lens materials lie between 1.40 and 2.00.",
            "CR-39 is 1.498, crown glass 1.523, polycarbonate 1.586.",
        )
    return float(index)


def radius_mm(power: ArrayLike, index: float) -> Any:
    """Radius of curvature of a surface, millimetres, with the sign of its power.

    Parameters
    ----------
    power : float or array_like
        Surface power along one meridian, dioptres; 0 gives an infinite radius.
    index : float
        Index of the lens.

    Examples
    --------
    >>> round(radius_mm(+5.00, 1.53), 1)
    106.0
    """
    with np.errstate(divide="ignore"):
        return _plain((checked_index(index) - 1.0) * MM_PER_M / np.asarray(power, dtype=float))


def power_from_radius(radius: ArrayLike, index: float) -> Any:
    """Surface power, dioptres, of a radius in millimetres.

    Examples
    --------
    >>> round(power_from_radius(530, 1.53), 2)
    1.0
    """
    with np.errstate(divide="ignore"):
        return _plain((checked_index(index) - 1.0) * MM_PER_M / np.asarray(radius, dtype=float))


def power_in_index(power: Dioptric, stated_index: float, index: float) -> Dioptric:
    """What the same curve is worth in another index.

    Parameters
    ----------
    power : float, ndarray or Power
        Surface power stated for `stated_index`, dioptres.
    stated_index, index : float
        The index it is stated for, and the index wanted.

    Returns
    -------
    float, ndarray or Power
        Power times (index - 1) / (stated index - 1). The same rule tells what a
        thin lens reads in light of another colour, from the two indices.
    """
    return power * ((checked_index(index) - 1.0) / (checked_index(stated_index) - 1.0))


def power_from_lens_measure(
    reading: Dioptric, index: float, calibration_index: float = LENS_MEASURE_INDEX
) -> Dioptric:
    """True surface power from what the lens measure shows.

    Parameters
    ----------
    reading : float, ndarray or Power
        Reading, dioptres.
    index : float
        Index of the lens.
    calibration_index : float
        Index the lens measure is marked for. With both indices exchanged it is told what
        the lens measure shows on a surface of known power, along each meridian of a toric one.

    Examples
    --------
    >>> round(power_from_lens_measure(+6.00, 1.586), 2)
    6.63
    """
    return power_in_index(reading, calibration_index, index)


def sagitta_mm(power: ArrayLike, index: float, diameter_mm: ArrayLike, shape: str = "sphere") -> Any:
    """Depth of a surface over a chord.

    Parameters
    ----------
    power : float or array_like
        Surface power along the meridian of the chord, dioptres.
    index : float
        Index of the lens.
    diameter_mm : float or array_like
        Length of the chord, millimetres.
    shape : {"sphere", "parabola"}
        The exact sagitta of a sphere, or h^2/2r, which is near enough for a
        shallow curve and always too small for a steep one.

    Returns
    -------
    float or ndarray
        Millimetres, with the sign of the power.

    Raises
    ------
    OpticsError
        Where the curve closes before it reaches the chord.

    Examples
    --------
    >>> round(sagitta_mm(+8.25, 1.498, 60), 2), round(sagitta_mm(+8.25, 1.498, 60, "parabola"), 2)
    (7.98, 7.45)
    """
    bend = np.asarray(power, dtype=float) / ((checked_index(index) - 1.0) * MM_PER_M)
    half = np.asarray(diameter_mm, dtype=float) / 2.0
    if shape == "parabola":
        return _plain(half**2 * bend / 2.0)
    if shape != "sphere":
        raise ValueError(f'shape is "sphere" or "parabola", not {shape!r}')
    inside = 1.0 - (half * bend) ** 2
    if np.any(inside < 0.0):
        widest = float(np.min(2.0 / np.abs(np.where(bend == 0, np.nan, bend))[np.isfinite(bend)]))
        raise OpticsError(
            f"The diameter is {np.max(diameter_mm):g} mm.",
            f"A curve this steep closes at {widest:.0f} mm.",
            "Take a smaller diameter or a flatter curve.",
        )
    # Written so that a plano surface needs no case of its own.
    return _plain(half**2 * bend / (1.0 + np.sqrt(inside)))


def power_from_sagitta(
    sagitta: ArrayLike, diameter_mm: ArrayLike, index: float, shape: str = "sphere"
) -> Any:
    """Surface power from the sag over a chord: how a lens measure works.

    Parameters
    ----------
    sagitta : float or array_like
        Sag, millimetres.
    diameter_mm : float or array_like
        Chord (for a lens measure, between its outer pins), millimetres.
    index : float
        Index to state the power in.
    shape : {"sphere", "parabola"}
        As for `sagitta_mm`.

    Examples
    --------
    >>> round(power_from_sagitta(0.5679, 20, 1.53), 2)
    6.0
    """
    s = np.asarray(sagitta, dtype=float)
    half = np.asarray(diameter_mm, dtype=float) / 2.0
    if shape not in ("sphere", "parabola"):
        raise ValueError(f'shape is "sphere" or "parabola", not {shape!r}')
    square = half**2 + (s**2 if shape == "sphere" else 0.0)
    return _plain((checked_index(index) - 1.0) * MM_PER_M * 2.0 * s / square)
