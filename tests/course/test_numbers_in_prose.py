"""Numbers that stand in the prose of the chapters, each worked out apart from the package.

A row gives the words as they stand, and what each number in them must be: by arithmetic
written out here, from a published source, or from the constant that the marks are given by.
A number is right when it is what was worked out, rounded to the decimals that are shown.

No number slips in unlooked at. In the prose of a chapter and in the replies to its questions
each one has its row; or is what a code cell of the chapter draws or checks (GIVEN, or a lens in
code type that stands there too); or a hint that holds for the pair on the bench (HINTS); or a
wrong answer to choose; or of a kind that claims nothing (KINDS); or it stands by name with the
reason why nothing is worked out (STANDS).
"""

import json
import re
from fractions import Fraction
from math import cos, floor, hypot, radians, sin

import nbformat
import pytest

from optics.checks.cross import MERIDIAN_WITHIN
from optics.instrument.focimeter import EYEPIECE_RANGE, RINGS, TELESCOPE_MAGNIFICATION
from optics.lens.laid_flat import STOP_RADIUS_MM
from optics.marking import marks
from optics.project_files import project_folder
from optics.specimens.sealed import briefs_in
from optics.specimens.specimen import make

GUIDE = '"Quick Reference Guide – ANSI Z80.1-2015"'
ISO = "ISO 21987:2009, from memory, as the text says"


def sin2(angle):
    return sin(radians(angle)) ** 2


def mean(*values):
    return sum(values) / len(values)


def promised(limit):
    """A limit as it is told: never more than the marks give."""
    return floor(100 * limit) / 100


def quarter(value):
    return round(4 * value) / 4


def eighth(value):
    return round(8 * value) / 8


def through(near, far, mm, index):
    """Power from the far surface of a thick lens, whose near one the light meets first (textbooks)."""
    return near / (1 - mm / 1000 / index * near) + far


