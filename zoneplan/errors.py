"""What can go wrong that a user can put right.

A message says what was found, why we stopped, and what to do, in that order.
"""

import datetime
import json
import reprlib
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Any

MOST_TOLD = 20  # faults of one thing
MOST_QUOTED = 80  # of a value that a message repeats


class ZoneplanError(Exception):
    """Anything the user can put right. The doors print it; nothing else is caught.

    Parameters
    ----------
    message : str
        What was found, why we stopped, what to do, without the knob of any door.
    code : str, optional
        What is wrong, for whoever has to know without reading the message.
    parameter : str or tuple of str, optional
        What would put it right: fields of `Request` or `Sources`, as "crs" or "columns.sand".
        Each door adds its own knob for it.
    example : str, optional
        A value that would do.
    """

    def __init__(
        self,
        message: str,
        *,
        code: str = "",
        parameter: str | tuple[str, ...] = (),
        example: str = "",
    ) -> None:
        super().__init__(message)
        self.code = code
        self.parameters = (parameter,) if isinstance(parameter, str) else parameter
        self.example = example


class LayerError(ZoneplanError):
    """A boundary or soil layer cannot be trusted."""


class RuleError(ZoneplanError):
    """A rules file has faults."""


class MachineError(ZoneplanError):
    """A machine file has faults."""


class OutOfRangeError(ZoneplanError):
    """A soil or setting lies outside what an equation was fitted to."""


class SavedError(ZoneplanError):
    """A saved plan cannot be opened."""


class BookError(ZoneplanError):
    """A book of fields cannot be opened, or cannot take what it was given."""


class ServiceError(ZoneplanError):
    """A public service gave no answer that can be used, or was not asked."""


class OutputError(ZoneplanError):
    """The results cannot be written where they were asked for."""


def listed(subject: str, faults: Sequence[str]) -> str:
    """Tell the faults of one thing at once: MOST_TOLD of them, and how many more there are.

    >>> print(listed("margin.toml", ["no date", "no unit"]))
    margin.toml has 2 faults:
      no date
      no unit
    """
    count = "1 fault" if len(faults) == 1 else f"{len(faults):,} faults"
    lines = list(faults[:MOST_TOLD])
    if len(faults) > MOST_TOLD:
        lines.append(f"and {len(faults) - MOST_TOLD:,} more")
    return "\n  ".join([f"{subject} has {count}:", *lines])


def quoted(value: object, most: int = MOST_QUOTED) -> str:
    """Give what a file says, as a message may repeat it: cut, and with nothing that acts.

    >>> quoted("loam"), quoted("l" * 200) == "l" * 77 + "...", quoted("a\\x1b[2Jb")
    ('loam', True, 'a\\\\x1b[2Jb')
    """
    text = str(value)[: most + 1]
    text = "".join(
        character if character.isprintable() else ascii(character)[1:-1] for character in text
    )
    return text if len(text) <= most else text[: most - 3] + "..."


def named(names: Iterable[object]) -> str:
    """Name what there is: MOST_TOLD of it, each cut, and how many more there are.

    >>> named(["north", "south"]), named(range(22))[-17:]
    ('north, south', '18, 19 and 2 more')
    """
    names = list(names)
    text = ", ".join(map(quoted, names[:MOST_TOLD]))
    return f"{text} and {len(names) - MOST_TOLD:,} more" if len(names) > MOST_TOLD else text


def nearest(word: str, known: Iterable[str]) -> str:
    """Ask whether a near miss was meant; say nothing where none is near.

    >>> nearest("moistur", ["moisture", "tillage"])
    'Did you mean "moisture"?'
    """
    match = get_close_matches(word, list(known), n=1)
    return f'Did you mean "{match[0]}"?' if match else ""


def either(words: Iterable[str]) -> str:
    """Name a choice aloud.

    >>> either(["dry", "moist", "wet"])
    'dry, moist or wet'
    """
    *first, last = words
    return f"{', '.join(first)} or {last}" if first else last


def in_short(value: Any) -> str:
    """A value as the file has it, near enough, and in short.

    >>> in_short("damp"), in_short(True), in_short([1.5, "a"])
    ('"damp"', 'true', "[1.5, 'a']")
    """
    if isinstance(value, str):
        short = value if len(value) <= MOST_QUOTED else f"{value[: MOST_QUOTED - 1]}…"
        return json.dumps(short, ensure_ascii=False)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime.date):
        return value.isoformat()
    return "nothing" if value is None else reprlib.repr(value)
