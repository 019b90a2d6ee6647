"""The focimeter's standard lens: why the drum is linear and where its scale ends.

The lens under test stands at the second focal point of the standard lens. By
Newton's relation the target then moves in proportion to the power read, the
square of the focal length for every dioptre. Plus powers bring the target nearer
to the standard lens, and the scale ends where it would touch.

References
----------
Principle: J. Schwiegerling, Field Guide to Visual and Ophthalmic Optics, SPIE
2004, "Lensmeters" (read). Newton's relation: from memory.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optics.lens.angles import _plain


def target_travel_mm(power: ArrayLike, focal_length_mm: float) -> Any:
    """How far the target moves from its zero position towards the standard lens.

    Parameters
    ----------
    power : float or array_like
        Power read, dioptres.
    focal_length_mm : float
        Focal length of the standard lens.

    Returns
    -------
    float or ndarray
        Millimetres; negative, away from the standard lens, for minus powers.

    Examples
    --------
    A 20 D standard lens moves the target two and a half millimetres a dioptre:

    >>> target_travel_mm(1.0, 50.0)
    2.5
    """
    return _plain(focal_length_mm**2 * np.asarray(power, dtype=float) / 1000.0)


def strongest_plus(focal_length_mm: float) -> float:
    """The plus power at which the target would touch the standard lens, dioptres.

    Examples
    --------
    >>> strongest_plus(50.0)
    20.0
    """
    return 1000.0 / focal_length_mm
