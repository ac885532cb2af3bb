"""Slopes and running water on grids small enough to count, and on shapes with a formula."""

import math

import numpy as np
import pytest
from scipy import ndimage

from zoneplan.field.raster.heights import slope_frac
from zoneplan.field.raster.terrain import LEAST_SLOPE, catchment_m2, filled, wetness_index

CELL_M = 5.0
NAN = math.nan
ALL_ROUND_DEG = range(0, 360, 15)


def metres(rows, columns):
    """How far east and south each cell's middle lies from the first one's."""
    south, east = np.mgrid[:rows, :columns] * CELL_M
    return east, south


def slope_south(rows, columns):
    """An even slope of 5 %."""
    return 10 - 0.05 * metres(rows, columns)[1]


def rough(seed=7, rows=40, columns=50):
    """A slope with hills, and a hundred hollows of 20 cm dug at random."""
    rng = np.random.default_rng(seed)
    x, y = metres(rows, columns)
    heights = 100 + 0.01 * x + 2 * np.sin(x / 30) * np.cos(y / 40)
    heights.flat[rng.integers(0, heights.size, 100)] -= 0.2
    return heights


def has_lower_beside(level):
    lowest = ndimage.minimum_filter(np.where(np.isnan(level), np.inf, level), 3)
    return lowest < level


@pytest.mark.parametrize("tilt", [0.001, 0.06, 1.0])
@pytest.mark.parametrize("towards_deg", ALL_ROUND_DEG)
def test_a_plane_slopes_by_its_tilt_whichever_way(tilt, towards_deg):
    # WORKED: a plane's slope is its tilt.
    east, south = math.sin(math.radians(towards_deg)), math.cos(math.radians(towards_deg))
    x, y = metres(6, 7)
    slope = slope_frac(50 + tilt * (east * x + south * y), CELL_M)
    assert slope[1:-1, 1:-1] == pytest.approx(np.full((4, 5), tilt), rel=1e-9)


def test_a_round_hill_slopes_as_its_formula_says():
    # WORKED: z = 20 exp(-r²/2w²) slopes by z r / w². Differences over two cells are off by
    # the square of the cell: half as wide, a quarter of the fault.
    wide_m = 60.0

    def fault(cell_m):
        along = np.arange(-200, 200 + cell_m, cell_m)
        radius = np.hypot(along[:, None], along[None, :])
        heights = 20 * np.exp(-(radius**2) / (2 * wide_m**2))
        off = slope_frac(heights, cell_m) - heights * radius / wide_m**2
        return np.nanmax(np.abs(off))

    assert fault(5.0) < 0.001  # of 0.2, the steepest
    assert fault(5.0) / fault(2.5) == pytest.approx(4, rel=0.05)


def test_slope_agrees_with_another_implementation():
    # The same weights by another route: SciPy's Sobel operator is Horn's sum of differences.
    heights = rough()
    east, south = (ndimage.sobel(heights, axis) / (8 * CELL_M) for axis in (1, 0))
    inner = (slice(1, -1), slice(1, -1))
    assert slope_frac(heights, CELL_M)[inner] == pytest.approx(np.hypot(east, south)[inner])


def test_beside_unknown_ground_the_slope_is_unknown():
    heights = slope_south(7, 7)
    heights[3, 3] = NAN
    known = ~np.isnan(slope_frac(heights, CELL_M))
    assert known.sum() == 25 - 9
    assert not known[2:5, 2:5].any()


def test_a_pond_fills_to_its_spill():
    # WORKED: the pond of two cells spills over the 3 in the east, and no lower way is there.
    heights = np.array([[9, 9, 9, 9], [9, 1, 2, 3], [9, 9, 9, 9]], dtype=float)
    assert filled(heights) == pytest.approx(np.where(heights < 3, 3, heights))
    assert filled(heights)[1, 1] > filled(heights)[1, 2] > filled(heights)[1, 3]


def test_water_leaves_into_unknown_ground():
    heights = np.full((5, 5), 9.0)
    heights[2, 2] = 1
    heights[2, 3] = NAN
    assert filled(heights)[2, 2] == 1


def test_filling_agrees_with_another_algorithm():
    # Planchon & Darboux (2001), Catena 46:159-176: flood everything, then let each cell fall
    # to its lowest neighbour, or to the ground, until nothing changes.
    heights = rough()
    heights[10:14, 20:23] = NAN
    flooded = np.where(np.isnan(heights), -np.inf, np.inf)
    while True:
        around = ndimage.minimum_filter(flooded, 3, mode="constant", cval=-np.inf)
        lower = np.where(np.isnan(heights), -np.inf, np.maximum(heights, around))
        if (lower == flooded).all():
            break
        flooded = lower
    assert (filled(heights) > heights + 0.01).sum() > 30  # there was something to fill
    known = ~np.isnan(heights)
    assert filled(heights)[known] == pytest.approx(flooded[known], abs=1e-6)
    assert np.isnan(filled(heights)[~known]).all()


