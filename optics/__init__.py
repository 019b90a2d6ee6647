"""Spectacle optics for the training bench: compute, draw, and read a simulated focimeter.

Importing this package loads the arithmetic only. Figures (`optics.drawing`),
notebook panels (`optics.interactive`) and the course machinery
(`optics.course`) are imported by name when they are wanted.
"""

from optics.comparing import compare
from optics.errors import OpticsError
from optics.focimeter import Settings, eyepiece_view
from optics.frame import Frame
from optics.judging import verify
from optics.lens import SingleVision
from optics.multifocal import Multifocal
from optics.neutralizing import Held, neutralizer
from optics.pair_prism import worn_prism
from optics.parsing import parse, parse_crossed, parse_pair
from optics.power import Power
from optics.prescription import Crossed, Prescription
from optics.prism import Prism, decentration_mm, imbalance, prism_at
from optics.reader import read_lens
from optics.records import LensRecord, PairRecord
from optics.repeats import spread
from optics.rounding import settle
from optics.segment import Segment
from optics.spectacles import Mounted, Spectacles
from optics.standards import available, load
from optics.thick import ThickLens
from optics.tilt import Tilted
from optics.vertex import power_nearer_eye

__all__ = [
    "Crossed",
    "Frame",
    "Held",
    "LensRecord",
    "Mounted",
    "Multifocal",
    "OpticsError",
    "PairRecord",
    "Power",
    "Prescription",
    "Prism",
    "Segment",
    "Settings",
    "SingleVision",
    "Spectacles",
    "ThickLens",
    "Tilted",
    "available",
    "compare",
    "decentration_mm",
    "eyepiece_view",
    "imbalance",
    "load",
    "neutralizer",
    "parse",
    "parse_crossed",
    "parse_pair",
    "power_nearer_eye",
    "prism_at",
    "read_lens",
    "settle",
    "spread",
    "verify",
    "worn_prism",
]
