"""Ground in tiles that a service of heights can give at once, and tiles laid together again."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from zoneplan.errors import ServiceError
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.raster.terrain import MARGIN_M
from zoneplan.field.shapes import Field

MOST_CELLS = 2000  # of a tile, across or down: more was seen to fail
CELLS_M = (1, 2, 3, 5, 10)  # widths that are tried, the finest first
MOST_TILES = 4  # at a width; with more the next width is taken
BESIDE_M = 20  # beyond the margin in which water is followed: cells are averaged across its edge
_ON_GRID = 0.01  # of a cell: tiles that are off by more are of another grid
_LAST_NAD83_ZONE = 23
LOWEST_M, HIGHEST_M = -1000.0, 10_000.0  # what lies beyond is a code for none
_NAD83, _WGS84_NORTH, _WGS84_SOUTH = 26900, 32600, 32700  # UTM: the code is this and the zone

OTHER_HEIGHTS = "Give heights of your own, or plan without."
Cells = NDArray[np.float64]


@dataclass(frozen=True)
class Tile:
    """Ground to ask for at once, in metres of its system."""

    west: float
    south: float
    east: float
    north: float
    code: int  # EPSG
    cell_m: int

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        across, down = (self.east - self.west), (self.north - self.south)
        return round(across / self.cell_m), round(down / self.cell_m)


@dataclass(frozen=True)
class TileCells:
    """What a tile holds, and where it says that it lies."""

    cells: Cells
    transform: Affine


def tiles_of(field: Field) -> list[Tile]:
    """Lay tiles over a field and the ground around it, in metres, on whole cells.

    They are of the finest cells that MOST_TILES can hold, or else of the widest.
    """
    code = _system(field)
    around = move(field.shape, field.crs, f"EPSG:{code}").buffer(MARGIN_M + BESIDE_M).bounds
    for cell_m in CELLS_M:
        west, south = (math.floor(side / cell_m) for side in around[:2])
        east, north = (math.ceil(side / cell_m) for side in around[2:])
        across = math.ceil((east - west) / MOST_CELLS)
        down = math.ceil((north - south) / MOST_CELLS)
        if across * down <= MOST_TILES or cell_m == CELLS_M[-1]:
            columns, rows = _edges(west, east, across), _edges(south, north, down)
            return [
                Tile(left * cell_m, bottom * cell_m, right * cell_m, top * cell_m, code, cell_m)
                for bottom, top in pairwise(rows)
                for left, right in pairwise(columns)
            ]
    raise AssertionError("the widest cells are always taken")


def believed(cells: Cells) -> Cells:
    """Make unknown what is no height: codes for none, and the holes that come as exactly 0.

    >>> believed(np.array([312.5, 0.0, -9999.0, 3.4e38])).tolist()
    [312.5, nan, nan, nan]
    """
    none = ~np.isfinite(cells) | (cells < LOWEST_M) | (cells > HIGHEST_M) | (cells == 0)
    return np.where(none, np.nan, cells)


def merged(parts: Sequence[TileCells], host: str) -> tuple[Cells, Affine]:
    """Lay tiles together on one grid, each where it says that it lies.

    Raises
    ------
    ServiceError
        When they do not lie on one grid, so that cells would have to be moved.
    """
    if len(parts) == 1:
        return parts[0].cells, parts[0].transform
    wide, tall = parts[0].transform.a, -parts[0].transform.e
    west = min(part.transform.c for part in parts)
    north = max(part.transform.f for part in parts)
    places = [
        ((north - part.transform.f) / tall, (part.transform.c - west) / wide) for part in parts
    ]
    off = max(abs(at - round(at)) for place in places for at in place)
    if off > _ON_GRID or any(not _alike(part.transform, parts[0].transform) for part in parts):
        raise ServiceError(
            f"{host} gives tiles that do not lie on one grid.\n"
            f"To lay them together some would have to be moved.\n{OTHER_HEIGHTS}",
            code="service-strange",
        )
    corners = [(round(row), round(column)) for row, column in places]
    sizes = [part.cells.shape for part in parts]
    rows = max(row + size[0] for (row, _), size in zip(corners, sizes, strict=True))
    columns = max(column + size[1] for (_, column), size in zip(corners, sizes, strict=True))
    cells = np.full((rows, columns), np.nan)
    for part, (row, column) in zip(parts, corners, strict=True):
        window = np.s_[row : row + part.cells.shape[0], column : column + part.cells.shape[1]]
        cells[window] = np.where(np.isnan(part.cells), cells[window], part.cells)
    return cells, Affine(wide, 0.0, west, 0.0, -tall, north)


def _alike(one: Affine, other: Affine) -> bool:
    """Whether cells of two tiles are of one size."""
    return math.isclose(one.a, other.a, rel_tol=1e-6) and math.isclose(one.e, other.e, rel_tol=1e-6)


def _system(field: Field) -> int:
    """The code of the UTM zone that a field lies in: NAD 83 where that has it."""
    place = move(field.shape, field.crs, WGS_84).envelope.centroid
    zone = min(int((place.x + 180) // 6) + 1, 60)
    if place.y > 0 and zone <= _LAST_NAD83_ZONE:
        return _NAD83 + zone
    return (_WGS84_NORTH if place.y > 0 else _WGS84_SOUTH) + zone


def _edges(first: int, last: int, parts: int) -> list[int]:
    return [first + (last - first) * part // parts for part in range(parts + 1)]


def quarters_of(tile: Tile) -> list[Tile]:
    """Cut a tile in four, on whole cells."""
    across, down = tile.size
    x = tile.west + across // 2 * tile.cell_m
    y = tile.south + down // 2 * tile.cell_m
    return [
        Tile(west, south, east, north, tile.code, tile.cell_m)
        for west, east in ((tile.west, x), (x, tile.east))
        for south, north in ((tile.south, y), (y, tile.north))
    ]