@pytest.mark.parametrize("heights", [rough(), np.zeros((9, 9)), np.full((9, 9), 8000.0)])
def test_filled_ground_has_a_way_down_from_everywhere_within(heights):
    assert has_lower_beside(filled(heights))[1:-1, 1:-1].all()


def test_water_is_shared_by_slope():
    # WORKED: the corner gives to the east at 0.2 and to the south-east at 0.2 / √2. With the
    # exponent 1.1 the weights are as 1 to 0.6830, the shares 0.5942 and 0.4058 of its 25 m².
    heights = np.array([[1, 0, NAN], [NAN, 0, NAN]])
    assert catchment_m2(filled(heights), CELL_M) == pytest.approx(
        np.array([[25, 25 + 14.855, NAN], [NAN, 25 + 10.145, NAN]]), abs=0.001, nan_ok=True
    )


def test_down_an_even_slope_each_row_passes_on_all_above_it():
    # WORKED: row n passes what n rows of 9 cells hold. In the middle, out of reach of the
    # sides, each cell of it passes n cells.
    area_m2 = catchment_m2(filled(slope_south(4, 9)), CELL_M)
    assert area_m2.sum(axis=1) == pytest.approx(25 * 9 * np.arange(1, 5))
    assert area_m2[:, 4] == pytest.approx(25 * np.arange(1, 5))


def test_a_valley_gathers_both_its_sides():
    # WORKED: all of 6 x 7 cells drain to the lowest cell, the middle of the last row.
    x, y = metres(6, 7)
    heights = 10 + 0.2 * np.abs(x - 15) - 0.02 * y
    area_m2 = catchment_m2(filled(heights), CELL_M)
    assert area_m2[5, 3] == pytest.approx(25 * 6 * 7)
    assert area_m2 == pytest.approx(area_m2[:, ::-1])
    index = wetness_index(heights, CELL_M)
    assert (index[1:-1, 3] > index[1:-1, [1, 2, 4, 5]].max(axis=1)).all()


def test_a_hollow_passes_its_water_on():
    # WORKED: the pit in the slope passes what comes to it, so the last row still passes all.
    heights = slope_south(6, 9)
    heights[3, 4] -= 3
    assert catchment_m2(filled(heights), CELL_M)[5].sum() == pytest.approx(25 * 6 * 9)


def test_all_ground_reaches_an_outlet():
    # No water is lost or made: what leaves at the cells without a way down is what fell.
    heights = rough()
    heights[10:14, 20:23] = NAN
    area_m2 = catchment_m2(filled(heights), CELL_M)
    ends = ~np.isnan(heights) & ~has_lower_beside(filled(heights))
    assert area_m2[ends].sum() == pytest.approx(25 * (~np.isnan(heights)).sum())
    assert np.nanmin(area_m2) == pytest.approx(25)


@pytest.mark.parametrize("height_m", [0.0, 8000.0])
def test_level_ground_sheds_all_its_water(height_m):
    # WORKED: every inner cell passes its water on, so the rim of 9 x 9 cells gets all.
    area_m2 = catchment_m2(filled(np.full((9, 9), height_m)), CELL_M)
    assert area_m2.sum() - area_m2[1:-1, 1:-1].sum() == pytest.approx(25 * 81)


def test_a_pond_is_wet_from_shore_to_shore():
    # A bowl 40 cm deep, on a slope of 1 %: each cell of the water is wetter than any around.
    x, y = metres(30, 30)
    heights = 10 - 0.01 * y - 0.6 * np.exp(-((x - 75) ** 2 + (y - 75) ** 2) / (2 * 15**2))
    depth_m = filled(heights) - heights
    pond, index = depth_m > 0.05, wetness_index(heights, CELL_M)
    assert pond.sum() > 20
    assert index[pond].min() > np.nanmax(index[: y.shape[0] // 3])


def test_a_pond_has_a_depth():
    # WORKED: a pit 2 m deep with sides of 5 % by square rings. Water half a metre deep
    # reaches 10 m out, two cells: one cell out it is level all round, three cells out the
    # side has its own slope.
    x, y = metres(41, 41)
    heights = 10 + 0.05 * np.minimum(np.maximum(np.abs(x - 100), np.abs(y - 100)), 40)
    catchment_m = catchment_m2(filled(heights), CELL_M) / CELL_M
    slope = catchment_m / np.exp(wetness_index(heights, CELL_M))
    assert slope[20, 20:22] == pytest.approx(LEAST_SLOPE)
    assert slope[20, 23] == pytest.approx(0.05)


def test_level_ground_counts_as_sloping_a_little():
    level = np.full((5, 5), 100.0)
    catchment_m = catchment_m2(filled(level), CELL_M)[2, 2] / CELL_M
    assert wetness_index(level, CELL_M)[2, 2] == pytest.approx(math.log(catchment_m / LEAST_SLOPE))


def test_the_same_heights_give_the_same_answer():
    level = np.full((30, 30), 100.0)  # nothing but ties
    assert (filled(level) == filled(level.copy())).all()
    assert np.array_equal(wetness_index(rough(), CELL_M), wetness_index(rough(), CELL_M), True)
