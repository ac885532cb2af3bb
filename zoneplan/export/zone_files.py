"""Zones as GeoJSON, zipped shapefile, GeoPackage and plain table, by the columns of `table`.

GeoJSON is ours to write: its rules are few, and a feature a line reads well in a diff. Shapes are
in WGS 84 degrees. No clock is read by any, so the same plan gives the same bytes. In the plain
table a text that a spreadsheet would work out, as it does "=1+1", gets an apostrophe in front.

Source
------
GeoJSON: RFC 7946. Shapefile: Esri, Shapefile Technical Description (July 1998). OGC GeoPackage
Encoding Standard 1.4, as GDAL writes it. Table: RFC 4180, with commas, lines that end in CR LF,
quotes doubled inside quotes; here in UTF-8.
"""

import csv
import io
import json
import math
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile
from threading import Lock
from typing import Any

import numpy as np
import pyogrio
import shapely
from numpy.typing import NDArray
from pyogrio.errors import DataLayerError, DataSourceError
from pyogrio.raw import write
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from zoneplan import release
from zoneplan.export.document import SCHEMA
from zoneplan.export.table import (
    COUNT,
    NUMBER,
    SETTING_COLUMNS,
    TEXT,
    USUAL,
    YES,
    Column,
    Row,
    Value,
    columns,
    file_words,
    rows,
    setting_rows,
    tidy,
    zone_shapes,
)
from zoneplan.field.crs import WGS_84
from zoneplan.plan.model import Plan
from zoneplan.say.summary import stamp
from zoneplan.terms import Moisture

# A centimetre, in a file of text where every decimal costs a byte: RFC 7946, section 11.2, thinks
# six enough. Areas worked out from it differ by what the rounding allows (`slack_m`); the
# column area_ha and plan.json have them as they were before.
GEOJSON_DECIMALS = 7
DECIMALS = 9  # in a file of binary numbers, where they cost nothing

# What a column is kept as on its way to GDAL, and what stands where it is masked.
_KEPT_AS: Mapping[str, tuple[Any, Value]] = {
    COUNT: (np.int64, 0),
    NUMBER: (np.float64, math.nan),
    YES: (np.bool_, False),
    TEXT: (object, None),
}
_MOST_TEXT_BYTES = 254  # in a dBASE table
_NO_DATE = (1980, 1, 1)  # the first day that a zip knows: no clock is read, so bytes repeat


def geojson_bytes(plan: Plan, moistures: Sequence[Moisture] = USUAL) -> bytes:
    """Write the zones as RFC 7946 GeoJSON, a feature a line, properties as in `table`."""
    features = [
        json.dumps(
            {
                "type": "Feature",
                "id": values["id"],
                "properties": values,
                "geometry": mapping(shape),
            },
            ensure_ascii=False,
            allow_nan=False,
        )
        for values, shape in zip(
            rows(plan, tuple(moistures)), zone_shapes(plan, GEOJSON_DECIMALS), strict=True
        )
    ]
    head = '{"type": "FeatureCollection", "features": [\n'
    return (head + ",\n".join(features) + "\n]}\n").encode("utf-8")


def shapefile_zip_bytes(plan: Plan, moistures: Sequence[Moisture] = USUAL) -> bytes:
    """Write the zones as a flat zip of zones.shp, .shx, .dbf, .prj and .cpg.

    Columns have the short names of `table`. Numbers that are unknown are nulls; texts are
    empty, and cut at a word where dBASE holds no more.
    """
    layout = columns(moistures)
    cut = [cut_texts(values) for values in rows(plan, tuple(moistures))]
    with TemporaryDirectory() as scratch:
        write_layer(
            Path(scratch) / "zones.shp",
            {column.short: column for column in layout},
            cut,
            zone_shapes(plan, DECIMALS),
            driver="ESRI Shapefile",
            DBF_DATE_LAST_UPDATE="-".join(f"{part:02d}" for part in _NO_DATE),
        )
        return zipped({path.name: path.read_bytes() for path in sorted(Path(scratch).iterdir())})


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Put files into one zip; the same files give the same bytes."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(name, (*_NO_DATE, 0, 0, 0))
            entry.create_system = 3  # Unix, wherever it is made
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def write_layer(
    path: Path,
    columns: Mapping[str, Column],
    rows: Sequence[Mapping[str, Value]],
    shapes: Sequence[BaseGeometry] | None = None,
    **how: Any,
) -> None:
    """Write rows as a layer of a file, by GDAL, whatever of them is unknown.

    Parameters
    ----------
    path : Path
        Where; a layer of another name is put beside those that are in the file already.
    columns : mapping of str to Column
        What each column is called there.
    rows : sequence of Row
        Their values, by the columns' own names.
    shapes : sequence of geometry, optional
        In WGS 84 degrees; a table has none.
    how : Any
        What else GDAL is told, such as `driver` and `layer`.
    """
    kinds = [column.dtype for column in columns.values()]
    values = [[row[column.name] for row in rows] for column in columns.values()]
    if shapes is not None:
        how |= {"crs": WGS_84, "geometry_type": "MultiPolygon", "promote_to_multi": True}
    with full_disk_told(path.parent):
        write(
            path,
            None if shapes is None else shapely.to_wkb(shapes),
            [_column_values(line, kind) for line, kind in zip(values, kinds, strict=True)],
            [*columns],
            field_mask=[np.array([value is None for value in line]) for line in values],
            encoding="utf-8",
            **how,
        )


@contextmanager
def full_disk_told(folder: Path) -> Iterator[None]:
    """Let GDAL's writing into a folder fail as Python's does where the disk takes no more.

    GDAL has nothing but words for it. So the folder is asked.

    Raises
    ------
    OSError
        With the number that the system has for it.
    """
    try:
        yield
    except (DataSourceError, DataLayerError):
        with TemporaryFile(dir=folder) as trial:
            trial.write(bytes(_TRIAL_BYTES))
        raise


_TRIAL_BYTES = 2**20


def _column_values(values: Sequence[Value], kind: str) -> NDArray[Any]:
    kept_as, blank = _KEPT_AS[kind]
    return np.array([blank if value is None else value for value in values], kept_as)


def cut_texts(values: Row) -> Row:
    """Cut a row's texts to what dBASE holds."""
    return {
        name: cut(value, _MOST_TEXT_BYTES) if isinstance(value, str) else value
        for name, value in values.items()
    }


def cut(text: str, most_bytes: int) -> str:
    """Shorten a text to so many bytes of UTF-8, at a word, never through a character.

    >>> cut("press lightly when wet", 16)
    'press lightly...'
    """
    whole = text.encode("utf-8")
    if len(whole) <= most_bytes:
        return text
    room = most_bytes - len("...")
    words, _, _ = whole[: room + 1].rpartition(b" ")
    return (words or whole[:room]).decode("utf-8", "ignore") + "..."


_FORMULAS = ("=", "+", "-", "@", "'")  # what begins a formula, or is not shown


def csv_bytes(plan: Plan, moistures: Sequence[Moisture] = USUAL) -> bytes:
    """Write a zone a line, under the long names of `table`; what is unknown is empty."""
    written = io.StringIO(newline="")
    lines = csv.writer(written)  # as the source has it
    lines.writerow(column.name for column in columns(moistures))
    for values in rows(plan, tuple(moistures)):
        lines.writerow(cell(value) for value in values.values())
    return written.getvalue().encode("utf-8")


def cell(value: Value) -> Value:
    """A value as a spreadsheet is to show it: as text, whatever it begins with."""
    if isinstance(value, str) and value.startswith(_FORMULAS):
        return f"'{value}"
    return str(value).lower() if isinstance(value, bool) else value


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
        ("zoneplan", release()),
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
        *(("note", file_words(notice)) for notice in plan.notices),
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
