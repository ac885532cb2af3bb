"""The zones as an ISO 11783-10 task set: one planned task that a cab terminal can load.

A zone of the plan is a treatment zone under its own number. Zone 0 has no value: it is named
as the default, for ground outside the field and for a lost position, so that nothing of ours
is commanded there. No clock is read: the same plan gives the same bytes.

Zones are polygons, or a grid of type 1: one byte a cell, the code of its zone. Its rows run from
the south, the cells of a row from the west.

Source
------
ISO 11783-10, by its published schemas (versions 3.3 and 4.3); the standard's own text was not
read. That a ring's corners are points of type 2, and that its first corner comes again at its
end in version 4 but not in 3, is the custom of open readers; the order of the cells is by two of
them that agree.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version as installed
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import OutputError, listed
from zoneplan.export.table import zone_shapes
from zoneplan.export.taskset_words import (
    Value,
    cell_m,
    command_n,
    designator,
    shown_unit,
    task_designator,
    zone_designator,
)
from zoneplan.field.crs import WGS_84_GEOD, in_degrees
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import M2_PER_HA, N_PER_LBF

XML_FILE = "TASKDATA.XML"
ROOT = "ISO11783_TaskData"
DOWNFORCE_DDI = "01AA"  # 426, setpoint downforce as force: whole newtons, negative is lift
NO_COMMAND = 0  # the zone without a value
GROWER, FARM = "Grower", "Farm"  # where nobody said whose it is
DECIMALS = 9  # of a degree, the most that version 4 allows: a tenth of a millimetre
MOST_ZONES = 254  # codes run from 0 to 254, and 0 is taken

_BOUNDARY, _TREATMENT_ZONE = "1", "2"  # types of polygon
_EXTERIOR, _INTERIOR = "1", "2"  # types of line
_CORNER = "2"  # type of point: other


@dataclass(frozen=True)
class ZoneGrid:
    """Zone codes in cells of equal size, in WGS 84 degrees."""

    south: float  # corner of the first cell
    west: float
    cell_north: float  # size of a cell
    cell_east: float
    codes: NDArray[np.uint8]  # (rows, columns), the southernmost row first


def taskset_files(
    plan: Plan,
    moisture: Moisture,
    *,
    version: int = 4,
    grid: bool = False,
    value: Value = "downforce",
    title: TitleBlock | None = None,
) -> dict[str, bytes]:
    """Write one moisture of a plan as the files of a TASKDATA folder.

    Parameters
    ----------
    plan : Plan
        A finished plan.
    moisture : str
        dry, moist or wet.
    version : int
        4 (that is 4.3), or 3 (3.3) for older terminals.
    grid : bool
        Zones as a grid of codes (type 1) rather than as polygons.
    value : "downforce" or "margin"
        What goes out under the entry for downforce [N, whole], as `command_n` tells. A margin
        is labelled as one in the task, in every zone, and in the unit that a terminal shows.
    title : TitleBlock, optional
        Whose field it is: the customer and the farm.

    Returns
    -------
    dict of str to bytes
        Each file's content by its name: TASKDATA.XML and, with `grid`, GRD00001.BIN.

    Raises
    ------
    OutputError
        For more zones than a task set can tell apart, a zone too small for the grid, or
        margin targets of a planter that is set by something else.

    Notes
    -----
    Zones that wait or have no data keep their code and carry no value. What the numbers mean,
    and where there are none, is told by `taskset_notes`.
    """
    grower, farm = (title and title.grower) or GROWER, (title and title.farm) or FARM
    only = FieldOf(plan.field.name, farm, plan)
    return grower_taskset_files(grower, [only], moisture, version=version, grid=grid, value=value)


@dataclass(frozen=True)
class FieldOf:
    """One field of a grower's task set."""

    name: str
    farm: str
    plan: Plan
    number: int | None = None  # in the list that goes with the task set: no name tells as much


