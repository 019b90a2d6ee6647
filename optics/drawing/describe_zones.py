"""Lenses of more than one power in words: contours, marks, segments."""

from __future__ import annotations

from collections.abc import Sequence

from optics.drawing.describe import place, spoken
from optics.lens.multifocal import Multifocal
from optics.lens.prescription import written
from optics.lens.prism import EYES
from optics.lens.progressive_marks import Mark
from optics.lens.segment import STRAIGHT_ACROSS


def power_contours(
    quantity: str,
    eye: str,
    step: float,
    at_points: Sequence[tuple[str, float]],
    extreme: tuple[float, float, float],
    centre: str,
) -> str:
    """Contour lines of a lens in words.

    Parameters
    ----------
    quantity : str
        What the lines show.
    eye : {"R", "L"}
        Which lens.
    step : float
        Dioptres from line to line.
    at_points : sequence of (str, float)
        Named points and the value there, dioptres.
    extreme : (float, float, float)
        The largest value drawn, and where it lies, millimetres.
    centre : str
        What positions are measured from.

    Notes
    -----
    Mean power is told as what a point has more than the distance reference point.

    Examples
    --------
    >>> points = [("distance reference point", 0.0), ("near reference point", 0.02)]
    >>> told = power_contours("unwanted astigmatism", "R", 0.5, points, (2.1, 14, -9), "the fitting cross")
    >>> print(told.split(": ")[1])
    0.00 at the distance reference point, 0.02 at the near reference point; the largest is 2.10, 9 mm below and 14 mm nasal of the fitting cross.
    """
    signed = quantity == "mean power"

    def value(dioptres: float) -> str:
        return spoken(dioptres) if signed else written(abs(round(dioptres, 2)), False)

    shown = "mean power, beyond that in the distance," if signed else quantity
    said = ", ".join(f"{value(found)} at the {name}" for name, found in at_points)
    largest, x, y = extreme
    return (
        f"{shown.capitalize()} of a {EYES[eye]} lens, seen from the front, as contour lines every "
        f"{written(step, False)} D: {said}; the largest is {value(largest)}, {place(x, y, eye, centre)}."
    )


def progressive_marks(marks: Sequence[Mark], eye: str) -> str:
    """The marks of a progressive lens in words, each with its place.

    Examples
    --------
    >>> ring = Mark(
    ...     name="engraved ring", permanent=True, shape="ring", x_mm=17, y_mm=0, size_mm=1.5
    ... )
    >>> print(progressive_marks([ring], "R"))
    Marks of a right progressive lens, seen from the front. Engraved: engraved ring 17 mm nasal of the prism reference point.
    """
    told = [f"Marks of a {EYES[eye]} progressive lens, seen from the front."]
    for kind, permanent in (("Engraved", True), ("In ink", False)):
        said = []
        for mark in marks:
            if mark.permanent is permanent:
                name = f'{mark.name} "{mark.text}"' if mark.text else mark.name
                away = mark.x_mm or mark.y_mm
                where = (
                    place(mark.x_mm, mark.y_mm, eye, "the prism reference point") if away else "in the middle"
                )
                said.append(f"{name} {where}")
        if said:
            told.append(f"{kind}: {'; '.join(said)}.")
    return " ".join(told)


def segment(lens: Multifocal) -> str:
    """A lined multifocal in words.

    Examples
    --------
    >>> from optics.lens.power import Power
    >>> lens = Multifocal(power=Power.from_sphere_cylinder(-1.0), addition=2.0, eye="L")
    >>> print(segment(lens))
    Left lens, seen from the front, with a flat-top bifocal segment 28 mm wide and 19 mm deep: its line is 4 mm below and 2 mm nasal of the distance reference point, its optical centre 5 mm below the line.
    """
    shape = lens.segment
    strip = shape.intermediate_mm
    size = (
        ""
        if shape.shape == STRAIGHT_ACROSS
        else f" {shape.width_mm:g} mm wide and {shape.depth_mm:g} mm deep"
    )
    if strip:
        size += f", with an intermediate strip {strip:g} mm deep above it"
    x, y = lens.segment_top
    below = shape.centre_below_line_mm
    centre = "on the line" if not below else f"{below:g} mm below the line"
    return (
        f"{EYES[lens.eye].capitalize()} lens, seen from the front, with a {shape.shape} "
        f"{'trifocal' if strip else 'bifocal'} segment{size}: its line is "
        f"{place(x, y, lens.eye, 'the distance reference point')}, its optical centre {centre}."
    )
