"""The lie of the land: heights over the field, where water gathers, where it is steep."""

import math
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from scipy import ndimage
from shapely.geometry import LineString, box

from zoneplan.errors import LayerError, quoted
from zoneplan.field.crs import move
from zoneplan.field.raster.flow import slope_frac, wetness_index
from zoneplan.field.raster.grid import WORKING_CELL_M, Grid, class_ground
from zoneplan.field.raster.opening import (
    GRIDS,
    OWN_TAG,
    RasterInfo,
    Resampling,
    geometry_mask,
    rasterize,
    reproject,
    transform_bounds,
)
from zoneplan.field.raster.raster_band import about, cells_about, placed
from zoneplan.field.shapes import Field, MarkLayer, Marks
from zoneplan.notices import Notice, notice
from zoneplan.progress import step
from zoneplan.units import M_PER_FT, percent


def read_terrain(path: Path, field: Field, crs: str | None = None) -> MarkLayer:
    """Read heights, and mark the ground by its slope and by where water gathers.

    Raises
    ------
    LayerError
        As `read_elevation` does.
    """
    step("Reading", path.name)
    heights = read_elevation(path, field, crs)
    step("Letting water run over the ground")
    ground = terrain_ground(heights, field)
    sites = [
        Marks(slope_frac=slope, gathers_water=wet, steep=steep)
        for slope, wet, steep in zip(
            ground["slope_frac"].tolist(),
            ground["gathers_water"].tolist(),
            ground["steep"].tolist(),
            strict=True,
        )
    ]
    return MarkLayer(
        name=path.stem,
        ground=ground[["geometry"]].assign(site=sites),
        notes=elevation_notes(path, heights, field, crs),
    )


MARGIN_M = 250.0  # judged: how far around the field we look for ground that drains into it
MOST_FINE = 8  # a working cell is averaged from so many by so many at the most
COARSEST_M = 35.0  # a cell of one second of arc; wider ones span a whole slope of a field
LOWEST_M, HIGHEST_M = -450.0, 8900.0  # of any dry ground on earth
STEEPEST_FIELD = 0.35  # judged: no planter works where ground slopes more on average
LEAST_RELIEF_M = 0.25  # judged: with less, a field's lie is lost in the error of its heights
WET_ABOVE_MEAN = 1.5  # judged; see `terrain_ground`
STEEP_FRAC = 0.06  # judged
WORTH_SAYING_FRAC = 0.01  # a slope that matters little
ASKED_TAG, ASKED_OF_TAG, GAPS_TAG = (f"{OWN_TAG}{name}" for name in ("ASKED", "ASKED_OF", "GAPS"))
_BESIDE = 4  # cells of the raster that are read beyond: it is interpolated between their middles
_UNITS_M = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet", "us survey foot", "us-ft", "ftus"), M_PER_FT),
}
_Values = NDArray[np.float64]
_Mask = NDArray[np.bool_]


def read_elevation(path: Path, field: Field, crs: str | None = None) -> Grid:
    """Read heights on and around the field, in its own metric system.

    Parameters
    ----------
    path : Path
        A raster of one band, such as a GeoTIFF.
    field : Field
        It must be covered whole; MARGIN_M around it is read as far as the raster reaches.
    crs : str, optional
        Coordinate system, if the file states none.

    Returns
    -------
    Grid
        `elevation` [m] on square cells of WORKING_CELL_M, or of the raster's own width
        where that is more. Finer heights are averaged: that evens out furrows, and the
        errors of single heights.

    Raises
    ------
    LayerError
        When the file cannot be read, states no coordinate system, is rotated, has more
        bands than one or cells too wide, misses the field or leaves some of it out; when
        its values cannot be heights.

    Notes
    -----
    Heights are in feet only where the band or the vertical coordinate system says so; see
    `elevation_notes`. A cell is the mean of heights interpolated no wider apart than the
    raster has them: so an even slope keeps its tilt, whatever the two widths are, which a
    mean of whole raster cells gets wrong by up to 4 %.
    """
    source = about(path, GRIDS)
    system = placed(source, path.name, crs, _not_heights(source))
    unit_m = _unit_m(source, path.name, system) or 1.0
    own_m = _cell_m(source, path.name, system, field)
    cell_m = max(WORKING_CELL_M, float(round(max(own_m))))
    fine = min(MOST_FINE, math.ceil(cell_m / min(own_m)))
    west, north, rows, columns = _window(field, cell_m)
    wanted = Affine(cell_m / fine, 0.0, west, 0.0, -cell_m / fine, north)
    bounds = (west, north - rows * cell_m, west + columns * cell_m, north)
    there = transform_bounds(field.crs, system, *bounds)
    read, transform = cells_about(path, source, 1, there, GRIDS, _BESIDE)
    cells = np.full((rows * fine, columns * fine), np.nan)
    reproject(
        read,
        cells,
        src_transform=transform,
        src_crs=system.to_wkt(),
        src_nodata=np.nan,
        dst_transform=wanted,
        dst_crs=field.crs,
        dst_nodata=np.nan,
        resampling=Resampling.bilinear,
        tolerance=0.01,
    )
    band = _mean_of_known(cells.reshape(rows, fine, columns, fine), axis=(1, 3))
    with np.errstate(over="ignore"):  # what is too large for a height is refused below
        height_m = (band * source.scales[0] + source.offsets[0]) * unit_m
    transform = Affine(cell_m, 0.0, west, 0.0, -cell_m, north)
    grid = Grid({"elevation": height_m}, transform, field.crs)
    _check_heights(grid, field, path.name)
    return grid


