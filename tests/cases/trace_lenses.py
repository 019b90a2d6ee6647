"""Traces rays through lenses with a general-purpose optics library; its figures lie in `traced.csv`.

Not a test: run it by hand where the extra `reference` is installed, from the top of the checkout:

    python tests/cases/trace_lenses.py

Nothing of the formulae under test is used here. A lens is built from radii; rays
leave the neighbourhood of a point on its back surface, on the way to the operator,
and what a focimeter would read is the vergence with which they must set out so
that they leave the front parallel. Their derivatives are taken by symmetric
differences at two step sizes.
"""

import csv
import warnings
from importlib.metadata import version
from pathlib import Path

import numpy as np

from optics.lens.power import Power
from optics.lens.thick import ThickLens

# The library warns about its own compiled code.
warnings.simplefilter("ignore")
from optiland import materials  # noqa: E402
from optiland.optic import Optic  # noqa: E402
from optiland.rays import RealRays  # noqa: E402

sphere_cylinder = Power.from_sphere_cylinder


def _surface(optic, number, power, index, towards, z, material):
    """A sphere or a torus; `towards` is +1 where light enters the lens, -1 where it leaves it."""
    higher, meridian, lower, _ = power.principal()
    across, along = (
        towards * (index - 1) * 1000 / value if abs(value) > 1e-12 else np.inf for value in (lower, higher)
    )
    shape = (
        {"radius": along}
        if abs(higher - lower) < 1e-12
        else {
            "surface_type": "toroidal",
            "radius_x": along,
            "radius_y": across,
            "rz": np.deg2rad(meridian),
        }
    )
    optic.surfaces.add(index=number, z=z, material=material, **shape)


def _built(lens):
    optic = Optic()
    optic.surfaces.add(index=0, z=-np.inf)
    glass, air = materials.IdealMaterial(n=lens.index), materials.IdealMaterial(n=1.0)
    _surface(optic, 1, lens.back, lens.index, 1, 0.0, glass)
    _surface(optic, 2, lens.front, lens.index, -1, lens.centre_thickness_mm, air)
    optic.surfaces.add(index=3, z=lens.centre_thickness_mm + 10.0)
    return optic


def _across(direction):
    """Two directions square to a ray: nearly x, nearly y."""
    x = np.array([1.0, 0.0, 0.0]) - direction[0] * direction
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(direction, x)])


def traced(lens, at=(0.0, 0.0, 0.0), axis=(0.0, 0.0, 1.0)):
    """What a focimeter reads with its axis through `at` along `axis`.

    Power matrix (dioptres), prism, and how light parallel to the axis is bent (dioptres).
    """
    optic = _built(lens)
    at, axis = np.asarray(at), np.asarray(axis) / np.linalg.norm(axis)
    square = _across(axis)

    def with_step(mm):
        slope = mm / 50.0
        sides = [sign * e for e in square for sign in (1, -1)]
        starts = [at] + [at + mm * e for e in sides] + [at] * 4
        ways = np.array([axis] * 5 + [axis + slope * e for e in sides])
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        begin = np.array(starts) - 5.0 * ways
        rays = RealRays(*begin.T, *ways.T, np.ones(9), np.full(9, 0.55))
        optic.surfaces.trace(rays, skip=1)
        out = np.stack([rays.L, rays.M, rays.N], -1)
        seen = out @ _across(out[0]).T
        by_place = np.stack([seen[1] - seen[2], seen[3] - seen[4]], -1) / (2 * mm)
        by_slope = np.stack([seen[5] - seen[6], seen[7] - seen[8]], -1) / (2 * slope)
        power = -1000.0 * np.linalg.solve(by_slope, by_place)
        return np.stack([power, -1000.0 * by_place]), out[0]

    (fine, leaving), (coarse, _) = with_step(0.02), with_step(0.04)
    power, bend = (4.0 * fine - coarse) / 3.0
    return power, 100.0 * square @ leaving / (leaving @ axis), bend


LENSES = {
    "BV1": ThickLens(
        front=sphere_cylinder(8.0), back=sphere_cylinder(-2.0), centre_thickness_mm=6, index=1.5
    ),
    "BV2": ThickLens(
        front=sphere_cylinder(12.0), back=sphere_cylinder(-3.0), centre_thickness_mm=8, index=1.5
    ),
    "BV4": ThickLens(
        front=sphere_cylinder(6.0), back=sphere_cylinder(-9.0), centre_thickness_mm=1.5, index=1.498
    ),
    "BV6": ThickLens(
        front=sphere_cylinder(0.0), back=sphere_cylinder(-8.0), centre_thickness_mm=1, index=1.6
    ),
    "toric back": ThickLens(
        front=sphere_cylinder(8.25), back=sphere_cylinder(-3.0, -2.0, 30), centre_thickness_mm=5, index=1.586
    ),
    "crossed torics": ThickLens(
        front=sphere_cylinder(8.0, 1.5, 30),
        back=sphere_cylinder(-3.0, -2.0, 70),
        centre_thickness_mm=5,
        index=1.6,
    ),
}


