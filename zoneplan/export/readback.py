"""Every file of a plan read back by another reader, and compared with the plan zone by zone."""

import math
import re
import sqlite3
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from html import unescape
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from zoneplan.export import readers
from zoneplan.export.document import plan_document, read_document
from zoneplan.export.manifest import Options
from zoneplan.export.once import once
from zoneplan.export.table import Row, columns, rows, setting_rows
from zoneplan.export.taskset import DECIMALS as TASKSET_DECIMALS
from zoneplan.export.taskset import FARM, GROWER
from zoneplan.export.taskset_words import cell_m, command_n, designator, zone_designator
from zoneplan.export.zone_files import DECIMALS, GEOJSON_DECIMALS, cut_texts, provenance
from zoneplan.field.crs import WGS_84, WGS_84_GEOD, geodesic_area_ha, move, slack_m
from zoneplan.field.shapes import polygons_in
from zoneplan.plan.model import Plan
from zoneplan.units import M2_PER_HA

_HEADING = re.compile("<h1[^>]*>(.*?)</h1>", re.DOTALL)  # of a page
_ZONE = re.compile('data-zone="(\\d+)"')
PLACE_DEGREES = 1e-7  # about a centimetre: no file rounds more coarsely

Values = Mapping[Any, Any]


def unlike_rows(rows: Sequence[Values], wanted: Sequence[Values]) -> list[str]:
    """Tell how rows differ from those that should be there.

    Parameters
    ----------
    rows, wanted : sequence of mapping
        Values by column; the first that is wanted is the number of a zone.
    """
    number, *_ = wanted[0]
    zones = [values.get(number) for values in rows], [values[number] for values in wanted]
    if zones[0] != zones[1]:
        return [f"it has the zones {_listed(zones[0])}, not {_listed(zones[1])}"]
    missing = [name for name in wanted[0] if name not in rows[0]]
    strange = [name for name in rows[0] if name not in wanted[0]]
    return [
        *(f"it has no column {name}" for name in missing),
        *(f"it has a column {name}, which is not ours" for name in strange),
        *(
            f"zone {one[number]}: {name} is {one[name]!r}, not {value!r}"
            for one, other in zip(rows, wanted, strict=True)
            for name, value in other.items()
            if name not in missing and not alike(one[name], value)
        ),
    ]


def unlike_ground(shapes: Sequence[Any], plan: Plan, decimals: int) -> Iterator[str]:
    """Tell where shapes in WGS 84 degrees, with so many decimals, are not the zones' ground."""
    for setting, shape, place in zip(plan.settings, shapes, _places(plan), strict=True):
        zone = setting.zone
        area_ha = geodesic_area_ha(shape, WGS_84)
        slack_m2 = slack_m(decimals) * float(WGS_84_GEOD.geometry_length(shape))
        if not near(area_ha, zone.area_ha, slack_m2):
            yield f"zone {zone.id} encloses {area_ha:.6f} ha, not {zone.area_ha:.6f}"
        there = np.allclose(shape.bounds, place.bounds, rtol=0, atol=PLACE_DEGREES)
        if not (there or _off_m2(shape, place) <= slack_m2):
            yield f"zone {zone.id} does not lie where the plan has it"


@once
def _places(plan: Plan) -> list[BaseGeometry]:
    """Every zone in degrees."""
    return [move(setting.zone.shape, plan.field.crs, WGS_84) for setting in plan.settings]


def _off_m2(shape: BaseGeometry, place: BaseGeometry) -> float:
    """Ground of one that is not the other's: rounding takes a needle off, and no ground."""
    grounds = polygons_in(shapely.symmetric_difference(shape, place))
    return M2_PER_HA * sum(geodesic_area_ha(ground, WGS_84) for ground in grounds)


def near(found_ha: float, wanted_ha: float, slack_m2: float) -> bool:
    """Whether two areas are the same but for so many square metres."""
    return abs(found_ha - wanted_ha) * M2_PER_HA <= slack_m2


def alike(value: Any, wanted: Any) -> bool:
    """Whether a value came through: nothing and an empty text are the same.

    >>> alike("", None), alike(1, True), alike(644.0000000001, 644.0), alike("644", 644.0)
    (True, True, True, False)
    """
    if wanted is None or wanted == "":
        return value is None or value == ""
    if isinstance(wanted, float):
        numeric = isinstance(value, int | float)
        return numeric and math.isclose(value, wanted, rel_tol=1e-9, abs_tol=1e-9)
    return bool(value == wanted)


