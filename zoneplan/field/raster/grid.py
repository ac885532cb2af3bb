"""Values on a regular grid over the field, and how they are read from one band of a GeoTIFF."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from exactextract import exact_extract
from exactextract.raster import NumPyRasterSource
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import MultiPolygon, Polygon, box

from zoneplan.errors import LayerError, listed
from zoneplan.field.child import apart
from zoneplan.field.crs import WGS_84, Box, check_movable, distance_m, extent, known_crs, move
from zoneplan.field.file_type import is_tiff, stamp
from zoneplan.field.raster.opening import GEOTIFF, RasterInfo, raster_info, read_cells
from zoneplan.field.shapes import Field
from zoneplan.units import M2_PER_HA

WORKING_CELL_M = 5.0  # judged: finer than any planter is wide, and than most rasters are true
LEAST_FINE = 4  # judged: so many cells across a working cell, and their mean is read
AGAIN = "Export the raster again."
_LEAST_CELL, _MOST_CELL = 1e-9, 1e7  # of a degree or a metre: a cell of neither end is none
_STRAIGHT_M = 100.0  # a longer edge of the field would bend on its way to another system


@dataclass(frozen=True)
class Grid:
    """Named values on one grid, north up, NaN where unknown."""

    values: Mapping[str, NDArray[np.float64]]  # each (rows, columns), the north row first
    transform: Affine  # from (column, row) to the system's coordinates
    crs: str


def field_shares(grid: Grid, field: Field) -> NDArray[np.float64]:
    """Share of the field that lies in each cell, exact where its edge cuts one. [0 to 1].

    They add up to 1 where the grid covers the whole field.

    Notes
    -----
    All cells count as equal. In degrees they shrink towards the pole, but from one of 250 m
    to the next by less than one part in ten thousand.
    """
    shape = next(iter(grid.values.values())).shape
    return _shares(shape, grid.transform, grid.crs, field)


@lru_cache(maxsize=2)  # a layer asks twice for the shares of its cells
def _shares(
    shape: tuple[int, int], transform: Affine, crs: str, field: Field
) -> NDArray[np.float64]:
    rows, columns = shape
    step_east, _, west, _, step_south, north, *_ = transform
    outline = _outline(crs, field)
    frame = gpd.GeoDataFrame(geometry=[outline], crs=crs)
    # Both in one system by the same words: where they differ, exact_extract only warns.
    cells = NumPyRasterSource(
        np.zeros((rows, columns)),
        xmin=west,
        ymin=north + step_south * rows,
        xmax=west + step_east * columns,
        ymax=north,
        srs_wkt=frame.crs.to_wkt(),
    )
    overlap = exact_extract(cells, frame, ["cell_id", "coverage"], output="pandas").iloc[0]
    covered = np.zeros(rows * columns)
    covered[overlap["cell_id"].astype(np.intp)] = overlap["coverage"]
    cell_share: float = abs(step_east * step_south) / outline.area
    shares = cell_share * covered.reshape(rows, columns)
    shares.setflags(write=False)
    return shares


def cell_m(grid: Grid, field: Field) -> float:
    """How wide a cell is in the field, as a square of its area. [m]."""
    share = abs(grid.transform.determinant) / _outline(grid.crs, field).area
    return math.sqrt(M2_PER_HA * field.area_ha * share)


@lru_cache(maxsize=2)
def _outline(crs: str, field: Field) -> Polygon | MultiPolygon:
    return move(field.shape.segmentize(_STRAIGHT_M), field.crs, crs)


class Band(NamedTuple):
    """One band of a file."""

    path: Path
    number: int  # from 1
    text: str  # its description; where a file's only band has none, the file's name
    unit: str  # as the file states it, else empty
    alone: bool  # whether it is the only one in its file


def is_raster(path: Path) -> bool:
    """Tell a GeoTIFF, or any TIFF, by its content."""
    if not is_tiff(path):
        return False
    try:
        bands_of(path)
    except LayerError:
        return False
    return True


def bands_of(path: Path) -> list[Band]:
    """List the bands of a file.

    Raises
    ------
    LayerError
        When there is no such file, or it is no GeoTIFF.
    """
    source = about(path)
    alone = source.count == 1
    return [
        Band(path, number, text or (path.stem if alone else ""), unit or "", alone)
        for number, (text, unit) in enumerate(
            zip(source.descriptions, source.units, strict=True), start=1
        )
    ]


def read_band(band: Band, field: Field, name: str, crs: str | None = None) -> Grid:
    """Read the cells of a band that lie in the box around a field, as far as the raster reaches.

    The values are called `name`. They are as the file means them, scale and offset worked in; NaN
    where it says that there is none.

    Raises
    ------
    LayerError
        When the file is damaged or rotated, states no coordinate system, or misses the
        field.
    """
    source = about(band.path)
    system = placed(source, band.path.name, crs)
    outline = outline_on(source, band.path.name, system, field)
    # Of very fine cells means are read: what they hold beyond the field's edge counts for little.
    own_m = math.sqrt(
        M2_PER_HA * field.area_ha * abs(source.transform.determinant) / shapely.area(outline)
    )
    factor = max(1, round(WORKING_CELL_M / own_m))
    read, transform = cells_about(
        band.path,
        source,
        band.number,
        outline.bounds,
        factor=factor if factor >= LEAST_FINE else 1,
    )
    scale, offset = source.scales[band.number - 1], source.offsets[band.number - 1]
    with np.errstate(over="ignore"):  # what is too large to be is told where it is looked at
        values = read * scale + offset
    values[~np.isfinite(values)] = np.nan
    if transform.e > 0:  # the south row first
        step_south, top = transform.e, transform.f
        values, top = values[::-1], top + step_south * len(values)
        transform = Affine(transform.a, 0.0, transform.c, 0.0, -step_south, top)
    return Grid({name: values}, transform, system.to_wkt())


def about(path: Path, allowed: Sequence[str] = GEOTIFF) -> RasterInfo:
    """Read what a raster says of itself.

    Raises
    ------
    LayerError
        When it is not there, damaged or something else.
    """
    return _about(path.absolute(), tuple(allowed), stamp(path))


@lru_cache(maxsize=64)
def _about(path: Path, allowed: tuple[str, ...], _stamp: object) -> RasterInfo:
    """The same, asked once as long as nobody writes to the file."""
    return apart(_kind(allowed), AGAIN, raster_info, path, allowed)


def _kind(allowed: Sequence[str]) -> str:
    return "a GeoTIFF" if allowed == GEOTIFF else "a raster"


def cells_about(
    path: Path,
    source: RasterInfo,
    band: int,
    bounds: Box,
    allowed: Sequence[str] = GEOTIFF,
    more: int = 0,
    factor: int = 1,
) -> tuple[NDArray[np.float64], Affine]:
    """Read the cells of a band that lie within bounds in its own system, and `more` around.

    With a factor they are put together on the way, so many by so many, counted from the
    system's origin; unless the raster ends within such a block.

    Returns
    -------
    tuple
        The values, NaN for none, without scale and offset; and where they lie.

    Raises
    ------
    LayerError
        When they are damaged or too many.
    """
    step_east, _, left, _, step_south, top, *_ = source.transform
    west, south, east, north = bounds
    columns = _span((west - left) / step_east, (east - left) / step_east, source.width, more)
    rows = _span((north - top) / step_south, (south - top) / step_south, source.height, more)
    if factor > 1:
        whole_columns = _whole_blocks(columns, round(left / step_east), factor, source.width)
        whole_rows = _whole_blocks(rows, round(top / step_south), factor, source.height)
        if whole_columns and whole_rows:
            columns, rows = whole_columns, whole_rows
        else:
            factor = 1
    read = apart(_kind(allowed), AGAIN, read_cells, path, allowed, band, rows, columns, factor)
    corner = source.transform * Affine.translation(columns[0], rows[0])
    return read, corner * Affine.scale(factor)


def _whole_blocks(
    span: tuple[int, int], origin: int, factor: int, count: int
) -> tuple[int, int] | None:
    """Widen a span of cells to whole blocks counted from the origin; None past the raster's end."""
    start = span[0] - (span[0] + origin) % factor
    end = span[1] + -(span[1] + origin) % factor
    return (start, end) if start >= 0 and end <= count else None


