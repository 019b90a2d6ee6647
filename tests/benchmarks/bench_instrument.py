"""How fast the bench answers in a real JupyterLab, beside two common ways to draw it.

Run by hand, on a quiet machine with Chromium and Playwright::

    python tests/benchmarks/bench_instrument.py

In one run and one notebook: the bench; the same picture by Matplotlib through
`interactive_output`; the same picture computed by NumPy and put into an image
widget. Prints the time from moving a control to the new picture (median of single
moves), how many pictures a drag of 60 steps at 60 steps a second shows, what a
move of the stage takes (the lens over it is a progressive), and memory over 2,000 moves. The
aims: 16 ms for the median move of drum, wheel, eyepiece, compensator and stage (a
progressive, and across a bifocal's line), every step of a drag with the last one at
once, at most a tenth of Matplotlib's time, and memory that stays where it was.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[1] / "browser"))

import real_lab

SINGLE_MOVES, DRAG_STEPS, MEMORY_MOVES = 15, 60, 2000

BENCH = """
import numpy as np, ipywidgets, io, os, psutil
from optics import Mounted, Power, Settings, Spectacles, eyepiece_view
from optics.lens.multifocal import Multifocal
from optics.lens.progressive import Progressive
from optics.widgets.focimeter.bench import Bench
power = Power.from_sphere_cylinder(-2.25, -0.75, 15)
lens = Progressive(power=power, addition=2.0, eye="R")
bifocal = Multifocal(power=power, addition=2.0, eye="L")
met = lens.over_stop(0, 0)
bench = Bench(Spectacles(right=Mounted(lens=lens), left=Mounted(lens=bifocal)), eye_setting=0)
bench.lens = "L"
bench.stage_y_mm = bifocal.top_mm  # the line across the stop, where this lens stays
bench.lens = "R"
bench
"""
MATPLOTLIB = """
import matplotlib.pyplot as plt
def show(drum):
    plt.figure(figsize=(4, 4))
    plt.imshow(eyepiece_view(Settings(drum=drum, wheel=15), met), cmap="gray", vmin=0, vmax=1)
    plt.axis("off")
    plt.show()
first = ipywidgets.FloatSlider(min=-5, max=5, step=0.05)
ipywidgets.VBox([first, ipywidgets.interactive_output(show, {"drum": first})])
"""
IMAGE = """
from PIL import Image
second = ipywidgets.FloatSlider(min=-5, max=5, step=0.05)
shown = ipywidgets.Image(format="png", width=384)
def put(change):
    seen = eyepiece_view(Settings(drum=second.value, wheel=15), met)
    file = io.BytesIO()
    Image.fromarray((seen * 255).astype("uint8")).save(file, "png", compress_level=1)
    shown.value = file.getvalue()
second.observe(put, "value")
put(None)
ipywidgets.VBox([second, shown])
"""
MEMORY = "print('kernel MB', psutil.Process(os.getpid()).memory_info().rss / 1e6)"

# One way to move a control and one way to know that a new picture shows, for each.
IN_THE_PAGE = """() => {
  const bench = () => document.querySelector('.optics-bench');
  const slide = (name, by) => {
    const input = [...bench().querySelectorAll('input')].find((i) => i.ariaLabel?.startsWith(name));
    const before = input.value;
    input.value = input.valueAsNumber + by;
    if (input.value === before) input.value = input.valueAsNumber - 20 * by;
    input.dispatchEvent(new Event('input'));
  };
  // The stage's travel ends before that of its slider does: every step must be a move.
  const there_and_back = () => {
    let steps = 0;
    return () => slide('Pair left', (steps++ % 40) < 20 ? 0.5 : -0.5);
  };
  const replaced_place = (heard) => {
    let place = bench().dataset.place;
    return drawn((data) => { if (data.place !== place) { place = data.place; heard(data); } });
  };
  const cell = (number) => document.querySelectorAll('.jp-Notebook .jp-Cell')[number];
  const arrow = (number) => cell(number).querySelector('.noUi-handle')
    .dispatchEvent(new KeyboardEvent('keydown', { key: 'ArrowRight', bubbles: true }));
  const drawn = (heard) => {
    const watch = new MutationObserver(() => heard(bench().dataset));
    watch.observe(bench(), { attributes: true, attributeFilter: ['data-drawn'] });
    return () => watch.disconnect();
  };
  const replaced = (number) => (heard) => {
    let url = cell(number).querySelector('img')?.src;
    const watch = new MutationObserver(() => {
      const image = cell(number).querySelector('img');
      if (!image || image.src === url) return;
      url = image.src;
      if (image.complete) heard({});
      else image.addEventListener('load', () => heard({}), { once: true });
    });
    watch.observe(cell(number), { subtree: true, childList: true, attributes: true, attributeFilter: ['src'] });
    return () => watch.disconnect();
  };
  window.ways = {
    drum: { move: () => slide('Power drum, coarse', 0.25), watch: drawn },
    wheel: { move: () => slide('Axis wheel', 1), watch: drawn },
    eyepiece: { move: () => slide('Eyepiece', 0.25), watch: drawn },
    compensator: { move: () => slide('Prism compensator, amount', 0.25), watch: drawn },
    stage: { move: there_and_back(), watch: replaced_place },
    bifocal: { move: there_and_back(), watch: replaced_place },
    matplotlib: { move: () => arrow(1), watch: replaced(1) },
    image: { move: () => arrow(2), watch: replaced(2) },
  };
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  const rest = (ms) => new Promise((done) => setTimeout(done, ms));
  window.single = async (name, times) => {
    const found = [], drawing = [];
    for (let i = 0; i < times; i++) {
      await rest(120 + 37 * (i % 5));
      found.push(await new Promise((done) => {
        const begin = performance.now();
        const stop = ways[name].watch((data) => {
          stop();
          if (data.took) drawing.push(Number(data.took));
          done(performance.now() - begin);
        });
        ways[name].move();
      }));
    }
    return { found, drawing };
  };
  window.drag = async (name, steps) => {
    let shown = 0, last = 0;
    const stop = ways[name].watch(() => { shown += 1; last = performance.now(); });
    const begin = performance.now();
    for (let i = 0; i < steps; i++) { ways[name].move(); await frame(); }
    const moved = performance.now();
    await rest(2500);
    stop();
    return { shown, seconds: (Math.max(last, moved) - begin) / 1000, behind: Math.max(0, last - moved) };
  };
  window.busy = async (names, moves) => {
    for (let i = 0; i < moves; i++) { ways[names[i % names.length]].move(); await frame(); }
    await rest(1500);
  };
}"""


def heap_mb(page) -> float:
    """Memory that the page's scripts hold, after collecting what is not used."""
    devtools = page.context.new_cdp_session(page)
    devtools.send("HeapProfiler.enable")
    devtools.send("HeapProfiler.collectGarbage")
    devtools.send("Performance.enable")
    values = {row["name"]: row["value"] for row in devtools.send("Performance.getMetrics")["metrics"]}
    devtools.detach()
    return values["JSHeapUsedSize"] / 1e6


