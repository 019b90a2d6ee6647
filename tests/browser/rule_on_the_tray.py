"""The rule of the tray in somebody's hand, with or without JupyterLab round it."""

from __future__ import annotations

import numpy as np


def height_by_the_rule(page, eye, pd_mm, line):
    """Stand the rule on the lowest point of the lens; how high the line or cross is, millimetres."""
    page.get_by_label("Upright", exact=True).check()
    said = page.locator(".optics-pair-measured")

    def slide(name, value):
        page.get_by_label(name, exact=True).fill(str(value))

    def where(name, places, words):
        named = []
        for place in places:
            slide(name, place)
            page.wait_for_timeout(150)  # the tray asks the kernel
            if words in said.inner_text():
                named.append(place)
            elif named:
                break
        assert named, (name, words, said.inner_text())
        return named[len(named) // 2]

    slide("Rule left or right", -pd_mm if eye == "R" else pd_mm)
    lowest = where("Rule down or up", np.arange(-24.0, -12.0, 0.5), "zero stands on the lowest point")
    slide("Rule down or up", lowest)
    return where("Mark on the rule", np.arange(14.0, 30.0, 0.5), f"the mark stands on the {line}")
