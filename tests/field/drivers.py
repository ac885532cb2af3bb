"""The drivers of a process that opens files; a child has no other library of maps."""

import pyogrio

from zoneplan.field.raster.opening import SETTINGS, rasterio


def drivers() -> tuple[frozenset[str], frozenset[str]]:
    """Name the drivers that stand in this process: of vectors, and of rasters."""
    with rasterio.Env(**SETTINGS) as env:
        return frozenset(pyogrio.list_drivers()), frozenset(env.drivers())
