"""The client of the public elevation service: heights on and about a field, in one GeoTIFF.

Its faults come as pictures by name: bytes are looked at before they are believed, and where a
tile lies is read from the tile.
"""

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import box

from zoneplan.errors import LayerError, ServiceError, quoted
from zoneplan.field.child import apart
from zoneplan.field.crs import move
from zoneplan.field.raster.heights import MARGIN_M
from zoneplan.field.raster.opening import (
    GEOTIFF,
    RasterInfo,
    geometry_mask,
    raster_info,
    read_cells,
    tiff_of,
)
from zoneplan.field.service.cache import Client
from zoneplan.field.service.ground import Tile, check_cover, quarters_of, tiles_of
from zoneplan.field.service.manners import (
    DOWN,
    HEIGHT_SERVICE,
    LATER,
    PROBE,
    Asking,
    Reply,
    host_of,
)
from zoneplan.field.shapes import Field
from zoneplan.plain_file import scratch
from zoneplan.progress import step
from zoneplan.units import percent

PATH = "/arcgis/rest/services/3DEPElevation/ImageServer/exportImage"
AROUND_M = MARGIN_M + 20  # in which water is followed, and cells averaged across its edge
OTHER_HEIGHTS = "Give heights of your own, or plan without."
LOWEST_M, HIGHEST_M = -1000.0, 10_000.0  # what lies beyond is a code for none
_ON_GRID = 0.01  # of a cell: tiles that are off by more are of another grid
LEAST_CELLS = 250  # a tile so small that fails is not cut further
LASTS = timedelta(days=365)
_STARTS = (b"II*\x00", b"MM\x00*")
Cells = NDArray[np.float64]


@dataclass(frozen=True)
class HeightsAnswer:
    """Heights about one field: a GeoTIFF that says where it is from."""

    name: str
    content: bytes
    cell_m: int
    asked: datetime
    gaps: bool  # whether there are none of some ground about the field


@dataclass(frozen=True)
class TileCells:
    """What a tile holds, and where it says that it lies."""

    cells: Cells
    transform: Affine


@dataclass
class HeightService(Client):
    """Asks the elevation service; see `Client`, whose base is that of ZONEPLAN_HEIGHT_SERVICE."""

    def __post_init__(self) -> None:
        self.base = self.base or HEIGHT_SERVICE.base()
        self._down: ServiceError | None = None

    @property
    def host(self) -> str:
        """Whom it asks."""
        return host_of(self.base)

    def heights(self, field: Field) -> HeightsAnswer:
        """Ask for heights on the field and as far around it as water is followed.

        Raises
        ------
        ServiceError
            When the outline cannot be asked about, the service gives no answer that can be
            believed, or has no heights on some of the field.
        """
        check_cover(field)
        tiles = tiles_of(field, AROUND_M)
        asked: list[datetime] = []
        parts: list[TileCells] = []
        for number, tile in enumerate(tiles, start=1):
            step(f"Asking {self.host} for heights, {number} of {len(tiles)}")
            for read, when in self._tile(tile):
                parts.append(read)
                asked.append(when)
        cells, transform = merged(parts, self.host)
        self._check(cells, transform, tiles[0].code, field)
        gaps = bool(np.isnan(cells).any())
        oldest = min(asked)
        content = tiff_of(
            cells,
            transform,
            f"EPSG:{tiles[0].code}",
            "metre",
            {
                "ASKED": f"{oldest:%Y-%m-%d}",
                "ASKED_OF": self.host,
                "GAPS": str(int(np.isnan(cells).sum())),
            },
        )
        name = f"public heights {oldest:%Y-%m-%d}.tif"
        return HeightsAnswer(name, content, tiles[0].cell_m, oldest, gaps)

    def _tile(self, tile: Tile) -> Iterator[tuple[TileCells, datetime]]:
        """Ask for a tile; in quarters, where the service fails over it."""
        url = self.url(tile)
        entry = None if self.refresh else self.cache.get(url)
        if entry and (self.offline or self.now() - entry.asked <= LASTS):
            yield self._read(entry.content, tile), entry.asked
            return
        if self.offline:
            raise ServiceError(
                f"These heights are not in the cache ({self.cache.folder}).\n"
                "Offline, nothing is asked.\n"
                f"Ask once while online. {OTHER_HEIGHTS}",
                code="service-offline",
            )
        reply = self._ask(url)
        if is_tiff(reply):
            read = self._read(reply.body, tile)
            self.cache.put(url, f"heights, {tile.cell_m} m", reply.body, self.now())
            yield read, self.now()
        elif _too_big(reply) and max(tile.size) > LEAST_CELLS:
            for quarter in quarters_of(tile):
                yield from self._tile(quarter)
        else:
            raise _no_heights(reply)

    def _ask(self, url: str) -> Reply:
        """Ask, but not a service that was found to be down."""
        if self._down is not None:
            raise self._down
        try:
            return self.caller.ask(Asking(url), _fails_for_good)
        except ServiceError as error:
            if error.code in DOWN:
                self._down = error
            raise

    def url(self, tile: Tile) -> str:
        """Where a tile is asked for."""
        across, down = tile.size
        asked = {
            "bbox": f"{tile.west:.0f},{tile.south:.0f},{tile.east:.0f},{tile.north:.0f}",
            "bboxSR": tile.code,
            "imageSR": tile.code,
            "size": f"{across},{down}",
            "format": "tiff",
            "pixelType": "F32",
            "interpolation": "RSP_BilinearInterpolation",
            "noDataInterpretation": "esriNoDataMatchAny",
            "adjustAspectRatio": "false",
            "f": "image",
        }
        return f"{self.base}{PATH}?{urlencode(asked, safe=',')}"

    def _read(self, content: bytes, tile: Tile) -> TileCells:
        """Read a tile as it says itself to lie, once it is what was asked for."""
        with scratch() as room:
            path = Path(room, "heights.tif")
            path.write_bytes(content)
            try:
                info = apart("a GeoTIFF", LATER, raster_info, path, GEOTIFF)
                if wrong := _unlike(info, tile):
                    raise ServiceError(
                        f"{self.host} gives what was not asked for: {wrong}.\n"
                        "Heights of another place would put slopes where there are none.\n"
                        f"{PROBE} {OTHER_HEIGHTS}",
                        code="service-strange",
                    )
                extent = (0, info.height), (0, info.width)
                cells = apart("a GeoTIFF", LATER, read_cells, path, GEOTIFF, 1, *extent)
            except LayerError as error:
                raise ServiceError(
                    f"{self.host} sends heights that cannot be read: the file is damaged or cut "
                    f"off.\nNothing of it was taken.\n{LATER} {OTHER_HEIGHTS}",
                    code="service-cut-off",
                ) from error
        return TileCells(believed(cells * info.scales[0] + info.offsets[0]), info.transform)

    def _check(self, cells: Cells, transform: Affine, code: int, field: Field) -> None:
        outline = move(field.shape, field.crs, f"EPSG:{code}")
        inside = geometry_mask([outline], cells.shape, transform, all_touched=True, invert=True)
        missing = np.isnan(cells[inside])
        if missing.size == 0 or missing.any():
            share = percent(float(missing.mean()) if missing.size else 1.0, 1)
            raise ServiceError(
                f"{self.host} has no heights on {share} of {field.name}.\n"
                "Water cannot be followed across a gap, and we won't fill one in.\n"
                + OTHER_HEIGHTS,
                code="service-no-ground",
            )


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