CHAPTERS = [f"{number:02}" for number in range(13)]
PARTLY_BACK = through(8 + 2.5, -2, 6, 1.5) - through(8, -2, 6, 1.5)
PARTLY_THIN = through(6 + 2.5, -9, 1.5, 1.498) - through(6, -9, 1.5, 1.498)
CLEAR = STOP_RADIUS_MM + 1
F = Fraction
ROWS = [
    ("00", "change 200 to 020", (200, 200 - 180), "half a turn is the same line"),
    # A dioptre is one over the focal length in metres.
    ("01", "+2.00 D lens at half a metre, a +4.00 D lens at a quarter", (1 / 0.5, 1 / 0.25), "definition"),
    ("01", "+2.50 and −1.50 make +1.00", (2.5, -1.5, 2.5 - 1.5), "eyeandcontacts.com, example 1"),
    ("01", "170 − 90 = 080, so +1.00 along 080", (170, -90, 170 - 90, 1, 170 - 90), "the same"),
    ("01", "+2.00 − 3.00 = −1.00", (2, -3, 2 - 3), "arithmetic"),
    ("01", "+0.50 − 1.25 = −0.75", (0.5, -1.25, 0.5 - 1.25), "arithmetic"),
    ("01", "| degrees from the axis | 0 | 30 | 45 | 60 | 90 |", (0, 30, 45, 60, 90), "angles of the next rows"),
    ("01", "From 030 to 180 is 30 degrees, for 180 is the line", (30, 180, 30 - 0, 180), "180 is 0"),
    ("01", "A quarter of −2.00 is −0.50", (-2, -2 * sin2(30)), "sin² of the angle"),
    ("01", "−3.00 and −0.50 make −3.50 along 180", (-3, -0.5, -3 - 2 * sin2(30), 180), "sin² of the angle"),
    ("01", "A +1.00 D lens brings light from far away together one metre", (1 / 1,), "definition"),
    ("01", "Which power stands along 125", (35 + 90,), "at right angles"),
    ("01", "more plus power.** It is the sphere: +3.00", (max(3, 2),), "the larger"),
    ("01", "`+3.00 -1.00 x 060`", (3, 2 - 3, 60), "the same"),
    ("01", "along 060 stands +3.00, across stands +3.00 − 1.00 = +2.00", (60, 3, 3, -1, 3 - 1), "the way back"),
    ("01", "the more plus power is +1.25, and +0.50 − 1.25 = −0.75", (max(1.25, 0.5), 0.5, -1.25, 0.5 - 1.25), "the same"),
    ("01", "The answer is right within 0.02 D", (MERIDIAN_WITHIN,), "the marks"),
    ("02", "+1.75 and −3.25 make −1.50", (1.75, -3.25, 1.75 - 3.25), "eyeandcontacts.com, example 3"),
    ("02", "040 becomes 130", (40, 40 + 90), "the same"),
    ("02", "`-1.75 x 150 / -3.00 x 060`", (-1.75, 60 + 90, -3, 150 - 90), "example 2; each across its axis"),
    ("02", "+1.00 along 080 and −1.50 along 170", (1, 80, 1 - 2.5, 80 + 90), "arithmetic"),
    ("02", "along 025 on the cross is written with axis 115", (25, 25 + 90), "across the axis"),
    ("02", "`+1.12` means 1.125, `-0.37` means −0.375", (1.125, F(9, 8), -0.375, -F(3, 8)), "eighths"),
    ("02", "Along which meridian does −1.75 stand", (-1 - 0.75,), "sphere and cylinder"),
    ("02", "- **c** 180", (90 + 90,), "across the axis"),
    ("02", "- **a** +0.50", (max(-1, 0.5),), "the more plus power"),
    ("02", "The sphere, -1.00, stands along the axis 090; the sum, -1.75", (-1, 90, -1 - 0.75), "the same"),
    ("02", "`-3.00 +1.25 x 150`", (-1.75 - 1.25, 1.25, 60 + 90), "eyeandcontacts.com, example 2"),
    ("02", "−3.25 becomes +3.25", (-3.25, 3.25), "the other sign"),
    ("02", "Up to 090 add 90, above 090 take 90 away", (90, 90, 90, 90), "at right angles, above 0 and up to 180"),
    ("02", "is below 090", (180 - 90,), "where add 90 stays up to 180"),
    ("02", "`-1.50 +3.25 x 130`", (1.75 - 3.25, 3.25, 40 + 90), "eyeandcontacts.com, example 3"),
    ("02", "+1.75 along 040 and −1.50 along 130", (1.75, 40, 1.75 - 3.25, 40 + 90), "both lines"),
    ("02", "above 180 | it has no such meridian: take 180 away", (180, 180), "half a turn is the same line"),
    ("02", "`-3.00 +2.00 x 180`.\nYou read `-1.00 -2.00 x 090`", (-1 - 2, 2, 90 + 90, -3 + 2, -2, 180 - 90), "either from the other"),
    ("03", "a round opening 8 mm wide here", (2 * STOP_RADIUS_MM,), "the bench's own"),
    ("03", "with f = 50 mm the target moves 2.5 mm", (50, 50**2 / 1000), "Newton: f² for each dioptre"),
    ("03", "The telescope enlarges 4 times", (TELESCOPE_MAGNIFICATION,), "the bench's own"),
    ("03", "A sphere may lie 0.13 D beside its order", (0.13,), f"{GUIDE}, item 1"),
    ("03", "−2.00 − (+0.12) = −2.12", (-2, 0.12, -2 - 0.12), "arithmetic"),
    ("03", "the zero within 0.10 D, the lens within 0.21 D", (0.1, promised(marks.POWER_WITHIN)), "the marks"),
    ("03", "- **c** +0.50", (1 - 0.5,), "sphere and cylinder"),
    ("03", "counts 4 × 4 = 16 times less", (4, 4, TELESCOPE_MAGNIFICATION**2), "magnification squared"),
    ("03", "| 1 D | 0.06 D |\n| 2 D | 0.13 D |\n| 3 D | 0.19 D |\n| 4 D | 0.25 D |", (1, 1 / 16, 2, 2 / 16, 3, 3 / 16, 4, 4 / 16), "error at the eye over 4 × 4"),
    ("03", "2 D at the eye use that up", (0.13 * 16,), "the same, the other way round"),
    ("03", "0.13 D up to 6.50 D", (0.13, 6.5), f"{GUIDE}, item 1"),
    ("03", "Turn it out to +5.00", (EYEPIECE_RANGE[1],), "the end of the bench's dial"),
    ("03", "- **c** +1.75", (1.5 - -0.25,), "reading less zero"),
    ("03", "- **c** −1.81 for both", (-2 + 3 / 16,), "error at the eye over 4 × 4"),
    ("03", "+1.00 and −0.50 together", (1, -0.5), "the givens of the question"),
    ("03", "+1.50 less −0.25 is +1.75: this instrument reads 0.25 too low", (1.5, -0.25, 1.5 - -0.25, 0 - -0.25), "arithmetic"),
    ("03", "3 D at the eye are 3 / 16 = 0.19 D", (3, 3, 16, 3 / 16), "error at the eye over 4 × 4"),
    ("04", "Write +3.00 for −3.00, and the wearer gets a lens that is 6 D", (3, -3, 3 - -3), "arithmetic"),
    ("04", "2 in 100 beyond 6.50 D", (2, 100, 6.5), f"{GUIDE}, item 1"),
    ("04", "2 in 100: \"Quick", (2, 100), f"{GUIDE}, item 1"),
    ("04", "counts when it lies within 0.21 D", (promised(marks.POWER_WITHIN),), "the marks"),
    ("04", "2 mm beside its centre a −8.00 lens moves the crossing by more than one and a half", (2, -8, floor(2 * 0.2 * 8) / 2), "Prentice, to the half ring below"),
    ("04", "0.2 cm times 8 D", (2 / 10, 8), "2 mm in centimetres"),
    ("05", "38 of 100 people had a cylinder of 0.75 D", (38.3, 100, 0.75), "PMC9732486: 38.3 %"),
    ("05", "153 598 records, Ireland, 2015 to 2019", (153, 598, 2015, 2019), "PMC9732486"),
    ("05", "2.00 D turned by only 5 degrees leaves 0.35 D", (2, 5, 2 * 2 * sin(radians(5))), "crossed cylinders"),
    ("05", "+1.00 − 2.50 = −1.50", (1, -2.5, 1 - 2.5), "arithmetic"),
    ("05", "halfway, at +1.75", (mean(2.5, 1.0),), "arithmetic"),
    ("05", "wheel 080 is `+1.00 +1.50 x 080`", (80, 1, 2.5 - 1, 80), "subtract the other way round"),
    ("05", "within 0.21 D of the lens; a cylinder", (promised(marks.POWER_WITHIN),), "the marks"),
    ("05", "two readings, within 0.24 D", (promised(marks.DIFFERENCE_WITHIN),), "the marks"),
    ("05", "forty optometry clinics", (40,), "PMC9732486"),
    ("05", "The 0.35 D is calculated: twice 2.00 times the sine of 5 degrees", (2 * 2 * sin(radians(5)), 2, 5), "crossed cylinders"),
    ("05", "- **c** `-2.00 -1.00 x 030`", (-3 + 1, -1, 120 - 90), "transposed"),
    ("05", "turn the axis by 90: -2.00 -1.00 x 030", (90, -3 + 1, -1, 120 - 90), "transposed"),
    ("05", "The sphere is the more plus power, +2.00", (max(2, 0.5),), "the larger"),
    ("05", "sharp, at +2.50, and later the cylinder lines, at +1.00", (max(2.5, 2.5 - 1.5), 2.5 - 1.5), "the two powers, from plus"),
    ("05", "+2.50 first, because you come from plus", (max(2.5, 2.5 - 1.5),), "the larger"),
    ("05", "**Note the drum.** +1.00", (2.5 - 1.5,), "sphere and cylinder"),
    ("05", "the wheel stands on 080", (170 - 90,), "at right angles to the axis"),
    ("05", "080 is a principal meridian too", (170 - 90,), "at right angles to the axis"),
    ("05", "Which lines are sharp at +2.50", (2.5,), "the sphere"),
    ("05", "Sphere lines +1.00, cylinder lines +2.50", (2.5 - 1.5, 2.5), "90 out, the sets change places"),
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
    ("06", "0.06 D, for lenses up to 5 D", (0.06, 5), "Whitney, Focimetry issues, part one"),
    ("06", "- **c** −0.75", (-2 - -1.25,), "second reading less first"),
    ("06", "- **a** +1.125", (F(9, 8),), "an eighth, cut short when written"),
    ("06", "-2.00 less -1.25 is -0.75", (-2, -1.25, -2 - -1.25), "arithmetic"),
    ("06", "halfway between +1.00 and +1.25", (1.125 - 0.125, 1.125 + 0.125), "an eighth either way"),
    ("06", "the eyepiece is 4 D too far in, the lines are sharp, and the drum says −2.25", (4, -2 - 4 / 16), "error at the eye over 4 × 4"),
    ("06", "−2.14 becomes −2.25 and −2.84 becomes −2.75", (-2.14, quarter(-2.14), -2.84, quarter(-2.84)), "nearest quarter"),
    ("06", "`-2.25 -0.75 x 015`", (quarter(-2.14), quarter(2.14 - 2.84), 15), "nearest quarters"),
    ("06", "the cylinder lost 0.20 D of what was read", (2.84 - 2.14 - 0.5,), "arithmetic"),
    ("06", "no line in quarter steps fits −2.14 and −2.84", (-2.14, -2.84), "tried below, line by line"),
    ("06", "limit of 0.13 D for such a lens", (0.13,), f"{GUIDE}, item 1"),
    ("06", "<small>0.13 D:", (0.13,), f"{GUIDE}, item 1"),
    ("06", "the mean is −1.625", (mean(-1.5, -1.75),), "halfway"),
    ("06", "Halfway between -3.00 and -2.75 is -2.875", (-3, -2.75, mean(-3, -2.75)), "halfway"),
    ("06", "-2.25 -0.50, which is 0.20 D out", (quarter(-2.14), -2.75 - -2.25, 2.84 - 2.14 - 0.5), "arithmetic"),
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
    ("07", "- **c** −3.00", (-2 - 1 * sin2(90 - 0),), "sin² of the angle"),
    ("07", "- **b** 2.00 base out", (2 * RINGS[0],), "two rings"),
    ("07", "The lines cross 1½ rings", (1.5 / RINGS[0],), "the prism that pairs.json gives G, held by a test below"),
    ("07", "- **b** 1.50 Δ, base up before the left eye", (1.5 - 0,), "all of it, for the right lens is centred"),
    ("07", "0.50 of it is common to both, and 1.50 is left", (min(0.5, 2), 2 - 0.5), "arithmetic"),
    ("08", "stopped by `+1.75`, the lens is about −1.75", (1.75, -1.75), "its opposite"),
    ("08", "- **c** −1.50", (-3.5 - -2,), "second less first"),
    ("08", "- **b** +2.50", (0 - -2.5,), "its opposite"),
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
    ("09", "- **a** the sphere lines, at +2.00", (2 - 1 * sin2(90 - 90),), "the sphere, along the axis"),
    ("09", "| +6.26 | +8.96 | **2.70** |", (through(8, -2, 6, 1.5), through(10.5, -2, 6, 1.5), PARTLY_BACK), "thick lens"),
    ("09", "| +6.02 | +8.52 | **2.50** |", (through(-2, 8, 6, 1.5), through(-2, 10.5, 6, 1.5), 2.5), "thick lens"),
    ("09", "index 1.498 gives 2.54 against 2.50", (1.498, PARTLY_THIN, 2.5), "thick lens"),
    ("09", "- **a** +2.75, and a right lens", (quarter(PARTLY_BACK),), "the nearest quarter"),
    ("09", "2.70 settles on 2.75", (PARTLY_BACK, quarter(PARTLY_BACK)), "the nearest quarter"),
    ("09", "on which quarter does 2.70 settle", (PARTLY_BACK,), "thick lens"),
    ("09", "back against the stop, 5 mm or more", (CLEAR,), "a millimetre beyond the rim of the stop"),
    ("09", "then 6 mm further, 2 mm towards the nose", (CLEAR + 1, 2), "beyond the rim; inset: common practice"),
    ("09", "go 5 mm clear", (CLEAR,), "a millimetre beyond the rim of the stop"),
    ("09", "8 mm wide here: with its middle 5 mm away", (2 * STOP_RADIUS_MM, CLEAR), "the bench's own"),
    ("09", "- **c** +2.25, and half of it", (0.75 - -1.5,), "near less distance"),
    ("09", "0.75 less −1.50 is 2.25; in the strip it is 1.12", (0.75, -1.5, 0.75 + 1.5, 2.25 / 2), "arithmetic"),
    ("09", "20 less 4, counted", (40 / 2, 4), "arithmetic"),
    ("09", "3 mm off is beyond the limit of 1 mm", (21 - 18, 1), "ANSI Z80.1-1999 on a laboratory page, item 8"),
    ("10", "34 mm apart, stay for good", (34,), '"Ophthalmic Lenses", p. 136'),
    ("10", "The stop is 8 mm wide", (2 * STOP_RADIUS_MM,), "the bench's own"),
    ("10", "distance +1.62, near +3.75", (1.625, 1.625 + eighth(2.125)), "eighths"),
    ("10", "**c** keep it on the bench: the eyes have to bear 2.00 Δ", (1 - -1,), "up against down adds"),
    ("10", "34 mm, addition and sign", (34,), '"Ophthalmic Lenses", p. 136'),
    ("10", "The rings are 34 mm apart", (34,), '"Ophthalmic Lenses", p. 136'),
    ("10", "Addition +2.00; right 1.25 Δ base down", (2, quarter(2 * 2 / 3)), "two thirds: common practice, from memory"),
    ("10", "- **c** +2.25, and look again", (quarter(3.75 - 1.62),), "the nearest quarter"),
    ("10", "3.75 less 1.62 is 2.13, nearer to +2.25", (3.75, 1.62, 3.75 - 1.62, quarter(3.75 - 1.62)), "arithmetic"),
    ("10", "to the fitting cross count within 1¼ mm", (marks.HEIGHT_WITHIN_MM,), "the marks"),
    ("11", "the eyes have to bear 4 Δ more than was meant", (2 - -2,), "arithmetic"),
    ("11", "10 degrees of a −1.25 cylinder leave a cylinder of −0.43 D", (10, -1.25, -2.5 * sin(radians(10))), "crossed"),
    ("11", "**1 D of difference along the vertical, 10 mm below: 1 Δ**", (1, 10, 1 * 1.0), "Prentice"),
    ("11", "Most people bear about 1 Δ; from 1.50 Δ", (1, 1.5), "20/20 magazine, both articles named there"),
    ("11", "is 6 degrees off, and a cylinder of 1.00 D may be 3 degrees off", (16 - 10, 1, 3), f"{GUIDE}, item 3"),
    ("11", "`-1.00 +0.75 x 090`, found `-0.25 -0.75 x 180`", (-1, 0.75, 90, -1 + 0.75, -0.75, 90 + 90), "the other form"),
    ("11", "the eyes drop about 10 mm below", (10,), "20/20 magazine, the first article named there"),
    ("11", "1 Δ borne by most, reading level 10 mm", (1, 10), "20/20 magazine, the first article named there"),
    ("11", "Slab-off from 1.50 Δ", (1.5,), "20/20 magazine, the second article named there"),
    ("11", "difference of 1 D along the vertical is 1 Δ", (1, 1 * 1.0), "Prentice"),
    ("11", "2.00 up was meant and 2.00 down was found: they are 4.00 Δ apart", (2, 2, 2 - -2), "arithmetic"),
    ("11", "Is 6 more than 3", (16 - 10, 3), f"{GUIDE}, item 3"),
    ("12", "28.6 % of 154 pairs", (28.6, 154), "Citek and others 2011;82:549-555"),
    ("12", "| sphere, up to 6.50 D | 0.13 D |", (6.5, 0.13), f"{GUIDE}, item 1"),
    ("12", "| cylinder, up to 2.00 D | 0.13 D |", (2, 0.13), f"{GUIDE}, item 1"),
    ("12", "0.25 / 0.50 / 0.75 / 1.50 / more | 14 / 7 / 5 / 3 / 2", (0.25, 0.5, 0.75, 1.5, 14, 7, 5, 3, 2), f"{GUIDE}, item 3"),
    ("12", "up to 2.75 D | 0.67 Δ |", (2.75, 0.67), f"{GUIDE}, item 6"),
    ("12", "above 2.75 D: centre distance | 2.5 mm |", (2.75, 2.5), f"{GUIDE}, item 6"),
    ("12", "up to 3.375 D | 0.33 Δ |", (3.375, 0.33), f"{GUIDE}, item 6"),
    ("12", "The left axis is 5 degrees off, and 3 are allowed", (10 - 5, 3), f"{GUIDE}, item 3"),
    ("12", "**b** dispense: the axis is 3 degrees off, and 5 are allowed", (2 + 180 - 179, 5), f"{GUIDE}, item 3"),
    ("12", "Of 154 pairs", (154,), "Citek and others 2011;82:549-555"),
    ("12", "`-1.00 +0.75 x 090`, found `-0.25 -0.75 x 180`", (-1, 0.75, 90, -1 + 0.75, -0.75, 90 + 90), "the other form"),
    ("12", "the order is -0.25 -0.75 x 180", (-1 + 0.75, -0.75, 90 + 90), "the other form"),
    ("12", "It is 0.12 D off", (2.37 - 2.25,), "arithmetic"),
    ("12", "What does the table allow up to 6.50 D", (6.5,), f"{GUIDE}, item 1"),
    ("12", "It is 1 mm off", (63 - 62,), "arithmetic"),
    ("12", "far less than 0.67 Δ", (0.67,), f"{GUIDE}, item 6"),
    ("12", "- **c** centre distance, 2.5 mm", (2.5,), f"{GUIDE}, item 6"),
    ("12", "Above 2.75 D the distance counts, and 4 mm is more than 2.5 mm", (2.75, 64 - 60, 2.5), f"{GUIDE}, item 6"),
    ("12", "The wearer would meet 1.20 Δ", (3 * (6.4 - 6.0),), "Prentice"),
    ("12", "That row is for lenses up to 2.75 D", (2.75,), f"{GUIDE}, item 6"),
    ("12", "Does 4 mm pass", (64 - 60,), "arithmetic"),
    ("12", "within 1¼ mm, the PD of a weak lens within 2½", (marks.CENTRES_WITHIN_MM, marks.CENTRES_AT_MOST_MM), "the marks"),
]  # fmt: skip
# A chapter is added here once all its numbers are accounted for.

