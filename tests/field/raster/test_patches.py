"""Grids to polygons: means exact at partial cells, edges along cells, nothing too small."""

import numpy as np
import pytest
import shapely
from affine import Affine
from rasterio.features import rasterize
from scipy.ndimage import gaussian_filter
from shapely.geometry import MultiPolygon, Point, Polygon, box

from tests.field.ground import LOCAL, SQUARE, field_of
from tests.helpers.frames import frame_of
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.overlay import overlay
from zoneplan.field.raster.grid import Grid, field_shares
from zoneplan.field.raster.patches import (
    LEAST_PATCH_M2,
    class_ground,
    grid_ground,
    join_small,
    patches_of,
)
from zoneplan.field.shapes import SoilLayer

GREY = np.array([[1, 1, 2, 2], [1, 3, 3, 2], [-1, 3, 1, 1]])  # small enough to colour by hand
FOUR = np.arange(16.0).reshape(4, 4)  # 0 in the north-west, 15 in the south-east
ACROSS = box(150, 50, 350, 350)  # through the middles of cells of 100 m


def grid_of(clay, cell_m=100.0, west=0.0, north=400.0, crs=LOCAL, sand=0.4, **more):
    clay = np.asarray(clay, dtype=float)
    sand = np.full(clay.shape, sand) if np.isscalar(sand) else sand
    values = {"sand_frac": sand, "silt_frac": 1 - sand - clay, "clay_frac": clay, **more}
    return Grid(values, Affine(cell_m, 0, west, 0, -cell_m, north), crs)


def rolling(size, width, seed=1, least=0.12, most=0.32):
    """Clay that rolls over the ground, from least to most."""
    rolls = gaussian_filter(np.random.default_rng(seed).normal(size=(size, size)), width)
    return least + (most - least) * (rolls - rolls.min()) / np.ptp(rolls)


def clays(ground):
    return np.array([facts.clay_frac for facts in ground["facts"]])


def in_field_m2(ground, field):
    return shapely.area(
        shapely.intersection(ground.to_crs(field.crs).geometry.to_numpy(), field.shape)
    )


def test_cells_of_peat_are_organic_ground_with_or_without_a_texture():
    # WORKED: the two western columns hold 30 % of organic matter, of one of them no texture is
    # known; each is 4 of 16 cells.
    clay = np.full((4, 4), 0.2)
    clay[:, 0] = np.nan
    organic = np.full((4, 4), 3.0)
    organic[:, :2] = 30.0
    ground = grid_ground(grid_of(clay, organic_pct=organic), field_of(SQUARE))
    shares = {}
    for facts, m2 in zip(ground["facts"], ground.geometry.area, strict=True):
        shares[facts.ground] = shares.get(facts.ground, 0) + m2 / 160_000
        assert facts.organic_pct == pytest.approx(30 if facts.ground == "organic" else 3)
    assert shares == pytest.approx({"organic": 0.5, "soil": 0.5})


def test_shares_of_cells_that_the_edge_cuts():
    # WORKED: columns 1 to 3 lie in it by a half, whole and a half, rows 0 to 3 by a half,
    # whole, whole and a half: 6 cells in all.
    shares = field_shares(grid_of(FOUR), field_of(ACROSS))
    assert shares * 6 == pytest.approx(np.outer([0.5, 1, 1, 0.5], [0, 0.5, 1, 0.5]))


def test_shares_add_up_to_what_the_grid_covers():
    assert field_shares(grid_of(FOUR, west=-100), field_of(SQUARE)).sum() == pytest.approx(0.75)
    assert field_shares(grid_of(FOUR, west=900), field_of(SQUARE)).sum() == 0


def test_shares_with_a_hole_and_two_parts():
    # WORKED: three quarters of the first cell, a tenth of the last; 7,500 and 1,000 m².
    holed = Polygon(box(0, 300, 100, 400).exterior, [box(25, 325, 75, 375).exterior.coords])
    shares = field_shares(grid_of(FOUR), field_of(MultiPolygon([holed, box(300, 0, 310, 100)])))
    assert shares[0, 0] == pytest.approx(7500 / 8500)
    assert shares[3, 3] == pytest.approx(1000 / 8500)
    assert shares.sum() == pytest.approx(1)