def _unlike(info: RasterInfo, tile: Tile) -> str:
    """Say what of a file was not asked for; nothing where all was.

    The box of a tile may be another than was asked, for some servers move it: where the heights
    lie, the file says.
    """
    code = CRS(info.crs).to_2d().to_epsg(min_confidence=50) if info.crs else None
    if info.count != 1:
        return f"{info.count} bands"
    if code != tile.code:
        return f"a coordinate system that is {'not told' if code is None else f'EPSG:{code}'}"
    if info.transform.b or info.transform.d or info.transform.a <= 0 or info.transform.e >= 0:
        return "a picture that is rotated"
    if not box(*info.bounds).intersects(box(tile.west, tile.south, tile.east, tile.north)):
        return "heights of another place"
    return ""


def is_tiff(reply: Reply) -> bool:
    """Tell by its first bytes: the head says "image/tiff" over a fault, too."""
    return reply.status == 200 and reply.body.startswith(_STARTS)


def _fault_words(reply: Reply) -> str:
    """What the service says in JSON, if it does."""
    try:
        fault = json.loads(reply.body)["error"]
        return "; ".join([str(fault["message"]), *map(str, fault.get("details", []))])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return ""


def _fails_for_good(reply: Reply) -> bool:
    """Whether a tile fails for what it is: such do not heal by asking again."""
    return b"exporting image" in reply.body.lower() or "size limit" in _fault_words(reply)


def _too_big(reply: Reply) -> bool:
    return reply.status in (500, 504) or _fails_for_good(reply)


def _no_heights(reply: Reply) -> ServiceError:
    fault = _fault_words(reply)
    if fault:
        return ServiceError(
            f"{reply.host} refuses to give heights: {quoted(fault, 200)}\n"
            "It may have changed since this zoneplan was written.\n"
            f"{PROBE} {OTHER_HEIGHTS}",
            code="service-refuses",
        )
    start = reply.body[:2000].lstrip().lower()
    what = "a page" if start.startswith((b"<!doctype", b"<html")) else "something else"
    return ServiceError(
        f"{reply.host} answers with {what} in place of heights (status {reply.status}).\n"
        "It is down, or a network that wants a log-in stands between.\n"
        f"{LATER} {OTHER_HEIGHTS}",
        code="service-down",
    )
