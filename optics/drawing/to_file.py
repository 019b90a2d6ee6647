"""One drawing to one file, by the name of its kind: what the command line needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

from optics.drawing.axis_dial import axis_dial
from optics.drawing.contours import power_contours
from optics.drawing.crossed_line import crossed_line
from optics.drawing.diagram import Diagram, checked_target
from optics.drawing.drum_readings import drum_readings
from optics.drawing.eyepiece import eyepiece
from optics.drawing.given import named_eye
from optics.drawing.instrument import instrument
from optics.drawing.job_ticket import job_ticket
from optics.drawing.lens_marks import multifocal_lens, progressive_marks
from optics.drawing.oblique_sum import oblique_sum
from optics.drawing.power_cross import power_cross
from optics.drawing.prentice import prentice
from optics.drawing.prism_displacement import prism_displacement
from optics.drawing.settling import settling
from optics.drawing.spread import spread
from optics.errors import OpticsError, shown
from optics.lens.multifocal import Multifocal
from optics.lens.numbers import power_of
from optics.lens.parsing import parse, parse_pair, parse_place
from optics.lens.progressive import Progressive
from optics.lens.segment import Segment

WHY_EYE = "The picture shows which side the nose is on, so it needs the eye, R or L."


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of drawing.

    Parameters
    ----------
    draw : callable
        From text to the drawing.
    example : str
        Text that it takes.
    """

    draw: Callable[[str], Diagram]
    example: str


def _parts(text: str, kind: str, least: int, most: int) -> list[str]:
    """What semicolons part."""
    parts = [part.strip() for part in text.split(";") if part.strip()]
    if not least <= len(parts) <= most:
        raise OpticsError(
            f"{shown(text)} has {len(parts)} part{'s' * (len(parts) != 1)}.",
            f"This drawing takes {least if least == most else f'{least} or more'}, with a semicolon between.",
            f'Try "{KINDS[kind].example}".',
        )
    return parts


def _oblique_sum(text: str) -> Diagram:
    return oblique_sum(*_parts(text, "oblique-sum", 2, 2))


def _spread(text: str) -> Diagram:
    return spread(_parts(text, "spread", 2, 200))


def _settling(text: str) -> Diagram:
    # A drum reading falls between steps and is no prescription yet.
    try:
        return settling(power_of(text, "reading"))
    except OpticsError:
        if len(text.split()) == 1:
            raise
        return settling(parse(text).power)


def _drum_readings(text: str) -> Diagram:
    return drum_readings({"readings": [power_of(one, "reading") for one in text.split()]})


def _prentice(text: str) -> Diagram:
    lens, place = _parts(text, "prentice", 2, 2)
    line = parse(lens)
    eye = named_eye(line.eye, WHY_EYE, KINDS["prentice"].example)
    x, y = parse_place(place, eye)
    return prentice(line, x, y, eye)


def _job_ticket(text: str) -> Diagram:
    return job_ticket(*parse_pair(text))


def _with_add(text: str, kind: str) -> dict[str, Any]:
    line = parse(text)
    if line.add is None:
        raise OpticsError(
            f"There is no addition in {shown(text)}.",
            "This lens needs one.",
            f'Try "{KINDS[kind].example}".',
        )
    return {
        "power": line.power,
        "addition": line.add,
        "eye": named_eye(line.eye, WHY_EYE, KINDS[kind].example),
    }


def lined_of(text: str, **measures: Any) -> Multifocal:
    """The lined lens of a text with an eye and an addition, made so that this is read; measures of its segment."""
    return Multifocal.made_to(**_with_add(text, "segment"), segment=Segment(**measures))


def _segment(text: str) -> Diagram:
    return multifocal_lens(lined_of(text))


def progressive_of(text: str) -> Progressive:
    """The progressive lens of a text with an eye and an addition."""
    return Progressive(**_with_add(text, "progressive"))


def _progressive(text: str) -> Diagram:
    return progressive_marks(progressive_of(text))


def _contours(text: str) -> Diagram:
    return power_contours(progressive_of(text))


def _instrument(text: str) -> Diagram:
    if text not in ("names", "letters"):
        raise OpticsError(f"The labels are {shown(text)}.", "There are names and letters.", 'Try "names".')
    return instrument(blank=text == "letters")


KINDS: dict[str, Kind] = {
    "power-cross": Kind(power_cross, "R +2.50 -1.50 x 170"),
    "axis-dial": Kind(axis_dial, "R +2.50 -1.50 x 170; L +2.25 -1.25 x 010"),
    "prism": Kind(prism_displacement, "R 2.00 base in 1.50 base up"),
    "eyepiece": Kind(eyepiece, "-2.25 -0.75 x 015"),
    "oblique-sum": Kind(_oblique_sum, "+1.00 +1.50 x 020; pl +2.00 x 060"),
    "prentice": Kind(_prentice, "R -4.00 DS; 4 mm in, 8 mm down"),
    "settling": Kind(_settling, "-2.14"),
    "drum-readings": Kind(_drum_readings, "-2.25 -2.31 -2.19"),
    "spread": Kind(_spread, "-2.25 -0.75 x 015; -2.25 -0.50 x 018; -2.00 -0.75 x 012"),
    "crossed-line": Kind(crossed_line, "+2.00 -1.00 x 030"),
    "job-ticket": Kind(_job_ticket, "R +2.50 -1.50 x 170 add +2.00; L +2.25 -1.25 x 010 add +2.00"),
    "segment": Kind(_segment, "R +1.00 DS add +2.00"),
    "progressive": Kind(_progressive, "R +1.00 DS add +2.00"),
    "contours": Kind(_contours, "R +1.00 DS add +2.00"),
    "focimeter": Kind(_instrument, "names"),
}
"""The kinds of drawing, by the name an optician would type, each with text that it takes."""


def draw_to_file(kind: str, text: str, path: str | PathLike[str]) -> Path:
    """Draw one lens and save the picture.

    Parameters
    ----------
    kind : str
        Which drawing, one of `KINDS`.
    text : str
        What is drawn, mostly the lens as written, "R +2.50 -1.50 x 170"; each of `KINDS`
        has an example.
    path : str or path
        Name ending in .png, .svg or .pdf, in a folder that exists.

    Returns
    -------
    Path
        Where it was saved.

    Raises
    ------
    OpticsError
        For an unknown kind, text that cannot be read, or a place that cannot be
        written to; nothing is written then.
    """
    if kind not in KINDS:
        raise OpticsError(
            f"There is no drawing called {shown(kind)}.",
            f"There are {', '.join(KINDS)}.",
            f'Try "{next(iter(KINDS))}".',
        )
    checked_target(path)
    return KINDS[kind].draw(text).save(path)