def _turned_over(lens):
    return ThickLens(
        front=lens.back.turned_over(),
        back=lens.front.turned_over(),
        centre_thickness_mm=lens.centre_thickness_mm,
        index=lens.index,
    )


def _leaning(tilt, tilt_axis):
    """Direction of the instrument's axis in a lens that leans about `tilt_axis`."""
    across = np.deg2rad(tilt_axis + 90.0)
    t = np.deg2rad(tilt)
    return np.array([np.sin(t) * np.cos(across), np.sin(t) * np.sin(across), np.cos(t)])


def _turn_between(tilt_axis, axis):
    """Turns the tracer's transverse frame into that of a lens leant about `tilt_axis`."""
    u = np.array([np.cos(np.deg2rad(tilt_axis)), np.sin(np.deg2rad(tilt_axis)), 0.0])
    v = np.cross(axis / np.linalg.norm(axis), u)
    c, s = u[0], u[1]
    # What the operator calls x and y: u and v stand at tilt_axis and tilt_axis + 90.
    return np.stack([c * u - s * v, s * u + c * v])


def _matrix(values, name):
    return {
        f"{name}_{place}": value
        for place, value in zip(("xx", "xy", "yx", "yy"), values.ravel(), strict=True)
    }


def _row(case, group, lens, found, **more):
    power, prism, bend = found
    given = {
        "id": case,
        "group": group,
        **_matrix(lens.front.matrix, "front"),
        **_matrix(lens.back.matrix, "back"),
        "thickness_mm": lens.centre_thickness_mm,
        "index": lens.index,
        "x_mm": 0.0,
        "y_mm": 0.0,
        "tilt": 0.0,
        "tilt_axis": 180.0,
    }
    out = {**_matrix(power, "power"), "prism_x": prism[0], "prism_y": prism[1], **_matrix(bend, "bend")}
    return {**given, **more, **out}


def _rows():
    for name, lens in LENSES.items():
        yield _row(f"{name}, back", "back", lens, traced(lens))
        # The tracer gets the lens turned over by hand; ours is asked for its front.
        yield _row(f"{name}, front", "front", lens, traced(_turned_over(lens)))
    for name in ("BV1", "BV2", "BV4", "toric back", "crossed torics"):
        lens = LENSES[name]
        for x, y in ((0.2, 0.0), (0.0, -0.2), (0.15, 0.1)):
            # The axis meets the back surface square, as a lens lies on the stop.
            slope = lens.back.matrix @ np.array([x, y]) / (lens.index - 1) / 1000.0
            sag = np.array([x, y]) @ slope / 2.0
            found = traced(lens, at=(x, y, sag), axis=(-slope[0], -slope[1], 1.0))
            yield _row(f"{name} at {x}, {y}", "decentred", lens, found, x_mm=x, y_mm=y)
    for line, tilt_axis in (
        ((10.0,), 180.0),
        ((-8.0,), 90.0),
        ((6.0, -3.0, 20), 180.0),
        ((-4.0, -2.5, 75), 40.0),
    ):
        for front in (2.0, 9.0):
            for tilt in (8.0, 20.0):
                lens = ThickLens.made_to(sphere_cylinder(*line), sphere_cylinder(front), 1e-4, 1.55)
                axis = _leaning(tilt, tilt_axis)
                power, prism, bend = traced(lens, axis=axis)
                turn = _turn_between(tilt_axis, axis) @ _across(axis / np.linalg.norm(axis)).T
                found = turn @ power @ turn.T, prism, bend
                case = f"{line} leant {tilt:g} about {tilt_axis:g}, front {front:g}"
                yield _row(case, "tilted thin", lens, found, tilt=tilt, tilt_axis=tilt_axis)
    for power, front, thickness in (
        (-10.0, 1.5, 1.2),
        (-6.0, 3.0, 1.2),
        (-2.0, 5.0, 1.8),
        (2.0, 6.0, 2.5),
        (4.0, 8.0, 3.5),
        (6.0, 10.0, 5.0),
        (10.0, 12.0, 6.0),
        (10.0, 14.0, 8.0),
    ):
        lens = ThickLens.made_to(sphere_cylinder(power), sphere_cylinder(front), thickness, 1.5)
        found = traced(lens, axis=_leaning(15.0, 180.0))
        yield _row(f"{power:g} front {front:g}, leant 15", "tilted thick", lens, found, tilt=15.0)


if __name__ == "__main__":
    source = {"source": f"rays traced with optiland {version('optiland')}", "status": "calc"}
    rows = [{**row, **source} for row in _rows()]
    with Path(__file__).with_name("traced.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.DictWriter(file, rows[0], lineterminator="\n")
        table.writeheader()
        for row in rows:
            table.writerow({k: f"{v:.9g}" if isinstance(v, float) else v for k, v in row.items()})