# What a number may be that claims nothing of light, lenses or limits.
KINDS = {
    "the number of a chapter": r"^# \d+ · |[Cc]hapters? \d+(?: and \d+)?|\[\d+ · [^]]*\]\([^)]*\)",
    "the number of a step or a question": r"^\d+\. |\*\*\d+\.\*\*|[Ss]teps? \d+(?: (?:to|and) \d+)?|question \d+",
    "how long a chapter takes, roughly": r"[Aa]bout \d+ minutes",
    "marks, held to the points by a test of their own": r"\d+ marks together",
    "the name of a standard": r"(?:ANSI Z|ISO |GB )\d+(?:\.\d+)?(?:-\d\b)?(?:[:-]\d{4})?",
    "the name of a source, or a place in it": r"(?:pp?\.|items?|example) \d+(?:-\d+| to \d+)?|\d{4};\d+:\d+-\d+|NAVEDTRA \d+|PMC\d+|20/20|360docs",
    "the first, second, third of a column": r"\b(?:1st|2nd|3rd)\b",
}

# Words whose numbers are those that a code cell of the chapter is called with.
GIVEN = [
    ("01", "cylinder of −2.00 alone, with its axis at 180", 'power_cross("pl -2.00 x 180"'),
    ("01", "The sphere stands along the axis: +2.50 along 170", 'power_cross("+2.50 -1.50 x 170"'),
    ("01", "Which power stands along 035", 'given="-1.25 -2.00 x 035"'),
    ("01", "+3.00 along 060 and +2.00 along 150", "+3.00 along 060 / +2.00 along 150"),
    ("01", "It is the meridian of the *sphere*: 060", "+3.00 along 060"),
    ("01", "+1.25 along 105 and +0.50 along 015", "+1.25 along 105 / +0.50 along 015"),
    ("01", "stand along 170 and along 080", 'check.to_cross(along_170, along_080, given="-3.25 +1.50 x 170"'),
    ("01", "`+1.00 -3.00 x 060` along 090", 'given="+1.00 -3.00 x 060", meridian=90'),
    ("02", "−2.00 and −0.75 make the new sphere", 'given="-2.00 -0.75 x 025"'),
    ("02", "**Turn.** 025 is", 'given="-2.00 -0.75 x 025", to="plus")'),
    ("03", "its eyepiece 4 D too far out", 'eyepiece_strip("pl", [0, 0.25], eyepiece=4)'),
    ("03", "The dial counts within 1 D", 'what="eyepiece", within=1, learner=learner, pair="A"'),
    ("04", "all the lines clear together: at −6.00", 'eyepiece_strip("-6.00 DS"'),
    ("04", "**Note drum and wheel.**\n   −6.00, and", 'eyepiece_strip("-6.00 DS"'),
    ("05", "the wheel stands on 170", 'eyepiece_strip("+2.50 -1.50 x 170", [4.5, 2.5, 1.75, 1.0], wheel=170)'),
    ("05", "the drum from +4.50 down to +1.00", "[4.5, 2.5, 1.75, 1.0], wheel=170"),
    ("05", "the drum rests on +2.50", "[2.5, 2.5, 2.5, 2.5], wheel=["),
    ("05", "**Note drum and wheel.** +2.50 and 170", 'eyepiece("+2.50 -1.50 x 170")'),
    ("05", "Sphere lines −1.25, wheel 020, cylinder lines −3.00", "sphere_lines=-1.25, cylinder_lines=-3.00, wheel=20"),
    ("05", "Sphere lines −3.25, wheel 120, cylinder lines −2.25", "sphere_lines=-3.25, cylinder_lines=-2.25, wheel=120"),
    ("06", "The lens is known to be −2.00", "known=-2.00"),
    ("06", "close together, but beside −2.00", "known=-2.00"),
    ("06", "wheel 015", "settling(-2.14, -2.84, wheel=15"),
    ("06", "each, wheel 100", "wheel=100"),
    ("06", "lines +1.44, cylinder lines +0.34, wheel 060", "sphere_lines=+1.44, cylinder_lines=+0.34, wheel=60"),
    ("06", "lines +2.17, cylinder lines −0.18, wheel 135", "sphere_lines=+2.17, cylinder_lines=-0.18, wheel=135"),
    ("06", "lines −0.31, cylinder lines −1.16, wheel 170", "sphere_lines=-0.31, cylinder_lines=-1.16, wheel=170"),
    ("07", "lens, `-4.00 DS`, is looked through 8 mm below", 'prentice("R -4.00 DS", "8 mm down")'),
    ("07", "Right lens `+5.00 DS`, looked through 4 mm", 'lens="R +5.00 DS", looked="4 mm in"'),
    ("07", "Left lens `-3.00 DS`, looked through 5 mm", 'lens="L -3.00 DS", looked="5 mm down"'),
    ("07", "`-2.00 -1.00 x 090`, looked through 6 mm", 'lens="L -2.00 -1.00 x 090", looked="6 mm out"'),
    ("07", "`R -4.00 DS`, 2.00 Δ base in", 'lens="R -4.00 DS prism 2.00 base in"'),
    ("07", "`R 4.00 base in, 3.00 base up`", 'prisms="R 4.00 base in 3.00 base up"'),
    ("07", "Both lenses `+3.00 DS`", 'lens="R +3.00 DS", looked="2 mm out"'),
    ("07", "Left lens `-6.00 DS`, looked through 3 mm", 'lens="L -6.00 DS", looked="3 mm in"'),
    ("07", "Right lens `+8.00 DS`, ordered 2.00 Δ", 'lens="R +8.00 DS prism 2.00 base up"'),
    ("08", "`-6.00 DS` leans by 15 degrees", 'tilted("-6.00 DS", 15)'),
    ("09", "Here a right lens, `-2.00 DS`, addition +2.50", 'at_the_line("R -2.00 DS add +2.50")'),
    ("09", "centre 5 mm below the line, addition +2.50", 'eye="R", add=2.50, below_mm=5'),
    ("09", "Round, 22 mm across, addition +1.50", 'eye="L", add=1.50, across_mm=22'),
    ("09", "35 wide and 22.5 deep, addition +3.00", 'eye="R", add=3.00, across_mm=35, deep_mm=22.5'),
    ("10", "`+0.50 DS` with addition +2.50", 'in_the_corridor("R +0.50 DS add +2.50")'),
    ("11", "the right lens is `R +4.00 -2.35 x 180`", 'found="R +4.00 -2.35 x 180 no prism'),
    ("12", "| right | `-2.25 -0.75 x 015` |", 'order="R -2.25 -0.75 x 015; L -1.50 -1.25 x 170"'),
    ("12", "| `-2.37 -0.62 x 018` |", 'found="R -2.37 -0.62 x 018; L -1.62 -1.25 x 174"'),
    ("12", "| left | `-1.50 -1.25 x 170` |", 'order="R -2.25 -0.75 x 015; L -1.50 -1.25 x 170"'),
    ("12", "| `-1.62 -1.25 x 174` |", 'found="R -2.37 -0.62 x 018; L -1.62 -1.25 x 174"'),
    ("12", "| centre distance | 62 mm |", "order_mm=62"),
    ("12", "| 63 mm |", "found_mm=63"),
    ("12", "`R +2.25 -0.50 x 178`, `L +2.75 -1.00 x 005`", 'order="R +2.25 -0.50 x 178; L +2.75 -1.00 x 005"'),
    ("12", "centre distance 63 mm", "order_mm=63"),
]  # fmt: skip

