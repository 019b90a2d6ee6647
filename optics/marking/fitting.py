"""How well what was written fits what each habit, and every two, leads to; and where it is odd by itself."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from optics.lens.prism import Prism
from optics.marking.habits import WRITINGS, Triple
from optics.marking.leads_to import DIGITS, NO_AXIS, Lines, Truth
from optics.marking.parts_read import BareLenses
from optics.marking.read import Ticket
from optics.marking.settled import NOISE, STEP, Floats, share

__all__ = ["Fit", "Odd", "left_out", "of_add", "of_length", "of_line", "of_prism"]

ODD_POWER, ODD_AXIS, ODD_ADD, ODD_PRISM, ODD_MM = 0.75, 20.0, 0.5, 1.0, 4.0
"""Half of what is odd is no further off than this, and the tail is heavy (dioptres, degrees, millimetres)."""
PD_NOISE, PD_STEP = 0.5, 0.5
PRISM_NOISE, PLACED_CM = 0.14, 0.04
"""Prism is read to quarters and in a place that is found to within about 0.4 mm."""

FAR = 0.65
"""A power so far (dioptres) from one that was settled to was not written for it."""


def _as_powers_are_written(wrote: float) -> float:
    """How likely a power is to be one that is written at all: on a step, at times on an eighth."""
    return 1.0 if abs(wrote / STEP - round(wrote / STEP)) < 0.02 else 0.15 if _on_an_eighth(wrote) else 0.01


def _on_an_eighth(wrote: float) -> bool:
    return abs(wrote * 8.0 - round(wrote * 8.0)) < 0.05


def _near(off: Floats, wrote: float, exact: bool) -> Floats:
    """How likely a power is to be written so far from a step: nearly always on it, at times on an eighth."""
    if exact:
        return np.exp(-np.minimum((off / 0.004) ** 2 / 2, 60.0))
    # Nobody reads -0.03: it is 0.25 with its point misplaced sooner than it is zero.
    beside = 0.15 if _on_an_eighth(wrote) else 0.002
    return (1.0 - beside) * np.exp(-np.minimum((off / 0.01) ** 2 / 2, 60.0)) + beside * np.exp(
        -np.minimum((off / 0.07) ** 2 / 2, 60.0)
    )


class Odd(NamedTuple):
    """One thing of one lens that went wrong for no reason in the catalogue.

    `log` is the likelihood of its field where it is odd by itself and `rest` that of what else the
    field holds; `off` is how far it stands from the right one, and `likely` how likely that is.
    """

    log: float
    rest: float
    off: Any
    likely: float


class Fit(NamedTuple):
    """How well one field fits every two effects, and where any one part of it is odd, by part."""

    table: Floats
    parts: dict[str, Odd]

    @property
    def odd(self) -> float:
        """The likelihood of the field where something in it is odd."""
        return float(np.log(np.mean(np.exp([part.log for part in self.parts.values()])) + 1e-12))


def _tail(off: Any, half: float, step: float) -> float:
    """How likely something odd is to stand so far off: half within `half`, and a heavy tail."""
    return float(step / (np.pi * half * (1.0 + (off / half) ** 2)))


def _part(rest: float, off: Any, likely: float) -> Odd:
    rest = float(np.log(rest + 1e-12))
    return Odd(rest + float(np.log(likely)), rest, off, likely)


AXIS_TAIL = 0.02
"""How many axes are read by a hand two and a half times as rough."""
OTHER_FORM = 0.03
"""How many of the cylinders that are odd for no known reason have the sign that was not asked for."""
PLUS_ALL_THE_SAME, NO_PLUS = 0.35, 0.1
"""How many leave the minus sign out and are made to write a plus for it; who leaves out the plus of a plus."""


def of_line(lines: Lines, wrote: Triple, across: Triple | None, exact: bool, text: str = "") -> Fit:
    """Log likelihood of a line for every two effects; `across` is what was written of the other lens,
    `text` the line as it was typed.
    """
    off_s, off_c = lines.sphere - wrote.sphere, lines.cylinder - wrote.cylinder
    near = (lines.chance > 0) & (abs(off_s) < FAR) & (abs(off_c) < FAR)
    of_s, of_c = np.zeros(near.shape), np.zeros(near.shape)
    of_s[near] = _near(off_s[near], wrote.sphere, exact)
    of_c[near] = _near(off_c[near], wrote.cylinder, exact)
    if not exact:
        for of, off, name in ((of_s, off_s, "mean"), (of_c, off_c, "half cylinder")):
            # Half of -1.25 is written -0.62, or -0.50 or -0.75.
            at = lines.done[name][..., None] & near
            of[at] += 0.5 * np.exp(-(((abs(off[at]) - STEP / 2.0) / 0.01) ** 2) / 2.0)
    power = (lines.chance * of_s * of_c).sum(axis=-1)
    around = np.ones_like(power)
    off_a = 0.0
    if wrote.cylinder:
        before = np.array([wrote.axis, *(float(WRITINGS[each](0.0, 1.0, wrote.axis)[2]) for each in DIGITS)])
        off = (lines.axis - before[lines.swapped] + 90.0) % 180.0 - 90.0
        deviation = np.full_like(off, 0.3) if exact else lines.deviation
        tail = 0.0 if exact else 1.0
        around = (
            (0.97 - (AXIS_TAIL - 0.02) * tail) * np.exp(-(off**2) / (2 * deviation**2)) / (2.5066 * deviation)
            + AXIS_TAIL * tail * np.exp(-(off**2) / (12.5 * deviation**2)) / (6.2666 * deviation)
            + 2e-4 * tail / 180.0
        )
        round_one = (
            abs((wrote.axis + lines.rounded / 2) % np.maximum(lines.rounded, 1.0) - lines.rounded / 2) < 0.6
        )
        put = np.where(round_one, share(off, deviation, np.maximum(lines.rounded, 1.0)), 0.0)
        around = np.minimum(np.where(lines.rounded > 0, put, around), 1.0)
        if not exact:
            # Of a sphere with one reading wrong the wheel stands anywhere, often as it was left.
            as_left = {180: 0.3, 90: 0.15}.get(round(wrote.axis), 0.0) + 0.55 / 180.0
            around = np.where(lines.deviation >= NO_AXIS, (around + as_left) / 2.0, around)
        around = np.where(around < 1e-6, 1e-6 if not exact else 1e-9, around)
        off_a = float(off[0, 0])
    likely = power * around
    if across is not None and not exact:
        by_one = (
            _near(each[:, 0], value, exact)
            for each, value in ((off_s, wrote.sphere), (off_c, wrote.cylinder))
        )
        likely = _copied(likely, lines, (*by_one, around, power), wrote, across)
    typed = re.match(r"\D*?([+-]?)\s*\d", text)
    signed = typed is None or bool(typed[1])
    left_out = lines.done["plus for minus"]
    likely = likely * np.where(left_out, PLUS_ALL_THE_SAME if signed else 1.0, 1.0 if signed else NO_PLUS)
    floor = 1e-12 if exact else 1e-13
    possible = lines.chance.sum(axis=-1) > 0
    found = np.full((len(likely) + 1, len(likely) + 1), -np.inf)
    found[:-1, :-1][possible] = np.log(likely[possible] + floor)
    found = found[np.ix_(lines.places, lines.places)]
    # --- and where one part of it is odd
    chance, turn = lines.chance[0, 0], float(around[0, 0])
    right_s, right_c = (
        float((chance * _near(each[0, 0], value, exact)).sum())
        for each, value in ((off_s, wrote.sphere), (off_c, wrote.cylinder))
    )
    by_s, by_c = (-float((chance * each[0, 0]).sum()) for each in (off_s, off_c))
    odd_s, odd_c = (
        _tail(each, ODD_POWER, STEP) * (1.0 if exact else _as_powers_are_written(value))
        for each, value in ((by_s, wrote.sphere), (by_c, wrote.cylinder))
    )
    if wrote.cylinder > 0.0:
        odd_c *= OTHER_FORM
    odd_a = 0.7 * _tail(off_a, ODD_AXIS, 1.0) + 0.3 / 180.0 if wrote.cylinder else 1.0
    parts = {
        # What moves both spheres alike is in the catalogue: it is what an eyepiece does.
        "sphere": _part(right_c * turn, None, odd_s),
        "cylinder": _part(right_s * turn, by_c, odd_c),
        "line": _part(1.0, None, odd_s * odd_c * odd_a),
    }
    if wrote.cylinder:
        parts["axis"] = _part(float(power[0, 0]), off_a, odd_a)
    return Fit(found, parts)


def _copied(likely: Floats, lines: Lines, own: Sequence[Floats], wrote: Triple, across: Triple) -> Floats:
    """The same with what is copied taken from what was written of the other lens, not from what is true.

    Beside a habit of writing it may have been copied before that, so the likelihood stays a part.
    """
    of_s, of_c, around, power = own
    same_s = float(abs(across.sphere - wrote.sphere) < 0.006)
    same_c = float(abs(across.cylinder - wrote.cylinder) < 0.006)
    same_a = float(
        not wrote.cylinder
        or (across.cylinder != 0.0 and abs((across.axis - wrote.axis + 90.0) % 180.0 - 90.0) < 0.6)
    )
    chance = lines.chance[:, 0]
    found = likely.copy()
    for at, copied in lines.taken:
        if copied == "take line":
            each = np.full(len(likely), same_s * same_c * same_a)
        elif copied == "take sphere":
            each = same_s * (chance * of_c).sum(axis=-1) * around[:, 0]
        elif copied == "take cylinder":
            each = same_c * (chance * of_s).sum(axis=-1) * around[:, 0]
        else:
            each = same_a * (power[:, 0] if wrote.cylinder else 0.0 * power[:, 0])
        each = np.where(lines.chance[at].sum(axis=-1) > 0, each, 0.0)
        found[at], found[:, at] = each, each
    return found


def of_add(table: Floats, wrote: float) -> Fit:
    """Log likelihood of an addition for every two effects."""
    noise = NOISE * np.sqrt(2.0)
    found = np.log(0.98 * share(table - wrote, noise) + 0.02 * share(table - wrote, 3 * noise) + 1e-5)
    off = wrote - float(table[0, 0])
    return Fit(np.where(np.isnan(table), -np.inf, found), {"add": _part(1.0, off, _tail(off, ODD_ADD, STEP))})


def of_length(name: str, table: Floats, wrote: float) -> Fit:
    """Log likelihood of a distance or a height, in millimetres, for every two effects."""
    # A distance doubled has twice the error, and one in centimetres a tenth of it.
    wide, fine = np.where(table > 50.0, 2.0, 1.0) * PD_NOISE, 0.1
    close = np.minimum(_of_noise(table - wrote, wide), 1.0)
    small = np.minimum(_of_noise(table - wrote, fine), 1.0)
    found = np.log(np.where(table < 10.0, (close + small) / 2.0, close) + 1e-6)
    off = wrote - float(table[0, 0])
    return Fit(
        np.where(np.isnan(table), -np.inf, found), {name: _part(1.0, off, _tail(off, ODD_MM, PD_STEP))}
    )


def _of_noise(off_mm: Floats, noise: Any) -> Floats:
    off = off_mm / noise
    return PD_STEP * (0.97 * np.exp(-(off**2) / 2) + 0.01 * np.exp(-abs(off) / 3)) / (2.5 * noise)


def of_prism(
    table: Floats,
    wrote: Prism,
    thinning: tuple[Floats, float],
    strength: float,
    both: NDArray[np.bool_],
) -> Fit:
    """Log likelihood of a prism for every two effects.

    `thinning` comes with how likely it was left out; `both` says in which effects the prism of both
    lenses stands in one, with the noise of both.
    """
    noise = _prism_noise(strength)
    noises = noise * np.where(both[:, None] | both, np.sqrt(2.0), 1.0)
    likely, (thinned, left_out) = np.zeros(table.shape[:2]), thinning
    for part, chance in ((0.0, 1.0 - left_out), (1.0, left_out)) if thinned.any() else ((0.0, 1.0),):
        off = ((table - part * thinned - np.asarray(wrote.vector)) ** 2).sum(axis=-1) / noises**2
        likely = likely + chance * (0.97 * np.exp(-off / 2) + 0.03 * np.exp(-off / 18) / 9)
    found = np.log(likely * 0.0625 / (6.28 * noises**2) + 1e-7)
    by = np.asarray(wrote.vector) - table[0, 0]
    by = min(by, by + thinned, key=lambda each: float(each @ each))
    # Heavy in two directions as the others are in one.
    likely = 0.0625 / (6.28 * ODD_PRISM**2 * (1.0 + float(by @ by) / ODD_PRISM**2) ** 1.5)
    return Fit(np.where(np.isnan(table[..., 0]), -np.inf, found), {"prism": _part(1.0, by, likely)})


def _prism_noise(strength: float) -> float:
    return float(np.hypot(PRISM_NOISE, PLACED_CM * strength))


def left_out(ticket: Ticket, truth: Truth) -> float:
    """How likely it is that thinning prism was left out, which is no habit: in both lenses or in neither."""
    chances: list[float] = []
    pair = truth.pair
    if isinstance(pair, BareLenses):
        return 0.5
    for eye in truth.lines:
        met, thinning = ticket.of(eye).prism_met(eye), np.asarray(pair.thinning(eye).vector)
        if met is None or not thinning.any():
            continue
        off = np.asarray(met.vector) - truth.values("prism", eye)[0, 0]
        noise = _prism_noise(truth.strength(eye))
        with_it, without = (
            1e-4 + np.exp(-float(each @ each) / (2.0 * noise**2)) for each in (off, off + thinning)
        )
        chances.append(without / (with_it + without))
    return float(min(chances, default=0.5))
