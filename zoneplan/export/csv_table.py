"""The zones as a plain table, without their shapes.

A text that a spreadsheet would reckon with, as it does with "=1+1", gets an apostrophe in front.

Source
------
RFC 4180: commas, lines that end in CR LF, quotes doubled inside quotes; here in UTF-8.
"""

import csv
import io
from collections.abc import Sequence

from zoneplan.export.table import USUAL, Value, columns, rows
from zoneplan.plan.model import Plan
from zoneplan.terms import Moisture

RECKONED = ("=", "+", "-", "@", "'")  # what begins a formula, or is not shown


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
    if isinstance(value, str) and value.startswith(RECKONED):
        return f"'{value}"
    return str(value).lower() if isinstance(value, bool) else value
