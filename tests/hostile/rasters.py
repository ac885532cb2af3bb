"""Rasters that mean harm, or were mangled on their way."""

import os
import struct
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from affine import Affine

from tests.hostile.case import CASES, FINE, Case, case
from tests.hostile.pointers import dem

HEIGHTS = np.add.outer(np.arange(64.0), np.arange(64.0)) / 50 + 300
PLACE = Affine(0.0002, 0, -93.5064, 0, -0.0002, 42.0064)
ANY = (
    "cannot be read as|faults?:|values from|no heights|do not meet|cells|slope|wide at|says that|"
    "bands|coordinate system"
)


def _write(path: Path, values: Any = HEIGHTS, **more: Any) -> Path:
    profile = {"dtype": "float32", "crs": "EPSG:4326", "transform": PLACE} | more
    values = np.asarray(values)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=values.shape[-1],
        height=values.shape[-2],
        count=1,
        **profile,
    ) as grid:
        grid.write(values.astype(profile["dtype"]), 1)
    return path


def _grid(what: str, words: str, values: Any = HEIGHTS, **more: Any) -> None:
    def make(folder: Path) -> Path:
        return _write(folder / "heights.tif", values, **more)

    CASES[f"elevation: {what}"] = Case("elevation", make, words)


_grid("heights as they should be", FINE)
_grid("heights of 1e30", "values from", HEIGHTS * 1e28)
_grid("heights without end", "values from", np.full((64, 64), np.inf))
_grid("no height at all", "no heights", np.full((64, 64), np.nan))
_grid("heights that are complex", ANY + "|", HEIGHTS, dtype="complex64")
_grid("cells of no width", ANY, transform=Affine(0, 0, -93.5, 0, 0, 42))
_grid("cells of 1e-300", ANY, transform=Affine(1e-300, 0, -93.5, 0, -1e-300, 42))
_grid("cells of 1e300", ANY, transform=Affine(1e300, 0, -93.5, 0, -1e300, 42))
_grid("cells that are not numbers", ANY, transform=Affine(float("nan"), 0, -93.5, 0, -0.0002, 42))
_grid("cells that are slanted", "rotated", transform=PLACE * Affine.rotation(30))
_grid("a place beyond the world", ANY, transform=Affine(0.0002, 0, 9999, 0, -0.0002, 42))
_grid("a system of a barn", "not tied to the earth", crs='LOCAL_CS["barn",UNIT["metre",1]]')
_grid("no system", "no coordinate system", crs=None)
_grid("a code for nothing of 1e308", ANY + "|", nodata=3e38)


@case("elevation", "of its cells lie about the field|must be unpacked|cannot be read")
def a_raster_of_29_kB_that_asks_for_25_GiB(folder: Path) -> Path:
    path = folder / "heights.tif"
    side = 80_000
    step = 0.01 / side
    with rasterio.open(
        path, "w", driver="GTiff", width=side, height=side, count=1, dtype="float32", tiled=True,
        blockxsize=8192, blockysize=8192, sparse_ok=True, crs="EPSG:4326",
        transform=Affine(step, 0, -93.505, 0, -step, 42.005),
    ):  # fmt: skip
        pass
    assert path.stat().st_size < 100_000
    return path


@case("elevation", "must be unpacked")
def a_raster_in_one_piece_of_1_GB(folder: Path) -> Path:
    path = folder / "heights.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=16_000, height=16_000, count=1, dtype="float32",
        blockysize=16_000, sparse_ok=True, compress="deflate", crs="EPSG:4326",
        transform=Affine(1e-6, 0, -93.508, 0, -1e-6, 42.008),
    ):  # fmt: skip
        pass
    return path


@case("elevation", "bands|cannot be read")
def a_raster_of_30_000_bands(folder: Path) -> Path:
    path = folder / "heights.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=8, height=8, count=30_000, dtype="uint8", crs="EPSG:4326",
        transform=PLACE, sparse_ok=True,
    ):  # fmt: skip
        pass
    return path


