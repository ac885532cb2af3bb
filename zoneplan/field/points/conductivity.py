"""Points to a layer: samples say the soil; conductivity says it only through samples.

What a soil conducts depends on its clay, and as much on its water and salts. So it becomes
texture by a line fitted to samples of the same field and tried on samples left out. Where
that does not hold the samples say the soil themselves; without samples it only draws edges.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from zoneplan.errors import LayerError
from zoneplan.field.crs import move_points
from zoneplan.field.points.kriging import LEAST_POINTS, krige, noted
from zoneplan.field.points.read import NO_COLUMNS, Points, read_points
from zoneplan.field.points.table import CONDUCTIVITY, words_in
from zoneplan.field.raster.grid import WORKING_CELL_M, Grid, bands_of, field_shares, read_band
from zoneplan.field.raster.patches import class_ground, grid_ground
from zoneplan.field.shapes import NOWHERE, Field, Mark, MarkLayer, Marks, SoilLayer
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import ORGANIC_PCT
from zoneplan.terms import MarkKind

LEAST_R2 = 0.5  # on samples left out; judged: half of what clay varies by must be explained
THIRDS = tuple(
    Mark(MarkKind.EDGE_CLASS, f"{third} conductivity") for third in ("low", "middle", "high")
)
_TEXTURE = ("sand_frac", "silt_frac", "clay_frac")
_Values = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """A straight line by least squares, and how it did on points left out one at a time."""

    slope: float
    intercept: float
    count: int
    r2: float
    left_out_r2: float  # against the mean of the others
    left_out_rmse: float


def read_point_layer(
    path: Path,
    field: Field,
    samples: Path | None = None,
    columns: Mapping[str, str] = NO_COLUMNS,
    crs: str | None = None,
) -> SoilLayer | MarkLayer:
    """Read points as a layer: texture samples, or conductivity with or without samples.

    Parameters
    ----------
    path : Path
        The points. With sand, silt and clay they are samples, else a conductivity log.
    field : Field
        The field they were taken on.
    samples : Path, optional
        Texture samples of that field, for a log. Their columns are found by name.
    columns, crs : optional
        As for `read_points`; columns of `path`, and `crs` of both.

    Returns
    -------
    SoilLayer or MarkLayer
        Soil from samples, or from conductivity that follows samples, or from the samples that
        it does not follow. Without samples marks: the thirds of the ground by conductivity, to
        draw edges along.

    Raises
    ------
    LayerError
        As `read_points` and `krige` do; when samples are given without a log to read by
        them, or have no texture.
    """
    points = read_points(path, field, columns, crs)
    if samples is None and "clay_frac" in points.values:
        grid, kriging_notes = kriged_texture(points, field)
        if "conductivity" in points.values:
            kriging_notes += (notice("conductivity-set-aside"),)
        return _soil(path.stem, "samples", grid, field, points.notes + kriging_notes)
    if "conductivity" not in points.values:
        raise LayerError(
            f"{path.name} has no column of conductivity, but samples were given to read it by.\n"
            "Give the conductivity log first, or the samples by themselves."
        )
    log, checked = krige(points, "conductivity", field, WORKING_CELL_M)
    notes = (*points.notes, noted("conductivity", checked))
    if samples is None:
        return _marks(path.stem, log, field, notes, varies=checked.varies)
    return _through(path, log, samples, field, notes, crs, varies=checked.varies)


def read_conductivity_raster(
    path: Path, field: Field, samples: Path | None = None, crs: str | None = None
) -> SoilLayer | MarkLayer:
    """Read a raster that `is_conductivity`, with or without texture samples to read it by.

    Raises
    ------
    LayerError
        As `read_band` and `read_points` do; when nothing is known of the field.
    """
    [band] = bands_of(path)
    log = read_band(band, field, "conductivity", crs)
    values, shares = log.values["conductivity"], field_shares(log, field)
    wrong = values < 0
    values[wrong] = np.nan
    known = np.isfinite(values) & (shares > 0)
    if not known.any():
        raise LayerError(
            f"{path.name}: no conductivity is known of the field.\n"
            "Give the raster that has values under the field, or leave it out."
        )
    notes: tuple[Notice, ...] = ()
    lost = wrong & (shares > 0)
    if lost.any():
        notes = (notice("cells-negative", cells=int(lost.sum()), share=float(shares[lost].sum())),)
    varies = bool(np.ptp(values[known]))
    if samples is None:
        return _marks(path.stem, log, field, notes, varies=varies)
    return _through(path, log, samples, field, notes, crs, varies=varies)


def is_conductivity(path: Path) -> bool:
    """Whether a raster is of conductivity alone, by its description or its name.

    Raises
    ------
    LayerError
        When it is no GeoTIFF.
    """
    bands = bands_of(path)
    return len(bands) == 1 and bool(CONDUCTIVITY & words_in(bands[0].text))


def _through(
    path: Path,
    log: Grid,
    samples: Path,
    field: Field,
    notes: tuple[Notice, ...],
    crs: str | None,
    *,
    varies: bool,
) -> SoilLayer:
    """Soil from conductivity where it follows the samples, else from the samples themselves."""
    lab = read_points(samples, field, crs=crs)
    if "clay_frac" not in lab.values:
        raise LayerError(
            f"{samples.name} has no sand, silt and clay to read conductivity by.\n"
            "Give texture samples, or the log alone: it then draws edges."
        )
    lab_notes = tuple(note.of(samples.name) for note in lab.notes)
    texture, fit_notes = texture_through(log, lab, field) if varies else (None, ())
    if texture is not None:
        kind = "conductivity through samples"
        return _soil(path.stem, kind, texture, field, (*notes, *lab_notes, *fit_notes))
    log_notes = tuple(note.of(path.name) for note in (*notes, *fit_notes))
    grid, kriged = kriged_texture(lab, field)
    instead = notice("samples-instead", conductivity=path.name)
    return _soil(samples.stem, "samples", grid, field, (*lab.notes, *log_notes, instead, *kriged))


def kriged_texture(samples: Points, field: Field) -> tuple[Grid, tuple[Notice, ...]]:
    """Krige the texture of samples, and organic matter where enough have it; say how far off.

    Notes
    -----
    Sand, silt and clay are kriged apart and scaled to 1 together. Log-ratios would need no
    scaling, but they have no answer for a sand of 0 %, and bend the means on the way back;
    fractions kriged by like variograms add up to 1 by themselves.
    """
    organic = np.isfinite(samples.values.get("organic_pct", [])).sum()
    names = (*_TEXTURE, "organic_pct") if organic >= LEAST_POINTS else _TEXTURE
    grids, checks = zip(
        *(krige(samples, name, field, WORKING_CELL_M) for name in names), strict=True
    )
    notes = [noted(name, checked) for name, checked in zip(names, checks, strict=True)]
    values = {name: grid.values[name] for name, grid in zip(names, grids, strict=True)}
    if not checks[-1].varies or "organic_pct" not in names:
        values |= _peat(samples, grids[0], values.get("organic_pct"))
    if 0 < organic < LEAST_POINTS:
        notes.append(notice("organic-too-few", points=int(organic), wanted=LEAST_POINTS))
    parts = np.maximum([values[name] for name in _TEXTURE], 0)
    total = parts.sum(axis=0)
    off_pct = 100 * float(np.nanmax(np.abs(total - 1)))
    notes.append(notice("kriged-texture-scaled", off_pct=off_pct))
    values |= dict(zip(_TEXTURE, parts / total, strict=True))
    return Grid(values, grids[0].transform, field.crs), tuple(notes)


def _peat(samples: Points, grid: Grid, organic_pct: _Values | None) -> dict[str, _Values]:
    """Organic matter as it is, but that of a sample of peat where this is the nearest one.

    For organic matter that cannot be kriged, or shows no pattern: few samples of peat among
    many of soil must not be lost in a mean.
    """
    sampled_pct = samples.values.get("organic_pct")
    if sampled_pct is None or not np.nanmax(sampled_pct, initial=0.0) >= ORGANIC_PCT:
        return {}
    (kriged,) = grid.values.values()
    shape = kriged.shape
    rows, columns = np.indices(shape) + 0.5
    east, north = grid.transform * (columns.ravel(), rows.ravel())
    tree = cKDTree(np.column_stack((samples.x_m, samples.y_m)))
    of_nearest = sampled_pct[tree.query(np.column_stack((east, north)))[1]].reshape(shape)
    else_pct = np.full(shape, np.nan) if organic_pct is None else organic_pct
    reached = ~np.isnan(kriged)
    return {"organic_pct": np.where(reached & (of_nearest >= ORGANIC_PCT), of_nearest, else_pct)}


def texture_through(
    log: Grid, samples: Points, field: Field
) -> tuple[Grid | None, tuple[Notice, ...]]:
    """Read conductivity as texture by lines fitted at the samples, and show the fit.

    The texture is None where clay does not rise with conductivity, the line explains less than
    LEAST_R2 of it on samples left out, or fewer than LEAST_POINTS samples lie where conductivity
    is known.

    Notes
    -----
    Sand has a line of its own where that holds; else sand and silt share what clay leaves
    as they do in the samples. Conductivity beyond that at the samples is taken as theirs:
    a line says nothing past its points.
    """
    conductivity = log.values["conductivity"]
    here = _looked_up(log, samples)
    known = np.isfinite(here) & np.isfinite(samples.values["clay_frac"])
    if known.sum() < LEAST_POINTS:
        few = notice("conductivity-few-samples", samples=int(known.sum()), wanted=LEAST_POINTS)
        return None, (few,)
    sand_frac, silt_frac, clay_frac = (samples.values[name][known] for name in _TEXTURE)
    clay, sand = fit_line(here[known], clay_frac), fit_line(here[known], sand_frac)
    notes = [_fit("clay", clay), _fit("sand", sand)]
    if not _holds(clay, 1):
        return None, (*notes, notice("conductivity-says-no-texture", least_r2=LEAST_R2))

    low, high = here[known].min(), here[known].max()
    ground = _on_field(log, field)
    beyond = np.mean((ground < low) | (ground > high))
    if beyond:
        notes.append(
            notice(
                "conductivity-beyond-samples", share=float(beyond), low=float(low), high=float(high)
            )
        )
    clipped = np.clip(conductivity, low, high)
    clay_there = np.clip(clay.intercept + clay.slope * clipped, 0, 1)
    if _holds(sand, -1):
        sand_there = np.clip(sand.intercept + sand.slope * clipped, 0, 1 - clay_there)
    else:
        share = sand_frac.sum() / (sand_frac + silt_frac).sum()
        sand_there = share * (1 - clay_there)
        notes.append(notice("sand-as-in-samples", share=float(share)))
    values = {
        "sand_frac": sand_there,
        "silt_frac": 1 - clay_there - sand_there,
        "clay_frac": clay_there,
    }
    return Grid(values, log.transform, log.crs), tuple(notes)


def fit_line(x: _Values, y: _Values) -> Line:
    """Fit a straight line by least squares, and try it on each point left out.

    Notes
    -----
    A residual over one less its leverage is what the line of the other points misses it by.

    Source
    ------
    Allen (1974), Technometrics 16:125-127, from memory.

    Examples
    --------
    >>> line = fit_line(np.array([0.0, 1, 2, 3]), np.array([1.0, 3, 5, 7]))
    >>> line.slope, line.intercept, line.left_out_r2
    (2.0, 1.0, 1.0)
    """
    count = len(x)
    from_mean, rise = x - x.mean(), y - y.mean()
    from_others = rise * count / (count - 1)
    if not (np.ptp(x) and np.ptp(y)):
        return Line(0.0, float(y.mean()), count, 0.0, 0.0, float(np.sqrt(np.mean(from_others**2))))
    squares = float(from_mean @ from_mean)
    slope = float(from_mean @ rise) / squares
    residual = rise - slope * from_mean
    left_out = residual / (1 - 1 / count - from_mean**2 / squares)
    return Line(
        slope=slope,
        intercept=float(y.mean() - slope * x.mean()),
        count=count,
        r2=1 - float(residual @ residual) / float(rise @ rise),
        left_out_r2=1 - float(left_out @ left_out) / float(from_others @ from_others),
        left_out_rmse=float(np.sqrt(np.mean(left_out**2))),
    )


def _holds(line: Line, sign: int) -> bool:
    return line.left_out_r2 >= LEAST_R2 and line.slope * sign > 0


def _fit(part: str, line: Line) -> Notice:
    return notice(
        "conductivity-fit",
        part=part,
        slope_frac=line.slope,
        samples=line.count,
        r2=line.r2,
        left_out_r2=line.left_out_r2,
        left_out_frac=line.left_out_rmse,
    )


def _on_field(log: Grid, field: Field) -> _Values:
    """What is known of the cells that lie in the field: a raster has some beside it."""
    values = log.values["conductivity"]
    inside: _Values = values[(field_shares(log, field) > 0) & ~np.isnan(values)]
    return inside


def _looked_up(log: Grid, samples: Points) -> _Values:
    """Conductivity of the cell that each sample lies in, NaN where there is none."""
    values = log.values["conductivity"]
    step, _, west, _, down, north, *_ = log.transform
    x, y = move_points(samples.x_m, samples.y_m, samples.crs, log.crs)
    columns = np.floor((x - west) / step).astype(np.intp)
    rows = np.floor((north - y) / -down).astype(np.intp)
    on = (rows >= 0) & (rows < len(values)) & (columns >= 0) & (columns < values.shape[1])
    conductivity = np.full(len(rows), np.nan)
    conductivity[on] = values[rows[on], columns[on]]
    return conductivity


def _soil(name: str, kind: str, grid: Grid, field: Field, notes: tuple[Notice, ...]) -> SoilLayer:
    return SoilLayer(name, kind, grid_ground(grid, field), notes)


def _marks(
    name: str, log: Grid, field: Field, notes: tuple[Notice, ...], *, varies: bool
) -> MarkLayer:
    """The thirds of the ground by conductivity; nothing where it does not vary."""
    edges = np.quantile(_on_field(log, field), [1 / 3, 2 / 3]).tolist() if varies else []
    ground = class_ground(log, "conductivity", field, edges)
    sites = [Marks(part=THIRDS[part]) if varies else NOWHERE for part in ground["part"]]
    edge_note = notice("conductivity-draws-no-edges")
    if varies:
        edge_note = notice("conductivity-draws-edges", low=edges[0], high=edges[1])
    return MarkLayer(
        name,
        gpd.GeoDataFrame({"site": sites}, geometry=ground.geometry.to_list(), crs=ground.crs),
        (*notes, edge_note),
    )