def _listed(numbers: Sequence[Any]) -> str:
    return ", ".join(map(str, numbers)) or "none"


TASKDATA = "TASKDATA/"  # the folder that a terminal looks for
HALF_DIAGONAL = 0.71  # of a cell: an outline may miss the cells along it by that much

Files = Mapping[str, bytes]
Look = Callable[[bytes, Plan, Options], Iterable[str]]


def differences(files: Files, plan: Plan, options: Options) -> list[str]:
    """Tell where a plan's files, given by their names, differ from it; empty if nowhere."""
    faults = []
    for name, content in files.items():
        look = _LOOKS.get(name) or _LOOKS.get(name[name.rfind(".") :])
        if look is not None:
            faults += [f"{name}: {fault}" for fault in _tried(look, content, plan, options)]
    tasks = {
        name.removeprefix(TASKDATA): content
        for name, content in files.items()
        if name.startswith(TASKDATA)
    }
    if tasks:
        faults += [f"{TASKDATA}: {fault}" for fault in _tried(_unlike_tasks, tasks, plan, options)]
    return faults


def restored_plan(files: Files) -> Plan:
    """Put the plan together again from plan.json and zones.geojson.

    Raises
    ------
    Exception
        Whatever a reader raises when one of them is missing or damaged.
    """
    from zoneplan.export.load_plan import restored

    document = read_document(files["plan.json"])
    zones = readers.read_geojson(files["zones.geojson"])
    return restored(document, {int(zone.values["id"]): zone.shape for zone in zones})


def _tried(look: Callable[..., Iterable[str]], *args: Any) -> list[str]:
    """Look at a file; that a reader gives up on it, for whatever reason, is what is found."""
    try:
        return list(look(*args))
    except Exception as error:
        return [f"it cannot be read: {first_line(error)}"]


def first_line(error: Exception) -> str:
    """Give the first line of what an error says, or else its name."""
    message = error.strerror if isinstance(error, OSError) else str(error)
    return (message or type(error).__name__).partition("\n")[0]


def _unlike_document(content: bytes, plan: Plan, _: Options) -> Iterator[str]:
    """Compare as a whole; where that differs, value by value, and the length of every list, as
    SQLite reads them.

    What has a name of its own and is not the plan's was put there by a newer zoneplan.
    """
    document = plan_document(plan)
    if read_document(content) == document:
        return
    with closing(sqlite3.connect(":memory:")) as database:
        leaves = database.execute(
            "SELECT fullkey, CASE type WHEN 'array' THEN json_array_length(value) ELSE atom END "
            "FROM json_tree(?) WHERE type != 'object'",
            (content.decode("utf-8"),),
        )
        values = {path.replace('"', ""): value for path, value in leaves}
    wanted: dict[str, Any] = {}
    _add_leaves(wanted, "$", document)
    yield from (f"it has no {path}" for path in wanted if path not in values)
    for path, value in wanted.items():
        if path in values and not alike(values[path], value):
            yield f"{path} is {values[path]!r}, not {value!r}"


def _add_leaves(leaves: dict[str, Any], path: str, value: Any) -> None:
    if isinstance(value, dict):
        for name, part in value.items():
            _add_leaves(leaves, f"{path}.{name}", part)
    elif isinstance(value, list):
        leaves[path] = len(value)
        for n, part in enumerate(value):
            _add_leaves(leaves, f"{path}[{n}]", part)
    else:
        leaves[path] = value


def _unlike_geojson(content: bytes, plan: Plan, options: Options) -> Iterator[str]:
    return _unlike_zones(
        readers.read_geojson(content), rows(plan, options.moistures), plan, GEOJSON_DECIMALS
    )


def _unlike_shapefile(content: bytes, plan: Plan, options: Options) -> Iterator[str]:
    short = {column.name: column.short for column in columns(options.moistures)}
    wanted = [
        {short[name]: value for name, value in cut_texts(values).items()}
        for values in rows(plan, options.moistures)
    ]
    return _unlike_zones(readers.read_shapefile(content), wanted, plan, DECIMALS)


def _unlike_geopackage(content: bytes, plan: Plan, options: Options) -> Iterator[str]:
    read = readers.read_geopackage(content)
    yield from _unlike_zones(read.zones, rows(plan, options.moistures), plan, DECIMALS)
    wanted = setting_rows(plan, options.moistures)
    yield from unlike_rows([setting.values for setting in read.settings], wanted)
    # an earlier version's file is as good
    entries = [entry for entry in read.provenance if entry[0] != "zoneplan"]
    if entries != [
        entry for entry in provenance(plan, options.moistures) if entry[0] != "zoneplan"
    ]:
        yield "its table provenance is not the plan's"