def kernel_mb(lab, page) -> float:
    """Memory of the kernel, as a cell prints it."""
    lab.run_cell(page, 3)
    page.wait_for_timeout(300)
    return float(
        page.locator(".jp-Cell").nth(3).locator(".jp-OutputArea-output pre").inner_text().split()[-1]
    )


def lay(page, way) -> None:
    """Lay the bifocal's line or the progressive over the stop."""
    page.get_by_label("Left lens" if way == "bifocal" else "Right lens", exact=True).check()
    page.wait_for_timeout(500)


def measure(lab, page) -> None:
    """Run everything and print it."""
    lab.put("speed.ipynb", [BENCH, MATPLOTLIB, IMAGE, MEMORY])
    lab.open(page, "speed.ipynb")
    lab.run_all(page)
    page.wait_for_selector(".optics-bench[data-drawn]")
    page.wait_for_timeout(3000)
    page.evaluate(IN_THE_PAGE)

    print(f"From a move to the new picture, median of {SINGLE_MOVES} single moves:")
    took = {}
    names = {
        "drum": "bench, drum",
        "wheel": "bench, axis wheel",
        "eyepiece": "bench, eyepiece",
        "compensator": "bench, compensator",
        "stage": "bench, stage, progressive",
        "bifocal": "bench, stage, across a bifocal's line",
        "image": "NumPy into an image widget, drum",
        "matplotlib": "Matplotlib through interactive_output, drum",
    }
    for way, name in names.items():
        lay(page, way)
        once = page.evaluate("([way, times]) => window.single(way, times)", [way, SINGLE_MOVES])
        took[way] = median(once["found"])
        drawing = f"  of which drawing {median(once['drawing']):.1f} ms" if once["drawing"] else ""
        print(f"  {name:45s} {took[way]:7.1f} ms{drawing}")
    print(f"  drum beside Matplotlib: {took['matplotlib'] / took['drum']:.1f} times as fast")

    print(f"A drag of {DRAG_STEPS} steps, one a frame:")
    for way, name in names.items():
        lay(page, way)
        one = page.evaluate("([way, steps]) => window.drag(way, steps)", [way, DRAG_STEPS])
        rate = one["shown"] / one["seconds"]
        print(
            f"  {name:45s} {one['shown']:3d} pictures, {rate:5.1f} a second,"
            f" last one {one['behind']:5.0f} ms after the hand"
        )

    page.evaluate("() => window.busy(['drum', 'stage', 'wheel', 'eyepiece', 'compensator'], 300)")
    before = heap_mb(page), kernel_mb(lab, page)
    page.evaluate(
        "(moves) => window.busy(['drum', 'stage', 'wheel', 'eyepiece', 'compensator'], moves)", MEMORY_MOVES
    )
    after = heap_mb(page), kernel_mb(lab, page)
    print(f"Memory over {MEMORY_MOVES} moves of the bench:")
    print(f"  page   {before[0]:6.1f} MB, then {after[0]:6.1f} MB")
    print(f"  kernel {before[1]:6.1f} MB, then {after[1]:6.1f} MB")


def main() -> None:
    """Start what is needed, measure, stop it."""
    if why := real_lab.why_not():
        raise SystemExit(f"Nothing measured: {why}.")
    with tempfile.TemporaryDirectory() as folder:
        root, private = Path(folder) / "notebooks", Path(folder) / "private"
        root.mkdir()
        with real_lab.jupyterlab(root, private) as lab, real_lab.chromium() as browser:
            measure(lab, browser.new_page(viewport={"width": 1280, "height": 2400}))


if __name__ == "__main__":
    main()
