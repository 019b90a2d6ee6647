"""A job ticket to print: what was read, in the order a shop writes it, with room for hands.

Right, then left; sphere, cylinder, axis, addition, prism and base; then PD, heights,
style and remarks. Signs are always written and an axis has three digits (common
practice). What was not written is left as a line to write on. The shop is invented.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.errors import OpticsError
from optics.lens.numbers import length_mm
from optics.lens.parsing import parse
from optics.lens.prescription import Prescription, written

SHOP = "Tarn Lane Optical, Osterwick"
CAUTION = (
    "A reading is not an eye examination. Hold it against the order before anybody wears the pair; "
    "a pair in doubt is not for driving. Local codes and licensed practice decide."
)
PAGE = (8.27, 5.83)
"""A5, lying, inches."""
COLUMNS = (
    ("", 0.05),
    ("sphere", 0.10),
    ("cylinder", 0.23),
    ("axis", 0.36),
    ("add", 0.46),
    ("prism and base", 0.57),
)
RIGHT_EDGE = 0.95
LONGEST_STYLE = 40
LONGEST_REMARK = 240
_REMARK_WIDTH = 84
_ROW = 0.085

Length = float | str | None


def job_ticket(
    right: Prescription | str | None = None,
    left: Prescription | str | None = None,
    *,
    pd_mm: Sequence[Length] = (None, None),
    height_mm: Sequence[Length] = (None, None),
    lens_style: str = "",
    shop: Mapping[str, str] | None = None,
    remarks: str = "",
    job: str = "",
    headed: str = SHOP,
) -> Diagram:
    """A job ticket, ready to show or save.

    Parameters
    ----------
    right, left : Prescription or str, optional
        The two lenses as written, with addition and prism. Left out: blank lines.
    pd_mm, height_mm : (right, left)
        Distances from the middle of the bridge, and heights over the lowest point
        of the lens, millimetres.
    lens_style : str
        Single vision, bifocal, trifocal, progressive.
    shop : mapping of str to str, optional
        What a shop needs besides, by name: segment, frame, base curve, thinning prism.
    remarks : str
        Whatever else is to be known; at most 240 letters.
    job : str
        Name or number of the job.
    headed : str
        Whose ticket it is; the shop of the course, unless told.

    Raises
    ------
    OpticsError
        For a lens that cannot be read or stands on the other side's line, or
        remarks that do not fit.

    Examples
    --------
    >>> print(job_ticket("+1.00 -0.50 x 015", "+1.25 DS", pd_mm=(31.5, 32)).alt.split(". ")[1])
    Right: sphere plus 1.00, cylinder minus 0.50, axis 15; PD 31.5 mm
    """
    lenses = {eye: _lens(given, eye) for eye, given in (("R", right), ("L", left))}
    if len(remarks) > LONGEST_REMARK:
        raise OpticsError(
            f"The remarks are {len(remarks)} letters long.",
            f"There is room for {LONGEST_REMARK}.",
            "Shorten them, or write the rest on the back.",
        )
    if len(lens_style) > LONGEST_STYLE:
        raise OpticsError(
            f"The style is {len(lens_style)} letters long.",
            f"There is room for {LONGEST_STYLE}.",
            "Write the rest under remarks.",
        )
    besides = "; ".join(f"{name} {text}" for name, text in (shop or {}).items())
    beside_style = textwrap.wrap(besides, 66)
    if len(beside_style) > 2:
        raise OpticsError(
            f"What the shop needs is {len(besides)} letters long.",
            "There is room for two lines of 66.",
            "Shorten the material, or write it under remarks.",
        )
    figure = style.canvas(*PAGE)
    _write(figure, 0.05, 0.93, headed[:1].upper() + headed[1:], fontsize=style.TITLE, fontweight="bold")
    _write(figure, RIGHT_EDGE, 0.93, f"job  {job or '______________'}", ha="right")
    _write(figure, 0.05, 0.87, "Job ticket: as read on the focimeter", color=style.DIM)
    _rule(figure, 0.845)
    for name, x in COLUMNS:
        _write(figure, x, 0.795, name, fontsize=style.SMALL, color=style.DIM)
    for row, eye in enumerate("RL"):
        _lens_row(figure, 0.70 - row * _ROW, eye, lenses[eye])
    _rule(figure, 0.575)
    _measures(figure, pd_mm, height_mm)
    _rule(figure, 0.365)
    _write(figure, 0.05, 0.315, f"style   {lens_style or style.BLANK * 3}")
    _write(figure, 0.33, 0.345, "\n".join(beside_style), fontsize=style.SMALL, va="top")
    _write(figure, 0.05, 0.255, "remarks")
    lines = textwrap.wrap(remarks, _REMARK_WIDTH) or ["_" * 60]
    _write(figure, 0.17, 0.282, "\n".join(lines), fontsize=style.SMALL, va="top", linespacing=1.25)
    _write(
        figure,
        0.05,
        0.125,
        "read by ______________________     on ______________     checked by ______________",
    )
    figure.add_artist(
        Rectangle(
            (0.04, 0.025), 0.92, 0.078, fill=False, edgecolor=style.BLACK, linewidth=style.LINE, gid="caution"
        )
    )
    figure.text(
        0.5,
        0.064,
        textwrap.fill(CAUTION, 96),
        ha="center",
        va="center",
        fontsize=style.SMALL,
        linespacing=1.25,
    )
    return Diagram(
        figure,
        _told(lenses, pd_mm, height_mm, lens_style, besides, remarks, job, headed),
        title=f"Job ticket {job}".strip(),
    )


def _lens(given: Prescription | str | None, eye: str) -> Prescription | None:
    if given is None or (isinstance(given, str) and not given.strip()):
        return None
    line = parse(given) if isinstance(given, str) else given
    if line.eye not in (None, eye):
        raise OpticsError(
            f"The line for {eye} says {line.eye}.",
            "The right lens stands first, the left below it.",
            "Exchange the two lines, or mend the letter.",
        )
    return line


def _write(figure: Figure, x: float, y: float, text: str, **changes: object) -> None:
    look: dict = {"fontsize": style.TEXT, "va": "baseline", **changes}
    figure.text(x, y, text, **look)


def _rule(figure: Figure, y: float) -> None:
    figure.add_artist(Line2D([0.04, 0.96], [y, y], color=style.GREY, linewidth=style.LINE))


def _signs(text: str) -> str:
    return text.replace("-", "−")


def _lens_row(figure: Figure, y: float, eye: str, line: Prescription | None) -> None:
    cells = [eye, style.BLANK, style.BLANK, style.BLANK, style.BLANK, style.BLANK * 4]
    if line is not None:
        sphere = written(line.sphere) if line.sphere else "plano" if line.axis is None else "pl"
        sphere += " DS" if line.axis is None and line.sphere else ""
        cylinder = "–" if line.axis is None else written(line.cylinder)
        axis = "–" if line.axis is None else f"{line.axis:03d}"
        cells[1:4] = [sphere, cylinder, axis]
        # An addition or a prism that was not written may still have to be read: no dash for them.
        if line.add is not None:
            cells[4] = written(line.add)
        if line.prism:
            cells[5] = "; ".join(_prism(*part) for part in line.prism)
        elif line.no_prism:
            cells[5] = "no prism"
    for (name, x), cell in zip(COLUMNS, cells, strict=True):
        weight = "bold" if not name else "normal"
        _write(
            figure, x, y, _signs(cell), fontsize=style.TITLE if not name else style.LABEL, fontweight=weight
        )


def _prism(amount: float, base: str | float) -> str:
    # Three figures and no degree sign, like an axis: a hurried ° is read as a 0.
    whole = base if isinstance(base, str) else f"{round(base) % 360:03d}"
    return f"{written(amount, signed=False)} base {whole}"


def _length(value: Length) -> str:
    if value is None or (isinstance(value, str) and not value.strip()):
        return ""
    return value.strip() if isinstance(value, str) else f"{value:g}"


def _measures(figure: Figure, pd_mm: Sequence[Length], height_mm: Sequence[Length]) -> None:
    for x, name in ((0.23, "R"), (0.36, "L"), (0.49, "both")):
        _write(figure, x, 0.525, name, fontsize=style.SMALL, color=style.DIM)
    for y, name, lengths in ((0.465, "PD, mm", pd_mm), (0.395, "height, mm", height_mm)):
        _write(figure, 0.05, y, name)
        for x, value in zip((0.23, 0.36), lengths, strict=True):
            _write(figure, x, y, _length(value) or style.BLANK, fontsize=style.LABEL)
    _write(figure, 0.49, 0.465, _together(pd_mm) or style.BLANK, fontsize=style.LABEL)
    _write(figure, 0.62, 0.465, "middle of bridge to centre", fontsize=style.SMALL, color=style.DIM)
    _write(figure, 0.62, 0.395, "over the lowest point of the lens", fontsize=style.SMALL, color=style.DIM)


def _together(pd_mm: Sequence[Length]) -> str:
    try:
        return f"{sum(length_mm(value) for value in pd_mm):g}"
    except OpticsError:
        return ""


def _told(
    lenses: dict[str, Prescription | None],
    pd_mm: Sequence[Length],
    height_mm: Sequence[Length],
    lens_style: str,
    besides: str,
    remarks: str,
    job: str,
    headed: str,
) -> str:
    said = [f"Job ticket{f' {job}' if job else ''} of {headed}."]
    for k, eye in enumerate("RL"):
        line = lenses[eye]
        parts = [describe.line(line) if line is not None else "the power is left open"]
        if line is not None and line.add is not None:
            parts.append(f"addition {describe.spoken(line.add)}")
        if line is not None:
            parts += [f"prism {_prism(*part)}" for part in line.prism]
            parts += ["no prism"] if line.no_prism else []
        for name, lengths in (("PD", pd_mm), ("height", height_mm)):
            if _length(lengths[k]):
                parts.append(f"{name} {_length(lengths[k])} mm")
        said.append(f"{describe.EYES[eye].capitalize()}: {'; '.join(parts)}.")
    if lens_style:
        said.append(f"Style: {lens_style}.")
    if besides:
        said.append(f"For the shop: {besides}.")
    if remarks:
        said.append(f"Remarks: {remarks.rstrip('.')}.")
    return " ".join([*said, CAUTION])
