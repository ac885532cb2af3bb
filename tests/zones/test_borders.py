"""Shared borders on squares, and against shapely's own intersections."""

import numpy as np
import pytest
import shapely

from tests.zones.ground import grid, soil, triangles
from zoneplan.zones.borders import border_lengths, whole


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
