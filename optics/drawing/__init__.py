"""Figures of lenses, readings and the instrument, each with its description in words.

Every subject has two layers: `draw_power_cross(ax, ...)` draws on axes of your own
and gives them back, `power_cross(...)` gives a `Diagram` that shows itself, knows
its words and can be saved.
"""

from optics.drawing.axis_dial import axis_dial, draw_axis_dial
from optics.drawing.contours import draw_power_contours, power_contours
from optics.drawing.crossed_line import crossed_line, draw_crossed_line
from optics.drawing.diagram import Diagram
from optics.drawing.drum_readings import draw_drum_readings, drum_readings
from optics.drawing.eyepiece import draw_eyepiece, eyepiece, eyepiece_strip
from optics.drawing.job_ticket import job_ticket
from optics.drawing.lens_marks import draw_progressive_marks, draw_segment, multifocal_lens, progressive_marks
from optics.drawing.oblique_sum import draw_oblique_sum, oblique_sum
from optics.drawing.power_cross import draw_power_cross, power_cross
from optics.drawing.prentice import draw_lens_section, draw_looked_through, prentice
from optics.drawing.prism_displacement import draw_prism_displacement, prism_displacement
from optics.drawing.settling import draw_settling, settling
from optics.drawing.sheets import TASKS, Sheet, sheet
from optics.drawing.spread import draw_mean_powers, draw_spread, spread
from optics.drawing.to_file import KINDS, draw_to_file

__all__ = [
    "KINDS",
    "TASKS",
    "Diagram",
    "Sheet",
    "axis_dial",
    "crossed_line",
    "draw_axis_dial",
    "draw_crossed_line",
    "draw_drum_readings",
    "draw_eyepiece",
    "draw_lens_section",
    "draw_looked_through",
    "draw_mean_powers",
    "draw_oblique_sum",
    "draw_power_contours",
    "draw_power_cross",
    "draw_prism_displacement",
    "draw_progressive_marks",
    "draw_segment",
    "draw_settling",
    "draw_spread",
    "draw_to_file",
    "drum_readings",
    "eyepiece",
    "eyepiece_strip",
    "job_ticket",
    "multifocal_lens",
    "oblique_sum",
    "power_contours",
    "power_cross",
    "prentice",
    "prism_displacement",
    "progressive_marks",
    "settling",
    "sheet",
    "spread",
]
