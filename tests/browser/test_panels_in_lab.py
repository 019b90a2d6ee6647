"""The tray, the ticket and the panels in a real JupyterLab, by keyboard alone."""

import pytest

TRAY = """
from optics.widgets.pair.front_view import PairView
from optics.specimens.specimen import Brief, make
pair = make(Brief(style="progressive", condition=("temple twisted", "smeared")), seed=3)
view = PairView(pair.spectacles, pair.frame, pair.conditions)
view
"""
TICKET = """
from optics.widgets.ticket.ticket import Ticket
ticket = Ticket(job="C")
ticket
"""
PANELS = """
from optics.widgets.panels.panels import axis_dial_panel, oblique_sum_panel, power_cross_panel, prism_panel
panel = power_cross_panel()
panel
"""


@pytest.fixture
def in_lab(page, lab, request):
    """Give a function that opens a notebook with one cell and runs it."""

    def run(cell, wait_for):
        name = f"{request.node.originalname}.ipynb"
        lab.put(name, [cell])
        lab.open(page, name)
        lab.run_all(page)
        page.wait_for_selector(wait_for, timeout=60_000)
        return page

    return run


def test_the_tray(in_lab):
    page = in_lab(TRAY, ".optics-pair[data-drawn]")
    words = page.locator(".optics-pair-words")
    assert "smeared" in words.text_content() and "out of true" in words.text_content()
    for name in ("Wipe the lenses", "True the frame"):
        page.get_by_role("button", name=name).focus()
        page.keyboard.press("Enter")
    for name in ("Tilted to the light", "Chart Hb4"):
        page.get_by_label(name).focus()
        page.keyboard.press("Space")
    page.get_by_role("button", name="Ink this lens").focus()
    page.keyboard.press("Enter")
    page.wait_for_function(
        "() => document.querySelector('.optics-pair-words').textContent.includes('stand in ink')"
    )
    assert "lies true" in words.text_content() and "smeared" not in words.text_content()
    # The arrow keys move the rule and do not leave the cell.
    mark = page.get_by_label("Mark on the rule")
    mark.focus()
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "() => document.querySelector('.optics-pair-measured').textContent.startsWith('4.0 mm')"
    )
    # Letters are not taken as commands of the notebook.
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert page.locator(".jp-Notebook .jp-CodeCell").count() == 1


@pytest.mark.thorough
def test_the_tray_loses_its_kernel(in_lab, page, lab):
    in_lab(TRAY, ".optics-pair[data-drawn]")
    lab.restart(page)
    page.get_by_label("Mark on the rule").focus()
    page.keyboard.press("ArrowRight")
    notice = page.locator(".optics-notice")
    page.wait_for_function(
        "() => document.querySelector('.optics-notice').textContent.includes('was restarted')"
    )
    assert notice.is_visible()


def test_the_ticket(in_lab, lab):
    page = in_lab(TICKET, ".optics-ticket[data-drawn]")
    page.get_by_label("Right lens, Sphere").focus()
    for typed in ("-2.25", "-0.75", "15"):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    page.wait_for_function(
        "() => document.querySelector('.optics-ticket-line').textContent.includes('-0.75 x 015')"
    )
    # The picture follows the line by one more turn of the kernel.
    cross = page.locator(".optics-ticket-cross img[alt*='minus 3.00 along meridian 105']")
    cross.first.wait_for()
    page.keyboard.type("-2")
    page.keyboard.press("Tab")
    page.wait_for_function("() => document.querySelector('[aria-invalid]')")
    fault = page.get_by_label("Right lens, Add").get_attribute("aria-describedby")
    assert "An addition is above 0" in page.locator(f"[id='{fault}']").inner_text()
    page.get_by_label("Right lens, Add").fill("+2.00")
    save = page.get_by_role("button", name="Save the job ticket")
    page.get_by_label("File name").fill("lab ticket.pdf")
    for told in ("Saved as lab ticket.pdf", "There is already a file"):
        save.focus()
        page.keyboard.press("Enter")
        page.wait_for_function(
            "(told) => document.querySelector('.optics-notice').textContent.includes(told)", arg=told
        )
    assert (lab.root / "lab ticket.pdf").read_bytes().startswith(b"%PDF")


def test_a_panel(in_lab, lab):
    page = in_lab(PANELS, ".jp-OutputArea img")
    line = page.get_by_label("The line")
    line.fill("+2.50 -1.50 x 190")
    line.press("Enter")
    page.wait_for_selector("text=Did you mean 010?")
    assert page.locator(".jp-OutputArea img").count() == 0
    line.fill("+2.50 -1.50 x 170")
    line.press("Tab")
    page.wait_for_selector("text=Written: +2.50 -1.50 x 170, or +1.00 +1.50 x 080.")
    assert page.locator(".jp-OutputArea img").count() == 1
    page.get_by_label("File name").fill("mine.svg")
    page.get_by_label("File name").press("Tab")
    page.locator(".jp-OutputArea button", has_text="Save").press("Enter")
    page.wait_for_selector("text=Saved as mine.svg")
    assert (lab.root / "mine.svg").stat().st_size > 1000
