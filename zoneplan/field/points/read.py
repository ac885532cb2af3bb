"""Read what was measured at points: apparent conductivity, and texture from a laboratory."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree

from zoneplan.errors import LayerError
from zoneplan.field.columns import TABLES
from zoneplan.field.crs import WGS_84, extent, move, move_points
from zoneplan.field.files import read_one
from zoneplan.field.points.table import places_in, read_table, read_values
from zoneplan.field.shapes import Field
from zoneplan.notices import Notice, notice

MARGIN_M = 20.0  # this far outside, a point still says something of the field's edge; judged
SAME_PLACE_M = 0.01
NO_COLUMNS: Mapping[str, str] = {}  # that a person names
MOST_MEASURED = 50_000  # of a log; more are thinned first: one every 3 m of passes 4 m apart
LEAST_BLOCK_M = 1.0  # judged: a sensor averages over as much
NEIGHBOURS = 16  # about a point, to tell whether it is an outlier
MOST_MODIFIED_Z = 3.5
MOST_PLACES = 5  # that a note tells
LABORATORY = ("sand_frac", "silt_frac", "clay_frac", "organic_pct")
_ROUNDING = 1e-9  # of the largest value: no more is left of equal values once they are shared out
_Values = NDArray[np.float64]


@dataclass(frozen=True)
class Points:
    """Clean measurements at points. A value is NaN where that point does not have it."""

    source: str  # the file, for messages
    crs: str  # the field's metric system
    x_m: NDArray[np.float64]
    y_m: NDArray[np.float64]
    # of conductivity (in the file's unit), sand_frac, silt_frac, clay_frac, organic_pct
    values: Mapping[str, NDArray[np.float64]]
    notes: tuple[Notice, ...] = ()


def read_points(
    path: Path,
    field: Field,
    columns: Mapping[str, str] = NO_COLUMNS,
    crs: str | None = None,
) -> Points:
    """Read measurements at points, and clean them.

    Parameters
    ----------
    path : Path
        A CSV file with headings, or any vector file of points.
    field : Field
        The field they were taken on.
    columns : mapping
        Columns to take for conductivity, sand, silt, clay and organic, and of a CSV for x and y,
        easting (or longitude) and northing (or latitude); else they are found by name. Texture
        in percent, fractions or g/kg, told apart by what sand, silt and clay add up to; organic
        matter in percent.
    crs : str, optional
        Coordinate system, if the file states none. Longitude and latitude need none.

    Returns
    -------
    Points
        With conductivity, or sand, silt and clay, or both. The notes tell every step of
        the cleaning and how many points it took.

    Raises
    ------
    LayerError
        When columns are not there or not clear, hold text where numbers belong, or amounts
        that cannot be; when the points miss the field, or look swapped.

    Notes
    -----
    In order: rows without a place or a value are left out, points more than MARGIN_M
    outside the field, and negative conductivities; points in one place become their
    mean; outliers are left out (see `outliers`). No laboratory sample is left out for what it
    says: those that differ from all their neighbours are told, and kept.
    """
    if path.suffix.lower() in TABLES:
        frame, notes = read_table(path)
        east, north, system = places_in(frame, columns, path.name, crs, field)
        notes.append(notice("places-read-in", system=system.to_string()))
    else:
        frame, notes = _features(path, crs), []
        east, north = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
        system = frame.crs
    values, column_notes = read_values(frame, columns, path.name)
    notes += column_notes
    known = np.isfinite(east) & np.isfinite(north)
    known &= np.isfinite(np.column_stack(list(values.values()))).any(axis=1)
    whole = pd.DataFrame({"x_m": east, "y_m": north, **values})
    table = _left(whole, known, notes, "points-without-value")
    if table.empty:
        raise LayerError(
            f"{path.name} has no point with a value.\n"
            "Check which columns were read, and export it again."
        )
    table["x_m"], table["y_m"] = move_points(east[known], north[known], system, field.crs)
    around = field.shape.buffer(MARGIN_M)
    shapely.prepare(around)
    near = shapely.contains_xy(around, table["x_m"].to_numpy(), table["y_m"].to_numpy())
    if not near.any():
        raise _astray(east[known], north[known], system, field, path.name)
    table = _left(table, near, notes, "points-outside", margin_m=MARGIN_M)
    table = _clean(table, list(values), notes, field.crs)
    return Points(
        source=path.name,
        crs=field.crs,
        x_m=table["x_m"].to_numpy(),
        y_m=table["y_m"].to_numpy(),
        values={name: table[name].to_numpy() for name in values},
        notes=tuple(notes),
    )


def outliers(x_m: _Values, y_m: _Values, values: _Values) -> NDArray[np.bool_]:
    """Tell the values that do not belong among their neighbours.

    A value is an outlier when its modified z-score among the NEIGHBOURS nearest points is
    beyond MOST_MODIFIED_Z. Fewer points than that have no outliers.

    Notes
    -----
    The MAD is that of the neighbours, but not less than what points usually differ from
    the median about them: along a smooth log, neighbours are so alike that a plain rise of
    the ground would stand out among them.

    Source
    ------
    Iglewicz & Hoaglin (1993), How to Detect and Handle Outliers, ASQC Quality Press, from
    memory: modified z-score 0.6745 (x - median) / MAD, outliers beyond 3.5. Taking it
    among neighbours, and the least MAD, are ours.

    Examples
    --------
    >>> along_m = np.arange(40.0)
    >>> values = 10 + 0.1 * along_m
    >>> values[20] = 30.0
    >>> np.flatnonzero(outliers(along_m, np.zeros(40), values))
    array([20])
    """
    if len(values) <= NEIGHBOURS:
        return np.zeros(len(values), dtype=bool)
    _, median, mad = _neighbours(x_m, y_m, values)
    flags: NDArray[np.bool_] = 0.6745 * np.abs(values - median) > MOST_MODIFIED_Z * mad
    return flags


def unlike_all(x_m: _Values, y_m: _Values, values: _Values) -> NDArray[np.bool_]:
    """Tell the values that differ from each of their neighbours as outliers do from the median.

    Where one soil ends beside another, points are outliers among most of their neighbours and
    yet like some of them; a gross error is like none.

    Examples
    --------
    >>> along_m = np.arange(40.0)
    >>> values = np.where(along_m < 20, 10.0, 30.0) + 0.1 * along_m
    >>> values[8] = 90.0
    >>> np.flatnonzero(unlike_all(along_m, np.zeros(40), values))
    array([8])
    """
    if len(values) <= NEIGHBOURS:
        return np.zeros(len(values), dtype=bool)
    around, _, mad = _neighbours(x_m, y_m, values)
    nearest = np.abs(around - values[:, None]).min(axis=1)
    flags: NDArray[np.bool_] = 0.6745 * nearest > MOST_MODIFIED_Z * mad
    return flags


def _neighbours(x_m: _Values, y_m: _Values, values: _Values) -> tuple[_Values, _Values, _Values]:
    """Values of the nearest points about each, their median, and how they scatter about it."""
    places = np.column_stack((x_m, y_m))
    nearest = np.asarray(cKDTree(places).query(places, k=NEIGHBOURS + 1)[1])
    around = values[nearest[:, 1:]]  # the first is the point itself
    median = np.median(around, axis=1)
    off = np.abs(values - median)
    usual = np.median(off) or np.mean(off)
    rounding = _ROUNDING * np.max(np.abs(values))
    mad = np.maximum(np.median(np.abs(around - median[:, None]), axis=1), max(usual, rounding))
    return around, median, mad


def _clean(table: pd.DataFrame, names: list[str], notes: list[Notice], crs: str) -> pd.DataFrame:
    if "conductivity" in names:
        possible = ~(table["conductivity"].to_numpy() < 0) | _sampled(table)
        table = _left(table, possible, notes, "points-negative")

    places = [(table[axis] / SAME_PLACE_M).round().to_numpy() for axis in ("x_m", "y_m")]
    alone = not pd.DataFrame(dict(enumerate(places))).duplicated().any()
    merged = table if alone else table.groupby(places, sort=False).mean()
    if len(merged) < len(table):
        notes.append(
            notice("points-in-one-place", left=len(table) - len(merged), points=len(table))
        )
    if len(merged) > MOST_MEASURED and not _sampled(merged).any():
        medians, block_m = block_medians(merged, MOST_MEASURED, LEAST_BLOCK_M)
        notes.append(
            notice("points-thinned", points=len(merged), blocks=len(medians), block_m=block_m)
        )
        merged = medians
    odd = np.zeros(len(merged), dtype=bool)
    unlike = odd.copy()
    for name in names:
        known = merged[name].notna().to_numpy()
        measured = merged.loc[known, ["x_m", "y_m", name]].to_numpy().T
        if name == "conductivity":
            odd[known] |= outliers(*measured)
        else:
            unlike[known] |= unlike_all(*measured)
    if unlike.any():
        notes.append(_unlike(merged[unlike], len(merged), crs))
    odd &= ~_sampled(merged)
    most = {"most_modified_z": MOST_MODIFIED_Z, "neighbours": NEIGHBOURS}
    return _left(merged, ~odd, notes, "points-outlying", **most)


def block_medians(table: pd.DataFrame, most: int, block_m: float) -> tuple[pd.DataFrame, float]:
    """Take medians of square blocks, as small as will do, that are no more than so many."""
    while True:
        across, up = ((table[axis] // block_m).to_numpy() for axis in ("x_m", "y_m"))
        blocks = across * (np.ptp(up) + 1) + up - up.min()
        if len(np.unique(blocks)) <= most:
            return table.groupby(blocks).median(), block_m
        block_m *= 1.25


def _sampled(table: pd.DataFrame) -> NDArray[np.bool_]:
    """Which points have something from a laboratory."""
    lab = [name for name in table if name in LABORATORY]
    sampled: NDArray[np.bool_] = table[lab].notna().any(axis=1).to_numpy()
    return sampled


def _unlike(samples: pd.DataFrame, count: int, crs: str) -> Notice:
    """Note samples that differ from all about them, and where the first of them lie."""
    first = samples.head(MOST_PLACES)
    lon, lat = move_points(first["x_m"].to_numpy(), first["y_m"].to_numpy(), CRS(crs), WGS_84)
    places = tuple(f"{north:.5f}, {east:.5f}" for east, north in zip(lon, lat, strict=True))
    return notice("samples-unlike", flagged=len(samples), samples=count, places=places)


def _left(
    table: pd.DataFrame,
    keep: NDArray[np.bool_],
    notes: list[Notice],
    code: str,
    **values: Any,
) -> pd.DataFrame:
    """Take out rows, and note how many and why."""
    if not keep.all():
        notes.append(notice(code, left=int((~keep).sum()), points=len(keep), **values))
    return table[keep].reset_index(drop=True)


def _features(path: Path, crs: str | None) -> gpd.GeoDataFrame:
    """Read a vector file that holds one layer of points, numbered as they lie."""
    frame = read_one(path, crs).explode(ignore_index=True)
    frame.index += 1
    others = set(frame.geom_type.dropna()) - {"Point"}
    if others:
        raise LayerError(
            f"{path.name} holds {' and '.join(sorted(others))}.\n"
            "Only points say where a measurement was made.\n"
            "Export the layer again, as points."
        )
    return frame


def _astray(east: _Values, north: _Values, system: CRS, field: Field, source: str) -> LayerError:
    """Say that no point is near the field, or that swapped they would be."""
    around = field.shape.buffer(MARGIN_M)
    swapped = shapely.contains_xy(around, *move_points(north, east, system, field.crs)).sum()
    if swapped:
        return LayerError(
            f"{source} misses the field, but with the two coordinates swapped {swapped:,} of its "
            f"{len(east):,} points fall in it.\n"
            "They look swapped; we won't swap them back unasked.\n"
            "Name the columns of a table the right way round, x for east and y for north, or "
            "export it again.",
            code="places-swapped",
            parameter=("columns.x", "columns.y"),
        )
    here = extent(move(around, field.crs, WGS_84).bounds)
    return LayerError(
        f"{source} misses the field: none of its {len(east):,} points is in it or within "
        f"{MARGIN_M:g} m.\n"
        f"  {field.name}: {here}\n"
        f"  {source}: {east.min():,.10g} to {east.max():,.10g} east, {north.min():,.10g} to "
        f"{north.max():,.10g} north, read as {system.name}\n"
        "It is of another place, or its coordinate system is misstated.\n"
        "Check both, and say what its system is.",
        code="apart",
        parameter="crs",
    )
