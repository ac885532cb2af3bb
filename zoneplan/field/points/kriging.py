"""Spread what was measured at points over the field, and say how far off that is."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.spatial.distance import pdist
from shapely.geometry import MultiPoint

from zoneplan.errors import LayerError
from zoneplan.field.points.read import MARGIN_M, Points, block_medians
from zoneplan.field.raster.grid import Grid, field_shares
from zoneplan.field.shapes import Field
from zoneplan.notices import Notice, notice
from zoneplan.progress import step

LEAST_POINTS = 10  # judged: of fewer, a tenth left out proves nothing
MOST_POINTS = 2_500  # more are thinned: of blocks as small as cells nobody learns more
NEIGHBOURS = 24  # points that a place is kriged from
MANY = 240  # points of a log; samples are hardly ever as many, and best kriged from the nearest
SHARED = 48  # that those in a square share; their side is so many steps from point to point
SHARED_STEPS = 1.5  # judged: then the 24 points nearest to its corner are among the 48
FOLDS = 10
LEAST_NUGGET = 0.02  # of the variance; judged. Without a floor, fits of sparse logs end at none
LEAST_R2 = 0.1  # judged: of pure noise, 8 % comes out better with 20 points and 2 % with 60
REACH = 4.0  # times the usual distance to the nearest point; judged. Ground beyond is unknown
_LAGS = 15
_RANGES, _ZOOMS = 65, 6  # that are tried at once, and how often closer: to a part in 10^8
_LONGEST_LAG = 1 / 3  # of the diagonal of the points' extent
_AT_ONCE = 1_200_000  # pairs of points: long work can be stopped between
_CALLED = {
    "conductivity": "conductivity",
    "sand_frac": "sand",
    "silt_frac": "silt",
    "clay_frac": "clay",
    "organic_pct": "organic matter",
}
_Values = NDArray[np.float64]
_Numbers = NDArray[np.intp]


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
    """Spread one value over the field by ordinary kriging, on cells of a width. [m]

    A grid of that value comes with how kriging did on points left out. Where that was hardly better
    than the plain mean, by less than LEAST_R2, the grid holds the mean.

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
    """Estimate values at other places from the points about them, by ordinary kriging.

    Places are rows of x and y. [m] The variogram is in the square of the values' unit.

    Notes
    -----
    The nugget counts as error of measurement: a place that was measured gets what all the
    points about it say, and not its own value back.

    Of all points a system has one solution for every place, which is told from it by the
    variogram alone (dual kriging). So places that lie together share the points about them:
    see `_neighbourhoods`. The variogram is scaled to a sill of 1, for the rounding depends on
    it though the estimates do not.

    Source
    ------
    Cressie (1993), Statistics for Spatial Data, sec. 3.2, and 3.4.5 for the dual form, the
    latter from memory; checked against PyKrige in the tests.
    """
    near, of = _neighbourhoods(places, at)
    count = near.shape[1]
    estimates = np.empty(len(at))
    for part in np.array_split(
        np.arange(len(near)), min(len(near), -(-near.size * count // _AT_ONCE))
    ):
        step("Kriging", f"from {len(values):,} points")
        x_m, y_m = (axis[near[part]] for axis in places.T)
        system = np.ones((len(part), count + 1, count + 1))
        between_m = _apart(x_m[:, :, None], x_m[:, None], y_m[:, :, None], y_m[:, None])
        system[:, :count, :count] = -_unlikeness(variogram, between_m)
        system[:, range(count + 1), range(count + 1)] = 0.0
        wanted = np.zeros((len(part), count + 1, 1))
        wanted[:, :count, 0] = values[near[part]]
        solved = np.linalg.solve(system, wanted)[:, :, 0]
        here = np.flatnonzero((of >= part[0]) & (of <= part[-1]))
        mine, (east_m, north_m) = of[here] - part[0], at[here].T[:, :, None]
        unlike = _unlikeness(variogram, _apart(east_m, x_m[mine], north_m, y_m[mine]))
        estimates[here] = solved[mine, count] - (unlike * solved[mine, :count]).sum(axis=1)
    return estimates


def _neighbourhoods(places: _Values, at: _Values) -> tuple[_Numbers, _Numbers]:
    """The points that places are kriged from, and which of these sets each place has.

    Each has the points nearest to it, and of few points many places have the same ones. Of many
    points, and far more places, those in a square share the points about its middle, twice as
    many as each would have had: so all have about those that are nearest to them, and more.
    """
    tree = cKDTree(places)
    if len(places) >= MANY:
        side_m = SHARED_STEPS * float(np.sqrt(np.prod(np.ptp(places, axis=0)) / len(places)))
        squares, of = np.unique(np.floor(at / max(side_m, 1e-3)), axis=0, return_inverse=True)
        if 4 * len(squares) <= len(at):
            middles = (squares + 0.5) * side_m
            return np.asarray(tree.query(middles, k=SHARED)[1]), of.ravel()
    count = min(NEIGHBOURS, len(places))
    near = np.asarray(tree.query(at, k=range(1, count + 1))[1])
    rows = np.sort(near.astype(np.int32), axis=1).view(f"V{4 * count}").ravel()
    _, first, of = np.unique(rows, return_index=True, return_inverse=True)
    return near[first], of


def _apart(one_x: _Values, other_x: _Values, one_y: _Values, other_y: _Values) -> _Values:
    east_m, north_m = one_x - other_x, one_y - other_y
    apart_m: _Values = np.sqrt(east_m * east_m + north_m * north_m)
    return apart_m


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
    pairs = _pairs(places, values, np.zeros(len(values), dtype=np.intp))
    return _fitted(pairs.sum(axis=(2, 3)), values, _diagonal_m(places))


def _diagonal_m(places: _Values) -> float:
    return float(np.hypot(*np.ptp(places, axis=0)))


def _pairs(places: _Values, values: _Values, tenth: _Numbers) -> _Values:
    """Of the pairs of each class of distance, and of each two tenths: how many there are, their
    distances added up, and half of their squared differences."""
    longest_m = _LONGEST_LAG * _diagonal_m(places)
    apart_m = pdist(places)
    near = np.flatnonzero(apart_m < longest_m)
    apart_m = apart_m[near]
    halves = 0.5 * pdist(values[:, None], "sqeuclidean")[near]
    small = tenth.astype(np.uint8)
    one = np.repeat(small, np.arange(len(small) - 1, -1, -1))[near]
    other = np.concatenate([small[start:] for start in range(1, len(small) + 1)])[near]
    lag = np.minimum(apart_m / longest_m * _LAGS, _LAGS - 1).astype(np.uint16)
    key = (lag * FOLDS + one) * FOLDS + other
    sums = [np.bincount(key, what, _LAGS * FOLDS**2) for what in (None, apart_m, halves)]
    return np.reshape(sums, (3, _LAGS, FOLDS, FOLDS)).astype(float)


def _fitted(pairs: _Values, values: _Values, diagonal_m: float) -> Variogram:
    """The variogram nearest to what pairs of points say, by least squares.

    Of each range the best sills follow from two equations; the best range is looked for among
    ever closer ones, so the fit ends in the lowest valley and not in the next.
    """
    count, apart_m, halves = pairs[:, pairs[0] > 0]
    lag_m, measured = apart_m / count, halves / count
    variance = float(values.var()) or 1.0
    weights = count / lag_m**2
    low, high = np.log(lag_m[0]), np.log(3 * diagonal_m)
    bounds = (0.0, 10 * variance), (LEAST_NUGGET * variance, 2 * variance)
    for _ in range(_ZOOMS):
        ranges_m = np.exp(np.linspace(low, high, _RANGES))
        reached = 1 - np.exp(-3 * lag_m / ranges_m[:, None])
        sills, nuggets, off = _best_sills(reached, measured, weights, bounds)
        best = int(off.argmin())
        step_log = (high - low) / (_RANGES - 1)
        middle = np.log(ranges_m[best])
        low, high = max(low, middle - step_log), min(high, middle + step_log)
    return Variogram(float(nuggets[best]), float(sills[best]), float(ranges_m[best]))


def _best_sills(
    reached: _Values, measured: _Values, weights: _Values, bounds: tuple[tuple[float, float], ...]
) -> tuple[_Values, _Values, _Values]:
    """Of each range: the partial sill and the nugget within bounds that miss least, and the miss.

    The best of all pairs where it is within them, else the best on one of the four sides.
    """
    (least_sill, most_sill), (least_nugget, most_nugget) = bounds
    total = weights.sum()
    mean, level = reached @ weights / total, measured @ weights / total
    spread = (reached * reached) @ weights - total * mean * mean
    with np.errstate(divide="ignore", invalid="ignore"):
        sill = np.nan_to_num(((reached * measured) @ weights - total * mean * level) / spread)
    sill = np.clip(sill, least_sill, most_sill)
    tries = [(sill, np.clip(level - sill * mean, least_nugget, most_nugget))]
    for nugget in (least_nugget, most_nugget):
        sill = reached @ (weights * (measured - nugget)) / ((reached * reached) @ weights)
        tries.append((np.clip(sill, least_sill, most_sill), np.full(len(reached), nugget)))
    sills, nuggets = (np.array(part) for part in zip(*tries, strict=True))
    misses = sills[..., None] * reached + nuggets[..., None] - measured
    off = (misses**2) @ weights
    best, every = off.argmin(axis=0), np.arange(len(reached))
    return sills[best, every], nuggets[best, every], off[best, every]


def cross_validate(places: _Values, values: _Values) -> tuple[float, float, float]:
    """Krige each tenth of the points from the others: root mean square error, bias and R².

    The variogram is fitted without them too, over the classes of distance of all. R² is
    against the mean of the others.
    """
    tenth = np.random.default_rng(0).permutation(len(values)) % FOLDS
    pairs, diagonal_m = _pairs(places, values, tenth), _diagonal_m(places)
    kriged, plain = np.empty(len(values)), np.empty(len(values))
    for fold in range(FOLDS):
        out, rest = tenth == fold, np.arange(FOLDS) != fold
        others = pairs[:, :, rest][:, :, :, rest].sum(axis=(2, 3))
        variogram = _fitted(others, values[~out], diagonal_m)
        kriged[out] = ordinary(places[~out], values[~out], variogram, places[out])
        plain[out] = values[~out].mean()
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
    table = pd.DataFrame({"x_m": places[:, 0], "y_m": places[:, 1], "value": values})
    medians, block_m = block_medians(table, MOST_POINTS, cell_m)
    return medians[["x_m", "y_m"]].to_numpy(), medians["value"].to_numpy(), block_m


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
