"""One checked reader of TOML and JSON tables: every fault at once, its place, the nearest word.

A form says what a value must be. It is a `Reader`: it takes what the file says and the `Place`
where it says it, and gives the value as zoneplan keeps it, or None and a fault at that place.
Forms are put together from smaller ones:

>>> wheel = table({"name": need(text, "Name it."), "load": Key(measure("force"), "load_n")})
>>> planter = table({"rows": whole(1), "wheels": many(wheel)})
>>> checked(planter, {"rows": 8, "wheels": [{"name": "1", "load": "50 N"}]}, "x", ValueError)
{'rows': 8, 'wheels': ({'name': '1', 'load_n': 50.0},)}
>>> checked(planter, {"row": 8, "wheels": [{"load": 50}]}, "ours.toml", ValueError)
Traceback (most recent call last):
    ...
ValueError: ours.toml has 3 faults:
  row is not a key here. Did you mean "rows"?
  wheels, 1, load: '50' is not a force: write a number and one of N, kN, lb, lbf, kg, kgf.
  wheels, 1 has no name. Name it.
"""

import datetime
import json
import re
import reprlib
import tomllib
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeGuard

from zoneplan.errors import listed, nearest, quoted
from zoneplan.plain_file import read_plain
from zoneplan.units import quantity

MOST_NUMBER = 1e9  # past this it is a slip of the keyboard
MOST_TOML_MB = 1.0
# Of a key with thousands of dots the library would think for hours.
_DOTTED = re.compile(r"""(?:\.[ \t]*(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*){33}""")
MOST_ITEMS = 10_000  # of one list: nobody writes as many
MOST_LETTERS = 10_000  # of one text
_LONGEST = 80  # characters of a value that a message repeats


@dataclass(frozen=True)
class Place:
    """A place in a file, and the list that every fault of that file goes to."""

    faults: list[str]
    at: str = ""
    joint: str = ""
    ask: str = ""  # what to write here

    def key(self, key: str, ask: str = "") -> "Place":
        """Go to a key of the table that is here."""
        key = quoted(key, _LONGEST)
        return Place(self.faults, f"{self.at}{self.joint}{key}", ".", ask)

    def item(self, number: int) -> "Place":
        """Go to an item of the list that is here, counted from 1."""
        return Place(self.faults, f"{self.at}, {number}", ", ")

    def called(self, name: str) -> "Place":
        """Call this place by a name of its own."""
        return Place(self.faults, quoted(name, _LONGEST), ", ")

    def fault(self, words: str) -> None:
        """Tell a fault of what is here."""
        self.faults.append(f"{self.at}: {words}" if self.at else words)

    def lacks(self, key: str, ask: str) -> None:
        """Tell that a key is missing here, and what to write."""
        self.faults.append(f"{self.at} has no {key}. {ask}" if self.at else f"no {key}. {ask}")


Reader = Callable[[Any, Place], Any]
Check = Callable[[Any, Place], None]  # tells faults between values that are each right


@dataclass(frozen=True)
class Key:
    """One key of a table. It may be left out where it has a usual value, or asks for nothing."""

    read: Reader
    field: str = ""  # the noun's name for it, where the file has another
    example: str = ""  # of its value, as it is written
    ask: str = ""  # what to write where an example would not do
    usual: Any = None  # where it is left out

    def asks(self, name: str) -> str:
        """Say what to write, by the key's name."""
        return self.ask or (f"Write it like this: {name} = {self.example}" if self.example else "")


def need(read: Reader, ask: str) -> Key:
    """Make a key that must be there, and no empty list; `ask` says what to write."""
    return Key(read, ask=ask)


# ---- from a file to values -----------------------------------------------------------------


def checked(form: Reader, content: Any, name: str, error: type[Exception]) -> Any:
    """Read values by a form.

    Raises
    ------
    error
        With every fault, under the name of the file.
    """
    faults: list[str] = []
    value = form(content, Place(faults))
    if faults:
        raise error(listed(name, faults))
    return value


def toml_file(path: Path, error: type[Exception]) -> dict[str, Any]:
    """Read the values of a TOML file; all that can be wrong is raised as `error`."""
    return toml(path.name, read_plain(path, MOST_TOML_MB, error), error)


