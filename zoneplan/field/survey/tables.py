"""Read the tables of a soil-survey download by its own dictionary.

The tables come without headings. Which column is which, and which file holds which table,
the download says itself in two dictionary tables; positions change from one edition to the
next, so nothing else is trusted but a row of headings that somebody put on top: it is taken
where it has the dictionary's own names. Tables that all have one need no dictionary.
"""

import csv
import io
from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from operator import itemgetter
from pathlib import Path

from zoneplan.errors import LayerError, listed
from zoneplan.field.survey.columns import (
    FRAGMENTS,
    LIES,
    NEEDED,
    FileRows,
    Row,
    Tables,
    columns_of,
    number_faults,
)
from zoneplan.notices import Notice, notice
from zoneplan.plain_file import files_in, read_plain

DICTIONARIES = (("mstab.txt", "mstabcol.txt"), ("mdstattabs.txt", "mdstattabcols.txt"))
_WELCOME = FRAGMENTS | {"legend": ("areasymbol",)}
_STEMS = {"component": "comp"}  # of a file that is not called like its table
_Pick = Callable[[Sequence[str]], Sequence[str]]
_KEYS = ("mukey", "cokey", "chkey")
# Where the dictionary has what we take of it.
_FILES = {"tabphyname": 0, "iefilename": 4}
_COLUMNS = {"tabphyname": 0, "colsequence": 1, "colphyname": 2}


def read_tables(
    folder: Path, source: str, also: Collection[str] = ()
) -> tuple[Tables, list[Notice]]:
    """Read map units, components, horizons and, where there, fragments and the legend.

    `folder` is the download's `tabular`, `source` what to call the download in messages, and `also`
    are columns to read beside those that we take of a survey.

    Returns
    -------
    tuple
        Rows by the names mapunit, component, chorizon, chfrags and legend, whose numbers
        nobody has checked; and notes on headings that were found.

    Raises
    ------
    LayerError
        With every table that is missing, cut off, or starts with headings other than the
        dictionary's names.

    Source
    ------
    USDA-NRCS soil-survey table layout: `|` between columns, text in double quotes.
    """
    files = {path.name.lower(): path for path in files_in(folder)}
    faults: list[str] = []
    notes: list[Notice] = []
    stems, columns = (
        _dictionary(files, faults, notes) if _needs_dictionary(files) else _headed_tables(files)
    )
    tables: dict[str, Sequence[Row]] = {}
    for table, needed in {} if faults else (NEEDED | _WELCOME).items():
        stem = stems.get(table, table)
        path = files.get(f"{stem}.txt")
        if path is None:
            if table in NEEDED:
                faults.append(f"{stem}.txt, the table {table}, is missing.")
            continue
        lacking = [name for name in needed if name not in columns.get(table, [])]
        if lacking:
            faults.append(f"The dictionary has no column {', '.join(lacking)} in {table}.")
        else:
            wanted = {*needed, *columns_of(table), *_KEYS, *also}
            tables[table] = _table(path, columns[table], wanted, faults, notes)
            if table in NEEDED and not path.stat().st_size:
                faults.append(f"{path.name}, the table {table}, is empty.")
    if faults:
        raise _holes(source, faults)
    return tables, notes


def check_numbers(tables: Tables, source: str) -> None:
    """Refuse rows with a cell that should be a number and is none, or cannot be this one.

    Raises
    ------
    LayerError
        With every such cell.
    """
    faults = [
        fault
        for rows in tables.values()
        for fault in number_faults(rows, lambda row: row.get(LIES, ""))
    ]
    if faults:
        raise _holes(source, faults)


def _holes(source: str, faults: Sequence[str]) -> LayerError:
    return LayerError(
        listed(f"The soil survey {source}", faults)
        + "\nA survey with holes would put wrong soils into zones."
        + "\nDownload the survey area again, and keep its files as they come."
    )


def _needs_dictionary(files: Mapping[str, Path]) -> bool:
    """Whether the dictionary is there, or is needed because a table has no headings."""
    there = any(not files.keys().isdisjoint(pair) for pair in DICTIONARIES)
    return there or not NEEDED.keys() <= _headed_tables(files)[1].keys()


def _headed_tables(files: Mapping[str, Path]) -> tuple[dict[str, str], dict[str, list[str]]]:
    """Learn file stems and columns from rows of headings, where no dictionary says them."""
    stems: dict[str, str] = {}
    columns: dict[str, list[str]] = {}
    for table, needed in (NEEDED | _WELCOME).items():
        for stem in dict.fromkeys((_STEMS.get(table, table), table)):
            path = files.get(f"{stem}.txt")
            _, cells = next(_rows(path, []), (1, [])) if path else (1, [])
            names = _named(cells)
            if names and set(needed) <= set(names) and len(set(names)) == len(names):
                stems[table], columns[table] = stem, names
    return stems, columns


def _dictionary(
    files: Mapping[str, Path], faults: list[str], notes: list[Notice]
) -> tuple[dict[str, str], dict[str, list[str]]]:
    """Learn each table's file stem, and its columns in order."""
    names = next(
        (pair for pair in DICTIONARIES if not files.keys().isdisjoint(pair)), DICTIONARIES[0]
    )
    missing = [name for name in names if name not in files]
    if missing:
        faults += [f"{name}, which says which column is which, is missing." for name in missing]
        return {}, {}

    tables, heads = (files[name] for name in names)
    stems = {table: stem.lower() for _, (table, stem) in _entries(tables, _FILES, faults, notes)}
    columns: dict[str, dict[int, str]] = {}
    for line, (table, number, name) in _entries(heads, _COLUMNS, faults, notes):
        if number.isdecimal():
            columns.setdefault(table, {})[int(number)] = name.lower()
        elif line == 1:
            faults.append(_headed(heads, f'"{number}" is not the number of a column'))
        else:
            faults.append(_damaged(heads, line))
    return stems, {table: [at[n] for n in sorted(at)] for table, at in columns.items()}