def elevation_notes(
    path: Path, grid: Grid, field: Field, crs: str | None = None
) -> tuple[Notice, ...]:
    """Note how far the heights reach, and what about them was taken for granted.

    `grid` is what `read_elevation` made of the rest.
    """
    cell_m = grid.transform.a
    known = np.pad(~np.isnan(grid.values["elevation"]), 1)
    cells = ndimage.distance_transform_edt(known)[1:-1, 1:-1][_inside(grid, field)].min()
    reach_m = (cells - 1) * cell_m
    notes = [
        notice("heights-reach", file=path.name, reach_m=float(reach_m))
        if reach_m > cell_m
        else notice("heights-end-at-field", file=path.name)
    ]
    source = about(path, GRIDS)
    unit_m = _unit_m(source, path.name, placed(source, path.name, crs))
    whole = np.issubdtype(source.dtypes[0], np.integer)
    step_m = source.scales[0] * (unit_m or 1.0)
    asked = dict(source.tags)
    if ASKED_TAG in asked:
        notes.append(
            notice(
                "heights-asked",
                asked=quoted(asked[ASKED_TAG]),
                asked_of=quoted(asked.get(ASKED_OF_TAG, "")),
                cell_m=float(abs(source.transform.a)),
                gaps=asked.get(GAPS_TAG, "0") != "0",
            )
        )
    if unit_m is None:
        notes.append(notice("height-unit-unknown", file=path.name))
    if whole and step_m / (2 * cell_m) >= WORTH_SAYING_FRAC:
        notes.append(
            notice(
                "heights-in-steps",
                file=path.name,
                step_m=float(step_m),
                lost_slope_frac=float(step_m / (2 * cell_m)),
            )
        )
    return tuple(notes)


