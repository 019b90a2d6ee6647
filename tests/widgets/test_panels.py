"""Panels: every field at its ends and in the middle; words from the lens that is drawn; files kept."""

import pytest
from PIL import Image

from optics.drawing.axis_dial import axis_dial
from optics.drawing.oblique_sum import oblique_sum
from optics.drawing.power_cross import power_cross
from optics.drawing.prism_displacement import prism_displacement
from optics.errors import OpticsError
from optics.widgets.panels.panels import (
    CROSS,
    LINE,
    axis_dial_panel,
    oblique_sum_panel,
    power_cross_panel,
    prism_panel,
)

PANELS = {
    "power cross": (power_cross_panel, "line"),
    "axis dial": (axis_dial_panel, "right"),
    "sum": (oblique_sum_panel, "first"),
    "prism": (prism_panel, "prism"),
}


# --- each panel shows what optics.drawing says ----------------------------------------------------


@pytest.mark.parametrize(
    "line", ["-12.00 -4.00 x 001", "plano", "+0.25 DS", "R +2.50 -1.50 x 180", "+8.00 +3.00 x 090"]
)
@pytest.mark.parametrize("mark", ["", "minus", "plus"])
def test_a_written_line_as_a_cross(line, mark):
    panel = power_cross_panel()
    panel.change(line=line, mark=mark)
    assert panel.words.startswith(power_cross(line, axis=mark or None).alt)
    assert panel.diagram is not None and panel.state["line"] == line


@pytest.mark.parametrize(
    ("first", "second", "forms"),
    [
        # Worked examples of the reference tables: the cross read back as a line, both forms.
        ("+2.50 along 170", "+1.00 along 080", "+2.50 -1.50 x 170, or +1.00 +1.50 x 080."),
        ("-3.00 along 105", "-2.25 along 015", "-2.25 -0.75 x 015, or -3.00 +0.75 x 105."),
        ("-2.00 along 180", "-2.00 along 90", "-2.00 DS."),
        ("pl along 180", "-1.00 along 90", "pl -1.00 x 180, or -1.00 +1.00 x 090."),
    ],
)
def test_a_cross_as_a_written_line(first, second, forms):
    panel = power_cross_panel()
    panel.change(given=CROSS, first=first, second=second)
    assert panel.words.endswith(f"Written: {forms}")


def test_only_the_fields_in_use_are_shown():
    panel = power_cross_panel()
    for given, shown in ((CROSS, {"first", "second"}), (LINE, {"line"})):
        panel.change(given=given)
        fields = {name: panel._fields[name] for name in ("line", "first", "second")}
        assert {name for name, field in fields.items() if field.layout.display != "none"} == shown


@pytest.mark.parametrize(
    ("right", "left"), [("001", "180"), ("90", ""), ("", "45"), ("", ""), ("-1.00 -0.50 x 010", "170")]
)
@pytest.mark.parametrize("blank", [False, True])
def test_the_dials(right, left, blank):
    panel = axis_dial_panel()
    panel.change(right=right, left=left, blank=blank)
    expected = (
        axis_dial(right=right or None, left=left or None, blank=blank) if right or left else axis_dial()
    )
    assert panel.words == expected.alt
    if blank and right:
        assert str(int(right.split()[-1])) not in panel.words


@pytest.mark.parametrize("second", ["plano", "pl +2.00 x 045", "-6.00 -2.00 x 090"])
def test_the_sum(second):
    panel = oblique_sum_panel()
    panel.change(second=second)
    assert panel.words == oblique_sum("pl +2.00 x 180", second).alt


@pytest.mark.parametrize(
    "prism", ["0.25 base in", "2.00 base out and 3.00 base down", "L 1.00 base up", "9.50 base 135"]
)
@pytest.mark.parametrize("eye", ["R", "L"])
@pytest.mark.parametrize("blank", [False, True])
def test_the_prism(prism, eye, blank):
    panel = prism_panel()
    for resolve in (False, True):
        panel.change(prism=prism, eye=eye, resolve=resolve, blank=blank)
        assert panel.words == prism_displacement(prism, eye, resolve=resolve, blank=blank).alt
    side = "left" if prism.startswith("L") or eye == "L" else "right"
    assert f"{side} lens" in panel.words


