"""One drawing to one file, by the name of its kind: what the command line needs."""

from __future__ import annotations

from collections.abc import Callable
from os import PathLike
from pathlib import Path
from typing import Any

from optics.drawing.axis_dial import axis_dial
from optics.drawing.diagram import Diagram, checked_target
from optics.drawing.eyepiece import eyepiece
from optics.drawing.power_cross import power_cross
from optics.drawing.prism_displacement import prism_displacement
from optics.errors import OpticsError

__all__ = ["KINDS", "draw_to_file"]

KINDS: dict[str, Callable[..., Diagram]] = {
    "power-cross": power_cross,
    "axis-dial": axis_dial,
    "prism": prism_displacement,
    "eyepiece": eyepiece,
}
"""The kinds of drawing, by the name an optician would type."""


def draw_to_file(
    kind: str, text: str, path: str | PathLike[str], overwrite: bool = False, **options: Any
) -> Path:
    """Draw one lens and save the picture.

    Parameters
    ----------
    kind : {"power-cross", "axis-dial", "prism", "eyepiece"}
        Which drawing.
    text : str
        The lens as written, "R +2.50 -1.50 x 170"; for "prism" a prism alone may
        do, "R 2.00 base in".
    path : str or path
        Name ending in .png, .svg or .pdf, in a folder that exists.
    overwrite : bool
        Whether a file that is already there may be replaced.
    **options
        Passed on to the drawing, for example `drum=-3.50` for an eyepiece.

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
            f'There is no drawing called "{kind}".',
            f"There are {', '.join(KINDS)}.",
            f'Try "{next(iter(KINDS))}".',
        )
    checked_target(path, overwrite=overwrite)
    return KINDS[kind](text, **options).save(path, overwrite=overwrite)
