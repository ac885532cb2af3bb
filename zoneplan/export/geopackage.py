"""Zones, settings and provenance as one GeoPackage: three tables that any SQLite can open.

No clock is read: the same plan gives the same bytes.

Source
------
OGC GeoPackage Encoding Standard 1.4, as GDAL writes it.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock

import pyogrio

from zoneplan.export.document import SCHEMA
from zoneplan.export.table import (
    SETTING_COLUMNS,
    TEXT,
    USUAL,
    Column,
    columns,
    rows,
    setting_rows,
    tidy,
    told_in_file,
)
from zoneplan.export.vector import DECIMALS, write_layer
from zoneplan.export.wgs84 import zone_shapes
from zoneplan.plan.model import Plan
from zoneplan.say.planter import stamp
from zoneplan.terms import Moisture

_OPTIONS = {  # of GDAL, while it writes
    "OGR_CURRENT_DATE": "1980-01-01T00:00:00.000Z",  # taken for the present
    "OGR_SQLITE_SYNCHRONOUS": "OFF",  # nobody keeps the file: its bytes are written as all are
}
_PROVENANCE = (Column("name", "NAME", "", "", TEXT), Column("value", "VALUE", "", "", TEXT))
_ONE_AT_A_TIME = Lock()  # GDAL's options are the whole process's


def geopackage_bytes(plan: Plan, moistures: Sequence[Moisture] = USUAL) -> bytes:
    """Write a GeoPackage.

    `zones` has each zone's shape and the columns of `table`, `settings` a row for each zone
    at each moisture, and `provenance` what the plan was made from, name by name.
    """
    asked = tuple(moistures)
    made_from = [{"name": name, "value": value} for name, value in provenance(plan, moistures)]
    shapes = zone_shapes(plan, DECIMALS)
    with TemporaryDirectory() as scratch, _with_options():
        path = Path(scratch) / "zones.gpkg"
        write_layer(path, _named(columns(asked)), rows(plan, asked), shapes, layer="zones")
        settings = setting_rows(plan, asked)
        write_layer(path, _named(SETTING_COLUMNS), settings, layer="settings")
        write_layer(path, _named(_PROVENANCE), made_from, layer="provenance")
        return path.read_bytes()


def _named(columns: Sequence[Column]) -> dict[str, Column]:
    return {column.name: column for column in columns}


def provenance(plan: Plan, moistures: Sequence[Moisture]) -> list[tuple[str, str]]:
    """Tell what a plan was made from and with, each by its name; a note has the name "note"."""
    entries = [
        ("zoneplan", version("zoneplan")),
        ("schema", SCHEMA),
        ("field", plan.field.name),
        ("field_area_ha", plan.field.area_ha),
        ("uncovered_ha", plan.uncovered_ha),
        ("drawn_in", plan.field.crs),
        ("moistures", ", ".join(moistures)),
        ("machine", plan.machine.name),
        ("planter", stamp(plan)),
        ("downforce_system", plan.machine.system.kind),
        *vars(plan.conditions).items(),
        ("rules_revised", plan.rules.revised),
        ("rules_sha256", plan.rules.sha256),
        *(("note", told_in_file(notice)) for notice in plan.notices),
    ]
    return [(name, str(tidy(value))) for name, value in entries]


@contextmanager
def _with_options() -> Iterator[None]:
    """Let GDAL take one fixed time for the present, and leave its options as they were."""
    with _ONE_AT_A_TIME:
        before = {name: pyogrio.get_gdal_config_option(name) for name in _OPTIONS}
        pyogrio.set_gdal_config_options(_OPTIONS)
        try:
            yield
        finally:
            pyogrio.set_gdal_config_options(before)