def _unlike_csv(content: bytes, plan: Plan, options: Options) -> list[str]:
    records = readers.read_csv(content, columns(options.moistures))
    return unlike_rows([record.values for record in records], rows(plan, options.moistures))


def _unlike_zones(
    records: list[readers.Record], wanted: Sequence[Row], plan: Plan, decimals: int
) -> Iterator[str]:
    yield from unlike_rows([record.values for record in records], wanted)
    if len(records) == len(wanted):
        yield from unlike_ground([record.shape for record in records], plan, decimals)


def _unlike_tasks(files: Files, plan: Plan, options: Options) -> Iterator[str]:
    read = readers.read_taskset(files)
    title = options.title
    for what, name, wanted in (
        ("grower", read.grower, title.grower or GROWER),
        ("farm", read.farm, title.farm or FARM),
    ):
        if name != designator(wanted):
            yield f"its {what} is {name!r}, not {wanted!r}"
    yield from unlike_task(read, plan, options)


def unlike_task(read: readers.TaskSet, plan: Plan, options: Options) -> Iterator[str]:
    """Tell where one task that was read differs from its plan."""
    value = options.taskset_value
    miss_m = slack_m(TASKSET_DECIMALS)
    if read.field_name != designator(plan.field.name):
        yield f"its field is {read.field_name!r}, not {plan.field.name!r}"
    if not near(read.field_ha, plan.field.area_ha, miss_m * plan.field.shape.length):
        yield f"its field has {read.field_ha:.6f} ha, not {plan.field.area_ha:.6f}"
    if options.taskset_grid:
        miss_m = HALF_DIAGONAL * cell_m(plan.machine)
    numbers = [setting.zone.id for setting in plan.settings]
    if sorted(read.zones) != [0, *numbers]:
        yield f"it has the zones {sorted(read.zones)}, not 0 and {numbers}"
        return
    for setting in plan.settings:
        zone, task = setting.zone, read.zones[setting.zone.id]
        command = command_n(setting, options.moisture, value)
        if task.command_n != command:
            yield f"zone {zone.id}: it commands {task.command_n} N, not {command}"
        named = zone_designator(setting, options.moisture, value)
        if task.designator != named:
            yield f"zone {zone.id} is named {task.designator!r}, not {named!r}"
        if not near(task.area_ha, zone.area_ha, miss_m * zone.shape.length):
            yield f"zone {zone.id} encloses {task.area_ha:.6f} ha, not {zone.area_ha:.6f}"


def _unlike_sheet(content: bytes, plan: Plan, _: Options) -> Iterator[str]:
    """See that a sheet opens, has pages and is for this field."""
    sheet = readers.read_sheet(content)
    if not sheet.pages:
        yield "it has no pages"
    shown = _seen(sheet.title.rpartition(": ")[0])
    name = unicodedata.normalize("NFC", _seen(plan.field.name))
    # a sheet has "?" for what its fonts cannot draw
    letters = [letter for letter in name if letter in shown]
    if [letter for letter in shown if letter != "?"] != [
        letter for letter in letters if letter != "?"
    ]:
        yield f"its title is {sheet.title!r}, so it is not for {name}"


def _seen(name: str) -> str:
    """A name without the letters that nobody sees, which no sheet and no page has."""
    letters = (letter for letter in name if letter.isprintable() or letter.isspace())
    return " ".join("".join(letters).split())


def _unlike_page(content: bytes, plan: Plan, _: Options) -> Iterator[str]:
    """See that the page is for this field and tells of every zone."""
    page = content.decode("utf-8")
    heading = _HEADING.search(page)
    shown = " ".join(unescape(heading[1]).split()) if heading else ""
    if shown != _seen(plan.field.name):
        yield f"its heading is {shown!r}, not {plan.field.name}"
    zones, wanted = {*_ZONE.findall(page)}, {str(setting.zone.id) for setting in plan.settings}
    if zones != wanted:
        yield f"it tells of zones {sorted(zones)}, not {sorted(wanted)}"


# What looks at a file, by its name or its ending.
_LOOKS: dict[str, Look] = {
    "plan.json": _unlike_document,
    "zones.geojson": _unlike_geojson,
    "zones.zip": _unlike_shapefile,
    "zones.gpkg": _unlike_geopackage,
    "zones.csv": _unlike_csv,
    ".pdf": _unlike_sheet,
    ".html": _unlike_page,
}
