"""The focimeter: what its eyepiece shows, computed from the lens over the stop.

The model. A line target sits near the first focal plane of the standard lens
and the lens under test at the second, where the stop is. So the drum is linear
in dioptres (Newton's relation) and the size of the image does not change with
power. With the drum at P, a lens of power F over the stop and an eyepiece that
is out by e, the residual at the stop is the matrix

    R = F - (P + e) I .

A point of the target spreads over the ellipse R rho, rho over the round stop.
The picture is therefore the target, turned by the axis wheel, shifted by the
prism, and convolved with a uniform ellipse. In the frequency plane that is a
product with 2 J1(q)/q, q = 2 pi |R f| times the stop's radius. Nothing that a
learner sees is scripted; it all falls out of this product.

A lens whose power changes across the stop sends every point of it elsewhere. Then
the picture is the sum over the stop of the target moved by each point's own ray,
traced through both surfaces (`optics.lens.laid_flat`); for one power that sum is
the ellipse.

Field coordinates are prism dioptres: x to the right, y up, as the operator sees
them; the target moves towards the base of a prism (common practice).

The reticle stands in the focal plane of the telescope, after the lens, so only
the eyepiece blurs it: by e over the same stop.

References
----------
Principle: J. Schwiegerling, Field Guide to Visual and Ophthalmic Optics, SPIE
2004, "Lensmeters". Drum by Newton's relation and eyepiece error as the error at
the eye over the square of the telescope's magnification: from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError, shown
from optics.lens.angles import wrapped_axis
from optics.lens.laid_flat import STOP_RADIUS_MM
from optics.lens.lens import EMPTY, OverStop
from optics.lens.numbers import finite

TELESCOPE_MAGNIFICATION = 4.0
DRUM_RANGE = (-25.0, 25.0)
EYEPIECE_RANGE = (-5.0, 5.0)
COMPENSATOR_MOST = 15.0
"""Most prism that the compensator takes out, prism dioptres."""
FIELD = 5.5
"""Half-width of the picture, prism dioptres."""
RINGS = (1.0, 2.0, 3.0, 4.0, 5.0)
"""Radii of the reticle's prism rings, prism dioptres."""
FIELD_GLOW = 0.07
"""Light of the field without a target, so that the dark reticle shows."""
RETICLE_LINE = 0.035
"""Width of the reticle's lines, prism dioptres."""
RETICLE_DARKNESS = 0.8
"""Share of the light that a reticle line takes away."""
EYE_BLUR = 0.012
"""Standard deviation of the eye's own blur, prism dioptres in the field (half an
arc minute at the eye, seen through the telescope)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSet:
    """One of the two sets of parallel lines on the target.

    All sizes are prism dioptres in the field, all counts are odd, and the set
    lies evenly about the crossing. Each line is a chain: thick links joined by a
    thin thread from end to end, so that a sharp line is whole. A blur across the
    line widens it; a slanting blur shears the links and thins out the thread, and
    the line looks broken.
    """

    lines: int
    spacing: float
    width: float
    dashes: int
    dash_spacing: float
    dash_length: float
    thread: float

    @property
    def length(self) -> float:
        """From end to end of a line, prism dioptres."""
        return self.dash_spacing * (self.dashes - 1) + self.dash_length


SPHERE_LINES = LineSet(
    lines=3, spacing=0.22, width=0.08, dashes=11, dash_spacing=0.66, dash_length=0.54, thread=0.035
)
"""Closely set lines. With the wheel at w they show the power along meridian w."""
CYLINDER_LINES = LineSet(
    lines=3, spacing=0.95, width=0.11, dashes=11, dash_spacing=0.66, dash_length=0.54, thread=0.05
)
"""Widely set lines, at right angles to the others: the power along w + 90."""
TARGET_REACH = 3.8
"""From the crossing to the farthest lit point of the target, prism dioptres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """How the instrument stands.

    Parameters
    ----------
    drum : float
        Power drum, dioptres.
    wheel : float
        Axis wheel, degrees 1 to 180. The sphere lines show the power along this
        meridian, so in minus-cylinder form it is the axis.
    eyepiece : float
        Eyepiece dial, dioptres at the eye.
    eye : float
        The dial setting at which the reticle is sharp for this operator,
        dioptres at the eye. Every operator has their own.
    compensator_x, compensator_y : float
        Prism taken out by the compensator, prism dioptres along x and y as the
        operator sees them; at most 15 in all.
    zero_error : float
        What this instrument reads too high, over its whole drum, dioptres: empty,
        and with the eyepiece set, it is sharp at this drum and not at zero.
    """

    drum: float = 0.0
    wheel: float = 180.0
    eyepiece: float = 0.0
    eye: float = 0.0
    compensator_x: float = 0.0
    compensator_y: float = 0.0
    zero_error: float = 0.0

    def __post_init__(self) -> None:
        for name in self.__slots__:
            if finite(getattr(self, name)) is None:
                raise OpticsError(
                    f"The {name.replace('_', ' ')} is at {shown(getattr(self, name))}.",
                    "Every control stands at a number.",
                    "Set it again.",
                )
        for name, value, (low, high) in (
            ("drum", self.drum, DRUM_RANGE),
            ("eyepiece", self.eyepiece, EYEPIECE_RANGE),
        ):
            if not low <= value <= high:
                raise OpticsError(
                    f"The {name} is at {value:+g} D.",
                    f"It runs from {low:+g} to {high:+g} D.",
                    "Turn it back into its range.",
                )
        if not 0 < self.wheel <= 180:
            raise OpticsError(
                f"The axis wheel is at {self.wheel:g}.",
                "It runs from 1 to 180.",
                f"Did you mean {wrapped_axis(self.wheel):03.0f}?",
            )

        taken_out = float(np.hypot(self.compensator_x, self.compensator_y))
        # A hair more is what rounding adds to a base between the two directions.
        if not taken_out <= COMPENSATOR_MOST + 1e-9:
            raise OpticsError(
                f"The prism compensator is at {taken_out:g} prism dioptres.",
                f"It takes out at most {COMPENSATOR_MOST:g}.",
                "Turn it back into its range.",
            )

    @property
    def eyepiece_error(self) -> float:
        """Error of the eyepiece in object space, dioptres: error at the eye over M squared.

        A reading taken so is too low by this amount, over the whole drum. An eyepiece
        too far out, towards plus, makes it negative: light must come apart into the
        telescope to leave that eyepiece parallel, so the drum stands too high.
        """
        return (self.eye - self.eyepiece) / TELESCOPE_MAGNIFICATION**2

    @property
    def vergence(self) -> float:
        """What the drum, as it stands, truly takes out, dioptres."""
        return self.drum - self.zero_error

    def turned(self, **changes: float) -> Settings:
        """The same instrument with some controls moved."""
        return replace(self, **changes)


