"""Stretches of outlines on squares that can be counted, and beside shapely's own verdict."""

import numpy as np
import pytest
import shapely

from tests.zones.ground import triangles
from zoneplan.field.tiles import corner_numbers, stretches_of, tiles

FIELD = shapely.box(0, 0, 4, 4)
WEST, EAST = shapely.box(-1, -1, 2, 5), shapely.box(2, -1, 5, 5)


def test_what_three_share_is_not_twofold():
    square = shapely.box(0, 0, 1, 1)
    assert stretches_of(np.array([square, square])).twofold
    assert not stretches_of(np.array([square] * 3)).twofold


def test_rings_are_not_joined_and_a_corner_twice_is_no_stretch():
    ring = shapely.Polygon(
        [(0, 0), (5, 0), (5, 0), (5, 5), (0, 5)], [[(1, 1), (3, 1), (3, 4), (1, 4)]]
    )
    plain = shapely.box(6, 0, 7, 1)
    # WORKED: four sides of the outline, four of its hole, four of the square beside it.
    assert (
        len(stretches_of(np.array([plain, ring, plain.buffer(-0.1, join_style="mitre")])).lone)
        == 16
    )


@pytest.mark.parametrize("seed", range(3))
def test_a_whole_field_less_one_piece_has_that_one_for_its_edge(seed):
    shapes = triangles(seed).geometry.to_numpy()
    whole = stretches_of(shapes)
    assert whole.twofold
    outline = shapely.coverage_union_all(shapes)
    metres = np.hypot(*(whole.lone[:, 1] - whole.lone[:, 0]).T).sum()
    assert metres == pytest.approx(outline.length, rel=1e-12)


@pytest.mark.parametrize("side", [0.5, 1.0, 5.0, 64.0])
def test_regular_ground_has_each_border_once(side):
    cells = [
        shapely.box(x * side, y * side, (x + 1) * side, (y + 1) * side)
        for x in range(-20, 20)
        for y in range(-20, 20)
    ]
    # WORKED: 2 * 40 * 39 sides between two cells, and 4 * 40 round the board.
    board = stretches_of(np.array(cells))
    assert (len(board.metres), len(board.lone), board.twofold) == (3120, 160, True)
    assert (np.diff(board.owners) > 0).all()


def test_stretches_with_one_middle_are_not_one():
    # WORKED: from 1 to 4 and from 2 to 3 on one line; only the side of each square is its own.
    tall, low = shapely.box(0, 1, 2, 4), shapely.box(-1, 2, 0, 3)
    assert len(stretches_of(np.array([tall, low])).owners) == 0


def test_corners_that_lie_opposite_each_other_have_numbers_of_their_own():
    x, y = np.random.default_rng(5).uniform(1, 500, (2, 1000)).round(7)
    mirrored = [(x, y), (-x, y), (x, -y), (-x, -y), (y, x), (-y, -x)]
    corners = np.concatenate([np.column_stack(pair) for pair in mirrored])
    assert len(np.unique(corner_numbers(corners))) == len(corners)
    board = np.stack(np.meshgrid(np.arange(-99, 100), np.arange(-99, 100)), axis=-1)
    board = board.reshape(-1, 2).astype(float)
    assert len(np.unique(corner_numbers(board))) == len(board)
    assert corner_numbers(np.array([[0.0, 1.0]])) == corner_numbers(np.array([[-0.0, 1.0]]))


def test_halves_tile_a_field():
    tiled = tiles(FIELD, np.array([WEST, EAST]))
    assert tiled is not None
    assert shapely.area(tiled.shapes).tolist() == [8, 8]
    assert tiled.owners.tolist() == [0, 1]


@pytest.mark.parametrize(
    "outlines",
    [
        [WEST],  # half is bare
        [WEST, EAST, EAST],  # half is covered twice
        [WEST, WEST],  # as much ground, but one half twice and the other not
        [WEST, shapely.Polygon([(2, -1), (5, -1), (5, 5), (2, 5), (2, 2)])],  # a corner of its own
        [WEST, shapely.box(1, -1, 2, 5), shapely.box(2, -1, 3, 5)],  # as much twice as is bare
    ],
    ids=["bare", "twice", "one half twice", "corner", "over and under"],
)
def test_what_does_not_fit_does_not_tile(outlines):
    assert tiles(FIELD, np.array(outlines)) is None