def _entries(
    path: Path, places: Mapping[str, int], faults: list[str], notes: list[Notice]
) -> Iterator[tuple[int, list[str]]]:
    """Give some cells of each row of a dictionary table, which may have headings."""
    wanted = list(places.values())
    for line, cells in _rows(path, faults):
        names = _named(cells) if line == 1 else []
        if names and not places.keys() - names:
            wanted = [names.index(name) for name in places]
            notes.append(_headings(path, wanted == list(places.values())))
        elif len(cells) > max(wanted):
            yield line, [cells[place].strip() for place in wanted]
        else:
            faults.append(f"{path.name} is cut off or damaged in line {line}.")


def _table(
    path: Path,
    columns: list[str],
    wanted: Collection[str],
    faults: list[str],
    notes: list[Notice],
) -> FileRows:
    """Read some columns of a table, and add to the faults what keeps it from being trusted.

    Each row has under LIES where it lies.
    """
    rows, pick, keys, key_cells = _laid_out(path, columns, wanted)
    short: list[tuple[int, int]] = []
    for line, cells in _rows(path, faults):
        names = _named(cells) if line == 1 else []
        if names and sorted(names) == sorted(columns):
            notes.append(_headings(path, names == columns))
            columns = names
            rows, pick, keys, key_cells = _laid_out(path, columns, wanted)
            continue
        if len(cells) == len(columns) and all(map(str.isdecimal, key_cells(cells))):
            rows.add(line, pick(cells))  # as almost every row
            continue
        sound = all(cells[at].strip().isdecimal() for at in keys if at < len(cells))
        if line == 1 and not sound:
            faults.append(_headed(path, _strange([cell.strip() for cell in cells], columns)))
        elif len(cells) != len(columns):
            short.append((line, len(cells)))
        elif not sound:
            faults.append(_damaged(path, line))
        else:
            rows.add(line, pick(cells))
    if short:
        line, width = short[0]
        others = f" (and {len(short) - 1} more lines)" if len(short) > 1 else ""
        faults.append(
            f"{path.name} is cut off or damaged: line {line} has {width} columns, "
            f"and the dictionary wants {len(columns)}{others}."
        )
    return rows


def _laid_out(
    path: Path, columns: Sequence[str], wanted: Collection[str]
) -> tuple[FileRows, _Pick, list[int], _Pick]:
    """Rows to fill, what picks the cells of one, where the keys stand, and what picks them."""
    taken = [at for at, name in enumerate(columns) if name in wanted]
    keys = [columns.index(key) for key in _KEYS if key in columns]
    return FileRows(path.name, [columns[at] for at in taken]), _picker(taken), keys, _picker(keys)


def _picker(places: Sequence[int]) -> _Pick:
    several = len(places) > 1
    return itemgetter(*places) if several else lambda cells: [cells[at] for at in places]


def _named(cells: Sequence[str]) -> list[str]:
    return [cell.strip().lower() for cell in cells]


def _rows(path: Path, faults: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Give each row with the line it starts on. A quoted text may run over lines.

    A quote inside a text is doubled; some exports put a backslash before it instead.
    """
    data = read_plain(path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    wrong: list[int] = []
    yield from _parsed(text, _escape(text), wrong)
    faults += [
        f"{path.name} is cut off or damaged: in line {line} a quoted text goes wrong."
        for line in wrong
    ]


def _escape(text: str) -> str | None:
    """A backslash, where quotes are escaped by it, and only so all can be taken apart."""
    if '\\"' not in text:
        return None
    doubled: list[int] = []
    escaped: list[int] = []
    for escape, wrong in ((None, doubled), ("\\", escaped)):
        deque(_parsed(text, escape, wrong), maxlen=0)
    return "\\" if doubled and not escaped else None


def _parsed(text: str, escape: str | None, wrong: list[int]) -> Iterator[tuple[int, list[str]]]:
    """Take rows apart, up to the line where a quoted text goes wrong, which is told."""
    lines = io.StringIO(text, newline="")
    reader = csv.reader(lines, delimiter="|", escapechar=escape, strict=True)
    line = 1
    try:
        for cells in reader:
            if cells:
                yield line, cells
            line = reader.line_num + 1
    except csv.Error:
        wrong.append(line)


def _headings(path: Path, in_order: bool) -> Notice:
    return notice("survey-headings", file=path.name, in_order=in_order)


def _strange(cells: list[str], columns: list[str]) -> str:
    """Say why a row of headings is not the dictionary's."""
    unknown = next((cell for cell in cells if cell.lower() not in columns), None)
    if unknown is None:
        return f"there are {len(cells)} of its {len(columns)} columns"
    return f'"{unknown}" is none of its columns'


def _headed(path: Path, why: str) -> str:
    return (
        f"{path.name} starts with a row of headings that are not the dictionary's: {why}. "
        "So rows and columns may have been rearranged. Delete that row if nothing else was "
        "changed."
    )


def _damaged(path: Path, line: int) -> str:
    return f"{path.name} is damaged: line {line} has something else where a number belongs."
