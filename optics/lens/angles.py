"""Axes, meridians and bases: the arithmetic of directions on a spectacle lens.

Angles are degrees, seen from the front of the spectacles (the side away from
the wearer), anticlockwise from the viewer's right, alike for both eyes: the TABO
scale (ISO 8429, from memory; with the horizontal written 180: Thorington,
Refraction and How to Refract). An axis or meridian runs from just above 0 to
180, horizontal is 180 and never 0. A base direction runs from 0 to below 360.
"""

from __future__ import annotations

from numbers import Integral
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError, shown
from optics.lens.numbers import finite


def _plain(value: NDArray[Any]) -> Any:
    """Give a scalar back as a plain float, an array as an array."""
    return float(value) if np.ndim(value) == 0 else value


def wrapped_axis(degrees: ArrayLike) -> Any:
    """Bring any direction onto the axis scale, above 0 and up to 180.

    Parameters
    ----------
    degrees : float or array_like
        Direction in degrees, any size and sign.

    Returns
    -------
    float or ndarray
        The same line on the TABO scale, in (0, 180].

    Examples
    --------
    >>> wrapped_axis(260)
    80.0
    >>> wrapped_axis(0)
    180.0
    """
    angle = np.asarray(degrees, dtype=float)
    turned = angle - 180.0 * np.floor(angle / 180.0)
    return _plain(np.where((turned <= 0.0) | (turned > 180.0), 180.0, turned))


def whole_axis(degrees: ArrayLike) -> Any:
    """Bring a direction onto the axis scale in whole degrees, 1 to 180.

    Parameters
    ----------
    degrees : float or array_like
        Direction in degrees.

    Returns
    -------
    int or ndarray of int
        Nearest whole degree, halves upwards, 180 instead of 0.

    Examples
    --------
    >>> whole_axis(0.3)
    180
    >>> whole_axis(179.6)
    180
    """
    rounded = np.floor(np.asarray(degrees, dtype=float) + 0.5).astype(int)
    wrapped = (rounded - 1) % 180 + 1
    return int(wrapped) if np.ndim(wrapped) == 0 else wrapped


def right_angle_to(degrees: ArrayLike) -> Any:
    """The axis or meridian at right angles, in (0, 180].

    Examples
    --------
    >>> right_angle_to(170)
    80.0
    >>> right_angle_to(90)
    180.0
    """
    return wrapped_axis(np.asarray(degrees, dtype=float) + 90.0)


def mirrored_axis(degrees: ArrayLike) -> Any:
    """The same axis seen from the other side of the lens: 180 minus the axis.

    Examples
    --------
    >>> mirrored_axis(30)
    150.0
    >>> mirrored_axis(180)
    180.0
    """
    return wrapped_axis(180.0 - np.asarray(degrees, dtype=float))


def axis_difference(found: ArrayLike, ordered: ArrayLike) -> Any:
    """How far apart two axes are, the short way round.

    Parameters
    ----------
    found, ordered : float or array_like
        Axes in degrees; arrays broadcast.

    Returns
    -------
    float or ndarray
        Degrees from 0 to 90, never negative.

    Examples
    --------
    >>> axis_difference(179, 2)
    3.0
    """
    apart = np.abs(np.asarray(found, dtype=float) - np.asarray(ordered, dtype=float))
    apart = apart - 180.0 * np.floor(apart / 180.0)
    return _plain(np.minimum(apart, 180.0 - apart))


def wrapped_base(degrees: ArrayLike) -> Any:
    """Bring a base direction onto 0 to below 360 degrees.

    Examples
    --------
    >>> wrapped_base(-90)
    270.0
    """
    angle = np.asarray(degrees, dtype=float)
    turned = angle - 360.0 * np.floor(angle / 360.0)
    return _plain(np.where(turned >= 360.0, 0.0, turned))


def checked_axis(value: Any) -> int:
    """A written axis, if it is one: a whole number from 1 to 180.

    Parameters
    ----------
    value : int or whole float
        The axis as written, degrees.

    Returns
    -------
    int
        The axis.

    Raises
    ------
    OpticsError
        For 0 (horizontal is written 180), above 180, fractions and non-numbers.

    Examples
    --------
    >>> checked_axis(180)
    180
    """
    allowed = "An axis is a whole number from 1 to 180."
    if finite(value) is None:
        raise OpticsError(
            f"The axis is {shown(value)}.", allowed, 'Write it in three digits, for example "015".'
        )
    if not isinstance(value, Integral) and value != int(value):
        raise OpticsError(
            f"The axis is {value:g}.", allowed, f"Write the nearest whole degree, {whole_axis(value):03d}."
        )
    number = int(value)
    if number == 0:
        raise OpticsError("The axis is 0.", allowed, "The horizontal axis is written 180.")
    if not 1 <= number <= 180:
        hint = (
            f"Did you mean {int(wrapped_axis(number)):03d}?"
            if 180 < number <= 360
            else "Read the axis scale again."
        )
        raise OpticsError(f"The axis is {shown(number)}.", allowed, hint)
    return number


def rotation(degrees: float) -> NDArray[np.float64]:
    """The matrix that turns a vector anticlockwise."""
    turn = np.deg2rad(degrees)
    return np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
