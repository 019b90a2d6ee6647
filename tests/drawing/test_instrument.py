"""The picture of the whole instrument: every part is there, named, and where the optics want it."""

from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from optics.drawing import describe
from optics.drawing.instrument import OBJECTIVE, RETICLE, STANDARD, STOP, TARGET, instrument

PARTS = [
    "lamp", "target", "axis wheel", "power drum", "standard lens", "stop",
    "marking device", "stage", "telescope", "reticle", "eyepiece",
]  # fmt: skip
"""The parts of a manual focimeter as the trade names them (common practice, from memory)."""


@pytest.fixture(scope="module")
def axes():
    drawn = instrument()
    FigureCanvasAgg(drawn.figure).draw()
    return drawn.figure.axes[0]


def test_every_part_is_named_once_and_pointed_at(axes):
    texts = [text.get_text() for text in axes.texts]
    assert [texts.count(name) for name in PARTS] == [1] * len(PARTS)
    for name in PARTS:
        (leader,) = (line for line in axes.lines if line.get_gid() == f"to {name}")
        end = axes.transData.transform(leader.get_xydata()[1])
        shapes = [each for each in axes.patches if each.get_gid() == name]
        # The tube is the telescope itself; every other part has shapes of its own.
        near = [np.abs(each.get_window_extent().get_points() - end).min() for each in shapes]
        assert min(near) < 30 if shapes else name == "telescope", name


def test_no_name_stands_on_another(axes):
    boxes = [text.get_window_extent() for text in axes.texts if text.get_text() in PARTS]
    assert len(boxes) == len(PARTS)
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))
    page = axes.figure.bbox
    assert all(page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 for box in boxes)


def test_target_and_stop_stand_a_focal_length_from_the_standard_lens():
    """Newton's relation, the reason for even steps (Schwiegerling, Field Guide, 2004)."""
    assert STANDARD - TARGET == STOP - STANDARD


def test_light_of_the_empty_instrument_leaves_parallel_and_meets_in_the_reticle(axes):
    rays = [line.get_xydata() for line in axes.lines if line.get_gid() == "light"]
    assert len(rays) == 2
    for ray in rays:
        at = {float(x): float(y) for x, y in ray}
        assert at[STANDARD] == at[OBJECTIVE]
    assert len({float(y) for ray in rays for x, y in ray if x == RETICLE}) == 1


def test_letters_instead_of_names():
    drawn = instrument(blank=True)
    said = " ".join(text.get_text() for text in drawn.figure.axes[0].texts)
    assert not any(name in said for name in PARTS)
    assert all(letter in said.split() for letter in describe.LETTERS[: len(PARTS)])
    assert "A: sends its light" in drawn.alt and "lamp" not in drawn.alt
    assert all(f"{name}: " in instrument().alt for name in PARTS)
