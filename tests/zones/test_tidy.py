"""Slivers, on strips and squares whose sides can be counted."""

import pytest
import shapely

from tests.zones.ground import WATER, decide, grid, load_n, noded, pieces, row, soil, zones_of
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.tidy import join_slivers, sliver_test
from zoneplan.zones.width import NOTHING

A, B, C = soil(100), soil(200), soil(300)


def strip_between(width, middle=B):
    """10 m by 10 m: A, a strip of another soil from south to north, and C."""
    shapes = [
        shapely.box(0, 0, 4, 10),
        shapely.box(4, 0, 4 + width, 10),
        shapely.box(4 + width, 0, 10, 10),
    ]
    return pieces(shapes, [A, middle, C])


def test_small_ground_joins_what_it_differs_from_least_however_short_the_border():
    # WORKED: 220 borders 100 along 3 m and 300 along 1 m, and is 80 from 300.
    around = shapely.box(0, 0, 4, 4).difference(shapely.box(3, 1, 4, 2))
    shapes = [around, shapely.box(3, 1, 4, 2), shapely.box(4, 0, 7, 4)]
    ground = pieces(noded(shapes), [A, soil(220), C])
    assert [zone.shape.area for zone in zones_of(ground, least_area_m2=2)] == [15, 13]


def test_a_tie_goes_to_the_longer_border():
    # WORKED: 200 is 100 from either; it borders 300 along 2 m and 100 along 1 m.
    shapes = [shapely.box(0, 0, 2, 1), shapely.box(2, 0, 3, 1)]
    corner = shapely.box(2, -3, 5, 1).difference(shapely.box(2, 0, 3, 1))
    zones = zones_of(pieces(noded([*shapes, corner]), [A, B, C]), least_area_m2=1.5)
    assert sorted(zone.shape.area for zone in zones) == [2, 12]


def test_a_border_is_as_long_as_all_its_pieces():
    # WORKED: 200 borders 100 along two pieces, 2 m together, and 300 along 1.5 m.
    west = [shapely.box(-1, 0, 1, 1), shapely.box(-1, 1, 1, 2)]
    shapes = [*west, shapely.box(1, 0, 2, 2), shapely.box(2, 0, 5, 1.5)]
    zones = zones_of(pieces(noded(shapes), [A, A, B, C]), least_area_m2=2.1)
    assert sorted(zone.shape.area for zone in zones) == [4.5, 6]


def test_a_tie_of_borders_too_goes_to_the_first_from_the_north_west():
    zones = zones_of(row((3, A), (1, B), (3, C)), least_area_m2=2)
    assert [zone.shape.area for zone in zones] == [4, 3]
    corner = grid([[A, None, None, None], [A, B, C, C]])
    assert [zone.shape.area for zone in zones_of(corner, least_area_m2=1.5)] == [3, 2]


def test_slivers_join_until_none_with_a_neighbour_is_left():
    strip = row(*[(1, soil(20 * n)) for n in range(9)])
    known = zip(strip["facts"], strip["site"], strip.area, strict=True)
    patchwork = Patchwork(strip.geometry.to_numpy(), [[alone] for alone in known], decide)
    joined = join_slivers(patchwork, sliver_test(NOTHING, least_area_m2=3, least_width_m=0))
    assert len(patchwork.patches) == 9 - joined
    assert all(patch.area_m2 >= 3 for patch in patchwork.patches.values())


def test_the_smallest_joins_first():
    ground = row((10, soil(0)), (1, soil(30)), (2, soil(65)), (10, soil(110)))
    # WORKED: 30 joins 0 (30 away, not 35), then 65 joins 110 (45 away, not 62). Had 65
    # gone first it would have joined 30, and 3 m² are no sliver: three zones.
    assert [zone.shape.area for zone in zones_of(ground, least_area_m2=3)] == [11, 12]


def test_likeness_is_looked_at_again_after_a_sliver_has_joined():
    ground = row((1, soil(100)), (4, soil(0)), (10, soil(35)))
    # WORKED: 1 m² of 100 and 4 m² of 0 make 20, and 20 is alike to 35 within 20 N.
    assert len(zones_of(ground, alike_n=20)) == 3
    assert len(zones_of(ground, alike_n=20, least_area_m2=2)) == 1


def test_a_strip_as_wide_as_asked_stays_and_a_thinner_one_joins():
    assert len(zones_of(strip_between(2), least_width_m=2)) == 3
    west, east = zones_of(strip_between(1.9, soil(150)), least_width_m=2)
    # WORKED: 150 is 50 from 100 and 150 from 300: the strip goes west.
    assert west.shape.area == pytest.approx(59)
    assert east.shape.area == pytest.approx(41)


def test_a_strip_round_a_corner_is_no_wider_than_the_strip():
    # WORKED: legs of 1 m; a circle of 1.17 m would fit into the bend.
    bend = shapely.box(0, 0, 10, 10).difference(shapely.box(0, 1, 9, 10))
    ground = pieces([bend, shapely.box(0, 1, 9, 10)], [A, C])
    assert len(zones_of(ground, least_width_m=1)) == 2
    assert len(zones_of(ground, least_width_m=1.1)) == 1


def test_zones_are_thin_where_the_field_is_thin():
    lane = row((20, A), (20, C))  # 1 m high
    assert len(zones_of(lane, least_width_m=5)) == 2
    # The same lane leads into a yard of 10 m: the lane stays, a strip in the yard goes.
    shapes = [
        shapely.box(-20, 4, 0, 5),
        shapely.box(0, 0, 1, 10),
        shapely.box(1, 0, 10, 10),
    ]
    zones = zones_of(pieces(noded(shapes), [A, B, C]), least_width_m=5)
    assert sorted(zone.shape.area for zone in zones) == [20, 100]


def test_a_small_part_of_the_field_on_its_own_stays():
    zones = zones_of(grid([[A, A, A, None, B]]), least_area_m2=2, least_width_m=3)
    assert [zone.shape.area for zone in zones] == [3, 1]


def test_a_small_part_of_two_soils_becomes_one_zone():
    zones = zones_of(grid([[A, A, A, None, B, C]]), least_area_m2=3)
    assert [zone.shape.area for zone in zones] == [3, 2]
    assert load_n(zones[1]) == pytest.approx(250)  # WORKED: halfway from 200 to 300


def test_a_small_pond_joins_the_soil_around_it_and_is_still_named():
    pond = grid([[A, A, A], [A, WATER, A], [A, A, A]])
    assert len(zones_of(pond)) == 2
    (zone,) = zones_of(pond, least_area_m2=2)
    assert zone.soils == (("soil 100", pytest.approx(8 / 9)), ("water", pytest.approx(1 / 9)))
    assert load_n(zone) == pytest.approx(100)


def test_a_little_soil_between_water_and_soil_joins_the_soil():
    # WORKED: the square borders water on three sides and soil on one.
    ground = grid([[WATER] * 4, [WATER, A, C, C], [WATER] * 4])
    zones = zones_of(ground, least_area_m2=2)
    assert sorted(zone.shape.area for zone in zones) == [3, 9]
