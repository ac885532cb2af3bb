"""Rasters of sand and clay over one field, from coarse cells to very fine ones."""

from pathlib import Path

import numpy as np
import rasterio
from rasterio.transform import from_origin
from rasterio.windows import from_bounds

from tests.bench import data
from tests.bench.measure import Case
from tests.bench.row import Row
from zoneplan.field.crs import move
from zoneplan.field.raster.texture import read_rasters

UTM = "EPSG:32615"
CELLS = (10_000, 1_000_000, 10_000_000, 100_000_000)  # over the field's box
PARTS = {"sand": 45.0, "clay": 20.0}  # means; they vary by twelve and six, and by noise


def write_texture(cells: int, folder: Path) -> None:
    """Write sand and clay with so many cells over the field, and a tenth beyond it each way."""
    west, south, east, north = _bounds()
    cell_m = ((east - west) * (north - south) / cells) ** 0.5
    columns, rows = (int(1.2 * side / cell_m) for side in (east - west, north - south))
    transform = from_origin(
        west - 0.1 * (east - west), north + 0.1 * (north - south), cell_m, cell_m
    )
    x = (np.arange(columns) * cell_m / 90)[None, :]
    random = np.random.default_rng(23)
    for part, mean in PARTS.items():
        profile = {
            "driver": "GTiff",
            "width": columns,
            "height": rows,
            "count": 1,
            "dtype": "float32",
            "crs": UTM,
            "transform": transform,
            "tiled": True,
            "compress": "deflate",
            "predictor": 3,
            "zlevel": 1,
        }
        with rasterio.open(folder / f"{part}.tif", "w", **profile) as out:
            for start in range(0, rows, 512):
                end = min(start + 512, rows)
                y = (np.arange(start, end) * cell_m / 110)[:, None]
                smooth = np.sin(x) * np.cos(y) + 0.5 * np.sin(0.37 * x + y)
                noise = random.standard_normal((end - start, columns)) / 10
                sign = 1 if part == "sand" else -0.5
                values = (mean + sign * 12 * (smooth + noise)).astype("float32")
                out.write(values, 1, window=((start, end), (0, columns)))


def _bounds() -> tuple[float, float, float, float]:
    field = data.field()
    return move(field.shape, field.crs, UTM).bounds


def _case(_cells: int, folder: Path) -> Case:
    field, files = data.field(), sorted(folder.glob("*.tif"))
    return Case(lambda: read_rasters(files, field), lambda: [_decimated(file) for file in files])


def _decimated(path: Path) -> np.ndarray:
    """The field's box in cells of five metres, by the library itself."""
    bounds = _bounds()
    shape = round((bounds[3] - bounds[1]) / 5), round((bounds[2] - bounds[0]) / 5)
    with rasterio.open(path) as source:
        window = from_bounds(*bounds, source.transform)
        return source.read(1, window=window, out_shape=shape)


ROWS = (
    Row(
        name="raster read",
        against="rasterio's decimated read",
        today="37–118",
        goal=5,
        sizes=CELLS,
        unit="cells",
        case=_case,
        files=write_texture,
        goal_mb=100,
        most_times=3,
    ),
)