# --- text that cannot be read -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "values", "sentence"),
    [
        (power_cross_panel, {"line": "2.25 DS"}, "has no sign"),
        (power_cross_panel, {"line": "-1.00 -0.50 x 190"}, "Did you mean 010?"),
        (power_cross_panel, {"line": " "}, "The line is empty."),
        (power_cross_panel, {"given": CROSS, "second": "-1.00 along 100"}, "at right angles"),
        (power_cross_panel, {"given": CROSS, "first": ""}, "The power is empty."),
        (axis_dial_panel, {"right": "0"}, "1 to 180"),
        (axis_dial_panel, {"left": "+1.00 DS"}, "has no cylinder"),
        (oblique_sum_panel, {"second": "1,00"}, "decimal comma"),
        (oblique_sum_panel, {"first": ""}, "The first lens is empty."),
        (prism_panel, {"prism": "2.00"}, "sign"),
        (prism_panel, {"prism": "+1.00 DS"}, "There is no prism"),
        (prism_panel, {"prism": ""}, "The prism is empty."),
    ],
)
def test_bad_input_is_a_sentence_and_takes_the_picture_away(make, values, sentence, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel = make()
    before = panel.state
    panel.change(**values)
    assert sentence in panel.words and panel.diagram is None
    assert "<img" not in panel._picture.value and "Traceback" not in panel._picture.value
    assert panel.state == before | values  # what was typed stays
    with pytest.raises(OpticsError, match="Nothing is drawn yet"):
        panel.save("picture.svg")
    panel._save.click()
    assert "Nothing is drawn yet" in panel._saved.value and not list(tmp_path.iterdir())
    panel.change(**{name: before[name] for name in values})
    assert panel.diagram is not None and "<img" in panel._picture.value


def test_a_field_the_panel_does_not_have():
    with pytest.raises(ValueError, match="no field sphere"):
        power_cross_panel().change(sphere="-2.00")


# --- one fixed picture, its words, its files ---------------------------------------------------------


@pytest.mark.parametrize("name", PANELS)
def test_it_redraws_into_one_fixed_widget(name):
    make, field = PANELS[name]
    panel = make()
    children, picture = panel.children, panel._picture
    first = picture.value
    panel.change(**{field: {"prism": "1.00 base out", "right": "123"}.get(field, "-3.00 -1.25 x 070")})
    assert panel.children == children and panel._picture is picture and picture.value != first
    assert picture.value.count("<img") == 1 and 'alt=""' not in picture.value


@pytest.mark.parametrize("name", PANELS)
def test_every_field_has_a_name_and_the_words_stand_as_text(name):
    make, _ = PANELS[name]
    panel = make()
    assert all(control.description for control in panel._fields.values())
    assert panel._name.description and panel._replace.description and panel._save.description
    said = panel._picture.value.split("</p>")[0].split(">")[-1]
    assert said[:20] == panel.words[:20]


def test_what_was_typed_cannot_write_into_the_page():
    panel = power_cross_panel()
    panel.change(line="<img src=x onerror=alert(1)>")
    assert "<img src=x" not in panel._picture.value and "&lt;img" in panel._picture.value


@pytest.mark.parametrize("name", PANELS)
@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_it_saves_and_never_replaces_silently(name, ending, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    make, field = PANELS[name]
    panel = make()
    assert panel._name.value.endswith(".svg")
    panel._name.value = f"mine.{ending}"
    panel._save.click()
    assert "Saved as mine" in panel._saved.value
    kept = (tmp_path / f"mine.{ending}").read_bytes()
    if ending == "png":
        Image.open(tmp_path / "mine.png").verify()
    panel.change(**{field: {"prism": "1.00 base out", "right": "123"}.get(field, "-3.00 -1.25 x 070")})
    assert panel._saved.value == ""  # what was said of the last picture is gone
    panel._save.click()
    assert "There is already a file" in panel._saved.value
    assert (tmp_path / f"mine.{ending}").read_bytes() == kept
    panel._replace.value = True
    panel._save.click()
    assert "Saved as mine" in panel._saved.value and (tmp_path / f"mine.{ending}").read_bytes() != kept
    panel._name.value = "mine.gif"
    panel._save.click()
    assert "It must end in .png, .svg or .pdf" in panel._saved.value
