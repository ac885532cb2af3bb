"""Thin parts of wide zones, on squares."""

import pytest
import shapely

from tests.zones.ground import WATER, noded, pieces, soil, zones_of
from zoneplan.zones.teeth import teeth
from zoneplan.zones.tidy import opened

A, B = soil(100), soil(300)
BODY, TOOTH = shapely.box(0, 0, 20, 10), shapely.box(8, 10, 9, 16)
FIELD = shapely.box(0, 0, 20, 20)
LOWER = shapely.union_all([BODY, TOOTH])
UPPER = FIELD.difference(LOWER)


def test_a_tooth_is_what_a_wide_zone_has_of_thin_ground():
    # WORKED: 1 m by 6 m; the centimetre of slack stays with the body.
    (found,) = teeth(LOWER, opened(FIELD, 4.0), 4.0)
    assert found.area == pytest.approx(5.99)
    assert teeth(LOWER, opened(FIELD, 1.0), 1.0) == []


def test_ground_that_is_thin_because_the_field_is_has_no_tooth():
    assert teeth(LOWER, opened(LOWER, 4.0), 4.0) == []


def test_a_tooth_goes_to_the_neighbour():
    ground = pieces(noded([LOWER, UPPER]), [A, B])
    zones = zones_of(ground, least_area_m2=20, least_width_m=4)
    assert [zone.shape.area for zone in zones] == pytest.approx([200, 200], abs=0.02)
    north = dict(zones[0].soils)
    assert north["soil 100"] == pytest.approx(5.99 / 199.99, rel=1e-3)


def test_a_tooth_too_small_to_matter_stays():
    ground = pieces(noded([LOWER, UPPER]), [A, B])
    zones = zones_of(ground, least_area_m2=70, least_width_m=4)
    assert sorted(zone.shape.area for zone in zones) == pytest.approx([194, 206])


def test_what_a_neck_held_together_becomes_two_zones():
    # WORKED: two squares of 10 m, 10 m apart, held together by a neck of 1 m.
    chain = shapely.union_all(
        [shapely.box(0, 0, 10, 10), shapely.box(10, 4, 20, 5), shapely.box(20, 0, 30, 10)]
    )
    rest = shapely.box(-5, -10, 35, 20).difference(chain)
    zones = zones_of(pieces(noded([chain, rest]), [A, B]), least_area_m2=20, least_width_m=4)
    assert sorted(zone.shape.area for zone in zones) == pytest.approx([100, 100, 1000], abs=0.03)


def test_a_tooth_does_not_go_to_ground_of_another_kind():
    ground = pieces(noded([LOWER, UPPER]), [A, WATER])
    zones = zones_of(ground, least_area_m2=20, least_width_m=4)
    assert sorted(zone.shape.area for zone in zones) == pytest.approx([194, 206])
