"""A plain prism: its angle, what it does to light, and how much thicker its base is.

A prism dioptre is one centimetre at one metre. A weak prism bends light by
(n - 1) times its refracting angle, which for crown glass is about half of it.

References
----------
Fuchs, Text-book of Ophthalmology, section 747 (public domain, read): half the
angle, the prism dioptre and the centrad. R. J. Phillips, Spectacles and
Eyeglasses (1892, public domain, read), p. 74: a prism on a lens.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optics.lens.angles import _plain
from optics.lens.surface import checked_index


def deviation_degrees(prism: ArrayLike) -> Any:
    """How far a prism bends light, degrees.

    Parameters
    ----------
    prism : float or array_like
        Prism dioptres.

    Examples
    --------
    >>> round(deviation_degrees(1.0), 4)
    0.5729
    """
    return _plain(np.rad2deg(np.arctan(np.asarray(prism, dtype=float) / 100.0)))


def prism_dioptres(deviation: ArrayLike) -> Any:
    """Prism dioptres of a deviation in degrees."""
    return _plain(100.0 * np.tan(np.deg2rad(np.asarray(deviation, dtype=float))))


def weak_prism(refracting_angle: ArrayLike, index: float) -> Any:
    """Prism of a refracting angle, for weak prisms.

    Parameters
    ----------
    refracting_angle : float or array_like
        Angle between the two faces, degrees; the rule holds to about 10.
    index : float
        Refractive index.

    Returns
    -------
    float or ndarray
        Prism dioptres.

    Examples
    --------
    >>> round(weak_prism(3.0, 1.523), 2)
    2.74
    """
    return prism_dioptres((checked_index(index) - 1.0) * np.asarray(refracting_angle, dtype=float))


def thickness_difference_mm(prism: ArrayLike, width_mm: ArrayLike, index: float) -> Any:
    """How much thicker the base is than the apex: the sign of prism to feel for at the edges.

    Parameters
    ----------
    prism : float or array_like
        Prism dioptres.
    width_mm : float or array_like
        From apex to base.
    index : float
        Refractive index.

    Returns
    -------
    float or ndarray
        Millimetres: width times prism over 100 (n - 1), for weak prisms.

    Examples
    --------
    >>> round(thickness_difference_mm(2.0, 50, 1.5), 1)
    2.0
    """
    width = np.asarray(width_mm, dtype=float)
    return _plain(width * np.asarray(prism, dtype=float) / (100.0 * (checked_index(index) - 1.0)))
