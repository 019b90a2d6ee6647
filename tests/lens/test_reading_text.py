"""Whatever is typed is read or refused in a sentence, and soon."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from beside import Beside
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.instrument.focimeter import Settings
from optics.lens.angles import checked_axis
from optics.lens.lens import SingleVision
from optics.lens.numbers import finite, length_mm, power_of
from optics.lens.parsing import parse, parse_axis, parse_crossed, parse_pair, parse_prism
from optics.lens.power import Power
from optics.lens.prescription import Prescription, checked_prism
from optics.lens.prism import Prism
from optics.lens.tilt import Tilted
from optics.pair.frame import Frame
from optics.pair.records import LensRecord

READERS = {
    "parse": parse,
    "parse_pair": parse_pair,
    "parse_crossed": parse_crossed,
    "parse_prism": parse_prism,
    "parse_axis": parse_axis,
    "power_of": power_of,
    "length_mm": length_mm,
    "frame": lambda text: Frame.marked(text, lens_height_mm=40),
}
# What each is written for.
ORDINARY = {
    "parse": "+2.50 -1.50 x 170",
    "parse_pair": "R +2.50 -1.50 x 170; L +1.00 DS",
    "parse_crossed": "+2.50 x 170 / +1.00 x 080",
    "parse_prism": "2.00 base in",
    "parse_axis": "170",
    "power_of": "+2.50",
    "length_mm": "31.5 mm",
    "frame": "54-18",
}
PIECES = (
    *(
        "1",
        "0",
        "1.",
        ".1",
        "1,",
        "base ",
        "base",
        "prism 1 ",
        "prism 0 ",
        "no prism ",
        "1 base up ",
        "Δ",
        "δ",
    ),
    *(
        " ",
        "\n",
        "\t",
        ";",
        "/",
        "x",
        "x 1 ",
        "@",
        "+",
        "-",
        "−",
        "＋",
        "- 1",
        "add ",
        "add 1 ",
        "pl",
        "d",
        "ds ",
    ),
    *(
        "°",
        "deg",
        "along ",
        "R ",
        "and ",
        "\0",
        "\ud800",
        "٣",
        "²",
        "İ",
        "mm",
        "cm",
        "54-",
        "+1.00 -0.50 x 090 ",
    ),
)
LONG = 10_000
# A long text takes no longer than so many letters written as ordinary lines; one that no line can be is hardly looked
# at. The room left for the short is for what is measured in millionths of a second, and for a sentence with a hint.
FITS, SHORT_MOST, LONG_MOST = 201, 8, 0.2


def outcome(reader, text: object) -> str:
    """Read, or the refusal; anything else that is raised fails the test."""
    try:
        return repr(reader(text))
    except OpticsError as refused:
        str(refused).encode()
        assert len(str(refused)) < 600
        return str(refused)


@pytest.mark.parametrize("name", READERS)
def test_no_text_takes_as_long_as_so_many_letters_of_ordinary_lines(name: str) -> None:
    """Pieces that patterns stumble over, each repeated, at every length up to 10,000."""
    reader, line = READERS[name], ORDINARY[name]
    ordinary = Beside(lambda: [outcome(reader, line) for _ in range(10)])
    for piece in PIECES:
        for length in (95, 100, 199, 1_999, LONG):
            most = (SHORT_MOST if length <= FITS else LONG_MOST) * length / (10 * len(line))
            for before, after in (("", ""), ("+1.00 ", "!"), ("", " base"), ("prism ", " x")):
                middle = length - len(before) - len(after)
                text = before + (piece * length)[:middle] + after
                assert ordinary.times(lambda: outcome(reader, text), most) <= most, (piece, length)  # noqa: B023


@pytest.mark.parametrize("name", READERS)
def test_spaces_round_a_short_text_cost_time_in_proportion(name: str) -> None:
    """Nothing else may be long: spaces at the ends are no part of the line."""
    small, large = (" " * size + "?" + "\n" * size for size in (50_000, 500_000))
    fewer = Beside(lambda: outcome(READERS[name], small))
    assert fewer.times(lambda: outcome(READERS[name], large), 30) <= 30


@given(st.text(st.sampled_from("0123456789.,+-−x@/ ;\nbasepridluoRLΔ°\ud800"), max_size=220) | st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    for reader in READERS.values():
        outcome(reader, text)


@given(st.lists(st.sampled_from(PIECES), max_size=30).map("".join))
def test_any_row_of_pieces_is_read_or_refused_and_what_is_read_is_written_alike(text: str) -> None:
    for reader in READERS.values():
        outcome(reader, text)
    try:
        line = parse(text)
    except OpticsError:
        return
    assert parse(str(line)) == line


NO_NUMBERS = (
    True,
    False,
    None,
    "1",
    float("nan"),
    float("inf"),
    -float("inf"),
    10**400,
    -(10**5000),
    [1],
    1j,
)


@pytest.mark.parametrize("value", NO_NUMBERS, ids=lambda value: type(value).__name__)
def test_what_is_no_number_ends_in_a_sentence(value: object) -> None:
    assert finite(value) is None
    for make in (
        lambda: Prescription(sphere=value),
        lambda: Prescription(sphere=1.0, cylinder=value, axis=90),
        lambda: Prescription(sphere=1.0, add=value if value is not None else True),
        lambda: checked_axis(value),
        lambda: checked_prism(value, "up"),
        lambda: checked_prism(1.0, value if value != "1" else True),
        lambda: LensRecord(line=parse("plano"), pd_mm=value if value is not None else True),
        lambda: length_mm(value if value != "1" else True),
        lambda: Frame(lens_width_mm=value, lens_height_mm=40, bridge_mm=18),
        lambda: Settings(drum=value),
        lambda: Settings(eyepiece=value),
        lambda: Settings(wheel=value),
        lambda: Settings(compensator_x=value),
        lambda: Settings(zero_error=value),
    ):
        with pytest.raises(OpticsError) as refused:
            make()
        assert len(str(refused.value)) < 300


@pytest.mark.parametrize("value", [2, 2.0, np.float64(2), np.int32(2), Fraction(2)])
def test_every_real_number_is_one(value: object) -> None:
    assert finite(value) == 2.0 and Prescription(sphere=value).sphere == 2.0 and length_mm(value) == 2.0


@pytest.mark.parametrize("controls", [{"drum": 26}, {"eyepiece": -5.1}, {"wheel": 0}, {"wheel": 181}])
def test_a_control_past_its_end_is_refused(controls: dict) -> None:
    with pytest.raises(OpticsError, match="runs from"):
        Settings(**controls)


@pytest.mark.parametrize("side", ["Back", "FRONT", "", None, "both", 1])
def test_a_misspelt_side_is_never_the_other_side(side: object) -> None:
    thin = SingleVision(power=Power.from_sphere_cylinder(-2.0, -1.0, 30))
    for lens in (thin, Tilted(lens=thin, tilt_degrees=10)):
        with pytest.raises(OpticsError, match="back or front"):
            lens.over_stop(0, 0, side)


@pytest.mark.parametrize("form", ["Plus", "MINUS", "", None])
def test_a_misspelt_form_is_never_the_other_form(form: object) -> None:
    line = parse("+1.00 -0.50 x 090")
    for turn in (line.power.sphere_cylinder, line.to_crossed().to_prescription):
        with pytest.raises(OpticsError, match="minus or plus"):
            turn(form)


@pytest.mark.parametrize("made", [lambda array: Power(array), lambda array: Prism(array[:2])])
def test_what_happens_to_an_array_afterwards_changes_nothing(made) -> None:
    array = np.array([1.0, 2.0, 3.0])
    kept = made(array)
    array[:] = 9.0
    assert (kept.vector[:2] == [1.0, 2.0]).all()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("-2.25D", "-2.25 DS"),
        ("-2.25 D -0.75 D x 15", "-2.25 -0.75 x 015"),
        ("-2.25 sphere", "-2.25 DS"),
        ("plano sphere", "plano"),
        ("-2.25DS-0.75DCx15", "-2.25 -0.75 x 015"),
        ("+1.00 -0.50 x 70 degrees", "+1.00 -0.50 x 070"),
        ("+1.00 DS prism 2.00 base 70 degrees", "+1.00 DS prism 2.00 base 070 deg"),
        ("‐2.25 ‑0.75 x 15", "-2.25 -0.75 x 015"),
        ("–2.25 —0.75 x 15", "-2.25 -0.75 x 015"),
        ("＋2.25 DS", "+2.25 DS"),
        # What a copied text brings along unseen, and signs that stand in for a degree.
        ("\ufeff-2.25 DS \u200f\n", "-2.25 DS"),
        ("\u200e-2.25\u200b", "-2.25 DS"),
        ("+1.00 -0.50 × 70º", "+1.00 -0.50 x 070"),
        ("+1.00 -0.50 × 70˚", "+1.00 -0.50 x 070"),
        ("+2.25 DS add 2.00", "+2.25 DS add +2.00"),
        ("+2.25 DS no prism", "+2.25 DS no prism"),
        ("+2.25 DS prism none", "+2.25 DS no prism"),
        ("+2.25 DS prism nil", "+2.25 DS no prism"),
        ("+2.25 DS prism 0", "+2.25 DS no prism"),
        ("+2.25 DS prism 0.00 add +1.00", "+2.25 DS add +1.00 no prism"),
    ],
)
def test_the_trades_spellings(text: str, line: str) -> None:
    assert str(parse(text)) == line
    assert parse(line) == parse(text)


@pytest.mark.parametrize(
    "text",
    [
        "nan", "inf", "1e3", "+1e1 DS", "-2.25 -0.75 x 1e1", "٣", "+٣.00 DS", "+1.00 DS prism 0 base up",
        "+1.00 DS prism 2.00 base up no prism", "+1.00 -0.50 x 90002.00 base in", "+1.00 DS prism",
        "+1.00 DS add", "+1.00 DS add +2.00 add +2.50", "+1.00 DS 5", "+1.00.00 DS", "+1.00 DS prism 0.5",
        "-2.25 -0.75 x 01 base up5", "-2.25 -0.75 x 0 add +2.00 15", "-2.25 -0.75 x 1 no prism 5", "1 base up00",
        "-2.25 -0.75 x 0159", "-2.295 -0.75 x 015", "+2.001", "+1.00 DS add +2.009", "-2.25 prism 1 base up -0.75 x 90",
        "+1.00 DS prisms 2.00 base up", "+1.00 -0.50 x 9 0", "-2\u200f.25", "\u202e52.2-", "-2½", "２.２５", "-2·25",
    ],
)  # fmt: skip
def test_nothing_is_guessed(text: str) -> None:
    with pytest.raises(OpticsError):
        parse(text)


@pytest.mark.parametrize(
    ("reader", "text", "own"),
    [
        (power_of, "-3,25", '"-3.25"'),
        (power_of, "3.25", '"+3.25" or "-3.25"'),
        (power_of, "- 3.25", '"-3.25"'),
        (parse, "-3,25 DS", '"-3.25 DS"'),
        (parse, "- 3.25 DS", '"-3.25"'),
        (parse, "3.25 DS", "+3.25 or -3.25"),
        (parse, "-3.25 -0.50 x 0", '"-3.25 -0.50 x 180"'),
        (parse, "-3.25 -0.50 x", '"-3.25 -0.50 x 090"'),
        (parse, "-3.25 -0.50", "-0.50 x 090"),
        (length_mm, "31,25 mm", "31.25"),
        (length_mm, "3.35 cm", "33.5"),
    ],
)
def test_a_refusal_repeats_the_learners_own_number(reader, text: str, own: str) -> None:
    with pytest.raises(OpticsError) as refused:
        reader(text)
    assert own in refused.value.suggestion


@pytest.mark.parametrize(
    "text", ["nan", "inf", "-62", "+62", "1e3", "1e1", "0", "101", "6 2", "62mmmm", "", "62 5", "٦٢"]
)
def test_no_length(text: str) -> None:
    with pytest.raises(OpticsError):
        length_mm(text)


@pytest.mark.parametrize("typed", ["31.5mm R", "R 31.5 mm", "31.5 L"])
def test_a_length_with_its_eye_beside_it_is_repeated_alone(typed):
    with pytest.raises(OpticsError, match=r"Write 31\.5 alone\."):
        length_mm(typed)
    with pytest.raises(OpticsError, match=r"Write it like 31\.5\."):
        length_mm(typed.replace("31.5", "-31.5"))
