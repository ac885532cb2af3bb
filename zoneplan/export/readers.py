"""Each file of a plan read by another library than the one that wrote it.

GeoJSON is written by us and read by GDAL; a shapefile and a GeoPackage are written by GDAL and
read by pyshp and SQLite; a table is written by csv and read by pandas; a sheet is written by typst,
and how far it holds together is seen by ourselves. Of a task set we read what it says of its
field and of every zone; whether each element is as the standard has it is held by the tests, which
know every form.

Source
------
PDF: ISO 32000-1:2008, 7.5.4 and 7.5.5, as typst writes it; XMP: ISO 16684-1.
"""

import io
import re
from bisect import bisect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element, ParseError, fromstring

import numpy as np
import pandas as pd
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry import shape as shape_of
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import OutputError
from zoneplan.export.table import COUNT, NUMBER, TEXT, YES, Column
from zoneplan.export.taskset import XML_FILE, ZoneGrid
from zoneplan.field.child import run
from zoneplan.field.crs import WGS_84, WGS_84_GEOD, geodesic_area_ha
from zoneplan.field.files import frame_of
from zoneplan.field.opening import read_packed_shapefile, read_tables, read_vectors
from zoneplan.units import M2_PER_HA

LIMIT_S = 60.0  # to read one file of a plan
_PARSERS: Mapping[str, Callable[[str], Any]] = {
    COUNT: int,
    NUMBER: float,
    YES: {"true": True, "false": False}.__getitem__,
    TEXT: lambda text: text.removeprefix("'"),  # which keeps a spreadsheet from working it out
}
_PDF_END = re.compile(rb"startxref\s+(\d{1,10})\s+%%EOF\s*\Z")
_PDF_TABLE = re.compile(rb"xref\s+0 (\d+)\s+((?:\d{10} \d{5} [fn][ \r][\r\n])+)trailer")
_PDF_ENTRY_BYTES = 20
_PDF_COUNT = re.compile(rb"/Count (\d+)")
_XMP = re.compile(rb"<\?xpacket begin.*?\?>(.*?)<\?xpacket end", re.DOTALL)
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


@dataclass(frozen=True)
class Sheet:
    """What a sheet says of itself."""

    title: str
    pages: int


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


def read_sheet(content: bytes) -> Sheet:
    """Read of a PDF what it says of itself, once every object is where its table has it.

    Raises
    ------
    ValueError
        Saying what does not hold together, after "it".
    """
    objects, root = pdf_objects(content)

    def linked(name: bytes, part: bytes) -> bytes:
        """The object that another names."""
        link = re.search(rb"/%b (\d+) 0 R" % name, part)
        if link is None:
            raise ValueError(f"it names no {name.decode()}")
        return objects[int(link[1])]

    pages = _PDF_COUNT.search(linked(b"Pages", objects[root]))
    packet = _XMP.search(linked(b"Metadata", objects[root]))
    if pages is None or packet is None or b"<!" in packet[1]:
        raise ValueError("it does not say what it is")
    title = fromstring(packet[1]).findtext(".//{*}title//{*}li")  # noqa: S314 no document type
    return Sheet(title or "", int(pages[1]))


def pdf_objects(content: bytes) -> tuple[dict[int, bytes], int]:
    """Take a PDF apart into its objects by number, and say which is the root of all.

    Raises
    ------
    ValueError
        When one is not where its table has it.
    """
    end = _PDF_END.search(content)
    table = _PDF_TABLE.match(content, int(end[1])) if end else None
    root = re.search(rb"/Root (\d+) 0 R", content[table.end() :]) if table else None
    if table is None or root is None:
        raise ValueError("it does not end as a whole PDF does")
    entries = [
        table[2][at : at + _PDF_ENTRY_BYTES] for at in range(0, len(table[2]), _PDF_ENTRY_BYTES)
    ]
    places = {
        number: int(entry[:10])
        for number, entry in enumerate(entries)
        if entry[17:18] == b"n" and int(entry[:10])
    }
    ends = sorted([*places.values(), table.start()])
    objects = {}
    for number, place in places.items():
        head = b"%d 0 obj\n" % number
        body = content[place : ends[bisect(ends, place)]].rstrip()
        if not (body.startswith(head) and body.endswith(b"\nendobj")):
            raise ValueError(f"its object {number} is not where its table has it")
        objects[number] = body[len(head) : -len(b"\nendobj")]
    return objects, int(root[1])


def _shape(blob: bytes) -> BaseGeometry:
    """Read a geometry behind its GeoPackage head: "GP", version, flags, system, envelope."""
    if blob[:2] != b"GP":
        raise ValueError("a shape does not begin as a GeoPackage has it")
    return shapely.from_wkb(blob[8 + _ENVELOPE_BYTES[blob[3] >> 1 & 7] :])


def _known(value: Any) -> Any:
    return None if pd.isna(value) else value


# ---- a task set ----------------------------------------------------------------------------

Files = Mapping[str, bytes]


@dataclass(frozen=True)
class TaskZone:
    """What a task set says of one treatment zone."""

    code: int
    designator: str
    shape: MultiPolygon | None  # in WGS 84 degrees; None where the zones are a grid
    area_ha: float  # geodesic, of the shape or of the zone's cells
    command_n: int | None  # None: nothing is commanded


