"""Shapefiles and GeoPackages that mean harm, or were mangled on their way."""

import os
import sqlite3
import struct
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import geopandas as gpd

from tests.hostile.case import CASES, FINE, Case, case
from tests.hostile.pointers import PLACE

ANY = "cannot be read as|is cut off|is missing|holds no|no field|coordinate system|degrees|corners|not a number|crosses itself|These are there|content is|cannot be understood"


def shapefile(folder: Path) -> Path:
    path = folder / "field.shp"
    gpd.GeoDataFrame({"name": ["North"]}, geometry=[PLACE], crs="EPSG:4326").to_file(path)
    return path


def geopackage(folder: Path) -> Path:
    path = folder / "field.gpkg"
    gpd.GeoDataFrame({"name": ["North"]}, geometry=[PLACE], crs="EPSG:4326").to_file(path)
    return path


def _patched(what: str, ending: str, at: int, data: bytes, words: str = ANY) -> None:
    def make(folder: Path) -> Path:
        path = shapefile(folder)
        part = path.with_suffix(ending)
        content = bytearray(part.read_bytes())
        content[at : at + len(data)] = data
        part.write_bytes(content)
        return path

    CASES[f"boundary: shapefile {what}"] = Case("boundary", make, words)


_BIG, _LITTLE = struct.Struct(">i"), struct.Struct("<i")
_patched("of a kind that is none", ".shp", 32, _LITTLE.pack(99), "|" + ANY)
_patched("whose shape is of no kind", ".shp", 108, _LITTLE.pack(77))
_patched("whose record is below nothing long", ".shp", 104, _BIG.pack(-5), "|" + ANY)
_patched("whose record is 4 GB long", ".shp", 104, _BIG.pack(2**31 - 1), "|" + ANY)
_patched("with 2 billion parts", ".shp", 144, _LITTLE.pack(2**31 - 1))
_patched("with 2 billion corners", ".shp", 148, _LITTLE.pack(2**31 - 1))
_patched("with less than no corners", ".shp", 148, _LITTLE.pack(-1))
_patched("with a part that starts beyond", ".shp", 152, _LITTLE.pack(10_000), "|" + ANY)
_patched("with corners that are no numbers", ".shp", 156, b"\xff" * 32)
_patched("with corners of 1e308", ".shp", 156, struct.pack("<4d", *[1e308] * 4))
_patched("that says it is 4 GB", ".shp", 24, _BIG.pack(2**31 - 1), "is cut off")
_patched("whose index points beyond", ".shx", 100, _BIG.pack(2**30))
_patched("whose index points below nothing", ".shx", 100, _BIG.pack(-50))
_patched("whose index says it is empty", ".shx", 24, _BIG.pack(50))
_patched("whose table has 2 billion rows", ".dbf", 4, _LITTLE.pack(2**31 - 1), "is cut off")
_patched("whose table has no rows", ".dbf", 4, _LITTLE.pack(0), "|" + ANY)
_patched("whose table has a head of nothing", ".dbf", 8, b"\x00\x00", "|" + ANY)
_patched("whose table has rows of nothing", ".dbf", 10, b"\x00\x00", "|" + ANY)
_patched("whose column is of no kind", ".dbf", 43, b"\x01", "|" + ANY)
_patched("whose column has no name", ".dbf", 32, b"\x00" * 11, "|" + ANY)
_patched("whose column is below nothing wide", ".dbf", 48, b"\xff", "|" + ANY)
_patched("with a .prj of another code", ".prj", 8, b"\xff\xff", "its reader gave up over it")
for _bit in range(0, 1000, 97):
    _patched(
        f"with a bit of its .prj turned, {_bit}",
        ".prj",
        _bit // 8,
        bytes([0x41 ^ (_bit % 29)]),
        "|" + ANY,
    )


def _beside(what: str, words: str = ANY) -> Callable[[Callable[[Path], None]], None]:
    def added(change: Callable[[Path], None]) -> None:
        def make(folder: Path) -> Path:
            path = shapefile(folder)
            change(path)
            return path

        CASES[f"boundary: shapefile {what}"] = Case("boundary", make, words)

    return added


@_beside("whose .dbf is a folder", "it is a folder")
def _(path: Path) -> None:
    path.with_suffix(".dbf").unlink()
    path.with_suffix(".dbf").mkdir()


@_beside("whose .shx is a pipe", "it is a pipe")
def _(path: Path) -> None:
    path.with_suffix(".shx").unlink()
    os.mkfifo(path.with_suffix(".shx"))


@_beside("whose .prj is a device", "it is a device")
def _(path: Path) -> None:
    path.with_suffix(".prj").unlink()
    path.with_suffix(".prj").symlink_to("/dev/zero")


@_beside("whose .qix is a pipe", "it is a pipe")
def _(path: Path) -> None:
    os.mkfifo(path.with_suffix(".qix"))


@_beside("whose .cpg is nonsense", "|" + ANY)
def _(path: Path) -> None:
    path.with_suffix(".cpg").write_bytes(b"\x00\xffno-such-code" * 99)


@_beside("whose .prj is 5 MB of brackets")
def _(path: Path) -> None:
    path.with_suffix(".prj").write_text("GEOGCS[" * 700_000)


@_beside("whose .prj has NULs", "|" + ANY)
def _(path: Path) -> None:
    path.with_suffix(".prj").write_bytes(b"GEOGCS[\x00\x00\x00")


@_beside("whose .prj is a way of pipes")
def _(path: Path) -> None:
    path.with_suffix(".prj").write_text(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad"
    )


