"""A figure and its words, kept together.

JupyterLab shows a plain picture without its alternative text, so a `Diagram`
shows itself as HTML, where the text stays on the image. The same words go into
the saved file.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from os import PathLike
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from optics.errors import OpticsError

CSS_PIXELS_PER_INCH = 96
SCREEN_DPI = 1.5 * CSS_PIXELS_PER_INCH
PRINT_DPI = 200

# Text stays text (SVG) or an embedded font (PDF), so that it can be searched and
# read aloud; the fixed salt and the absent dates make the same figure the same file.
REPRODUCIBLE: dict[Any, Any] = {"svg.fonttype": "none", "svg.hashsalt": "optics", "pdf.fonttype": 42}
_SUFFIXES = (".png", ".svg", ".pdf")


def checked_target(
    path: str | PathLike[str], suffixes: tuple[str, ...] = _SUFFIXES, overwrite: bool = False
) -> Path:
    """A path that a picture may be written to.

    Parameters
    ----------
    path : str or path
        Where the file shall stand.
    suffixes : tuple of str
        Endings allowed, each with its point.
    overwrite : bool
        Whether a file that is already there may be replaced.

    Raises
    ------
    OpticsError
        For another ending, a folder that does not exist, or a file that is
        already there.
    """
    target = Path(path)
    named = ", ".join(suffixes[:-1]) + " or " + suffixes[-1] if len(suffixes) > 1 else suffixes[0]
    if target.suffix.lower() not in suffixes:
        ending = f'ends in "{target.suffix}"' if target.suffix else "has no ending"
        raise OpticsError(
            f'The file name "{target.name}" {ending}.',
            f"It must end in {named}.",
            f'Try "{target.stem or "picture"}{suffixes[0]}".',
        )
    if not target.parent.is_dir():
        raise OpticsError(
            f'There is no folder "{target.parent}".',
            "A picture is saved in a folder that exists.",
            "Make the folder first, or name another one.",
        )
    if target.is_dir() or (target.exists() and not overwrite):
        raise OpticsError(
            f'There is already a file "{target.name}".',
            "Nothing is replaced unless you say so.",
            "Choose another name, or take that file away first.",
        )
    return target


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Diagram:
    """A drawing that knows how to describe, show and save itself.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The drawing.
    alt : str
        What the picture says, in words, for a reader who cannot see it.
    title : str
        Short name, written into saved files.
    caption : str
        Line shown under the picture in a notebook.

    Examples
    --------
    >>> from matplotlib.figure import Figure
    >>> Diagram(Figure(), "A power cross with +1.00 along 180.")
    Diagram: A power cross with +1.00 along 180.
    """

    figure: Figure
    alt: str
    title: str = ""
    caption: str = ""

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise ValueError("a diagram needs alternative text")

    def render(self, kind: str = "png", dpi: float = PRINT_DPI) -> bytes:
        """The picture as the bytes of a file.

        Parameters
        ----------
        kind : {"png", "svg", "pdf"}
            File format.
        dpi : float
            Dots per inch of a PNG; the other two have none.

        Returns
        -------
        bytes
            The same for the same figure, whenever it is made.
        """
        title = self.title or "Diagram"
        metadata: dict[str, Any] = {
            "png": {"Title": title, "Description": self.alt, "Software": None},
            "svg": {"Title": title, "Description": self.alt, "Date": None, "Creator": None},
            "pdf": {"Title": title, "Subject": self.alt, "CreationDate": None, "Producer": None},
        }[kind]
        held = io.BytesIO()
        with matplotlib.rc_context(REPRODUCIBLE):
            self.figure.savefig(held, format=kind, dpi=dpi, metadata=metadata)
        if kind != "svg":
            return held.getvalue()
        # A reading programme takes the words from here when the SVG stands on a page.
        said = f'<svg role="img" aria-label="{escape(self.alt)}" '
        return held.getvalue().decode().replace("<svg ", said, 1).encode()

    def save(self, path: str | PathLike[str], overwrite: bool = False) -> Path:
        """Save the picture; the ending of the name chooses the format.

        Parameters
        ----------
        path : str or path
            Name ending in .png, .svg or .pdf, in a folder that exists.
        overwrite : bool
            Whether a file that is already there may be replaced.

        Returns
        -------
        Path
            Where it was saved.

        Raises
        ------
        OpticsError
            For another ending, a missing folder, a file already there, or a
            place that cannot be written to.
        """
        target = checked_target(path, overwrite=overwrite)
        return written_to(target, self.render(target.suffix.lower()[1:]))

    def image(self, alt: str) -> str:
        """The picture for a page, with this alternative text."""
        data = base64.b64encode(self.render("png", SCREEN_DPI)).decode()
        width = round(self.figure.get_size_inches()[0] * CSS_PIXELS_PER_INCH)
        return (
            f'<img alt="{escape(alt)}" width="{width}" style="max-width:100%;height:auto" '
            f'src="data:image/png;base64,{data}">'
        )

    def _repr_html_(self) -> str:
        caption = f"<figcaption>{escape(self.caption)}</figcaption>" if self.caption else ""
        return f'<figure style="margin:0.5em 0">{self.image(self.alt)}{caption}</figure>'

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        return {"text/html": self._repr_html_(), "text/plain": self.alt}

    def __repr__(self) -> str:
        return f"Diagram: {self.alt}"


def bound(pages: Sequence[Diagram], title: str) -> bytes:
    """Several pages as one PDF."""
    held = io.BytesIO()
    metadata = {"Title": title, "CreationDate": None, "Producer": None}
    with matplotlib.rc_context(REPRODUCIBLE), PdfPages(held, metadata=metadata) as book:
        for page in pages:
            book.savefig(page.figure)
    return held.getvalue()


def written_to(target: Path, content: bytes) -> Path:
    """Write a file, or say plainly that this place does not allow it."""
    try:
        target.write_bytes(content)
    except OSError as problem:
        raise OpticsError(
            f'"{target}" could not be written ({problem.strerror}).',
            "A picture is saved where you may write files.",
            "Choose another folder, or close the file if another program holds it.",
        ) from problem
    return target
