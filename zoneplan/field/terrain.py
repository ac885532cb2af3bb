"""The lie of the land: where water gathers, where it is steep, and what we make of both."""

from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from rasterio.enums import Resampling
from rasterio.vrt import WarpedVRT
from pyproj import CRS
from shapely.geometry import box

from zoneplan.field.crs import move
from zoneplan.field.grid import Grid
from zoneplan.field.shapes import Field

CELL_M = 5.0
MARGIN_M = 250.0

def read_elevation(path: Path | str, field: Field, crs: str | None = None) -> Grid:
    path = Path(path)
    with rasterio.open(path) as source:
        stated = CRS(source.crs.to_wkt())
        x, y = move(field.shape.centroid, field.crs, stated).coords[0]
        pixel = box(x, y, x + source.res[1], y + source.res[0])
        own_m = move(pixel, stated, field.crs).area ** 0.5
        cell_m = max(CELL_M, round(own_m))
        w, s, e, n = field.shape.buffer(MARGIN_M).bounds
        west, north = np.floor(w / cell_m) * cell_m, np.ceil(n / cell_m) * cell_m
        cols, rows = int(np.ceil((e - west) / cell_m)), int(np.ceil((north - s) / cell_m))
        transform = Affine(cell_m, 0, west, 0, -cell_m, north)
        method = Resampling.average if own_m < cell_m else Resampling.bilinear
        with WarpedVRT(source, crs=field.crs, transform=transform, width=cols, height=rows,
                       resampling=method, nodata=np.nan, dtype="float64", tolerance=0.01) as view:
            heights = view.read(1)
    return Grid({"elevation": heights}, transform, field.crs)
