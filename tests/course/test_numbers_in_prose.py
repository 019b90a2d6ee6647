"""Numbers that stand in the prose of the chapters, each worked out apart from the package.

A row gives the words as they stand, and what each number in them must be: by arithmetic
written out here, from a published source, or from the constant that the marks are given by.
A number is right when it is what was worked out, rounded to the decimals that are shown.
"""

import re
from fractions import Fraction
from math import cos, floor, hypot, radians, sin

import nbformat
import pytest

from optics.instrument.focimeter import RINGS, TELESCOPE_MAGNIFICATION
from optics.lens.laid_flat import STOP_RADIUS_MM
from optics.marking import marks
from optics.project_files import project_folder

GUIDE = '"Quick Reference Guide – ANSI Z80.1-2015"'
ISO = "ISO 21987:2009, from memory, as the text says"


def sin2(angle):
    return sin(radians(angle)) ** 2


def mean(*values):
    return sum(values) / len(values)


def promised(limit):
    """A limit as it is told: never more than the marks give."""
    return floor(100 * limit) / 100


def eighth(value):
    return round(8 * value) / 8


F = Fraction
ROWS = [
    # A dioptre is one over the focal length in metres.
    ("01", "+2.00 D lens at half a metre, a +4.00 D lens at a quarter", (1 / 0.5, 1 / 0.25), "definition"),
    ("01", "+2.50 and −1.50 make +1.00", (2.5, -1.5, 2.5 - 1.5), "eyeandcontacts.com, example 1"),
    ("01", "170 − 90 = 080, so +1.00 along 080", (170, -90, 170 - 90, 1, 170 - 90), "the same"),
    ("01", "+2.00 − 3.00 = −1.00", (2, -3, 2 - 3), "arithmetic"),
    ("01", "+0.50 − 1.25 = −0.75", (0.5, -1.25, 0.5 - 1.25), "arithmetic"),
    ("01", "| degrees from the axis | 0 | 30 | 45 | 60 | 90 |", (0, 30, 45, 60, 90), "angles of the next rows"),
    ("01", "From 030 to 180 is 30 degrees, for 180 is the line", (30, 180, 30 - 0, 180), "180 is 0"),
    ("01", "A quarter of −2.00 is −0.50", (-2, -2 * sin2(30)), "sin² of the angle"),
    ("01", "−3.00 and −0.50 make −3.50", (-3, -0.5, -3 - 2 * sin2(30)), "sin² of the angle"),
    ("02", "+1.75 and −3.25 make −1.50", (1.75, -3.25, 1.75 - 3.25), "eyeandcontacts.com, example 3"),
    ("02", "040 becomes 130", (40, 40 + 90), "the same"),
    ("02", "`-1.75 x 150 / -3.00 x 060`", (-1.75, 60 + 90, -3, 150 - 90), "example 2; each across its axis"),
    ("02", "+1.00 along 080 and −1.50 along 170", (1, 80, 1 - 2.5, 80 + 90), "arithmetic"),
    ("02", "along 025 on the cross is written with axis 115", (25, 25 + 90), "across the axis"),
    ("02", "`+1.12` means 1.125, `-0.37` means −0.375", (1.125, F(9, 8), -0.375, -F(3, 8)), "eighths"),
    ("03", "a round opening 8 mm wide here", (2 * STOP_RADIUS_MM,), "the bench's own"),
    ("03", "with f = 50 mm the target moves 2.5 mm", (50, 50**2 / 1000), "Newton: f² for each dioptre"),
    ("03", "The telescope enlarges 4 times", (TELESCOPE_MAGNIFICATION,), "the bench's own"),
    ("03", "A sphere may lie 0.13 D beside its order", (0.13,), f"{GUIDE}, item 1"),
    ("03", "−2.00 − (+0.12) = −2.12", (-2, 0.12, -2 - 0.12), "arithmetic"),
    ("03", "the zero within 0.10 D, the lens within 0.21 D", (0.1, promised(marks.POWER_WITHIN)), "the marks"),
    ("04", "Write +3.00 for −3.00, and the wearer gets a lens that is 6 D", (3, -3, 3 - -3), "arithmetic"),
    ("04", "2 in 100 beyond 6.50 D", (2, 100, 6.5), f"{GUIDE}, item 1"),
    ("04", "counts when it lies within 0.21 D", (promised(marks.POWER_WITHIN),), "the marks"),
    ("05", "38 of 100 people had a cylinder of 0.75 D", (38.3, 100, 0.75), "PMC9732486: 38.3 %"),
    ("05", "153 598 records, Ireland, 2015 to 2019", (153, 598, 2015, 2019), "PMC9732486"),
    ("05", "2.00 D turned by only 5 degrees leaves 0.35 D", (2, 5, 2 * 2 * sin(radians(5))), "crossed cylinders"),
    ("05", "+1.00 − 2.50 = −1.50", (1, -2.5, 1 - 2.5), "arithmetic"),
    ("05", "halfway, at +1.75", (mean(2.5, 1.0),), "arithmetic"),
    ("05", "wheel 080 is `+1.00 +1.50 x 080`", (80, 1, 2.5 - 1, 80), "subtract the other way round"),
    ("05", "within 0.21 D of the lens, a cylinder", (promised(marks.POWER_WITHIN),), "the marks"),
    ("05", "two readings, within 0.24 D", (promised(marks.DIFFERENCE_WITHIN),), "the marks"),
    ("06", "A lens ordered at −2.25 may be −2.17", (-2.25, -2.25 + 0.08), "0.08 is less than 0.13"),
    ("06", "may be out by 0.06 D", (0.06,), "Whitney, Focimetry issues, part one"),
    ("06", "here 4 × 4, so 4 D make 0.25 D", (4, 4, 4, 4 / 4**2), "error at the eye over magnification squared"),
    ("06", "| −2.12 | −2.18 | −2.12 | −2.14 |", (-2.12, -2.18, -2.12, mean(-2.12, -2.18, -2.12)), "mean"),
    ("06", "| −2.81 | −2.87 | −2.84 | −2.84 |", (-2.81, -2.87, -2.84, mean(-2.81, -2.87, -2.84)), "mean"),
    ("06", "−2.75 − (−2.25) = −0.50", (-2.75, -2.25, -2.75 + 2.25), "arithmetic"),
    ("06", "may each be 0.13 D out here", (0.13,), f"{GUIDE}, item 1"),
    ("06", "The sphere is 0.11 D out", (2.25 - 2.14,), "arithmetic"),
    ("06", "read is −0.70, and −0.50 is 0.20 D from it", (2.14 - 2.84, -0.5, 0.7 - 0.5), "arithmetic"),
    ("06", "Its neighbour −0.75 is 0.05 D from it", (-0.75, 0.75 - 0.7), "arithmetic"),
    ("06", "limits *both meridians* to 0.12 D and a weak cylinder to 0.09 D", (0.12, 0.09), ISO),
    ("06", "0.13 D for the sphere up to 6.50 D and the cylinder up to 2.00 D", (0.13, 6.5, 2), f"{GUIDE}, item 1"),
    ("06", "0.15 D for a cylinder up to 4.50 D", (0.15, 4.5), f"{GUIDE}, item 1"),
    ("06", "−0.67 and −1.42", (mean(-0.63, -0.7, -0.68), mean(-1.45, -1.38, -1.43)), "mean"),
    ("06", "Halfway marks are −0.625 and −1.375", (mean(-0.5, -0.75), mean(-1.25, -1.5)), "halfway"),
    ("06", "read was a cylinder of −0.75", (0.67 - 1.42,), "arithmetic"),
    ("06", "against the −1.10 that was read", (0.34 - 1.44,), "arithmetic"),
    ("06", "−1.625 is written −1.75, and +1.625 is written +1.50", (-1.625, -1.75, 1.625, 1.5), "common practice"),
    ("06", "either step is 0.125 D away", (1.75 - 1.625,), "arithmetic"),
    ("06", "within 0.21 D of the lens", (promised(marks.POWER_WITHIN),), "the marks"),
    ("07", "1 Δ, is 1 cm of displacement at 1 metre", (1, 1, 1), "definition"),
    ("07", "each ring is 1 Δ", (RINGS[0],), "the bench's own"),
    ("07", "0.8 × 4 = 3.2, so 3.20 Δ", (0.8, 4, 0.8 * 4, 0.8 * 4), "Prentice"),
    ("07", "2 ÷ 4 = 0.5 cm", (2, 4, 2 / 4), "Prentice, the way back"),
    ("07", "the centre goes *in*, by 5 mm", (10 * 2 / 4,), "Prentice, the way back"),
    ("07", "31 and 33 make the same 64 as 32 and 32", (31, 33, 31 + 33, 32, 64 - 32), "arithmetic"),
    ("07", "**b** 1.50 Δ, base up before the right eye", (2 - 0.5,), "arithmetic"),
    ("07", "centres 60 mm apart, eyes 64 mm apart.\nEach eye is 2 mm", (60, 64, (64 - 60) / 2), "arithmetic"),
    ("07", "within 1¼ mm, that of a weak lens within 2½", (marks.CENTRES_WITHIN_MM, marks.CENTRES_AT_MOST_MM), "the marks"),
    ("07", "a prism within 0.45 Δ", (promised(marks.PRISM_WITHIN),), "the marks"),
    ("08", "stopped by `+1.75`, the lens is about −1.75", (1.75, -1.75), "its opposite"),
    ("09", "distance +0.50 and addition +2.00 the drum reads +1.50", (0.5, 2, 0.5 + 2 / 2), "half the addition"),
    ("09", "5 mm or more, so that one picture is left", (5,), "beyond the 4 mm to the rim of the stop"),
    ("09", "±1.0 mm from the order", (1,), "ANSI Z80.1-1999 on a laboratory page, item 8"),
    ("09", "40 mm deep, so its datum line stands 20 mm", (40, 40 / 2), "halfway up"),
    ("09", "**c** 16", (40 / 2 - 4,), "arithmetic"),
    ("09", "12 mm below its top, 1.2 × 2 = 2.40 Δ", (24 / 2, 1.2, 2, 2.4 / 2 * 2), '"Ophthalmic Lenses", p. 114'),
    ("09", "19 − 14 = 5 mm, so 1.00 Δ", (19, -28 / 2, 19 - 14, 0.5 * 2), '"Ophthalmic Lenses", p. 114'),
    ("09", "**b** +2.25\n- **c** +4.00", (3.5 - 1.25, 3.5 + 0.5), "same lines; across the lines"),
    ("09", "in the strip −0.38, reading part +0.75", (-1.5 + 2.25 / 2, -1.5 + 2.25), "half in the strip"),
    ("09", "A height counts within 1¼ mm", (marks.HEIGHT_WITHIN_MM,), "the marks"),
    ("10", "34 mm apart, stay for good", (34,), '"Ophthalmic Lenses", p. 136'),
    ("10", "The stop is 8 mm wide", (2 * STOP_RADIUS_MM,), "the bench's own"),
    ("10", "distance +1.62, near +3.75", (1.625, 1.625 + eighth(2.125)), "eighths"),
    ("10", "**c** keep it on the bench: the eyes have to bear 2.00 Δ", (1 - -1,), "up against down adds"),
    ("11", "the eyes have to bear 4 Δ more than was meant", (2 - -2,), "arithmetic"),
    ("11", "10 degrees of a −1.25 cylinder leave a cylinder of −0.43 D", (10, -1.25, -2.5 * sin(radians(10))), "crossed"),
    ("11", "**1 D of difference along the vertical, 10 mm below: 1 Δ**", (1, 10, 1 * 1.0), "Prentice"),
    ("11", "Most people bear about 1 Δ; from 1.50 Δ", (1, 1.5), "20/20 magazine, both articles named there"),
    ("11", "is 6 degrees off, and a cylinder of 1.00 D may be 3 degrees off", (16 - 10, 1, 3), f"{GUIDE}, item 3"),
    ("12", "28.6 % of 154 pairs", (28.6, 154), "Citek and others 2011;82:549-555"),
    ("12", "| sphere, up to 6.50 D | 0.13 D |", (6.5, 0.13), f"{GUIDE}, item 1"),
    ("12", "| cylinder, up to 2.00 D | 0.13 D |", (2, 0.13), f"{GUIDE}, item 1"),
    ("12", "0.25 / 0.50 / 0.75 / 1.50 / more | 14 / 7 / 5 / 3 / 2", (0.25, 0.5, 0.75, 1.5, 14, 7, 5, 3, 2), f"{GUIDE}, item 3"),
    ("12", "up to 2.75 D | 0.67 Δ |", (2.75, 0.67), f"{GUIDE}, item 6"),
    ("12", "above 2.75 D: centre distance | 2.5 mm |", (2.75, 2.5), f"{GUIDE}, item 6"),
    ("12", "up to 3.375 D | 0.33 Δ |", (3.375, 0.33), f"{GUIDE}, item 6"),
    ("12", "The left axis is 5 degrees off, and 3 are allowed", (10 - 5, 3), f"{GUIDE}, item 3"),
    ("12", "**b** dispense: the axis is 3 degrees off, and 5 are allowed", (2 + 180 - 179, 5), f"{GUIDE}, item 3"),
]  # fmt: skip
NUMBER = re.compile(r"(?<![\d.])[+−-]? ?\d+(?:\.\d+)?")


