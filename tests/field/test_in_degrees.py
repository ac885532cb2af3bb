import math

import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely.geometry import Polygon, box

from tests.export.plans import AREAS_HA, FIELD, SETTINGS
from zoneplan.demo import demo_fields, plan_demo
from zoneplan.field.crs import LONGEST_DEGREE_M, in_degrees, slack_m

WGS84 = Geod(ellps="WGS84")


def geodesic_ha(shape):
    area_m2, _ = WGS84.geometry_area_perimeter(shapely.orient_polygons(shape))
    return area_m2 / 1e4


def test_the_longest_degree_is_that_at_a_pole():
    # PUBLISHED: WGS 84, a = 6378137 m, 1/f = 298.257223563; the radius there is a² / b.
    a = 6_378_137.0
    b = a * (1 - 1 / 298.257223563)
    assert pytest.approx(a**2 / b * math.pi / 180, abs=0.5) == LONGEST_DEGREE_M


def test_slack_is_half_a_last_place_both_ways():
    # WORKED: half of 1e-7 degree is 5.585 mm; both ways 5.585 x 1.41421 = 7.898 mm.
    assert slack_m(7) == pytest.approx(0.007898, abs=1e-6)


@pytest.mark.parametrize("decimals", [7, 9])
def test_areas_stay_within_what_the_rounding_allows(decimals):
    for setting in SETTINGS:
        shape = in_degrees(setting.zone.shape, FIELD.crs, decimals)
        slack_ha = slack_m(decimals) * WGS84.geometry_length(shape) / 1e4
        assert geodesic_ha(shape) == pytest.approx(AREAS_HA[setting.zone.id], abs=slack_ha)


@pytest.mark.parametrize("decimals", [7, 9])
def test_corners_have_so_many_decimals_at_most(decimals):
    corners = shapely.get_coordinates(in_degrees(box(0, 0, 123.4, 56.7), FIELD.crs, decimals))
    assert (corners == corners.round(decimals)).all()
    assert np.abs(corners[0]).max() > 42  # longitude first, of a place in Iowa
    assert corners[0][0] < 0


@pytest.mark.parametrize("clockwise", [False, True])
def test_outlines_turn_counter_clockwise_and_holes_clockwise(clockwise):
    turned = shapely.orient_polygons(SETTINGS[0].zone.shape, exterior_cw=clockwise)
    shape = in_degrees(turned, FIELD.crs, 9)
    assert shape.exterior.is_ccw
    assert not shape.interiors[0].is_ccw


@pytest.mark.parametrize("demo", demo_fields(), ids=lambda demo: demo.name)
@pytest.mark.parametrize("decimals", [7, 9])
def test_zones_still_tile_the_field(demo, decimals):
    plan = plan_demo(demo)
    shapes = [in_degrees(setting.zone.shape, plan.field.crs, decimals) for setting in plan.settings]
    assert shapely.coverage_is_valid(shapes)


# A hole whose corner (50, 19) lies on the slanted side from (0, 0) to (100, 38): moved to degrees
# and rounded, the corner comes to lie outside by a hair.
TOUCHING = Polygon([(0, 0), (100, 38), (70, 130), (-20, 90)], [[(50, 19), (60, 60), (20, 50)]])
TOUCHING_HA = 0.885  # WORKED: shoelace, (10340 + 8900) / 2 less (1860 + 1800 - 2120) / 2 m²


@pytest.mark.parametrize("decimals", [7, 9])
def test_a_hole_that_touches_its_outline_stays_valid(decimals):
    assert TOUCHING.is_valid
    shape = in_degrees(TOUCHING, FIELD.crs, decimals)
    assert shape.is_valid
    slack_ha = slack_m(decimals) * WGS84.geometry_length(shape) / 1e4
    assert geodesic_ha(shape) == pytest.approx(TOUCHING_HA, abs=slack_ha)
    corners = shapely.get_coordinates(shape)
    assert (corners == corners.round(decimals)).all()
