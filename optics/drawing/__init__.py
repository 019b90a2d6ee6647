"""Figures of lenses, readings and the instrument, each with its description in words.

Every subject has two layers: `draw_power_cross(ax, ...)` draws on axes of your own
and gives them back, `power_cross(...)` gives a `Diagram` that shows itself, knows
its words and can be saved.
"""
