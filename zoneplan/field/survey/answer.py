"""Read the JSON answer of the public soil data-access service: one flat join of the tables.

The join repeats a component for each of its horizons, and a horizon for each kind of its
rock fragments. Their keys tell how many there are, so an answer without keys is refused.
"""

import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import shapely
from shapely.geometry import MultiPolygon

from zoneplan.errors import LayerError, listed, named, quoted
from zoneplan.field.columns import written
from zoneplan.field.crs import WGS_84
from zoneplan.field.shapes import polygons_in
from zoneplan.field.survey.columns import (
    ASKED_COLUMNS,
    FRAGMENTS,
    NEEDED,
    VINTAGE_COLUMNS,
    Row,
    Tables,
    Vintage,
    columns_of,
    number_faults,
)
from zoneplan.plain_file import head_of, is_file, read_plain

SHAPES = ("mupolygongeo", "geom", "wkt")  # columns that hold a polygon, as text, in degrees
Columns = Mapping[str, Sequence[str]]

_START = re.compile(r'\s*\{\s*(\}\s*$|"Table"\s*:)')
_HEADINGS = re.compile(r'\s*\{\s*"Table"\s*:\s*\[\s*(\[[^\[\]]*\])')
_MOST_HEAD = 65_536  # bytes; the names of all columns of all tables are fewer
_TELL_SOIL = ("cokey", "compname", "comppct_r", "chkey", "claytotal_r")
_KEYS = {"mapunit": "mukey", "component": "cokey", "chorizon": "chkey", "chfrags": "chfragskey"}


def is_answer(path: Path) -> bool:
    """Whether a file is an answer of the service, be it an empty one."""
    return path.suffix.lower() == ".json" and is_file(path) and bool(_START.match(_head(path)))


def has_shapes(path: Path) -> bool:
    """Whether a file is an answer with a column of polygons."""
    return not _columns_named(path).isdisjoint(SHAPES)


def has_tables(path: Path) -> bool:
    """Whether a file is an answer that should say what a soil is.

    One that only maps, or only tells which edition a survey is, need not.
    """
    names = _columns_named(path)
    says_soil = not names.isdisjoint(_TELL_SOIL)
    return is_answer(path) and (says_soil or not (has_shapes(path) or has_vintage(path)))


def has_vintage(path: Path) -> bool:
    """Whether a file is an answer that tells which edition a survey is."""
    return "saverest" in _columns_named(path)


def read_answer(path: Path) -> Columns:
    """Read an answer, column by column; "" where it says nothing.

    Raises
    ------
    LayerError
        When it is damaged, empty, of several results, or without the names of its columns.
    """
    try:
        results = json.loads(read_plain(path).decode("utf-8-sig"))
    except (ValueError, RecursionError) as fault:
        raise LayerError(
            f"{path.name} is cut off or damaged: {quoted(fault)}.\n"
            "Ask the service again, and keep its answer as it comes."
        ) from fault
    rows = results.get("Table", []) if isinstance(results, dict) else None
    if not isinstance(rows, list) or not all(isinstance(row, list) for row in rows[:1]):
        raise LayerError(
            f"{path.name} is no answer of the service: it has no Table of rows.\n"
            "Ask the service again, and keep its answer as it comes."
        )
    if len(results) > 1:
        raise LayerError(
            f"{path.name} holds {len(results)} results: {named(results)}.\n"
            "We read one, of map units joined with their components and horizons.\n"
            "Ask again with a single SELECT that joins mapunit, component and chorizon."
        )
    names = [written(name).lower() for name in rows[0]] if rows else []
    known = {*VINTAGE_COLUMNS, *(name for table in NEEDED for name in columns_of(table))}
    if rows and known.isdisjoint(names):
        raise LayerError(
            f"{path.name} does not say which column is which: its first row starts with "
            f'"{written(next(iter(rows[0]), None))[:40]}".\n'
            "We won't guess it.\n"
            "Ask again for the format JSON+COLUMNNAME, whose first row has the names."
        )
    second = rows[1] if len(rows) > 1 and isinstance(rows[1], list) else []
    first = 2 if second and all("ColumnOrdinal=" in str(cell) for cell in second) else 1
    if not rows[first:]:
        raise LayerError(
            f"{path.name} is an empty answer: the query found nothing.\n"
            "Check the area it asks for, and ask again."
        )
    return _columns(names, rows[first:], path.name)


def answer_tables(columns: Columns, source: str) -> Tables:
    """Take the join apart: each map unit, component, horizon and kind of fragments once.

    Raises
    ------
    LayerError
        With every column that is missing, every key that comes with two different values
        and every cell that should be a number and is none.
    """
    needed = dict(NEEDED)
    if "fragvol_r" in columns:
        needed["chfrags"] = (*FRAGMENTS["chfrags"], "chfragskey")
    faults = [
        f"There is no column {name}{_use(name)}."
        for name in dict.fromkeys(name for names in needed.values() for name in names)
        if name not in columns
    ]
    tables = {} if faults else {table: _distinct(columns, table, faults) for table in needed}
    if faults:
        raise LayerError(
            listed(f"The answer {source}", faults)
            + "\nA survey with holes would put wrong soils into zones."
            + "\nAdd what is missing to the SELECT of the query, and ask again."
        )
    symbols = dict.fromkeys(columns.get("areasymbol", ()))
    return {**tables, "legend": [{"areasymbol": symbol} for symbol in symbols if symbol]}