def test_the_mean_of_a_patch_is_exact_at_partial_cells():
    # WORKED: rows weigh 1, 2, 2, 1 and columns 1, 2, 1: the mean row is 1.5, the mean column
    # 2, so the mean number is 4 x 1.5 + 2 = 8. Middles of cells would say 7.5 or 8.5.
    ground = grid_ground(grid_of(0.2 + FOUR / 1000), field_of(ACROSS))
    (facts,) = ground["facts"]
    assert facts.clay_frac == pytest.approx(0.208, rel=1e-9)
    assert (facts.texture, facts.rated_share) == ("loam", 1.0)
    # Outlined are the cells that it touches, whole.
    assert ground.geometry[0].equals(box(100, 0, 400, 400))
    assert ground.crs == LOCAL


def test_each_square_of_a_chessboard_is_itself():
    board = np.where(np.indices((8, 8)).sum(axis=0) % 2, 0.30, 0.10)
    field = field_of(box(25, 25, 375, 375))
    ground = grid_ground(grid_of(board, cell_m=50), field)
    assert len(ground) == 64
    assert sorted(clays(ground).round(9)) == [0.1] * 32 + [0.3] * 32
    laid = overlay(field, [SoilLayer("board", "raster", ground)])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert uncovered_ha == 0
    assert len(pieces) == 64
    assert pieces.area.sum() == pytest.approx(field.shape.area)


def test_a_chessboard_too_fine_to_follow_keeps_its_mean():
    board = np.where(np.indices((80, 80)).sum(axis=0) % 2, 0.30, 0.10)
    field = field_of(SQUARE)
    ground = grid_ground(grid_of(board, cell_m=5), field)
    areas_m2 = in_field_m2(ground, field)
    assert areas_m2.min() >= LEAST_PATCH_M2
    assert np.average(clays(ground), weights=areas_m2) == pytest.approx(0.2)


def test_fine_cells_are_put_together_without_losing_any():
    # Cells of 1 m become 5 m; 12.3 m from the edge of the grid the field's edge cuts both.
    rng = np.random.default_rng(3)
    clay = 0.24 + 0.01 * rng.random((100, 100))
    field = field_of(box(12.3, 312.3, 80.7, 387.7))
    grid = grid_of(clay, cell_m=1)
    ground = grid_ground(grid, field)
    assert (shapely.get_coordinates(ground.geometry) % 5 == 0).all()
    areas_m2 = in_field_m2(ground, field)
    exact = (field_shares(grid, field) * clay).sum()
    assert np.average(clays(ground), weights=areas_m2) == pytest.approx(exact, rel=1e-9)


def test_working_cells_do_not_hang_on_where_the_grid_was_cut_out():
    clay = rolling(60, 6)
    field = field_of(box(10, 350, 50, 390))
    whole = grid_ground(grid_of(clay, cell_m=1), field)
    cut = grid_ground(grid_of(clay[7:, 3:], cell_m=1, west=3, north=393), field)
    assert shapely.equals(whole.geometry, cut.geometry).all()
    assert clays(whole) == pytest.approx(clays(cut))


def blob(centre, size_m):
    corners = [0.8, 1.0, 0.7, 0.95, 0.6, 0.9, 1.0]
    angles = np.arange(7) * 2 * np.pi / 7
    reach = size_m * np.array(corners)
    return Polygon(np.column_stack([np.cos(angles), np.sin(angles)]) * reach[:, None] + centre)


@pytest.mark.parametrize("degrees", [False, True])
def test_means_agree_with_an_independent_rasterisation(degrees):
    # WORKED another way: the polygons are burnt on a grid 16 times as fine, and the cells
    # whose middles lie in the field are counted.
    field = field_of(blob((200, 200), 190))
    clay = rolling(24, 3)
    if degrees:
        west, south, east, north = move(SQUARE.buffer(20), LOCAL, WGS_84).bounds
        step = Affine((east - west) / 24, 0, west, 0, (south - north) / 24, north)
        grid = Grid(grid_of(clay).values, step, WGS_84)
    else:
        grid = grid_of(clay, cell_m=18, west=-16, north=416)
    ground = grid_ground(grid, field)
    assert len(ground) > 10

    fine = Affine(*(np.array(grid.transform[:6]) / [16, 1, 1, 1, 16, 1]))
    size = (24 * 16, 24 * 16)
    number = rasterize(zip(ground.geometry, range(1, 99), strict=False), size, transform=fine)
    inside = rasterize([move(field.shape, LOCAL, grid.crs)], size, transform=fine)
    number = (number * inside).ravel()
    count = np.bincount(number)
    means = np.bincount(number, np.repeat(np.repeat(clay, 16, 0), 16, 1).ravel()) / count
    # Half a fine cell along the edge: of patches of some 30 cells, a fraction of a percent.
    assert clays(ground) == pytest.approx(means[1:], abs=2e-4)
    assert in_field_m2(ground, field) == pytest.approx(
        count[1:] / inside.sum() * field.shape.area, abs=25
    )


