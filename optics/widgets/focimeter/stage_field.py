"""What the browser needs to follow light through a lens at any place of the stage.

Heights and slopes of both surfaces on a grid over the reach of the stage, and the
few numbers that go with them: sent once for each lens, whichever side lies on the
stop. `rays.js` traces through it as `optics.lens.laid_flat` does, which it is
tested against.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from optics.lens.laid_flat import body_of
from optics.lens.lens import BACK
from optics.pair.spectacles import Spectacles

STEP_MM = 1.0
"""A millimetre of grid misses a progressive's slope by less than 0.01 prism dioptres."""
BEYOND_MM = 6.0
"""How far past the stage's travel the rays of a stop can meet a surface."""


def stage_field(
    spectacles: Spectacles, eye: str, across_mm: tuple[float, float], height_mm: float
) -> dict[str, Any]:
    """One lens of a pair, for the browser.

    Parameters
    ----------
    spectacles : Spectacles
        The pair as it lies.
    eye : {"R", "L"}
        Which lens.
    across_mm : (float, float)
        From where to where the stop can come across this lens, pair coordinates.
    height_mm : float
        How far above and below the datum line.

    Returns
    -------
    dict
        `at`, the place of the lens's reference point; and either `even`, the power
        and prism there of a lens of one power, or its surfaces: `grid`, `values`
        (base64 of 32-bit floats: sag and slopes of front, then of back, row by row),
        and measures.
    """
    at = spectacles.reference_point_mm(eye)
    body = body_of(spectacles.mounted(eye).lens)
    if body is None:
        power, prism, _ = spectacles.over_stop(eye, *at, BACK)
        (xx, xy), (_, yy) = power.matrix.tolist()
        return {"at": list(at), "even": {"power": [xx, xy, yy], "prism": prism.vector.tolist()}}
    x = np.arange(min(across_mm) - BEYOND_MM, max(across_mm) + BEYOND_MM + STEP_MM, STEP_MM) - at[0]
    y = np.arange(-height_mm - BEYOND_MM, height_mm + BEYOND_MM + STEP_MM, STEP_MM) - at[1]
    layers = []
    for sheet in (body.front, body.back):
        z, slope, _ = sheet.shape(*np.meshgrid(x, y))
        layers += [z, slope[..., 0], slope[..., 1]]
    return {
        "at": list(at),
        "grid": {"x": x[0], "y": y[0], "step": STEP_MM, "across": len(x), "down": len(y)},
        "values": base64.b64encode(np.asarray(layers, dtype="<f4").tobytes()).decode(),
        "lines": [body.front.line(), body.back.line()],
        "thickness": body.thickness_mm,
        "index": body.index,
        "ground": body.ground.tolist(),
        "tilt": body.tilt_degrees,
        "tilt_axis": body.tilt_axis,
        "off_stop": body.off_stop_mm,
    }
