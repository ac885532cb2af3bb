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
import math
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeGuard

from zoneplan.errors import either, in_short, listed, nearest, quoted
from zoneplan.units import quantity, to, unit_of

MOST_NUMBER = 1e9  # past this it is a slip of the keyboard
MOST_ITEMS = 10_000  # of one list: nobody writes as many
MOST_LETTERS = 10_000  # of one text


Way = tuple[str | int, ...]  # to a place in a file: keys, and numbers of items from 0


class Fault(str):
    """A fault as it is told, with its place; and, for who shows it there, without."""

    way: Way
    words: str

    def __new__(cls, sentence: str, way: Way, words: str) -> "Fault":
        """Make one."""
        fault = super().__new__(cls, sentence)
        fault.way, fault.words = way, words
        return fault


@dataclass(frozen=True)
class Place:
    """A place in a file, and the list that every fault of that file goes to."""

    faults: list[str]  # each a Fault
    at: str = ""
    joint: str = ""
    ask: str = ""  # what to write here
    way: Way = ()

    def key(self, key: str, ask: str = "") -> "Place":
        """Go to a key of the table that is here."""
        way, key = (*self.way, key), quoted(key)
        return Place(self.faults, f"{self.at}{self.joint}{key}", ".", ask, way)

    def item(self, number: int) -> "Place":
        """Go to an item of the list that is here, counted from 1."""
        return Place(self.faults, f"{self.at}, {number}", ", ", way=(*self.way, number - 1))

    def called(self, name: str) -> "Place":
        """Call this place by a name of its own."""
        return Place(self.faults, quoted(name), ", ", way=self.way)

    def fault(self, words: str, *further: str | int) -> None:
        """Tell a fault of what is here, or `further` on the way."""
        sentence = f"{self.at}: {words}" if self.at else words
        self.faults.append(Fault(sentence, (*self.way, *further), words))

    def lacks(self, key: str, ask: str) -> None:
        """Tell that a key is missing here, and what to write."""
        sentence = f"{self.at} has no {key}. {ask}" if self.at else f"no {key}. {ask}"
        self.faults.append(Fault(sentence, (*self.way, key), ask))

    def unknown(self, key: str, hint: str) -> None:
        """Tell of a key that nobody reads."""
        there = self.key(key)
        words = f"is not a key here. {hint}"
        self.faults.append(Fault(f"{there.at} {words}", there.way, words))


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
                place.unknown(name, hint)
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
            of(item, there.called(called(number, item)) if called else there)
            for number, item in enumerate(value, start=1)
            for there in [place.item(number)]
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


def rising(values: Iterable[float | None], place: Place, noun: str, *cell: str | int) -> None:
    """Tell where a list does not rise from each value to the next; `cell` has it in an item."""
    for number, (first, second) in enumerate(pairwise(values), start=2):
        if first is not None and second is not None and second <= first:
            words = f"{noun} {number} does not rise above the one before it."
            place.fault(words, number - 1, *cell)


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


@dataclass(frozen=True)
class Number:
    """Reads a number that a person may have meant; `above` leaves `least` out."""

    least: float = -MOST_NUMBER
    most: float = MOST_NUMBER
    above: bool = False
    noun: str = "number"
    of: Any = int | float

    def __call__(self, value: Any, place: Place) -> Any:
        """Read one."""
        bare = isinstance(value, int | float) and not isinstance(value, bool)  # true is a 1
        within = bare and self.least <= value <= self.most  # nan is not
        if within and isinstance(value, self.of) and not (self.above and value == self.least):
            return value
        how = "" if bare else " Write one without quotes or unit."
        place.fault(f"{in_short(value)} is not a {self.noun}{self._limits()}.{how}")
        return None

    def _limits(self) -> str:
        least, most = self.least, self.most
        if abs(least) >= MOST_NUMBER:
            return " here"
        if abs(most) < MOST_NUMBER:
            return f" from {least:g} to {most:g}"
        return f" above {least:g}" if self.above else f", {least:g} or more"


