"""The picture that the browser draws is the picture that NumPy computes."""

import base64
import io
from dataclasses import asdict

import numpy as np
import pytest
from PIL import Image

from optics import Mounted, Power, Settings, SingleVision, Spectacles, eyepiece_view
from optics.instrument.focimeter import COMPENSATOR_MOST
from optics.lens.laid_flat import usual_front_curve, usual_thickness_mm
from optics.lens.lens import BACK, FRONT
from optics.lens.multifocal import Multifocal
from optics.lens.prism import Prism
from optics.lens.progressive import Progressive
from optics.lens.thick import ThickLens
from optics.lens.tilt import Tilted, Turned
from optics.specimens.conditions import Ripple, Smeared
from optics.widgets.focimeter.bench import Bench
from optics.widgets.focimeter.stage_field import stage_field

STATES = {384: 50, 768: 20}
"""How many at each size, by pixels: the same program draws both, and every kind of lens is among twenty twice."""
WITHIN = 0.02
"""Root-mean-square difference allowed, of full scale."""
PRISM_WITHIN = 0.02
"""Prism dioptres: a third of what is told apart between rings."""

DRAW = """([state, field, x_mm, y_mm, against, size]) => {
  const canvas = document.createElement("canvas");
  const picture = new Picture(canvas, model.get("_made"));
  picture.resize(size);
  const over = field && { field: readField(field), x_mm, y_mm, against };
  picture.draw(state, over);
  // As it stands after a move away and back.
  picture.draw({ ...state, drum: state.drum + 0.03 }, over && { ...over, x_mm: x_mm + 0.03 });
  picture.draw(state, over);
  return [canvas.toDataURL(), metOver(over)];
}"""
AT = (-32.0, 1.0)


def any_bench():
    lens = Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15)))
    return Bench(Spectacles(right=lens, left=lens), eye_setting=0)


def random_lens(rng, number, power):
    """Plain, strong prism, thick, progressive, bifocal across its line, tilted, smeared; and a point of it."""
    kind, near = number % 10, rng.uniform(-5, 5, 2)
    if kind in (3, 6, 9):
        lens = Progressive(power=power, addition=float(rng.uniform(1.0, 3.0)), eye="R")
        return lens, rng.uniform([-8, -18], [8, 8])
    if kind in (1, 4):
        lens = Multifocal(power=power, addition=float(rng.uniform(1.0, 3.0)), eye="R")
        return lens, np.array([lens.segment_top[0], lens.top_mm]) + rng.uniform([-6, -6], [6, 3])
    if kind == 2:
        return SingleVision(power=power, prism=Prism(rng.uniform(-9, 9, 2))), near
    if kind == 0:
        return SingleVision(power=power), near
    thick = ThickLens.made_to(
        power, Power.from_sphere_cylinder(usual_front_curve(power)), usual_thickness_mm(power, 0, 1.5), 1.5
    )
    if kind == 5:
        return Tilted(lens=thick, tilt_degrees=15.0, tilt_axis=float(rng.uniform(1, 180))), near
    if kind == 7:
        return Turned(lens=thick, degrees=7.0), near
    ripples = (Ripple(height_um=0.5, period_mm=7.0, towards=20.0, phase=50.0),)
    return Smeared(lens=thick, ripples=ripples), near


