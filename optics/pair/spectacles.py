"""A pair of spectacles: two lenses, each standing somewhere in a frame.

Pair coordinates are those of the front view: x to the viewer's right from the
middle of the bridge, y up from the datum line, millimetres. The wearer's right
lens is on the viewer's left, so its x is negative.
"""

from __future__ import annotations

from dataclasses import dataclass

from optics.lens.lens import BACK, Lens, OverStop
from optics.lens.prism import nasal


@dataclass(frozen=True, slots=True, kw_only=True)
class Mounted:
    """A lens in its rim.

    Parameters
    ----------
    lens : Lens
        The lens.
    pd_mm : float
        Monocular distance from the middle of the bridge to the lens's reference
        point, millimetres, positive.
    height_mm : float
        Height of the reference point above the datum line, millimetres.
    """

    lens: Lens
    pd_mm: float = 32.0
    height_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectacles:
    """A pair, in the trade's order: right, then left.

    Parameters
    ----------
    right, left : Mounted
        The two lenses in their rims.
    """

    right: Mounted
    left: Mounted

    def mounted(self, eye: str) -> Mounted:
        """The lens of that eye, "R" or "L"."""
        return self.right if nasal(eye) > 0 else self.left

    def reference_point_mm(self, eye: str) -> tuple[float, float]:
        """Where the lens's reference point lies in pair coordinates, millimetres."""
        lens = self.mounted(eye)
        return -nasal(eye) * lens.pd_mm, lens.height_mm

    def over_stop(self, eye: str, x_mm: float, y_mm: float, against: str = BACK) -> OverStop:
        """What the instrument meets at a point given in pair coordinates."""
        centre_x, centre_y = self.reference_point_mm(eye)
        return self.mounted(eye).lens.over_stop(x_mm - centre_x, y_mm - centre_y, against)