# Where a learner is told to look on the pair G: between two numbers, or from above one.
HINTS = [
    ("03", "sharp: between 0.00 and +0.50", lambda pair: pair["zero"]),
    ("03", "come down from +1.00", lambda pair: pair["zero"]),
    ("03", "towards −2.00 until lines show", lambda pair: pair["R"][0] + pair["zero"]),
    ("03", "clear together, between −3.00 and −2.50", lambda pair: pair["R"][0] + pair["zero"]),
    ("04", "Start at +8.00", lambda pair: pair["R"][0]),
    ("04", "the lines clear between +5.00 and +6.00", lambda pair: pair["R"][0]),
    ("04", "it clears between −0.50 and +0.50", lambda pair: pair["L"][0]),
    ("05", "Start near +4.00", lambda pair: pair["R"][0]),
    ("05", "they clear between +1.00 and +2.00", lambda pair: pair["R"][0]),
    ("05", "Look between 020 and 045", lambda pair: pair["R"][2]),
    ("05", "**Note the drum**: between 0.00 and +1.00", lambda pair: pair["R"][0] + pair["R"][1]),
]

COUNTED = "how axes are counted (ISO 8429, from memory)"
EXAMPLE = "an example, and nothing follows from the number"
QUESTION = "what a question starts from; its right answer is worked out"
ZERO = "zero is what the drum shows of no power"
CENTRED = "where the pair G is centred, held by a test below"
RIGHT_ANGLE = "at right angles, as axis and cylinder are by definition"
STANDS = [
    ("00", "for example `+0.50 DS`", EXAMPLE),
    ("01", "a number from 1 to 180", COUNTED),
    ("01", "written 180, never 0", COUNTED),
    ("01", "written `+1.50 DS`", EXAMPLE),
    ("01", "Example: `-3.00 -2.00 x 030`", "what the worked example starts from"),
    ("02", "The lens is `-1.00 -0.75 x 090`", QUESTION),
    ("02", "The cross says −1.00 along 030 and +0.50 along 120", QUESTION),
    ("02", "−1.75 along 060 and −3.00 along 150", "example 2 of the source below it, in the next rows"),
    ("02", "The lens is `+1.75 -3.25 x 040`", "example 3 of the source below it, in the next rows"),
    ("02", "Turn** the axis by 90", RIGHT_ANGLE),
    ("02", "does the axis turn by 90", RIGHT_ANGLE),
    ("02", "`+0.50`, not `.5`, which may be read as 5", EXAMPLE),
    ("02", "001 to 180", COUNTED),
    ("02", "`x 010`, because 10° may be taken for 100", EXAMPLE),
    ("02", "180, never 0", COUNTED),
    ("02", "A slip says `1.50 -0.50 x 010`", QUESTION),
    ("03", "the drum says −1.25", QUESTION),
    ("03", "`-1.25 DS`", "the number of the question, with DS"),
    ("03", "The lens is `+1.00 -0.50 x 090`", QUESTION),
    ("03", "What power stands along 180", QUESTION),
    ("03", "<small>2.5 mm", "worked out where it stands above"),
    ("03", "It should say 0.00", ZERO),
    ("03", "Zero +0.12 and lines at −2.00", "what the sum behind it starts from"),
    ("03", "sharp at −0.25, and stays", QUESTION),
    ("03", "A lens on it is sharp at +1.50", QUESTION),
    ("03", "left 3 D too far out", QUESTION),
    ("03", "Both lenses of a pair are −2.00", QUESTION),
    ("03", "along the axis, 090", "the axis of the question's lens"),
    ("03", "Take away −0.25", "the zero of the question"),
    ("03", "it shows −0.25 without", "the zero of the question"),
    ("04", "sharp together at +1.25", QUESTION),
    ("04", "the wheel from 180 to 045", QUESTION),
    ("04", "on the wheel, 90 apart", RIGHT_ANGLE),
    ("04", "beyond 5 D", "common practice, from memory, as the note says"),
    ("04", "But +0.25 is not plano", "the weakest step that is ordered"),
    ("04", "towards +5.00", "which way to turn, until lines show"),
    ("04", "sharp at 0.00", ZERO),
    ("05", "you are 90 degrees out", RIGHT_ANGLE),
    ("05", "Which is the same lens as `-3.00 +1.00 x 120`", QUESTION),
    ("05", "signs: -3.00 and +1.00", "the givens of the question"),
    ("05", "The cross says +2.00 along 060 and +0.50 along 150", QUESTION),
    ("05", "- **a** 060", "the meridian of the more plus power, which is worked out"),
    ("05", "sharp at 0.00", ZERO),
    ("05", "turn the wheel by 90", RIGHT_ANGLE),
    ("05", "you are 90 out", RIGHT_ANGLE),
    ("05", "the target by 90", RIGHT_ANGLE),
    ("05", "has turned by 90", RIGHT_ANGLE),
    ("06", "Sphere lines −1.25, cylinder lines −2.00", QUESTION),
    ("06", "the wheel by 90", RIGHT_ANGLE),
    ("06", "the wheel turns by 90", RIGHT_ANGLE),
    ("06", "the axis is 90 out", RIGHT_ANGLE),
    ("06", "A ticket says `+1.12 DS`", QUESTION),
    ("06", "Nobody grinds to 0.12", "the number of the question"),
    ("06", "| −0.63 | −0.70 | −0.68 |", "readings, their mean is worked out"),
    ("06", "| −1.45 | −1.38 | −1.43 |", "readings, their mean is worked out"),
    ("06", "up to 0.12 D, write a sphere", "common practice, as the sentence says"),
    ("06", "Both spheres are 0.25 D more minus", QUESTION),
    ("06", "does -2.84 lie", "a reading of the worked example"),
    ("06", "read -2.14 and -2.84; I wrote -2.25 -0.75", "the worked example again"),
    ("07", "`-2.00 -1.00 x 090`: what is the power", QUESTION),
    ("07", "turn the wheel by 90", RIGHT_ANGLE),
    ("07", "the crossing stands 2 rings", QUESTION),
    ("07", 'such as `"1.50 base up"`', EXAMPLE),
    ("07", "`+4.00 DS` with 2.00 Δ base in:", "what the worked example starts from"),
    ("07", 'Write it like `"5 mm in"`', EXAMPLE),
    ("07", "1 cm for 1 Δ", "a scale to draw to"),
    ("07", "anticlockwise, 0 to 359", "how bases are counted; common practice"),
    ("07", 'such as `"2.50 base 120"`', EXAMPLE),
    ("07", 'such as `"1.00 base in and 0.50 base up"`', EXAMPLE),
    ("07", "Right lens 2.00 base up, left lens 0.50 base up", QUESTION),
    ("07", "through both lenses 32 mm", CENTRED),
    ("07", "says 32.0 mm, and *Down, up* 0.0 mm", CENTRED),
    ("07", "new pair has 2.00 Δ base down", QUESTION),
    ("07", "Axis 090", "the axis of the question's lens"),
    ("07", "the wheel is 90 out", RIGHT_ANGLE),
    ("08", "You look 5 mm above the centre of `+4.00 DS`", QUESTION),
    ("08", "clear at −2.00, cylinder lines at −3.50", QUESTION),
    ("08", "a trial lens of −2.50", QUESTION),
    ("08", "about +3.00, and the drum says −3.00", QUESTION),
    ("08", "−3.50 less −2.00", "the readings of the question"),
    ("09", "the line stands 3 mm too high", EXAMPLE),
    ("09", "`+2.00 -1.00 x 090`: you come from plus, with the wheel at 090", QUESTION),
    ("09", "front +8.00, back −2.00, segment +2.50 in front, 6 mm thick, index 1.5", "what the next rows start from"),
    ("09", "front +6.00, back −9.00, 1.5 mm", "what the sum behind it starts from"),
    ("09", "lens of the table, ordered with addition +2.50", "the segment of the table"),
    ("09", "sphere lines +1.25, cylinder lines −0.50", QUESTION),
    ("09", "sphere lines +3.50, cylinder lines +1.75", QUESTION),
    ("09", "The line stands 4 mm below", QUESTION),
    ("09", "segment 24 mm across, addition +2.00", "what the sum behind it starts from"),
    ("09", "28 wide and 19 deep", "what the sum behind it starts from"),
    ("09", "<small>2.4 and 1.0", "worked out where they stand above"),
    ("09", "front against the stop: distance −1.50", QUESTION),
    ("09", "Right addition +2.00, left +2.50", QUESTION),
    ("09", "ordered +2.00, reads +2.25", QUESTION),
    ("09", "ordered at 18 mm, found at 21", QUESTION),
    ("09", "3.50 less 1.25, and 1.75 less −0.50", "the readings of the question"),
    ("10", "2.00 Δ base down in the right lens and 2.00 Δ base down in the left", QUESTION),
    ("10", "left 1.25 Δ base down and 2.00 Δ base out", QUESTION),
    ("10", "2.00 Δ base out in the left lens; 1.25 Δ base down is", "the givens of the question, taken apart"),
    ("10", "The engraved addition is 2.00", QUESTION),
    ("10", "Right 1.00 Δ base down, left 1.00 Δ base *up*", QUESTION),
    ("11", "Order: `R +2.00 DS prism 2.00 base up; L +2.00 DS`", QUESTION),
    ("11", "right prism 2.00 base *down*", QUESTION),
    ("11", "Right `+1.00 DS`, left `-2.00 DS`, 10 mm below", QUESTION),
    ("11", "looks through: 32 mm", CENTRED),
    ("11", "read again: 016, 017, 015", QUESTION),
    ("11", "are 2.00 up and 2.00 down", "the givens of the question"),
    ("12", "Another pair: `+3.00 DS`", QUESTION),
    ("12", "ordered 64 mm, found 60 mm", QUESTION),
    ("12", "`+1.00 -0.75 x 002`, found `+1.00 -0.75 x 179`", QUESTION),
    ("12", "where a cylinder of 1.25 allows three", "the left cylinder of the worked example"),
    ("12", "because a cylinder of 0.75 allows five", "the right cylinder of the worked example"),
    ("12", "180 and 0 are the same line, so from 179 to 002", COUNTED),
    ("12", "between 179 and 002", "the axes of the question"),
    ("12", "allow for 0.75", "the cylinder of the question"),
]  # fmt: skip
SAID = {"¼": ".25", "½": ".5", "− (": "(", "one and a half": "1.5", "forty": "40"}
OPTION = re.compile(r"^- \*\*([a-z])\*\* .*$", re.MULTILINE)
NUMBER = re.compile(r"(?<![\d.])[+−-]? ?\d+(?:\.\d+)?")


