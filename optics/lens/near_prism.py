"""Prism at the reading level: imbalance in unequal lenses, slab-off, and image jump.

When the eyes drop to read they leave the optical centres by about 10 mm. With
unequal powers the two lenses then pull the lines of sight apart vertically, and
single vision is hard to keep. What is done about it is the prescriber's and the
wearer's decision; the figures here only show when to ask.

References
----------
"Measuring reading level" and "Bicentric grinding", 20/20 magazine (read): about
1 prism dioptre is tolerated by most, slab-off from 1.5, which lens. "Ophthalmic
Lenses" (textbook), pp. 47, 114, 121 (read): worked imbalances, image jump,
unequal segments.
"""

from __future__ import annotations

from dataclasses import dataclass

from optics.errors import OpticsError
from optics.lens.power import Power
from optics.lens.prism import OTHER_EYE, Prism, imbalance, prism_at

READING_LEVEL_MM = 10.0
"""How far below the optical centre one reads, millimetres; measured on the wearer where it matters."""

SLAB_OFF_FROM = 1.5
"""Vertical imbalance above which slab-off is usually considered, prism dioptres."""


def near_imbalance(right: Power, left: Power, below_mm: float = READING_LEVEL_MM) -> float:
    """Vertical imbalance of a pair at the reading level.

    Parameters
    ----------
    right, left : Power
        Distance powers.
    below_mm : float
        How far below the optical centres the eyes look, millimetres.

    Returns
    -------
    float
        Prism dioptres; positive is base up R (or base down L).

    Examples
    --------
    >>> sphere = Power.from_sphere_cylinder
    >>> round(near_imbalance(sphere(-3.00), sphere(-6.00), 8), 2)
    2.4
    """
    return imbalance(prism_at(right, 0.0, -below_mm), prism_at(left, 0.0, -below_mm)).vertical


@dataclass(frozen=True, slots=True, kw_only=True)
class SlabOff:
    """Prism worked at the reading level to take an imbalance away.

    Parameters
    ----------
    eye : {"R", "L"}
        Lens that gets it.
    amount : float
        Prism dioptres.
    base : {"up", "down"}
        "up" for slab-off, "down" for reverse slab-off.
    """

    eye: str
    amount: float
    base: str


def slab_off(
    right: Power,
    left: Power,
    below_mm: float = READING_LEVEL_MM,
    threshold: float = SLAB_OFF_FROM,
    reverse: bool = False,
) -> SlabOff | None:
    """Slab-off that levels a pair at reading, where the imbalance is large enough.

    Parameters
    ----------
    right, left : Power
        Distance powers.
    below_mm : float
        Reading level below the optical centres, millimetres.
    threshold : float
        Smallest imbalance worth it, prism dioptres.
    reverse : bool
        Base down on the other lens instead.

    Returns
    -------
    SlabOff or None
        None where the imbalance does not exceed the threshold.

    Notes
    -----
    Base up on the lens with most minus or least plus in the vertical meridian.

    Examples
    --------
    >>> sphere = Power.from_sphere_cylinder
    >>> wanted = slab_off(sphere(-1.00), sphere(-4.00))
    >>> wanted.eye, round(wanted.amount, 2), wanted.base
    ('L', 3.0, 'up')
    """
    apart = near_imbalance(right, left, below_mm)
    if abs(apart) <= threshold + 1e-9:
        return None
    lower = "R" if right.along(90) < left.along(90) else "L"
    other = OTHER_EYE[lower]
    return SlabOff(
        eye=other if reverse else lower, amount=abs(float(apart)), base="down" if reverse else "up"
    )


def segment_prism(add: float, x_mm: float, y_mm: float) -> Prism:
    """Prism that a segment adds at a point seen from the segment's own centre.

    Parameters
    ----------
    add : float
        Addition, dioptres.
    x_mm, y_mm : float
        The point, from the segment's optical centre, millimetres.

    Examples
    --------
    Above the centre of a round segment the base is down:

    >>> segment_prism(3.00, 0, 4).written("R")
    '1.20 base down'
    """
    return prism_at(Power.from_sphere_cylinder(add), x_mm, y_mm)


def centre_below_top_mm(diameter_mm: float, depth_mm: float) -> float:
    """Where the centre of a segment lies below its dividing line.

    Parameters
    ----------
    diameter_mm : float
        Diameter of the circle the segment is part of (its width).
    depth_mm : float
        Depth of the segment: the whole diameter for a round one, half of it for
        a straight line across the middle.

    Returns
    -------
    float
        Millimetres.

    Examples
    --------
    >>> centre_below_top_mm(28, 19), centre_below_top_mm(24, 24)
    (5.0, 12.0)
    """
    if not diameter_mm / 2.0 <= depth_mm <= diameter_mm:
        raise OpticsError(
            f"The segment is {diameter_mm:g} wide and {depth_mm:g} mm deep.",
            "Its depth lies between half its width and its whole width.",
            "Write the width first, as in 28 x 19.",
        )
    return depth_mm - diameter_mm / 2.0


def image_jump(add: float, centre_below_mm: float) -> Prism:
    """Prism met suddenly as the eye crosses the dividing line.

    Parameters
    ----------
    add : float
        Addition, dioptres.
    centre_below_mm : float
        Segment centre below the dividing line, millimetres; 0 for no jump.

    Returns
    -------
    Prism
        Base down; the distance power plays no part.

    Examples
    --------
    >>> image_jump(2.00, centre_below_top_mm(24, 24)).written("R")
    '2.40 base down'
    """
    return segment_prism(add, 0.0, centre_below_mm)


def unequal_rounds_mm(right: Prism, left: Prism, add: float, diameter_mm: float) -> tuple[float, float]:
    """Diameters of two round segments that level the pair, their tops kept in line.

    Parameters
    ----------
    right, left : Prism
        Prism of each eye at the reading point, with equal segments.
    add : float
        Addition, dioptres.
    diameter_mm : float
        Diameter of the equal segments.

    Returns
    -------
    right_mm, left_mm : float
        The eye with more base up gets the larger segment, whose centre lies
        lower and gives more base down.

    Examples
    --------
    >>> right, left = Prism.from_base(1.2, "up", "R"), Prism.from_base(2.0, "up", "L")
    >>> [round(diameter, 1) for diameter in unequal_rounds_mm(right, left, 3.00, 20)]
    [17.3, 22.7]
    """
    if add <= 0:
        raise OpticsError(
            f"The addition is {add:+g} D.", "An addition is above 0.", "Give the addition of the segments."
        )
    # Half the difference from each segment; a centre moves by half its diameter's change.
    change = imbalance(right, left).vertical / add * 10.0
    return diameter_mm + change, diameter_mm - change
