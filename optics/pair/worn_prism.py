"""Prism of a pair as it is worn: what both eyes meet, and how prism is shared out.

What counts for the wearer is the difference between the eyes. As vectors in the
coordinates of the front view it is right minus left, both ways: base in R with
base in L adds, base up R with base up L cancels.

References
----------
Direction of judgement and sharing between the eyes: common practice (from
memory).
"""

from __future__ import annotations

from typing import NamedTuple

from optics.lens.prism import Imbalance, Prism, imbalance, nasal
from optics.pair.spectacles import Spectacles


class WornPrism(NamedTuple):
    """Prism that each eye meets."""

    right: Prism
    left: Prism

    @property
    def imbalance(self) -> Imbalance:
        """Difference of the pair, right minus left, with its signs."""
        return imbalance(self.right, self.left)


def worn_prism(
    pair: Spectacles,
    right_mm: float,
    left_mm: float,
    right_height_mm: float = 0.0,
    left_height_mm: float = 0.0,
) -> WornPrism:
    """Prism met by eyes that are not where the centres are.

    Parameters
    ----------
    pair : Spectacles
        The pair.
    right_mm, left_mm : float
        The wearer's monocular PDs, millimetres from the middle of the bridge.
    right_height_mm, left_height_mm : float
        Where the lines of sight pass, millimetres above the datum line.

    Returns
    -------
    WornPrism

    Examples
    --------
    A PD made 4 mm too narrow on +3.00:

    >>> from optics.lens.lens import SingleVision
    >>> from optics.lens.power import Power
    >>> from optics.pair.spectacles import Mounted
    >>> lens = SingleVision(power=Power.from_sphere_cylinder(+3.00))
    >>> pair = Spectacles(right=Mounted(lens=lens, pd_mm=30), left=Mounted(lens=lens, pd_mm=30))
    >>> round(worn_prism(pair, 32, 32).imbalance.horizontal, 2)
    1.2
    """
    return WornPrism(
        pair.over_stop("R", -nasal("R") * right_mm, right_height_mm).prism,
        pair.over_stop("L", -nasal("L") * left_mm, left_height_mm).prism,
    )


def shared(prism: Prism, eye: str, share: float = 0.5) -> WornPrism:
    """One eye's prism shared between both, with the same effect for the pair.

    Parameters
    ----------
    prism : Prism
        Prism ordered before one eye.
    eye : {"R", "L"}
        That eye.
    share : float
        Part that stays with it, 0 to 1.

    Returns
    -------
    WornPrism
        Horizontally both eyes get the same base; vertically the other eye gets
        the opposite one.

    Notes
    -----
    How a prism is shared is the prescriber's decision: where the order names an
    eye, it is made as ordered.

    Examples
    --------
    >>> right, left = shared(Prism.from_base(4.0, "out", "R") + Prism.from_base(3.0, "up", "R"), "R")
    >>> right.written("R"), left.written("L")
    ('2.00 base out and 1.50 base up', '2.00 base out and 1.50 base down')
    """
    kept = Prism(share * prism.vector)
    given = kept - prism
    return WornPrism(kept, given) if nasal(eye) > 0 else WornPrism(given, kept)
