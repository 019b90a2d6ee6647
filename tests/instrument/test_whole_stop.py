"""The picture over the whole stop, beside pictures built from rays that other code traces.

`traced_rays` follows rays through both surfaces by Snell's law from their heights
alone; here the picture is built as it arises, one target for each of many points of
the stop, drawn bar by bar. Nothing of the package's optics or of its way to draw.
"""

from itertools import product

import numpy as np
import pytest
from traced_rays import STOP_MM, Traced, placed, sphere, with_flat_top

from optics.instrument.focimeter import CYLINDER_LINES, EYE_BLUR, SPHERE_LINES, Settings, target_view
from optics.instrument.reader import read_lens, sharpness
from optics.lens.lens import BACK, FRONT
from optics.lens.multifocal import Multifocal
from optics.lens.power import Power
from optics.lens.progressive import Progressive
from optics.lens.thick import ThickLens
from optics.lens.tilt import Tilted

POWERS, ADDITIONS = (4.0, 1.0, -4.0), (1.0, 2.5)
SIZE, HALF_WIDTH, FINER = 96, 2.5, 3
PICTURE_WITHIN, DRUM_WITHIN, CONTRAST_WITHIN = 0.05, 0.06, 0.1


def rings(count):
    """Points that stand for equal parts of the stop, by the golden angle; not the package's own."""
    number = np.arange(count) + 0.5
    turn = number * np.pi * (3.0 - np.sqrt(5.0))
    return STOP_MM * np.sqrt(number / count)[:, None] * np.stack([np.cos(turn), np.sin(turn)], -1)


class OtherPicture:
    """What the eyepiece shows, from traced rays; as the operator sees it."""

    def __init__(self, rays, ground, mirrored, points=400):
        self.rays, self.ground = rays, np.asarray(ground)
        self.turn = np.array([-1.0, 1.0]) if mirrored else np.ones(2)
        self.rho = rings(points)

    def sent(self, drum, target=(0.0, 0.0)):
        """Where a place of the target (prism dioptres) is seen through each point of the stop."""
        slope = (self.rho * drum / 1000.0 + np.asarray(target) / 100.0) * self.turn
        return (100.0 * self.rays.leaves(self.rho * self.turn, slope) + self.ground) * self.turn

    def crossing(self, drum):
        return self.sent(drum).mean(0)

    def picture(self, drum, wheel, middle):
        size = SIZE * FINER
        steps = (np.arange(size) - size / 2 + 0.5) * (2.0 * HALF_WIDTH / size)
        x, y = np.meshgrid(steps, -steps)
        base = self.sent(drum)
        shown = np.stack(
            [(self.sent(drum, way) - self.sent(drum, -way)) / 4.0 for way in 2.0 * np.eye(2)], -1
        ).mean(0)
        back = np.linalg.inv(shown)
        turn = np.deg2rad(wheel)
        total = np.zeros((size, size))
        for at in base - middle:
            u, v = (back[i, 0] * (x - at[0]) + back[i, 1] * (y - at[1]) for i in (0, 1))
            along, across = u * np.cos(turn) + v * np.sin(turn), v * np.cos(turn) - u * np.sin(turn)
            total += lit(SPHERE_LINES, across, along) + lit(CYLINDER_LINES, along, across)
        total /= len(base)
        fine = np.exp(-0.5 * (steps / EYE_BLUR) ** 2)
        kernel = fine[np.abs(steps) < 5 * EYE_BLUR]
        for axis in (0, 1):
            total = np.apply_along_axis(np.convolve, axis, total, kernel / kernel.sum(), "same")
        return total.reshape(SIZE, FINER, SIZE, FINER).mean((1, 3))


def lit(lines, along, across):
    """A chain: thick links where there is a dash, a thread all the way."""
    half = lines.dashes // 2
    whole = half * lines.dash_spacing + lines.dash_length / 2.0
    soft = 2.0 * HALF_WIDTH / (SIZE * FINER)

    def within(distance, reach):
        return np.clip(0.5 + (reach - np.abs(distance)) / soft, 0.0, 1.0)

    nearest = np.clip(np.round(along / lines.dash_spacing), -half, half) * lines.dash_spacing
    link = within(along - nearest, lines.dash_length / 2.0)
    row = across - np.clip(np.round(across / lines.spacing), -1, 1) * lines.spacing
    thick, thin = within(row, lines.width / 2.0), within(row, lines.thread / 2.0)
    return within(along, whole) * (link * thick + (1.0 - link) * thin)