def placed(source: RasterInfo, name: str, crs: str | None, more: Sequence[str] = ()) -> CRS:
    """Give the system of a raster, once it lies north up at a stated place.

    `more` are faults that were found already.

    Raises
    ------
    LayerError
        With every fault.
    """
    faults = [*more]
    system = CRS(source.crs) if source.crs else known_crs(crs) if crs else None
    if system is None:
        faults.append("It has no coordinate system: it does not state one.")
    elif not (system.is_geographic or system.is_projected):
        faults.append(f"Its coordinate system is not tied to the earth: {system.name}.")
    else:
        check_movable(system, name)
    cell = source.transform
    if not np.isfinite([*cell, *source.scales, *source.offsets]).all():
        faults.append("The size or place of its cells, or the scale of its values, is no number.")
    elif cell.is_identity:
        faults.append("It does not say where on the ground its cells lie.")
    elif not (
        _LEAST_CELL <= abs(cell.a) <= _MOST_CELL and _LEAST_CELL <= abs(cell.e) <= _MOST_CELL
    ):
        faults.append(f"Its cells are {cell.a:g} by {cell.e:g} wide, which cannot be.")
    elif cell.b or cell.d or cell.a < 0:
        faults.append("It is rotated: its rows do not run from west to east.")
    if faults or system is None:
        raise LayerError(
            listed(name, faults)
            + "\nWe won't guess, because a wrong guess can put the zones in another field."
            + "\nExport the raster again, north up and with its coordinate system.",
            code="raster-unplaced",
            parameter="crs" if system is None else (),
            example="EPSG:4326",
        )
    return system


def _span(one: float, other: float, count: int, more: int) -> tuple[int, int]:
    """First and one past the last of the `count` rows or columns that two places lie in."""
    low, high = sorted([one, other])
    low, high = low - more, high + more
    start = min(max(math.floor(low), 0), count - 1)
    return start, max(min(math.ceil(high), count), start + 1)


def outline_on(source: RasterInfo, name: str, system: CRS, field: Field) -> Polygon | MultiPolygon:
    """Give the field's outline in a raster's system.

    Raises
    ------
    LayerError
        When the raster lies elsewhere.
    """
    outline = move(field.shape, field.crs, system)
    if shapely.area(shapely.intersection(box(*source.bounds), outline)):
        return outline
    here = move(field.shape, field.crs, WGS_84)
    there = move(box(*source.bounds), system, WGS_84)
    if max(map(abs, there.bounds[1::2])) <= 90:
        away = f"{distance_m(here, there) / 1000:,.1f} km away"
    else:
        away = "these are no degrees"
    raise LayerError(
        "The boundary and the raster do not meet:\n"
        f"  {field.name}: {extent(here.bounds)}\n"
        f"  {name}: {extent(there.bounds)}; {away}\n"
        "One of them is of another place, or its coordinate system is misstated.\n"
        "Check both, and give the raster that lies under the field."
    )
