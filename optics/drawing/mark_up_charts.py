"""The charts of the four invented designs to print at true size, with a line to check the printer by."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from optics.drawing import style
from optics.drawing.diagram import Diagram
from optics.pair.appearance import mark_parts
from optics.pair.charts import Chart, charts

CHECK_MM = 100.0
INCH_MM = 25.4
HEAD_MM, WIDE_MM, TALL_MM, APART_MM = 35.0, 150.0, 48.0, 50.0
HALF_MM, MIDDLE_MM = 37.0, 26.0
"""How far each half of a chart lies from its middle, and how high its rings stand."""


def mark_up_charts(paper: str = "A4") -> Diagram:
    """One page with the charts of all designs, at true size.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        What it is printed on.

    Examples
    --------
    >>> mark_up_charts().alt.split(". ")[1]
    'Chart Hb2: fitting cross 4 mm above the point between the circles, near circle 12 mm below it and 2.5 mm towards the nose'
    """
    size = style.page_size(paper)
    figure = style.canvas(*size)
    width, height = (each * INCH_MM for each in size)
    # The whole page in millimetres, so that nothing on it is scaled.
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(0.0, width), ylim=(0.0, height))
    ax.set_axis_off()
    style.text_at(figure, style.MARGIN, 0.4, "Mark-up charts", fontsize=16)
    words = (
        "Four invented designs, seen from the front. Not for real lenses.\n"
        "Choose by the sign under the nasal ring, lay both rings in their circles, and ink."
    )
    style.text_at(figure, style.MARGIN, 0.75, words, fontsize=style.SMALL)
    for row, chart in enumerate(charts()):
        _draw_chart(ax, chart, (width - WIDE_MM) / 2.0, height - HEAD_MM - TALL_MM - row * APART_MM)
    _draw_check(ax, (width - CHECK_MM) / 2.0, 22.0)
    told = (
        f"Chart {chart.sign}: fitting cross {chart.fitting_cross_mm:g} mm above the point between the circles, "
        f"near circle {-chart.places('R')['near'][1]:g} mm below it and {chart.inset_mm:g} mm towards the nose."
        for chart in charts()
    )
    alt = f"Mark-up charts at true size, with a line of {CHECK_MM:g} mm. {' '.join(told)}"
    return Diagram(figure, alt, title="Mark-up charts")


def _draw_chart(ax: Axes, chart: Chart, left: float, bottom: float) -> None:
    """One design: the half for the right lens on the left, as the pair is seen from the front."""
    ax.add_patch(Rectangle((left, bottom), WIDE_MM, TALL_MM, fill=False, edgecolor=style.GREY, linewidth=0.6))
    ax.text(left + WIDE_MM / 2.0, bottom + TALL_MM - 3.0, chart.sign, ha="center", va="top", fontsize=16)
    for eye, side in (("R", -1.0), ("L", 1.0)):
        x, y = left + WIDE_MM / 2.0 + side * HALF_MM, bottom + MIDDLE_MM
        ax.text(x + side * 28.0, bottom + TALL_MM - 3.0, eye, ha="center", va="top", fontsize=style.LABEL)
        for part in (part for mark in chart.marks(eye) for part in mark_parts(mark, "chart")):
            points = part.points_mm + np.array([x, y])
            if part.text:
                # Lettering of 2 mm is too fine for many a printer, so it stands as large as the words.
                style.note(ax, points[0, 0], points[0, 1], part.text)
            else:
                ax.plot(*points.T, color=style.BLACK, linewidth=0.6, gid=f"{chart.sign} {eye} {part.name}")


def _draw_check(ax: Axes, left: float, up: float) -> None:
    """The line by which a printer is checked."""
    ax.plot([left, left + CHECK_MM], [up, up], color=style.BLACK, linewidth=0.8, gid="check line")
    for at in range(0, int(CHECK_MM) + 1, 10):
        ax.plot([left + at] * 2, [up, up + (3.0 if at % 50 == 0 else 1.8)], color=style.BLACK, linewidth=0.6)
    words = f"Print at 100 %, not fitted to the page.\nIf this line does not measure {CHECK_MM:g} mm, the charts are wrong."
    ax.text(left + CHECK_MM / 2.0, up - 2.0, words, ha="center", va="top", fontsize=style.SMALL)
