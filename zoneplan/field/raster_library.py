"""rasterio, with no driver in it that asks or points elsewhere. Whoever needs it takes it here.

It is imported where a raster comes: a survey needs none of it. Its build of GDAL registers its
drivers with the first Env of the process, so that must be the one below; where another library
has had one before, VRT and its like are still there, and `opening` names its driver as it opens.
"""

import rasterio
from rasterio.errors import RasterioError
from rasterio.features import geometry_mask, rasterize, shapes
from rasterio.warp import Resampling, reproject, transform_bounds
from rasterio.windows import Window

from zoneplan.field.opening import NO_NETWORK, POINTERS

SETTINGS = {name: value for name, value in NO_NETWORK.items() if value is not None}

__all__ = [
    "SETTINGS",
    "RasterioError",
    "Resampling",
    "Window",
    "geometry_mask",
    "rasterio",
    "rasterize",
    "reproject",
    "shapes",
    "transform_bounds",
]

with rasterio.Env(GDAL_SKIP=",".join(sorted(POINTERS)), **SETTINGS):
    pass
