"""A rule engine looks over what learners meet: nothing serious or critical in our own elements."""

import bare_page
import pytest

from optics import Mounted, Power, SingleVision, Spectacles
from optics.frame import Frame
from optics.interactive.bench import Bench
from optics.interactive.front_view import PairView
from optics.interactive.ticket import Ticket

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is missing")

LENS = Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15)))
PAIR = Spectacles(right=LENS, left=LENS)
FRAME = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
MAKE = {
    "bench": lambda: Bench(PAIR, seed=2),
    "pair": lambda: PairView(PAIR, FRAME),
    "ticket": lambda: Ticket({"sphere_right": "2.25"}),
}


def faults(page):
    """Rules broken seriously or worse inside our own elements, and where."""
    found = axe.Axe().run(page, context=".optics-panel").response["violations"]
    return [
        (one["id"], node["html"][:160])
        for one in found
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


@pytest.mark.parametrize("what", MAKE)
def test_no_serious_fault(page, what):
    bare_page.show(page, MAKE[what]())
    page.wait_for_timeout(900)
    assert faults(page) == []


def test_the_engine_would_tell_a_control_without_a_name(page):
    bare_page.show(page, Ticket())
    page.evaluate("() => document.querySelector('.optics-panel').append(document.createElement('input'))")
    assert [rule for rule, _ in faults(page)] == ["label"]