def chapter(number):
    path = next((project_folder("notebooks") / "source").glob(f"{number}-*/*.ipynb"))
    return nbformat.read(path, as_version=4).cells


def numbers(words):
    words = words.replace("¼", ".25").replace("½", ".5").replace("− (", "(")
    return [each.replace("−", "-").replace(" ", "") for each in NUMBER.findall(words)]


@pytest.mark.parametrize(("number", "words", "worked_out", "source"), ROWS, ids=lambda v: str(v)[:40])
def test_a_number_in_prose_is_what_was_worked_out(number, words, worked_out, source):
    assert source
    assert any(words in cell.source for cell in chapter(number) if cell.cell_type == "markdown"), words
    shown = numbers(words)
    assert len(shown) == len(worked_out), shown
    for told, value in zip(shown, worked_out, strict=True):
        decimals = len(told.partition(".")[2])
        assert abs(float(told) - float(value)) <= 0.5 * 10**-decimals + 1e-9, (told, value)


def test_every_chapter_but_the_first_is_looked_at():
    assert {row[0] for row in ROWS} == {f"{number:02}" for number in range(1, 13)}


@pytest.mark.parametrize("number", [f"{number:02}" for number in range(13)])
def test_the_marks_told_are_the_marks_there_are(number):
    told = [int(n) for cell in chapter(number) for n in re.findall(r"(\d+) marks together", cell.source)]
    given = sum(cell.metadata.get("nbgrader", {}).get("points", 0) for cell in chapter(number))
    assert told == [given]


