"""A progressive surface against a ray trace of its height, Minkwitz's relation, and what was asked for."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from traced_rays import Traced, sphere

from optics.errors import OpticsError
from optics.lens.laid_flat import Body, Curve
from optics.lens.lens import BACK, FRONT
from optics.lens.power import Power
from optics.lens.progressive_surface import EDGE_MM, ProgressiveSurface

SURFACE = ProgressiveSurface(base=5.5, addition=2.0)


# --- against rays traced through its height ------------------------------------------------------

# Up to 9 prism dioptres, where light leaves the far surface slantwise and gains power by it.
BACKS = (-3.0, -6.0, -8.0)
POINTS = [(0, 6), (0, 0), (0, -8), (0, -18), (3, -8), (-3, -8), (12, -7), (-15, -4), (10, 10), (5, -20)]
WITHIN = 0.005
"""Dioptres and prism dioptres: the tracer's own steps."""


@pytest.mark.parametrize("against", [BACK, FRONT])
@pytest.mark.parametrize("back_power", BACKS)
@pytest.mark.parametrize("point", POINTS, ids=str)
def test_power_and_prism_are_those_of_a_ray_trace(point, back_power, against):
    thickness, index = 3.0, SURFACE.index
    rays = Traced(SURFACE.height_mm, sphere(back_power, index, BACK), thickness, index, *point, against)
    power, prism = rays.power_and_prism()
    back = Curve.of(Power.from_sphere_cylinder(back_power), index, BACK)
    body = Body(front=SURFACE, back=back, thickness_mm=thickness, index=index)
    met = body.over_stop(*point, against)
    if against == FRONT:
        met = met._replace(power=met.power.turned_over(), prism=met.prism.turned_over())
    np.testing.assert_allclose(met.power.matrix, power, atol=WITHIN)
    np.testing.assert_allclose(met.prism.vector, prism, atol=WITHIN)


# --- the line of sight and beside it ---------------------------------------------------------------

SURFACES = st.builds(
    ProgressiveSurface,
    base=st.floats(2.0, 8.0),
    addition=st.floats(0.5, 3.5),
    index=st.sampled_from([1.5, 1.6, 1.67]),
    length_mm=st.sampled_from([10.0, 16.0]),
    hardness=st.sampled_from([0.0, 0.5, 1.0]),
)


@settings(max_examples=30, deadline=None)
@given(SURFACES, st.floats(-30.0, 30.0))
def test_the_line_of_sight_has_the_power_asked_for_and_no_astigmatism(surface, y):
    met = surface.power(0.0, y)
    assert met.mean == pytest.approx(surface.base + surface.profile(y), abs=0.005)
    assert met.astigmatism < 0.01


@settings(max_examples=30, deadline=None)
@given(SURFACES, st.floats(0.3, 0.7))
def test_astigmatism_grows_sideways_twice_as_fast_as_power_rises_along_the_line(surface, part):
    """Minkwitz's relation, both sides of it measured on the surface."""
    y = -part * surface.length_mm
    rise = (surface.power(0.0, y - 0.1).mean - surface.power(0.0, y + 0.1).mean) / 0.2
    aside = 0.25
    growth = surface.power(aside, y).astigmatism / aside
    # Two parts in a hundred: the relation is that of a flat sheet, the surface is curved.
    assert growth == pytest.approx(2.0 * rise, rel=0.02)
    assert surface.profile_slope(y) == pytest.approx(-rise, rel=0.01)


@settings(max_examples=20, deadline=None)
@given(SURFACES, st.floats(-30, 30), st.floats(-30, 30))
def test_left_and_right_of_the_line_are_mirror_images(surface, x, y):
    one, other = surface.power(x, y), surface.power(-x, y).turned_over()
    assert one.is_close(other, within=1e-6)
    slopes = surface.shape(np.array([x, -x]), np.array([y, y]))[1]
    np.testing.assert_allclose(slopes[0], slopes[1] * [-1.0, 1.0], atol=1e-9)


