"""Read a task set back: what it says of its field and of every zone.

Whether each element is as the standard has it is held by the tests, which know every form.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError, fromstring

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import OutputError
from zoneplan.export.taskset.grid import ZoneGrid, areas_ha
from zoneplan.export.taskset.write import XML_FILE
from zoneplan.field.crs import WGS_84, geodesic_area_ha

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
        shape = None if gridded else _shape(zone)
        if code in zones:
            raise OutputError(f"zone {code} is there more than once")
        zones[code] = TaskZone(
            code=code,
            designator=zone.attrib["B"],
            shape=shape,
            area_ha=gridded[0].get(code, 0.0) if shape is None else _area_ha(shape),
            command_n=int(values[0].attrib["B"]) if values else None,
        )
    return TaskSet(
        field_name=field.attrib["C"],
        field_ha=_area_ha(_shape(field)),
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


def _shape(holder: Element) -> MultiPolygon:
    return MultiPolygon([polygon_of(polygon) for polygon in holder.findall("PLN")])


def _area_ha(shape: MultiPolygon) -> float:
    return geodesic_area_ha(shape, WGS_84)


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
