"""Spectacle optics for the training bench: compute, draw, and read a simulated focimeter.

Importing this package loads next to nothing: each name, listed in `__init__.pyi`,
is loaded when it is first asked for. Figures (`optics.drawing`),
notebook panels (`optics.widgets`) and the course machinery
(`optics.course`) are imported by name when they are wanted.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
