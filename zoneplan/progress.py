"""Say how far long work is, to whoever watches it, so that it can be shown and stopped; and note
what each step of it took.
"""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass

_BYTES_PER_MB = 1e6


@dataclass(frozen=True)
class Stage:
    """A step that was watched, and what it took."""

    doing: str  # as in "Reading"
    what: str  # as in "soil.zip"; empty where nothing has a name
    cpu_s: float  # of this process, on all processors
    children_s: float  # of the children that it asked, with their own start
    peak_mb: float | None  # the most memory that either had until its end; None where none tells


class _Record:
    """What had been worked when each step began, here and in children."""

    def __init__(self) -> None:
        self.steps: list[tuple[str, str]] = []
        self.begun: list[tuple[float, float, float | None]] = []
        self.children_s = 0.0
        self.children_mb = 0.0

    def begin(self, doing: str, what: str) -> None:
        self.steps.append((doing, what))
        self.begun.append(self._now())

    def stages(self) -> list[Stage]:
        ends = [*self.begun[1:], self._now()][: len(self.begun)]
        by_name: dict[tuple[str, str], Stage] = {}  # what was done many times is one
        for step, start, end in zip(self.steps, self.begun, ends, strict=True):
            earlier = by_name.get(step, Stage(*step, 0.0, 0.0, None))
            by_name[step] = Stage(
                *step,
                cpu_s=earlier.cpu_s + end[0] - start[0],
                children_s=earlier.children_s + end[1] - start[1],
                peak_mb=end[2],
            )
        return list(by_name.values())

    def _now(self) -> tuple[float, float, float | None]:
        own_mb = peak_mb()
        peak = None if own_mb is None else max(own_mb, self.children_mb)
        return time.process_time(), self.children_s, peak


_watcher: ContextVar[Callable[[str], None] | None] = ContextVar("_watcher", default=None)
_doing: ContextVar[str] = ContextVar("_doing", default="Working")
_record: ContextVar[_Record | None] = ContextVar("_record", default=None)


@contextmanager
def watched(watcher: Callable[[str], None]) -> Iterator[None]:
    """Let someone watch what is done inside.

    The watcher is told each step before it begins, as in "Reading soil.zip". What it raises
    stops the work there: nothing is half written, for only the doors write.

    Examples
    --------
    >>> with watched(print):
    ...     step("Reading", "soil.zip")
    ...     step("Drawing zones")
    Reading soil.zip
    Drawing zones
    >>> [stage.doing for stage in stages()]
    ['Reading', 'Drawing zones']
    """
    before = _watcher.set(watcher)
    _record.set(_Record())  # it stays when the work has ended, for whoever asks how it went
    try:
        yield
    finally:
        _watcher.reset(before)


def step(doing: str, what: str = "") -> None:
    """Tell what is done next, if anybody watches."""
    line = f"{doing} {what}".strip()
    watcher = _watcher.get()
    if watcher:
        watcher(line)
    _doing.set(line)
    record = _record.get()
    if watcher and record:
        record.begin(doing, what)


def still() -> None:
    """Tell that the last step goes on, so that whoever watches can stop it."""
    watcher = _watcher.get()
    if watcher:
        watcher(_doing.get())


def worked_elsewhere(cpu_s: float, peak_mb: float | None) -> None:
    """Note what another process took for the step that is under way."""
    record = _record.get()
    if record:
        record.children_s += cpu_s
        record.children_mb = max(record.children_mb, peak_mb or 0.0)


def stages() -> list[Stage]:
    """Tell the steps of the work that was watched last, each name once, with what it took."""
    record = _record.get()
    return record.stages() if record else []


def peak_mb() -> float | None:
    """Tell the most memory that this process has had; None where the system does not. [MB]."""
    with suppress(ImportError):
        import resource  # noqa: PLC0415 there is none on Windows

        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return most * (1 if sys.platform == "darwin" else 1024) / _BYTES_PER_MB
    return None
