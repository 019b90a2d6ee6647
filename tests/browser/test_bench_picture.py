"""The picture that the browser draws is the picture that NumPy computes."""

import base64
import io
from dataclasses import asdict

import numpy as np
import pytest
from PIL import Image

from optics import Mounted, Power, Settings, SingleVision, Spectacles, eyepiece_view
from optics.instrument.focimeter import COMPENSATOR_MOST
from optics.lens.prism import Prism
from optics.lens.progressive import Progressive
from optics.widgets.focimeter.bench import Bench

STATES = 50
WITHIN = 0.02
"""Root-mean-square difference allowed, of full scale."""

DRAW = """([state, met, size]) => {
  const canvas = document.createElement("canvas");
  const picture = new Picture(canvas, model.get("_made"));
  picture.resize(size);
  picture.draw(state, met);
  return canvas.toDataURL();
}"""


def any_bench():
    lens = Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15)))
    return Bench(Spectacles(right=lens, left=lens), eye_setting=0)


def random_lens(rng, number, power):
    """A plain lens, one with strong prism, or a progressive, and a point of it."""
    kind = number % 10
    if kind in (3, 6, 9):
        eye = "RL"[number % 2]
        lens = Progressive(power=power, addition=float(rng.uniform(1.0, 3.0)), eye=eye)
        return lens.over_stop(*rng.uniform([-8, -18], [8, 8]))
    strong = Prism(rng.uniform(-9, 9, 2)) if kind in (2, 5, 8) else Prism.none()
    return SingleVision(power=power, prism=strong).over_stop(*rng.uniform(-5, 5, 2))


def random_compensator(rng, number, prism):
    """Set to nothing, to a random prism, or to about the prism that is there."""
    x, y = ((0.0, 0.0), rng.uniform(-6, 6, 2), prism + rng.normal(0, 1, 2))[(number // 2) % 3]
    amount = np.hypot(x, y)
    within = min(1.0, COMPENSATOR_MOST / amount) if amount else 1.0
    return {"compensator_x": float(x * within), "compensator_y": float(y * within)}


def random_states(rng):
    """Lenses in and out of focus, on and off the axis, centred and not, eyepiece set and unset."""
    for number in range(STATES):
        sphere, cylinder, axis = rng.uniform(-8, 8), rng.uniform(0, 5) * (number % 5 > 0), rng.uniform(1, 180)
        near = (sphere, sphere - cylinder, sphere + rng.normal() * 0.5, rng.uniform(-20, 20))[number % 4]
        met = random_lens(rng, number, Power.from_sphere_cylinder(sphere, -cylinder, axis))
        settings = Settings(
            drum=float(near),
            wheel=float(round(axis)) if number % 3 else float(rng.integers(1, 181)),
            eyepiece=float(rng.uniform(-5, 5)) if number % 2 else 0.0,
            eye=float(rng.choice([-2.0, 0.0, 1.5])) if number % 2 else 0.0,
            **random_compensator(rng, number, met.prism.vector),
        )
        yield settings, met


@pytest.mark.parametrize("size", [384, 768], ids=["plain screen", "fine screen"])
def test_browser_and_numpy_draw_the_same_picture(page, show_bench, size):
    show_bench(page, any_bench())
    apart = []
    for settings, met in random_states(np.random.default_rng(11)):
        f, p = met.power.matrix, met.prism.vector
        state = asdict(settings)
        over = {
            "power": {"xx": f[0, 0], "xy": f[0, 1], "yy": f[1, 1]},
            "prism": {"x": float(p[0]), "y": float(p[1])},
        }
        url = page.evaluate(DRAW, [state, over, size])
        drawn = np.asarray(Image.open(io.BytesIO(base64.b64decode(url.split(",")[1]))).convert("L")) / 255
        computed = eyepiece_view(settings, met, size)
        apart.append((float(np.sqrt(np.mean((drawn - computed) ** 2))), settings, met.power.vector))
    worst = max(apart, key=lambda one: one[0])
    print(
        f"\nroot-mean-square difference: worst {worst[0]:.4f}, middle {np.median([a[0] for a in apart]):.4f}"
    )
    assert worst[0] <= WITHIN, worst


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
