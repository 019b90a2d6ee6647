"""The frame in the boxing system, and where lenses are to stand in it.

A box is drawn round each lens shape, touching it at both sides, top and bottom.
The datum line runs at half the height of the boxes. Everything is measured from
the boxes: widths and heights of the lens, the gap between the boxes, and the
point midway, the boxing centre, which is where the middle of an uncut lens falls
unless it is decentred.

Positions are pair coordinates as in `optics.pair.spectacles`: x to the viewer's right
from the middle of the bridge, y up from the datum line.

References
----------
Boxing terms: ISO 8624 (named in a national standard that follows it) and
published explanations (read). Decentration and blank size: common practice, each
a good approximation for the usual lens shapes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from optics.errors import OpticsError, shown
from optics.lens.numbers import finite, tidied
from optics.lens.prism import nasal

CENTRE_OF_ROTATION_MM = 27.0
"""From the back of the lens to the eye's centre of rotation, millimetres (usual
value, from memory)."""


def _positive(name: str, value: float, most: float) -> None:
    number = finite(value)
    if number is None or not 0 < number <= most:
        raise OpticsError(
            f"The {name} is {shown(value) if number is None else f'{number:g}'} mm.",
            f"It lies between 0 and {most:g} mm.",
            "Measure between the sides of the box, in millimetres.",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A frame in boxing terms, all in millimetres.

    Parameters
    ----------
    lens_width_mm : float
        A: width of the box round one lens.
    lens_height_mm : float
        B: height of the box.
    bridge_mm : float
        DBL: shortest distance between the two lenses, nasal edge to nasal edge.
    effective_diameter_mm : float, optional
        ED: twice the longest radius from the boxing centre. Without it the
        longest is taken to reach a corner of the box, which no lens exceeds.

    Raises
    ------
    OpticsError
        For a size no frame has.

    Examples
    --------
    >>> frame = Frame.marked("52-18", lens_height_mm=40)
    >>> frame.between_centres_mm
    70.0
    >>> frame.decentration_mm(32.0)
    3.0
    """

    lens_width_mm: float
    lens_height_mm: float
    bridge_mm: float
    effective_diameter_mm: float | None = None

    def __post_init__(self) -> None:
        _positive("lens width (A)", self.lens_width_mm, 90)
        _positive("lens height (B)", self.lens_height_mm, 80)
        _positive("distance between lenses (DBL)", self.bridge_mm, 40)
        if self.effective_diameter_mm is not None:
            _positive("effective diameter (ED)", self.effective_diameter_mm, 120)
            if self.effective_diameter_mm < max(self.lens_width_mm, self.lens_height_mm):
                raise OpticsError(
                    f"The effective diameter is {self.effective_diameter_mm:g} mm.",
                    "It is never less than the width or the height of the lens.",
                    "Measure the longest radius from the boxing centre and double it.",
                )

    @classmethod
    def marked(cls, marking: str, lens_height_mm: float, effective_diameter_mm: float | None = None) -> Frame:
        """The frame from the marking on its temple or bridge, such as "54-18" or "54□18".

        Parameters
        ----------
        marking : str
            Lens width, then distance between lenses; a temple length after them
            is allowed.
        lens_height_mm, effective_diameter_mm : float
            Not marked on a frame: measure them.
        """
        found = re.fullmatch(
            r"([0-9]{2}(?:\.[0-9])?)(?: ?[-□◻/] ?| )([0-9]{2}(?:\.[0-9])?)(?:(?: ?[-/] ?| )[0-9]{3})?",
            tidied(marking, what="A marking"),
        )
        if not found:
            raise OpticsError(
                f'The marking is "{marking.strip()}".',
                "A frame is marked with lens width and distance between lenses.",
                'Write it like "54-18".',
            )
        return cls(
            lens_width_mm=float(found[1]),
            lens_height_mm=lens_height_mm,
            bridge_mm=float(found[2]),
            effective_diameter_mm=effective_diameter_mm,
        )

    @property
    def between_centres_mm(self) -> float:
        """DBC: distance between the boxing centres, A + DBL."""
        return self.lens_width_mm + self.bridge_mm

    def boxing_centre_mm(self, eye: str) -> tuple[float, float]:
        """Where that lens's boxing centre lies in pair coordinates, millimetres."""
        return -nasal(eye) * self.between_centres_mm / 2.0, 0.0

    def decentration_mm(self, monocular_mm: float) -> float:
        """How far the optical centre stands from the boxing centre; in is positive.

        Parameters
        ----------
        monocular_mm : float
            Distance from the middle of the bridge to the optical centre wanted
            (for a pair with equal eyes, half the PD).
        """
        return self.between_centres_mm / 2.0 - monocular_mm

    def minimum_blank_mm(
        self, monocular_mm: float, height_mm: float = 0.0, allowance_mm: float = 2.0
    ) -> float:
        """Smallest uncut lens that fills the rim.

        Parameters
        ----------
        monocular_mm : float
            As for `decentration_mm`.
        height_mm : float
            Optical centre above the datum line, millimetres.
        allowance_mm : float
            For the edger and for chips at the edge.

        Returns
        -------
        float
            Effective diameter, plus twice the decentration, plus the allowance.
        """
        longest = self.effective_diameter_mm
        if longest is None:
            longest = (self.lens_width_mm**2 + self.lens_height_mm**2) ** 0.5
        moved = (self.decentration_mm(monocular_mm) ** 2 + height_mm**2) ** 0.5
        return longest + 2.0 * moved + allowance_mm

    def height_above_rim_mm(self, height_mm: float) -> float:
        """Height over the lowest point of the lens, for a height over the datum line.

        Segment heights and fitting cross heights are given so.

        Examples
        --------
        >>> Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18).height_above_rim_mm(-2)
        18.0
        """
        return self.lens_height_mm / 2.0 + height_mm

    def height_above_datum_mm(self, above_rim_mm: float) -> float:
        """Height over the datum line, for a height over the lowest point of the lens."""
        return above_rim_mm - self.lens_height_mm / 2.0

    def total_inset_mm(self, monocular_mm: float, near_monocular_mm: float) -> float:
        """How far the middle of a segment stands from the boxing centre; in is positive."""
        return self.decentration_mm(monocular_mm) + inset_mm(monocular_mm, near_monocular_mm)


