"""The one module that opens vectors and databases with the map libraries. It runs in a child.

What comes in by mail can only be what it was sent as: a driver that runs a pipeline, asks a
server or takes another file in its stead is not there. In the child of `zoneplan.field.child`
only the drivers stand that are wanted; each open names its own where the library can.
"""

import io
import re
import sqlite3
import struct
import warnings
import zipfile
import zlib
from collections.abc import Collection, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
from numpy.typing import NDArray
from pyogrio import raw
from pyogrio.errors import DataLayerError, DataSourceError

from zoneplan.field.child import ChildError, Unopened

VECTOR = frozenset({"ESRI Shapefile", "GeoJSON", "GPKG", "KML", "LIBKML", "OpenFileGDB"})
# What runs a pipeline, asks a server or stands for other files: switched off in every process.
_POINTERS = """
ADBC AmigoCloud Carto CSW DAAS DERIVED ECRGTOC EEDA EEDAI Elasticsearch GDALG GPSBabel GTI HTTP
MySQL NGW OAPIF ODBC OGCAPI OGR_VRT PLMOSAIC PLSCENES PostGISRaster PostgreSQL RPFTOC STACIT
STACTA TIL VRT WCS WFS WMS WMTS
"""
POINTERS = frozenset(_POINTERS.split())
_MOST_ASKED = 5_000  # keys in one question
NO_NETWORK = {
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "/none",  # so no name is
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",  # the port that takes all and answers nothing
    "GDAL_HTTPS_PROXY": "127.0.0.1:9",
    "OGR_SQLITE_LOAD_EXTENSIONS": None,
    "OGR_GEOCODE_QUERY_TEMPLATE": "/none/%s",
    "OGR_GEOCODE_REVERSE_QUERY_TEMPLATE": "/none/{lon},{lat}",
}
# Views that old templates of a GeoPackage come with; nothing here reads them.
_KNOWN_VIEWS = {"st_spatial_ref_sys", "st_geometry_columns", "spatial_ref_sys", "geometry_columns"}
_INDEX = re.compile(r"create\s+virtual\s+table\s+.+\s+using\s+rtree\s*\(", re.I | re.S)
_MADE = re.compile(r"\bgenerated\s+always\b|\bas\s*\([^)]*\)\s*(stored|virtual)?", re.I)
# What SQLite answers about a sound GeoPackage; the number reads "GPKG".
_SOUND: dict[str, list[tuple[Any, ...]]] = {
    "application_id": [(1196444487,)],
    "integrity_check": [("ok",)],
    "foreign_key_check": [],
}
_FAULTS = (
    DataSourceError,
    DataLayerError,
    sqlite3.Error,
    ValueError,  # so UnicodeDecodeError is too
    OverflowError,
    OSError,
    EOFError,
    KeyError,  # a zip has no such member
    RuntimeError,  # it is locked
    struct.error,
    zlib.error,
    zipfile.BadZipFile,
)


@dataclass(frozen=True)
class Vectors:
    """One layer of a vector file, as it lies there."""

    crs: str | None  # as WKT or code; None where the layer states none
    columns: dict[str, NDArray[Any]]
    shapes: NDArray[Any] | None  # as WKB; None for a table


@dataclass(frozen=True)
class LayerInfo:
    """What a layer of a vector file says of itself."""

    crs: str | None
    columns: tuple[str, ...]
    count: int


@dataclass(frozen=True)
class Link:
    """What is wanted of a table: columns, as far as it has them, of the rows with some keys."""

    table: str
    columns: tuple[str, ...]  # in lower case
    key: str
    by: tuple[str, str] | None = None  # an earlier table, and its column that holds the keys


@dataclass(frozen=True)
class Linked:
    """What came of a Link."""

    columns: tuple[str, ...]  # those of its own that the table has
    empty: bool  # the whole table is
    rows: list[tuple[Any, ...]]


