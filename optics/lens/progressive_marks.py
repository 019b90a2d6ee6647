"""The marks of a progressive lens, and finding its points again when the ink is gone.

Permanent marks are engraved faintly: two rings, the *alignment reference
markings*, 34 mm apart and level; the addition under the temporal one; the
maker's mark under the nasal one. Ink marks are washed off at delivery: fitting
cross, distance and near circles, prism reference point, level lines. To read a
lens without ink, find the two rings, dot them, and put the ink back from the
maker's layout.

Positions are millimetres from the prism reference point, seen from the front.

References
----------
34 mm, and which engraving lies where: "Ophthalmic Lenses" (textbook), p. 136
(read). The list of permanent and non-permanent marks: ISO 8980-2, names after
ISO 13666 (both from memory). The maker and its mark are invented.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from optics.errors import OpticsError
from optics.lens.angles import rotation
from optics.lens.prism import nasal
from optics.lens.progressive import Progressive

ALIGNMENT_APART_MM = 34.0

# How far two dotted rings may be from 34 mm before they are not the right ones:
# a millimetre for each dot.
_DOTTING_MM = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One mark on a progressive lens.

    Parameters
    ----------
    name : str
        What it is called.
    permanent : bool
        Engraved (True) or ink (False).
    shape : {"ring", "text", "cross", "circle", "dot", "line"}
        What it looks like.
    x_mm, y_mm : float
        Its middle, from the prism reference point.
    size_mm : float
        Diameter, or length of a line, or height of letters.
    text : str
        What is written, for text.
    """

    name: str
    permanent: bool
    shape: str
    x_mm: float
    y_mm: float
    size_mm: float
    text: str = ""


def marks(lens: Progressive, ink: bool = True) -> tuple[Mark, ...]:
    """The marks of a lens.

    Parameters
    ----------
    lens : Progressive
        The lens.
    ink : bool
        Whether the ink is still on it.

    Returns
    -------
    tuple of Mark
        Permanent marks first.

    Examples
    --------
    >>> from optics.lens.power import Power
    >>> lens = Progressive(power=Power.from_sphere_cylinder(-1.0), addition=2.25, eye="R")
    >>> [(m.name, m.x_mm, m.text) for m in marks(lens, ink=False)][2:]
    [('addition', -17.0, '2.25'), ("maker's sign", 17.0, 'Hb')]
    """
    half, below = nasal(lens.eye) * ALIGNMENT_APART_MM / 2.0, -4.0
    # As ordered: what the surface came out at differs a little.
    addition = f"{round(lens.addition * 4) / 4:.2f}"
    engraved = (
        ("engraved ring", "ring", (-half, 0.0), 1.5),
        ("engraved ring", "ring", (half, 0.0), 1.5),
        ("addition", "text", (-half, below), 2.0, addition),
        ("maker's sign", "text", (half, below), 2.0, lens.sign),
    )
    return marks_at(engraved, permanent=True) + (ink_marks(lens.places) if ink else ())


def ink_marks(places: Mapping[str, tuple[float, float]]) -> tuple[Mark, ...]:
    """The marks that stand in ink, from where the points of a design lie; see `reference_places`."""
    points = (
        ("distance circle", "circle", places["distance"], 10.0),
        ("fitting cross", "cross", places["height"], 5.0),
        ("prism reference point", "dot", places["prism"], 1.5),
        ("near circle", "circle", places["near"], 8.0),
        ("level line", "line", (-24.0, 0.0), 6.0),
        ("level line", "line", (24.0, 0.0), 6.0),
    )
    return marks_at(points, permanent=False)


def marks_at(rows: Iterable[tuple[Any, ...]], permanent: bool) -> tuple[Mark, ...]:
    """Marks from their names, shapes, places, sizes and, for letters, text."""
    return tuple(
        Mark(name=name, permanent=permanent, shape=shape, x_mm=x, y_mm=y, size_mm=size, text="".join(text))
        for name, shape, (x, y), size, *text in rows
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a lens lies, found from its two rings.

    Parameters
    ----------
    x_mm, y_mm : float
        Where the prism reference point lies.
    tilt_degrees : float
        How far the lens is turned anticlockwise from level, -90 to 90.
    """

    x_mm: float
    y_mm: float
    tilt_degrees: float

    def place(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where a point of the lens lies, for marking it up, millimetres."""
        x, y = (rotation(self.tilt_degrees) @ (x_mm, y_mm)).tolist()
        return self.x_mm + x, self.y_mm + y


def layout_from_markings(first: tuple[float, float], second: tuple[float, float]) -> Layout:
    """Find the prism reference point and the level of a lens from its two rings.

    Parameters
    ----------
    first, second : (float, float)
        Where the two rings were found, millimetres, in either order.

    Returns
    -------
    Layout
        The prism reference point is midway, 17 mm from each.

    Raises
    ------
    OpticsError
        Where the two are not 34 mm apart, give or take 2 mm of dotting.

    Examples
    --------
    >>> found = layout_from_markings((-15.0, 1.0), (19.0, 1.0))
    >>> found.place(0, 4)
    (2.0, 5.0)
    """
    (left_x, left_y), (right_x, right_y) = sorted((first, second))
    apart = float(np.hypot(right_x - left_x, right_y - left_y))
    if abs(apart - ALIGNMENT_APART_MM) > _DOTTING_MM:
        raise OpticsError(
            f"The two marks are {apart:.1f} mm apart.",
            f"The alignment reference markings are {ALIGNMENT_APART_MM:g} mm apart.",
            "Look again, with a dark background and the light from the side: one of them is something else.",
        )
    return Layout(
        x_mm=(left_x + right_x) / 2.0,
        y_mm=(left_y + right_y) / 2.0,
        tilt_degrees=float(np.rad2deg(np.arctan2(right_y - left_y, right_x - left_x))),
    )
