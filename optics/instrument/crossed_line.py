"""The crossed line seen through a lens in the hand: where each limb is seen, in numbers and words.

The lens is held before the eye, the front of the spectacles towards the holder, and
a cross hangs on the wall beyond it. Outside the lens the cross is seen where it is.
Through the lens each limb is seen moved and turned as `optics.instrument.neutralizing` works
out. Everything here is laid onto the plane of the lens, where both are seen at once.

References
----------
With, against and scissors: common practice, as in `optics.instrument.neutralizing`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optics.instrument.neutralizing import AGAINST, WITH, Held

LIMBS = {"upright": 90.0, "level": 180.0}
"""The two limbs of the cross and their directions, degrees."""

# What an eye notices where a line is broken at the rim.
LEAST_SHIFT_MM = 0.3
LEAST_TURN_DEGREES = 0.25
BLURRED_WITHIN = 0.5
"""How near to the inverting power nothing is told apart any more, dioptres (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossSeen:
    """The cross as it is seen through a lens.

    Parameters
    ----------
    magnification : ndarray, shape (2, 2)
        How directions of the cross are seen.
    shift_mm : ndarray, shape (2,)
        Where the middle of the cross is seen, in the plane of the lens.
    look : {"upright", "upside down", "lost"}
        Whether the cross is seen as it stands; lost where the lens only blurs it.
    """

    magnification: NDArray[np.float64]
    shift_mm: NDArray[np.float64]
    look: str = "upright"

    def offset_mm(self, limb: str) -> float:
        """Where a limb crosses the line of sight: to the right for the upright one, up for the level one."""
        across, along = (0, 1) if limb == "upright" else (1, 0)
        run = self.magnification[:, along]
        if abs(run[along]) < 1e-9:
            return float("nan")
        return float(self.shift_mm[across] - self.shift_mm[along] * run[across] / run[along])

    def turn_degrees(self, limb: str) -> float:
        """How far a limb is seen turned, anticlockwise, the short way round."""
        run = self.magnification[:, 1 if limb == "upright" else 0]
        seen = float(np.rad2deg(np.arctan2(run[1], run[0])))
        return (seen - LIMBS[limb] + 90.0) % 180.0 - 90.0

    def limb_mm(self, limb: str, half_mm: float = 500.0) -> NDArray[np.float64]:
        """Two points of a limb as it is seen, in the plane of the lens, shape (2, 2)."""
        run = self.magnification[:, 1 if limb == "upright" else 0]
        run = run / max(float(np.hypot(*run)), 1e-9)
        return np.stack([self.shift_mm - half_mm * run, self.shift_mm + half_mm * run])


def cross_seen(held: Held, centre_mm: ArrayLike = (0.0, 0.0), turned_degrees: float = 0.0) -> CrossSeen:
    """The cross seen through a lens that has been moved and turned.

    Parameters
    ----------
    held : Held
        The lens in the hand, not turned.
    centre_mm : array_like, shape (2,)
        Where its reference point has been moved to, from the line of sight,
        millimetres.
    turned_degrees : float
        How far it is turned, anticlockwise.

    Examples
    --------
    >>> from optics.lens.power import Power
    >>> minus = Held(power=Power.from_sphere_cylinder(-2.00))
    >>> cross_seen(minus, (10, 0)).offset_mm("upright") > 0
    True
    """
    now = held.turned(turned_degrees)
    strongest = float(now.power.principal()[0])
    if abs(strongest - now.inverting_power) < BLURRED_WITHIN:
        return CrossSeen(magnification=np.eye(2), shift_mm=np.zeros(2), look="lost")
    laid_on_lens = now.from_eye_mm / (now.from_eye_mm + now.cross_mm)
    return CrossSeen(
        magnification=now.magnification,
        shift_mm=laid_on_lens * now.seen_mm((0.0, 0.0), centre_mm),
        look="upright" if now.upright else "upside down",
    )


def told(
    now: CrossSeen, before: CrossSeen, moved_mm: tuple[float, float] = (0.0, 0.0), turned_degrees: float = 0.0
) -> str:
    """What the cross does, in sentences: with, against, or like scissors.

    Parameters
    ----------
    now, before : CrossSeen
        As it is seen, and as it was before the lens was moved and turned.
    moved_mm : (float, float)
        How far the lens was moved, to the right and up.
    turned_degrees : float
        How far it was turned, anticlockwise.

    Examples
    --------
    >>> from optics.lens.power import Power
    >>> held = Held(power=Power.from_sphere_cylinder(-2.00))
    >>> print(told(cross_seen(held, (10, 0)), cross_seen(held), (10, 0)))
    Lens moved 10 mm to the right. The upright line is seen 2.2 mm to the right, moving with the lens. The level line is unbroken.
    """
    said = [_hand(moved_mm, turned_degrees)]
    if now.look == "lost":
        said.append("Nothing of the cross is told apart: a plus lens too strong for this distance.")
        return " ".join([*said, "Hold the lens nearer to your eye."])
    if now.look == "upside down":
        said.append("The cross is seen upside down: a plus lens too strong for this distance.")
        return " ".join([*said, "Hold the lens nearer to your eye."])
    turns = {}
    for limb, move in zip(LIMBS, moved_mm, strict=True):
        offset, turn = now.offset_mm(limb), now.turn_degrees(limb)
        turns[limb] = turn - before.turn_degrees(limb)
        told_of = []
        if abs(offset) >= LEAST_SHIFT_MM:
            sides = ("to the right", "to the left") if limb == "upright" else ("up", "down")
            travelled = offset - before.offset_mm(limb)
            where = f"is seen {abs(offset):.1f} mm {sides[0] if offset > 0 else sides[1]}"
            if move and abs(travelled) >= LEAST_SHIFT_MM:
                where += f", moving {WITH if travelled * move > 0 else AGAINST} the lens"
            told_of.append(where)
        if abs(turn) >= LEAST_TURN_DEGREES:
            leans = f"leans {abs(turn):.1f} degrees {'anticlockwise' if turn > 0 else 'clockwise'}"
            if turned_degrees and abs(turns[limb]) >= LEAST_TURN_DEGREES:
                leans += f", turning {WITH if turns[limb] * turned_degrees > 0 else AGAINST} the lens"
            told_of.append(leans)
        said.append(f"The {limb} line {'; it '.join(told_of) or 'is unbroken'}.")
    opened = turns["upright"] * turns["level"] < 0 and min(map(abs, turns.values())) >= LEAST_TURN_DEGREES
    if turned_degrees and opened:
        said.append("The two lines move like scissors.")
    return " ".join(said)


def _hand(moved_mm: tuple[float, float], turned_degrees: float) -> str:
    across, up = moved_mm
    done = []
    if across:
        done.append(f"{abs(across):g} mm to the {'right' if across > 0 else 'left'}")
    if up:
        done.append(f"{abs(up):g} mm {'up' if up > 0 else 'down'}")
    turned = (
        f"turned {abs(turned_degrees):g} degrees {'anticlockwise' if turned_degrees > 0 else 'clockwise'}"
        if turned_degrees
        else ""
    )
    moved = f"moved {' and '.join(done)}" if done else ""
    both = " and ".join(part for part in (moved, turned) if part)
    return f"Lens {both}." if both else "Lens not moved."