def chapter(number):
    path = next((project_folder("notebooks") / "source").glob(f"{number}-*/*.ipynb"))
    return nbformat.read(path, as_version=4).cells


def replies(number):
    """What the questions of a chapter have, and which letter is right, by name."""
    (path,) = (project_folder("datasets") / "questions").glob(f"{number}-*.json")
    return {f"{path.stem}/{name}": each for name, each in json.loads(path.read_text("utf-8")).items()}


def texts(number):
    """The words of a chapter, cell by cell, and the replies to its questions."""
    yield from (cell.source for cell in chapter(number) if cell.cell_type == "markdown")
    for question in replies(number).values():
        yield from (question["because"], *question["replies"].values())


def numbers(words):
    for said, figure in SAID.items():
        words = words.replace(said, figure)
    return [each.replace("−", "-").replace(" ", "") for each in NUMBER.findall(words)]


@pytest.mark.parametrize(("number", "words", "worked_out", "source"), ROWS, ids=lambda v: str(v)[:40])
def test_a_number_in_prose_is_what_was_worked_out(number, words, worked_out, source):
    assert source
    assert any(words in text for text in texts(number)), words
    shown = numbers(words)
    assert len(shown) == len(worked_out), shown
    for told, value in zip(shown, worked_out, strict=True):
        decimals = len(told.partition(".")[2])
        assert abs(float(told) - float(value)) <= 0.5 * 10**-decimals + 1e-9, (told, value)


