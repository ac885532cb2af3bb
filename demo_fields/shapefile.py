"""Write polygons as a shapefile whose bytes depend on nothing but its content."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
from shapely.geometry import MultiPolygon, Polygon

REVISED = "2026-01-01"  # fixed, or the table would tell the day it was made


def shapefile(
    shapes: Sequence[Polygon | MultiPolygon], columns: Mapping[str, Sequence]
) -> dict[str, bytes]:
    """Give the content of each file of one shapefile in WGS 84, by its ending."""
    frame = gpd.GeoDataFrame(dict(columns), geometry=list(shapes), crs="EPSG:4326")
    with TemporaryDirectory() as folder:
        path = Path(folder) / "made.shp"
        frame.to_file(path, driver="ESRI Shapefile", DBF_DATE_LAST_UPDATE=REVISED)
        return {
            ending: path.with_suffix(ending).read_bytes()
            for ending in (".shp", ".shx", ".dbf", ".prj")
        }
