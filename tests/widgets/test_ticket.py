"""The ticket: what is typed is kept, read field by field, shown as a cross, and printed.

Signs always written, three-digit axes, DS and plano: common practice (from memory).
Signs of sphere and cylinder, PD, heights, prism and base as essential parts of an order
form: US Navy, Hospital Corpsman manual NAVEDTRA 14295, p. 12-23 (read).
"""

import re

import pytest
from matplotlib.text import Text

from optics.drawing.job_ticket import CAUTION, LONGEST_REMARK, SHOP, job_ticket
from optics.errors import OpticsError
from optics.marking.read import SHOP_FIELDS, read_answer
from optics.specimens.briefs import brief_for
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import make
from optics.widgets.ticket.fields import FIELDS, read_fields
from optics.widgets.ticket.ticket import Ticket

WHOLE = {
    "sphere_right": "-2.25",
    "cylinder_right": "-0.75",
    "axis_right": "15",
    "add_right": "+2.00",
    "prism_right": "2.00 base in and 1.00 base up",
    "pd_right": "31.5",
    "height_right": "18",
    "sphere_left": "plano",
    "add_left": "+2.00",
    "pd_left": "32",
    "height_left": "17.5",
    "style": "bifocal",
    "remarks": "frame trued",
}


def line(sphere="", cylinder="", axis=""):
    return read_fields({"sphere_left": sphere, "cylinder_left": cylinder, "axis_left": axis})


# --- reading ----------------------------------------------------------------------------------


def test_fields_stand_in_the_order_a_shop_writes_them():
    right = ["sphere", "cylinder", "axis", "add", "prism", "pd", "height"]
    assert FIELDS == (
        *(f"{w}_right" for w in right),
        *(f"{w}_left" for w in right),
        "style",
        *SHOP_FIELDS,
        "remarks",
    )


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        (("-2.25", "-0.75", "15"), "-2.25 -0.75 x 015"),
        (("+1.00", "+1.50", "080"), "+1.00 +1.50 x 080"),
        (("−2.25", "−0.75", "180"), "-2.25 -0.75 x 180"),
        (("+1.50",), "+1.50 DS"),
        (("+1.50", "DS"), "+1.50 DS"),
        (("+1.50 DS",), "+1.50 DS"),
        (("-1.00", "0.00"), "-1.00 DS"),
        (("plano",), "plano"),
        (("0.00", "-1.25", "90"), "pl -1.25 x 090"),
        ((" pl ", " +0.50 ", " 45 "), "pl +0.50 x 045"),
        (("-1.12", "-0.37", "1"), "-1.12 -0.37 x 001"),
    ],
)
def test_what_can_be_read(typed, written):
    read = line(*typed)
    assert read.written("L") == written and not read.faults


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        (("2.25",), "sphere", 'The sphere in "2.25" has no sign.'),
        (("-2,25",), "sphere", '"-2,25" has a decimal comma.'),
        (("-225",), "sphere", "Did you mean -2.25?"),
        (("minus two",), "sphere", 'The sphere is "minus two".'),
        (("-2.25 -0.75 x 15",), "sphere", "is a whole line"),
        (("", "-0.75", "15"), "sphere", "Write pl if it is zero."),
        (("-1.00", "0.75", "15"), "cylinder", 'The cylinder in "0.75" has no sign.'),
        (("-1.00", "-0,75", "15"), "cylinder", 'Write "-0.75".'),
        (("-1.00", "x", "15"), "cylinder", 'The cylinder is "x".'),
        (("-1.00", "-25", "15"), "cylinder", "The cylinder is -25 D."),
        (("-1.00", "0.00", "15"), "cylinder", "A lens without cylinder has no axis."),
        (("-1.00", "", "15"), "cylinder", "There is an axis, 15, but no cylinder."),
        (("-1.00", "-0.75", ""), "axis", "The cylinder -0.75 has no axis."),
        (("-1.00", "-0.75", "190"), "axis", "Did you mean 010?"),
        (("-1.00", "-0.75", "0"), "axis", "The horizontal axis is written 180."),
        (("-1.00", "-0.75", "-15"), "axis", "An axis has no sign"),
        (("-1.00", "-0.75", "12.5"), "axis", "nearest whole degree"),
        (("-1.00", "-0.75", "flat"), "axis", 'The axis is "flat".'),
    ],
)
def test_a_fault_stands_beside_its_field_and_loses_nothing(typed, field, sentence):
    read = line(*typed)
    (name,) = read.faults
    assert name == f"{field}_left" and sentence in read.faults[name]
    # Nobody typed the plano that the reader was given for company.
    assert '"pl' not in read.faults[name]
    assert read.written("L") == "" and read.lens("L") is None
    ticket = Ticket({"sphere_left": typed[0], "pd_left": "31.5", "sphere_right": "+1.00"})
    assert ticket.typed["sphere_left"] == typed[0]
    assert ticket.read.pair.left.pd_mm == 31.5 and ticket.read.written("R") == "+1.00 DS"