def switch_off(keep: frozenset[str] | None = None) -> None:
    """Take drivers out of pyogrio's GDAL, for the whole process: all but some, or only POINTERS.

    Notes
    -----
    pyogrio's build registers its drivers as it is imported; it skips what GDAL_SKIP names
    when they are registered again (so it did in 0.13 with GDAL 3.12). `raster.opening` does
    the same with rasterio's, which is there only where a raster comes.
    """
    pyogrio.set_gdal_config_options({"GDAL_SKIP": None})
    pyogrio.core._register_drivers()  # those that an earlier call took out come back
    have = pyogrio.list_drivers()
    skipped = [driver for driver in have if (driver not in keep if keep else driver in POINTERS)]
    pyogrio.set_gdal_config_options({**NO_NETWORK, "GDAL_SKIP": ",".join(skipped)})
    pyogrio.core._register_drivers()


def layers_of(path: Path) -> list[tuple[str, bool]]:
    """Name the layers of a vector file, and whether each has shapes."""
    with reasons():
        _check_database(path)
        return [(str(name), shapes is not None) for name, shapes in pyogrio.list_layers(path)]


def layer_info(path: Path, layer: str, *, count: bool = False) -> LayerInfo:
    """Read what a layer says of itself; its rows are counted only where that is asked for."""
    with reasons():
        _check_database(path)
        info = pyogrio.read_info(path, layer=layer, force_feature_count=count)
        return LayerInfo(info["crs"], tuple(map(str, info["fields"])), int(info["features"]))


def read_vectors(
    source: Path | bytes,
    layer: str | None = None,
    columns: Sequence[str] | None = None,
    where: str | None = None,
    bbox: tuple[float, float, float, float] | None = None,
) -> Vectors:
    """Read a layer, the first unless one is named, without heights.

    Of it only some columns and rows, where that is asked.
    """
    with reasons():
        if isinstance(source, Path):
            _check_database(source)
        meta, _, shapes, values = raw.read(
            source,
            layer=layer,
            columns=columns,
            where=where,
            bbox=bbox,
            force_2d=True,
            datetime_as_string=True,
        )
        names = map(str, meta["fields"])
        return Vectors(meta["crs"], dict(zip(names, values, strict=True)), shapes)


def read_linked(path: Path, links: Sequence[Link], keys: Collection[str]) -> list[Linked]:
    """Read rows of several tables of a GeoPackage by SQLite, each looked up by its keys.

    The keys are those given, or what an earlier table has in some column.
    """
    with reasons(), closing(_database(path)) as database:
        _check_parts(database)
        parts: dict[str, Linked] = {}
        for link in links:
            wanted = keys
            if link.by is not None:
                before, name = parts[link.by[0]], link.by[1]
                at = before.columns.index(name) if name in before.columns else None
                wanted = [] if at is None else {str(row[at]) for row in before.rows}
            parts[link.table] = _linked(database, link, wanted)
        return list(parts.values())


def _linked(database: sqlite3.Connection, link: Link, keys: Collection[str]) -> Linked:
    """Look up rows. A number of single precision is given as the shortest that means it."""
    table = _identifier(link.table)
    kinds = {
        str(name).lower(): (_identifier(name), str(kind).upper().startswith("FLOAT"))
        for _, name, kind, *_ in database.execute(f"PRAGMA table_info({table})")
    }
    names = tuple(name for name in link.columns if name in kinds)
    empty = bool(kinds) and database.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone() is None  # noqa: S608
    if link.key not in names or not keys:
        return Linked(names, empty, [])
    asked = f"SELECT {', '.join(kinds[name][0] for name in names)} FROM {table}"  # noqa: S608
    if len(keys) <= _MOST_ASKED:
        asked += f" WHERE {kinds[link.key][0]} IN ({', '.join('?' * len(keys))})"
        rows = database.execute(asked, sorted(keys)).fetchall()
    else:
        rows = database.execute(asked).fetchall()
    single = [at for at, name in enumerate(names) if kinds[name][1]]
    return Linked(names, empty, [_shortened(row, single) for row in rows] if single else rows)


