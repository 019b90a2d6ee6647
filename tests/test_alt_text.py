"""A diagram carries its words wherever it goes: notebook, PNG, SVG and PDF."""

import re
from html.parser import HTMLParser

import pytest
from matplotlib.figure import Figure

from optics.drawing import Diagram
from optics.errors import OpticsError

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
