"""Spectacle optics for the training bench: compute, draw, and read a simulated focimeter.

Importing this package loads the arithmetic only. Figures (`optics.drawing`),
notebook panels (`optics.widgets`) and the course machinery
(`optics.course`) are imported by name when they are wanted.
"""

from optics.errors import OpticsError
from optics.instrument.focimeter import Settings, eyepiece_view
from optics.instrument.neutralizing import Held, neutralizer
from optics.instrument.reader import read_lens
from optics.instrument.repeats import spread
from optics.judging.compare import compare
from optics.judging.settling import settle
from optics.judging.standards import available, load
from optics.judging.verify import verify
from optics.lens.lens import SingleVision
from optics.lens.multifocal import Multifocal
from optics.lens.parsing import parse, parse_crossed, parse_pair
from optics.lens.power import Power
from optics.lens.prescription import Crossed, Prescription
from optics.lens.prism import Prism, decentration_mm, imbalance, prism_at
from optics.lens.segment import Segment
from optics.lens.thick import ThickLens
from optics.lens.tilt import Tilted
from optics.lens.vertex import power_nearer_eye
from optics.pair.frame import Frame
from optics.pair.records import LensRecord, PairRecord
from optics.pair.spectacles import Mounted, Spectacles
from optics.pair.worn_prism import worn_prism

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