def _shortened(row: tuple[Any, ...], single: Sequence[int]) -> tuple[Any, ...]:
    cells = list(row)
    for at in single:
        if isinstance(cells[at], float):
            cells[at] = float(str(np.float32(cells[at])))
    return tuple(cells)


def _identifier(name: object) -> str:
    return '"' + str(name).replace('"', '""') + '"'


def read_packed_shapefile(content: bytes, stem: str) -> list[tuple[dict[str, Any], Any]]:
    """Read a zipped shapefile by pyshp: the values of each feature, and its shape as GeoJSON."""
    import shapefile

    with reasons(shapefile.ShapefileException):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = {
                kind: io.BytesIO(archive.read(f"{stem}.{kind}")) for kind in ("shp", "shx", "dbf")
            }
        with shapefile.Reader(**parts, encoding="utf-8") as reader:
            return [
                (feature.record.as_dict(), feature.shape.__geo_interface__)
                for feature in reader.iterShapeRecords()
            ]


def read_tables(content: bytes, tables: Sequence[str]) -> dict[str, list[dict[str, Any]]]:
    """Read tables of a GeoPackage by SQLite, their rows in order, once it is found sound."""
    with reasons(), closing(sqlite3.connect(":memory:")) as database:
        database.deserialize(content)
        _check_parts(database)
        for pragma, sound in _SOUND.items():
            result = database.execute(f"PRAGMA {pragma}").fetchall()
            if result != sound:
                raise Unopened(f"its {pragma} is {result}, not {sound}")
        return {table: _rows(database, table) for table in tables}


def _rows(database: sqlite3.Connection, table: str) -> list[dict[str, Any]]:
    """Read the rows of a table, but for GDAL's own number of each."""
    cursor = database.execute(f"SELECT * FROM {table} ORDER BY fid")  # noqa: S608  # our own names
    names = [name for name, *_ in cursor.description]
    rows = [dict(zip(names, values, strict=True)) for values in cursor]
    return [{name: value for name, value in row.items() if name != "fid"} for row in rows]


def _check_database(path: Path) -> None:
    """Refuse a GeoPackage that runs a query where it should hold a table.

    The library would run it, with functions of its own that ask a server.
    """
    if path.suffix.lower() != ".gpkg":
        return
    with closing(_database(path)) as database:
        _check_parts(database)


def _database(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)


def _check_parts(database: sqlite3.Connection) -> None:
    database.execute("PRAGMA trusted_schema = OFF")
    parts = database.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    for kind, name, sql in parts:
        asks = kind == "view" and str(name).lower() not in _KNOWN_VIEWS
        virtual = kind == "table" and re.match(r"\s*create\s+virtual", str(sql), re.I)
        if asks or (virtual and not _INDEX.match(str(sql).strip())):
            raise Unopened(
                f'"{str(name)[:80]}" in it is a query that runs as it is read; '
                "export the layer as a plain table"
            )
        if kind == "table" and not virtual and _MADE.search(str(sql)):
            raise Unopened(
                f'the table "{str(name)[:80]}" in it computes its own columns as it is read; '
                "export the layer as a plain table"
            )


@contextmanager
def reasons(*faults: type[Exception]) -> Iterator[None]:
    """Give the reason that a library gives, by its own faults too, and none of its warnings."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except MemoryError as error:
        raise ChildError("it asks for more memory than any such file should need") from error
    except (Unopened, ChildError):
        raise
    except (*_FAULTS, *faults) as error:
        raise Unopened(str(error) or type(error).__name__) from error
    except Exception as error:  # a library may stumble over anything, and says nothing of use
        raise Unopened(f"its reader gave up over it ({type(error).__name__})") from error


switch_off()