def an_eye(chance: np.random.Generator) -> float:
    """Somebody's own eyepiece setting: the dial at which the reticle is sharp to them, dioptres.

    Never near zero, so that an eyepiece as it was found has to be set.
    """
    return float(chance.choice([-1, 1]) * chance.integers(5, 12) * 0.25)


def residual(settings: Settings, met: OverStop | None) -> NDArray[np.float64]:
    """Residual power over the stop, R = F - (P + e) I, shape (2, 2), dioptres."""
    return (met or EMPTY).power.matrix - (settings.vergence + settings.eyepiece_error) * np.eye(2)


@lru_cache(maxsize=8)
def _frequencies(size: int, half_width: float, room: float = 1.3) -> tuple[NDArray, NDArray, int, float]:
    from scipy.fft import next_fast_len

    # Room around the picture, so that light blurred or moved out of one side does
    # not come back in on the other.
    padded = next_fast_len(int(size * room), real=True)
    padded += padded % 2
    pixel = 2.0 * half_width / size
    fx = np.fft.rfftfreq(padded, pixel)[None, :]
    fy = np.fft.fftfreq(padded, pixel)[:, None]
    return fx, fy, padded, pixel


def _spread(r: NDArray, fx: NDArray, fy: NDArray) -> NDArray:
    """Transfer function of the uniform ellipse R rho over the stop."""
    radius_cm = STOP_RADIUS_MM / 10.0
    return _disc(radius_cm * np.hypot(r[0, 0] * fx + r[1, 0] * fy, r[0, 1] * fx + r[1, 1] * fy))


def _disc(cycles: NDArray) -> NDArray:
    """Transfer function of a uniform disc, from the frequency times its radius."""
    from scipy.special import j1

    q = np.maximum(2.0 * np.pi * cycles, 1e-9)
    return 2.0 * j1(q) / q