@pytest.mark.parametrize(
    ("field", "text", "sentence"),
    [
        ("add_left", "-2.00", "An addition is above 0"),
        ("prism_left", "2 base", "not whole"),
        ("prism_left", "2.00 base inwards", 'The base is "inwards".'),
        ("pd_left", "3.2 cm", "3.2 cm are 32"),
        ("height_left", "180", "It lies between 0 and 100 mm."),
        ("style", "thing", 'The lens style is "thing".'),
    ],
)
def test_the_other_fields_have_their_sentences(field, text, sentence):
    read = read_fields({"sphere_left": "+1.00", field: text})
    assert sentence in read.faults[field] and read.written("L") == "+1.00 DS"


def test_an_empty_ticket_has_no_fault():
    assert not read_fields({}).faults and not read_fields({name: " " for name in FIELDS}).faults


@pytest.mark.parametrize("style", ["single vision", "bifocal", "progressive"])
@pytest.mark.parametrize("form", ["minus", "plus"])
def test_a_right_answer_typed_field_by_field_is_the_right_answer(style, form):
    answer = right_ticket(make(brief_for(style, 3), seed=5), form)
    typed = {name: text for name, text in answer.items() if name not in ("right", "left")}
    for side in ("right", "left"):
        found = re.fullmatch(r"(\S+)(?: (\S+) x (\d+)| DS)?", answer[side])
        for what, part in zip(("sphere", "cylinder", "axis"), found.groups(), strict=True):
            if part:
                typed[f"{what}_{side}"] = part
    read = read_fields(typed)
    expected = read_answer(answer)
    assert not read.faults
    for eye in "RL":
        assert read.pair.of(eye) == expected.of(eye)
    assert read.pair.style == expected.style


# --- the panel ----------------------------------------------------------------------------------


def test_the_ticket_shows_what_was_typed():
    ticket = Ticket(WHOLE, job="C 14")
    assert ticket._lines == {
        "R": "-2.25 -0.75 x 015 add +2.00 prism 2.00 base in prism 1.00 base up",
        "L": "plano add +2.00",
    }
    assert "minus 2.25 along meridian 15 and minus 3.00 along meridian 105" in ticket._crosses["R"]
    ticket.typed = WHOLE | {"axis_right": "195"}
    assert "nothing to draw yet" in ticket._crosses["R"] and ticket._lines["R"] == ""
    assert list(ticket._faults) == ["axis_right"] and ticket.typed["axis_right"] == "195"
    ticket.typed = WHOLE | {"axis_right": "105"}
    assert "minus 2.25 along meridian 105" in ticket._crosses["R"] and not ticket._faults


def test_a_field_that_a_ticket_does_not_have():
    ticket = Ticket()
    with pytest.raises(ValueError, match="no field truth"):
        ticket.typed = {"truth": "-2.00"}


def ask(ticket, **content):
    ticket._handle_custom_msg(content, [])
    return ticket._saved


