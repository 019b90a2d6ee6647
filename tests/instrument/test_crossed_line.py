"""The crossed line in the hand: lines, words and picture from the same lens.

With, against and scissors are common practice in published teaching notes on lens
neutralization; where a ray goes is checked with SymPy's paraxial matrices.
"""

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from sympy.physics.optics.gaussopt import FreeSpace, ThinLens

from optics.drawing.crossed_line import crossed_line, draw_crossed_line
from optics.errors import OpticsError
from optics.instrument.crossed_line import LIMBS, cross_seen, told
from optics.instrument.neutralizing import Held
from optics.lens.power import Power
from optics.lens.prism import Prism

FROM_EYE_MM, CROSS_MM = 150.0, 3000.0
MOVES = [-12.0, -5.0, 5.0, 12.0]


def held(*lens, prism=None):
    return Held(power=Power.from_sphere_cylinder(*lens), prism=prism or Prism.none())


def words(lens, moved=(0.0, 0.0), turned=0.0):
    return told(cross_seen(lens, moved, turned), cross_seen(lens), moved, turned)


def limbs(text):
    """The sentence on each limb."""
    return {limb: next(s for s in text.split(". ") if s.startswith(f"The {limb} line")) for limb in LIMBS}


@pytest.mark.parametrize("sphere", [-6.0, -2.0, -0.5, 0.5, 2.0, 5.0])
@pytest.mark.parametrize("moved", MOVES)
def test_where_the_line_is_seen_against_paraxial_matrices(sphere, moved):
    """A ray from the cross to the eye meets the lens where the line is seen."""
    seen = cross_seen(held(sphere), (moved, 0.0)).offset_mm("upright")
    # A ray through the lens at `seen` from the middle of the cross, about the lens's own axis.
    to_lens = np.array([[seen - moved], [seen / CROSS_MM]])
    system = FreeSpace(FROM_EYE_MM) * ThinLens(1000.0 / sphere)
    at_eye = np.array(system.tolist(), dtype=float) @ to_lens
    # It reaches the eye, which stands on the line of sight.
    assert at_eye[0, 0] + moved == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("lens", "word"), [((-2.0,), "with"), ((+2.0,), "against"), ((-0.5, -1.0, 90), "with")]
)
@pytest.mark.parametrize("moved", MOVES)
def test_minus_moves_with_and_plus_against(lens, word, moved):
    said = limbs(words(held(*lens), (moved, 0.0)))
    assert f"moving {word} the lens" in said["upright"]
    assert said["level"].startswith("The level line is unbroken")
    said = limbs(words(held(*lens), (0.0, moved)))
    assert f"moving {word} the lens" in said["level"]
    assert "unbroken" in said["upright"]


def test_a_cylinder_moves_the_line_only_across_its_axis():
    """A cylinder has no power along its axis."""
    lens = held(0.0, 2.0, 90)
    assert "against" in limbs(words(lens, (10, 0)))["upright"]
    assert "unbroken" in limbs(words(lens, (0, 10)))["level"]


@pytest.mark.parametrize("axis", [180, 90])
@pytest.mark.parametrize("turned", [-20.0, -8.0, 8.0, 20.0])
def test_turning_a_cylinder_moves_the_lines_like_scissors(axis, turned):
    said = words(held(-1.0, -1.5, axis), turned=turned)
    assert said.endswith("The two lines move like scissors.")
    with_it = limbs(said)
    # The limb along the axis of a minus cylinder turns with the lens, the other against it.
    along, across = ("level", "upright") if axis == 180 else ("upright", "level")
    assert "turning with the lens" in with_it[along] and "turning against the lens" in with_it[across]


@pytest.mark.parametrize("lens", [(-3.0,), (0.0,), (2.5,)])
def test_turning_a_sphere_does_nothing(lens):
    said = words(held(*lens), turned=20.0)
    assert said.count("is unbroken") == 2 and "scissors" not in said


