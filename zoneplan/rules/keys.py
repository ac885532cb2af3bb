"""Readers of one TOML value each: what it must be, and what to say when it is not.

A reader takes what the file says, where it says so, and the list that faults go to. After
a fault it gives None, or what is left; the caller looks at the list before it builds on it.
"""

import datetime
from collections.abc import Callable, Collection, Mapping
from typing import Any, TypeGuard

from zoneplan.errors import nearest
from zoneplan.rules.words import either

Reader = Callable[[Any, str, list[str]], Any]

MOST_NUMBER = 1e9  # past this it is a slip of the keyboard


def table(found: Any, keys: Mapping[str, Reader], where: str, faults: list[str]) -> dict[str, Any]:
    """Read every key by its own reader, and tell the keys that nobody reads.

    >>> faults = []
    >>> table({"aim": 90, "wen": 1}, {"aim": number, "when": is_table}, "base 1, ", faults)
    {'aim': 90.0}
    >>> faults
    ['base 1, wen is not a key here. Did you mean "when"?']
    """
    read = {}
    for key, value in found.items():
        if key in keys:
            read[key] = keys[key](value, f"{where}{key}", faults)
        else:
            hint = nearest(key, keys) or f"Use {either(keys)}."
            faults.append(f"{where}{key} is not a key here. {hint}")
    return read


def is_table(found: Any, at: str, faults: list[str]) -> TypeGuard[dict[str, Any]]:
    """Tell whether it is a table."""
    if isinstance(found, dict):
        return True
    faults.append(f"{at}: {_said(found)} is not a table. Write {{ key = value }}.")
    return False


def tables(found: Any, at: str, faults: list[str]) -> list[dict[str, Any]]:
    """Read tables that are written one after the other."""
    if isinstance(found, list) and all(isinstance(one, dict) for one in found):
        return found
    faults.append(f"{at} wants two brackets each time: [[base]], [[base.source]].")
    return []


def text(found: Any, at: str, faults: list[str]) -> str | None:
    """Read words, on one line."""
    if isinstance(found, str) and found.strip():
        return " ".join(found.split())
    faults.append(f"{at}: {_said(found)} says nothing. Write words in quotes.")
    return None


def texts(found: Any, at: str, faults: list[str]) -> tuple[str, ...]:
    """Read a list of words."""
    if isinstance(found, list) and all(isinstance(one, str) for one in found):
        return tuple(found)
    faults.append(f'{at}: {_said(found)} is not a list of words, as in ["one", "two"].')
    return ()


def number(found: Any, at: str, faults: list[str]) -> float | None:
    """Read a number that a person may have meant."""
    if (
        isinstance(found, int | float)
        and not isinstance(found, bool)  # to Python, true is a 1
        and abs(found) < MOST_NUMBER  # never so for nan
    ):
        return float(found)
    faults.append(f"{at}: {_said(found)} is not a number here. Write one without quotes or unit.")
    return None


def positive(found: Any, at: str, faults: list[str]) -> float | None:
    """Read a number above 0."""
    value = number(found, at, faults)
    if value is not None and value <= 0:
        faults.append(f"{at}: {value:g} is too little. Write a number above 0.")
    return value


def date(found: Any, at: str, faults: list[str]) -> datetime.date | None:
    """Read a day."""
    if isinstance(found, datetime.date) and not isinstance(found, datetime.datetime):
        return found
    faults.append(f"{at}: {_said(found)} is not a date. Write one without quotes: 2026-11-20.")
    return None


def flag(found: Any, at: str, faults: list[str]) -> tuple[bool, ...]:
    """Read true or false, as all the values that are allowed."""
    if isinstance(found, bool):
        return (found,)
    faults.append(f"{at}: {_said(found)} is neither true nor false.")
    return ()


def one_of(noun: str, words: Collection[str]) -> Reader:
    """Make a reader of one word out of these."""

    def read(found: Any, at: str, faults: list[str]) -> str | None:
        if isinstance(found, str) and found in words:
            return found
        faults.append(f"{at}: {_said(found)} is not a {noun}. Use {either(words)}.")
        return None

    return read


def some_of(noun: str, words: Collection[str]) -> Reader:
    """Make a reader of a list of these words; a lone word is a list of one."""
    one = one_of(noun, words)

    def read(found: Any, at: str, faults: list[str]) -> tuple[str, ...]:
        several = found if isinstance(found, list) else [found]
        if not several:
            faults.append(f"{at}: an empty list never holds. Use {either(words)}.")
        return tuple(one(word, at, faults) for word in several)

    return read


def _said(found: Any) -> str:
    """A value as the file has it, near enough."""
    if isinstance(found, bool):
        return str(found).lower()
    return f'"{found}"' if isinstance(found, str) else str(found)
