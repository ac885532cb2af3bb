"""Each zone file read by another library than the one that wrote it.

GeoJSON is written by us and read by GDAL; a shapefile and a GeoPackage are written by GDAL and
read by pyshp and SQLite; a table is written by csv and read by pandas.
"""

import io
import sqlite3
import zipfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd
import shapefile
import shapely
from shapely.geometry import shape as shape_of
from shapely.geometry.base import BaseGeometry

from zoneplan.export.table import COUNT, NUMBER, TEXT, YES, Column

# What SQLite answers about a sound GeoPackage; the number reads "GPKG".
_SOUND: dict[str, list[tuple[Any, ...]]] = {
    "application_id": [(1196444487,)],
    "integrity_check": [("ok",)],
    "foreign_key_check": [],
}
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
    zones = gpd.read_file(io.BytesIO(content), DATE_AS_STRING="YES")
    values = zones.drop(columns="geometry").to_dict("records")
    return [
        Record({name: _known(it) for name, it in told.items()}, shape)
        for told, shape in zip(values, zones.geometry, strict=True)
    ]


def read_shapefile(content: bytes) -> list[Record]:
    """Read zones from a zipped shapefile by pyshp."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = {kind: io.BytesIO(archive.read(f"zones.{kind}")) for kind in ("shp", "shx", "dbf")}
    with shapefile.Reader(**parts, encoding="utf-8") as reader:
        return [
            Record(it.record.as_dict(), shape_of(it.shape.__geo_interface__))
            for it in reader.iterShapeRecords()
        ]


def read_geopackage(content: bytes) -> GeoPackage:
    """Read zones, settings and provenance from a GeoPackage by SQLite.

    Raises
    ------
    ValueError, sqlite3.Error
        When it is no GeoPackage, or one that does not hold together.
    """
    with closing(sqlite3.connect(":memory:")) as database:
        database.deserialize(content)
        for pragma, sound in _SOUND.items():
            found = database.execute(f"PRAGMA {pragma}").fetchall()
            if found != sound:
                raise ValueError(f"its {pragma} is {found}, not {sound}")
        zones = _rows(database, "zones")
        return GeoPackage(
            zones=[Record(it, _shape(it.pop("geom"))) for it in zones],
            settings=[Record(it) for it in _rows(database, "settings")],
            provenance=[(it["name"], it["value"]) for it in _rows(database, "provenance")],
        )


def read_csv(content: bytes, told: Sequence[Column]) -> list[Record]:
    """Read zones from a table by pandas; the columns say what kind of value each text is."""
    table = pd.read_csv(io.BytesIO(content), dtype=str, keep_default_na=False, encoding="utf-8")
    parse: dict[Any, Callable[[str], Any]] = {it.name: _PARSERS[it.dtype] for it in told}
    return [
        Record({it: parse.get(it, str)(text) if text else None for it, text in line.items()})
        for line in table.to_dict("records")
    ]


def _rows(database: sqlite3.Connection, table: str) -> list[dict[str, Any]]:
    """Read the rows of a table in their order, but for GDAL's own number of each."""
    cursor = database.execute(f"SELECT * FROM {table} ORDER BY fid")  # noqa: S608  # our own names
    names = [name for name, *_ in cursor.description]
    rows = [dict(zip(names, values, strict=True)) for values in cursor]
    return [{name: it for name, it in row.items() if name != "fid"} for row in rows]


def _shape(blob: bytes) -> BaseGeometry:
    """Read a geometry behind its GeoPackage head: "GP", version, flags, system, envelope."""
    if blob[:2] != b"GP":
        raise ValueError("a shape does not begin as a GeoPackage has it")
    return shapely.from_wkb(blob[8 + _ENVELOPE_BYTES[blob[3] >> 1 & 7] :])


def _known(value: Any) -> Any:
    return None if pd.isna(value) else value
