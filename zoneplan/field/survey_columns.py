"""What we take of a soil survey: its tables, their columns, and which hold numbers."""

import math
from collections.abc import Mapping

Row = Mapping[str, str]  # by column; "" where the survey says nothing
Tables = Mapping[str, list[Row]]

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
    "chorizon": ("hzname", "om_r", "dbthirdbar_r", "lep_r"),
}
FRAGMENTS = {"chfrags": ("fragvol_r", "chkey")}
MOST_FAULTS = 20
_NUMBERS = (
    "comppct_r", "hzdept_r", "hzdepb_r", "sandtotal_r", "silttotal_r", "claytotal_r",
    "om_r", "dbthirdbar_r", "lep_r", "fragvol_r",
)  # fmt: skip


def columns_of(table: str) -> tuple[str, ...]:
    """Name the columns that we take of a table.

    >>> columns_of("chfrags")
    ('fragvol_r', 'chkey')
    """
    return (*(NEEDED | FRAGMENTS)[table], *WELCOME.get(table, ()))


def number_faults(row: Row, where: str) -> list[str]:
    """Say which cells of a row should be numbers and are not.

    >>> number_faults({"om_r": "three", "lep_r": "", "hzname": "Ap"}, "chorizon.txt, line 1")
    ['chorizon.txt, line 1: om_r is three, which is no number.']
    """
    return [
        f"{where}: {name} is {row[name]}, which is no number."
        for name in _NUMBERS
        if not _is_number(row.get(name, ""))
    ]


def unsaid(tables: Tables) -> list[str]:
    """Say which columns a survey lacks, where it could do without them."""
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
    notes = [f"its tables have no {', '.join(lacking)}: what these would say is not known"]
    if "compkind" in lacking:
        notes.append("without compkind, ground that is no soil counts as ground without data")
    return notes


def _is_number(text: str) -> bool:
    try:
        return text == "" or math.isfinite(float(text))
    except ValueError:
        return False
