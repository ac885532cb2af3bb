"""Read a soil survey out of one database: a GeoPackage, or a file geodatabase.

A state's has half a million polygons. Of these only the ones about the field are read, and
of its tables only the columns and rows that they lead to.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from zoneplan.errors import LayerError, listed
from zoneplan.field.child import apart
from zoneplan.field.columns import written
from zoneplan.field.crs import Box, box_in, known_crs
from zoneplan.field.file_type import stamp
from zoneplan.field.files import shapes_of
from zoneplan.field.opening import Link, layer_info, layers_of, read_linked, read_vectors
from zoneplan.field.survey.columns import (
    FRAGMENTS,
    NEEDED,
    Row,
    Tables,
    columns_of,
    number_faults,
)

_DATABASE = "a database"
_AGAIN = "Download it again."
# Tables with the key of their rows, and where else than with the map unit it stands.
_LED_BY: dict[str, tuple[str, tuple[str, str] | None]] = {
    "mapunit": ("mukey", None),
    "component": ("mukey", None),
    "chorizon": ("cokey", ("component", "cokey")),
    "chfrags": ("chkey", ("chorizon", "chkey")),
}


def is_database(path: Path) -> bool:
    """Whether a file or folder is a database, by its name."""
    return path.suffix.lower() in (".gpkg", ".gdb")


def layers_in(path: Path, *, with_shapes: bool) -> dict[str, str]:
    """Name the map layers of a database, or its plain tables, by their names in lower case.

    There are none where the path is no database, or one that cannot be opened.
    """
    if not is_database(path):
        return {}
    layers = _layers_of(path, stamp(path))
    return {name.lower(): name for name, has_shapes in layers if has_shapes == with_shapes}


@lru_cache(maxsize=64)
def _layers_of(path: Path, _stamp: object) -> Sequence[tuple[str, bool]]:
    """The layers of a database, listed once as long as nobody writes to it."""
    try:
        return apart(_DATABASE, _AGAIN, layers_of, path)
    except LayerError:
        return ()


@lru_cache(maxsize=64)
def _stated(path: Path, layer: str, _stamp: object) -> str | None:
    """The coordinate system of a layer, asked once as long as nobody writes to it."""
    return apart(_DATABASE, _AGAIN, layer_info, path, layer).crs


def read_database_map(
    path: Path, layer: str, crs: str | None, bbox: Box | None
) -> tuple[Mapping[str, NDArray[Any]], NDArray[np.object_], CRS]:
    """Read the polygons of a layer, or those in reach of a box: columns, shapes and their system.

    Raises
    ------
    LayerError
        When the layer is damaged or holds other than polygons, or when it states no
        coordinate system and none is given.
    """
    stated = _stated(path, layer, stamp(path)) or crs
    system = known_crs(stated) if stated else None
    if system is None or not (system.is_geographic or system.is_projected):
        raise LayerError(
            f"{path.name} has no coordinate system on the earth for its layer {layer}.\n"
            "We won't guess one, because a wrong guess can put the zones in another field.\n"
            "Download the survey again, or say what it is.",
            code="crs-missing",
            parameter="crs",
            example="EPSG:4326",
        )
    window = None if bbox is None else box_in(system, bbox)
    read = apart(_DATABASE, _AGAIN, read_vectors, path, layer, bbox=window)
    shapes = shapes_of(read, path.name)
    there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    kinds = {shape.geom_type for shape in shapes[there]} - {"Polygon", "MultiPolygon"}
    if kinds:
        raise LayerError(
            f"{path.name} holds {' and '.join(sorted(kinds))} in its layer {layer}.\n"
            "Only polygons say which ground is meant.\n"
            "Download the survey again, and keep its layers as they come."
        )
    return {name: cells[there] for name, cells in read.columns.items()}, shapes[there], system


def read_database_tables(path: Path, mukeys: Collection[str]) -> Tables:
    """Read what the tables say of some map units.

    Raises
    ------
    LayerError
        With every table and column that is missing, or every cell that should be a number.
    """
    layers = layers_in(path, with_shapes=False)
    faults = [f"The table {table} is missing." for table in NEEDED if table not in layers]
    look_up = _looked_up if path.suffix.lower() == ".gpkg" else _gone_through
    parts = look_up(path, layers, mukeys)
    for table, part in parts.items():
        lacking = [name for name in (NEEDED | FRAGMENTS)[table] if name not in part.columns]
        if lacking:
            faults.append(f"The table {table} has no column {', '.join(lacking)}.")
        elif part.empty and table in NEEDED:
            faults.append(f"The table {table} is empty.")
    if faults:
        raise _holes(path, faults)
    faults = [
        fault
        for table, part in parts.items()
        for fault in number_faults(part.rows, partial(_lies, table))
    ]
    if faults:
        raise _holes(path, faults)
    return {table: part.rows for table, part in parts.items()}


def _lies(table: str, row: Row) -> str:
    key = {"mapunit": "mukey", "component": "cokey"}.get(table, "chkey")
    return f"{table}, {key} {row[key]}"


class _Part(NamedTuple):
    """What there is of a table."""

    columns: Collection[str]  # those that we take, as far as it has them
    empty: bool  # all of it is
    rows: list[Row]  # those with the keys


def _looked_up(path: Path, layers: Mapping[str, str], mukeys: Collection[str]) -> dict[str, _Part]:
    """Ask a GeoPackage for the rows that the keys lead to, of all tables at once."""
    links = [link for link in _links(layers) if not link.by or link.by[0] in layers]
    theirs = [
        replace(link, table=layers[link.table], by=link.by and (layers[link.by[0]], link.by[1]))
        for link in links
    ]
    read = apart(_DATABASE, _AGAIN, read_linked, path, theirs, set(mukeys))
    text_of = lru_cache(maxsize=None)(written)  # most cells are as others are
    parts: dict[str, _Part] = {}
    for link, linked in zip(links, read, strict=True):
        columns, keys = linked.columns, _keys(link, parts, mukeys)
        rows: Iterator[Row] = (
            dict(zip(columns, map(text_of, row), strict=True)) for row in linked.rows
        )
        mine = [row for row in rows if row[link.key] in keys]
        parts[link.table] = _Part(columns, linked.empty, mine)
    return parts


def _gone_through(
    path: Path, layers: Mapping[str, str], mukeys: Collection[str]
) -> dict[str, _Part]:
    """Read tables of a geodatabase: to look up rows it would go through all of them for each.

    Its numbers are often of single precision: 20.3 is then written as that, not as 20.2999992.
    """
    parts: dict[str, _Part] = {}
    for link in _links(layers):
        layer = layers[link.table]
        info = apart(_DATABASE, _AGAIN, layer_info, path, layer, count=True)
        names = {name.lower(): name for name in info.columns}
        columns = {name: names[name] for name in link.columns if name in names}
        rows: list[Row] = []
        if keys := _keys(link, parts, mukeys) if link.key in columns else ():
            wanted = list(columns.values())
            read = apart(_DATABASE, _AGAIN, read_vectors, path, layer, columns=wanted).columns
            mine = np.fromiter(
                (written(key) in keys for key in read[columns[link.key]]), dtype=bool
            )
            cells = [map(written, read[name][mine]) for name in wanted]
            rows = [dict(zip(columns, row, strict=True)) for row in zip(*cells, strict=True)]
        parts[link.table] = _Part(tuple(columns), not info.count, rows)
    return parts


def _links(layers: Mapping[str, str]) -> list[Link]:
    return [
        Link(table, columns_of(table), key, by)
        for table, (key, by) in _LED_BY.items()
        if table in layers
    ]


def _keys(link: Link, parts: Mapping[str, _Part], mukeys: Collection[str]) -> set[str]:
    """The keys of the rows that are wanted of a table."""
    if link.by is None:
        return set(mukeys)
    before, name = link.by
    return {row.get(name, "") for row in parts[before].rows} if before in parts else set()


def _holes(path: Path, faults: list[str]) -> LayerError:
    return LayerError(
        listed(f"The soil survey {path.name}", faults)
        + "\nA survey with holes would put wrong soils into zones."
        + "\nDownload it again, and keep its tables as they come."
    )
