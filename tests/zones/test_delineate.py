"""Likeness, numbers and shares, on squares of 1 m."""

import pytest
import shapely

from tests.zones.ground import NO_DATA, WATER, grid, load_n, pieces, row, soil, zones_of

A, B = soil(200), soil(300)


def test_a_uniform_field_is_one_zone():
    (zone,) = zones_of(grid([[A] * 4] * 3))
    # WORKED: 12 squares of 1 m² are 0.0012 ha, for the projection is equal-area. The
    # geodesic sum is good to a few cm² however small the ground.
    assert zone.area_ha == pytest.approx(0.0012, abs=1e-7)
    assert zone.facts == A
    assert zone.soils == (("soil 200", 1.0),)


@pytest.mark.parametrize(("alike_n", "count"), [(101, 1), (100, 9), (50, 9)])
def test_a_chessboard_is_as_many_zones_as_squares_until_they_are_alike(alike_n, count):
    # WORKED: A and B differ by 100 N; squares of one colour meet in corners only.
    board = grid([[A, B, A], [B, A, B], [A, B, A]])
    assert len(zones_of(board, alike_n=alike_n)) == count


def test_the_nearest_two_join_first():
    zones = zones_of(row((1, soil(0)), (1, soil(12)), (1, soil(20))), alike_n=15)
    # WORKED: 12 and 20 are nearest and make 16, which is 16 from 0. From west to east
    # it would have been 0 and 12, then 6 and 20: one zone.
    assert [load_n(zone) for zone in zones] == pytest.approx([0, 16])


def test_a_slow_drift_is_cut_where_the_steps_add_up():
    zones = zones_of(row(*[(1, soil(n)) for n in (0, 10, 20, 30)]), alike_n=15)
    # WORKED: 0 and 10 make 5; 5 and 20 differ by 15, so 20 goes with 30.
    assert [load_n(zone) for zone in zones] == pytest.approx([5, 25])
    assert [zone.shape.area for zone in zones] == [2, 2]


def test_joint_ground_is_weighed_by_area_and_names_its_soils():
    (zone,) = zones_of(row((1, soil(200)), (3, soil(210))), alike_n=20)
    # WORKED: (1 x 200 + 3 x 210) / 4 = 207.5.
    assert load_n(zone) == pytest.approx(207.5)
    assert zone.soils == (("soil 210", 0.75), ("soil 200", 0.25))


@pytest.mark.parametrize("alike_n", [0, 5])
def test_the_same_ground_joins_at_any_step_and_other_ground_does_not(alike_n):
    zones = zones_of(row((1, A), (1, A), (1, soil(205))), alike_n=alike_n)
    assert [zone.soils for zone in zones] == [(("soil 200", 1.0),), (("soil 205", 1.0),)]


def test_water_and_unknown_ground_join_only_their_own_kind():
    zones = zones_of(row((1, A), (1, WATER), (1, WATER), (1, NO_DATA), (1, A)), alike_n=1e9)
    assert [zone.soils[0][0] for zone in zones] == ["soil 200", "water", "no data", "soil 200"]
    assert [zone.shape.area for zone in zones] == [1, 2, 1, 1]
    assert zones[2].facts == NO_DATA


def test_a_field_in_two_parts_has_a_zone_in_each():
    west, east = zones_of(grid([[A, A, None, A]]))
    assert west.shape.bounds == (0, -1, 2, 0)
    assert east.shape.bounds == (3, -1, 4, 0)


def test_ground_that_meets_in_a_corner_is_two_zones():
    assert len(zones_of(grid([[A, None], [None, A]]))) == 2


def test_a_zone_goes_round_another_and_round_a_hole_in_the_field():
    around, inside = sorted(
        zones_of(grid([[A, A, A], [A, B, A], [A, A, A]])), key=lambda zone: -zone.shape.area
    )
    assert around.shape.area == 8
    assert shapely.Polygon(around.shape.interiors[0]).equals(inside.shape)
    (ring,) = zones_of(grid([[A, A, A], [A, None, A], [A, A, A]]))
    assert ring.shape.area == 8


def test_rounding_does_not_number_zones_that_lie_side_by_side():
    nudged = pieces([shapely.box(0, 0, 1, 1), shapely.box(3, 1e-9, 4, 1 + 1e-9)], [A, B])
    assert [load_n(zone) for zone in zones_of(nudged)] == pytest.approx([200, 300])


def test_zones_are_numbered_from_north_to_south_then_from_west_to_east():
    zones = zones_of(grid([[soil(100), soil(200)], [soil(300), soil(400)]]))
    assert [load_n(zone) for zone in zones] == pytest.approx([100, 200, 300, 400])