def grower_taskset_files(
    grower: str,
    fields: Sequence[FieldOf],
    moisture: Moisture,
    *,
    version: int = 4,
    grid: bool = False,
    value: Value = "downforce",
) -> dict[str, bytes]:
    """Write one moisture of all a grower's plans as one task set: a customer, farms, fields.

    Each plan is a task of its own. What a terminal has no room for is cut from the names; the
    numbers of the fields tell them apart, in the codes of the fields and before the tasks' names.

    Parameters
    ----------
    grower : str
        The customer.
    fields : sequence of FieldOf
        In the order that a terminal lists them.
    moisture, version, grid, value : str, int, bool, str
        As `taskset_files` has them. Where grids are asked for there is one a field.

    Raises
    ------
    OutputError
        As `taskset_files` does, for any of the plans.
    """
    for one in fields:
        _refuse(one.plan, value)
    root = Element(
        ROOT,
        VersionMajor=str(version),
        VersionMinor="3",
        ManagementSoftwareManufacturer="zoneplan",
        ManagementSoftwareVersion=designator(installed("zoneplan")),
        DataTransferOrigin="1",  # from the office, not from the machine
    )
    SubElement(root, "CTR", A="CTR1", B=designator(grower))
    farms = _ids("FRM", [one.farm for one in fields])
    for farm, farm_id in farms.items():
        SubElement(root, "FRM", A=farm_id, B=designator(farm), I="CTR1")
    for place, one in enumerate(fields, 1):
        field = SubElement(root, "PFD", A=f"PFD{place}")
        if one.number is not None:
            field.set("B", str(one.number))
        area_m2 = str(round(one.plan.field.area_ha * M2_PER_HA))
        field.attrib |= {"C": designator(one.name), "D": area_m2, "E": "CTR1", "F": farms[one.farm]}
        outline = in_degrees(one.plan.field.shape, one.plan.field.crs, DECIMALS)
        _add_polygons(field, outline, _BOUNDARY, version)
    shown = _ids("VPN", [shown_unit(one.plan, value) for one in fields])
    scale = f"{1 / N_PER_LBF:.9f}"  # what is shown is the value times this
    for unit, shown_id in shown.items():
        SubElement(root, "VPN", A=shown_id, B="0", C=scale, D="0", E=unit)
    files = {}
    for place, one in enumerate(fields, 1):
        named = task_designator(one.name, moisture, value, one.number)
        task = SubElement(root, "TSK", A=f"TSK{place}", B=named)
        task.attrib |= {"C": "CTR1", "D": farms[one.farm], "E": f"PFD{place}", "G": "1"}  # planned
        task.attrib |= dict.fromkeys("HIJ", str(NO_COMMAND))  # default, position lost, outside
        SubElement(task, "TZN", A=str(NO_COMMAND), B=f"{NO_COMMAND} no command")
        shown_id = shown[shown_unit(one.plan, value)]
        shapes = _add_zones(task, one.plan, moisture, value, shown_id, 0 if grid else version)
        if grid:
            cells = zone_grid(shapes, NO_COMMAND, cell_m(one.plan.machine))
            _add_grid(task, cells, grid_file(place))
            files[f"{grid_file(place)}.BIN"] = cells.codes.tobytes()
    return {XML_FILE: _xml(root), **files}


def _ids(tag: str, names: Sequence[str]) -> dict[str, str]:
    """An id for each name, however often it is there."""
    return {name: f"{tag}{place}" for place, name in enumerate(dict.fromkeys(names), 1)}


def _add_zones(
    task: Element, plan: Plan, moisture: Moisture, value: Value, shown_id: str, drawn: int
) -> dict[int, BaseGeometry]:
    """Add every zone with its value, drawn as polygons of a version or not (0); give its shape."""
    drawings = zone_shapes(plan, DECIMALS)
    shapes = {each.zone.id: shape for each, shape in zip(plan.settings, drawings, strict=True)}
    for setting in plan.settings:
        code = setting.zone.id
        zone = SubElement(task, "TZN", A=str(code), B=zone_designator(setting, moisture, value))
        if drawn:
            _add_polygons(zone, shapes[code], _TREATMENT_ZONE, drawn)
        command = command_n(setting, moisture, value)
        if command is not None:
            SubElement(zone, "PDV", A=DOWNFORCE_DDI, B=str(command), E=shown_id)
    return shapes


