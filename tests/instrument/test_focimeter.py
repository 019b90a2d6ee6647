"""The picture in the eyepiece: what must be seen whatever the formula behind it."""

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.instrument.focimeter import (
    CYLINDER_LINES,
    FIELD,
    SPHERE_LINES,
    STOP_RADIUS_MM,
    Settings,
    eyepiece_view,
    residual,
    reticle_view,
    target_view,
)
from optics.instrument.reader import sharpness
from optics.lens.lens import BACK, FRONT, SingleVision
from optics.lens.power import Power
from optics.lens.prism import Prism

ON_THE_BENCH = SingleVision(power=Power.from_sphere_cylinder(-2.25, -1.50, 30))


def met_with(sphere=0.0, cylinder=0.0, axis=180, prism=None):
    power = Power.from_sphere_cylinder(sphere, cylinder, axis)
    return SingleVision(power=power, prism=prism or Prism.none()).over_stop(0, 0)


def places(size, half_width):
    steps = (np.arange(size) - size / 2 + 0.5) * (2 * half_width / size)
    return steps[None, :], -steps[:, None], 2 * half_width / size


def light_and_middle(picture, half_width):
    x, y, pixel = places(picture.shape[0], half_width)
    light = picture.sum() * pixel**2
    return light, np.array([(picture * x).sum(), (picture * y).sum()]) * pixel**2 / light


def spread_of(picture, half_width):
    """Covariance of the light about the middle of the field."""
    x, y, _ = places(picture.shape[0], half_width)
    total = picture.sum()
    return np.array(
        [[(picture * a * b).sum() / total for b in (x, y)] for a in (x, y)],
    )


# --- light -------------------------------------------------------------------------


@pytest.mark.parametrize("drum", [-2.0, 0.0, 3.5])
def test_blur_moves_light_about_and_loses_none(drum):
    links = [s.dashes * s.dash_length for s in (SPHERE_LINES, CYLINDER_LINES)]
    drawn = sum(
        s.lines * (s.width * linked + s.thread * (s.length - linked))
        for s, linked in zip((SPHERE_LINES, CYLINDER_LINES), links, strict=True)
    )
    picture = target_view(Settings(drum=drum, wheel=30), ON_THE_BENCH.over_stop(0, 0), 200, 9.0)
    assert light_and_middle(picture, 9.0)[0] == pytest.approx(drawn, rel=1e-3)


def test_blur_is_a_round_or_oval_patch_of_the_stop():
    # Second moments, which know nothing of Fourier: a uniform disc of radius a
    # has variance a^2/4, so the spread must grow by a^2/4 times R R^T.
    settings = Settings(drum=-1.0, wheel=65)
    sharp = spread_of(target_view(settings, met_with(-1.0), 240, 9.0), 9.0)
    soft = spread_of(target_view(settings, ON_THE_BENCH.over_stop(0, 0), 240, 9.0), 9.0)
    r = np.array([[-1.25 - 1.5 * 0.25, 1.5 * np.sqrt(3) / 4], [1.5 * np.sqrt(3) / 4, -1.25 - 1.5 * 0.75]])
    assert residual(settings, ON_THE_BENCH.over_stop(0, 0)) == pytest.approx(r)
    assert soft - sharp == pytest.approx((STOP_RADIUS_MM / 10) ** 2 / 4 * r @ r.T, abs=2e-3)


