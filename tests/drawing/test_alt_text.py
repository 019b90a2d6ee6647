"""A diagram carries its words wherever it goes, and the words say what the picture shows."""

import re
from html.parser import HTMLParser
from itertools import product

import numpy as np
import pytest
from matplotlib.figure import Figure

from optics.drawing import describe
from optics.drawing.diagram import Diagram
from optics.errors import OpticsError
from optics.instrument.focimeter import Settings, residual
from optics.lens.lens import OverStop
from optics.lens.power import Power
from optics.lens.prism import Prism

ALT = 'Power cross: +1.00 along 090, "plano" along 180 & more <or less>.'


@pytest.fixture
def diagram():
    figure = Figure((3, 2))
    figure.text(0.5, 0.5, "horizontal", fontsize=11)
    return Diagram(figure, ALT, title="Cross", caption="Cross of the <right> lens")


class Images(HTMLParser):
    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        if tag == "img":
            self.found.append(dict(attrs))


def test_notebook_output_is_an_image_with_its_words(diagram):
    bundle = diagram._repr_mimebundle_()
    reader = Images()
    reader.feed(bundle["text/html"])
    (image,) = reader.found
    assert image["alt"] == ALT
    assert image["src"].startswith("data:image/png;base64,iVBOR")
    assert image["width"] == "288"
    assert "<figcaption>Cross of the &lt;right&gt; lens</figcaption>" in bundle["text/html"]
    assert bundle["text/plain"] == ALT
    assert "image/png" not in bundle  # JupyterLab would show it without the words


def test_a_diagram_without_words_is_refused():
    with pytest.raises(ValueError, match="alternative text"):
        Diagram(Figure(), "  ")


@pytest.mark.parametrize("suffix", ["png", "svg", "pdf", "PNG"])
def test_saved_twice_is_the_same_file(diagram, tmp_path, suffix):
    first = diagram.save(tmp_path / f"one.{suffix}")
    second = diagram.save(tmp_path / f"two.{suffix}")
    assert first.read_bytes() == second.read_bytes()
    assert first.stat().st_size > 500


def test_svg_keeps_text_as_text_and_carries_the_words(diagram, tmp_path):
    text = diagram.save(tmp_path / "cross.svg").read_text()
    assert ">horizontal</text>" in text
    assert 'role="img" aria-label="Power cross: +1.00 along 090' in text
    assert not re.search(r"<dc:date>", text)


def test_pdf_embeds_its_font(diagram, tmp_path):
    content = diagram.save(tmp_path / "cross.pdf").read_bytes()
    assert b"/FontFile2" in content
    assert b"CreationDate" not in content


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("cross.jpg", 'The file name "cross.jpg" ends in ".jpg". It must end in .png, .svg or .pdf.'),
        ("cross", 'The file name "cross" has no ending.'),
        ("nowhere/cross.png", "There is no folder"),
    ],
)
def test_a_name_that_cannot_be_saved_is_a_sentence(diagram, tmp_path, name, sentence):
    with pytest.raises(OpticsError) as told:
        diagram.save(tmp_path / name)
    assert str(told.value).startswith(sentence)


def test_nothing_is_overwritten_unasked(diagram, tmp_path):
    target = tmp_path / "cross.png"
    target.write_text("precious")
    with pytest.raises(OpticsError, match="Nothing is replaced unless you say so"):
        diagram.save(target)
    assert target.read_text() == "precious"
    diagram.save(target, overwrite=True)
    assert target.read_bytes().startswith(b"\x89PNG")


def test_a_folder_of_that_name_is_not_overwritten(diagram, tmp_path):
    (tmp_path / "cross.png").mkdir()
    with pytest.raises(OpticsError):
        diagram.save(tmp_path / "cross.png", overwrite=True)


# --- the words themselves ---------------------------------------------------------------------

LENS = Power.from_sphere_cylinder(-2.00, -1.50, 30)


@pytest.mark.parametrize(
    ("value", "words"), [(-0.001, "zero"), (1.125, "plus 1.12"), (-12.25, "minus 12.25"), (0.004, "zero")]
)
def test_signs_are_spoken(value, words):
    assert describe.spoken(value) == words


def test_a_sphere_has_the_same_power_along_both_meridians():
    words = describe.power_cross(Power.from_sphere_cylinder(-1.25), eye="L", axis="minus")
    assert words == (
        "Power cross of the left lens, seen from the front: "
        "minus 1.25 along meridian 180 and minus 1.25 along meridian 90."
    )


def test_the_axis_is_named_in_the_form_asked_for():
    assert "axis of the minus cylinder, 30, is marked" in describe.power_cross(LENS, axis="minus")
    assert "axis of the plus cylinder, 120, is marked" in describe.power_cross(LENS, axis="plus")


@pytest.mark.parametrize(
    ("blank", "kept", "gone"),
    [
        (("powers",), "along meridian 30", "minus 2.00"),
        (("meridians",), "minus 2.00", "30"),
        (("axis",), "to be written in", "cylinder, 30"),
    ],
)
def test_what_is_blank_is_not_said(blank, kept, gone):
    words = describe.power_cross(LENS, blank=blank, axis="minus" if "axis" in blank else None)
    assert kept in words
    assert gone not in words


