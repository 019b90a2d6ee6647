"""The class report as Chromium prints it: a full class on two pages, its words not squeezed into a sliver."""

import re

from optics.course.class_page import class_page
from optics.course.results import Result
from optics.marking.habits import CATALOGUE
from optics.marking.marks import SKILLS

CHAPTERS = ("02-writing-it-down", "05-reading-a-cylinder", "10-progressives", "12-the-unknown-pair")


def report(learners):
    """Every skill asked, every learner with two habits whose names are long."""
    names = {f"t{number}": f"Wilhelmina Thistledown-{number}" for number in range(101, 101 + learners)}
    long = sorted((each.name for each in CATALOGUE), key=len)[-12:]
    found = [
        Result(who, name, chapter, f"pair-{letter}-check", 4.0, 10.0, False, False,
               {skill: (0.4, 1.0) for skill in SKILLS}, (long[(place + (letter == "b")) % len(long)],), taken=True,
               where="bench", offs=(("R", "sphere", 0.1), ("L", "sphere", -0.1)))
        for place, (who, name) in enumerate(names.items())
        for chapter in CHAPTERS
        for letter in "ab"
    ]  # fmt: skip
    return class_page("Class report, intake Spring", found, names, {}, {})


def test_a_class_of_24_prints_on_two_pages_and_stands_within_the_screen(chromium, tmp_path):
    page = chromium.new_page(viewport={"width": 1366, "height": 768})
    try:
        page.set_content(report(24))
        assert page.evaluate("document.documentElement.scrollWidth") <= 1366
        table = page.locator("table", has_text="Learners by skill")
        # A learner is a line or two, not a tower of single words.
        line = page.evaluate("parseFloat(getComputedStyle(document.body).lineHeight)")
        assert table.locator("tbody tr").nth(3).bounding_box()["height"] < 3.5 * line
        assert table.bounding_box()["width"] <= page.locator("body").bounding_box()["width"]
        printed = page.pdf(format="A4", prefer_css_page_size=True)
        assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2
    finally:
        page.close()