def test_picture_is_the_target_seen_through_every_point_of_the_stop():
    # The definition itself, slowly: one sharp target for each of many points of
    # the stop, shifted by what the lens does there.
    settings, met = Settings(drum=-2.6, wheel=42), ON_THE_BENCH.over_stop(3, -2)
    r = met.power.matrix - settings.drum * np.eye(2)
    rings = np.sqrt((np.arange(24) + 0.5) / 24) * STOP_RADIUS_MM / 10
    turns = np.arange(48) * 2 * np.pi / 48
    points = [(q * np.cos(t), q * np.sin(t)) for q in rings for t in turns]
    x, y, _ = places(72, 3.0)
    c, s = np.cos(np.deg2rad(42)), np.sin(np.deg2rad(42))

    def bars(u, count, spacing, length):
        nearest = np.clip(np.round(u / spacing), -(count // 2), count // 2) * spacing
        return np.abs(u - nearest) <= length / 2

    total = np.zeros((72, 72))
    for point in points:
        shift = r @ point + met.prism.vector
        along, across = (x - shift[0]) * c + (y - shift[1]) * s, (y - shift[1]) * c - (x - shift[0]) * s
        for lines, u, v in ((SPHERE_LINES, across, along), (CYLINDER_LINES, along, across)):
            total += bars(u, lines.dashes, lines.dash_spacing, lines.dash_length) * bars(
                v, lines.lines, lines.spacing, lines.width
            )
    drawn = target_view(settings, met, 72, 3.0)
    assert np.sqrt(np.mean((drawn - total / len(points)) ** 2)) < 0.03
    assert np.corrcoef(drawn.ravel(), total.ravel())[0, 1] > 0.98


# --- drum and wheel --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("drum", "lines"), [(-2.25, "sphere"), (-3.75, "cylinder")], ids=["sphere lines", "cylinder lines"]
)
def test_each_set_is_sharpest_at_its_own_principal_power(drum, lines):
    meridian = 30 if lines == "sphere" else 120
    near = drum + np.array([-0.25, -0.12, 0.0, 0.12, 0.25])
    seen = [
        sharpness(
            target_view(Settings(drum=d, wheel=30), ON_THE_BENCH.over_stop(0, 0), 96, 2.5), meridian, 2.5
        )
        for d in near
    ]
    assert np.argmax(seen) == 2
    assert seen[2] > 1.5 * max(seen[1], seen[3])


def test_off_the_axis_no_drum_makes_the_lines_as_sharp():
    def best(wheel):
        return max(
            sharpness(
                target_view(Settings(drum=d, wheel=wheel), ON_THE_BENCH.over_stop(0, 0), 96, 2.5), wheel, 2.5
            )
            for d in np.arange(-4.0, -1.9, 0.05)
        )

    assert best(30) > 2 * best(40)
    assert best(120) == pytest.approx(best(30), rel=0.05), "ninety degrees out the lines are sharp again"


def test_a_sphere_looks_alike_at_every_wheel_position():
    met = met_with(-2.25)
    seen = np.array(
        [
            sharpness(target_view(Settings(drum=-2.0, wheel=w), met, 96, 2.5), w, 2.5)
            for w in range(5, 181, 25)
        ]
    )
    assert np.ptp(seen) / seen.mean() < 0.02


def test_half_a_turn_of_the_lens_changes_nothing():
    settings = Settings(drum=-2.5, wheel=40)
    turned = SingleVision(power=ON_THE_BENCH.power.rotated(180))
    assert target_view(settings, turned.over_stop(0, 0), 96) == pytest.approx(
        target_view(settings, ON_THE_BENCH.over_stop(0, 0), 96)
    )


# --- prism -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("eye", "base", "expected"),
    [
        ("R", "up", (0, 1.5)),
        ("R", "down", (0, -1.5)),
        ("R", "in", (1.5, 0)),
        ("R", "out", (-1.5, 0)),
        ("L", "in", (-1.5, 0)),
        ("L", "out", (1.5, 0)),
    ],
)
def test_target_moves_towards_the_base_by_the_prism(eye, base, expected):
    met = met_with(-1.0, -0.5, 20, Prism.from_base(1.5, base, eye))
    picture = target_view(Settings(drum=-1.25, wheel=20), met, 160, 8.0)
    assert light_and_middle(picture, 8.0)[1] == pytest.approx(expected, abs=0.01)


def test_compensator_brings_the_target_back():
    met = met_with(-1.0, prism=Prism.from_base(3.0, "up", "R"))
    settings = Settings(drum=-1.0, compensator_y=3.0)
    assert target_view(settings, met, 96) == pytest.approx(
        target_view(Settings(drum=-1.0), met_with(-1.0), 96)
    )


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "expected", "source"),
    [
        (0, -8, (0, -2.4), "PR7: Ophthalmic Lenses p. 47, -3.00 read 8 mm below its centre is 2.4 base down"),
        (5, 0, (1.5, 0), "PR1 scaled: 4.00 over 5 mm is 2.0, so 3.00 is 1.5; minus, away from the centre"),
    ],
)
def test_a_decentred_lens_moves_the_target_as_prentice_says(x_mm, y_mm, expected, source):
    lens = SingleVision(power=Power.from_sphere_cylinder(-3.0))
    picture = target_view(Settings(drum=-3.0), lens.over_stop(x_mm, y_mm), 160, 8.0)
    assert light_and_middle(picture, 8.0)[1] == pytest.approx(expected, abs=0.01), source


# --- which side against the stop ----------------------------------------------------------


def test_a_lens_turned_over_shows_the_mirror_picture():
    faces = ON_THE_BENCH.over_stop(3, -4, BACK)
    over = ON_THE_BENCH.over_stop(3, -4, FRONT)
    seen = eyepiece_view(Settings(drum=-2.5, wheel=30), faces, 128)
    mirrored = eyepiece_view(Settings(drum=-2.5, wheel=150), over, 128)
    assert mirrored == pytest.approx(seen[:, ::-1], abs=1e-3)