def of_progressive(lens, place, against):
    """The same lens by its surfaces: the heights of the progressive one and of the sphere."""
    body, is_front = lens.body, lens.carried_by == FRONT
    carrying = body.front if is_front else body.back.by
    progressive = placed(carrying.sheet.height_mm, carrying.degrees, carrying.at_mm)
    curvature = (body.back if is_front else body.back.sheet).curvature
    assert abs(curvature[0, 0] - curvature[1, 1]) < 0.05 * abs(curvature[0, 0]) + 2e-4
    x, y = curvature[0, 0], curvature[1, 1]

    def back(at_x, at_y):
        square = (x * at_x) ** 2 + (y * at_y) ** 2
        cross = 2 * curvature[0, 1] * at_x * at_y
        return (x * at_x**2 + y * at_y**2 + cross) / (1.0 + np.sqrt(1.0 - square))

    surfaces = (progressive, back)
    if not is_front:
        surfaces = (
            sphere(lens.front_curve, lens.index, FRONT),
            lambda at_x, at_y: back(at_x, at_y) - progressive(at_x, at_y),
        )
    rays = Traced(*surfaces, lens.centre_thickness_mm, lens.index, *place, against)
    return OtherPicture(rays, body.ground, against == FRONT)


def settings_for(met, middle, **more):
    sphere_power, _, axis = (float(value) for value in met.power.sphere_cylinder())
    return Settings(
        drum=more.get("drum", sphere_power),
        wheel=more.get("wheel", axis),
        compensator_x=float(middle[0]),
        compensator_y=float(middle[1]),
    )


def contrast(picture, wheel):
    """Of the sphere lines: brightest and darkest of their profile near the middle."""
    steps = (np.arange(SIZE) - SIZE / 2 + 0.5) * (2 * HALF_WIDTH / SIZE)
    x, y = np.meshgrid(steps, -steps)
    turn = np.deg2rad(wheel)
    along = x * np.cos(turn) + y * np.sin(turn)
    near = (np.abs(along) < 0.4) & (np.hypot(x, y) < 2.2)
    bins = np.round(along[near] / 0.05).astype(int)
    profile = np.array([picture[near][bins == k].mean() for k in np.unique(bins)])
    return float((profile.max() - profile.min()) / (profile.max() + profile.min()))


def held_beside(met, other, wheel_off=0.0):
    middle = other.crossing(float(met.power.mean))
    at = settings_for(met, middle)
    wheel = (at.wheel + wheel_off - 1e-9) % 180.0 + 1e-9
    for drum in (at.drum, at.drum - 0.3):
        ours = target_view(at.turned(drum=drum, wheel=wheel), met, SIZE, HALF_WIDTH)
        theirs = other.picture(drum, wheel, middle)
        apart = np.sqrt(np.mean((ours - theirs) ** 2)) / np.ptp(theirs)
        assert apart < PICTURE_WITHIN, (drum, apart)
        assert contrast(ours, wheel) == pytest.approx(contrast(theirs, wheel), abs=CONTRAST_WITHIN)
    return middle, at


def best_drums(at, met, other, middle):
    """Near `at`, where the sphere lines are sharpest: by our picture, and by the traced one."""
    drums = at.drum + np.array([-0.3, -0.15, 0.0, 0.15, 0.3])
    tops = []
    for draw in (
        lambda drum: target_view(at.turned(drum=drum), met, SIZE, HALF_WIDTH),
        lambda drum: other.picture(drum, at.wheel, middle),
    ):
        seen = np.log([sharpness(draw(drum), at.wheel, HALF_WIDTH) for drum in drums])
        bend, slope, _ = np.polyfit(drums - at.drum, seen, 2)
        tops.append(-slope / (2.0 * bend))
    return tops


PLACES = {
    "distance": lambda lens: (lens.distance_reference_point, BACK),
    "prism reference": lambda lens: (lens.prism_reference_point, BACK),
    "mid corridor": lambda lens: ((lens.near_reference_point[0] / 2.0, -4.0), BACK),
    "near, front": lambda lens: (lens.near_reference_point, FRONT),
    "near, back": lambda lens: (lens.near_reference_point, BACK),
}