@_beside("with a name of 200 letters", FINE)
def _(path: Path) -> None:
    for part in path.parent.glob("field.*"):
        part.rename(part.with_stem("n" * 200))
    path.with_suffix(".shp").with_stem("n" * 200).rename(path)
    for part in path.parent.glob("nnn*"):
        part.rename(path.with_suffix(part.suffix))


# ---- GeoPackages -------------------------------------------------------------------------------


def _sql(what: str, words: str, *statements: str) -> None:
    def make(folder: Path) -> Path:
        path = geopackage(folder)
        with closing(sqlite3.connect(path, isolation_level=None)) as database:
            database.create_function("ST_IsEmpty", 1, lambda _: 0)
            for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
                database.create_function(name, 1, lambda _: 0.0)
            for statement in statements:
                database.execute(statement)
        return path

    for door in ("boundary", "soil", "drawn"):
        expected = words
        if words == FINE and door == "soil":
            expected = "no column of texture"
        elif words.startswith("|"):
            expected = f"{words}|no column of texture"
        CASES[f"{door}: GeoPackage {what}"] = Case(door, make, expected)


_QUERY = "is a query that runs"
_REGISTER = (
    "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
    "VALUES ('v', 'features', 'v', 4326)",
    "INSERT INTO gpkg_geometry_columns VALUES ('v', 'geom', 'POLYGON', 4326, 0, 0)",
)
_sql("of a query without end", _QUERY,
     "CREATE VIEW v AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
     "SELECT i AS fid, (SELECT geom FROM field) AS geom FROM n", *_REGISTER)  # fmt: skip
_sql("of a query that nobody asked for", _QUERY,
     "CREATE VIEW plain AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
     "SELECT i FROM n")  # fmt: skip
_sql("whose column is computed", "computes its own columns",
     "CREATE TABLE v (fid INTEGER PRIMARY KEY, geom BLOB, "
     "x BLOB GENERATED ALWAYS AS (zeroblob(1000000000)))", *_REGISTER)  # fmt: skip
_sql("with an index of words", _QUERY, "CREATE VIRTUAL TABLE words USING fts5(a)")
_sql("with an index of words that a query hides", _QUERY, "CREATE VIEW words AS SELECT 1")
_sql("without a list of its layers", "cannot be read as|holds no", "DROP TABLE gpkg_contents")
_sql(
    "without a system", "|coordinate system", "DELETE FROM gpkg_spatial_ref_sys WHERE srs_id = 4326"
)
_sql("whose shape is nothing", "holds no", "UPDATE field SET geom = NULL")
_sql("whose shape is text", ANY, "UPDATE field SET geom = 'POLYGON((0 0,1 1))'")
_sql("whose shape is cut off", ANY, "UPDATE field SET geom = substr(geom, 1, 60)")
_sql("whose shape claims 4 billion corners", ANY,
     "UPDATE field SET geom = CAST(substr(geom, 1, 49) || x'FFFFFFFF' || substr(geom, 54) AS BLOB)")  # fmt: skip
_sql("whose shape is 50 MB of nothing", ANY, "UPDATE field SET geom = zeroblob(50000000)")
_sql(
    "that is written while it is read",
    FINE,
    "PRAGMA journal_mode = WAL",
    "UPDATE field SET name = 'x'",
)
_sql("with a trigger", FINE,
     "CREATE TRIGGER t AFTER INSERT ON field BEGIN SELECT zeroblob(1000000000); END")  # fmt: skip
_sql("whose layer has a name that steers", "|holds", 'ALTER TABLE field RENAME TO "a\'b]--\x1b[2J"')
_sql("with two layers of one name", "|holds|cannot be read",
     "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
     "VALUES ('FIELD', 'features', 'x', 4326)")  # fmt: skip
_sql("whose name is a billion letters", "|" + ANY, "UPDATE field SET name = zeroblob(90000000)")


def _damaged(at: float) -> None:
    def make(folder: Path) -> Path:
        path = geopackage(folder)
        content = bytearray(path.read_bytes())
        spot = int(at * len(content))
        content[spot : spot + 300] = os.urandom(300)
        path.write_bytes(content)
        return path

    CASES[f"boundary: GeoPackage damaged at {at:.1%}"] = Case("boundary", make, "|" + ANY)


for _step in range(1, 16):
    _damaged(_step / 16)
_damaged(0.0002)
_damaged(0.001)


@case("boundary", "cannot be read as|holds no")
def a_geodatabase_of_nothing(folder: Path) -> Path:
    path = folder / "field.gdb"
    path.mkdir()
    (path / "a00000001.gdbtable").write_bytes(os.urandom(5000))
    return path


@case("boundary", "it is a pipe")
def a_geodatabase_with_a_pipe(folder: Path) -> Path:
    path = folder / "field.gdb"
    path.mkdir()
    os.mkfifo(path / "a00000001.gdbtable")
    return path


def _bare_geodatabase(folder: Path) -> Path:
    path = folder / "field.gdb"
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[PLACE], crs="EPSG:4326").to_file(
        path, layer="field", driver="OpenFileGDB"
    )
    return path


def _damaged_geodatabase(number: int) -> None:
    def make(folder: Path) -> Path:
        path = _bare_geodatabase(folder)
        parts = sorted(path.glob("*.gdbtabl*"))
        part = parts[number % len(parts)]
        content = bytearray(part.read_bytes())
        spot = len(content) * (number % 7) // 7
        content[spot : spot + 60] = b"\xff" * 60
        part.write_bytes(content[: max(spot + 60, 100)])
        return path

    CASES[f"boundary: geodatabase damaged, {number}"] = Case("boundary", make, "|" + ANY)


for _number in range(0, 16, 2):
    _damaged_geodatabase(_number)
