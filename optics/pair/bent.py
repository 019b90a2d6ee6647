"""A pair out of true: what the instrument meets when the frame is bent.

Common practice: true the frame first. A lens that leans shows power and
cylinder that are not in it; a lens turned in its rim, or a skewed bridge, shows
an axis that is not the one it was made to; a lens that does not reach the stop
shows a power that depends on the gap.
"""

from __future__ import annotations

from dataclasses import replace

from optics.lens.prism import nasal
from optics.lens.tilt import Tilted, Turned
from optics.pair.spectacles import Spectacles


def bent(
    pair: Spectacles,
    eye: str,
    *,
    tilt_degrees: float = 0.0,
    tilt_axis: float = 180.0,
    turned_degrees: float = 0.0,
    raised_mm: float = 0.0,
    off_stop_mm: float = 0.0,
    index: float = 1.5,
) -> Spectacles:
    """The same pair with one lens out of true.

    Parameters
    ----------
    pair : Spectacles
        The pair as it should be.
    eye : {"R", "L"}
        Which lens is out.
    tilt_degrees, tilt_axis : float
        How far the lens leans, and about which line: about 180 where the bridge is
        twisted so that the two lenses no longer lie in one plane, about 90 where
        the front is bowed.
    turned_degrees : float
        How far it is turned in its rim, anticlockwise seen from the front.
    raised_mm : float
        How much higher it sits than it should: a skewed bridge.
    off_stop_mm : float
        Gap between lens and stop, millimetres.
    index : float
        Index of the lens.

    Returns
    -------
    Spectacles
        A new pair; the one given is not changed.

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> from optics.lens.power import Power
    >>> from optics.pair.spectacles import Mounted
    >>> lens = SingleVision(power=Power.from_sphere_cylinder(+6.00))
    >>> pair = Spectacles(right=Mounted(lens=lens), left=Mounted(lens=lens))
    >>> met = bent(pair, "L", tilt_degrees=15).over_stop("L", 32, 0)
    >>> round(met.power.astigmatism, 2)
    0.44
    """
    mounted = pair.mounted(eye)
    lens = mounted.lens
    # Turned in the rim first: the tilt axis belongs to the frame, not to the lens.
    if turned_degrees:
        lens = Turned(lens=lens, degrees=turned_degrees)
    if tilt_degrees or off_stop_mm:
        lens = Tilted(
            lens=lens,
            tilt_degrees=tilt_degrees,
            tilt_axis=tilt_axis,
            off_stop_mm=off_stop_mm,
            index=index,
        )
    moved = replace(mounted, lens=lens, height_mm=mounted.height_mm + raised_mm)
    return replace(pair, right=moved) if nasal(eye) > 0 else replace(pair, left=moved)