def test_every_chapter_is_looked_at():
    assert {row[0] for row in ROWS} == set(CHAPTERS)


def test_by_the_limits_of_the_iso_no_line_in_quarter_steps_fits_that_reading():
    quarters = [step / 4 for step in range(-40, 41)]
    near = [(s, c) for s in quarters for c in quarters if abs(s + 2.14) <= 0.12 and abs(s + c + 2.84) <= 0.12]
    assert near == [(-2.25, -0.5)]
    assert abs(-0.5 - (2.14 - 2.84)) > 0.09


def code_of(number):
    return "\n".join(cell.source for cell in chapter(number) if cell.cell_type == "code")


def wrong_answers(number):
    """The lines to choose from that are wrong, which is what they are there for."""
    prose = "\n".join(cell.source for cell in chapter(number) if cell.cell_type == "markdown")
    asked = iter(re.findall(r'check\.choice\(.*?question="([^"]+)"', code_of(number)))
    for option in OPTION.finditer(prose):
        if option[1] == "a":
            right = replies(number)[next(asked)]["right"]
        if option[1] != right:
            yield option[0]
    assert next(asked, None) is None, "every question has its lines to choose from"


def left_over(number, stands=STANDS):
    """Each number that nothing accounts for, with the words around it."""
    code = code_of(number)
    named = [row[1] for rows in (ROWS, GIVEN, HINTS, stands) for row in rows if row[0] == number]
    named += [
        span for text in texts(number) for span in re.findall("`[^`]+`", text) if f'"{span[1:-1]}"' in code
    ]
    patterns = [*KINDS.values(), *map(re.escape, [*named, *wrong_answers(number)])]
    for text in texts(number):
        spans = [found.span() for each in patterns for found in re.finditer(each, text, re.MULTILINE)]
        for found in NUMBER.finditer(text):
            begins = found.end() - len(found[0].lstrip())
            if not any(start <= begins and found.end() <= end for start, end in spans):
                yield text[max(begins - 40, 0) : found.end() + 25].replace("\n", " / ")


