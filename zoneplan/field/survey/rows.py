"""The rows of a table as they lie in a file."""

from collections.abc import Sequence
from typing import overload

from zoneplan.field.survey.columns import Row

LIES = "lies"  # a column of our own: file and line


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


def column(rows: Sequence[Row], name: str) -> list[str]:
    """What the rows of any table have under one name, without making each of them."""
    return rows.column(name) if isinstance(rows, FileRows) else [row[name] for row in rows]