def answer_map(columns: Columns, source: str) -> gpd.GeoDataFrame:
    """Take the polygons out of the join, each once.

    Raises
    ------
    LayerError
        When a polygon cannot be read, or does not lie in degrees.
    """
    texts = columns[next(name for name in SHAPES if name in columns)]
    keys = columns.get("mukey", [""] * len(texts))
    symbols = columns.get("areasymbol", [""] * len(texts))
    rows = dict.fromkeys(row for row in zip(texts, keys, symbols, strict=True) if row[0])
    frame = gpd.GeoDataFrame(
        {"mukey": [key for _, key, _ in rows], "areasymbol": [symbol for *_, symbol in rows]},
        geometry=[_areas(text, key, source) for text, key, _ in rows],
        crs=WGS_84,
    )
    return frame[~frame.geometry.is_empty]


def vintages(columns: Columns) -> list[Vintage]:
    """Take the editions out of an answer that tells them, each area once."""
    if "areasymbol" not in columns or "saverest" not in columns:
        return []
    blank = [""] * len(columns["areasymbol"])
    names = (*VINTAGE_COLUMNS, *ASKED_COLUMNS)
    rows = dict.fromkeys(zip(*(columns.get(name, blank) for name in names), strict=True))
    return [
        Vintage(quoted(area), *(quoted(cell) or None for cell in rest))
        for area, *rest in rows
        if area
    ]


def _columns_named(path: Path) -> set[str]:
    """The names in the first row of an answer, in lower case."""
    headings = _HEADINGS.match(_head(path)) if is_answer(path) else None
    return {name.lower() for name in re.findall(r'"([^"]*)"', headings[1])} if headings else set()


def _head(path: Path) -> str:
    return head_of(path, _MOST_HEAD).decode("utf-8-sig", errors="replace")


def _columns(names: Sequence[str], rows: Sequence[Any], source: str) -> Columns:
    """Turn rows into columns. One that is selected twice must say the same both times."""
    short = [
        number
        for number, row in enumerate(rows, start=1)
        if not isinstance(row, list) or len(row) != len(names)
    ]
    faults = [f"Row {number} is no list of {len(names)} values." for number in short]
    columns: dict[str, list[str]] = {}
    for place, name in enumerate(names if not short else []):
        cells = [written(row[place]) for row in rows]
        if columns.setdefault(name, cells) != cells:
            faults.append(f"There are two columns {name}, and they differ.")
    if faults:
        raise LayerError(
            listed(f"The answer {source}", faults)
            + "\nWe won't guess what is meant."
            + "\nName each column once in the SELECT of the query, and ask again."
        )
    return columns


def _use(name: str) -> str:
    table = next((table for table, key in _KEYS.items() if key == name), None)
    return f", which tells one row of {table} from the same row repeated" if table else ""


def _distinct(columns: Columns, table: str, faults: list[str]) -> list[Row]:
    """Give one row for each key, and add to the faults those that contradict each other."""
    key = _KEYS[table]
    names = [name for name in (*columns_of(table), key) if name in columns]
    every = [
        dict(zip(names, cells, strict=True))
        for cells in dict.fromkeys(zip(*(columns[name] for name in names), strict=True))
    ]
    every = [row for row in every if row[key]]
    faults += number_faults(every, lambda row: f"{key} {row[key]}")
    rows: dict[str, Row] = {}
    for row in every:
        known = rows.setdefault(row[key], row)
        faults += [
            f"{key} {row[key]} comes with {name} {known[name] or 'empty'} and {cell or 'empty'}."
            for name, cell in row.items()
            if known[name] != cell
        ]
    return list(rows.values())


def _areas(text: str, key: str, source: str) -> MultiPolygon:
    """Read a polygon. What has no area, left over where a map was cut, is no ground."""
    try:
        shape = shapely.from_wkt(text)
    except shapely.GEOSException as fault:
        raise LayerError(
            f"{source}, map unit {key}: its polygon cannot be read: {text[:40]}...\n"
            "Ask again, and keep the answer as it comes."
        ) from fault
    west, south, east, north = shape.bounds if not shape.is_empty else (0, 0, 0, 0)
    if not (-180 <= west <= east <= 180 and -90 <= south <= north <= 90):
        raise LayerError(
            f"{source}, map unit {key}: its polygon does not lie in degrees, longitude first.\n"
            "A wrong guess at its coordinate system can put the zones in another field.\n"
            "Ask again for the column mupolygongeo, which is in WGS 84."
        )
    return MultiPolygon(polygons_in(shape))
