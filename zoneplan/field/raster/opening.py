"""The one module that opens rasters: rasterio, with no driver in it that asks or points elsewhere.

Whoever needs rasterio takes it here. It is imported where a raster comes: a survey needs none of
it. Its build of GDAL registers its drivers with the first Env of the process, so that must be the
one below; where another library has had one before, VRT and its like are still there, and each
open names its driver.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from rasterio.errors import RasterioError
from rasterio.features import geometry_mask, rasterize, shapes
from rasterio.warp import Resampling, reproject, transform_bounds
from rasterio.windows import Window

from zoneplan.field.child import Unopened
from zoneplan.field.opening import NO_NETWORK, POINTERS, reasons

__all__ = ["Resampling", "geometry_mask", "rasterize", "reproject", "shapes", "transform_bounds"]

GEOTIFF = ("GTiff",)
GRIDS = ("GTiff", "AAIGrid", "DTED", "SRTMHGT", "USGSDEM")  # each in one file, with no pointers
MOST_CELLS = 100_000_000  # of one band, read at once: a field of 10 by 10 km at one metre
OWN_TAG = "ZONEPLAN_"
_MOST_TAG = 80  # letters
MOST_CACHE_MB = 64  # of unpacked blocks; the library would take a twentieth of all memory
MOST_BLOCK_MB = 512  # of a raster: what must be unpacked to see a single cell
SETTINGS = {name: value for name, value in NO_NETWORK.items() if value is not None}

with rasterio.Env(GDAL_SKIP=",".join(sorted(POINTERS)), **SETTINGS):
    pass


@dataclass(frozen=True)
class RasterInfo:
    """What a raster says of itself; one entry for each band."""

    crs: str | None  # as WKT
    transform: Affine
    bounds: tuple[float, float, float, float]
    width: int
    height: int
    descriptions: tuple[str | None, ...]
    units: tuple[str | None, ...]
    scales: tuple[float, ...]
    offsets: tuple[float, ...]
    dtypes: tuple[str, ...]
    tags: tuple[tuple[str, str], ...] = ()  # zoneplan's own, in a file that it asked for

    @property
    def count(self) -> int:
        """How many bands there are."""
        return len(self.dtypes)


def raster_info(path: Path, allowed: Sequence[str]) -> RasterInfo:
    """Read what a raster of one of some kinds says of itself."""
    with _open_raster(path, allowed) as source:
        return RasterInfo(
            crs=source.crs.to_wkt() if source.crs else None,
            transform=source.transform,
            bounds=tuple(source.bounds),
            width=source.width,
            height=source.height,
            descriptions=source.descriptions,
            units=source.units,
            scales=source.scales,
            offsets=source.offsets,
            dtypes=source.dtypes,
            tags=tuple(
                (name, value[:_MOST_TAG])
                for name, value in sorted(source.tags().items())
                if name.startswith(OWN_TAG)
            ),
        )


def tiff_of(
    cells: NDArray[np.float64], transform: Affine, crs: str, unit: str, tags: Mapping[str, str]
) -> bytes:
    """Write one band of numbers as a GeoTIFF, NaN for none; OWN_TAG is put before each tag."""
    rows, columns = cells.shape
    with reasons(), rasterio.Env(**SETTINGS), rasterio.MemoryFile() as file:
        with file.open(
            driver="GTiff",
            width=columns,
            height=rows,
            count=1,
            dtype="float32",
            crs=crs,
            transform=transform,
            nodata=np.nan,
            compress="deflate",
            predictor=3,
            tiled=True,
        ) as target:
            target.write(cells.astype("float32"), 1)
            target.units = (unit,)
            target.update_tags(**{f"{OWN_TAG}{name}": value for name, value in tags.items()})
        content: bytes = file.read()
        return content


def read_cells(
    path: Path,
    allowed: Sequence[str],
    band: int,
    rows: tuple[int, int],
    columns: tuple[int, int],
    factor: int = 1,
) -> NDArray[np.float64]:
    """Read a window of one band, NaN for none; its scale and offset are not yet worked in.

    With a factor, means of so many by so many cells are read, of which the window must hold a
    whole number: only these take room.

    It is not warped here: what the library warps with brings its driver of virtual rasters back.
    """
    with _open_raster(path, allowed) as source:
        shape = (rows[1] - rows[0]) // factor, (columns[1] - columns[0]) // factor
        if (count := shape[0] * shape[1]) > MOST_CELLS:
            raise Unopened(
                f"{count:,} of its cells lie about the field, more than the {MOST_CELLS:,} that we "
                "take; give coarser ones"
            )
        window = Window.from_slices(rows, columns)
        way = Resampling.nearest if factor == 1 else Resampling.average
        read = source.read(
            band, window=window, out_shape=shape, masked=True, resampling=way
        ).astype(float)
        cells: NDArray[np.float64] = read.filled(np.nan)
        return cells


@contextmanager
def _open_raster(path: Path, allowed: Sequence[str]) -> Iterator[Any]:
    with (
        reasons(RasterioError),
        rasterio.Env(**SETTINGS, GDAL_CACHEMAX=MOST_CACHE_MB),
        rasterio.open(path, driver=_raster_driver(path, allowed)) as source,
    ):
        if source.tags(ns="OVERVIEWS"):
            raise Unopened("it names another file that should be read in its place")
        for shape, dtype in zip(source.block_shapes, source.dtypes, strict=True):
            size_mb = shape[0] * shape[1] * np.dtype(dtype).itemsize / 1e6
            if size_mb > MOST_BLOCK_MB:
                raise Unopened(
                    f"to see one of its cells {size_mb:,.0f} MB must be unpacked, more than "
                    f"the {MOST_BLOCK_MB} MB that we take; write it in tiles"
                )
        yield source


def _raster_driver(path: Path, allowed: Sequence[str]) -> str:
    """The first of some drivers that knows a file for its own: the library asks one at a time."""
    for driver in allowed[:-1]:
        with suppress(RasterioError), rasterio.open(path, driver=driver):
            return driver
    return allowed[-1]
