"""A table of points: its rows, where they lie, and what they say of the soil."""

import csv
import io
import re
from collections import Counter
from collections.abc import Mapping, Set
from pathlib import Path

import numpy as np
import pandas as pd
from pyproj import CRS

from zoneplan.errors import LayerError, named
from zoneplan.field.columns import (
    KNOWN,
    PARTS,
    WHOLE,
    WORTH_SAYING_PCT,
    Values,
    amounts,
    find_column,
    fractions,
    names_of,
    numbers,
    only_one,
    refuse,
    unclear,
    unit_of,
)
from zoneplan.field.crs import WGS_84, known_crs, move, utm_zone
from zoneplan.field.shapes import Field
from zoneplan.notices import Notice, notice
from zoneplan.plain_file import read_plain

MOST_TABLE_MB = 100.0  # a log of a million points
_MOST_TOP = 65_536  # letters; headings are fewer
_SURE_FRAC = 0.01  # columns are added only where the whole comes out this well
CONDUCTIVITY = {"ec", "eca", "ecsh", "ecdp", "conductivity", "conductivi"}  # ten letters
_WORDS = {
    "conductivity": CONDUCTIVITY,
    "sand": {"sand"},
    "silt": {"silt"},
    "clay": {"clay"},
    "organic": {"humus"},
}
_DEGREES = ({"lon", "long", "lng", "longitude"}, {"lat", "latitude"})
_PLANE = ({"x", "xcoord", "easting", "east"}, {"y", "ycoord", "northing", "north"})


def read_table(path: Path) -> tuple[pd.DataFrame, list[Notice]]:
    """Read a CSV as text, its rows numbered as they lie in the file."""
    text = _text(path)
    top = next((line for line in text[:_MOST_TOP].splitlines() if line.strip()), "")
    delimiter = max(",;\t|", key=top.count)
    if (frame := _regular(text, delimiter)) is not None:
        return _with_points(frame, delimiter)
    lines = text.splitlines()
    try:
        cells = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
        rows = {number: row for number, row in enumerate(cells, start=1) if any(row)}
    except csv.Error as fault:
        raise LayerError(
            f"{path.name} cannot be read as a table: {fault}.\n"
            "It is damaged or holds something else. Export it again."
        ) from fault
    headings = [name.strip() for name in rows.pop(min(rows, default=0), [])]
    if not rows or all(map(_is_number, headings)):
        raise LayerError(
            f"{path.name} has no headings, or nothing below them: it starts with {top[:60]!r}.\n"
            "We won't guess which column is which.\n"
            "Write the names of the columns in the first row."
        )
    refuse(
        [
            *(f'"{name}" heads {n} columns.' for name, n in Counter(headings).items() if n > 1),
            *(
                f"row {number} has {len(row)} cells, and there are {len(headings)} headings."
                for number, row in rows.items()
                if len(row) != len(headings)
            ),
        ],
        "A number could be read from the wrong column.\nExport the table again.",
        path.name,
    )
    frame = pd.DataFrame(list(rows.values()), index=list(rows), columns=headings, dtype=object)
    return _with_points(frame, delimiter)


def places_in(
    frame: pd.DataFrame,
    columns: Mapping[str, str],
    source: str,
    crs: str | None,
    field: Field,
) -> tuple[Values, Values, CRS]:
    """Find the coordinates of a table: eastings, northings and their system."""
    for east_names, north_names in (_DEGREES, _PLANE):
        east = only_one(_columns(frame, "x", east_names, columns.get("x"), source), "x", source)
        north = only_one(_columns(frame, "y", north_names, columns.get("y"), source), "y", source)
        if east and north:
            break
    else:
        raise LayerError(
            f"{source} has no columns that say where its points lie.\n"
            f"Its columns are: {named(names_of(frame))}.\n"
            "Name two of these.",
            code="columns-missing",
            parameter=("columns.x", "columns.y"),
        )
    degrees = bool(words_in(east) & _DEGREES[0] and words_in(north) & _DEGREES[1])
    if crs is None and not degrees:
        here = move(field.shape.centroid, field.crs, WGS_84)
        utm = (32600 if here.y >= 0 else 32700) + utm_zone(here.x)
        raise LayerError(
            f"{source} has no coordinate system: a table states none, and nothing says that "
            f"{east} and {north} are degrees.\n"
            "We won't guess one, because a wrong guess can put the points in another field.\n"
            f"Say what it is: EPSG:{utm} if they are metres in the UTM zone here.",
            code="crs-missing",
            parameter="crs",
            example=f"EPSG:{utm}",
        )
    system = known_crs(crs or WGS_84)
    if degrees and not system.is_geographic:  # meant for another file: these say what they are
        system = known_crs(WGS_84)
    return numbers(frame, east, source), numbers(frame, north, source), system


