"""The bench as Python drives it: every control at both ends and in the middle."""

import numpy as np
import pytest

from optics import checks
from optics.errors import OpticsError
from optics.instrument.focimeter import COMPENSATOR_MOST, DRUM_RANGE, EYEPIECE_RANGE, Settings, eyepiece_view
from optics.instrument.trace import TRACE_MIME, trace_from
from optics.lens.lens import SingleVision
from optics.lens.power import Power
from optics.lens.prism import Prism
from optics.pair.spectacles import Mounted, Spectacles
from optics.widgets.focimeter.bench import STAGE_FAR_MM, STAGE_HEIGHT_MM, STAGE_NEAR_MM, Bench, measured_dots

RIGHT = SingleVision(power=Power.from_sphere_cylinder(-3.00))
LEFT = SingleVision(power=Power.from_sphere_cylinder(+1.50, -1.25, 100))
PAIR = Spectacles(right=Mounted(lens=RIGHT, pd_mm=31.0, height_mm=2.0), left=Mounted(lens=LEFT, pd_mm=32.5))


@pytest.fixture
def bench():
    return Bench(PAIR, seed=7)


def sent(bench):
    """Power matrix and prism as the browser gets them."""
    power, prism = bench._met["power"], bench._met["prism"]
    return np.array([[power["xx"], power["xy"]], [power["xy"], power["yy"]]]), np.array(
        [prism["x"], prism["y"]]
    )


# --- every control ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("control", "values"),
    [
        ("lens", ("R", "L")),
        ("drum", (*DRUM_RANGE, 0.0, -2.12)),
        ("wheel", (1, 90, 180)),
        ("eyepiece", (*EYEPIECE_RANGE, 0.0)),
        ("stage_x_mm", (-STAGE_FAR_MM, -STAGE_NEAR_MM, -31.0)),
        ("stage_y_mm", (-STAGE_HEIGHT_MM, 0.0, STAGE_HEIGHT_MM)),
        ("against", ("front", "back")),
        ("compensator", (0.0, 2.5, COMPENSATOR_MOST)),
        ("compensator_base", (0.0, 135.0, 360.0)),
    ],
)
def test_every_control_at_both_ends_and_the_middle(bench, control, values):
    for value in values:
        setattr(bench, control, value)
        assert getattr(bench, control) == value
        if control in ("drum", "wheel", "eyepiece"):
            assert getattr(bench.settings, control) == value
        matrix, prism = sent(bench)
        assert matrix == pytest.approx(bench.met.power.matrix)
        assert prism == pytest.approx(bench.met.prism.vector)
        assert bench._met["over"] == [bench.lens, bench.stage_x_mm, bench.stage_y_mm, bench.against]
        assert np.isfinite(eyepiece_view(bench.settings, bench.met, 32)).all()


@pytest.mark.parametrize(
    ("control", "value", "sentence"),
    [
        ("drum", 26.0, "The drum is at +26 D. It runs from -25 to +25 D."),
        ("wheel", 0.0, "The axis wheel is at 0. It runs from 1 to 180. Did you mean 180?"),
        ("eyepiece", -6.0, "The eyepiece is at -6 D. It runs from -5 to +5 D."),
        ("compensator", 16.0, "The prism compensator would be at 16 prism dioptres. It can be at 0 to 15."),
        ("compensator", -1.0, "The prism compensator would be at -1 prism dioptres."),
        ("compensator_base", 361.0, "The base of the prism compensator would be at 361 degrees."),
        ("stage_x_mm", -56.0, "The stop under the right lens would be at -56 mm from the bridge."),
        ("stage_x_mm", 31.0, "The stop under the right lens would be at 31 mm from the bridge."),
        ("stage_y_mm", float("nan"), "The stop would be at nan mm from the datum line."),
        ("stage_y_mm", 20.5, "The stop would be at 20.5 mm from the datum line. It can be at -20 to 20."),
    ],
)
def test_a_control_beyond_its_end_is_told_and_stays(bench, control, value, sentence):
    before = getattr(bench, control)
    with pytest.raises(OpticsError) as told:
        setattr(bench, control, value)
    assert str(told.value).startswith(sentence)
    assert getattr(bench, control) == before


