"""A rule engine looks over what learners meet: nothing serious or critical in our own elements."""

import bare_page
import pytest

from optics import Mounted, Power, SingleVision, Spectacles
from optics.pair.frame import Frame
from optics.widgets.focimeter.bench import Bench
from optics.widgets.pair.front_view import PairView
from optics.widgets.ticket.ticket import Ticket

axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is missing")

LENS = Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15)))
PAIR = Spectacles(right=LENS, left=LENS)
FRAME = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
MAKE = {
    "bench": lambda: Bench(PAIR, seed=2),
    "pair": lambda: PairView(PAIR, FRAME),
    "ticket": lambda: Ticket({"sphere_right": "2.25"}),
}


def faults(page, within=".optics-panel"):
    """Rules broken seriously or worse inside our own elements, and where."""
    found = axe.Axe().run(page, context=within).response["violations"]
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


ALL_TOGETHER = """
from IPython.display import display
from optics.widgets.panels.panels import axis_dial_panel, oblique_sum_panel, power_cross_panel, prism_panel
for panel in (power_cross_panel(), axis_dial_panel(), oblique_sum_panel(), prism_panel()):
    display(panel)
"""
OPEN = "from optics.lesson import *\nopen_bench(style='bifocal', difficulty=2, seed=5)"


@pytest.mark.parametrize(
    "cell, wait_for",
    [(ALL_TOGETHER, ".widget-vbox img >> nth=3"), (OPEN, ".optics-ticket[data-drawn]")],
    ids=["panels", "open bench"],
)
def test_no_serious_fault_in_a_real_notebook(page, lab, request, cell, wait_for):
    name = f"looked-over-{len(cell)}.ipynb"
    lab.put(name, [cell])
    lab.open(page, name)
    lab.run_all(page)
    page.wait_for_selector(wait_for, timeout=60_000)
    page.wait_for_timeout(900)
    assert faults(page, ".jp-OutputArea-output") == []
