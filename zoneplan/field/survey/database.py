"""Read a soil survey out of one database: a GeoPackage, or a file geodatabase.

A state's has half a million polygons. Of these only the ones about the field are read, and
of its tables only the columns and rows that they lead to.
"""

from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

import geopandas as gpd
import pandas as pd

from zoneplan.errors import LayerError, listed
from zoneplan.field.apart import apart
from zoneplan.field.crs import Box, box_in, known_crs
from zoneplan.field.files import frame_of
from zoneplan.field.opening import layer_info, layers_of, read_vectors
from zoneplan.field.pick import written
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
_MOST_ASKED = 5_000  # keys in one question


def is_database(path: Path) -> bool:
    """Whether a file or folder is a database, by its name."""
    return path.suffix.lower() in (".gpkg", ".gdb")


def layers_in(path: Path, *, with_shapes: bool) -> dict[str, str]:
    """Name the map layers of a database, or its plain tables, by their names in lower case.

    There are none where the path is no database, or one that cannot be opened.
    """
    if not is_database(path):
        return {}
    layers = _layers_of(path, _stamp(path))
    return {name.lower(): name for name, has_shapes in layers if has_shapes == with_shapes}


@lru_cache(maxsize=64)
def _layers_of(path: Path, _stamp: object) -> Sequence[tuple[str, bool]]:
    """The layers of a database, listed once as long as nobody writes to it."""
    try:
        return apart(_DATABASE, _AGAIN, layers_of, path)
    except LayerError:
        return ()


def _stamp(path: Path) -> object:
    """What changes with a file, or with any in a folder."""
    try:
        files = [path, *sorted(path.iterdir())] if path.is_dir() else [path]
        return tuple((file.name, (at := file.stat()).st_mtime_ns, at.st_size) for file in files)
    except OSError:
        return None


def read_database_map(
    path: Path, layer: str, crs: str | None, bbox: Box | None
) -> gpd.GeoDataFrame:
    """Read the polygons of a layer, or those of them that reach into a box.

    Raises
    ------
    LayerError
        When the layer is damaged or holds other than polygons, or when it states no
        coordinate system and none is given.
    """
    stated = apart(_DATABASE, _AGAIN, layer_info, path, layer).crs or crs
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
    frame = frame_of(read, path.name)
    frame = frame[~(frame.geometry.isna() | frame.geometry.is_empty)]
    kinds = set(frame.geom_type) - {"Polygon", "MultiPolygon"}
    if kinds:
        raise LayerError(
            f"{path.name} holds {' and '.join(sorted(kinds))} in its layer {layer}.\n"
            "Only polygons say which ground is meant.\n"
            "Download the survey again, and keep its layers as they come."
        )
    return frame.set_crs(system, allow_override=True)


def read_database_tables(path: Path, mukeys: Collection[str]) -> Tables:
    """Read what the tables say of some map units.

    Raises
    ------
    LayerError
        With every table and column that is missing, or every cell that should be a number.
    """
    layers = layers_in(path, with_shapes=False)
    columns = _columns(path, layers)

    def rows(table: str, key: str, keys: Collection[str]) -> list[Row]:
        return _rows(path, layers[table], columns[table], key, keys)

    tables = {
        "mapunit": rows("mapunit", "mukey", mukeys),
        "component": rows("component", "mukey", mukeys),
    }
    tables["chorizon"] = rows("chorizon", "cokey", {row["cokey"] for row in tables["component"]})
    if "chfrags" in columns:
        tables["chfrags"] = rows("chfrags", "chkey", {row["chkey"] for row in tables["chorizon"]})
    faults = [
        fault
        for table, key in (("component", "cokey"), ("chorizon", "chkey"), ("chfrags", "chkey"))
        for row in tables.get(table, [])
        for fault in number_faults(row, f"{table}, {key} {row[key]}")
    ]
    if faults:
        raise _holes(path, faults)
    return tables


def _columns(path: Path, layers: Mapping[str, str]) -> dict[str, dict[str, str]]:
    """Find the columns that we take of each table by their names in lower case."""
    faults = [f"The table {table} is missing." for table in NEEDED if table not in layers]
    columns: dict[str, dict[str, str]] = {}
    for table, needed in (NEEDED | FRAGMENTS).items():
        if table in layers:
            info = apart(_DATABASE, _AGAIN, layer_info, path, layers[table], count=True)
            names = {name.lower(): name for name in info.columns}
            columns[table] = {name: names[name] for name in columns_of(table) if name in names}
            lacking = [name for name in needed if name not in names]
            if lacking:
                faults.append(f"The table {table} has no column {', '.join(lacking)}.")
            elif not info.count and table in NEEDED:
                faults.append(f"The table {table} is empty.")
    if faults:
        raise _holes(path, faults)
    return columns


def _rows(
    path: Path, layer: str, columns: Mapping[str, str], key: str, keys: Collection[str]
) -> list[Row]:
    """Read the rows of a table that have one of some keys.

    A GeoPackage looks them up; a geodatabase would go through all of them for each row. Its
    numbers are often of single precision: 20.3 is then written as that, not as 20.2999992.
    """
    where = None
    if path.suffix.lower() == ".gpkg" and len(keys) <= _MOST_ASKED:
        quoted = ", ".join("'" + value.replace("'", "''") + "'" for value in sorted(keys))
        where = f'"{columns[key]}" IN ({quoted})'
    wanted = list(columns.values())
    read = apart(_DATABASE, _AGAIN, read_vectors, path, layer, columns=wanted, where=where)
    frame = pd.DataFrame(read.columns)
    frame = frame[frame[columns[key]].map(written).isin(keys)]
    cells = [map(written, frame[name].to_numpy()) for name in columns.values()]
    return [dict(zip(columns, row, strict=True)) for row in zip(*cells, strict=True)]


def _holes(path: Path, faults: list[str]) -> LayerError:
    return LayerError(
        listed(f"The soil survey {path.name}", faults)
        + "\nA survey with holes would put wrong soils into zones."
        + "\nDownload it again, and keep its tables as they come."
    )