def test_an_eye_that_is_neither_right_nor_left():
    with pytest.raises(OpticsError, match="R or L"):
        Bench(PAIR, eye="B")


# --- how a fresh bench is left ------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_a_fresh_bench_is_out_of_focus_and_off_centre(seed):
    bench = Bench(PAIR, seed=seed)
    assert 1.25 <= abs(bench.settings.eyepiece_error * 16) <= 2.75
    for eye, centre in (("R", (-31.0, 2.0)), ("L", (32.5, 0.0))):
        bench.lens = eye
        off = np.array([bench.stage_x_mm, bench.stage_y_mm]) - centre
        assert np.all(np.abs(off) >= 0.75) and np.all(np.abs(off) <= [4.25, 3.25])


def test_the_same_seed_is_the_same_bench_and_another_is_not():
    one, same, other = Bench(PAIR, seed=3), Bench(PAIR, seed=3), Bench(PAIR, seed=5)
    found = [(each.settings, each.stage_x_mm, each.stage_y_mm) for each in (one, same, other)]
    assert found[0] == found[1] != found[2]
    assert {np.sign(Bench(PAIR, seed=s)._eye_setting) for s in range(12)} == {-1.0, 1.0}


def test_an_eyepiece_set_already_when_asked():
    assert Bench(PAIR, eye_setting=0).settings.eyepiece_error == 0


# --- the lens over the stop -----------------------------------------------------------------


def test_each_lens_keeps_its_place_while_the_other_is_read(bench):
    bench.stage_x_mm, bench.stage_y_mm = -30.0, 1.5
    bench.lens = "L"
    assert bench.stage_x_mm > 0
    bench.stage_x_mm = 33.0
    bench.lens = "R"
    assert (bench.stage_x_mm, bench.stage_y_mm) == (-30.0, 1.5)
    bench.lens = "L"
    assert bench.stage_x_mm == 33.0


def test_a_locked_stage_keeps_its_height_while_the_other_lens_is_slid_over(bench):
    bench.lens = "L"
    left_y, left_x = bench.stage_y_mm, bench.stage_x_mm
    bench.lens = "R"
    bench.stage_y_mm = -7.5
    bench.height_locked = True
    bench.lens = "L"
    assert (bench.stage_x_mm, bench.stage_y_mm) == (left_x, -7.5)
    assert left_y != -7.5


def test_a_part_that_no_bench_has_is_told():
    with pytest.raises(OpticsError, match='no part "mirror"'):
        Bench(PAIR, parts=("wheel", "mirror"))


def test_prism_over_the_stop_follows_prentice(bench):
    # PR7: -3.00 read 8 mm below its centre is 2.4 base down (Ophthalmic Lenses p. 47).
    bench.stage_x_mm, bench.stage_y_mm = -31.0, 2.0 - 8.0
    assert sent(bench)[1] == pytest.approx([0.0, -2.4])


def test_front_against_the_stop_mirrors_the_axis():
    bench = Bench(PAIR, eye="L")
    back = bench.met.power.sphere_cylinder()
    bench.against = "front"
    assert bench.met.power.sphere_cylinder() == pytest.approx((back[0], back[1], 180 - back[2]))
    assert sent(bench)[0][0, 1] == pytest.approx(0.625 * np.sin(np.deg2rad(2 * 80)))


def test_a_place_without_a_reading_is_told_and_the_picture_stays(bench):
    class Edged:
        def over_stop(self, x_mm, y_mm, against="back"):
            if x_mm > 5:
                raise OpticsError(
                    "The stop is off the lens.", "Keep it inside the rim.", "Move the pair back."
                )
            return RIGHT.over_stop(x_mm, y_mm, against)

    pair = Spectacles(right=Mounted(lens=Edged(), pd_mm=31.0), left=Mounted(lens=LEFT))
    bench = Bench(pair)
    before = bench._met["power"]
    bench.stage_x_mm = -20.0
    assert bench._met["note"].startswith("The stop is off the lens.")
    assert bench._met["power"] == before
    bench.stage_x_mm = -31.0
    assert bench._met["note"] == ""


