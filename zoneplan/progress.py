"""Say how far long work is, to whoever watches it, so that it can be shown and stopped."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_watcher: ContextVar[Callable[[str], None] | None] = ContextVar("_watcher", default=None)
_doing: ContextVar[str] = ContextVar("_doing", default="Working")


@contextmanager
def watched(watcher: Callable[[str], None]) -> Iterator[None]:
    """Let someone watch what is done inside.

    The watcher is told each step before it begins, as in "Reading soil.zip". What it raises
    stops the work there: nothing is half written, for only the doors write.

    Examples
    --------
    >>> with watched(print):
    ...     step("Drawing zones")
    Drawing zones
    """
    before = _watcher.set(watcher)
    try:
        yield
    finally:
        _watcher.reset(before)


def step(doing: str) -> None:
    """Tell what is done next, if anybody watches."""
    watcher = _watcher.get()
    if watcher:
        watcher(doing)
    _doing.set(doing)


def still() -> None:
    """Tell that the last step goes on, so that whoever watches can stop it."""
    watcher = _watcher.get()
    if watcher:
        watcher(_doing.get())
