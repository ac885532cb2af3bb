"""The lie of the land: how ground slopes, where water runs on it and gathers, where it is steep."""

import math
from dataclasses import replace
from heapq import heapify, heappop, heappush
from pathlib import Path

import geopandas as gpd
import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import spsolve_triangular

from zoneplan.field.raster.grid import Grid
from zoneplan.field.raster.heights import (
    STEPS,
    cells_inside,
    elevation_notes,
    neighbours_of,
    read_elevation,
    slope_frac,
)
from zoneplan.field.raster.opening import rasterize
from zoneplan.field.raster.patches import class_ground
from zoneplan.field.shapes import Field, MarkLayer, Marks
from zoneplan.progress import step

LEAST_RELIEF_M = 0.25  # judged: with less, a field's lie is lost in the error of its heights
WET_ABOVE_MEAN = 1.5  # judged; see `terrain_ground`
STEEP_FRAC = 0.06  # judged
LEAST_SLOPE = 0.001  # heights good to 2 cm over the 20 m of a slope tell no less than this
LEAST_FALL_M = 1e-9  # far below any height's error, far above that of the arithmetic
MOST_POND_M = 0.5  # judged: deeper hollows have a drain, a culvert or no corn
SPREAD = 1.1  # Freeman's exponent: the more, the more water keeps to the steepest way
_Values = NDArray[np.float64]


def read_terrain(path: Path, field: Field, crs: str | None = None) -> MarkLayer:
    """Read heights, and mark the ground by its slope and by where water gathers."""
    step("Reading", path.name)
    heights = read_elevation(path, field, crs)
    step("Letting water run over the ground")
    ground = terrain_ground(heights, field)
    return MarkLayer(path.stem, ground, elevation_notes(path, heights, field, crs))


def terrain_ground(grid: Grid, field: Field) -> gpd.GeoDataFrame:
    """Outline the ground of a field where water gathers, the steep ground, and what is neither.

    Returns
    -------
    GeoDataFrame
        `geometry`, one Polygon each along the edges of cells, in the field's system, which they
        cover; and `site`, its Marks, with the mean of its slopes. What is smaller than
        LEAST_PATCH_M2 counts as the ground around it.

    Notes
    -----
    Water gathers where the wetness index, averaged over three by three cells, is more than
    WET_ABOVE_MEAN above its mean over the field: water runs together there or the ground
    levels out, to 4.5 times the usual. An even slope has no such ground: down it the index
    grows as ln(x / length), whose end is 1 above its mean. Nor has a field with less than
    LEAST_RELIEF_M between its lowest and highest twentieth. Steep ground slopes by
    STEEP_FRAC or more, and never counts as wet. These numbers are judged, no source.

    The index cannot see drains, and takes a bank with a culvert for a dam.
    """
    height_m, cell_m = grid.values["elevation"], grid.transform.a
    inside = cells_inside(grid, field)
    slope = _with_nearest(slope_frac(height_m, cell_m))
    index = _with_nearest(wetness_index(height_m, cell_m))
    around = ndimage.uniform_filter(index, 3)
    low_m, high_m = np.percentile(height_m[inside], [5, 95])
    lie = np.zeros(slope.shape)
    if high_m - low_m >= LEAST_RELIEF_M:
        lie[around > around[inside].mean() + WET_ABOVE_MEAN] = 1
    lie[slope >= STEEP_FRAC] = -1
    ground = class_ground(replace(grid, values={"lie": lie}), "lie", field, edges=[-0.5, 0.5])
    slopes = _means(slope, ground, grid.transform).tolist()
    sites = [
        Marks(slope_frac=mean, gathers_water=part == 2, steep=part == 0)
        for mean, part in zip(slopes, ground["part"], strict=True)
    ]
    return ground[["geometry"]].assign(site=sites)


def filled(height_m: _Values) -> _Values:
    """Fill every hollow up to where it spills, so that all water finds a way out. [m]

    It leaves across the rim of the grid and into unknown ground, which is NaN. Filled ground falls
    towards its spill by LEAST_FALL_M from cell to cell, so it has a way too.

    Source
    ------
    Barnes, Lehman & Mulla (2014), "Priority-flood", Computers & Geosciences 62:117-127:
    the variant that leaves filled ground with a fall, without its second queue.

    Examples
    --------
    >>> float(filled(np.array([[5.0, 5, 5], [5, 1, 4], [5, 5, 5]]))[1, 1].round(6))
    4.0
    """
    level = np.pad(height_m, 1, constant_values=np.nan)
    known = ~np.isnan(level)
    rim = np.flatnonzero(known & ~ndimage.binary_erosion(known, np.ones((3, 3), dtype=bool)))
    offsets = [row * level.shape[1] + column for row, column in STEPS]
    levels, dry = level.ravel().tolist(), known.ravel().tolist()  # lists: ten times as fast
    queue = [(levels[cell], cell) for cell in rim.tolist()]
    heapify(queue)
    for _, cell in queue:
        dry[cell] = False
    while queue:
        reached, cell = heappop(queue)
        for offset in offsets:
            if dry[beside := cell + offset]:
                dry[beside] = False
                levels[beside] = max(levels[beside], reached + LEAST_FALL_M)
                heappush(queue, (levels[beside], beside))
    return np.array(levels).reshape(level.shape)[1:-1, 1:-1]