def read_values(
    frame: pd.DataFrame, columns: Mapping[str, str], source: str
) -> tuple[dict[str, Values], list[Notice]]:
    """Read what was measured, and say how it was understood.

    A frame has a row for each point, indexed by its number in the file.

    Returns
    -------
    tuple
        `conductivity`, or `sand_frac`, `silt_frac` and `clay_frac`, or all of them, and
        `organic_pct` where there is any; NaN where a cell is empty. Then the notes.

    Raises
    ------
    LayerError
        When it has neither, and when columns are not clear or hold what they cannot.
    """
    candidates = {
        part: _columns(frame, part, words, columns.get(part), source)
        for part, words in _WORDS.items()
    }
    values: dict[str, Values] = {}
    notes: list[Notice] = []
    if conductivity := only_one(candidates["conductivity"], "conductivity", source):
        values["conductivity"] = numbers(frame, conductivity, source)
        notes.append(notice("conductivity-column", column=conductivity))
    texture = {part: candidates[part] for part in PARTS}
    if all(texture.values()):
        values |= _fractions(frame, texture, source, notes)
    elif not conductivity:
        raise _says_nothing(frame, source)
    elif any(texture.values()):
        parts = tuple(part for part, names in texture.items() if names)
        notes.append(notice("texture-parts-left-out", parts=parts))
    if organic := only_one(candidates["organic"], "organic", source):
        values["organic_pct"] = amounts(frame, organic, source, most=100.0)
    return values, notes


def words_in(name: str) -> set[str]:
    """Split a column's name into its words.

    >>> sorted(words_in("X-coordinate_utm32"))
    ['coordinate', 'utm', 'x']
    """
    return set(re.findall("[a-z]+", name.lower()))


def _regular(text: str, delimiter: str) -> pd.DataFrame | None:
    """Read a table whose rows all have a cell for each of its headings; None of any other.

    Its rows are told and numbered one by one, and what is wrong with them.
    """
    if '"' in text:  # a quoted cell may run over lines, and rows are numbered by them
        return None
    try:
        frame = pd.read_csv(
            io.StringIO(text.rstrip("\r\n")),
            sep=delimiter,
            header=None,
            dtype=str,
            na_filter=False,
            skip_blank_lines=False,
            skipinitialspace=True,
            quoting=csv.QUOTE_NONE,
        )
    except (ValueError, pd.errors.ParserError):
        return None
    # No row has too many cells, or it could not be read; so none has too few where all are there.
    whole = text.count(delimiter) == len(frame) * (frame.shape[1] - 1)
    if len(frame) < 2 or not whole or (frame == "").all(axis=1).any():
        return None
    headings = [str(name).strip() for name in frame.iloc[0]]
    if len(set(headings)) < len(headings) or all(map(_is_number, headings)):
        return None
    frame.columns, frame.index = pd.Index(headings), pd.RangeIndex(1, len(frame) + 1)
    return frame.iloc[1:]


def _with_points(frame: pd.DataFrame, delimiter: str) -> tuple[pd.DataFrame, list[Notice]]:
    """Write the commas in numbers as points, and note it."""
    commas = r"\d,\d"
    if delimiter == "," or not any(
        frame[name].astype(str).str.contains(commas).any() for name in frame
    ):
        return frame, []
    points = frame.astype(object).replace(r"^\s*(-?\d*),(\d+)\s*$", r"\1.\2", regex=True)
    return points, [notice("decimal-commas")]


def _text(path: Path) -> str:
    data = read_plain(path, MOST_TABLE_MB)
    if b"\x00" in data or data.startswith((b"%PDF", b"PK")):
        raise LayerError(
            f"{path.name} is named as a table of text, but its content is something else.\n"
            "Export it again as CSV, in UTF-8."
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _columns(
    frame: pd.DataFrame, part: str, words: Set[str], asked: str | None, source: str
) -> list[str]:
    if asked is not None or part in KNOWN:
        column = find_column(frame, part, asked, source)
        if column is not None:
            return [column]
    return [name for name in names_of(frame) if words & words_in(name)]


def _fractions(
    frame: pd.DataFrame, texture: Mapping[str, list[str]], source: str, notes: list[Notice]
) -> dict[str, Values]:
    """Scale sand, silt and clay of each row to 1 together; several columns may make up one."""
    parts = {
        part: np.sum([amounts(frame, name, source) for name in names], axis=0)
        for part, names in texture.items()
    }
    unit, usual_off = unit_of(np.sum(list(parts.values()), axis=0))
    for part, names in texture.items():
        if len(names) > 1:
            if usual_off > _SURE_FRAC:
                raise unclear(names, part, source)
            notes.append(
                notice("texture-part-summed", part=part, columns=tuple(names), total=WHOLE[unit])
            )
    known, unit, off_pct = fractions(parts, frame.index, source)
    notes.append(notice("texture-unit", parts=tuple(texture), unit=unit))
    scaled = int(np.count_nonzero(off_pct > WORTH_SAYING_PCT))
    if scaled:
        most_off = float(np.nanmax(off_pct))
        notes.append(notice("rows-scaled", scaled=scaled, rows=len(frame), off_pct=most_off))
    return {f"{part}_frac": values for part, values in known.items()}


def _says_nothing(frame: pd.DataFrame, source: str) -> LayerError:
    return LayerError(
        f"{source} has no column of conductivity, and not all of sand, silt and clay.\n"
        f"Its columns are: {named(names_of(frame)) or 'none'}. Nothing else tells soils "
        "apart here.\n"
        "Name the column of conductivity, or those of sand, silt and clay.",
        code="columns-missing",
        parameter=tuple(f"columns.{part}" for part in ("conductivity", "sand", "silt", "clay")),
    )