def random_compensator(rng, number, prism):
    """Set to nothing, to a random prism, or to about the prism that is there."""
    x, y = ((0.0, 0.0), rng.uniform(-6, 6, 2), prism + rng.normal(0, 1, 2))[(number // 2) % 3]
    amount = np.hypot(x, y)
    within = min(1.0, COMPENSATOR_MOST / amount) if amount else 1.0
    return {"compensator_x": float(x * within), "compensator_y": float(y * within)}


def random_states(rng, states):
    """Lenses in and out of focus, on and off the axis, centred and not, eyepiece set and unset."""
    for number in range(states):
        sphere, cylinder, axis = rng.uniform(-8, 8), rng.uniform(0, 5) * (number % 5 > 0), rng.uniform(1, 180)
        near = (sphere, sphere - cylinder, sphere + rng.normal() * 0.5, rng.uniform(-20, 20))[number % 4]
        lens, (x, y) = random_lens(rng, number, Power.from_sphere_cylinder(sphere, -cylinder, axis))
        against = (BACK, FRONT)[number % 3 == 0]
        met = lens.over_stop(x, y, against)
        settings = Settings(
            drum=float(near),
            wheel=float(round(axis)) if number % 3 else float(rng.integers(1, 181)),
            eyepiece=float(rng.uniform(-5, 5)) if number % 2 else 0.0,
            eye=float(rng.choice([-2.0, 0.0, 1.5])) if number % 2 else 0.0,
            zero_error=0.25 * (number % 7 == 0),
            **random_compensator(rng, number, met.prism.vector),
        )
        yield settings, met, lens, (x + AT[0], y + AT[1], against)


@pytest.mark.thorough
@pytest.mark.parametrize("size", STATES, ids=["plain screen", "fine screen"])
def test_browser_and_numpy_draw_the_same_picture(page, show_bench, size):
    show_bench(page, any_bench())
    apart, whole = [], 0
    for settings, met, lens, (x, y, against) in random_states(np.random.default_rng(11), STATES[size]):
        pair = Spectacles(right=Mounted(lens=lens, pd_mm=-AT[0], height_mm=AT[1]), left=Mounted(lens=lens))
        field = stage_field(pair, "R", (-55.0, -10.0), 20.0)
        assert len(field.get("values", "")) <= 100_000
        url, told = page.evaluate(DRAW, [asdict(settings), field, x, y, against, size])
        whole += met.whole is not None
        assert (told["prism"]["x"], told["prism"]["y"]) == pytest.approx(
            tuple(met.prism.vector), abs=PRISM_WITHIN
        )
        drawn = np.asarray(Image.open(io.BytesIO(base64.b64decode(url.split(",")[1]))).convert("L")) / 255
        computed = eyepiece_view(settings, met, size)
        apart.append(
            (float(np.sqrt(np.mean((drawn - computed) ** 2))), settings, type(lens), (x, y, against))
        )
    assert whole > STATES[size] // 2
    worst = max(apart, key=lambda one: one[0])
    middle = np.median([difference for difference, *_ in apart])
    print(f"\nroot-mean-square difference: worst {worst[0]:.4f}, middle {middle:.4f}")
    assert worst[0] <= WITHIN, [one for one in apart if one[0] > WITHIN]


def test_the_last_settings_are_always_drawn(page, show_bench, seen):
    bench = any_bench()
    show_bench(page, bench)
    page.evaluate(
        "() => { for (let i = 0; i <= 60; i++) model.tell({ drum: -4 + i * 0.05, wheel: 1 + i }); }"
    )
    page.wait_for_timeout(300)
    drawn = seen(page)
    bench.drum, bench.wheel = -1.0, 61.0
    computed = eyepiece_view(bench.settings, bench.met, drawn.shape[0])
    assert np.sqrt(np.mean((drawn - computed) ** 2)) <= WITHIN


def test_the_compensator_moves_the_picture_without_the_kernel(page, show_bench, seen):
    bench = any_bench()
    bench.drum, bench.wheel = -2.25, 15.0
    show_bench(page, bench)
    page.locator("summary", has_text="Prism compensator").click()
    for name, key, presses in (("base", "ArrowRight", 30), ("amount", "ArrowRight", 12)):
        page.get_by_label(f"Prism compensator, {name}").focus()
        for _ in range(presses):
            page.keyboard.press(key)
    page.wait_for_timeout(200)
    drawn = seen(page)
    without = eyepiece_view(bench.settings, bench.met, drawn.shape[0])
    bench.compensator, bench.compensator_base = 3.0, 30.0
    computed = eyepiece_view(bench.settings, bench.met, drawn.shape[0])
    assert np.sqrt(np.mean((drawn - computed) ** 2)) <= WITHIN
    assert np.sqrt(np.mean((drawn - without) ** 2)) > 3 * WITHIN