def test_the_right_trial_lens_stops_all_movement():
    lens = held(+2.0, -1.0, 30).with_trial(-Power.from_sphere_cylinder(+2.0, -1.0, 30))
    for moved, turned in (((10, 0), 0), ((0, -10), 0), ((5, 5), 15)):
        assert words(lens, moved, turned).count("is unbroken") == 2


def test_prism_shows_before_the_lens_is_moved():
    """It shifts the line, towards the apex, and does not move with or against."""
    said = limbs(words(held(0.0, prism=Prism.from_base(2.0, "in", "R"))))
    # Base in on the right lens points to the viewer's right; the apex to the left.
    assert "mm to the left" in said["upright"] and "moving" not in said["upright"]
    assert "unbroken" in said["level"]


@pytest.mark.parametrize(("sphere", "look"), [(5.0, "upright"), (7.0, "lost"), (9.0, "upside down")])
def test_a_strong_plus_lens_is_held_nearer(sphere, look):
    lens = held(sphere)
    assert cross_seen(lens).look == look
    assert ("Hold the lens nearer" in words(lens)) == (look != "upright")
    nearer = Held(power=lens.power, from_eye_mm=50.0)
    assert cross_seen(nearer).look == "upright"


def drawn(lens, **hand):
    ax = Figure((5, 5)).add_axes((0, 0, 1, 1))
    seen = cross_seen(lens, hand.get("moved_mm", (0, 0)), hand.get("turned_degrees", 0.0))
    assert draw_crossed_line(ax, seen, **hand) is ax
    return ax


def line(ax, limb):
    return next(
        drawn for drawn in ax.lines if drawn.get_gid() == f"{limb} line through the lens"
    ).get_xydata()


@pytest.mark.parametrize("moved", [(-10.0, 0.0), (0.0, 0.0), (10.0, 6.0)])
@pytest.mark.parametrize("turned", [-20.0, 0.0, 20.0])
def test_the_picture_shows_what_the_words_say(moved, turned):
    lens = held(-1.0, -2.0, 30)
    ax = drawn(lens, moved_mm=moved, turned_degrees=turned)
    seen = cross_seen(lens, moved, turned)
    said = limbs(words(lens, moved, turned))
    (x0, y0), (x1, y1) = line(ax, "upright")
    offset = x0 + (x1 - x0) * (0.0 - y0) / (y1 - y0)
    assert offset == pytest.approx(seen.offset_mm("upright"), abs=1e-6)
    if abs(offset) >= 0.3:
        assert f"{abs(offset):.1f} mm to the {'right' if offset > 0 else 'left'}" in said["upright"]
    else:
        assert "mm to the" not in said["upright"]
    lens_drawn = next(patch for patch in ax.patches if patch.get_gid() == "lens")
    assert lens_drawn.get_center() == pytest.approx(moved)
    # An arrow only for what was done.
    assert {p.get_gid() for p in ax.patches} & {"moved", "turned"} == (
        ({"moved"} if any(moved) else set()) | ({"turned"} if turned else set())
    )


def test_nothing_is_drawn_through_a_lens_that_only_blurs():
    assert not [line for line in drawn(held(7.0)).lines if "through" in line.get_gid()]


def test_the_diagram_is_legible_and_gives_no_power_away():
    figure = crossed_line("+2.25 -1.75 x 020", moved_mm=(8, -4), turned_degrees=-10)
    texts = [text for text in figure.figure.findobj(Text) if text.get_text()]
    assert texts and all(text.get_fontsize() >= 11 for text in texts)
    assert all(line.get_linewidth() >= 1.5 for ax in figure.figure.axes for line in ax.lines)
    shown = " ".join(text.get_text() for text in texts) + figure.alt
    assert "2.25" not in shown and "1.75" not in shown


def test_text_that_cannot_be_read_gives_the_readers_sentence():
    with pytest.raises(OpticsError, match="no sign"):
        crossed_line("2.00 DS")
