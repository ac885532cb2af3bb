"""Squares whose areas can be counted on fingers, and files to put them in."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
from shapely.geometry import MultiPolygon, Polygon, box, mapping
from shapely.geometry.base import BaseGeometry

from zoneplan.field.crs import WGS_84, geodesic_area_ha, move
from zoneplan.field.shapes import Field, SoilLayer
from zoneplan.soil.texture import SoilFacts

# Metres about the middle of the square. No corner lies at the centre of the projection: its
# ways there and back differ by 0.6 mm everywhere but in that one point.
LOCAL = "+proj=laea +lat_0=42 +lon_0=-93.5 +x_0=190 +y_0=210 +datum=WGS84 +units=m +no_defs"
SQUARE = box(0, 0, 400, 400)  # 16 ha, in LOCAL
BOW_TIE = Polygon([(0, 0), (400, 400), (400, 0), (0, 400)])  # two loops of equal size


def in_degrees(shape: BaseGeometry) -> BaseGeometry:
    """Take LOCAL metres to longitude and latitude."""
    return move(shape, LOCAL, WGS_84)


def field_of(shape: Polygon | MultiPolygon) -> Field:
    return Field("Square", shape, LOCAL, geodesic_area_ha(shape, LOCAL))


def layer_of(soils: Mapping[str, BaseGeometry], name: str = "map", crs: str = LOCAL) -> SoilLayer:
    """Lay out a layer: what each soil is called, and its shape in LOCAL."""
    facts = [SoilFacts(texture="loam", rated_share=1.0, named=soil) for soil in soils]
    ground = gpd.GeoDataFrame({"facts": facts}, geometry=list(soils.values()), crs=LOCAL)
    return SoilLayer(name, "polygons", ground.to_crs(crs))


def write_geojson(
    path: Path, shapes: Sequence[BaseGeometry | None], rows: Sequence[Mapping] | None = None
) -> Path:
    """Write shapes, in LOCAL, with a row of attributes each."""
    features = [
        {
            "type": "Feature",
            "properties": dict(row),
            "geometry": None if shape is None else mapping(in_degrees(shape)),
        }
        for shape, row in zip(shapes, rows or [{}] * len(shapes), strict=True)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def write_shapefile(path: Path, shape: BaseGeometry = SQUARE, **columns: object) -> Path:
    """Write one feature, in LOCAL, as a shapefile in degrees."""
    row = {name: [value] for name, value in (columns or {"id": 1}).items()}
    gpd.GeoDataFrame(row, geometry=[in_degrees(shape)], crs=WGS_84).to_file(path)
    return path
