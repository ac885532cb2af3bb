"""Outlines that tile, on squares: shared borders, lines and joins."""

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon, box

from tests.zones.ground import grid, soil, triangles
from zoneplan.zones.coverage import border_lengths, holder, merge, split, whole


def test_four_squares_share_four_sides_and_corners_do_not_count():
    squares = grid([[soil(1), soil(2)], [soil(3), soil(4)]]).geometry.to_numpy()
    # WORKED: 0 1 / 2 3, each side 1 m; 0-3 and 1-2 touch in the middle only.
    assert border_lengths(squares) == {(0, 1): 1.0, (0, 2): 1.0, (1, 3): 1.0, (2, 3): 1.0}


def test_a_hole_shares_its_whole_edge():
    ring = shapely.box(0, 0, 5, 5).difference(shapely.box(1, 1, 3, 4))
    # WORKED: a plug of 2 m by 3 m has an edge of 10 m.
    assert border_lengths(np.array([ring, shapely.box(1, 1, 3, 4)])) == {(0, 1): 10.0}


def test_a_border_in_two_stretches_is_added_up():
    frame = shapely.box(0, 0, 3, 3).difference(shapely.box(1, 0, 2, 2))  # open to the south
    # WORKED: the plug touches the frame west, north and east: 2 + 1 + 2 m.
    assert border_lengths(np.array([frame, shapely.box(1, 0, 2, 2)])) == {(0, 1): 5.0}


def test_strangers_share_nothing():
    assert border_lengths(np.array([shapely.box(0, 0, 1, 1), shapely.box(5, 0, 6, 1)])) == {}
    assert border_lengths(np.array([shapely.box(0, 0, 1, 1)])) == {}


@pytest.mark.parametrize("seed", range(3))
def test_borders_are_those_that_shapely_finds(seed):
    shapes = triangles(seed).geometry.to_numpy()
    edges = shapely.boundary(shapes)
    one, other = np.triu_indices(len(shapes), 1)
    lengths = shapely.length(shapely.intersection(edges[one], edges[other]))
    by_name = {
        (int(a), int(b)): length
        for a, b, length in zip(one, other, lengths, strict=True)
        if length > 0
    }
    assert border_lengths(shapes) == pytest.approx(by_name, rel=1e-9)


def test_whole_keeps_every_vertex():
    joined = whole(np.array([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)]))
    # WORKED: two squares have 6 corners between them; a ring repeats its first.
    assert shapely.get_num_coordinates(joined) == 7


ROW = np.array([box(0, 0, 100, 100), box(100, 0, 200, 100)])


def areas(shapes):
    return shapely.area(shapes).round(6).tolist()


def test_every_shape_that_is_crossed_is_parted_and_the_border_stays_shared():
    # WORKED: a line along y = 25 takes a quarter of each square of 100 m.
    parts, of = split(ROW, LineString([(-5, 25), (205, 25)]))
    assert sorted(zip(of.tolist(), areas(parts), strict=True)) == [
        (0, 2500.0),
        (0, 7500.0),
        (1, 2500.0),
        (1, 7500.0),
    ]
    assert shapely.coverage_is_valid(parts)


def test_an_end_inside_parts_nothing_but_leaves_its_corner_in_both():
    # It parts the first from edge to edge and ends in the middle of the second.
    parts, of = split(ROW, LineString([(-5, 25), (150, 25)]))
    assert of.tolist() == [0, 0, 1]
    assert shapely.coverage_is_valid(parts)
    assert (100.0, 25.0) in parts[2].exterior.coords


@pytest.mark.parametrize(
    "line",
    [
        LineString([(10, 10), (90, 90)]),  # all inside
        LineString([(0, 300), (200, 300)]),  # past the field
        LineString([(100, -5), (100, 105)]),  # along the border there is
        LineString([(-5, 0.05), (205, 0.05)]),  # a hairline beside the edge
        LineString([(5, 5), (5, 5)]),
        LineString(),
    ],
)
def test_a_line_that_parts_nothing_changes_nothing(line):
    parts, of = split(ROW, line)
    assert parts is ROW
    assert of.tolist() == [0, 1]


def test_a_ring_cuts_an_island():
    # WORKED: 20 x 20 m out of 100 x 100 m.
    ring = LineString([(40, 40), (60, 40), (60, 60), (40, 60), (40, 40)])
    parts, of = split(ROW, ring)
    assert sorted(zip(of.tolist(), areas(parts), strict=True)) == [
        (0, 400.0),
        (0, 9600.0),
        (1, 10000.0),
    ]
    island = next(part for part in parts if part.area == pytest.approx(400))
    around = next(part for part in parts if part.area == pytest.approx(9600))
    assert merge(island, around).area == pytest.approx(10000)


def test_a_hairline_stays_with_the_part_beside_it():
    # The line runs 0.05 m below the upper edge, then down across: one real cut.
    line = LineString([(-5, 99.95), (50, 99.95), (50, -5)])
    parts, of = split(ROW, line)
    assert of.tolist() == [0, 0, 1]
    assert areas(parts)[:2] == pytest.approx([5000.0, 5000.0], abs=3)
    assert shapely.coverage_is_valid(parts)


def test_the_same_line_again_parts_nothing_more():
    line = LineString([(-5, 13.123456789), (205, 88.87654321)])
    once, _ = split(ROW, line)
    assert len(once) == 4
    again, _ = split(once, line)
    assert again is once


def test_neighbours_join_and_others_do_not():
    assert merge(*ROW).equals(box(0, 0, 200, 100))
    assert merge(ROW[0], box(100, 100, 200, 200)) is None  # only a corner
    assert merge(ROW[0], box(150, 0, 200, 100)) is None


def test_joining_round_other_ground_leaves_a_hole():
    # WORKED: a square of 100 m less 20 x 20 m, in two halves round it.
    west = Polygon([(0, 0), (50, 0), (50, 40), (40, 40), (40, 60), (50, 60), (50, 100), (0, 100)])
    east = Polygon(
        [(50, 0), (100, 0), (100, 100), (50, 100), (50, 60), (60, 60), (60, 40), (50, 40)]
    )
    both = merge(west, east)
    assert (both.area, len(both.interiors)) == (9600.0, 1)


def test_a_place_is_in_the_field_but_for_a_hairline():
    places = [(50, 50), (150, 50), (-0.1, 50), (-1, 50)]
    assert [holder(ROW, shapely.Point(place)) for place in places] == [0, 1, 0, None]
