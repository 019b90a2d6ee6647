"""How a reading is settled, by chance: which lines may be written of it, and how likely each is.

Most settle by the rule of the course (`optics.judging.settling`), some put each meridian on its
nearest step.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.instrument.repeats import READING_DEVIATION
from optics.judging.settling import columns
from optics.lens.power import Power

__all__ = ["NOISE", "STEP", "Floats", "as_taught", "settled", "share"]

Floats = NDArray[np.float64]

STEP = 0.25
NOISE = 1.2 * READING_DEVIATION
"""A little wider than one careful reading: hands differ."""
AS_TAUGHT = 0.85
"""How many settle by the rule of the course; the others put each meridian on its nearest step."""


def settled(s: Floats, c: Floats, mode: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
    """Lines that a reading may be settled to, and the chance of each."""
    away, apart = mode == 2, mode == 1
    first, second = s, np.where(apart, c, s + c)
    near = np.arange(-1.0, 2.0)
    up, down = (np.round(v[..., None] / STEP) + near for v in (first, second))
    up, down = np.repeat(up, 3, -1) * STEP, np.tile(down, 3) * STEP
    # A difference of two readings has the noise of both.
    noise = np.where(apart, np.sqrt(2.0) * NOISE, NOISE)[..., None]
    # Who rounds away from zero writes a step for all that lies before it, on either side of zero.
    before = [np.where(away[..., None], np.sign(each) * STEP / 2, 0.0) for each in (up, down)]
    of_up, of_down = (
        share(each - of - power[..., None], by)
        for each, of, power, by in zip((up, down), before, (first, second), (NOISE, noise), strict=True)
    )
    chance = of_up * of_down
    chance[away[..., None] & ((up == 0) | (down == 0))] = 0.0
    cylinder = np.where(apart[..., None], down, down - up)
    chance = np.where(cylinder > 1e-9, 0.0, chance)
    chance = chance / np.maximum(chance.sum(axis=-1, keepdims=True), 1e-12)
    by_rule = (mode == 0) & (c <= 0.0)
    chance[by_rule] *= 1.0 - AS_TAUGHT
    chance[by_rule] += AS_TAUGHT * as_taught(s[by_rule], (s + c)[by_rule])
    return up, cylinder, chance


_GRID, _TO = 0.0125, 1.25


@lru_cache(maxsize=1)
def _settlings() -> Floats:
    """How often a lens is settled to each of the nine lines near it: by what its first meridian
    has over a step, and by its cylinder, both on a grid.

    The course's own rule is asked for every reading on the grid, and its answers are shared out
    by the noise of the two readings.
    """
    steps, half = round(STEP / _GRID), round(3.0 * NOISE / _GRID)
    off = np.arange(-half, half + 1)
    weight = np.exp(-((off * _GRID / NOISE) ** 2) / 2.0)
    weight = np.outer(weight, weight) / weight.sum() ** 2
    # The rule knows a step from the next by what stands over it: powers of one step say it all.
    size = round(_TO / _GRID) + 2 * half + 1
    base = -2.0  # any whole number of steps among common powers
    first = base + np.arange(steps) * _GRID
    line = columns(Power.from_sphere_cylinder(first[:, None], -np.arange(size) * _GRID, 90.0))
    to = np.stack([line.higher[..., 0], line.lower[..., 0]]) - first[:, None]
    found = np.zeros((steps, round(_TO / _GRID), 9))
    at, cylinder = np.arange(steps)[:, None], np.arange(found.shape[1])[None, :]
    over = (base + at * _GRID) / STEP
    nearest = np.round(over), np.round((base + (at - cylinder) * _GRID) / STEP)
    for i, one in enumerate(off):
        for j, two in enumerate(off):
            # Of two readings the more plus one is the first, whichever meridian it was.
            read = np.maximum(at + one, at - cylinder + two), np.minimum(at + one, at - cylinder + two)
            came = to[:, read[0] % steps, read[0] - read[1]] + base + read[0] * _GRID
            up, down = (
                np.clip(np.round(each / STEP) - by, -1, 1) for each, by in zip(came, nearest, strict=True)
            )
            place = (3 * (up + 1) + down + 1).astype(int)
            found[at, cylinder, place] += weight[i, j]
    return found


def as_taught(first: Floats, second: Floats) -> Floats:
    """The chance of each of the nine lines near a lens, settled by the rule of the course."""
    table = _settlings()
    steps = table.shape[0]
    size = first - second
    # Further from a sphere a cylinder is settled as it is a step nearer to it.
    size = np.where(size < _TO - _GRID, size, _TO - STEP + (size - _TO) % STEP)
    over = first - np.floor(first / STEP) * STEP
    at = np.minimum((over / _GRID + 0.5).astype(int), steps - 1)
    return table[at, np.minimum((size / _GRID + 0.5).astype(int), table.shape[1] - 1)]


def _rise(z: Any) -> Any:
    """The normal distribution function, closely (logistic, so its tails are heavier)."""
    return 1.0 / (1.0 + np.exp(-1.702 * np.clip(z, -30.0, 30.0)))


def share(off: Any, noise: Any, step: Any = STEP) -> Any:
    """The share of the noise that falls into a step whose middle is `off` away."""
    return _rise((off + step / 2) / noise) - _rise((off - step / 2) / noise)