def test_prism_ordered_shows_at_the_reference_point():
    lens = SingleVision(power=Power.from_sphere_cylinder(-1.0), prism=Prism.from_base(2.0, "in", "R"))
    bench = Bench(Spectacles(right=Mounted(lens=lens, pd_mm=31.0), left=Mounted(lens=LEFT)))
    bench.stage_x_mm, bench.stage_y_mm = -31.0, 0.0
    assert sent(bench)[1] == pytest.approx([2.0, 0.0])


def test_the_compensator_takes_an_ordered_prism_out():
    # Four base up on the right lens: the crossing stands 4 above the middle (common practice).
    lens = SingleVision(power=Power.from_sphere_cylinder(-1.0), prism=Prism.from_base(4.0, "up", "R"))
    bench = Bench(Spectacles(right=Mounted(lens=lens, pd_mm=31.0), left=Mounted(lens=LEFT)), eye_setting=0)
    bench.stage_x_mm, bench.stage_y_mm, bench.drum = -31.0, 0.0, -1.0
    bench.compensator, bench.compensator_base = 4.0, 90.0
    assert (bench.settings.compensator_x, bench.settings.compensator_y) == pytest.approx((0.0, 4.0))
    centred = Spectacles(
        right=Mounted(lens=SingleVision(power=lens.power), pd_mm=31.0), left=Mounted(lens=LEFT)
    )
    plain = eyepiece_view(Settings(drum=-1.0), centred.over_stop("R", -31.0, 0.0), 96)
    assert eyepiece_view(bench.settings, bench.met, 96) == pytest.approx(plain, abs=1e-6)


# --- what passes between browser and kernel ---------------------------------------------------


def test_browser_moves_are_answered_with_what_lies_there_now(bench):
    # As the browser sends them: several at once, only the last place counts.
    bench.set_state({"drum": -3.0, "stage_x_mm": -29.0, "stage_y_mm": 0.5})
    assert bench.settings.drum == -3.0
    assert bench._met["over"] == ["R", -29.0, 0.5, "back"]
    bench.set_state({"lens": "L"})
    assert bench._met["over"][0] == "L" and bench.stage_x_mm > 0


def test_the_answer_is_not_written_where_the_browser_keeps_it(bench):
    told = {name: value for name, value in bench.get_state().items() if name not in ("_esm", "_css")}
    assert "spectacles" not in " ".join(told)
    assert set(bench._met) == {"power", "prism", "over", "note"}


def test_turning_drum_and_wheel_asks_nothing_of_the_lens(bench, monkeypatch):
    asked = []
    monkeypatch.setattr(Bench, "_answer", lambda self: asked.append(1))
    bench.drum, bench.wheel, bench.eyepiece = -1.0, 30.0, 2.0
    assert asked == []
    bench.stage_y_mm = 4.0
    assert asked == [1]


def test_settings_feed_the_numpy_picture(bench):
    bench.drum, bench.wheel, bench.eyepiece = -3.0, 45.0, bench._eye_setting
    assert bench.settings == Settings(
        drum=-3.0, wheel=45.0, eyepiece=bench._eye_setting, eye=bench._eye_setting
    )
    assert eyepiece_view(bench.settings, bench.met, 96).max() > 0.9


