"""Segments of lined multifocals: their shape, their parts, and the jump at their lines.

Three shapes are known here. A *flat-top* is a round cut off by a straight line
above its middle; a *round* shows its whole circle; a *straight-across* segment
fills the lens below one line. A trifocal has a strip of intermediate power above
the reading part, under the same upper line.

Positions are millimetres from the middle of the segment's upper line, x to the
viewer's right and y up, so everything inside a segment has y below 0. The
optical centre of a round or flat-top segment is the middle of its circle; that
of a straight-across segment lies on the line, which is why it has no jump.

References
----------
Where the centres lie, and image jump: "Ophthalmic Lenses" (textbook), pp. 114
and 121 (read). Half of the addition for the intermediate part: common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.errors import OpticsError
from optics.lens.near_prism import centre_below_top_mm, image_jump
from optics.lens.prism import Prism

FLAT_TOP = "flat-top"
ROUND = "round"
STRAIGHT_ACROSS = "straight-across"
SHAPES = (FLAT_TOP, ROUND, STRAIGHT_ACROSS)

USUAL_CENTRE_BELOW_LINE_MM = 5.0
# A straight-across segment is drawn this far out; the lens outline cuts it.
_LENS_HALF_MM = 40.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """The outline of a segment.

    Parameters
    ----------
    shape : {"flat-top", "round", "straight-across"}
        Its kind.
    width_mm : float
        Greatest width; without meaning for straight-across.
    depth_mm : float, optional
        Depth of the reading part, from its line to the lowest point. If left
        out: the full circle for a round, a centre 5 mm below the line for a
        flat-top.
    intermediate_mm : float
        Depth of the intermediate strip of a trifocal; 0 for a bifocal.
    intermediate_share : float
        Part of the addition that the strip has.

    Raises
    ------
    OpticsError
        For a shape that is not known, or measures that do not make one.

    Examples
    --------
    >>> Segment(shape="flat-top", width_mm=28).depth_mm
    19.0
    >>> trifocal = Segment(shape="flat-top", width_mm=28, intermediate_mm=7)
    >>> [(line_mm, jump.written("R")) for line_mm, jump in trifocal.jumps(2.00)]
    [(0.0, '1.20 base down'), (-7.0, '0.50 base down')]
    """

    shape: str = FLAT_TOP
    width_mm: float = 28.0
    depth_mm: float | None = None
    intermediate_mm: float = 0.0
    intermediate_share: float = 0.5

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise OpticsError(
                f'The segment is "{self.shape}".',
                f"It is {', '.join(SHAPES[:-1])} or {SHAPES[-1]}.",
                "Name it.",
            )
        if not 10.0 <= self.width_mm <= 45.0:
            raise OpticsError(
                f"The segment is {self.width_mm:g} mm wide.",
                "It lies between 10 and 45 mm.",
                "Measure it again.",
            )
        if not 0.0 <= self.intermediate_mm <= 14.0 or not 0.0 < self.intermediate_share < 1.0:
            raise OpticsError(
                f"The intermediate strip is {self.intermediate_mm:g} mm deep"
                f" with {self.intermediate_share:g} of the addition.",
                "It is 0 to 14 mm deep and has a part of the addition between 0 and 1.",
                "Most are 7 or 8 mm deep and have half of it.",
            )
        if self.intermediate_mm and self.shape == ROUND:
            raise OpticsError(
                "A round segment has an intermediate strip here.",
                "A trifocal is flat-top or straight-across.",
                "Choose one of these, or set the strip to 0.",
            )
        if self.shape == STRAIGHT_ACROSS:
            return
        usual = self.width_mm if self.shape == ROUND else self.width_mm / 2.0 + USUAL_CENTRE_BELOW_LINE_MM
        depth = usual if self.depth_mm is None else float(self.depth_mm)
        if self.shape == ROUND and depth != self.width_mm:
            raise OpticsError(
                f"The round segment is {self.width_mm:g} wide and {depth:g} mm deep.",
                "A round is as deep as it is wide.",
                "Leave the depth out.",
            )
        centre_below_top_mm(self.width_mm, depth)
        object.__setattr__(self, "depth_mm", depth)

    @property
    def reading_line_mm(self) -> float:
        """Height of the line above the reading part: 0 for a bifocal, below 0 for a trifocal."""
        return 0.0 - self.intermediate_mm

    @property
    def centre_below_line_mm(self) -> float:
        """How far the optical centre lies below the line of the reading part."""
        return (
            0.0 if self.shape == STRAIGHT_ACROSS else centre_below_top_mm(self.width_mm, self.depth_mm or 0.0)
        )

    @property
    def centre_mm(self) -> tuple[float, float]:
        """The optical centre, one for all parts of the segment."""
        return (0.0, self.reading_line_mm - self.centre_below_line_mm)

    @property
    def half_line_mm(self) -> float:
        """Half the length of the line above the reading part."""
        if self.shape == STRAIGHT_ACROSS:
            return _LENS_HALF_MM
        return float(np.sqrt((self.width_mm / 2.0) ** 2 - self.centre_below_line_mm**2))

    def share(self, x_mm: ArrayLike, y_mm: ArrayLike) -> NDArray[np.float64]:
        """Part of the addition at a point: 0 outside, 1 in the reading part, between in a strip."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
        reading = y <= self.reading_line_mm
        if self.shape != STRAIGHT_ACROSS:
            reading &= np.hypot(x, y - self.centre_mm[1]) <= self.width_mm / 2.0
        strip = (y <= 0.0) & (y > self.reading_line_mm) & (np.abs(x) <= self.half_line_mm)
        return np.where(reading, 1.0, np.where(strip, self.intermediate_share, 0.0))

    def measures(self) -> dict[str, float | None]:
        """What decides `share`, for whoever works it out elsewhere: the browser."""
        return {
            "line_y": self.reading_line_mm,
            "centre_y": self.centre_mm[1],
            "radius": None if self.shape == STRAIGHT_ACROSS else self.width_mm / 2.0,
            "half_line": self.half_line_mm,
            "strip_share": self.intermediate_share,
        }

    def part_at(self, x_mm: float, y_mm: float) -> str:
        """What lies at a point: "distance", "intermediate" or "near"."""
        share = float(self.share(x_mm, y_mm))
        return "near" if share == 1.0 else "intermediate" if share else "distance"

    def jumps(self, addition: float) -> tuple[tuple[float, Prism], ...]:
        """Image jump at each line, from the top.

        Parameters
        ----------
        addition : float
            Dioptres.

        Returns
        -------
        tuple of (float, Prism)
            Height of the line (millimetres from the upper line) and the prism
            met there all at once; the distance power has no part in it.
        """
        if not self.intermediate_mm:
            return ((0.0, image_jump(addition, self.centre_below_line_mm)),)
        strip, rest = addition * self.intermediate_share, addition * (1.0 - self.intermediate_share)
        return (
            (0.0, image_jump(strip, self.intermediate_mm + self.centre_below_line_mm)),
            (self.reading_line_mm, image_jump(rest, self.centre_below_line_mm)),
        )

    def lines_mm(self, points: int = 73) -> tuple[NDArray[np.float64], ...]:
        """The lines one sees on the lens, to be drawn.

        Parameters
        ----------
        points : int
            Points along the curved edge.

        Returns
        -------
        tuple of ndarray, each of shape (n, 2)
            First the outline (closed for a round or flat-top), then the line
            between the strip and the reading part of a trifocal.
        """
        half, line = self.half_line_mm, self.reading_line_mm
        between = (np.array([[-half, line], [half, line]]),) if self.intermediate_mm else ()
        if self.shape == STRAIGHT_ACROSS:
            return (np.array([[-half, 0.0], [half, 0.0]]), *between)
        # From the right end of the reading line round below to its left end.
        start = np.arctan2(self.centre_below_line_mm, half)
        angle = np.linspace(start, -np.pi - start, points)
        edge = np.stack([np.cos(angle), np.sin(angle)], -1) * self.width_mm / 2.0 + np.array(self.centre_mm)
        top = np.array([[-half, 0.0], [half, 0.0]])
        return (np.vstack([edge, top, edge[:1]]), *between)