def each_once():
    """Every power, addition and place; at the desk two of them, in a thorough run every second.

    Of those every power and every addition stands at every place.
    """
    every = list(product(POWERS, ADDITIONS, PLACES))
    desk = every[:: len(PLACES) + 1][1:3]

    def run(power, addition, where):
        if (power, addition, where) in desk:
            return ()
        numbers = POWERS.index(power), ADDITIONS.index(addition), list(PLACES).index(where)
        return pytest.mark.exhaustive if sum(numbers) % 2 else pytest.mark.thorough

    return [pytest.param(*case, marks=run(*case)) for case in every]


@pytest.mark.parametrize(("power", "addition", "where"), each_once())
def test_a_progressive_looks_as_traced_rays_make_it_look(power, addition, where):
    lens = Progressive(power=Power.from_sphere_cylinder(power), addition=addition, eye="R")
    place, against = PLACES[where](lens)
    met, other = lens.over_stop(*place, against), of_progressive(lens, place, against)
    middle, at = held_beside(met, other)
    ours, theirs = best_drums(at, met, other, middle)
    assert ours == pytest.approx(theirs, abs=DRUM_WITHIN)


@pytest.mark.parametrize("against", [BACK, FRONT])
@pytest.mark.parametrize("addition", ADDITIONS)
@pytest.mark.parametrize("power", POWERS)
@pytest.mark.sampled(4)
def test_near_is_read_as_traced_rays_have_it(power, addition, against):
    lens = Progressive(power=Power.from_sphere_cylinder(power), addition=addition, eye="R")
    place = lens.near_reference_point
    met = lens.over_stop(*place, against)
    theirs, _ = of_progressive(lens, place, against).rays.power_and_prism()
    assert met.power.mean == pytest.approx(np.trace(theirs) / 2.0, abs=DRUM_WITHIN)
    middle = met.prism.vector

    def look(drum, wheel):
        at = Settings(drum=drum, wheel=wheel, compensator_x=float(middle[0]), compensator_y=float(middle[1]))
        return target_view(at, met, 96, HALF_WIDTH)

    read = read_lens(look, half_width=HALF_WIDTH)
    assert (read.sphere_lines + read.cylinder_lines) / 2 == pytest.approx(
        np.trace(theirs) / 2.0, abs=DRUM_WITHIN
    )


@pytest.mark.parametrize("against", [BACK, FRONT])
@pytest.mark.parametrize("power", POWERS)
@pytest.mark.sampled(2)
def test_a_back_surface_progressive_sends_rays_as_traced(power, against):
    lens = Progressive(power=Power.from_sphere_cylinder(power), addition=2.0, eye="R", carried_by=BACK)
    for place in (lens.distance_reference_point, (1.0, -6.0), lens.near_reference_point):
        met = lens.over_stop(*place, against)
        matrix, prism = of_progressive(lens, place, against).rays.power_and_prism()
        # Both as the operator sees them, who has turned the lens over.
        seen = np.array([-1.0, 1.0]) if against == FRONT else np.ones(2)
        assert met.power.matrix == pytest.approx(matrix * np.outer(seen, seen), abs=0.01)
        assert met.prism.vector == pytest.approx((prism + lens.body.ground) * seen, abs=0.02)


