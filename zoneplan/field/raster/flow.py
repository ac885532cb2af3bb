"""How ground slopes and where water runs on it: arithmetic on grids of heights."""

import math
from heapq import heapify, heappop, heappush

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import spsolve_triangular

LEAST_SLOPE = 0.001  # heights good to 2 cm over the 20 m of a slope tell no less than this
LEAST_FALL_M = 1e-9  # far below any height's error, far above that of the arithmetic
MOST_POND_M = 0.5  # judged: deeper hollows have a drain, a culvert or no corn
SPREAD = 1.1  # Freeman's exponent: the more, the more water keeps to the steepest way
_Heights = NDArray[np.float64]
_STEPS = [(row, column) for row in (-1, 0, 1) for column in (-1, 0, 1) if row or column]


def slope_frac(height_m: _Heights, cell_m: float) -> _Heights:
    """Slope of the ground, rise over run; NaN on unknown ground and beside it.

    Parameters
    ----------
    height_m : array
        Heights on square cells, NaN where unknown. [m]
    cell_m : float
        Width of a cell. [m]

    Source
    ------
    Horn (1981), "Hill shading and the reflectance map", Proc. IEEE 69:14-47: third-order
    finite differences over the eight neighbours, the near ones counting double.

    Examples
    --------
    >>> slope_frac(np.array([[0.0, 1, 2], [0, 1, 2], [0, 1, 2]]), 10)[1, 1]
    np.float64(0.1)
    """
    nw, n, ne, w, e, sw, s, se = _neighbours(height_m)
    east = ((ne + 2 * e + se) - (nw + 2 * w + sw)) / (8 * cell_m)
    south = ((sw + 2 * s + se) - (nw + 2 * n + ne)) / (8 * cell_m)
    return np.where(np.isnan(height_m), np.nan, np.hypot(east, south))


def filled(height_m: _Heights) -> _Heights:
    """Fill every hollow up to where it spills, so that all water finds a way out. [m]

    It leaves across the rim of the grid and into unknown ground. Filled ground falls
    towards its spill by LEAST_FALL_M from cell to cell, so it has a way too.

    Parameters
    ----------
    height_m : array
        Heights, NaN where unknown. [m]

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
    steps = [row * level.shape[1] + column for row, column in _STEPS]
    levels, dry = level.ravel().tolist(), known.ravel().tolist()  # lists: ten times as fast
    queue = [(levels[cell], cell) for cell in rim.tolist()]
    heapify(queue)
    for _, cell in queue:
        dry[cell] = False
    while queue:
        reached, cell = heappop(queue)
        for step in steps:
            if dry[beside := cell + step]:
                dry[beside] = False
                levels[beside] = max(levels[beside], reached + LEAST_FALL_M)
                heappush(queue, (levels[beside], beside))
    return np.array(levels).reshape(level.shape)[1:-1, 1:-1]


def catchment_m2(level_m: _Heights, cell_m: float) -> _Heights:
    """Ground whose water passes through each cell, its own included; NaN where unknown. [m²]

    Parameters
    ----------
    level_m : array
        Heights as `filled` gives them; in a hollow left open, water ends. [m]
    cell_m : float
        Width of a cell. [m]

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
        for step, beside in zip(_STEPS, _neighbours(level_m), strict=True)
    ]
    weights = np.nan_to_num(np.maximum(falls, 0)) ** SPREAD
    shares = weights / np.maximum(weights.sum(axis=0), np.finfo(float).tiny)

    highest_first = np.argsort(-level_m[known], kind="stable")
    rank = np.full(level_m.shape, -1)
    rank[known] = np.argsort(highest_first)
    givers = np.broadcast_to(rank, shares.shape)
    takers = np.nan_to_num(_neighbours(rank.astype(float)), nan=-1).astype(int)
    gives = shares > 0
    passed = sparse.csr_array(
        (shares[gives], (takers[gives], givers[gives])), shape=(known.sum(), known.sum())
    )
    area = np.full(len(highest_first), cell_m**2)
    system = sparse.eye_array(len(area), format="csr") - passed
    total = np.full(level_m.shape, np.nan)
    total[known] = spsolve_triangular(system, area, unit_diagonal=True)[rank[known]]
    return total


def wetness_index(height_m: _Heights, cell_m: float) -> _Heights:
    """Topographic wetness index ln(a / tan β), a in metres; NaN beside unknown ground.

    a is the catchment to a metre of cell, with every hollow filled. β is the slope, with
    hollows filled up to MOST_POND_M above their lowest ground: such a pond is level, and so
    wet from shore to shore. Level ground counts as sloping by LEAST_SLOPE.

    Parameters
    ----------
    height_m : array
        Heights on square cells, NaN where unknown. [m]
    cell_m : float
        Width of a cell. [m]

    Source
    ------
    Beven & Kirkby (1979), Hydrological Sciences Bulletin 24:43-69,
    doi:10.1080/02626667909491834
    """
    level_m = filled(height_m)
    slope = np.maximum(slope_frac(_ponded(height_m, level_m), cell_m), LEAST_SLOPE)
    return np.log(catchment_m2(level_m, cell_m) / cell_m / slope)


def _ponded(height_m: _Heights, level_m: _Heights) -> _Heights:
    """Fill hollows, but not those deeper than a pond up to the brim."""
    hollows, count = ndimage.label(level_m > height_m, np.ones((3, 3)))
    deepest_m = ndimage.minimum(height_m, hollows, np.arange(1, count + 1))
    ponds_m = np.array([-np.inf, *deepest_m]) + MOST_POND_M
    return np.maximum(height_m, np.minimum(level_m, ponds_m[hollows]))


def _neighbours(values: _Heights) -> _Heights:
    """Each cell's neighbours in the order of the steps; NaN where there is none.

    Rolling wraps round, so one row and one column of NaN serve both sides.
    """
    rows, columns = values.shape
    wide = np.pad(values, 1, constant_values=np.nan)[1:, 1:]
    views = [np.roll(wide, (-row, -column), (0, 1))[:rows, :columns] for row, column in _STEPS]
    return np.stack(views)
