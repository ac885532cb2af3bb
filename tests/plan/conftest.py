"""What the tests of the pass share."""

import geopandas as gpd
import pytest
import shapely

from zoneplan.field.outline import read_field


@pytest.fixture(scope="module")
def square(tmp_path_factory):
    """A field of 0.004 by 0.004 degrees."""
    path = tmp_path_factory.mktemp("field") / "square.geojson"
    shape = shapely.box(-93.004, 42.0, -93.0, 42.004)
    gpd.GeoDataFrame(geometry=[shape], crs="EPSG:4326").to_file(path, driver="GeoJSON")
    return read_field(path)
