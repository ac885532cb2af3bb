"""Zones as GeoJSON and as a zipped shapefile, both in WGS 84 degrees.

GeoJSON is ours to write: its rules are few, and a feature a line reads well in a diff.
No clock is read by either, so the same plan gives the same bytes.

Source
------
GeoJSON: RFC 7946. Shapefile: Esri, Shapefile Technical Description (July 1998).
"""

import io
import json
import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import Transformer
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from zoneplan.export.table import COLUMNS, Value, row
from zoneplan.prescription import Plan

# A tenth of a millimetre. Seven decimals (a centimetre) would suffice for driving, but the
# areas of small zones would no longer add up to the field's within a millionth.
DECIMALS = 9

_MOST_TEXT_BYTES = 254  # in a dBASE table
_NO_DATE = (1980, 1, 1)  # the first day that a zip knows: no clock is read, so bytes repeat


def geojson_bytes(plan: Plan) -> bytes:
    """Write the zones as RFC 7946 GeoJSON, a feature a line, properties as in `table`."""
    features = [
        json.dumps(
            {
                "type": "Feature",
                "id": setting.zone.id,
                "properties": row(plan, setting),
                "geometry": mapping(shape),
            },
            ensure_ascii=False,
            allow_nan=False,
        )
        for setting, shape in zip(plan.settings, _in_degrees(plan), strict=True)
    ]
    head = '{"type": "FeatureCollection", "features": [\n'
    return (head + ",\n".join(features) + "\n]}\n").encode("utf-8")


def shapefile_zip_bytes(plan: Plan) -> bytes:
    """Write the zones as a flat zip of zones.shp, .shx, .dbf, .prj and .cpg.

    Columns have the short names of `table`. Numbers that are unknown are nulls; texts are
    empty, and cut at a word where dBASE holds no more.
    """
    rows = [row(plan, setting) for setting in plan.settings]
    columns: dict[str, pd.Series[Any]] = {
        column.short: pd.Series([_cell(values[column.name]) for values in rows]).astype(
            column.dtype
        )
        for column in COLUMNS
    }
    zones = gpd.GeoDataFrame(columns, geometry=_in_degrees(plan), crs="EPSG:4326")
    packed = io.BytesIO()
    with TemporaryDirectory() as scratch, zipfile.ZipFile(packed, "w") as archive:
        zones.to_file(
            Path(scratch) / "zones.shp",
            driver="ESRI Shapefile",
            encoding="utf-8",
            DBF_DATE_LAST_UPDATE="-".join(f"{part:02d}" for part in _NO_DATE),
        )
        for path in sorted(Path(scratch).iterdir()):
            entry = zipfile.ZipInfo(path.name, (*_NO_DATE, 0, 0, 0))
            entry.create_system = 3  # Unix, wherever it is made
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, path.read_bytes(), zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def _cell(value: Value) -> Value:
    return cut(value, _MOST_TEXT_BYTES) if isinstance(value, str) else value


def cut(text: str, most_bytes: int) -> str:
    """Shorten a text to so many bytes of UTF-8, at a word, never through a character.

    >>> cut("press lightly when wet", 16)
    'press lightly...'
    """
    whole = text.encode("utf-8")
    if len(whole) <= most_bytes:
        return text
    room = most_bytes - len("...")
    words, _, _ = whole[: room + 1].rpartition(b" ")
    return (words or whole[:room]).decode("utf-8", "ignore") + "..."


def _in_degrees(plan: Plan) -> list[BaseGeometry]:
    """Give the zones in longitude and latitude, exterior rings counter-clockwise."""
    to_degrees = Transformer.from_crs(plan.field.crs, "OGC:CRS84", always_xy=True)

    def rounded(points: np.ndarray) -> np.ndarray:
        return np.column_stack(to_degrees.transform(*points.T)).round(DECIMALS)

    shapes: list[BaseGeometry] = []
    for setting in plan.settings:
        shape: BaseGeometry = shapely.transform(setting.zone.shape, rounded)
        if not shape.is_valid:  # a hole that touched its outline may now cross it by a hair
            mended = shapely.make_valid(shape, method="structure", keep_collapsed=False)
            shape = shapely.set_precision(mended, 10.0**-DECIMALS)
        shapes.append(shapely.orient_polygons(shape))
    return shapes
