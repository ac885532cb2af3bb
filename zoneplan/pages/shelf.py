"""What a server keeps for people who are away, by keys that nobody can guess.

It is bounded in pieces, bytes and age, for each person and for all. Whoever keeps more than their
share puts away their own oldest; nobody's work goes because others come.
"""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from threading import Lock
from typing import Generic, TypeVar

Thing = TypeVar("Thing")


@dataclass(frozen=True)
class Bounds:
    """How much is kept."""

    things: int = 500
    size: int = 2_000_000_000  # bytes
    things_each: int = 20  # of one person
    size_each: int = 500_000_000
    hours: float = 72.0  # since it was last put here


@dataclass(frozen=True)
class _Kept(Generic[Thing]):
    thing: Thing
    who: str
    size: int
    at_s: float


class Shelf(Generic[Thing]):
    """The shelf. Threads may share it."""

    def __init__(self, bounds: Bounds, now_s: Callable[[], float] = time.monotonic) -> None:
        """Begin with nothing on it."""
        self.bounds, self._now_s = bounds, now_s
        self._kept: dict[str, _Kept[Thing]] = {}  # the longest there first
        self._lock = Lock()

    def keep(self, key: str, thing: Thing, who: str, size: int) -> bool:
        """Keep something, in place of what the key stood for; tell whether there is room.

        Parameters
        ----------
        key : str
            What it is found by.
        thing : object
            What to keep.
        who : str
            Whose share it counts for.
        size : int
            How much memory it takes. [bytes]
        """
        with self._lock:
            self._end_old()
            self._kept.pop(key, None)
            own = [name for name, entry in self._kept.items() if entry.who == who]
            while own and not self._fits(who, size):
                del self._kept[own.pop(0)]
            if not self._fits(who, size):
                return False
            self._kept[key] = _Kept(thing, who, size, self._now_s())
            return True

    def find(self, key: str) -> Thing | None:
        """Find what a key stands for; None where it ended or was never there."""
        with self._lock:
            self._end_old()
            entry = self._kept.get(key)
            return entry.thing if entry else None

    def withdraw(self, keys: Iterable[str], who: str) -> None:
        """Let one's own keys stand for nothing."""
        with self._lock:
            for key in keys:
                if key in self._kept and self._kept[key].who == who:
                    del self._kept[key]

    def _fits(self, who: str, size: int) -> bool:
        sizes = [value.size for value in self._kept.values()]
        own = [value.size for value in self._kept.values() if value.who == who]
        return (
            len(sizes) < self.bounds.things
            and sum(sizes) + size <= self.bounds.size
            and len(own) < self.bounds.things_each
            and sum(own) + size <= self.bounds.size_each
        )

    def _end_old(self) -> None:
        oldest_s = self._now_s() - 3600 * self.bounds.hours
        for key in [name for name, entry in self._kept.items() if entry.at_s < oldest_s]:
            del self._kept[key]
