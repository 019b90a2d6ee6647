"""A lens of the pair held before the crossed line: what the browser needs to draw it.

A lens with lines shows the cross in each of its parts in that part's own way, so
each part is sent with its power, its prism at one point and its edge. Within a
part prism grows in proportion (Prentice), which the browser works out; of a
progressive the part straight before the eye stands for the whole.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.instrument.crossed_line import BLURRED_WITHIN
from optics.instrument.neutralizing import Held
from optics.lens.lens import FRONT, Lens
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.lens.segment import STRAIGHT_ACROSS
from optics.pair.appearance import front_scene
from optics.pair.frame import Frame
from optics.pair.spectacles import Spectacles

CROSS_MM = 3000.0
"""From the lens in the hand to the cross on the wall, millimetres."""

_FAR_MM = 60.0  # beyond the edge of any lens

Points = NDArray[np.float64]


class LensInHand:
    """One lens of a pair, in the hand.

    Parameters
    ----------
    pair : Spectacles
        The pair, true and clean: in the hand it is held square.
    frame : Frame
        Its frame.
    eye : {"R", "L"}
        Which lens.
    turned_over : bool
        Whether the back is towards the holder.

    Notes
    -----
    Positions are millimetres from the lens's reference point as the holder sees
    it before it is turned. The power is the front vertex power, since a trial lens is
    laid against the front.
    """

    def __init__(self, pair: Spectacles, frame: Frame, eye: str, turned_over: bool = False) -> None:
        self._lens: Lens = pair.mounted(eye).lens
        self._sideways = -1.0 if turned_over else 1.0
        scene = front_scene(pair, frame, turned_over=turned_over)
        x, y = pair.reference_point_mm(eye)
        middle = np.array([self._sideways * x, y])
        self._edge = scene.lens_outline(eye) - middle
        self._lines = [p.points_mm - middle for p in scene.parts if p.kind == "segment" and p.eye == eye]

    def before_the_eye(self, at_mm: Points, trial: float = 0.0, from_eye_mm: float = 150.0) -> Held:
        """The lens as it acts at one of its points, with a trial lens centred on its reference point."""
        power, prism, _ = self._lens.over_stop(float(self._sideways * at_mm[0]), float(at_mm[1]), FRONT)
        if self._sideways > 0:
            # With the front on the stop one looks at the back; in the hand the front is towards one.
            power, prism = power.turned_over(), prism.turned_over()
        return Held(
            power=power + Power.from_sphere_cylinder(trial),
            prism=prism + Prism(-trial * np.asarray(at_mm) / 10.0),
            from_eye_mm=from_eye_mm,
            cross_mm=CROSS_MM,
        )

    def part_told(self, sight_mm: Points) -> str:
        """Which part of a lens with lines is straight before the eye, as a sentence, or ""."""
        if not isinstance(self._lens, Multifocal):
            return ""
        part = self._lens.part_at(float(self._sideways * sight_mm[0]), float(sight_mm[1]))
        name = {"distance": "the part above the lines", "intermediate": "the strip", "near": "the segment"}
        if not self._lens.segment.intermediate_mm:
            name["distance"] = "the part outside the segment"
        return f"You look through {name[part]}."

    def to_plain(self, sight_mm: Points) -> dict[str, Any]:
        """The lens as plain values, for a browser.

        Parameters
        ----------
        sight_mm : ndarray, shape (2,)
            The point straight before the eye.
        """
        zones = []
        for at, edge in self._zones(sight_mm):
            held = self.before_the_eye(at)
            (xx, xy), (_, yy) = held.power.matrix.tolist()
            zones.append(
                {
                    "power": {"xx": xx, "xy": xy, "yy": yy},
                    "prism": held.prism.vector.tolist(),
                    "at": at.tolist(),
                    "edge": edge.round(2).tolist(),
                }
            )
        lines = [line.round(2).tolist() for line in self._lines]
        return {
            "zones": zones,
            "edge": self._edge.round(2).tolist(),
            "lines": lines,
            "cross_mm": CROSS_MM,
            "blurred_within": BLURRED_WITHIN,
        }

    def _zones(self, sight_mm: Points) -> list[tuple[Points, Points]]:
        """A point inside each part and its edge, the whole lens first."""
        lens = self._lens
        if not isinstance(lens, Multifocal):
            return [(np.asarray(sight_mm, dtype=float), self._edge)]
        seen = np.array([self._sideways, 1.0])
        segment, (x, y) = lens.segment, lens.segment_top
        zones = {"distance": (lens.distance_reference_point, self._edge)}
        if segment.intermediate_mm:
            middle = (x, y + segment.reading_line_mm / 2.0)
            zones["intermediate"] = (middle, self._below(lens, 0.0))
        zones["near"] = (lens.near_reference_point, self._below(lens, segment.reading_line_mm))
        # Where the eye looks it is exact; in the other parts the middle stands for them.
        here = lens.part_at(float(self._sideways * sight_mm[0]), float(sight_mm[1]))
        return [
            (np.asarray(sight_mm, dtype=float) if part == here else np.array(at) * seen, edge)
            for part, (at, edge) in zones.items()
        ]

    def _below(self, lens: Multifocal, line_mm: float) -> Points:
        """The part of a segment below a height, measured from its upper line."""
        x, y = lens.segment_top
        if lens.segment.shape == STRAIGHT_ACROSS:
            top = y + line_mm
            edge = np.array([[-_FAR_MM, top], [_FAR_MM, top], [_FAR_MM, -_FAR_MM], [-_FAR_MM, -_FAR_MM]])
        else:
            outline = lens.segment.lines_mm()[0]
            edge = outline[outline[:, 1] <= line_mm + 1e-6] + np.array([x, y])
        return edge * np.array([self._sideways, 1.0])
