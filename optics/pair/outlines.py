"""What a frame looks like: the outlines of its parts, for drawing a pair.

Only the boxing measures are given, so the shapes between them are made up here;
what can be measured on them is right: each lens touches its box on all four
sides, its longest radius is half the effective diameter, and the shortest
distance between the two lenses is the bridge.

Two views. From the front: x to the viewer's right from the middle of the bridge
and y up from the datum line, as everywhere. From above: the same x, and how far
a part lies behind the bridge, away from whoever faces the front.

References
----------
Boxing terms and effective diameter: as in `optics.pair.frame` (ISO 8624, explanations
read). The rest is drawing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.lens.angles import rotation
from optics.lens.prism import nasal
from optics.pair.frame import Frame

Outline = NDArray[np.float64]

TEMPLE_MM = 140.0
"""Length of a temple, hinge to tip, millimetres."""

_RIM_MM = 2.0
_HINGE_MM = 5.0  # from the temporal side of the box to the hinge
_POINTS = 30  # on a quarter of an outline
_PLAIN_ROUNDNESS = 3.0  # of a frame whose effective diameter is not known
_MOST_ROUNDNESS = 16.0  # hardly a corner is left round


def _radius(half_width: float, half_height: float, roundness: Any, turn: Any) -> Any:
    """Radius of the curve |x/a|^n + |y/b|^n = 1 in a direction."""
    across, up = np.abs(np.cos(turn)) / half_width, np.abs(np.sin(turn)) / half_height
    # Taken relative to the larger of the two, or a high power would be lost in rounding.
    most = np.maximum(across, up)
    return ((across / most) ** roundness + (up / most) ** roundness) ** (-1.0 / roundness) / most


def _longest_radius(frame: Frame, roundness: float) -> float:
    turn = np.linspace(0.0, np.pi / 2.0, 181)
    return float(_radius(frame.lens_width_mm / 2.0, frame.lens_height_mm / 2.0, roundness, turn).max())


def _roundness(frame: Frame) -> float:
    """Exponent of the curve |x/a|^n + |y/b|^n = 1 in the corner that reaches furthest."""
    if frame.effective_diameter_mm is None:
        return _PLAIN_ROUNDNESS
    low, high = 2.0, _MOST_ROUNDNESS
    for _ in range(40):
        middle = (low + high) / 2.0
        if _longest_radius(frame, middle) < frame.effective_diameter_mm / 2.0:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def lens_outline_mm(frame: Frame, eye: str, grown_mm: float = 0.0) -> Outline:
    """The edge of a lens, closed, seen from the front.

    Parameters
    ----------
    frame : Frame
        The frame.
    eye : {"R", "L"}
        Which lens.
    grown_mm : float
        How much wider on every side.

    Returns
    -------
    ndarray, shape (n, 2)
        Pair coordinates, millimetres; the first point is repeated at the end.

    Examples
    --------
    >>> frame = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
    >>> edge = lens_outline_mm(frame, "R")
    >>> [round(float(v), 1) for v in (*edge.min(0), *edge.max(0))]
    [-61.0, -20.0, -9.0, 20.0]
    """
    most = _roundness(frame)
    # Fullest at the upper temporal corner, roundest beside the nose, as most frames are.
    corners = {(-1, 1): most, (1, 1): 0.9 * most, (-1, -1): 0.85 * most, (1, -1): 0.65 * most}
    half_width = frame.lens_width_mm / 2.0 + grown_mm
    half_height = frame.lens_height_mm / 2.0 + grown_mm
    turn = np.linspace(0.0, 2.0 * np.pi, 4 * _POINTS + 1)
    inwards, up = np.round(np.cos(turn), 12), np.round(np.sin(turn), 12)
    roundness = np.array(
        [corners[np.sign(x) or 1, np.sign(y) or 1] for x, y in zip(inwards, up, strict=True)]
    )
    radius = _radius(half_width, half_height, np.maximum(roundness, 2.0), turn)
    centre_x, centre_y = frame.boxing_centre_mm(eye)
    return np.stack([centre_x + nasal(eye) * radius * inwards, centre_y + radius * up], -1)


def rim_outline_mm(frame: Frame, eye: str) -> Outline:
    """The outer edge of a rim, closed, seen from the front, millimetres."""
    return lens_outline_mm(frame, eye, _RIM_MM)


def bridge_mm(frame: Frame) -> Outline:
    """The bridge, closed, seen from the front, millimetres: an arch between the rims."""
    half, height = frame.bridge_mm / 2.0 + 1.0, frame.lens_height_mm
    across = np.linspace(-1.0, 1.0, 21)
    arch = 0.06 * height * (1.0 - across**2)
    upper = np.stack([across * half, 0.24 * height + arch], -1)
    lower = np.stack([across * half, 0.12 * height + 1.4 * arch], -1)
    return np.vstack([upper, lower[::-1], upper[:1]])


def pad_mm(frame: Frame, eye: str) -> Outline:
    """A nose pad, closed, seen from the front, millimetres."""
    turn = np.linspace(0.0, 2.0 * np.pi, 37)
    lean = np.deg2rad(20.0) * nasal(eye)
    x, y = 1.8 * np.cos(turn), 6.0 * np.sin(turn)
    middle = np.array([-nasal(eye) * max(2.5, frame.bridge_mm / 2.0 - 2.5), -0.08 * frame.lens_height_mm])
    return middle + np.stack([x * np.cos(lean) - y * np.sin(lean), x * np.sin(lean) + y * np.cos(lean)], -1)


def _hinge_x(frame: Frame) -> float:
    return frame.bridge_mm / 2.0 + frame.lens_width_mm + _HINGE_MM


def end_piece_mm(frame: Frame, eye: str) -> Outline:
    """What carries the hinge, closed, seen from the front, millimetres."""
    side, height, hinge = -nasal(eye), frame.lens_height_mm, _hinge_x(frame)
    x = np.array([hinge - _HINGE_MM - 2.0, hinge, hinge, hinge - _HINGE_MM - 1.0])
    y = np.array([0.33, 0.30, 0.17, 0.13]) * height
    shape = np.stack([side * x, y], -1)
    return np.vstack([shape, shape[:1]])


def temple_end_mm(frame: Frame, eye: str, lean_degrees: float = 0.0) -> Outline:
    """A temple seen end on from the front, millimetres: a stub, or a strip where the side leans.

    Parameters
    ----------
    frame : Frame
        The frame.
    eye : {"R", "L"}
        Which side.
    lean_degrees : float
        How far that side leans about the horizontal; its temple points up or down
        by as much.
    """
    side, hinge = -nasal(eye), _hinge_x(frame)
    root = 0.235 * frame.lens_height_mm
    tip = root + TEMPLE_MM * float(np.sin(np.deg2rad(lean_degrees)))
    high = 0.06 * frame.lens_height_mm
    thin = np.array([hinge, hinge - 2.0, hinge - 4.5, hinge - 2.5])
    steep = np.array([root, root, tip, tip])
    if abs(tip - root) < 2.0 * high:
        thin = np.array([hinge, hinge - 2.5, hinge - 2.5, hinge])
        steep = np.array([root - high, root - high, root + high, root + high])
    shape = np.stack([side * thin, steep], -1)
    return np.vstack([shape, shape[:1]])


def _turned(points: Outline, about: NDArray[np.float64], degrees: float) -> Outline:
    return (points - about) @ rotation(degrees).T + about


def front_from_above_mm(
    frame: Frame, eye: str, lean_degrees: float = 0.0, bow_degrees: float = 0.0
) -> Outline:
    """A lens in its rim seen from above, closed, millimetres.

    Parameters
    ----------
    frame : Frame
        The frame.
    eye : {"R", "L"}
        Which lens.
    lean_degrees : float
        Lean about the horizontal: the lens shows its height, foreshortened.
    bow_degrees : float
        Lean about the vertical: the temporal side stands further back.

    Returns
    -------
    ndarray, shape (n, 2)
        x, and how far behind the bridge.
    """
    along = np.linspace(0.0, 1.0, 25)
    x = frame.bridge_mm / 2.0 + frame.lens_width_mm * along
    behind = 4.0 * along - 6.0 * along * (1.0 - along)
    deep = 1.2 + frame.lens_height_mm / 2.0 * abs(np.sin(np.deg2rad(lean_degrees))) * np.sqrt(
        1.0 - (2.0 * along - 1.0) ** 2
    )
    band = np.vstack([np.stack([x, behind - deep], -1), np.stack([x, behind + deep], -1)[::-1]])
    band = _turned(np.vstack([band, band[:1]]), np.array([frame.bridge_mm / 2.0, 0.0]), bow_degrees)
    return band * [-nasal(eye), 1.0]


def temple_from_above_mm(
    frame: Frame, eye: str, lean_degrees: float = 0.0, bow_degrees: float = 0.0
) -> Outline:
    """A temple seen from above, closed, millimetres; parameters as for the lens in its rim."""
    pivot = np.array([frame.bridge_mm / 2.0, 0.0])
    hinge = _turned(np.array([[_hinge_x(frame), 5.0]]), pivot, bow_degrees)[0]
    length = TEMPLE_MM * float(np.cos(np.deg2rad(lean_degrees)))
    along = np.linspace(0.0, 1.0, 13)
    # A straight side closes in a little behind the ear.
    middle = np.stack([-0.06 * length * np.clip(along - 0.6, 0.0, None) * 2.0, length * along], -1)
    sides = np.vstack([middle - [1.6, 0.0], (middle - [-1.6, 0.0])[::-1]]) + hinge
    temple = _turned(np.vstack([sides, sides[:1]]), hinge, bow_degrees)
    corner = np.array([[_hinge_x(frame) - _HINGE_MM, 4.0]])
    joint = _turned(corner, pivot, bow_degrees)
    return np.vstack([joint, temple, joint]) * [-nasal(eye), 1.0]
