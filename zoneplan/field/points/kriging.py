"""Spread what was measured at points over the field, and say how far off that is."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist
from shapely.geometry import MultiPoint

from zoneplan.errors import LayerError
from zoneplan.field.points.read import MARGIN_M, Points
from zoneplan.field.raster.grid import Grid, field_shares
from zoneplan.field.shapes import Field
from zoneplan.notices import Notice, notice
from zoneplan.progress import step

LEAST_POINTS = 10  # judged: of fewer, a tenth left out proves nothing
MOST_POINTS = 2_500  # more are thinned: of blocks as small as cells nobody learns more
NEIGHBOURS = 24  # points that a cell is kriged from
FOLDS = 10
LEAST_NUGGET = 0.02  # of the variance; judged. Without a floor, fits of sparse logs end at none
LEAST_R2 = 0.1  # judged: of pure noise, 8 % comes out better with 20 points and 2 % with 60
REACH = 4.0  # times the usual distance to the nearest point; judged. Ground beyond is unknown
_LAGS = 15
_LONGEST_LAG = 1 / 3  # of the diagonal of the points' extent
_AT_ONCE = 2_000  # places: long work can be stopped between
_CALLED = {
    "conductivity": "conductivity",
    "sand_frac": "sand",
    "silt_frac": "silt",
    "clay_frac": "clay",
    "organic_pct": "organic matter",
}
_Values = NDArray[np.float64]


@dataclass(frozen=True)
class Variogram:
    """How unlike points are, by the distance between them: an exponential model."""

    nugget: float
    partial_sill: float
    range_m: float  # where 95 % of the partial sill is reached


@dataclass(frozen=True)
class CrossValidated:
    """How kriging did on points left out, a tenth of them at a time."""

    count: int  # of points, or of block medians where they were thinned
    mean: float  # of their values
    rmse: float  # in the unit of the values
    bias: float  # mean of kriged less measured
    r2: float  # share of the squares about the mean that kriging takes away
    block_m: float | None  # side of the blocks, where they were thinned
    reach_m: float  # ground further from any point is left unknown

    @property
    def varies(self) -> bool:
        """Whether kriging found how the value changes over the field; else the mean is taken."""
        return self.r2 >= LEAST_R2


def krige(points: Points, name: str, field: Field, cell_m: float) -> tuple[Grid, CrossValidated]:
    """Spread one value over the field by ordinary kriging.

    Parameters
    ----------
    points : Points
        In the field's metric system.
    name : str
        Which of their values.
    field : Field
        Cells that touch it are filled.
    cell_m : float
        Side of a cell. [m]

    Returns
    -------
    tuple
        A grid of that value, and how kriging did on points left out. Where that was hardly
        better than the plain mean, by less than LEAST_R2, the grid holds the mean.

    Raises
    ------
    LayerError
        For fewer than LEAST_POINTS points.

    Notes
    -----
    More than MOST_POINTS points are thinned to the medians of square blocks, as large as a
    cell or as much larger as it takes. Cells are NaN further from any point than REACH
    times the usual distance from a cell among the points to the nearest; a point within
    MARGIN_M of the field always reaches it.
    """
    known = np.isfinite(points.values[name])
    places = np.column_stack((points.x_m, points.y_m))[known]
    if len(places) < LEAST_POINTS:
        raise LayerError(
            f"{points.source}: {len(places)} points have {_CALLED[name]}, once cleaned.\n"
            f"We want at least {LEAST_POINTS}: fewer do not show how it changes over a field.\n"
            "Give more points, or the soil as polygons."
        )
    places, values, block_m = _thinned(places, points.values[name][known], cell_m)
    transform, inside, centres = _cells(field, cell_m)
    away_m = np.asarray(cKDTree(places).query(centres)[0])
    among = shapely.contains_xy(MultiPoint(places).convex_hull, centres)
    usual_m = float(np.median(away_m[among])) if among.any() else 0.0
    reach_m = max(REACH * usual_m, MARGIN_M + cell_m)

    rmse, bias, r2 = cross_validate(places, values)
    checked = CrossValidated(len(values), float(values.mean()), rmse, bias, r2, block_m, reach_m)
    reached = centres[away_m <= reach_m]
    estimates = np.full(len(centres), np.nan)
    estimates[away_m <= reach_m] = (
        ordinary(places, values, fit_variogram(places, values), reached)
        if checked.varies
        else checked.mean
    )
    cells = np.full(inside.shape, np.nan)
    cells[inside] = estimates
    return Grid({name: cells}, transform, field.crs), checked


def noted(name: str, checked: CrossValidated) -> Notice:
    """Note how a value was spread, and how far off it is; figures in the unit of the value."""
    how: dict[str, Any] = {
        "value": name,
        "points": checked.count,
        "block_m": checked.block_m,
        "r2": checked.r2,
        "reach_m": checked.reach_m,
    }
    if checked.varies:
        return notice("kriged", off=checked.rmse, bias=checked.bias, **how)
    return notice("kriged-mean", mean=checked.mean, least_r2=LEAST_R2, **how)


def ordinary(places: _Values, values: _Values, variogram: Variogram, at: _Values) -> _Values:
    """Estimate values at other places from the nearest points, by ordinary kriging.

    Parameters
    ----------
    places, at : array
        Rows of x and y. [m]
    values : array
        One for each of `places`.
    variogram : Variogram
        In the square of their unit.

    Notes
    -----
    The nugget counts as error of measurement: a place that was measured gets what all the
    points about it say, and not its own value back.

    The systems of many places are solved at once, each of the points nearest to its place; the
    variogram is scaled to a sill of 1, for the rounding depends on it though the weights do not.

    Source
    ------
    Cressie (1993), Statistics for Spatial Data, sec. 3.2; checked against PyKrige in the tests.
    """
    count = min(NEIGHBOURS, len(places))
    tree = cKDTree(places)
    estimates = []
    for part in np.array_split(at, max(1, -(-len(at) // _AT_ONCE))):
        step("Kriging", f"from {len(values):,} points")
        away_m, near = map(np.asarray, tree.query(part, k=range(1, count + 1)))
        x_m, y_m = (axis[near] for axis in places.T)
        east_m, north_m = (axis[:, :, None] - axis[:, None] for axis in (x_m, y_m))
        apart_m = np.sqrt(east_m * east_m + north_m * north_m)
        system = np.ones((len(part), count + 1, count + 1))
        system[:, :count, :count] = -_unlikeness(variogram, apart_m)
        system[:, range(count + 1), range(count + 1)] = 0.0
        wanted = np.ones((len(part), count + 1, 1))
        wanted[:, :count, 0] = -_unlikeness(variogram, away_m)
        weights = np.linalg.solve(system, wanted)[:, :count, 0]
        estimates.append((weights * values[near]).sum(axis=1))
    return np.concatenate(estimates)


def _unlikeness(variogram: Variogram, apart_m: _Values) -> _Values:
    """The variogram at some distances, over its sill. [0 to 1]."""
    sill = variogram.nugget + variogram.partial_sill
    reached = 1 - np.exp(-apart_m / (variogram.range_m / 3))
    unlike: _Values = (variogram.partial_sill * reached + variogram.nugget) / sill
    return unlike


def fit_variogram(places: _Values, values: _Values) -> Variogram:
    """Fit an exponential variogram, its nugget no less than LEAST_NUGGET of the variance.

    Notes
    -----
    Half the mean squared differences in classes of distance, up to a third of the diagonal
    of the points' extent; least squares weighted by pairs over distance squared.

    Source
    ------
    Matheron's estimator and the weights as in Zhang, van Eijkeren & Heemink (1995),
    Computers & Geosciences 21:605-608, from memory.
    """
    diagonal_m = float(np.hypot(*np.ptp(places, axis=0)))
    apart_m = pdist(places)
    near = apart_m < _LONGEST_LAG * diagonal_m
    lag = (apart_m[near] / (_LONGEST_LAG * diagonal_m) * _LAGS).astype(np.intp)
    halves = 0.5 * pdist(values[:, None], "sqeuclidean")[near]
    pairs = np.bincount(lag)
    filled = pairs > 0
    pairs = pairs[filled]
    lag_m = np.bincount(lag, apart_m[near])[filled] / pairs
    measured = np.bincount(lag, halves)[filled] / pairs
    variance = float(values.var()) or 1.0
    weights = np.sqrt(pairs) / lag_m / variance

    def off(parameters: _Values) -> _Values:
        partial_sill, range_m, nugget = parameters
        fitted = partial_sill * (1 - np.exp(-lag_m / (range_m / 3))) + nugget
        misses: _Values = (fitted - measured) * weights
        return misses

    least = np.array([0.0, lag_m[0], LEAST_NUGGET * variance])
    most = np.array([10 * variance, 3 * diagonal_m, 2 * variance])
    start = np.array([0.7 * variance, diagonal_m / 3, 0.3 * variance])
    partial_sill, range_m, nugget = least_squares(off, start, bounds=(least, most), x_scale=start).x
    return Variogram(float(nugget), float(partial_sill), float(range_m))


def cross_validate(places: _Values, values: _Values) -> tuple[float, float, float]:
    """Krige each tenth of the points from the others: root mean square error, bias and R².

    The variogram is fitted without them too. R² is against the mean of the others.
    """
    tenth = np.random.default_rng(0).permutation(len(values)) % FOLDS
    kriged, plain = np.empty(len(values)), np.empty(len(values))
    for fold in range(FOLDS):
        out, rest = tenth == fold, tenth != fold
        variogram = fit_variogram(places[rest], values[rest])
        kriged[out] = ordinary(places[rest], values[rest], variogram, places[out])
        plain[out] = values[rest].mean()
    off = kriged - values
    spread = float(np.sum((plain - values) ** 2))
    r2 = 1 - float(np.sum(off**2)) / spread if np.ptp(values) else 0.0
    return float(np.sqrt(np.mean(off**2))), float(off.mean()), r2


def _thinned(
    places: _Values, values: _Values, cell_m: float
) -> tuple[_Values, _Values, float | None]:
    """Take medians of blocks where there are too many points."""
    if len(places) <= MOST_POINTS:
        return places, values, None
    table = pd.DataFrame({"x": places[:, 0], "y": places[:, 1], "value": values})
    block_m = cell_m
    while True:
        blocks = [(table[axis] // block_m).to_numpy() for axis in ("x", "y")]
        medians = table.groupby(blocks).median()
        if len(medians) <= MOST_POINTS:
            return medians[["x", "y"]].to_numpy(), medians["value"].to_numpy(), block_m
        block_m *= 1.25


def _cells(field: Field, cell_m: float) -> tuple[Affine, NDArray[np.bool_], _Values]:
    """Lay cells over the field: the grid's place, which of them touch it, their centres."""
    west, south, east, north = field.shape.bounds
    left, top = np.floor(west / cell_m), np.ceil(north / cell_m)
    x_m, y_m = np.meshgrid(
        (np.arange(left, np.ceil(east / cell_m)) + 0.5) * cell_m,
        (np.arange(top, np.floor(south / cell_m), -1) - 0.5) * cell_m,
    )
    transform = Affine(cell_m, 0.0, left * cell_m, 0.0, -cell_m, top * cell_m)
    inside = field_shares(Grid({"x": x_m}, transform, field.crs), field) > 0
    return transform, inside, np.column_stack((x_m[inside], y_m[inside]))
