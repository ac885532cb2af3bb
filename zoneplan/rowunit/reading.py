"""A TOML file read key by key: every fault is kept, and none stops the reading."""

import math
import tomllib
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Literal

from zoneplan.errors import MachineError, nearest
from zoneplan.units import quantity

Sign = Literal["above 0", "0 or more", "any"]
EXAMPLES = {
    "force": "145 lb",
    "pressure": "30 psi",
    "speed": "5 mph",
    "length": "2 in",
    "volume": "1.6 bu",
    "density": "56 lb/bu",
    "time": "30 min",
}


def read_toml(path: Path) -> dict[str, object]:
    """Read a TOML file.

    Raises
    ------
    MachineError
        Where it cannot be opened, or is not TOML.
    """
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise MachineError(
            f"{path} cannot be read: {error.strerror}. Check the path and try again."
        ) from error
    except UnicodeDecodeError as error:
        raise MachineError(f"{path} is not plain text. Save it as UTF-8 and try again.") from error
    except tomllib.TOMLDecodeError as error:
        raise MachineError(f"{path} is not TOML: {error}. Put that right and try again.") from error


def suggest(wrong: str, right: Iterable[str]) -> str:
    """Name the nearest right word, or all of them.

    >>> suggest("row_spaceing", ["rows", "row_spacing"])
    'Did you mean "row_spacing"?'
    """
    right = list(right)
    return nearest(wrong, right) or f"Use one of: {', '.join(right)}."


class Table:
    """One table of a file, whose values are asked for by key.

    A value that is missing or at fault reads as nan, "" or an empty list, and the fault is
    kept in `faults`, which the tables of one file share.
    """

    def __init__(self, values: dict[str, object], faults: list[str], where: str = "") -> None:
        self.values = values
        self.faults = faults
        self.where = where
        self.asked: list[str] = []

    def fault(self, key: str, what: str) -> None:
        """Keep a fault of one key."""
        self.faults.append(f"{self.where}{key}: {what}")

    def has(self, key: str) -> bool:
        """Whether an optional key was written."""
        self.asked.append(key)
        return key in self.values

    def take(self, key: str, example: str) -> object:
        """Take a required value as it stands; None, and a fault, where it is missing."""
        if not self.has(key):
            self.fault(key, f"missing. Write it like this: {key} = {example}")
        return self.values.get(key)

    def text(self, key: str, example: str) -> str:
        """Take words."""
        value = self.take(key, f'"{example}"')
        if value is not None and not (isinstance(value, str) and value.strip()):
            self.fault(key, f'{value!r} is not a name. Write words in quotes, like "{example}".')
        return value if isinstance(value, str) else ""

    def choice(self, key: str, choices: Iterable[str]) -> str:
        """Take one of several words; "" where it is none of them."""
        choices = list(choices)
        value = self.take(key, f'"{choices[0]}"')
        if str(value) in choices:
            return str(value)
        if value is not None:
            self.fault(key, f'"{value}" is not known. {suggest(str(value), choices)}')
        return ""

    def whole(self, key: str, example: int) -> int:
        """Take a whole number of things, 1 or more; 1 where it is at fault."""
        value = self.take(key, str(example))
        if isinstance(value, int) and not isinstance(value, bool) and value >= 1:
            return value
        if value is not None:
            self.fault(key, f"{value!r} is not a whole number, 1 or more, without quotes.")
        return 1

    def number(self, key: str, example: float, most: float = math.inf) -> float:
        """Take a bare number from 0 to `most`."""
        value = self.take(key, str(example))
        if (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and math.isfinite(value)
            and 0 <= value <= most
        ):
            return float(value)
        if value is not None:
            limits = "0 or more" if math.isinf(most) else f"from 0 to {most:g}"
            self.fault(key, f"{value!r} is not a number {limits}, without quotes.")
        return math.nan

    def measure(self, key: str, kind: str, sign: Sign = "above 0") -> float:
        """Take a quantity with its unit, into SI."""
        value = self.take(key, f'"{EXAMPLES[kind]}"')
        return math.nan if value is None else self.convert(key, value, kind, sign)

    def convert(self, key: str, value: object, kind: str, sign: Sign = "above 0") -> float:
        """Turn one quantity into SI; nan, and a fault, where it is none."""
        try:
            measured = quantity(value if isinstance(value, str) else repr(value), kind)
        except ValueError as error:
            self.fault(key, f"{error}.")
            return math.nan
        if measured < 0 and sign != "any":
            self.fault(key, f'"{value}" is negative. Give {sign}.')
        elif measured == 0 and sign == "above 0":
            self.fault(key, f'"{value}" is nothing. Give {sign}.')
        else:
            return measured
        return math.nan

    def many(self, key: str, example: str) -> list[object]:
        """Take a list."""
        value = self.take(key, example)
        if value is not None and not isinstance(value, list):
            self.fault(key, f"{value!r} is not a list. Write it like this: {key} = {example}")
        return value if isinstance(value, list) else []

    def rising(self, key: str, values: list[float], unit_words: str) -> None:
        """Keep a fault where a list does not rise from each value to the next."""
        for number, (first, second) in enumerate(pairwise(values), start=2):
            if second <= first:
                self.fault(key, f"{unit_words} {number} does not rise above the one before it.")

    def refuse_unknown(self) -> None:
        """Keep a fault for every key that was never asked for. Call it last."""
        for key in self.values:
            if key not in self.asked:
                self.fault(key, f"not a key here. {suggest(key, self.asked)}")