def test_a_field_in_another_system_is_found():
    # Where the systems differ, exact_extract only warns, and all means are NaN.
    west, _, _, north = move(SQUARE, LOCAL, "EPSG:26915").bounds
    grid = grid_of(np.full((50, 50), 0.2), 10.0, west - 20, north + 20, crs="EPSG:26915")
    assert field_shares(grid, field_of(SQUARE)).sum() == pytest.approx(1, rel=1e-9)
    assert clays(grid_ground(grid, field_of(SQUARE))) == pytest.approx([0.2])


def test_soils_of_one_kind_are_one_patch_and_classes_are_kept_apart():
    # WORKED: 26.9 and 27.1 % clay are alike, but the line between loam and clay loam is 27.
    west_to_east = np.tile([0.201, 0.219, 0.269, 0.271], (4, 1))
    ground = grid_ground(grid_of(west_to_east), field_of(SQUARE))
    assert [facts.texture for facts in ground["facts"]] == ["loam", "loam", "clay loam"]
    assert clays(ground) == pytest.approx([0.21, 0.269, 0.271])


def test_organic_matter_where_it_is_known():
    organic = np.tile([2.0, 2.1, np.nan, 6.0], (4, 1))
    ground = grid_ground(grid_of(np.full((4, 4), 0.2), organic_pct=organic), field_of(SQUARE))
    assert [facts.organic_pct for facts in ground["facts"]] == [pytest.approx(2.05), None, 6.0]


def test_unknown_cells_are_left_out():
    clay = np.full((4, 4), 0.2)
    clay[:, 3] = np.nan
    ground = grid_ground(grid_of(clay), field_of(SQUARE))
    assert ground.geometry[0].equals(box(0, 0, 300, 400))
    assert ground["facts"][0].rated_share == 1.0


def test_fine_unknown_cells_lower_the_rated_share():
    # WORKED: of each block of 5 x 5 cells 2 columns are unknown in the west half, 3 in the east.
    clay = np.full((40, 40), 0.2)
    clay[:, 0:20:5] = clay[:, 1:20:5] = np.nan
    clay[:, 20::5] = clay[:, 21::5] = clay[:, 22::5] = np.nan
    ground = grid_ground(grid_of(clay, cell_m=1), field_of(box(0, 360, 40, 400)))
    (facts,) = ground["facts"]
    assert facts.rated_share == pytest.approx(0.6)
    assert ground.geometry[0].equals(box(0, 360, 20, 400))


def test_nothing_known_is_no_ground():
    nothing = grid_of(np.full((4, 4), np.nan))
    assert len(grid_ground(nothing, field_of(SQUARE))) == 0
    assert len(class_ground(nothing, "clay_frac", field_of(SQUARE), [0.2])) == 0


def test_a_fine_and_noisy_grid_gives_few_polygons_that_tile_the_field():
    clay = rolling(210, 30) + 0.02 * np.random.default_rng(2).normal(size=(210, 210))
    field = field_of(shapely.affinity.rotate(box(20, 20, 380, 380), 7))
    ground = grid_ground(grid_of(clay, cell_m=2, west=-9, north=409), field)
    areas_m2 = in_field_m2(ground, field)
    assert len(ground) < 200  # of 44,100 cells
    assert areas_m2.min() >= LEAST_PATCH_M2 - 1e-6
    assert ground.is_valid.all()
    laid = overlay(field, [SoilLayer("fine", "raster", ground)])
    pieces, uncovered_ha = frame_of(laid.pieces), laid.uncovered_ha
    assert uncovered_ha == 0
    assert shapely.coverage_is_valid(pieces.geometry.to_numpy())
    assert pieces.area.sum() == pytest.approx(field.shape.area)


