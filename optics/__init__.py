"""Spectacle optics for the training bench: compute, draw, and read a simulated focimeter.

Importing this package loads the arithmetic only. Figures (`optics.drawing`),
notebook panels (`optics.interactive`) and the course machinery
(`optics.course`) are imported by name when they are wanted.
"""

from optics.errors import OpticsError
from optics.focimeter import Settings, eyepiece_view
from optics.lens import SingleVision
from optics.power import Power
from optics.prescription import Crossed, Prescription, parse, parse_crossed, parse_pair
from optics.prism import Prism, decentration_mm, imbalance, prism_at
from optics.spectacles import Mounted, Spectacles

__all__ = [
    "Crossed",
    "Mounted",
    "OpticsError",
    "Power",
    "Prescription",
    "Prism",
    "Settings",
    "SingleVision",
    "Spectacles",
    "decentration_mm",
    "eyepiece_view",
    "imbalance",
    "parse",
    "parse_crossed",
    "parse_pair",
    "prism_at",
]