def toml(name: str, content: bytes, error: type[Exception]) -> dict[str, Any]:
    """Read the values of TOML in UTF-8; all that can be wrong is raised as `error`."""
    try:
        text = content.decode("utf-8-sig")
        if _DOTTED.search(text):
            raise ValueError("a key has more dots than any of ours")
        return tomllib.loads(text)
    except UnicodeDecodeError as fault:
        raise error(
            f"{name} is not UTF-8 text: {fault.reason} at byte {fault.start}.\n"
            "Its words could be misread. Save it again as plain text, encoding UTF-8."
        ) from fault
    except (ValueError, RecursionError) as fault:  # TOMLDecodeError is a ValueError
        raise error(
            f"{name} is not TOML: {quoted(fault)}.\n"
            "We won't guess what was meant. Mend that line and try again."
        ) from fault


# ---- tables and lists ----------------------------------------------------------------------


def table(
    keys: Mapping[str, Key | Reader],
    make: Callable[..., Any] = dict,
    check: Check | None = None,
    others: bool = False,
) -> Reader:
    """Make a reader of a table.

    `make` makes a noun of its values, by the names of their fields, once nothing is wrong.
    `check` looks at what is between them; a value with a fault of its own is None. `others`
    lets keys stand that nobody reads.
    """
    known = {name: key if isinstance(key, Key) else Key(key) for name, key in keys.items()}

    def read(content: Any, place: Place) -> Any:
        if not is_table(content, place):
            return None
        before = len(place.faults)
        values = {
            key.field or name: key.usual for name, key in known.items() if key.usual is not None
        }
        for name, value in content.items():
            if name in known:
                key, ask = known[name], known[name].asks(name)
                if value != [] or key.usual is not None or not ask:
                    values[key.field or name] = key.read(value, place.key(name, ask))
            elif not others:
                hint = nearest(name, known) or f"Use {either(known)}."
                place.faults.append(f"{place.key(name).at} is not a key here. {hint}")
        for name, key in known.items():
            if key.asks(name) and key.usual is None and content.get(name, []) == []:
                place.lacks(name, key.asks(name))
        if check:
            check(values, place)
        return make(**values) if len(place.faults) == before else None

    return read


def by_kind(key: str, noun: str, forms: Mapping[str, Reader]) -> Reader:
    """Make a reader of a table whose `key` says which of several forms the rest of it has."""
    kind_of = one_of(noun, forms)

    def read(content: Any, place: Place) -> Any:
        if not is_table(content, place):
            return None
        if key not in content:
            place.lacks(key, f"Use {either(forms)}.")
            return None
        kind = kind_of(content[key], place.key(key))
        remaining = {name: value for name, value in content.items() if name != key}
        return None if kind is None else forms[kind](remaining, place)

    return read


def many(
    of: Reader,
    least: int = 0,
    check: Check | None = None,
    called: Callable[[int, Any], str] | None = None,
) -> Reader:
    """Make a reader of a list of at least so many, into a tuple of those that are right.

    `check` looks at what is between items; one with a fault of its own is None. `called` says
    what messages call an item, by its number and its content.
    """

    def read(value: Any, place: Place) -> tuple[Any, ...] | None:
        if not isinstance(value, list):
            place.fault(f"{in_short(value)} is not a list. {place.ask}".rstrip())
            return None
        if len(value) > MOST_ITEMS:
            place.fault(f"{len(value):,} are there, and {MOST_ITEMS:,} may be.")
            return None
        if len(value) < least:
            few = f"fewer than {least} are there" if value else "the list is empty"
            place.fault(f"{few}. {place.ask}".rstrip())
        items = tuple(
            of(item, place.called(called(number, item)) if called else place.item(number))
            for number, item in enumerate(value, start=1)
        )
        if check:
            check(items, place)
        return tuple(item for item in items if item is not None)

    return read


def row(what: str, *of: Reader) -> Reader:
    """Make a reader of a list of so many unlike things, into a tuple; `what` names them."""

    def read(value: Any, place: Place) -> tuple[Any, ...] | None:
        if not isinstance(value, list) or len(value) != len(of):
            place.fault(f"{in_short(value)} is not {what}.")
            return None
        values = tuple(
            one(item, place.item(number))
            for number, (one, item) in enumerate(zip(of, value, strict=True), start=1)
        )
        return None if None in values else values

    return read


def rising(values: Iterable[float | None], place: Place, noun: str) -> None:
    """Tell where a list does not rise from each value to the next."""
    for number, (first, second) in enumerate(pairwise(values), start=2):
        if first is not None and second is not None and second <= first:
            place.fault(f"{noun} {number} does not rise above the one before it.")


def is_table(value: Any, place: Place) -> TypeGuard[dict[str, Any]]:
    """Tell whether it is a table."""
    if isinstance(value, dict):
        return True
    place.fault(f"{in_short(value)} is not a table. Write its keys in {{ }}.")
    return False


# ---- one value -----------------------------------------------------------------------------