# --- dots and the rule --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("dots", "words"),
    [
        ({}, "No dot yet. Bring the crossing to the middle first."),
        (
            {"L": (32.5, 0.0)},
            "Left dot 32.5 mm from the middle of the bridge. Dot the other lens too to measure the PD.",
        ),
        (
            {"R": (-31.24, 1.0), "L": (32.4, 1.2)},
            "Right dot 31.0 mm and left dot 32.5 mm from the middle of the bridge. "
            "Between the dots: 63.5 mm. They are level.",
        ),
        (
            {"R": (-31.0, -1.0), "L": (32.0, 0.6)},
            "Right dot 31.0 mm and left dot 32.0 mm from the middle of the bridge. "
            "Between the dots: 63.0 mm. The left dot is 1.5 mm higher.",
        ),
    ],
)
def test_the_rule_across_the_dots(dots, words):
    assert measured_dots(dots) == words


def test_dots_from_the_browser_are_measured(bench):
    bench.set_state({"dots": {"R": [-31.0, 2.0], "L": [32.5, 0.0]}})
    assert "Between the dots: 63.5 mm. The right dot is 2.0 mm higher." in bench._dotted
    bench.dots = {}
    assert bench._dotted.startswith("No dot yet")


# --- the pad and the trace ------------------------------------------------------------------------

NOTED = {"eye": "R", "against": "back", "lines": "sphere", "drum": -3.0, "wheel": 180.0}


def test_readings_can_be_read_from_python(bench):
    bench.set_state({"_readings": [NOTED, {**NOTED, "drum": -2.94}]})
    assert [one.drum for one in bench.readings] == [-3.0, -2.94]


def test_what_no_press_can_have_noted_is_left_out(bench):
    forged = [
        {**NOTED, "drum": 99},
        {**NOTED, "eye": "B"},
        {**NOTED, "more": 1},
        "x",
        {**NOTED, "wheel": True},
    ]
    bench.set_state({"_readings": [NOTED, *forged]})
    assert len(bench.readings) == 1


def test_the_trace_follows_the_hand_until_it_is_switched_off(bench):
    bench.set_state({"eyepiece": 1.0})
    bench.set_state({"lens": "L"})
    bench.set_state({"_readings": [NOTED]})
    assert [move.control for move in bench.trace.moves] == [
        "eyepiece",
        "lens",
        "stage_x_mm",
        "stage_y_mm",
        "noted",
    ]
    stood = bench.trace.after(5)
    assert (stood["lens"], stood["stage_x_mm"], stood["eyepiece"]) == ("L", bench.stage_x_mm, 1.0)
    bench.show(drum=5.0, lens="R", stage_x_mm=-30.0)
    assert (bench.drum, bench.lens, bench.stage_x_mm) == (5.0, "R", -30.0)
    bench.drum = 4.0
    assert len(bench.trace.moves) == 5
    bench.trace_kept = False
    bench.drum = 2.0
    assert bench.trace is None
    bench.trace_kept = True
    assert bench.trace.late and trace_from(bench.trace.bundle).late and not Bench(PAIR).trace.late


def test_the_trace_goes_with_the_answer_that_is_recorded(bench):
    bench.drum = -2.5
    with checks.collecting() as said:
        checks.recorded("-2.50 DS")
        bench.trace_kept = False
        checks.recorded("-2.50 DS")
    moves = trace_from(said[0][TRACE_MIME]).moves
    assert [(move.control, move.value) for move in moves] == [("drum", -2.5)]
    assert TRACE_MIME not in said[1]


def test_a_pair_laid_aside_leaves_an_instrument_that_shows_its_zero():
    bench = Bench(PAIR, seed=7, eye_setting=0, zero_error=0.25)
    bench.set_state({"aside": True, "drum": 0.25})
    sharp = eyepiece_view(bench.settings, bench.met, 96)
    assert bench.trace.picture(PAIR, 2, 96) == pytest.approx(sharp)
    bench.drum = -0.75
    assert sharp.max() > eyepiece_view(bench.settings, bench.met, 96).max() + 0.05
    bench.aside = False
    again = trace_from(bench.trace.bundle)
    assert again.moves[0].words == "the pair laid aside"
    assert again.moves[-1].words == "the pair laid back"
    assert again.picture(PAIR, len(again.moves), 96) == pytest.approx(
        eyepiece_view(bench.settings, bench.met, 96)
    )