@pytest.mark.parametrize("name", ["ticket.pdf", "ticket.svg", "ticket.png"])
def test_saving_never_replaces_a_file_silently(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    ticket = Ticket(WHOLE)
    assert ask(ticket, save=name) == f"Saved as {name}, beside this notebook."
    first = (tmp_path / name).read_bytes()
    assert len(first) > 1000
    ticket.typed = WHOLE | {"sphere_left": "+1.00"}
    assert "There is already a file" in ask(ticket, save=name)
    assert (tmp_path / name).read_bytes() == first
    assert ask(ticket, save=name, replace=True).startswith("Saved")
    assert (tmp_path / name).read_bytes() != first


def test_half_a_ticket_is_not_handed_on(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ticket = Ticket(WHOLE | {"axis_right": "195", "pd_left": "31,5"})
    assert ask(ticket, save="ticket.pdf").startswith("2 fields cannot be read yet.")
    assert not list(tmp_path.iterdir())
    assert "ends in" in ask(Ticket(WHOLE), save="ticket.doc")
    assert 'The file name "" has no ending' in ask(Ticket(WHOLE), save="")


# --- the print -----------------------------------------------------------------------------------


def shown(diagram):
    return [text.get_text() for text in diagram.figure.findobj(Text) if text.get_text()]


def test_the_print_holds_what_was_typed_and_the_caution():
    diagram = Ticket(WHOLE, job="C 14").diagram()
    texts = shown(diagram)
    for part in (SHOP, "job  C 14", "−2.25", "−0.75", "015", "+2.00", "2.00 base in; 1.00 base up", "plano"):
        assert part in texts
    for part in ("31.5", "32", "63.5", "18", "17.5", "style   bifocal", "frame trued"):
        assert part in texts
    assert CAUTION in " ".join(" ".join(texts).split())
    assert diagram.alt.startswith(
        f"Job ticket C 14 of {SHOP}. Right: sphere minus 2.25, cylinder minus 0.75, axis 15;"
    )
    assert "prism 2.00 base in" in diagram.alt and diagram.alt.endswith(CAUTION)


def test_what_was_not_written_is_left_to_be_written():
    blank = job_ticket()
    assert sum(text.startswith("____") for text in shown(blank)) >= 14
    assert "the power is left open" in blank.alt
    # A lens that is written says that it has no cylinder; whether it has prism it does not say.
    texts = shown(job_ticket("+1.00 DS"))
    assert texts.count("–") == 2 and "+1.00 DS" in texts


def test_no_prism_stands_on_a_job_ticket_where_it_was_found():
    ticket = job_ticket("+1.00 DS no prism", "+1.00 DS")
    assert shown(ticket).count("no prism") == 1 and ticket.alt.count("no prism") == 1


@pytest.mark.parametrize(
    ("right", "left", "sentence"),
    [
        ("L +1.00 DS", None, "The line for R says L."),
        ("1.00 DS", None, "no sign"),
        (None, "R plano", "for L says R"),
    ],
)
def test_a_line_on_the_wrong_side_is_told(right, left, sentence):
    with pytest.raises(OpticsError, match=sentence):
        job_ticket(right, left)


def test_long_remarks_fit_or_are_told():
    remark = ("scratched " * 24)[:LONGEST_REMARK]
    figure = job_ticket(remarks=remark).figure
    figure.canvas.draw()
    boxes = {text.get_text(): text.get_window_extent() for text in figure.texts}
    for name, box in boxes.items():
        assert box.x1 <= figure.bbox.x1 and box.x0 >= 0, name
        assert not [n for n, other in boxes.items() if n != name and box.overlaps(other)], name
    with pytest.raises(OpticsError, match="There is room for 240"):
        job_ticket(remarks=remark + "!")


def test_the_print_is_large_enough_to_read():
    figure = Ticket(WHOLE).diagram().figure
    assert all(text.get_fontsize() >= 11 for text in figure.texts)
    assert all(line.get_linewidth() >= 1.5 for line in [*figure.lines, *figure.patches[1:]])


def test_the_same_ticket_is_the_same_file(tmp_path):
    one, two = (Ticket(WHOLE).save(tmp_path / f"{k}.pdf").read_bytes() for k in (1, 2))
    assert one == two


@pytest.mark.parametrize("cylinder", ["DS", "sph", "none"])
def test_a_sphere_that_is_told_to_be_one_is_written_with_ds(cylinder):
    read = read_fields({"sphere_right": "+0.75", "cylinder_right": cylinder})
    assert read.answer["right"] == "+0.75 DS" and not read.faults
