"""Takes the README's picture of the bench: a real one, in a real JupyterLab.

Run by hand after the bench's look has changed::

    python tests/browser/take_bench_picture.py
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import real_lab

PICTURE = Path(__file__).parents[2] / "notebooks" / "pictures" / "bench.png"
# The right lens with the sphere lines sharp, the eyepiece set and the crossing in the middle.
BENCH = """
from optics.specimens.specimen import Brief, make
from optics.widgets.focimeter.bench import Bench
pair = make(Brief(lenses="R -2.25 -0.75 x 015; L -1.75 -1.00 x 160"), seed=0)
bench = Bench(pair.spectacles, seed=2)
bench.eyepiece = bench.settings.eye
bench.drum, bench.wheel = -2.25, 15
bench.stage_x_mm, bench.stage_y_mm = -32, 0
bench
"""


def main() -> None:
    """Start what is needed, take the picture, stop it."""
    with tempfile.TemporaryDirectory() as folder:
        root, private = Path(folder) / "notebooks", Path(folder) / "private"
        root.mkdir()
        with real_lab.jupyterlab(root, private) as lab, real_lab.chromium() as browser:
            page = browser.new_page(viewport={"width": 1360, "height": 1300}, device_scale_factor=1.5)
            lab.put("bench.ipynb", [BENCH])
            lab.open(page, "bench.ipynb")
            lab.run_all(page)
            page.wait_for_selector(".optics-bench[data-drawn]")
            page.wait_for_timeout(1000)
            PICTURE.parent.mkdir(exist_ok=True)
            page.locator(".optics-bench").screenshot(path=PICTURE)
    print(f"{PICTURE.name}: {PICTURE.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