def monocular_distance_mm(bridge_mm: float, dot_from_nasal_edge_mm: float) -> float:
    """Monocular PD from a dotted centre: half the bridge plus dot to nasal edge of the box.

    Parameters
    ----------
    bridge_mm : float
        Distance between lenses (DBL).
    dot_from_nasal_edge_mm : float
        Horizontally, from the nasal side of the box to the dot.

    Examples
    --------
    >>> monocular_distance_mm(18, 23.5)
    32.5
    """
    return bridge_mm / 2.0 + dot_from_nasal_edge_mm


def inset_mm(monocular_mm: float, near_monocular_mm: float) -> float:
    """Segment inset of one lens: distance less near monocular PD; in is positive."""
    return monocular_mm - near_monocular_mm


def near_inset_mm(
    monocular_mm: float,
    working_distance_mm: float = 400.0,
    power_along_horizontal: float = 0.0,
    rotation_centre_mm: float = CENTRE_OF_ROTATION_MM,
) -> float:
    """How far in the line of sight passes the lens when the eyes read.

    Parameters
    ----------
    monocular_mm : float
        Monocular distance PD.
    working_distance_mm : float
        From the lens to the page.
    power_along_horizontal : float
        Distance power along 180, dioptres: a plus lens asks for more inset, a
        minus lens for less.
    rotation_centre_mm : float
        From the lens to the eye's centre of rotation.

    Returns
    -------
    float
        Millimetres in from the distance position. It follows the ray from the
        page through the lens to the centre of rotation.

    Examples
    --------
    >>> round(near_inset_mm(32.0), 1)
    2.0
    """
    to_page = working_distance_mm / 1000.0
    to_eye = rotation_centre_mm / 1000.0
    return monocular_mm / (1.0 + to_page * (1.0 / to_eye - power_along_horizontal))