def test_dials_say_which_lens_has_no_axis():
    assert describe.axis_dial({"R": 180, "L": None}) == (
        "Axis dials, seen from the front: right lens, axis 180; left lens, no axis drawn."
    )
    assert "15" not in describe.axis_dial({None: 15}, blank=True)


@pytest.mark.parametrize(
    ("amount", "base", "eye", "words"),
    [
        (2.0, "in", "L", "to the left of the centre: 2.00 base in."),
        (2.0, "out", "L", "to the right of the centre: 2.00 base out."),
        (1.5, "down", "R", "below the centre: 1.50 base down."),
        (0.0, "up", "R", "at the centre: no prism."),
    ],
)
def test_a_prism_is_placed_as_it_is_seen(amount, base, eye, words):
    assert describe.prism_displacement(Prism.from_base(amount, base, eye), eye).endswith(words)


def test_an_oblique_prism_names_both_parts_and_the_whole():
    # 3 up with 4 horizontal is 5, 36.87 degrees from the horizontal (a 3-4-5 triangle).
    prism = Prism.from_base(3.0, "up", "R") + Prism.from_base(4.0, "out", "R")
    words = describe.prism_displacement(prism, "R")
    assert "to the left and above the centre" in words
    assert words.endswith("4.00 base out and 3.00 base up, together 5.00 base at 143 degrees.")


@pytest.mark.parametrize(
    ("x_mm", "eye", "word"),
    [(3, "R", "nasal"), (-3, "R", "temporal"), (3, "L", "temporal"), (-3, "L", "nasal")],
)
def test_nasal_is_towards_the_nose_of_that_eye(x_mm, eye, word):
    assert describe.place(x_mm, 0, eye, "the centre") == f"3 mm {word} of the centre"


@pytest.mark.parametrize(
    ("settings", "sphere_lines", "cylinder_lines"),
    [
        # The sphere lines read the power along the wheel, the cylinder lines across it.
        (Settings(drum=-2.0, wheel=30), "sharp", "blurred"),
        (Settings(drum=-3.5, wheel=30), "blurred", "sharp"),
        (Settings(drum=-3.5, wheel=120), "sharp", "blurred"),
        (Settings(drum=-2.2, wheel=30), "soft", "blurred"),
        # Light that spreads into a round patch leaves no stairs, wherever the wheel stands.
        (Settings(drum=-2.75, wheel=75), "blurred", "blurred"),
        (Settings(drum=-2.0, wheel=36), "soft and broken", "blurred and broken"),
        (Settings(drum=-2.0, wheel=60), "blurred and broken", "blurred and broken"),
    ],
)
def test_the_lines_are_described_as_they_look(settings, sphere_lines, cylinder_lines):
    words = describe.eyepiece(settings, OverStop(LENS, Prism.none()))
    assert f"the sphere lines are {sphere_lines}, the cylinder lines are {cylinder_lines}," in words


def test_the_lines_are_described_as_rays_over_the_stop_spread():
    places = np.linspace(-1, 1, 61)
    stop = np.array([(x, y) for x in places for y in places if x * x + y * y <= 1])
    told = set()
    for drum, wheel in product(np.arange(-4.0, -1.4, 0.25), (30, 36, 45, 75, 100, 120, 150)):
        settings, met = Settings(drum=drum, wheel=wheel), OverStop(LENS, Prism.none())
        for turned, lines in ((0, "sphere"), (90, "cylinder")):
            turn = np.deg2rad(wheel + turned)
            rays = (
                stop @ residual(settings, met) @ [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
            )
            across, along = rays.T
            half_width = 2 * np.std(across)  # of an ellipse filled evenly
            askew = 2 * abs(np.mean(across * along)) / max(np.std(along), 1e-6)
            if (
                min(
                    abs(half_width - describe.SHARP),
                    abs(half_width - describe.SOFT),
                    abs(askew - describe.SHARP),
                )
                < 0.01
            ):
                continue  # either word will do
            words = (
                "sharp"
                if half_width < describe.SHARP
                else "soft"
                if half_width < describe.SOFT
                else "blurred"
            )
            words += " and broken" if askew > describe.SHARP else ""
            assert describe.line_set(settings, met, lines) == words
            told.add(words)
    assert told == {"sharp", "soft", "blurred", "soft and broken", "blurred and broken"}


def test_an_eyepiece_out_of_focus_and_a_crossing_out_of_sight_are_said():
    met = OverStop(LENS, Prism.from_base(7.0, "up", "R"))
    words = describe.eyepiece(Settings(drum=-2.0, wheel=30, eyepiece=4.0), met)
    assert "the crossing is above the centre, beyond the last ring" in words
    assert words.endswith("and the reticle itself is blurred.")


def test_a_compensator_brings_the_crossing_back():
    met = OverStop(LENS, Prism.from_base(3.0, "up", "R"))
    assert "at the centre" in describe.eyepiece(Settings(drum=-2.0, wheel=30, compensator_y=3.0), met)
