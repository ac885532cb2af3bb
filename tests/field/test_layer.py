"""The one door: what it tells apart, and what it will not pass over in silence."""

import numpy as np
import pytest
from shapely.geometry import box

from tests.field.ground import write_geojson
from zoneplan.errors import LayerError
from zoneplan.field.layer import Told, read_layers
from zoneplan.field.outline import read_field


@pytest.fixture
def field(tmp_path):
    return read_field(write_geojson(tmp_path / "field.geojson", [box(0, 0, 200, 200)], [{}]))


def log_of(field, path):
    """Conductivity on a grid of 20 m, rising to the east, in the field's own system."""
    west, south, east, north = field.shape.bounds
    places = [(x, y) for x in np.arange(west, east, 20) for y in np.arange(south, north, 20)]
    rows = [f"{x},{y},{10 + (x - west) / 20}" for x, y in places]
    path.write_text("\n".join(["x,y,ec", *rows]), encoding="utf-8")
    return path


def test_conductivity_alone_is_no_soil(tmp_path, field):
    log = log_of(field, tmp_path / "log.csv")
    with pytest.raises(LayerError, match="conductivity alone does not say what soil lies where"):
        read_layers([log], field, Told(crs=field.crs))


def test_samples_without_a_log_are_not_left_out_in_silence(tmp_path, field):
    soil = write_geojson(tmp_path / "soil.geojson", [box(0, 0, 200, 200)], [{"texture": "loam"}])
    samples = tmp_path / "samples.csv"
    samples.write_text("x,y,sand,silt,clay\n0,0,40,40,20\n", encoding="utf-8")
    with pytest.raises(LayerError, match="there is no log"):
        read_layers([soil], field, Told(samples=samples))


def test_edges_ride_beside_soil(tmp_path, field):
    soil = write_geojson(tmp_path / "soil.geojson", [box(0, 0, 200, 200)], [{"texture": "loam"}])
    log = log_of(field, tmp_path / "log.csv")
    soils, edges = read_layers([soil, log], field, Told(crs=field.crs))
    assert ([layer.name for layer in soils], [layer.name for layer in edges]) == (["soil"], ["log"])
