"""Heights on and around a field, in its own metric system, and how they slope."""

import math
from pathlib import Path

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from scipy import ndimage
from shapely.geometry import LineString

from zoneplan.errors import LayerError, quoted
from zoneplan.field.crs import move
from zoneplan.field.raster.grid import WORKING_CELL_M, Grid, about, cells_about, outline_on, placed
from zoneplan.field.raster.opening import (
    GRIDS,
    OWN_TAG,
    RasterInfo,
    Resampling,
    geometry_mask,
    reproject,
    transform_bounds,
)
from zoneplan.field.shapes import Field
from zoneplan.notices import Notice, notice
from zoneplan.units import M_PER_FT, percent

MARGIN_M = 250.0  # judged: how far around the field we look for ground that drains into it
MOST_FINE = 8  # a working cell is averaged from so many by so many at the most
COARSEST_M = 35.0  # a cell of one second of arc; wider ones span a whole slope of a field
LOWEST_M, HIGHEST_M = -450.0, 8900.0  # of any dry ground on earth
STEEPEST_FIELD = 0.35  # judged: no planter works where ground slopes more on average
WORTH_SAYING_FRAC = 0.01  # a slope that matters little
ASKED_TAG, ASKED_OF_TAG, GAPS_TAG = (f"{OWN_TAG}{name}" for name in ("ASKED", "ASKED_OF", "GAPS"))
STEPS = [(row, column) for row in (-1, 0, 1) for column in (-1, 0, 1) if row or column]
_BESIDE = 4  # cells of the raster that are read beyond: it is interpolated between their middles
_UNITS_M = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet", "us survey foot", "us-ft", "ftus"), M_PER_FT),
}
_Values = NDArray[np.float64]
_Mask = NDArray[np.bool_]


def read_elevation(path: Path, field: Field, crs: str | None = None) -> Grid:
    """Read heights on and around the field, in its own metric system.

    The field must be covered whole; MARGIN_M around it is read as far as the raster reaches.

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
    bands = [] if source.count == 1 else [f"It holds {source.count} bands; heights are one."]
    system = placed(source, path.name, crs, bands)
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
    cells = ndimage.distance_transform_edt(known)[1:-1, 1:-1][cells_inside(grid, field)].min()
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


def slope_frac(height_m: _Values, cell_m: float) -> _Values:
    """Slope of the ground on square cells, rise over run; NaN on unknown ground and beside it.

    Source
    ------
    Horn (1981), "Hill shading and the reflectance map", Proc. IEEE 69:14-47: third-order
    finite differences over the eight neighbours, the near ones counting double.

    Examples
    --------
    >>> slope_frac(np.array([[0.0, 1, 2], [0, 1, 2], [0, 1, 2]]), 10)[1, 1]
    np.float64(0.1)
    """
    nw, n, ne, w, e, sw, s, se = neighbours_of(height_m)
    east = ((ne + 2 * e + se) - (nw + 2 * w + sw)) / (8 * cell_m)
    south = ((sw + 2 * s + se) - (nw + 2 * n + ne)) / (8 * cell_m)
    return np.where(np.isnan(height_m), np.nan, np.hypot(east, south))


def neighbours_of(values: _Values) -> _Values:
    """Give each cell's neighbours in the order of the steps; NaN where there is none.

    Rolling wraps round, so one row and one column of NaN serve both sides.
    """
    rows, columns = values.shape
    wide = np.pad(values, 1, constant_values=np.nan)[1:, 1:]
    views = [np.roll(wide, (-row, -column), (0, 1))[:rows, :columns] for row, column in STEPS]
    return np.stack(views)


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
    """Width and height of the raster's cells at the field. [m]"""
    outline = outline_on(source, name, system, field)
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
    inside = cells_inside(grid, field)
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


def cells_inside(grid: Grid, field: Field) -> _Mask:
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
