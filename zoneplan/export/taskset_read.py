"""Read a task set back: whether it holds together, and what it says of every zone."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError, fromstring

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from zoneplan.errors import OutputError, listed
from zoneplan.export.taskset import XML_FILE
from zoneplan.export.taskset_forms import ROOT, kinds, misfits
from zoneplan.export.taskset_grid import ZoneGrid, areas_ha
from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.crs import WGS_84

Files = Mapping[str, bytes]

_TYPE_OF_POLYGON = {"PFD": "1", "TZN": "2"}  # boundary, treatment zone
_STANDS_FOR = {"H": "the default", "I": "a lost position", "J": "ground outside"}


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


def read_taskset(files: Files) -> TaskSet:
    """Read the files of a TASKDATA folder that we wrote, given by their names.

    Raises
    ------
    OutputError
        Telling every fault that `check_taskset` finds.
    """
    faults = check_taskset(files)
    if faults:
        raise OutputError(listed("The task set", faults) + "\nWrite it again from its plan.")
    root = _root(files)
    field, task = root.findall("PFD")[0], root.findall("TSK")[0]
    gridded = [areas_ha(_grid(grid, files)) for grid in task.findall("GRD")]
    zones = {}
    for zone in task.findall("TZN"):
        code, value = int(zone.attrib["A"]), zone.find("PDV")
        shape = None if gridded else _shape(zone)
        zones[code] = TaskZone(
            code=code,
            designator=zone.attrib["B"],
            shape=shape,
            area_ha=gridded[0].get(code, 0.0) if shape is None else _area_ha(shape),
            command_n=None if value is None else int(value.attrib["B"]),
        )
    return TaskSet(field.attrib["C"], _area_ha(_shape(field)), zones)


def check_taskset(files: Files) -> list[str]:
    """Find the faults of a task set's files, given by their names; an empty list if none.

    Elements and attributes come first. Where all are as they should be, references, rings,
    codes and the grid are looked at too.
    """
    if XML_FILE not in files:
        return [f"{XML_FILE} is missing"]
    try:
        root = _root(files)
    except (ValueError, ParseError) as fault:
        return [f"{XML_FILE} cannot be read: {fault}"]
    if root.tag != ROOT:
        return [f"{XML_FILE} begins with {root.tag}, not with {ROOT}"]
    faults = misfits(root)
    for tag in ("PFD", "TSK"):
        if len(root.findall(tag)) != 1:
            faults.append(f"{ROOT} holds {len(root.findall(tag))} {tag}, not one")
    if faults:
        return faults
    (task,) = root.findall("TSK")
    return [
        *_loose_references(root),
        *(fault for holder in root.iter() for fault in _odd_polygons(holder, root)),
        *_odd_zones(task),
        *_odd_cover(task, files),
    ]


def _root(files: Files) -> Element:
    if "<!DOCTYPE" in files[XML_FILE].decode("utf-8"):
        raise ValueError("it declares a document type, which no task set does")
    return fromstring(files[XML_FILE])  # noqa: S314  # no document type, so no entities


def _loose_references(root: Element) -> Iterator[str]:
    known, ids = kinds(root), Counter(element.attrib["A"] for element in root)
    yield from (f"the id {name} is there {count} times" for name, count in ids.items() if count > 1)
    for element in root.iter():
        for name, form in known[element.tag].forms.items():
            if form.refers and element.get(name) not in (None, *ids):
                yield f"{element.tag}: {name} names {element.get(name)}, which is not there"


def _odd_polygons(holder: Element, root: Element) -> Iterator[str]:
    closed = root.get("VersionMajor") == "4"
    if holder.tag == "PFD" and holder.find("PLN") is None:
        yield f"{_named(holder)} has no boundary"
    for number, polygon in enumerate(holder.findall("PLN"), 1):
        where, rings = f"{_named(holder)}, PLN {number}", polygon.findall("LSG")
        if polygon.attrib["A"] != _TYPE_OF_POLYGON[holder.tag]:
            yield f"{where} is of type {polygon.attrib['A']}, not {_TYPE_OF_POLYGON[holder.tag]}"
        lines = sorted(ring.attrib["A"] for ring in rings)
        if lines[:1] != ["1"] or set(lines[1:]) - {"2"}:
            yield f"{where} is not one exterior line (type 1) with interior ones (type 2)"
            continue
        corners = [_corners(ring) for ring in rings]
        if any(len(set(ring)) < 3 for ring in corners):
            yield f"{where} has a ring of fewer than three corners"
        elif closed and any(ring[0] != ring[-1] for ring in corners):
            yield f"{where} has an open ring: in version 4 the first corner comes again"
        elif not _polygon(polygon).is_valid:
            yield f"{where} crosses itself, or has a hole that is not inside"


def _odd_zones(task: Element) -> Iterator[str]:
    """Codes that are twice there or not at all, and values that are twice there."""
    zones = Counter(int(zone.attrib["A"]) for zone in task.findall("TZN"))
    yield from (f"zone {code} is there {count} times" for code, count in zones.items() if count > 1)
    for name, meaning in _STANDS_FOR.items():
        if int(task.attrib[name]) not in zones:
            yield f"zone {task.attrib[name]}, which stands for {meaning}, is not there"
    for zone in task.findall("TZN"):
        if len(zone.findall("PDV")) > 1:
            yield f"zone {zone.get('A')} has {len(zone.findall('PDV'))} values, not one"


def _odd_cover(task: Element, files: Files) -> Iterator[str]:
    """Zones without ground, ground without a zone, and files that do not belong."""
    zones = {int(zone.attrib["A"]) for zone in task.findall("TZN")}
    covered = {int(zone.attrib["A"]) for zone in task.findall("TZN") if zone.findall("PLN")}
    grids = task.findall("GRD")
    strays = files.keys() - {XML_FILE} - {_file(grid) for grid in grids}
    yield from (f"{name} is a file that belongs to nothing" for name in sorted(strays))
    if len(grids) + bool(covered) > 1:
        yield "the zones are told more than once: let them be polygons, or one grid"
        return
    for grid in grids:
        faults = list(_odd_grid(grid, files))
        yield from faults
        if faults:
            return
        covered = set(_grid(grid, files).codes.ravel().tolist())
    yield from (f"the grid names zone {code}, which is not there" for code in covered - zones)
    elsewhere = {int(task.attrib[name]) for name in _STANDS_FOR}
    yield from (f"zone {code} covers no ground" for code in zones - covered - elsewhere)


def _odd_grid(grid: Element, files: Files) -> Iterator[str]:
    rows, columns = int(grid.attrib["F"]), int(grid.attrib["E"])
    name, stated = _file(grid), int(grid.attrib["H"])
    if name not in files:
        yield f"{name} is missing"
        return
    size = len(files[name])
    if size != rows * columns:
        yield f"{name} has {size} bytes, not one for each of {rows} x {columns} cells"
    if size != stated:
        yield f"{name} has {size} bytes, not {stated} as its GRD says"


def _named(element: Element) -> str:
    return f"{element.tag} {element.get('A')}"


def _file(grid: Element) -> str:
    return f"{grid.attrib['G']}.BIN"


def _corners(ring: Element) -> list[tuple[float, float]]:
    """Longitude and latitude of each."""
    return [(float(point.attrib["D"]), float(point.attrib["C"])) for point in ring]


def _polygon(polygon: Element) -> Polygon:
    lines = sorted(polygon, key=lambda line: line.attrib["A"])  # the exterior first
    exterior, *interiors = (_corners(line) for line in lines)
    return Polygon(exterior, interiors)


def _shape(holder: Element) -> MultiPolygon:
    return MultiPolygon([_polygon(polygon) for polygon in holder.findall("PLN")])


def _area_ha(shape: MultiPolygon) -> float:
    return geodesic_area_ha(shape, WGS_84)


def _grid(grid: Element, files: Files) -> ZoneGrid:
    south, west, cell_north, cell_east = (float(grid.attrib[name]) for name in "ABCD")
    rows, columns = int(grid.attrib["F"]), int(grid.attrib["E"])
    codes = np.frombuffer(files[_file(grid)], np.uint8).reshape(rows, columns)
    return ZoneGrid(south, west, cell_north, cell_east, codes)
