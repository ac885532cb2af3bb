"""Each zone file read by another library than the one that wrote it.

GeoJSON is written by us and read by GDAL; a shapefile and a GeoPackage are written by GDAL and
read by pyshp and SQLite; a table is written by csv and read by pandas.
"""

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
import shapely
from shapely.geometry import shape as shape_of
from shapely.geometry.base import BaseGeometry

from zoneplan.export.table import COUNT, NUMBER, TEXT, YES, Column
from zoneplan.field.child import run
from zoneplan.field.files import frame_of
from zoneplan.field.opening import read_packed_shapefile, read_tables, read_vectors

LIMIT_S = 60.0  # to read one file of a plan
_PARSERS: Mapping[str, Callable[[str], Any]] = {
    COUNT: int,
    NUMBER: float,
    YES: {"true": True, "false": False}.__getitem__,
    TEXT: lambda text: text.removeprefix("'"),  # which keeps a spreadsheet from reckoning
}
_ENVELOPE_BYTES = (0, 32, 48, 48, 64)  # of a GeoPackage geometry, by the kind of its envelope


@dataclass(frozen=True)
class Record:
    """What a file says of one zone, by the file's own names; unknown is None."""

    values: Mapping[Any, Any]
    shape: Any = None  # in WGS 84 degrees; a table has none


@dataclass(frozen=True)
class GeoPackage:
    """What a GeoPackage holds, table by table."""

    zones: list[Record]
    settings: list[Record]
    provenance: list[tuple[str, str]]


def read_geojson(content: bytes) -> list[Record]:
    """Read zones from GeoJSON by GDAL."""
    zones = frame_of(run(LIMIT_S, read_vectors, content), "zones.geojson")
    values = zones.drop(columns="geometry").to_dict("records")
    return [
        Record({name: _known(value) for name, value in row.items()}, shape)
        for row, shape in zip(values, zones.geometry, strict=True)
    ]


def read_shapefile(content: bytes) -> list[Record]:
    """Read zones from a zipped shapefile by pyshp."""
    zones = run(LIMIT_S, read_packed_shapefile, content, "zones")
    return [Record(values, shape_of(shape)) for values, shape in zones]


def read_geopackage(content: bytes) -> GeoPackage:
    """Read zones, settings and provenance from a GeoPackage by SQLite.

    Raises
    ------
    Unopened
        When it is no GeoPackage, or one that does not hold together.
    """
    tables = run(LIMIT_S, read_tables, content, ("zones", "settings", "provenance"))
    return GeoPackage(
        zones=[Record(row, _shape(row.pop("geom"))) for row in tables["zones"]],
        settings=[Record(row) for row in tables["settings"]],
        provenance=[(row["name"], row["value"]) for row in tables["provenance"]],
    )


def read_csv(content: bytes, columns: Sequence[Column]) -> list[Record]:
    """Read zones from a table by pandas; the columns say what kind of value each text is."""
    table = pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False, encoding="utf-8")
    parse: dict[Any, Callable[[str], Any]] = {
        column.name: _PARSERS[column.dtype] for column in columns
    }
    return [
        Record({name: parse.get(name, str)(text) if text else None for name, text in line.items()})
        for line in table.to_dict("records")
    ]


def _shape(blob: bytes) -> BaseGeometry:
    """Read a geometry behind its GeoPackage head: "GP", version, flags, system, envelope."""
    if blob[:2] != b"GP":
        raise ValueError("a shape does not begin as a GeoPackage has it")
    return shapely.from_wkb(blob[8 + _ENVELOPE_BYTES[blob[3] >> 1 & 7] :])


def _known(value: Any) -> Any:
    return None if pd.isna(value) else value
