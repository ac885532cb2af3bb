"""A task set's zones as a grid of type 1: one byte a cell, the code of its zone.

Rows run from the south, cells of a row from the west.

Source
------
ISO 11783-10, by its published schemas; the order of the cells by two open readers that agree.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import OutputError, listed
from zoneplan.field.crs import WGS_84_GEOD
from zoneplan.rowunit.machine import Machine
from zoneplan.units import M2_PER_HA

MOST_CELL_M = 5.0  # judged: finer than a planter can answer
DECIMALS = 9  # of a degree, the most that version 4 allows: a tenth of a millimetre


@dataclass(frozen=True)
class ZoneGrid:
    """Zone codes in cells of equal size, in WGS 84 degrees."""

    south: float  # corner of the first cell
    west: float
    cell_north: float  # size of a cell
    cell_east: float
    codes: NDArray[np.uint8]  # (rows, columns), the southernmost row first


def grid_file(number: int) -> str:
    """Name the file of a task's grid, without its ending, which is .BIN.

    >>> grid_file(1)
    'GRD00001'
    """
    return f"GRD{number:05d}"


def cell_m(machine: Machine) -> float:
    """Give the side of a cell: half the planter's width, and 5 m at most. [m]."""
    return min(MOST_CELL_M, machine.width_m / 2)


def zone_grid(shapes: Mapping[int, BaseGeometry], outside: int, side_m: float) -> ZoneGrid:
    """Give each cell the code of the zone that its middle lies in.

    Parameters
    ----------
    shapes : mapping of int to geometry
        The zones by code, in WGS 84 degrees.
    outside : int
        Code of the cells in no zone.
    side_m : float
        Side of a cell; true in the middle of the field. [m]

    Raises
    ------
    OutputError
        When a zone is too small to get a cell.
    """
    from affine import Affine

    from zoneplan.field.raster_library import rasterize

    west, south, east, north = shapely.total_bounds(list(shapes.values()))
    middle = ((west + east) / 2, (south + north) / 2)
    next_east, _, _ = WGS_84_GEOD.fwd(*middle, 90, side_m)
    _, next_north, _ = WGS_84_GEOD.fwd(*middle, 0, side_m)
    cell_east = round(next_east - middle[0], DECIMALS)
    cell_north = round(next_north - middle[1], DECIMALS)
    rows = math.ceil((north - south) / cell_north)
    columns = math.ceil((east - west) / cell_east)
    northmost_first = rasterize(
        [(shape, code) for code, shape in shapes.items()],
        out_shape=(rows, columns),
        fill=outside,
        transform=Affine(cell_east, 0, west, 0, -cell_north, south + rows * cell_north),
        dtype=np.uint8,
    )
    lost = sorted(set(shapes) - set(np.unique(northmost_first)))
    if lost:
        faults = [f"zone {code} is too small for a cell of {side_m:.3g} m" for code in lost]
        message = listed("The grid of the task set", faults)
        raise OutputError(f"{message}\nWrite the zones as polygons instead.")
    return ZoneGrid(
        float(south), float(west), cell_north, cell_east, np.flipud(northmost_first).copy()
    )


def areas_ha(grid: ZoneGrid) -> dict[int, float]:
    """Add up the cells of each code, on the ellipsoid. [ha]."""
    rows, _ = grid.codes.shape
    sums: dict[int, float] = {}
    for row in range(rows):
        low, high = (grid.south + n * grid.cell_north for n in (row, row + 1))
        left, right = grid.west, grid.west + grid.cell_east
        cell_m2, _ = WGS_84_GEOD.polygon_area_perimeter(
            [left, right, right, left], [low, low, high, high]
        )
        for code, count in zip(*np.unique(grid.codes[row], return_counts=True), strict=True):
            sums[int(code)] = sums.get(int(code), 0.0) + float(count) * cell_m2 / M2_PER_HA
    return sums
