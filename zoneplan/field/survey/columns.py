"""What we take of a soil survey: its tables, their rows and columns, and which hold numbers."""

import math
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import overload

import numpy as np

from zoneplan.errors import quoted
from zoneplan.notices import Notice, notice
from zoneplan.soil.texture import MOST_OFF_PCT

Row = Mapping[str, str]  # by column; "" where the survey says nothing
Tables = Mapping[str, Sequence[Row]]
LIES = "lies"  # a column of our own: file and line

NEEDED = {
    "mapunit": ("musym", "muname", "mukey"),
    "component": ("comppct_r", "compname", "mukey", "cokey"),
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
# A survey may lack these columns, and fragments. What they would say is then not known.
WELCOME = {
    "component": ("compkind", "drainagecl", "hydgrp", "taxorder"),
    "chorizon": ("hzname", "om_r", "dbthirdbar_r", "lep_r", "ll_r", "pi_r", "wthirdbar_r"),
}
FRAGMENTS = {"chfrags": ("fragvol_r", "chkey")}
_PERCENT, _DEPTH_CM, _DENSITY = (0.0, 100.0), (0.0, 9999.0), (0.02, 2.65)
_LIQUID, _PLASTIC, _WATER = (0.0, 400.0), (0.0, 130.0), (0.0, 2000.0)  # the dictionary's own
_NUMBERS = {  # the least and the most that each can be; density up to that of solid quartz
    "comppct_r": _PERCENT,
    "hzdept_r": _DEPTH_CM,
    "hzdepb_r": _DEPTH_CM,
    "sandtotal_r": _PERCENT,
    "silttotal_r": _PERCENT,
    "claytotal_r": _PERCENT,
    "om_r": _PERCENT,
    "dbthirdbar_r": _DENSITY,
    "lep_r": _PERCENT,
    "ll_r": _LIQUID,
    "pi_r": _PLASTIC,
    "wthirdbar_r": _WATER,
    "fragvol_r": _PERCENT,
}
_PARTS = ("sandtotal_r", "silttotal_r", "claytotal_r")


VINTAGE_COLUMNS = ("areasymbol", "areaname", "saversion", "saverest", "projectscale")
ASKED_COLUMNS = ("asked", "asked_of")  # that zoneplan adds to what it asked for


@dataclass(frozen=True)
class Vintage:
    """The edition of one survey area. The refresh is not the field work, which is far older."""

    area: str  # "IA073"
    area_name: str | None = None
    version: str | None = None
    refreshed: str | None = None  # day, as 2025-09-04
    scale: str | None = None  # of its map: one to so many
    asked: str | None = None  # day that the service was asked, where it is known
    asked_of: str | None = None  # host


def columns_of(table: str) -> tuple[str, ...]:
    """Name the columns that we take of a table.

    >>> columns_of("chfrags")
    ('fragvol_r', 'chkey')
    """
    return (*(NEEDED | FRAGMENTS).get(table, ()), *WELCOME.get(table, ()))


class FileRows(Sequence[Row]):
    """The rows of one file, each made when it is asked for: a field needs few of a county's."""

    def __init__(self, file: str, names: Sequence[str]) -> None:
        self.names = tuple(names)
        self._file = file
        self._cells: list[Sequence[str]] = []
        self._lines: list[int] = []

    def add(self, line: int, cells: Sequence[str]) -> None:
        """Put a row at the end: the line it starts on, and a cell for each of the names."""
        self._cells.append(cells)
        self._lines.append(line)

    def column(self, name: str) -> list[str]:
        """What all rows have under one name."""
        at = self.names.index(name)
        return [cells[at].strip() for cells in self._cells]

    def __len__(self) -> int:
        return len(self._cells)

    @overload
    def __getitem__(self, at: int) -> Row: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[Row]: ...
    def __getitem__(self, at: int | slice) -> Row | Sequence[Row]:
        if isinstance(at, slice):
            return [self[one] for one in range(*at.indices(len(self)))]
        row = dict(zip(self.names, map(str.strip, self._cells[at]), strict=True))
        row[LIES] = f"{self._file}, line {self._lines[at]}"
        return row


def _column(rows: Sequence[Row], name: str) -> list[str]:
    """What the rows of any table have under one name, without making each of them."""
    return rows.column(name) if isinstance(rows, FileRows) else [row[name] for row in rows]


@dataclass(frozen=True)
class Keyed:
    """The rows of a table, and where those are that a key leads to."""

    rows: Sequence[Row]
    places: Mapping[str, list[int]]

    def of(self, keys: Collection[str]) -> list[Row]:
        """The rows that some keys lead to."""
        return [self.rows[at] for key in keys for at in self.places.get(key, ())]


Grouped = Mapping[str, Keyed]
# Tables with the key that leads from the one before to its rows.
_LED_BY = {"mapunit": "mukey", "component": "mukey", "chorizon": "cokey", "chfrags": "chkey"}
_LEADS = {"component": "cokey", "chorizon": "chkey"}


def grouped(tables: Tables) -> Grouped:
    """Lay the rows of each table by the key that leads to them."""
    return {table: _keyed(tables[table], key) for table, key in _LED_BY.items() if table in tables}


def rows_of(rows: Grouped, keys: Collection[str]) -> Tables:
    """Take the tables of some map units out of those of all."""
    part = {"mapunit": rows["mapunit"].of(keys), "component": rows["component"].of(keys)}
    for before, table in pairwise(("component", "chorizon", "chfrags")):
        if table in rows:
            part[table] = rows[table].of([row[_LEADS[before]] for row in part[before]])
    return part


def _keyed(rows: Sequence[Row], key: str) -> Keyed:
    places: dict[str, list[int]] = defaultdict(list)
    for at, value in enumerate(_column(rows, key)):
        places[value].append(at)
    return Keyed(rows, places)


def rows_by(rows: Sequence[Row], key: str) -> dict[str, list[Row]]:
    """Put rows together by what they have under a key."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        groups[row[key]].append(row)
    return groups


def number_faults(rows: Sequence[Row], where: Callable[[Row], str]) -> list[str]:
    """Say which cells of a table should be numbers and are not, or cannot be these, and where.

    Three zeros for sand, silt and clay are how a survey writes that they do not signify.

    Examples
    --------
    >>> rows = [{"om_r": "three", "lep_r": "", "hzname": "Ap"}]
    >>> number_faults(rows, lambda _: "chorizon.txt, line 1")
    ['chorizon.txt, line 1: om_r is three, which is no number.']
    >>> number_faults([{"claytotal_r": "250"}], lambda _: "chorizon.txt, line 2")
    ['chorizon.txt, line 2: claytotal_r is 250, which cannot be: it lies from 0 to 100.']
    """
    if _sound(rows):
        return []
    return [fault for row in rows for fault in _row_faults(row, where(row))]


def _sound(rows: Sequence[Row]) -> bool:
    """Whether nothing is wrong, by whole columns: so it is with almost any survey."""
    names = [name for name in _NUMBERS if rows and name in rows[0]]
    cells = {name: [row[name] for row in rows] for name in names}
    try:
        numbers = {
            name: np.array([cell or _NUMBERS[name][0] for cell in cells[name]], float)
            for name in names
        }
    except ValueError:
        return False
    for name in names:
        least, most = _NUMBERS[name]
        if not ((numbers[name] >= least) & (numbers[name] <= most)).all():
            return False
    if not numbers.keys() >= set(_PARTS):
        return True
    whole = np.array([all(parts) for parts in zip(*(cells[name] for name in _PARTS), strict=True)])
    total = np.sum([numbers[name] for name in _PARTS], axis=0)
    return not (whole & (total != 0) & (np.abs(total - 100) > MOST_OFF_PCT)).any()


def _row_faults(row: Row, where: str) -> list[str]:
    faults = []
    for name, (least, most) in _NUMBERS.items():
        cell = row.get(name)
        number = _number(cell) if cell else least
        if least <= number <= most:
            continue
        why = f"cannot be: it lies from {least:g} to {most:g}"
        if not math.isfinite(number):
            why = "is no number"
        faults.append(f"{where}: {name} is {quoted(cell)}, which {why}.")
    parts = [row.get(name, "") for name in _PARTS]
    if not faults and all(parts):
        total = sum(map(float, parts))
        if total and abs(total - 100) > MOST_OFF_PCT:
            faults.append(
                f"{where}: sand {parts[0]}, silt {parts[1]} and clay {parts[2]} add up to "
                f"{total:g}, which are not the parts of one soil."
            )
    return faults


def vintage_notice(vintage: Vintage) -> Notice:
    """Say which edition it is, so that a plan names it."""
    values = {name: value for name, value in vars(vintage).items() if name != "scale"}
    return notice("survey-vintage", **values)


def unsaid(tables: Tables) -> list[Notice]:
    """Note which columns a survey lacks, where it could do without them."""
    lacking = [
        name
        for table, names in WELCOME.items()
        for name in names
        if tables[table] and name not in tables[table][0]
    ]
    if "chfrags" not in tables:
        lacking.append("fragvol_r")
    if not lacking:
        return []
    notes = [notice("survey-columns-missing", columns=tuple(lacking))]
    if "compkind" in lacking:
        notes.append(notice("survey-without-kinds"))
    return notes


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan
