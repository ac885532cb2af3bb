"""A row of the table: one job in several sizes, what it is held against, and what is asked."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.bench.measure import Case

MOST_GROWTH = 1.15  # of the time, as a power of the size


@dataclass(frozen=True)
class Row:
    """One job that a user waits for.

    `files` writes what the job reads, once for each size; `case` opens it. Both are given the
    size and a folder of the row's own for that size.
    """

    name: str
    against: str
    today: str  # what was measured before anything was done about it
    goal: float  # the most that the ratio may be
    sizes: tuple[int, ...]
    unit: str  # of the sizes: "pieces"
    case: Callable[[int, Path], Case]
    files: Callable[[int, Path], None] = lambda _size, _folder: None
    goal_mb: float | None = None  # the most memory above the base, where any is asked
    most_times: int = 7  # repetitions; a row of many seconds may do with fewer

    def opened(self, size: int, home: Path) -> Case:
        """The case of one size, in its folder; its files are written where they are not yet."""
        folder = self.written(size, home)
        return self.case(size, folder)

    def written(self, size: int, home: Path) -> Path:
        """Write the files of one size."""
        folder = home / f"{self.name} {size}".replace(" ", "-").replace("/", "-")
        if not folder.exists():
            folder.mkdir(parents=True)
            self.files(size, folder)
        return folder
