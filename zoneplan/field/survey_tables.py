"""Read the tables of a soil-survey download by its own dictionary.

The tables have no heads. Which column is which, and which file holds which table, the
download says itself in two dictionary tables; positions change from one edition to the
next, so nothing else is trusted.
"""

import csv
import io
import math
from collections.abc import Iterator, Mapping
from pathlib import Path

from zoneplan.errors import LayerError, listed

Row = Mapping[str, str]  # by column; "" where the survey says nothing

DICTIONARIES = (("mstab.txt", "mstabcol.txt"), ("mdstattabs.txt", "mdstattabcols.txt"))
_NEEDED = {
    "mapunit": ("musym", "muname", "mukey"),
    "component": ("comppct_r", "compname", "compkind", "mukey", "cokey"),
    "chorizon": (
        "hzdept_r",
        "hzdepb_r",
        "sandtotal_r",
        "silttotal_r",
        "claytotal_r",
        "cokey",
        "chkey",
    ),
}
_WELCOME = {"chfrags": ("fragvol_r", "chkey")}
_KEYS = ("mukey", "cokey", "chkey")
_NUMBERS = (
    "comppct_r", "hzdept_r", "hzdepb_r", "sandtotal_r", "silttotal_r", "claytotal_r",
    "om_r", "dbthirdbar_r", "lep_r", "fragvol_r",
)  # fmt: skip


def read_tables(folder: Path, source: str) -> dict[str, list[Row]]:
    """Read map units, components, horizons and, where there, rock fragments.

    Parameters
    ----------
    folder : Path
        The download's `tabular` folder.
    source : str
        What to call the download in messages.

    Returns
    -------
    dict
        Rows by the names mapunit, component, chorizon and chfrags.

    Raises
    ------
    LayerError
        With every table that is missing, cut off, or starts with a row of headings.

    Source
    ------
    USDA-NRCS soil-survey table layout: `|` between columns, text in double quotes.
    """
    files = {path.name.lower(): path for path in folder.iterdir()}
    faults: list[str] = []
    stems, columns = _dictionary(files, faults)
    tables: dict[str, list[Row]] = {}
    for table, needed in {} if faults else (_NEEDED | _WELCOME).items():
        stem = stems.get(table, table)
        path = files.get(f"{stem}.txt")
        if path is None:
            if table in _NEEDED:
                faults.append(f"{stem}.txt, the table {table}, is missing.")
            continue
        lacking = [name for name in needed if name not in columns.get(table, [])]
        if lacking:
            faults.append(f"The dictionary has no column {', '.join(lacking)} in {table}.")
        else:
            tables[table] = _table(path, columns[table], faults)
            if table in _NEEDED and not path.stat().st_size:
                faults.append(f"{path.name}, the table {table}, is empty.")
    if faults:
        raise LayerError(
            listed(f"The soil survey {source}", faults)
            + "\nA survey with holes would put wrong soils into zones."
            + "\nDownload the survey area again, and keep its files as they come."
        )
    return tables


def _dictionary(
    files: Mapping[str, Path], faults: list[str]
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
    stems: dict[str, str] = {}
    for line, cells in _rows(tables, faults):
        if line == 1 and cells[0].lower() == "tabphyname":
            faults.append(_headed(tables))
        elif len(cells) < 5:
            faults.append(f"{tables.name} is cut off or damaged in line {line}.")
        else:
            stems[cells[0]] = cells[4]
    columns: dict[str, dict[int, str]] = {}
    for line, cells in _rows(heads, faults):
        if len(cells) > 2 and cells[1].isdecimal():
            columns.setdefault(cells[0], {})[int(cells[1])] = cells[2]
        else:
            faults.append(_headed(heads) if line == 1 else _damaged(heads, line))
    return stems, {table: [at[n] for n in sorted(at)] for table, at in columns.items()}


def _table(path: Path, columns: list[str], faults: list[str]) -> list[Row]:
    """Read one table, and add to the faults what keeps it from being trusted."""
    rows: list[Row] = []
    short: list[tuple[int, int]] = []
    for line, cells in _rows(path, faults):
        row = dict(zip(columns, cells, strict=False))
        keys = [row[key] for key in _KEYS if key in row]
        if line == 1 and not all(key.isdecimal() for key in keys):
            faults.append(_headed(path))
        elif len(cells) != len(columns):
            short.append((line, len(cells)))
        elif not all(key.isdecimal() for key in keys):
            faults.append(_damaged(path, line))
        else:
            faults += [
                f"{path.name}, line {line}: {name} is {row[name]}, which is no number."
                for name in _NUMBERS
                if not _is_number(row.get(name, ""))
            ]
            rows.append(row)
    if short:
        line, width = short[0]
        others = f" (and {len(short) - 1} more lines)" if len(short) > 1 else ""
        faults.append(
            f"{path.name} is cut off or damaged: line {line} has {width} columns, "
            f"and the dictionary wants {len(columns)}{others}."
        )
    return rows


def _rows(path: Path, faults: list[str]) -> Iterator[tuple[int, list[str]]]:
    """Give each row with the line it starts on. A quoted text may run over lines."""
    data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter="|", strict=True)
    line = 1
    try:
        for cells in reader:
            if cells:
                yield line, [cell.strip() for cell in cells]
            line = reader.line_num + 1
    except csv.Error:
        faults.append(
            f"{path.name} is cut off or damaged: in line {line} a quoted text goes wrong."
        )


def _headed(path: Path) -> str:
    return (
        f"{path.name} starts with a row of headings, which these tables never have, "
        "so rows may have been rearranged. Delete that row if nothing else was changed."
    )


def _damaged(path: Path, line: int) -> str:
    return f"{path.name} is damaged: line {line} has something else where a number belongs."


def _is_number(text: str) -> bool:
    try:
        return text == "" or math.isfinite(float(text))
    except ValueError:
        return False