@settings(max_examples=20, deadline=None)
@given(SURFACES, st.floats(-25, 25), st.floats(-25, 25))
def test_height_slope_and_curvature_belong_to_one_surface(surface, x, y):
    step = 0.01
    height = surface.height_mm(np.array([x + step, x - step, x, x]), np.array([y, y, y + step, y - step]))
    slope = np.array([height[0] - height[1], height[2] - height[3]]) / (2 * step)
    _, slopes, bent = surface.shape(
        np.array([x + step, x - step, x, x]), np.array([y, y, y + step, y - step])
    )
    np.testing.assert_allclose(surface.shape(np.array(x), np.array(y))[1], slope, atol=1e-6)
    by_slope = np.stack([slopes[0] - slopes[1], slopes[2] - slopes[3]], -1) / (2 * step)
    np.testing.assert_allclose(bent.mean(0), by_slope, atol=1e-5)


# --- the whole surface -----------------------------------------------------------------------------


def over_the_lens(surface, radius=25.0):
    x, y = np.meshgrid(np.arange(-radius, radius + 1), np.arange(-radius, radius + 1))
    inside = np.hypot(x, y) <= radius
    return x[inside], y[inside] - 4.0, surface.power(x[inside], y[inside] - 4.0)


@pytest.mark.parametrize("addition", [1.0, 2.0, 3.0])
def test_the_strongest_astigmatism_is_about_the_addition_and_lies_low_at_the_sides(addition):
    surface = ProgressiveSurface(base=5.5, addition=addition)
    x, y, power = over_the_lens(surface)
    worst = np.argmax(power.astigmatism)
    assert 0.8 * addition < power.astigmatism[worst] < 1.3 * addition
    assert 8.0 < abs(x[worst]) < 20.0
    assert -18.0 < y[worst] < 0.0


def test_a_harder_design_has_wider_clear_zones_and_stronger_astigmatism():
    across = np.arange(-20.0, 20.01, 0.1)
    worst, near = [], []
    for hardness in (0.0, 0.5, 1.0):
        surface = ProgressiveSurface(base=5.5, addition=2.0, hardness=hardness)
        worst.append(np.max(over_the_lens(surface)[2].astigmatism))
        near.append(np.sum(surface.power(across, -19.0).astigmatism < 0.5))
    assert worst == sorted(worst) and worst[2] > 1.4 * worst[0]
    assert near == sorted(near) and near[2] > 1.2 * near[0]


def test_the_distance_zone_is_clear_above_the_fitting_cross():
    x, y, power = over_the_lens(SURFACE)
    high = y > 12.0
    assert np.max(power.astigmatism[high & (np.abs(x) < 12)]) < 0.25
    assert np.max(np.abs(power.mean[high & (np.abs(x) < 12)] - SURFACE.base)) < 0.15


@pytest.mark.parametrize("hardness", [0.0, 0.5, 1.0])
def test_the_near_zone_ends_in_one_slope_without_a_ridge_inside(hardness):
    surface = ProgressiveSurface(base=6.0, addition=2.0, hardness=hardness)
    astigmatism = surface.power(np.arange(0.0, 9.0), -20.0).astigmatism
    assert np.all(np.diff(astigmatism) > 0)


def test_without_addition_it_is_a_sphere_to_its_edge():
    surface = ProgressiveSurface(base=6.0, addition=0.0)
    angle = np.linspace(0, 2 * np.pi, 9)
    met = surface.power(EDGE_MM * np.cos(angle), EDGE_MM * np.sin(angle))
    np.testing.assert_allclose(met.vector, [[6.0, 0.0, 0.0]] * 9, atol=1e-9)
    # A sphere of 6 D in index 1.5: the sine of its slope is 40 mm over a radius of 83.3 mm.
    slope = surface.shape(np.array(0.0), np.array(-EDGE_MM))[1][1]
    assert np.sin(np.arctan(slope)) == pytest.approx(-0.48, abs=1e-9)


def test_a_curve_that_closes_before_the_edge_is_refused():
    with pytest.raises(OpticsError, match="Choose a flatter front curve or a higher index"):
        ProgressiveSurface(base=9.0, addition=4.0, index=1.42)