def test_a_patch_that_touches_itself_at_a_corner_is_a_valid_polygon():
    # The hole meets the outside at one corner.
    clay = np.where([[1, 1, 1, 1], [1, 0, 1, 1], [1, 1, 0, 1], [1, 1, 0, 1]], 0.2, 0.5)
    ground = grid_ground(grid_of(clay), field_of(SQUARE))
    assert ground.is_valid.all()
    assert sorted(ground.area / 1e4) == [1, 2, 13]


def test_classes_of_one_property():
    # WORKED: a value on an edge belongs above it.
    grid = Grid({"ec": np.tile([5.0, 10.0, 15.0, 20.0], (4, 1))}, grid_of(FOUR).transform, LOCAL)
    ground = class_ground(grid, "ec", field_of(SQUARE), [10, 16])
    assert list(ground["part"]) == [0, 1, 2]
    assert list(ground.area / 1e4) == [4, 8, 4]
    assert ground.geometry[1].equals(box(100, 0, 300, 400))


def test_a_class_patch_too_small_goes_to_what_is_most_like_it():
    # WORKED: 20 x 20 m lie between 10 and 40; with 24 they are nearer to the 10.
    values = np.tile(np.repeat([10.0, 40.0], 5), (10, 1))
    values[4:6, 4:6] = 24
    grid = Grid({"ec": values}, Affine(10, 0, 0, 0, -10, 100), LOCAL)
    ground = class_ground(grid, "ec", field_of(box(0, 0, 100, 100)), [20, 30])
    assert list(ground["part"]) == [0, 2]
    assert list(ground.area) == [5200, 4800]


def test_class_patches_of_a_noisy_property_are_none_too_small():
    rng = np.random.default_rng(2)
    noisy = gaussian_filter(rng.normal(size=(80, 80)), 4) * 10 + rng.normal(size=(80, 80))
    grid = Grid({"ec": noisy}, Affine(5, 0, 0, 0, -5, 400), LOCAL)
    field = field_of(Point(200, 200).buffer(190))
    ground = class_ground(grid, "ec", field, [-0.5, 0.5])
    assert set(ground["part"]) == {0, 1, 2}
    assert in_field_m2(ground, field).min() >= LEAST_PATCH_M2 - 1e-6


def test_a_patch_hangs_together_by_edges_not_corners():
    # WORKED: the two 1s below touch the others at a corner only.
    expected = [[0, 0, 1, 1], [0, 2, 2, 1], [-1, 2, 3, 3]]
    assert patches_of(GREY).tolist() == expected


def join(rows, values, least):
    kinds = np.array(rows)
    weights = np.ones((kinds >= 0).sum())
    return join_small(patches_of(kinds), weights, [np.array(values, dtype=float)], least).tolist()


def test_the_smallest_joins_the_neighbour_most_like_it():
    # WORKED: 5 lies between 1 and 6, and is nearer to 6.
    assert join([[0, 0, 1, 2, 2]], [1, 1, 5, 6, 6], least=2) == [[0, 0, 1, 1, 1]]


def test_what_was_taken_in_counts_from_then_on():
    # WORKED: 4 joins 5, their mean is 4.5. That is still small, and nearer to 7 than to 1.
    values = [1, 1, 1, 4, 5, 7, 7, 7]
    assert join([[0, 0, 0, 1, 2, 3, 3, 3]], values, least=3) == [[0, 0, 0, 1, 1, 1, 1, 1]]


def test_a_small_patch_without_neighbours_stays():
    assert join([[0, -1, 1, 1]], [1, 9, 9], least=2) == [[0, -1, 1, 1]]


def test_nothing_at_all():
    assert join([[-1, -1]], [], least=2) == [[-1, -1]]


@pytest.mark.parametrize("least", [2, 5, 40])
def test_a_chessboard_joins_too(least):
    # No square has a neighbour of its own kind; all the same none is left small.
    kinds = np.indices((9, 9)).sum(axis=0) % 2
    joined = join_small(patches_of(kinds), np.ones(81), [kinds.ravel().astype(float)], least)
    assert np.bincount(joined.ravel()).min() >= least
    assert patches_of(joined).max() == joined.max()  # and each hangs together
