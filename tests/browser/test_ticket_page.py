"""The ticket in a browser: nothing typed is lost, no fault is told while one types, everything is named."""

import bare_page
import pytest

from optics.widgets.ticket.ticket import Ticket


def faults(page):
    bare_page.settle(page)
    return [text for text in page.locator(".optics-ticket-fault").all_inner_texts() if text]


def field(page, name):
    return page.get_by_label(name, exact=True)


def test_a_fault_is_told_when_one_leaves_and_not_before(page):
    ticket = Ticket()
    bare_page.show(page, ticket)
    field(page, "Right lens, Sphere").focus()
    page.keyboard.type("2.25", delay=30)
    page.wait_for_timeout(400)
    assert faults(page) == [] and ticket.typed == {"sphere_right": "2.25"}
    page.keyboard.press("Tab")
    (fault,) = faults(page)
    assert "has no sign" in fault
    assert field(page, "Right lens, Sphere").get_attribute("aria-invalid") == "true"
    assert field(page, "Right lens, Sphere").input_value() == "2.25"


def test_a_missing_axis_is_told_only_when_one_goes_on(page):
    bare_page.show(page, Ticket())
    for text in ("-2.25", "-0.75"):
        if text == "-2.25":
            field(page, "Left lens, Sphere").focus()
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    assert faults(page) == []  # the axis is the field one stands in now
    field(page, "Right lens, Sphere").focus()
    (fault,) = faults(page)
    assert fault.startswith("Axis:") and "has no axis" in fault


def test_what_is_typed_is_kept_while_the_notebook_thinks(page):
    ticket = Ticket()
    bare_page.show(page, ticket)
    field(page, "Remarks").focus()
    page.keyboard.type("frame twisted, trued; left lens scratched", delay=15)
    bare_page.settle(page)
    page.wait_for_timeout(400)
    bare_page.settle(page)
    assert (
        field(page, "Remarks").input_value()
        == ticket.typed["remarks"]
        == "frame twisted, trued; left lens scratched"
    )


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (640, 450)])
def test_everything_is_named_and_fits_at_200_percent(page, width, height):
    page.set_viewport_size({"width": width, "height": height})
    ticket = Ticket({"sphere_right": "2.25", "prism_left": "2 base inwards", "style": "bifocal"})
    bare_page.show(page, ticket)
    assert len(faults(page)) == 2
    assert not bare_page.unnamed(page) and bare_page.too_wide(page) <= 0
    assert field(page, "Lens style").input_value() == "bifocal"
    # The order of the keyboard is the order of the ticket.
    field(page, "Right lens, Sphere").focus()
    order = []
    for _ in range(17):
        name = page.evaluate("() => document.activeElement.getAttribute('aria-label')")
        order.append(name)
        page.keyboard.press("Tab")
    assert order[:8] == [
        *(
            f"Right lens, {what}"
            for what in ("Sphere", "Cylinder", "Axis", "Add", "Prism and base", "PD, mm", "Height, mm")
        ),
        "Left lens, Sphere",
    ]
    assert order[14:16] == ["Lens style", "Remarks"]


SHOP = {
    "Segment and width": ("segment", "flat-top 28", "wide"),
    "Near PD, mm": ("near_pd", "60", "6O mm"),
    "Base curve, D": ("base_curve", "6.25", "six"),
    "Eye size and bridge": ("frame", "52-18", "large"),
    "Material, if known": ("material", "plastic 1.50", None),
    "Thinning prism": ("thinning", "1.50 base down", "a little"),
    "Right lens, Prism and base": ("prism_right", "no prism", "2 base"),
}


def test_what_a_shop_needs_is_filled_once_and_a_fault_names_its_field(page):
    ticket = Ticket({"sphere_right": "+1.00", "add_right": "+2.00", "style": "bifocal"})
    bare_page.show(page, ticket)
    for label, (name, right, wrong) in SHOP.items():
        if wrong is not None:
            field(page, label).fill(wrong)
            page.keyboard.press("Tab")
            page.wait_for_timeout(300)
            told = faults(page)
            assert told and told[0].startswith(f"{label.removeprefix('Right lens, ')}:"), (label, told)
        field(page, label).fill(right)
        page.keyboard.press("Tab")
        page.wait_for_timeout(300)
        assert faults(page) == [] and ticket.typed[name] == right
