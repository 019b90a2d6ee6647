"""Figures of lenses, readings and the instrument, each with its description in words."""

from optics.drawing.diagram import Diagram

__all__ = ["Diagram"]