def _refuse(plan: Plan, value: Value) -> None:
    if value == "margin" and plan.setting_kind != SettingKind.MARGIN_TARGET:
        raise OutputError(
            "Margin targets were asked for in the task set, but this planter is set by "
            f"{plan.setting_kind}.\n"
            "A controller would take a margin as the downforce to apply, and press wrongly. Ask "
            "for downforce instead."
        )
    if len(plan.settings) > MOST_ZONES:
        raise OutputError(
            f"{plan.field.name} has {len(plan.settings)} zones; a task set can tell "
            f"{MOST_ZONES} apart.\n"
            "Make a plan with fewer zones, or use the shapefile or GeoJSON."
        )


def _add_polygons(parent: Element, shape: BaseGeometry, kind: str, version: int) -> None:
    for part in shapely.get_parts(shape):
        polygon = SubElement(parent, "PLN", A=kind)
        rings = [(_EXTERIOR, part.exterior), *((_INTERIOR, hole) for hole in part.interiors)]
        for line_kind, ring in rings:
            line = SubElement(polygon, "LSG", A=line_kind)
            for east, north in ring.coords if version > 3 else ring.coords[:-1]:
                SubElement(line, "PNT", A=_CORNER, C=_degrees(north), D=_degrees(east))


def _add_grid(task: Element, grid: ZoneGrid, file: str) -> None:
    rows, columns = grid.codes.shape
    attributes = {
        "A": _degrees(grid.south),
        "B": _degrees(grid.west),
        "C": _degrees(grid.cell_north),
        "D": _degrees(grid.cell_east),
        "E": str(columns),
        "F": str(rows),
        "G": file,
        "H": str(grid.codes.size),  # in bytes: a byte a cell
        "I": "1",
    }
    SubElement(task, "GRD", attributes)


def _degrees(angle: float) -> str:
    return f"{angle:.{DECIMALS}f}"


def _xml(root: Element) -> bytes:
    indent(root, " ")
    body: bytes = tostring(root, encoding="utf-8")
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + body + b"\n"


# ---- zones as a grid -----------------------------------------------------------------------


def grid_file(number: int) -> str:
    """Name the file of a task's grid, without its ending, which is .BIN.

    >>> grid_file(1)
    'GRD00001'
    """
    return f"GRD{number:05d}"


def zone_grid(shapes: Mapping[int, BaseGeometry], outside: int, side_m: float) -> ZoneGrid:
    """Give each cell the code of the zone that its middle lies in.

    Parameters
    ----------
    shapes : mapping of int to geometry
        The zones by code, in WGS 84 degrees.
    outside : int
        Code of the cells in no zone.
    side_m : float
        Side of a cell; true in the middle of the field. [m]

    Raises
    ------
    OutputError
        When a zone is too small to get a cell.
    """
    from affine import Affine

    from zoneplan.field.raster.opening import rasterize

    west, south, east, north = shapely.total_bounds(list(shapes.values()))
    middle = ((west + east) / 2, (south + north) / 2)
    next_east, _, _ = WGS_84_GEOD.fwd(*middle, 90, side_m)
    _, next_north, _ = WGS_84_GEOD.fwd(*middle, 0, side_m)
    cell_east = round(next_east - middle[0], DECIMALS)
    cell_north = round(next_north - middle[1], DECIMALS)
    rows = math.ceil((north - south) / cell_north)
    columns = math.ceil((east - west) / cell_east)
    northmost_first = rasterize(
        [(shape, code) for code, shape in shapes.items()],
        out_shape=(rows, columns),
        fill=outside,
        transform=Affine(cell_east, 0, west, 0, -cell_north, south + rows * cell_north),
        dtype=np.uint8,
    )
    lost = sorted(set(shapes) - set(np.unique(northmost_first)))
    if lost:
        faults = [f"zone {code} is too small for a cell of {side_m:.3g} m" for code in lost]
        message = listed("The grid of the task set", faults)
        raise OutputError(f"{message}\nWrite the zones as polygons instead.")
    return ZoneGrid(
        float(south), float(west), cell_north, cell_east, np.flipud(northmost_first).copy()
    )
