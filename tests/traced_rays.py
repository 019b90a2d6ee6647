"""Rays traced through two height fields: Snell's law in vectors, and nothing of the package's.

Heights are functions of x and y (millimetres, seen from the front), positive
towards the eye; the back's is counted from its own pole. The stop has its 8 mm
against one side, square to it at the point asked for unless the lens leans.
"""

from __future__ import annotations

import numpy as np

STOP_MM = 4.0


def sphere(power, index, side):
    """Height of a sphere of this surface power, dioptres."""
    c = (1.0 if side == "front" else -1.0) * power / (1000.0 * (index - 1.0))
    return lambda x, y: c * (x * x + y * y) / (1.0 + np.sqrt(1.0 - c * c * (x * x + y * y)))


def torus(sphere_power, cylinder, axis, index, side):
    """Height of a torus: the circle of the one meridian swept about the axle of the other."""
    sign = 1.0 if side == "front" else -1.0
    along, across = (sign * p / (1000.0 * (index - 1.0)) for p in (sphere_power, sphere_power + cylinder))
    cos, sin = np.cos(np.deg2rad(axis)), np.sin(np.deg2rad(axis))

    def height(x, y):
        u, v = x * cos + y * sin, -x * sin + y * cos
        profile = along * u * u / (1.0 + np.sqrt(1.0 - (along * u) ** 2))
        radius = 1.0 / across
        return radius - np.sign(radius) * np.sqrt((radius - profile) ** 2 - v * v)

    return height


def with_flat_top(height, addition, index, top, width, depth):
    """A flat-top segment worked on the front: inside, a sphere of the addition about its circle's centre."""
    centre = np.array([top[0], top[1] - (depth - width / 2.0)])
    curvature = addition / (1000.0 * (index - 1.0))

    def carrying(x, y):
        r2 = (x - centre[0]) ** 2 + (y - centre[1]) ** 2
        return height(x, y) + np.where((y <= top[1]) & (r2 <= width**2 / 4.0), curvature * r2 / 2.0, 0.0)

    return carrying


def placed(height, degrees, at):
    """A height field turned anticlockwise and moved."""
    cos, sin = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return lambda x, y: height((x - at[0]) * cos + (y - at[1]) * sin, -(x - at[0]) * sin + (y - at[1]) * cos)


def _met_by(start, way, height):
    step = 1e-4
    along = np.zeros(start.shape[:-1])
    for _ in range(40):
        at = start + along[..., None] * way
        along = along - (at[..., 2] - height(at[..., 0], at[..., 1])) / way[..., 2]
    at = start + along[..., None] * way
    x, y = at[..., 0], at[..., 1]
    down = [(height(x - step, y) - height(x + step, y)), (height(x, y - step) - height(x, y + step))]
    normal = np.stack([down[0] / (2 * step), down[1] / (2 * step), np.ones_like(x)], -1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    return at, normal * np.sign(np.sum(normal * way, -1, keepdims=True))


def _refracted(way, normal, ratio):
    across = ratio * (way - np.sum(way * normal, -1, keepdims=True) * normal)
    return across + np.sqrt(1.0 - np.sum(across**2, -1, keepdims=True)) * normal


class Traced:
    """One point of a lens over the stop; x, y and what is seen are as the front view has them."""

    def __init__(self, front, back, thickness_mm, index, x, y, against, lean=(0.0, 180.0)):
        def behind(at_x, at_y):
            return thickness_mm + back(at_x, at_y)

        self.index = index
        self.first, self.second = (behind, front) if against == "back" else (front, behind)
        way = -1.0 if against == "back" else 1.0
        start = np.array([[x, y, self.first(x, y)]])
        foot, normal = _met_by(start, np.array([[0.0, 0.0, way]]), self.first)
        self.foot, axis = foot[0], normal[0]
        if lean[0]:
            # A turn in space about a line of the front view (Rodrigues).
            line = np.array([np.cos(np.deg2rad(lean[1])), np.sin(np.deg2rad(lean[1])), 0.0])
            angle = np.deg2rad(lean[0])
            axis = (
                axis * np.cos(angle)
                + np.cross(line, axis) * np.sin(angle)
                + line * (line @ axis) * (1 - np.cos(angle))
            )
        self.axis = axis
        tip = way * axis
        self.sideways = np.array(
            [np.eye(3)[i] - tip[i] * (np.eye(3)[2] + tip) / (1.0 + tip[2]) for i in (0, 1)]
        )

    def leaves(self, place_mm, slope):
        """Slopes with which rays leave that started at places of the stop with these slopes, shape (n, 2)."""
        way = self.axis + slope @ self.sideways
        way /= np.linalg.norm(way, axis=-1, keepdims=True)
        start = self.foot + place_mm @ self.sideways - 5.0 * way / (way @ self.axis)[:, None]
        at, normal = _met_by(start, way, self.first)
        inside = _refracted(way, normal, 1.0 / self.index)
        at, normal = _met_by(at, inside, self.second)
        out = _refracted(inside, normal, self.index)
        return out @ self.sideways.T / (out @ self.axis)[:, None]

    def power_and_prism(self):
        """Power (2, 2) and prism in the middle of the stop.

        s' = C u + D s for light a little beside the axis and a little aslant; light
        that leaves parallel has s = -(1/D) C u.
        """
        small, none = 0.02, np.zeros((4, 2))
        sides = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
        place, slope = self.leaves(small * sides, none), self.leaves(none, 1e-4 * sides)
        by_place = np.stack([place[0] - place[1], place[2] - place[3]], 1) / (2 * small)
        by_slope = np.stack([slope[0] - slope[1], slope[2] - slope[3]], 1) / 2e-4
        return -1000.0 * np.linalg.solve(by_slope, by_place), 100.0 * self.leaves(none[:1], none[:1])[0]