def _row(count: int, spacing: float, length: float, frequency: NDArray) -> NDArray:
    """Spectrum of a row of `count` equal bars, centred, each `length` long."""
    # Equal steps, so each cosine follows from the two before it.
    step = np.cos(2 * np.pi * spacing * frequency)
    before, now, total = np.ones_like(step), step, 0.5 + step
    for _ in range(count // 2 - 1):
        before, now = now, 2.0 * step * now - before
        total += now
    return 2.0 * length * np.sinc(length * frequency) * total


def _spectrum(of: LineSet, along: NDArray, across: NDArray) -> NDArray:
    """Spectrum of a set of dashed lines, from its frequencies along and across the lines."""
    # The set is a row of dashes times a row of lines, and so is its spectrum.
    dashes = _row(of.dashes, of.dash_spacing, of.dash_length, along)
    whole = of.length * np.sinc(of.length * along)
    links, threads = (_row(of.lines, of.spacing, width, across) for width in (of.width, of.thread))
    # The thread shows between the links only.
    return dashes * (links - threads) + whole * threads


def _picture(spectrum: NDArray, size: int, padded: int, pixel: float) -> NDArray:
    from scipy.fft import irfft2

    whole = irfft2(spectrum, (padded, padded)) / pixel**2
    start = (padded - size) // 2
    # Row 0 is the top of the picture; y points up.
    return np.roll(whole, (padded // 2, padded // 2), (0, 1))[start : start + size, start : start + size][
        ::-1
    ]


def _places(settings: Settings, met: OverStop) -> NDArray | None:
    """Where each point of the stop shows the crossing, (n, 2); none where one power stands for them all."""
    if met.whole is None or met.whole.even:
        return None
    out_of_focus = 100.0 * settings.eyepiece_error * met.whole.points_mm / 1000.0
    return met.whole.sent(settings.vergence) + out_of_focus


def target_view(
    settings: Settings, met: OverStop | None, size: int = 384, half_width: float = FIELD
) -> NDArray[np.float64]:
    """Brightness of the target in the eyepiece.

    Parameters
    ----------
    settings : Settings
        How the instrument stands.
    met : OverStop or None
        What lies over the stop, from `Lens.over_stop`; None where nothing does.
    size : int
        Width and height of the picture, pixels.
    half_width : float
        From the centre of the field to the edge of the picture, prism dioptres.

    Returns
    -------
    ndarray, shape (size, size)
        0 is dark, 1 is a sharp line; where lines cross it may exceed 1. Row 0 is
        the top.

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> from optics.lens.power import Power
    >>> lens = SingleVision(power=Power.from_sphere_cylinder(-2.0))
    >>> sharp = target_view(Settings(drum=-2.0), lens.over_stop(0, 0), size=96)
    >>> soft = target_view(Settings(drum=-1.0), lens.over_stop(0, 0), size=96)
    >>> bool(sharp.max() > soft.max())
    True
    """
    met = EMPTY if met is None else met
    places = _places(settings, met)
    taken_out = np.array([settings.compensator_x, settings.compensator_y])
    shift = (met.prism.vector if places is None else places.mean(0)) - taken_out
    r = residual(settings, met)
    wide = STOP_RADIUS_MM / 10.0 * np.linalg.norm(r, 2) if places is None else np.ptp(places, 0).max()
    spread = TARGET_REACH + min(wide, 0.9 * half_width)
    # A target quite out of the field may as well stand just outside it.
    inside = np.clip(shift, -half_width - spread, half_width + spread)
    needed = (np.abs(inside).max() + half_width + spread) / (2.0 * half_width)
    room = next((room for room in (1.3, 2.0, 3.0) if needed <= room), needed)
    fx, fy, padded, pixel = _frequencies(size, half_width, room)
    # Half a pixel, because the centre of the field lies between four pixels.
    x, y = inside - pixel / 2.0
    larger = np.eye(2) if met.whole is None else met.whole.magnification
    if places is None:
        moved = np.exp(-2j * np.pi * fx * x) * np.exp(-2j * np.pi * fy * y) * _spread(larger @ r, fx, fy)
    else:
        moved = _moved(places - taken_out - shift + (x, y), fx, fy)
    sharp = _sharp_target(settings.wheel, size, half_width, room, tuple(larger.ravel().tolist()))
    return _picture(sharp * moved, size, padded, pixel)


def _moved(places: NDArray, fx: NDArray, fy: NDArray) -> NDArray:
    """Transfer of the points of a stop that each show the target in their own place."""
    x, y = places.T
    # Even steps, so each wave follows from the one before it; down they are as across, and their images.
    down, across = (np.exp(2j * np.pi * fx[0, 1] * at) * np.ones((fx.size, 1)) for at in (y, x))
    down[0] = across[0] = 1.0
    down, across = np.cumprod(down, axis=0), np.cumprod(across, axis=0)
    even, odd = down.real @ across.real.T, down.imag @ across.imag.T
    aslant, crossed = down.real @ across.imag.T, down.imag @ across.real.T
    up = (even - odd) - 1j * (aslant + crossed)
    image = (even + odd) - 1j * (aslant - crossed)
    summed = np.concatenate([up[:-1], image[:0:-1]])
    # Each point stands for a part of the stop, spread as the stop is on the whole.
    part = 2.0 * np.linalg.cholesky(np.cov(places.T) / len(places) + 1e-12 * np.eye(2)).T
    shared = _disc(np.hypot(part[0, 0] * fx + part[0, 1] * fy, part[1, 1] * fy))
    return summed / len(places) * shared


@lru_cache(maxsize=16)
def _sharp_target(
    wheel: float, size: int, half_width: float, room: float, larger: tuple[float, ...]
) -> NDArray:
    """Spectrum of the target turned by the wheel, as a lens without blur would show it."""
    fx, fy, _, pixel = _frequencies(size, half_width, room)
    turn = np.deg2rad(wheel)
    a, b, c, d = larger
    # A target shown larger has a spectrum as much narrower.
    gx, gy = a * fx + c * fy, b * fx + d * fy
    # Frequencies along and across the wheel's meridian. The cylinder lines run
    # along it; the sphere lines run across it and so show the power along it.
    along = gx * np.cos(turn) + gy * np.sin(turn)
    across = -gx * np.sin(turn) + gy * np.cos(turn)
    lines = _spectrum(SPHERE_LINES, across, along) + _spectrum(CYLINDER_LINES, along, across)
    return (a * d - b * c) * lines * _display(fx, pixel) * _display(fy, pixel)


def _display(frequency: NDArray, pixel: float) -> NDArray:
    """Transfer of the eye's own blur and of each pixel's averaging over its width."""
    return np.exp(-2.0 * (np.pi * EYE_BLUR * frequency) ** 2) * np.sinc(pixel * frequency)


@lru_cache(maxsize=8)
def _reticle(eyepiece_error: float, size: int, half_width: float) -> NDArray:
    from scipy.fft import irfft2, rfft2

    fx, fy, padded, pixel = _frequencies(size, half_width)
    # Drawn at pixel resolution: the marks of a reticle have no finer structure.
    steps = (np.arange(padded) - padded / 2 + 0.5) * pixel
    x, y = steps[None, :], steps[:, None]

    def line(distance: NDArray) -> NDArray:
        return np.clip((RETICLE_LINE / 2 + pixel / 2 - np.abs(distance)) / pixel, 0.0, 1.0)

    radius = np.hypot(x, y)
    # The cross leaves the innermost ring free so that the target's crossing shows.
    arms = (radius >= RINGS[0]) & (radius <= RINGS[-1])
    marks = np.where(arms, np.maximum(line(x), line(y)), 0.0)
    for ring in RINGS:
        marks = np.maximum(marks, line(radius - ring))
    blurred = irfft2(rfft2(marks) * _spread(eyepiece_error * np.eye(2), fx, fy), (padded, padded))
    start = (padded - size) // 2
    drawn = np.clip(blurred[start : start + size, start : start + size][::-1], 0.0, 1.0)
    drawn.flags.writeable = False
    return drawn


def reticle_view(settings: Settings, size: int = 384, half_width: float = FIELD) -> NDArray[np.float64]:
    """Darkness of the reticle (prism rings and cross) in the eyepiece.

    Sharp only when the eyepiece is set to the operator's eye; neither drum nor
    lens touches it.

    Parameters
    ----------
    settings, size, half_width
        As for `target_view`.

    Returns
    -------
    ndarray, shape (size, size), read only
        0 is no mark, 1 is a full line. Row 0 is the top.
    """
    return _reticle(settings.eyepiece_error, size, half_width)


def eyepiece_view(
    settings: Settings, met: OverStop | None, size: int = 384, half_width: float = FIELD
) -> NDArray[np.float64]:
    """The whole picture in the eyepiece, as bright as it looks.

    Parameters
    ----------
    settings, met, size, half_width
        As for `target_view`.

    Returns
    -------
    ndarray, shape (size, size)
        0 is black, 1 is full brightness. Row 0 is the top.

    Notes
    -----
    The light of the target is added to a faint glow of the field, the reticle
    takes most of the light away where it stands, and the square root stands for
    the eye, which sees dim things brighter than they are. Outside the field stop
    all is dark.
    """
    light = FIELD_GLOW + (1.0 - FIELD_GLOW) * np.clip(target_view(settings, met, size, half_width), 0.0, 1.0)
    light = light * (1.0 - RETICLE_DARKNESS * reticle_view(settings, size, half_width))
    pixel = 2.0 * half_width / size
    steps = (np.arange(size) - size / 2 + 0.5) * pixel
    radius = np.hypot(steps[None, :], steps[:, None])
    return np.sqrt(light) * np.clip((FIELD - radius) / pixel + 0.5, 0.0, 1.0)