@case("elevation", "says that its values are in")
def a_unit_of_100_000_letters_that_steers(folder: Path) -> Path:
    path = _write(folder / "heights.tif")
    with rasterio.open(path, "r+") as grid:
        grid.units = ["\x1b[2J" + "x" * 100_000]
    return path


@case("elevation", ANY)
def a_scale_that_is_no_number(folder: Path) -> Path:
    path = _write(folder / "heights.tif")
    with rasterio.open(path, "r+") as grid:
        grid.scales = [float("nan")]
    return path


@case("elevation", ANY)
def a_scale_of_1e308(folder: Path) -> Path:
    path = _write(folder / "heights.tif")
    with rasterio.open(path, "r+") as grid:
        grid.scales = [1e308]
    return path


def _cut(share: float) -> None:
    def make(folder: Path) -> Path:
        path = _write(folder / "heights.tif", np.tile(HEIGHTS, (4, 4)), compress="deflate")
        path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
        return path

    CASES[f"elevation: cut off at {share:.0%}"] = Case(
        "elevation", make, "|" + ANY
    )  # or past the field


for _share in (0.001, 0.01, 0.5, 0.97):
    _cut(_share)


def _bits(seed: int) -> None:
    def make(folder: Path) -> Path:
        path = folder / "heights.tif"
        dem(path)
        content = bytearray(path.read_bytes())
        for at in np.random.default_rng(seed).integers(4, 700, 6):
            content[at] ^= 1 << (seed % 8)
        path.write_bytes(content)
        return path

    CASES[f"elevation: bits turned, {seed}"] = Case("elevation", make, "|" + ANY)


for _seed in range(20):
    _bits(_seed)


@case("elevation", ANY)
def a_directory_that_leads_to_itself(folder: Path) -> Path:
    path = folder / "heights.tif"
    entry = struct.pack("<HHII", 256, 4, 1, 64) + struct.pack("<HHII", 257, 4, 1, 64)
    path.write_bytes(b"II*\x00" + struct.pack("<IH", 8, 2) + entry + struct.pack("<I", 8))
    return path


def _asc(what: str, text: str, words: str) -> None:
    def make(folder: Path) -> Path:
        path = folder / "heights.asc"
        path.write_text(text)
        return path

    CASES[f"elevation: grid {what}"] = Case("elevation", make, words)


def _head(**changed: Any) -> str:
    header = {
        "ncols": 64,
        "nrows": 64,
        "xllcorner": -93.5064,
        "yllcorner": 41.9936,
        "cellsize": 0.0002,
    }
    return "".join(f"{name} {value}\n" for name, value in (header | changed).items())


_ROWS = "\n".join(" ".join(f"{height:.2f}" for height in row) for row in HEIGHTS)
_asc("without a system", _head() + _ROWS, "no coordinate system")
_asc("of a billion columns", _head(ncols=10**9, nrows=10**9) + _ROWS, ANY)
_asc("of less than no columns", _head(ncols=-5) + _ROWS, ANY)
_asc("with words", _head() + "up down " * 3000, ANY)
_asc("with too few cells", _head() + "1 2 3", ANY)
_asc("with cells of no width", _head(cellsize=0) + _ROWS, ANY)
_asc("of a single line of 5 MB", "ncols " + "9" * 5_000_000, ANY)


def _soil(what: str, words: str, content: bytes | None = None, **more: Any) -> None:
    def make(folder: Path) -> Path:
        path = folder / "clay.tif"
        if content is None:
            return _write(path, **more)
        path.write_bytes(content)
        return path

    CASES[f"soil: raster {what}"] = Case("soil", make, words)


_soil("of clay alone", "two are needed")
_soil("that is a head alone", "ending we do not read|cannot be read", b"II*\x00")
_soil("that is noise", "ending we do not read|cannot be read", b"II*\x00" + os.urandom(5000))
_soil("that is a picture", "ending we do not read|cannot be read", b"\x89PNG\r\n\x1a\n")
_soil("without a system", "coordinate system|two are needed", crs=None)