def text(value: Any, place: Place) -> str | None:
    """Read words, on one line."""
    if isinstance(value, str) and value.strip():
        return None if _is_long(value, place) else " ".join(value.split())
    place.fault(f"{in_short(value)} says nothing. Write words in quotes.")
    return None


def _is_long(value: Any, place: Place) -> bool:
    if not isinstance(value, str) or len(value) <= MOST_LETTERS:
        return False
    place.fault(f"{len(value):,} letters are there, and {MOST_LETTERS:,} may be.")
    return True


def _as_it_is(kind: type, fault: str) -> Reader:
    def read(value: Any, place: Place) -> Any:
        if isinstance(value, kind):
            return None if _is_long(value, place) else value
        place.fault(f"{in_short(value)} {fault}")
        return None

    return read


any_text = _as_it_is(str, "is not text in quotes.")  # it may be empty
flag = _as_it_is(bool, "is neither true nor false.")


def number(
    least: float = -MOST_NUMBER,
    most: float = MOST_NUMBER,
    *,
    above: bool = False,
    noun: str = "number",
    of: Any = int | float,
) -> Reader:
    """Make a reader of a number that a person may have meant; `above` leaves `least` out."""
    limits = " here"
    if abs(least) < MOST_NUMBER and abs(most) < MOST_NUMBER:
        limits = f" from {least:g} to {most:g}"
    elif abs(least) < MOST_NUMBER:
        limits = f" above {least:g}" if above else f", {least:g} or more"

    def read(value: Any, place: Place) -> Any:
        bare = isinstance(value, int | float) and not isinstance(value, bool)  # true is a 1
        within = bare and least <= value <= most and not (above and value == least)  # nan is not
        if within and isinstance(value, of):
            return value
        how = "" if bare else " Write one without quotes or unit."
        place.fault(f"{in_short(value)} is not a {noun}{limits}.{how}")
        return None

    return read


def whole(least: int, most: float = MOST_NUMBER) -> Reader:
    """Make a reader of a whole number."""
    return number(least, most, noun="whole number", of=int)


def measure(
    kind: str,
    least: float = 0.0,
    most: float = MOST_NUMBER,
    *,
    within: str = "0 to 1e9 in SI",
    zero: bool = False,
) -> Reader:
    """Make a reader of a quantity with its unit, into SI, within limits in SI and in words.

    `zero` says whether 0 may be; a negative one may be where `least` is below 0.
    """

    def read(value: Any, place: Place) -> float | None:
        try:
            amount = quantity(value if isinstance(value, str) else repr(value), kind)
        except ValueError as error:
            place.fault(f"{error}.")
            return None
        if amount < 0 <= least:
            place.fault(
                f"{in_short(value)} is negative. Give {'0 or more' if zero else 'above 0'}."
            )
        elif amount == 0 and not zero:
            place.fault(f"{in_short(value)} is nothing. Give above 0.")
        elif not least <= amount <= most:
            place.fault(f"{in_short(value)} cannot be. It lies from {within}.")
        else:
            return amount
        return None

    return read


def date(value: Any, place: Place) -> datetime.date | None:
    """Read a day: a date in TOML, text in JSON."""
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    try:
        return datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        place.fault(f"{in_short(value)} is not a date. Write one like this: 2026-11-20.")
        return None


def one_of(noun: str, words: Collection[str]) -> Reader:
    """Make a reader of one word out of these."""

    def read(value: Any, place: Place) -> str | None:
        if isinstance(value, str | int) and str(value) in words:  # a notch called 2 is "2"
            return next(word for word in words if word == str(value))
        near = nearest(value, words) if isinstance(value, str) else ""
        hints = " ".join(filter(None, (near, f"Use {either(words)}.")))
        place.fault(f"{in_short(value)} is not a {noun}. {hints}")
        return None

    return read


def or_none(read: Reader) -> Reader:
    """Let a value be none, as JSON says null."""
    return lambda value, place: None if value is None else read(value, place)


def some_of(noun: str, words: Collection[str]) -> Reader:
    """Make a reader of a list of these words; a lone word is a list of one."""
    one = one_of(noun, words)

    def read(value: Any, place: Place) -> tuple[str, ...]:
        several = value if isinstance(value, list) else [value]
        if not several:
            place.fault(f"an empty list never holds. Use {either(words)}.")
        return tuple(one(word, place) for word in several)

    return read


# ---- words of a message --------------------------------------------------------------------


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
        short = value if len(value) <= _LONGEST else f"{value[: _LONGEST - 1]}…"
        return json.dumps(short, ensure_ascii=False)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, datetime.date):
        return value.isoformat()
    return "nothing" if value is None else reprlib.repr(value)
