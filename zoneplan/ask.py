"""How one value of a plan is asked for at every door: Ask, carried by the field that holds it.

Limits are told once, in SI. The options of the command line, the boxes of the app and the form of
a saved request are made from it.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from functools import partial
from typing import Any

from zoneplan.errors import LayerError
from zoneplan.units import si, to


class Part(StrEnum):
    """What a value is about; the doors group what they ask by it."""

    FIELD = "field"
    SOIL = "soil"
    MARKS = "marks"
    DAY = "day"
    ZONES = "zones"
    TITLE = "title"  # whose plan it is, and who made it
    PERSON = "person"  # made by hand on a map or in a zone, never typed into a box


class Form(StrEnum):
    """What kind of value is asked for."""

    TEXT = "text"
    NUMBER = "number"
    WHOLE = "whole"
    FLAG = "flag"
    DATE = "date"
    CHOICE = "choice"
    CHOICES = "choices"
    PAIRS = "pairs"  # a name and a value each
    FILE = "file"
    FILES = "files"
    NOUNS = "nouns"


@dataclass(frozen=True)
class Ask:
    """How one value is asked for at every door. Limits are in SI."""

    form: Form
    part: Part
    label: str  # of its box
    help: str = ""  # a sentence
    option: str = ""  # on the command line; with "{}" one for each of `keys`
    example: str = ""  # or the word that stands for a value in the help
    usual: str = ""  # what holds where it is left open
    unit: str = ""  # that it is shown in, as `units` names it
    kind: str = ""  # of quantity, as `units` names it
    least: float | None = None
    most: float | None = None
    step: float = 1.0  # of its box, in `unit`
    choices: tuple[str, ...] = ()
    keys: Mapping[str, str] | None = None  # of pairs: what each holds; None: of any name
    needs: str = ""  # the value or file without which nobody asks for it

    @property
    def box(self) -> str:
        """The label with its unit."""
        return f"{self.label}, {self.unit}" if self.unit else self.label

    def shown(self, value: Any) -> Any:
        """Turn a number in SI into what is shown."""
        if value is None or not self.kind:
            return value
        return round(to(value, self.unit, self.kind), 9)

    def taken(self, value: Any) -> Any:
        """Turn a number that was given as it is shown into SI."""
        if value is None or not self.kind:
            return value
        return round(si(value, self.unit, self.kind), 12)

    def fault(self, value: Any) -> str | None:
        """Tell what is wrong with a value; None where nothing is."""
        if value is None:
            return None
        if self.form in (Form.NUMBER, Form.WHOLE) and not self._within(value):
            return f"{self.shown(value):g} {self.unit}".rstrip() + f" is not {self.limits()}"
        chosen = [value] if self.form is Form.CHOICE else value
        if self.form in (Form.CHOICE, Form.CHOICES):
            unknown = [str(choice) for choice in chosen if choice not in self.choices]
            if unknown:
                return f"{', '.join(unknown)} is none of {', '.join(self.choices)}"
            if len({*chosen}) < len(chosen):
                return "one of them is given twice"
        return None

    def limits(self) -> str:
        """Say between what a number lies."""
        least, most = self.shown(self.least), self.shown(self.most)
        words = f"{least:g} or more" if most is None else f"from {least:g} to {most:g}"
        return f"{words} {self.unit}".rstrip()

    def _within(self, value: float) -> bool:
        least = -math.inf if self.least is None else self.least
        most = math.inf if self.most is None else self.most
        return least <= value <= most or any(math.isclose(value, limit) for limit in (least, most))


def asked(default: Any, form: Form, part: Part, label: str, help: str = "", **more: Any) -> Any:
    """Make a field that carries its `Ask`."""
    metadata = {"ask": Ask(form, part, label, help, **more)}
    return field(default=default, metadata=metadata)


text = partial(asked, None, Form.TEXT)
flag = partial(asked, False, Form.FLAG)
one_file = partial(asked, None, Form.FILE)
many_files = partial(asked, (), Form.FILES)


def asks(noun: Any) -> Iterator[tuple[str, Ask]]:
    """Give the fields of a noun that are asked for, by name, in their order."""
    yield from (
        (attribute.name, attribute.metadata["ask"])
        for attribute in fields(noun)
        if "ask" in attribute.metadata
    )


def pairs_from(texts: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Take names with their values, each as in "clay=2".

    Raises
    ------
    LayerError
        Where one has no value.
    """
    entries = [text.strip() for text in texts]
    pairs = tuple((name, value) for name, _, value in (text.partition("=") for text in entries))
    if not all(value for _, value in pairs):
        raise LayerError(
            f"{', '.join(entries)} names no band: write it as in clay=2.",
            parameter="bands",
            example="clay=2",
        )
    return pairs