@dataclass(frozen=True)
class TaskSet:
    """What a task set says of a field and its zones."""

    field_name: str
    field_ha: float  # geodesic, of the boundary
    zones: Mapping[int, TaskZone]  # by code; 0 is no zone of the plan
    task_name: str
    grower: str
    farm: str


def read_taskset(files: Files) -> TaskSet:
    """Read the files of a TASKDATA folder of one field that we wrote, given by their names.

    Raises
    ------
    OutputError
        When a file is missing or cannot be read, or a zone or its value is there twice.
    ValueError
        When there is more than one field or task.
    """
    (only,) = read_tasks(files)
    return only


def read_tasks(files: Files) -> list[TaskSet]:
    """Read the same of several fields, a task each, in the order of the tasks.

    Raises
    ------
    OutputError
        As `read_taskset` does, or when fields and tasks do not belong together one by one.
    """
    root = xml_root(files)
    tasks = root.findall("TSK")
    fields = {field.attrib["A"]: field for field in root.findall("PFD")}
    names = {
        one.attrib["A"]: one.attrib["B"] for tag in ("CTR", "FRM") for one in root.findall(tag)
    }
    if sorted(task.attrib["E"] for task in tasks) != sorted(fields):
        raise OutputError(f"its {len(tasks)} tasks are not one for each of {len(fields)} fields")
    return [_task(task, fields[task.attrib["E"]], names, files) for task in tasks]


def _task(task: Element, field: Element, names: Mapping[str, str], files: Files) -> TaskSet:
    gridded = [areas_ha(grid_of(grid, files)) for grid in task.findall("GRD")]
    zones = {}
    for zone in task.findall("TZN"):
        code = int(zone.attrib["A"])
        values = zone.findall("PDV")
        if len(values) > 1:
            raise OutputError(f"zone {code} has more than one value")
        shape = None if gridded else _polygons(zone)
        if code in zones:
            raise OutputError(f"zone {code} is there more than once")
        zones[code] = TaskZone(
            code=code,
            designator=zone.attrib["B"],
            shape=shape,
            area_ha=gridded[0].get(code, 0.0) if shape is None else geodesic_area_ha(shape, WGS_84),
            command_n=int(values[0].attrib["B"]) if values else None,
        )
    return TaskSet(
        field_name=field.attrib["C"],
        field_ha=geodesic_area_ha(_polygons(field), WGS_84),
        zones=zones,
        task_name=task.attrib["B"],
        grower=names[field.attrib["E"]],
        farm=names[field.attrib["F"]],
    )


def xml_root(files: Files) -> Element:
    """Read the XML of a task set.

    Raises
    ------
    OutputError
        When it is missing, damaged, or declares a document type, as no task set does.
    """
    if XML_FILE not in files:
        raise OutputError(f"{XML_FILE} is missing")
    try:
        if "<!DOCTYPE" in files[XML_FILE].decode("utf-8"):
            raise ValueError("it declares a document type, which no task set does")
        return fromstring(files[XML_FILE])  # noqa: S314  # no document type, so no entities
    except (ValueError, ParseError) as fault:
        raise OutputError(f"{XML_FILE} cannot be read: {fault}") from fault


def bin_file(grid: Element) -> str:
    """Name the file that holds a grid's codes."""
    return f"{grid.attrib['G']}.BIN"


def corners(ring: Element) -> list[tuple[float, float]]:
    """Read longitude and latitude of each corner."""
    return [(float(point.attrib["D"]), float(point.attrib["C"])) for point in ring]


def polygon_of(polygon: Element) -> Polygon:
    """Read one polygon, in degrees."""
    lines = sorted(polygon, key=lambda line: line.attrib["A"])  # the exterior first
    exterior, *interiors = (corners(line) for line in lines)
    return Polygon(exterior, interiors)


def _polygons(holder: Element) -> MultiPolygon:
    return MultiPolygon([polygon_of(polygon) for polygon in holder.findall("PLN")])


def grid_of(grid: Element, files: Files) -> ZoneGrid:
    """Read a grid of zone codes.

    Raises
    ------
    OutputError
        When its file is missing.
    """
    if bin_file(grid) not in files:
        raise OutputError(f"{bin_file(grid)} is missing")
    south, west, cell_north, cell_east = (float(grid.attrib[name]) for name in "ABCD")
    rows, columns = int(grid.attrib["F"]), int(grid.attrib["E"])
    codes = np.frombuffer(files[bin_file(grid)], np.uint8).reshape(rows, columns)
    return ZoneGrid(south, west, cell_north, cell_east, codes)


def areas_ha(grid: ZoneGrid) -> dict[int, float]:
    """Add up the cells of each code, on the ellipsoid. [ha]."""
    rows, _ = grid.codes.shape
    sums: dict[int, float] = {}
    for row in range(rows):
        low, high = (grid.south + n * grid.cell_north for n in (row, row + 1))
        left, right = grid.west, grid.west + grid.cell_east
        cell_m2, _ = WGS_84_GEOD.polygon_area_perimeter(
            [left, right, right, left], [low, low, high, high]
        )
        for code, count in zip(*np.unique(grid.codes[row], return_counts=True), strict=True):
            sums[int(code)] = sums.get(int(code), 0.0) + float(count) * cell_m2 / M2_PER_HA
    return sums