@pytest.mark.parametrize("below", [-1.5, 0.05, 2.0])
@pytest.mark.parametrize(("power", "addition"), [(-2.0, 2.0), (3.0, 2.5)])
@pytest.mark.sampled(2)
def test_across_a_flat_top_line_two_pictures_stand(power, addition, below):
    lens = Multifocal(power=Power.from_sphere_cylinder(power), addition=addition, eye="R")
    place = (lens.segment_top[0], lens.top_mm - below)
    back = lens.body.back.curvature[0, 0] * -1000.0 * (lens.index - 1.0)
    front = with_flat_top(
        sphere(lens.front_curve, lens.index, FRONT),
        addition,
        lens.index,
        lens.segment_top,
        lens.segment.width_mm,
        lens.segment.depth_mm,
    )
    plain = sphere(lens.front_curve, lens.index, FRONT)
    rays = Traced(front, sphere(back, lens.index, BACK), lens.centre_thickness_mm, lens.index, *place, FRONT)
    # Lying on its rim the lens does not tip with the segment's own curve.
    level = Traced(plain, sphere(back, lens.index, BACK), lens.centre_thickness_mm, lens.index, *place, FRONT)
    rays.axis, rays.sideways = level.axis, level.sideways
    met = lens.over_stop(*place, FRONT)
    other = OtherPicture(rays, (0.0, 0.0), mirrored=True)
    middle = other.crossing(power)
    for drum in (power, power + addition):
        at = settings_for(met, middle, drum=drum, wheel=180.0)
        ours = target_view(at, met, SIZE, HALF_WIDTH)
        theirs = other.picture(drum, 180.0, middle)
        assert np.sqrt(np.mean((ours - theirs) ** 2)) / np.ptp(theirs) < PICTURE_WITHIN
        assert contrast(ours, 180.0) == pytest.approx(contrast(theirs, 180.0), abs=CONTRAST_WITHIN)
    # Well to one side of the line most of the stop has one power, and the drum finds it.
    if below > 1.0:
        at = settings_for(met, middle, drum=power + addition, wheel=180.0)
        drums = best_drums(at, met, other, middle)
        assert drums[0] == pytest.approx(drums[1], abs=DRUM_WITHIN)


@pytest.mark.parametrize("power", [8.0, -8.0])
@pytest.mark.sampled(2)
def test_a_strong_lens_off_its_centre(power):
    lens = ThickLens.made_to(Power.from_sphere_cylinder(power), Power.from_sphere_cylinder(6.0), 4.0, 1.5)
    back = float(lens.back.mean)
    rays = Traced(sphere(6.0, 1.5, FRONT), sphere(back, 1.5, BACK), 4.0, 1.5, 3.0, 9.0, BACK)
    met = lens.over_stop(3.0, 9.0)
    assert met.power.astigmatism > 0.1, "light that leaves slantwise gains cylinder"
    held_beside(met, OtherPicture(rays, (0.0, 0.0), mirrored=False))


@pytest.mark.parametrize("tilt_axis", [180.0, 60.0])
@pytest.mark.parametrize("against", [BACK, FRONT])
@pytest.mark.sampled(3)
def test_a_tilted_thick_plus_lens_shows_cylinder_and_prism(tilt_axis, against):
    bare = ThickLens.made_to(Power.from_sphere_cylinder(8.0), Power.from_sphere_cylinder(10.0), 6.0, 1.5)
    lens = Tilted(lens=bare, tilt_degrees=15.0, tilt_axis=tilt_axis)
    surfaces = sphere(10.0, 1.5, FRONT), sphere(float(bare.back.mean), 1.5, BACK)
    rays = Traced(*surfaces, 6.0, 1.5, 0.0, 0.0, against, lean=(-15.0, tilt_axis))
    met = lens.over_stop(0.0, 0.0, against)
    assert met.prism.amount > (0.9 if against == BACK else 0.2)
    held_beside(met, OtherPicture(rays, (0.0, 0.0), mirrored=against == FRONT))


@pytest.mark.parametrize(("power", "addition"), [(4.0, 2.5), (-4.0, 1.0)])
@pytest.mark.sampled(2)
def test_what_a_place_is_said_to_read_is_what_its_picture_reads(power, addition):
    # Through 8 mm of stop the near circle reads up to 0.09 D less than in its middle.
    lens = Progressive(power=Power.from_sphere_cylinder(power), addition=addition, eye="R")
    missed = []
    for place in (lens.distance_reference_point, lens.near_reference_point):
        met = lens.over_stop(*place, FRONT)
        x, y = (float(value) for value in met.prism.vector)

        def look(drum, wheel, met=met, x=x, y=y):
            at = Settings(drum=drum, wheel=wheel, compensator_x=x, compensator_y=y)
            return target_view(at, met, 96, HALF_WIDTH)

        seen = read_lens(look, half_width=HALF_WIDTH).power
        assert seen.mean == pytest.approx(met.read.mean, abs=0.015)
        assert (seen - met.read).strength < 0.06
        missed.append(float(abs(seen.mean - met.power.mean)))
    assert max(missed) > 0.02, "the middle of the stop alone would not do"
