"""Notices as a reader gets them, for tests that care how they come out."""

from collections.abc import Iterable

from zoneplan.notices import Notice, notice
from zoneplan.say.notices import words


def sentences(notices: Iterable[Notice], units: str = "si") -> tuple[str, ...]:
    """Put notices into words."""
    return tuple(words(notice, units) for notice in notices)


def codes(notices: Iterable[Notice]) -> tuple[str, ...]:
    """Tell notices by their codes alone."""
    return tuple(notice.code for notice in notices)


def remark(words: str) -> Notice:
    """Make a notice that says just this."""
    return notice("remark", words=words)