# --- eyepiece ----------------------------------------------------------------------------------


def test_reticle_is_sharpest_at_the_operators_own_eyepiece_setting():
    def contrast(eyepiece, drum=0.0):
        return reticle_view(Settings(eyepiece=eyepiece, eye=-1.5, drum=drum), 192).max()

    dial = np.arange(-5.0, 5.1, 0.5)
    assert dial[np.argmax([contrast(d) for d in dial])] == -1.5
    assert contrast(-1.5, drum=6.0) == contrast(-1.5), "the drum does not touch the reticle"


def test_reticle_keeps_its_rings():
    drawn = reticle_view(Settings(), 384)
    x, y, _ = places(384, FIELD)
    radius = np.hypot(x, y)
    assert drawn[np.abs(radius - 3.0) < 0.01].min() > 0.7
    assert drawn[np.abs(radius - 0.5) < 0.2].max() < 0.01, "the middle is free"


def test_nothing_is_seen_outside_the_field_stop():
    picture = eyepiece_view(Settings(), met_with(), 128)
    assert picture[0, 0] == 0 and picture[64, 64] > 0 and picture.max() <= 1


# --- the empty instrument -----------------------------------------------------------------------


def sharpest_drum(met, **instrument):
    drums = np.arange(-0.5, 0.51, 0.01)
    seen = [
        sharpness(target_view(Settings(drum=float(drum), **instrument), met, 96, 2.5), 180, 2.5)
        for drum in drums
    ]
    return float(drums[np.argmax(seen)])


@pytest.mark.parametrize(
    ("instrument", "drum"),
    [({}, 0.0), ({"eyepiece": 2.0}, 0.12), ({"zero_error": 0.25}, 0.25), ({"zero_error": -0.12}, -0.12)],
    ids=["set", "eyepiece not set (FO6)", "zero off", "zero off the other way"],
)
def test_empty_it_is_sharp_at_its_zero(instrument, drum):
    assert sharpest_drum(None, **instrument) == pytest.approx(drum, abs=0.015)


@pytest.mark.parametrize("power", [-5.0, 0.5, 7.0])
def test_a_zero_error_shifts_every_reading_alike(power):
    met = met_with(power)
    true = target_view(Settings(drum=power), met, 96)
    assert target_view(Settings(drum=power + 0.37, zero_error=0.37), met, 96) == pytest.approx(true)


def test_a_sharp_line_of_a_sphere_is_whole_and_one_off_the_axis_is_not():
    """Along the middle sphere line, away from where the others cross it."""

    def along(settings, met):
        picture = target_view(settings, met, 384, 4.0)
        steps = np.linspace(1.4, 3.0, 60)
        turn = np.deg2rad(settings.wheel + 90.0)
        rows = np.round(192 - 0.5 - steps * np.sin(turn) * 48).astype(int)
        return picture[rows, np.round(192 - 0.5 + steps * np.cos(turn) * 48).astype(int)]

    sharp = along(Settings(drum=-2.0, wheel=90), met_with(-2.0))
    gone = along(Settings(drum=-2.0, wheel=120), met_with(-2.0, -0.75, 90))
    assert sharp.min() > 0.4
    assert gone.max() < 0.75 * sharp.max()


# --- settings that cannot be ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"drum": 30.0}, "The drum is at +30 D. It runs from -25 to +25 D. Turn it back into its range."),
        ({"drum": float("nan")}, "The drum is at nan. Every control stands at a number."),
        ({"eyepiece": -7.0}, "The eyepiece is at -7 D. It runs from -5 to +5 D."),
        ({"wheel": 0.0}, "The axis wheel is at 0. It runs from 1 to 180. Did you mean 180?"),
        ({"wheel": 200.0}, "The axis wheel is at 200. It runs from 1 to 180. Did you mean 020?"),
    ],
)
def test_settings_out_of_range_are_told_in_a_sentence(wrong, sentence):
    with pytest.raises(OpticsError) as told:
        Settings(**wrong)
    assert str(told.value).startswith(sentence)


def test_controls_move_one_at_a_time():
    assert Settings(drum=-1.0, wheel=20).turned(drum=+2.0) == Settings(drum=2.0, wheel=20)


@pytest.mark.parametrize("amount", [10.0, 12.0, 20.0, 28.0])
@pytest.mark.parametrize("drum", [-1.0, 4.0])
def test_a_target_moved_out_of_the_field_does_not_come_back_on_the_other_side(amount, drum):
    lens = SingleVision(power=Power.from_sphere_cylinder(-1.0), prism=Prism(np.array([amount, 0.0])))
    seen = target_view(Settings(drum=drum), lens.over_stop(0, 0), 96)
    assert seen[:, :48].max() < 0.02