# What the questions ask to be worked out, done again without the package: lens, place, answer in the key.
@pytest.mark.parametrize(
    ("number", "answer", "value"),
    [
        ("01", 'own_4 = "+0.25"', 1 - 3 * sin2(90 - 60)),
        ("07", 'prentice_1 = "2.00 base out"', 5 * 0.4),
        ("07", 'prentice_2 = "1.50 base down"', 3 * 0.5),
        ("07", 'prentice_3 = "1.80 base out"', (2 + 1 * sin2(90)) * 0.6),
        ("07", 'as_one = "5.00 base 037"', hypot(4, 3)),
        ("07", 'as_two = "1.73 base in', 2 * cos(radians(180 - 150))),
        ("07", 'faded_2 = "0.60 base in"', 3 * 0.2),
        ("07", 'own_1 = "1.80 base in"', 6 * 0.3),
        ("07", 'own_2 = "2.5 mm up"', 10 * 2 / 8),
        ("09", 'jump_1 = "1.25 base down"', 2.5 * 0.5),
        ("09", 'jump_2 = "1.65 base down"', 1.5 * 2.2 / 2),
        ("09", 'own_1 = "1.50 base down"', 3 * (2.25 - 3.5 / 2)),
        ("11", 'near_1 = "1.00 base up"', 1 * 1.0),
    ],
)
def test_what_a_question_asks_for_is_worked_out_again(number, answer, value):
    assert any(answer in cell.source for cell in chapter(number) if cell.cell_type == "code")
    assert float(re.findall(r"\d+\.\d+", answer)[0]) == pytest.approx(value, abs=0.005)