@pytest.mark.parametrize("number", CHAPTERS)
def test_every_number_is_accounted_for(number):
    assert not list(left_over(number))


@pytest.mark.parametrize(("number", "words", "why"), STANDS)
def test_an_exemption_is_needed_and_says_why(number, words, why):
    assert why
    others = [each for each in STANDS if each != (number, words, why)]
    assert len(list(left_over(number, others))) > len(list(left_over(number)))


@pytest.mark.parametrize(("number", "words", "called"), GIVEN)
def test_the_words_have_what_the_cell_is_called_with(number, words, called):
    assert any(words in text for text in texts(number)) and called in code_of(number)
    assert {float(each) for each in numbers(words)} <= {float(each) for each in numbers(called)}


def guided_pair(number):
    """The powers and the axis of each lens of G, and its zero, from what the pair is made from."""
    (path,) = (project_folder("notebooks") / "source").glob(f"{number}-*/pairs.json")
    made_from = json.loads(path.read_text("utf-8"))["G"]
    lenses = dict(each.strip().split(" ", 1) for each in made_from["lenses"].split(";"))
    pair = {eye: [float(each) for each in numbers(line)] or [0.0] for eye, line in lenses.items()}
    return pair | {"zero": made_from.get("zero_error", 0.0)}


@pytest.mark.parametrize(("number", "words", "looked_for"), HINTS)
def test_a_hint_holds_for_the_pair_on_the_bench(number, words, looked_for):
    assert any(words in text for text in texts(number))
    told, value = [float(each) for each in numbers(words)], looked_for(guided_pair(number))
    assert told[0] < value < told[1] if told[1:] else value < told[0]


def test_the_prism_that_is_told_of_a_guided_pair_is_what_it_is_made_with():
    assert guided_pair("07") == {"R": [-5.25], "L": [-2.75, 1.5], "zero": 0.0}


@pytest.mark.parametrize("number", ["07", "11"])
def test_the_guided_pair_is_centred_where_the_words_send_the_reader(number):
    folder = next((project_folder("notebooks") / "source").glob(f"{number}-*"))
    for seed in range(5):
        order = make(briefs_in(folder)["G"], seed).order
        assert [(order.of(eye).pd_mm, order.of(eye).centre_height_mm) for eye in "RL"] == [(32, 0)] * 2


@pytest.mark.parametrize("number", CHAPTERS)
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