def catchment_m2(level_m: _Values, cell_m: float) -> _Values:
    """Ground whose water passes through each cell, its own included; NaN where unknown. [m²]

    Heights are as `filled` gives them; in a hollow left open, water ends.

    Notes
    -----
    Water is shared among all lower neighbours by slope. With one receiver a cell, a
    millimetre more or less would send whole catchments another way, and hillsides would
    come out as stripes. As each cell holds its own area and shares of those above it, the
    areas solve one set of linear equations, triangular from the highest cell down.

    Source
    ------
    Freeman (1991), "Calculating catchment area with divergent flow based on a regular
    grid", Computers & Geosciences 17:413-422.
    """
    known = ~np.isnan(level_m)
    falls = [
        (level_m - beside) / (cell_m * math.hypot(*step))
        for step, beside in zip(STEPS, neighbours_of(level_m), strict=True)
    ]
    weights = np.nan_to_num(np.maximum(falls, 0)) ** SPREAD
    shares = weights / np.maximum(weights.sum(axis=0), np.finfo(float).tiny)

    highest_first = np.argsort(-level_m[known], kind="stable")
    rank = np.full(level_m.shape, -1)
    rank[known] = np.argsort(highest_first)
    givers = np.broadcast_to(rank, shares.shape)
    takers = np.nan_to_num(neighbours_of(rank.astype(float)), nan=-1).astype(int)
    gives = shares > 0
    passed = sparse.csr_array(
        (shares[gives], (takers[gives], givers[gives])), shape=(known.sum(), known.sum())
    )
    area = np.full(len(highest_first), cell_m**2)
    system = sparse.eye_array(len(area), format="csr") - passed
    total = np.full(level_m.shape, np.nan)
    total[known] = spsolve_triangular(system, area, unit_diagonal=True)[rank[known]]
    return total


def wetness_index(height_m: _Values, cell_m: float) -> _Values:
    """Topographic wetness index ln(a / tan β), a in metres; NaN beside unknown ground.

    a is the catchment to a metre of cell, with every hollow filled. β is the slope, with
    hollows filled up to MOST_POND_M above their lowest ground: such a pond is level, and so
    wet from shore to shore. Level ground counts as sloping by LEAST_SLOPE.

    Source
    ------
    Beven & Kirkby (1979), Hydrological Sciences Bulletin 24:43-69,
    doi:10.1080/02626667909491834
    """
    level_m = filled(height_m)
    slope = np.maximum(slope_frac(_ponded(height_m, level_m), cell_m), LEAST_SLOPE)
    return np.log(catchment_m2(level_m, cell_m) / cell_m / slope)


def _ponded(height_m: _Values, level_m: _Values) -> _Values:
    """Fill hollows, but not those deeper than a pond up to the brim."""
    hollows, count = ndimage.label(level_m > height_m, np.ones((3, 3)))
    deepest_m = ndimage.minimum(height_m, hollows, np.arange(1, count + 1))
    ponds_m = np.array([-np.inf, *deepest_m]) + MOST_POND_M
    return np.maximum(height_m, np.minimum(level_m, ponds_m[hollows]))


def _with_nearest(values: _Values) -> _Values:
    """Give each unknown cell the value of the nearest known one."""
    nearest = ndimage.distance_transform_edt(
        np.isnan(values), return_distances=False, return_indices=True
    )
    whole: _Values = values[tuple(nearest)]
    return whole


def _means(values: _Values, ground: gpd.GeoDataFrame, transform: Affine) -> _Values:
    """Mean over the cells that each polygon is made of."""
    numbered = zip(ground.geometry, range(len(ground)), strict=True)
    owner = rasterize(numbered, values.shape, fill=-1, transform=transform, dtype="int32")
    owned = owner >= 0
    total = np.bincount(owner[owned], values[owned])
    means: _Values = total / np.bincount(owner[owned])
    return means