def whole(least: int, most: float = MOST_NUMBER) -> Number:
    """Make a reader of a whole number."""
    return Number(least, most, noun="whole number", of=int)


@dataclass(frozen=True)
class Measure:
    """Reads a quantity with its unit, into SI; limits are in SI, and told in the unit given.

    `zero` says whether 0 may be; a negative one may be where `least` is below 0.
    """

    kind: str  # as `units` names it
    least: float = 0.0
    most: float = MOST_NUMBER
    zero: bool = False

    def __call__(self, value: Any, place: Place) -> float | None:
        """Read one."""
        try:
            amount = quantity(value if isinstance(value, str) else repr(value), self.kind)
        except ValueError as error:
            place.fault(f"{error}.")
            return None
        if amount < 0 <= self.least:
            more = "0 or more" if self.zero else "above 0"
            place.fault(f"{in_short(value)} is negative. Give {more}.")
        elif amount == 0 and not self.zero:
            place.fault(f"{in_short(value)} is nothing. Give above 0.")
        elif not self.least <= amount <= self.most:
            limits = self.limits(unit_of(value))
            place.fault(f"{in_short(value)} cannot be. It lies from {limits}.")
        else:
            return amount
        return None

    def limits(self, unit: str) -> str:
        """Say between what it lies, in a unit.

        >>> Measure("force", 50.0, 10_000.0).limits("lb")
        '12 to 2,200 lb'
        """
        least, most = (to(end, unit, self.kind) for end in (self.least, self.most))
        return f"{_in_figures(least, math.ceil)} to {_in_figures(most, math.floor)} {unit}"


def _in_figures(value: float, inward: Callable[[float], int]) -> str:
    """Say a limit, which is judged, in two figures that lie within it: what is told may be.

    >>> _in_figures(2248.1, math.floor), _in_figures(0.19685, math.ceil)
    ('2,200', '0.2')
    """
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 1) if value else 1.0
    steps = value / step
    whole = round(steps) if math.isclose(steps, round(steps), rel_tol=1e-6) else inward(steps)
    rounded = float(f"{whole * step:.2g}")
    return f"{rounded:,.0f}" if abs(rounded) >= 100 else f"{rounded:g}"


def date(value: Any, place: Place) -> datetime.date | None:
    """Read a day: a date in TOML, text in JSON."""
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    try:
        return datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        place.fault(f"{in_short(value)} is not a date. Write one like this: 2026-11-20.")
        return None


@dataclass(frozen=True)
class OneOf:
    """Reads one word out of these."""

    noun: str
    words: Collection[str]

    def __call__(self, value: Any, place: Place) -> str | None:
        """Read one."""
        words = self.words
        if isinstance(value, str | int) and str(value) in words:  # a notch called 2 is "2"
            return next(word for word in words if word == str(value))
        near = nearest(value, words) if isinstance(value, str) else ""
        hints = " ".join(filter(None, (near, f"Use {either(words)}.")))
        article = "an" if self.noun[0] in "aeio" else "a"
        place.fault(f"{in_short(value)} is not {article} {self.noun}. {hints}")
        return None


number, measure, one_of = Number, Measure, OneOf  # as a form is written


def or_none(read: Reader) -> Reader:
    """Let a value be none, as JSON says null."""
    return lambda value, place: None if value is None else read(value, place)


def some_of(noun: str, words: Collection[str]) -> Reader:
    """Make a reader of a list of these words; a lone word is a list of one."""
    one: Reader = one_of(noun, words)

    def read(value: Any, place: Place) -> tuple[str, ...]:
        several = value if isinstance(value, list) else [value]
        if not several:
            place.fault(f"an empty list never holds. Use {either(words)}.")
        return tuple(one(word, place) for word in several)

    return read
