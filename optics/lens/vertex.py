"""Vertex distance: what a power becomes when the lens, or the place, moves along the line of sight.

One formula serves twice. Light that leaves a lens of power F has, a distance d
behind it, the vergence F / (1 - dF). So that is the *effective power* of the
lens at that place, and it is also the power to order when the lens itself is to
sit d nearer to the eye and do the same work. Each principal meridian goes by
itself and the axis stays; as a matrix, F (I - dF)^-1.

References
----------
Published figures: CLSA Eye Witness, Spring 2011, p. 27 (read). The formula is
standard; the quick rule and the 4 D threshold are common practice.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from optics.lens.angles import _plain
from optics.lens.power import Power

MM_PER_M = 1000.0


def power_nearer_eye(power: Power, nearer_mm: ArrayLike) -> Power:
    """Power that does the same work from a place nearer to the eye.

    Parameters
    ----------
    power : Power
        Back vertex power where the lens is now, dioptres; one or an array.
    nearer_mm : float or array_like
        How much nearer to the eye, millimetres; negative is farther away.

    Returns
    -------
    Power
        F (I - dF)^-1: both principal powers change, the axes do not.

    Notes
    -----
    Plus lenses must be stronger nearer to the eye, minus lenses weaker. At a
    vertex distance of 12 mm the change reaches about 0.2 D at 4 D.

    A wearer's vertex distance is measured, not assumed, before a strong pair is
    changed; and the order says for which distance it was tested.

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> worn = power_nearer_eye(parse("-10.00 DS").power, 12)
    >>> round(worn.mean, 2)
    -8.93
    """
    d = np.asarray(nearer_mm, dtype=float)[..., None, None] / MM_PER_M
    f = power.matrix
    return Power.from_matrix(f @ np.linalg.inv(np.eye(2) - d * f))


def quick_change(dioptres: ArrayLike, moved_mm: ArrayLike = 10.0) -> Any:
    """Size of the change by the quick rule: the square of the power, a hundredth of it for 10 mm.

    Parameters
    ----------
    dioptres : float or array_like
        Power along one meridian.
    moved_mm : float or array_like
        How far the lens moves, millimetres.

    Returns
    -------
    float or ndarray
        Dioptres, never negative. It is the first term of the exact formula, so
        it is too small for plus lenses and too large for minus lenses moved
        towards the eye.

    Examples
    --------
    >>> quick_change(5.0), quick_change(10.0)
    (0.25, 1.0)
    """
    return _plain(np.asarray(dioptres, dtype=float) ** 2 * np.asarray(moved_mm, dtype=float) / MM_PER_M)
