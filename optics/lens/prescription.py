"""The written prescription: check it, print it, change its form.

A `Prescription` is what stands on a job ticket, exact to its hundredths. It
says how a power is *written*; the power itself is `Prescription.power`.

Common practice followed here: signs always written, two decimals, axis in three
digits from 001 to 180 and without a degree sign, sphere-only lenses marked DS,
no power written "plano" or "pl". Eighths of a dioptre are written .12, .37, .62
and .87 and mean .125, .375, .625 and .875.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optics.errors import OpticsError, shown
from optics.lens.angles import checked_axis
from optics.lens.kinds import checked_form
from optics.lens.numbers import finite
from optics.lens.power import Power

# Strongest values seen in dispensing, with room to spare; beyond these a decimal
# point was almost certainly forgotten ("-225").
STRONGEST_SPHERE = 40.0
STRONGEST_CYLINDER = 20.0
STRONGEST_ADD = 8.0
STRONGEST_PRISM = 40.0

BASES = ("in", "out", "up", "down")
EXAMPLE = 'Write it like "-2.25 -0.75 x 015", or "+1.50 DS" for a sphere.'


def exact(value: float) -> float:
    """A written power as the number it means: .12 stands for .125, and so on."""
    hundredths = round(abs(value) * 100)
    ending = hundredths % 100
    size = hundredths / 100
    for eighth in (0.125, 0.375, 0.625, 0.875):
        if ending in (int(eighth * 100), int(eighth * 100) + 1):
            size = hundredths // 100 + eighth
    return size if value >= 0 else -size


def written(value: float, signed: bool = True) -> str:
    """A power in the trade's notation: sign, two decimals, eighths cut to .12.

    Parameters
    ----------
    value : float
        Dioptres or prism dioptres.
    signed : bool
        Whether to write the plus sign.

    Examples
    --------
    >>> written(1.125), written(-0.75), written(0.0)
    ('+1.12', '-0.75', '0.00')
    """
    size = abs(value)
    eighths = size * 8
    # Eighths are cut, not rounded, because the trade writes .12 for .125.
    hundredths = int(size * 100) if eighths == int(eighths) else int(size * 100 + 0.5 + 1e-9)
    if hundredths == 0:
        return "0.00"
    sign = "-" if value < 0 else "+" if signed else ""
    return f"{sign}{hundredths // 100}.{hundredths % 100:02d}"


def _checked(name: str, value: object, limit: float, unit: str = "D") -> float:
    number = finite(value)
    if number is None:
        raise OpticsError(f"The {name} is {shown(value)}.", "It must be a number in dioptres.", EXAMPLE)
    if abs(number) > limit:
        hint = (
            f"Did you mean {written(number / 100)}?"
            if abs(number) >= 25 and number == int(number)
            else "Read it again."
        )
        raise OpticsError(
            f"The {name} is {number:+g} {unit}.", f"It lies between -{limit:g} and +{limit:g} {unit}.", hint
        )
    return exact(number)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prescription:
    """One lens as it is written.

    Parameters
    ----------
    sphere : float
        Dioptres.
    cylinder : float
        Dioptres, either sign; 0 for a sphere.
    axis : int, optional
        Whole degrees 1 to 180; required with a cylinder, absent without one.
    add : float, optional
        Addition, dioptres, above 0.
    prism : tuple of (float, str or float)
        Each prism in prism dioptres with its base: "in", "out", "up", "down", or
        degrees 0 to below 360 seen from the front.
    eye : {"R", "L"}, optional
        Which eye the line is for.
    no_prism : bool
        Whether "no prism" is written: somebody looked, and there is none.

    Raises
    ------
    OpticsError
        A sentence, for any value that cannot stand on a ticket.

    Examples
    --------
    >>> rx = Prescription(sphere=+2.50, cylinder=-1.50, axis=170)
    >>> print(rx.transposed())
    +1.00 +1.50 x 080
    """

    sphere: float
    cylinder: float = 0.0
    axis: int | None = None
    add: float | None = None
    prism: tuple[tuple[float, str | float], ...] = ()
    eye: str | None = None
    no_prism: bool = False

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "sphere", _checked("sphere", self.sphere, STRONGEST_SPHERE) + 0.0)
        put(self, "cylinder", _checked("cylinder", self.cylinder, STRONGEST_CYLINDER) + 0.0)
        # The other form has this for its sphere, and both forms must be writable.
        _checked("sphere plus cylinder", self.sphere + self.cylinder, STRONGEST_SPHERE)
        if self.cylinder and self.axis is None:
            raise OpticsError(
                f"The cylinder {written(self.cylinder)} has no axis.",
                "A cylinder needs its axis, 001 to 180.",
                f'Write "{written(self.cylinder)} x 090", with the axis you found.',
            )
        if not self.cylinder and self.axis is not None:
            raise OpticsError(
                f"There is an axis, {self.axis}, but no cylinder.",
                "An axis belongs to a cylinder.",
                "Write the cylinder before it, or leave the axis out and write DS.",
            )
        if self.axis is not None:
            put(self, "axis", checked_axis(self.axis))
        if self.add is not None:
            add = _checked("addition", self.add, STRONGEST_ADD)
            if add <= 0:
                raise OpticsError(
                    f"The addition is {written(add)} D.",
                    "An addition is above 0: it is what near has more than distance.",
                    "Leave it out for a single vision lens, or subtract the distance reading again.",
                )
            put(self, "add", add)
        put(self, "prism", tuple(checked_prism(amount, base) for amount, base in self.prism))
        if self.no_prism and self.prism:
            raise OpticsError(
                "There is a prism and no prism.", "It is one or the other.", "Write one of them."
            )
        if self.eye not in (None, "R", "L"):
            raise OpticsError(
                f"The eye is {shown(self.eye)}.", "It is R or L.", "Write R for the right lens."
            )

    # --- the power, and the forms ---------------------------------------------

    @property
    def power(self) -> Power:
        """The distance power, whatever the form."""
        return Power.from_sphere_cylinder(self.sphere, self.cylinder, self.axis or 180)

    @property
    def form(self) -> str:
        """Sign of the cylinder as written: "minus", "plus" or "sphere"."""
        return "sphere" if not self.cylinder else "minus" if self.cylinder < 0 else "plus"

    def transposed(self) -> Prescription:
        """The same lens in the other cylinder form; a sphere stays as it is.

        New sphere: sphere plus cylinder. New cylinder: same size, other sign.
        New axis: turned 90 degrees, kept between 1 and 180.
        """
        if self.axis is None:
            return self
        axis = self.axis + 90 if self.axis <= 90 else self.axis - 90
        return replace(self, sphere=self.sphere + self.cylinder, cylinder=-self.cylinder, axis=axis)

    def to_minus_cylinder(self) -> Prescription:
        """The same lens written with minus cylinder."""
        return self.transposed() if self.cylinder > 0 else self

    def to_plus_cylinder(self) -> Prescription:
        """The same lens written with plus cylinder."""
        return self.transposed() if self.cylinder < 0 else self

    def to_crossed(self) -> Crossed:
        """The same lens written as two plano cylinders crossed at right angles."""
        if self.axis is None:
            return Crossed(self.sphere, 90, self.sphere, 180)
        other = self.axis + 90 if self.axis <= 90 else self.axis - 90
        return Crossed(self.sphere, other, self.sphere + self.cylinder, self.axis)

    def same_power(self, other: Prescription) -> bool:
        """Whether the other line describes the same distance power, in whatever form."""
        a, b = self.to_minus_cylinder(), other.to_minus_cylinder()
        return (a.sphere, a.cylinder, a.axis) == (b.sphere, b.cylinder, b.axis)

    # --- printing ---------------------------------------------------------------

    @property
    def distance(self) -> str:
        """The distance power alone, as written: `+2.50 -1.50 x 170`."""
        if self.axis is None:
            return f"{written(self.sphere)} DS" if self.sphere else "plano"
        sphere = written(self.sphere) if self.sphere else "pl"
        return f"{sphere} {written(self.cylinder)} x {self.axis:03d}"

    def __str__(self) -> str:
        parts = [self.eye] if self.eye else []
        parts.append(self.distance)
        if self.add is not None:
            parts.append(f"add {written(self.add)}")
        for amount, base in self.prism:
            if not isinstance(base, str):
                base = f"{base:03.0f} deg" if base == int(base) else f"{base:g} deg"
            parts.append(f"prism {written(amount, signed=False)} base {base}")
        if self.no_prism:
            parts.append("no prism")
        return " ".join(parts)


@dataclass(frozen=True, slots=True)
class Crossed:
    """A lens written as two plano cylinders with axes at right angles.

    Parameters
    ----------
    first, second : float
        The two cylinders, dioptres.
    first_axis, second_axis : int
        Their axes, degrees 1 to 180, at right angles.

    Examples
    --------
    >>> print(Prescription(sphere=+2.50, cylinder=-1.50, axis=170).to_crossed())
    +2.50 x 080 / +1.00 x 170
    """

    first: float
    first_axis: int
    second: float
    second_axis: int

    def __post_init__(self) -> None:
        object.__setattr__(self, "first", _checked("first cylinder", self.first, STRONGEST_SPHERE))
        object.__setattr__(self, "second", _checked("second cylinder", self.second, STRONGEST_SPHERE))
        if (checked_axis(self.first_axis) - checked_axis(self.second_axis)) % 180 != 90:
            raise OpticsError(
                f"The axes are {self.first_axis:03d} and {self.second_axis:03d}.",
                "The two cylinders of the crossed form stand at right angles.",
                "Make the axes differ by 90.",
            )

    @property
    def power(self) -> Power:
        """The power of both cylinders together."""
        return Power.from_sphere_cylinder(0.0, self.first, self.first_axis) + Power.from_sphere_cylinder(
            0.0, self.second, self.second_axis
        )

    def to_prescription(self, form: str = "minus") -> Prescription:
        """The same lens as sphere, cylinder and axis, with cylinder of the sign asked for.

        A cylinder acts at right angles to its axis, so each cylinder's axis is
        where only the *other* cylinder is felt.
        """
        if self.first == self.second:
            return Prescription(sphere=self.first)
        line = Prescription(sphere=self.first, cylinder=self.second - self.first, axis=self.second_axis)
        return line.to_minus_cylinder() if checked_form(form) == "minus" else line.to_plus_cylinder()

    def __str__(self) -> str:
        return (
            f"{written(self.first)} x {self.first_axis:03d} / {written(self.second)} x {self.second_axis:03d}"
        )


def checked_prism(amount: object, base: object) -> tuple[float, str | float]:
    """A prism that can stand on a ticket: its amount, and its base in words or degrees."""
    size = _checked("prism", amount, STRONGEST_PRISM, "Δ")
    if size <= 0:
        raise OpticsError(
            f"The prism is {written(size)}.",
            "A prism is above 0; its direction is said by its base.",
            'Leave it out, or turn the base round: "2.00 base out" instead of "-2.00 base in".',
        )
    if isinstance(base, str):
        if base not in BASES:
            raise OpticsError(
                f'The base is "{base}".', "A base is in, out, up or down, or degrees.", "Name it."
            )
        return size, base
    degrees = finite(base)
    if degrees is None or not 0 <= degrees < 360:
        raise OpticsError(
            f"The base is {shown(base) if degrees is None else f'{degrees:g}'} degrees.",
            "A base in degrees runs from 0 to below 360, seen from the front.",
            "Write 0 instead of 360.",
        )
    return size, degrees