def terrain_ground(grid: Grid, field: Field) -> gpd.GeoDataFrame:
    """Outline the ground where water gathers, the steep ground, and what is neither.

    Parameters
    ----------
    grid : Grid
        From `read_elevation`.
    field : Field
        Only cells that lie in it at least in part are outlined; they cover it.

    Returns
    -------
    GeoDataFrame
        `geometry`, one Polygon each along the edges of cells, in the field's system;
        `slope_frac` and `wetness_index`, their means; `gathers_water` and `steep`. What is
        smaller than LEAST_PATCH_M2 counts as the ground around it.

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
    inside = _inside(grid, field)
    slope = _with_nearest(slope_frac(height_m, cell_m))
    index = _with_nearest(wetness_index(height_m, cell_m))
    around = ndimage.uniform_filter(index, 3)
    low_m, high_m = np.percentile(height_m[inside], [5, 95])
    lie = np.zeros(slope.shape)
    if high_m - low_m >= LEAST_RELIEF_M:
        lie[around > around[inside].mean() + WET_ABOVE_MEAN] = 1
    lie[slope >= STEEP_FRAC] = -1
    ground = class_ground(replace(grid, values={"lie": lie}), "lie", field, edges=[-0.5, 0.5])
    steep, _, wet = (ground["part"] == part for part in range(3))
    return ground.assign(
        slope_frac=_means(slope, ground, grid.transform),
        wetness_index=_means(index, ground, grid.transform),
        gathers_water=wet,
        steep=steep,
    ).drop(columns="part")


def _not_heights(source: RasterInfo) -> list[str]:
    return [] if source.count == 1 else [f"It holds {source.count} bands; heights are one."]


def _unit_m(source: RasterInfo, name: str, system: CRS | None) -> float | None:
    """Give the metres in the unit of the heights; None where nothing says it.

    The band's own word counts, then the vertical axis of the coordinate system.
    """
    unit = (source.units[0] or "").strip()
    if unit and unit.lower() not in _UNITS_M:
        raise LayerError(
            f'{name} says that its values are in "{quoted(unit)}".\n'
            "Heights are in metres or feet, so these may be something else.\n"
            "Export the heights again, in metres."
        )
    if unit:
        return _UNITS_M[unit.lower()]
    axes = system.axis_info if system else []
    return next((axis.unit_conversion_factor for axis in axes if axis.direction == "up"), None)


def _cell_m(source: RasterInfo, name: str, system: CRS, field: Field) -> tuple[float, float]:
    """Width and height of the raster's cells at the field. [m]

    It is an error that the raster lies elsewhere.
    """
    outline = move(field.shape, field.crs, system)
    if not box(*source.bounds).intersects(outline):
        raise LayerError(
            f"{name} and the field do not meet. In {system.name} they span\n"
            f"  {name}: {_extent(source.bounds)}\n"
            f"  {field.name}: {_extent(outline.bounds)}\n"
            "One of them is of another place, or its coordinate system is misstated.\n"
            "Check both, and give the heights that lie under the field."
        )
    x, y = outline.representative_point().coords[0]
    across = LineString([(x, y), (x + source.transform.a, y)])
    down = LineString([(x, y), (x, y + source.transform.e)])
    own_m = move(across, system, field.crs).length, move(down, system, field.crs).length
    if max(own_m) > COARSEST_M:
        raise LayerError(
            f"{name} has cells {max(own_m):,.0f} m wide at the field.\n"
            f"Above {COARSEST_M:g} m, one spans a whole slope, and its lie is lost.\n"
            "Give finer heights; 10 m will do."
        )
    return own_m


def _extent(bounds: tuple[float, float, float, float]) -> str:
    west, south, east, north = bounds
    return f"{west:,.6g} to {east:,.6g}, {south:,.6g} to {north:,.6g}"


def _window(field: Field, cell_m: float) -> tuple[float, float, int, int]:
    """Lay cells over the field and its margin: west edge, north edge, rows, columns.

    They lie on whole multiples of their width, so that a boundary a little longer adds some
    and moves none.
    """
    west, south, east, north = np.array(field.shape.buffer(MARGIN_M).bounds) / cell_m
    left, top = math.floor(west), math.ceil(north)
    return left * cell_m, top * cell_m, math.ceil(top - south), math.ceil(east - left)


def _check_heights(grid: Grid, field: Field, name: str) -> None:
    """Refuse heights that leave part of the field out, or cannot be heights."""
    height_m = grid.values["elevation"]
    inside = _inside(grid, field)
    missing = np.isnan(height_m[inside])
    if missing.any():
        raise LayerError(
            f"{name} has no heights on {percent(float(missing.mean()), 1)} of {field.name}.\n"
            "Water cannot be followed across a gap, and we won't fill one in.\n"
            "Give heights that cover the whole field, best with its surroundings."
        )
    low, high = np.nanmin(height_m), np.nanmax(height_m)
    if low < LOWEST_M or high > HIGHEST_M:
        raise LayerError(
            f"{name} has values from {low:,.6g} to {high:,.6g} m on and around the field.\n"
            f"Ground lies between {LOWEST_M:g} and {HIGHEST_M:g} m: a code for no data that the "
            "file does not declare, or another unit.\n"
            "Declare the code or the unit in the file, and export it again."
        )
    slopes = slope_frac(height_m, grid.transform.a)[inside]
    if np.isnan(slopes).all():
        raise LayerError(
            f"{name} has too few heights for a slope: {inside.sum()} cells on {field.name} and "
            "none around.\nGive the heights of its surroundings too."
        )
    if np.nanmean(slopes) > STEEPEST_FIELD:
        raise LayerError(
            f"By {name} the field would slope {percent(float(np.nanmean(slopes)))} on average.\n"
            "No planter works there: the values are in another unit than said, or no heights.\n"
            "Declare the unit in the file, and export it again."
        )


def _inside(grid: Grid, field: Field) -> _Mask:
    """Cells whose centre lies in the field; in one thinner than a cell, all that it touches."""
    shape = grid.values["elevation"].shape
    for touched in (False, True):
        mask: _Mask = geometry_mask([field.shape], shape, grid.transform, touched, invert=True)
        if mask.any():
            break
    return mask


def _mean_of_known(values: _Values, axis: tuple[int, ...]) -> _Values:
    known = np.count_nonzero(~np.isnan(values), axis=axis)
    total: _Values = np.nansum(values, axis=axis)
    means: _Values = np.divide(total, known, out=np.full(total.shape, np.nan), where=known > 0)
    return means


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
