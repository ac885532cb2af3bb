"""A planter as it is being filled in: what a machine file says, with empty places in it.

Fields, their kinds and their limits are those of the machine file (`rowunit.machine_file`).
"""

import re
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, field, replace
from typing import Any

from zoneplan import forms
from zoneplan.errors import MachineError
from zoneplan.forms import Fault, Key, Measure, Number, Reader, Way
from zoneplan.plain_file import toml
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.machine_file import (
    KEYS,
    LISTS,
    NO_GENERIC_HAS,
    OLD_NAMES,
    SYSTEM_KEYS,
    new_machine_text,
    read_content,
)
from zoneplan.rowunit.machine_text import with_content
from zoneplan.say.quantities import unit
from zoneplan.terms import System
from zoneplan.units import quantity, to, unit_of

QUANTITIES = {  # kinds of measures, as `say.quantities` names them
    "force": "load",
    "pressure": "pressure",
    "speed": "speed",
    "length": "length",
    "volume": "volume",
    "density": "density",
}
_MOST, _MOST_LETTERS = 40, 200  # items of a list and letters of a value, in the form
_EMPTY = "the list is empty."
_MAY_STAY_EMPTY = tuple(
    name
    for keys in (KEYS, *SYSTEM_KEYS.values())
    for name, key in keys.items()
    if name not in NO_GENERIC_HAS
    and not (isinstance(key, Key) and key.asks(name) and not key.usual)
)
_ENOUGH = 2  # items of a list, to draw by before the rest is there
_BARE = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)")
Content = dict[str, Any]


@dataclass(frozen=True)
class Filling:
    """One planter, half filled in or whole. It is never changed: each change gives another."""

    base: str  # the machine file that it began from
    content: Content  # as TOML has it; None is empty
    asked_for: bool = False  # whether a person said that it is whole
    touched: bool = False
    turn: int = 0  # counts how often the boxes were filled from here
    set_aside: Mapping[str, Content] = field(default_factory=dict)  # by kind: systems left

    @property
    def kind(self) -> System:
        """What presses the row unit down."""
        kind = self.content["system"]["kind"]
        return System(OLD_NAMES.get(kind, kind))

    @property
    def whole(self) -> Content:
        """Without the empty places."""
        whole: Content = _without_empty(self.content)
        return whole

    def read(self) -> tuple[Machine | None, tuple[Fault, ...]]:
        """Read the planter, with each fault at its place.

        A list that its owner emptied is a fault though a file may leave it out: what stands for it
        there is nobody's planter.
        """
        machine, faults = read_content(self.whole)
        faulty = {fault.way for fault in faults}
        emptied = tuple(
            Fault(f"{way[-1]}: {_EMPTY}", way, _EMPTY)
            for way in [("notches",), *(("system", key) for key in self.content["system"])]
            if self.at(way) == [] and self.typical(way) and way not in faulty
        )
        return (None if emptied else machine), (*faults, *emptied)

    def guessed(self) -> Machine | None:
        """Read it with typical values in the empty places; None where something is wrong."""
        return read_content(_without_empty(_filled(self.content, self._began)))[0]

    def text(self) -> str:
        """Write it as a machine file: what was not changed stays as it was there."""
        return with_content(self.base, self.whole)

    def at(self, way: Way) -> Any:
        """What a place holds; None where it is empty."""
        return _at(self.content, way)

    def typical(self, way: Way) -> Any:
        """What stands for an empty place until it is filled in; None where it may stay empty."""
        return _at(self._began, way) if way[-1] not in _MAY_STAY_EMPTY else None

    @property
    def _began(self) -> Content:
        """What the file that it began from says, or the generic one of its system."""
        began = _contents(self.base)
        if began["system"]["kind"] != self.content["system"]["kind"]:
            began["system"] = _contents(new_machine_text(self.kind))["system"]
        return began

    def put(self, way: Way, value: Any) -> "Filling":
        """Put a value in a place."""
        content = deepcopy(self.content)
        place: Any = content
        for step in way[:-1]:
            place = place[step]
        place[way[-1]] = value
        return replace(self, content=content, touched=True)

    def longer(self, way: Way) -> "Filling":
        """Add an empty item to a list."""
        parts = LISTS[str(way[-1])]
        item: Any = None
        if not isinstance(parts, Key):
            item = [None for _ in parts] if 0 in parts else {part: _blank(part) for part in parts}
        return self.put(way, [*(self.at(way) or []), item])

    def shorter(self, way: Way, number: int) -> "Filling":
        """Take an item out of a list."""
        items = [*self.at(way)]
        del items[number]
        return replace(self.put(way, items), turn=self.turn + 1)

    def on(self, kind: System) -> "Filling":
        """Another downforce system; what was said of the one before is kept."""
        left = {**self.set_aside, self.kind: self.content["system"]}
        system = left.get(kind) or begun(new_machine_text(kind)).content["system"]
        turned = replace(self.put(("system",), system), set_aside=left)
        return replace(turned, turn=self.turn + 1)


def begun(text: str) -> Filling:
    """Begin from a machine file; of a generic one, what no generic one can know is left empty.

    Raises
    ------
    MachineError
        For what is not TOML. One with faults is begun from: they are told beside the boxes.
    """
    content, generic = _contents(text), _toml(text).get("generic") is True
    for key, value in [*content.items(), *content["system"].items()]:
        if isinstance(value, list) and len(value) > _MOST:
            raise MachineError(
                f"{key}: {len(value):,} are there, and the form takes {_MOST}.\n"
                "It would be longer than anybody reads. Change the file itself."
            )
    emptied = {key: _emptied(value, generic, key) for key, value in content.items()}
    emptied["system"] = {
        key: _emptied(value, generic, key) for key, value in content["system"].items()
    }
    return Filling(text, emptied)


def shown(reader: Reader, value: Any, units: str) -> str:
    """Say what a box holds: a bare number in the unit of the form, or what was typed.

    >>> shown(Measure("force"), "80 kg", "us"), shown(Measure("force"), "171.50 lb", "us")
    ('176.37', '171.50')
    """
    if value is None or not isinstance(reader, Measure):
        return "" if value is None else str(value)
    word = unit_word(reader, units)
    if unit_of(value) == word:
        return str(value).removesuffix(word).strip()
    try:
        amount = to(quantity(value, reader.kind), word, reader.kind)
    except ValueError:
        return str(value)
    return f"{round(amount, 2):.10g}" if abs(amount) >= 1 else f"{amount:.3g}"


def typed(reader: Reader, text: str, units: str) -> str | None:
    """Take what a person typed as a machine file has it; a bare number gets the form's unit.

    >>> typed(Measure("force"), "171.5", "us"), typed(Measure("force"), "80 kg", "us")
    ('171.5 lb', '80 kg')
    """
    line = " ".join(text.replace("−", "-").split())
    if isinstance(reader, Measure) and _BARE.fullmatch(line):
        return f"{line} {unit_word(reader, units)}"
    return line or None


def unit_word(reader: Measure, units: str) -> str:
    """Name the unit of a box."""
    if reader.kind == "time":
        return "min" if reader.most > 3600 else "s"
    return unit(QUANTITIES[reader.kind], units)


# ---- contents ------------------------------------------------------------------------------------


def _toml(text: str) -> Content:
    return toml("The machine file", text.encode(), MachineError)


def _contents(text: str) -> Content:
    """What a machine file says, by its known keys alone and in the shapes that boxes have."""
    file = _toml(text)
    content = {key: _shaped(key, file.get(key)) for key in KEYS if key not in ("generic", "system")}
    system = file.get("system")
    system = system if isinstance(system, dict) else {}
    kind = str(system.get("kind"))
    if OLD_NAMES.get(kind, kind) not in SYSTEM_KEYS:
        kind = System.SPRINGS.value
    keys = SYSTEM_KEYS[System(OLD_NAMES.get(kind, kind))]
    content["system"] = {"kind": kind, **{key: _shaped(key, system.get(key)) for key in keys}}
    return content


def _shaped(key: str, value: Any) -> Any:
    """Give a value the shape that its boxes have."""
    if key not in LISTS:
        reader = _read_by(key)
        if isinstance(reader, Number):
            return value if reader(value, forms.Place([])) is not None else None
        return None if isinstance(value, list | dict) else _word(value)
    parts, items = LISTS[key], value if isinstance(value, list) else []
    if isinstance(parts, Key):
        return [_word(item) for item in items]
    if 0 in parts:
        return [[_word(_at(item, (part,))) for part in parts] for item in items]
    return [{part: _word(_at(item, (part,))) for part in parts} for item in items]


def _word(value: Any) -> Any:
    """Give a value as a box has it; one that no box takes is left to be given."""
    if value is None or isinstance(value, bool):
        return value
    word = str(value)
    return word if len(word) <= _MOST_LETTERS else None


def reader_at(way: Way) -> Reader:
    """Find what reads a place."""
    key, *rest = way[1:] if way[0] == "system" else way
    if not rest:
        return _read_by(str(key))
    parts = LISTS[str(key)]
    return parts.read if isinstance(parts, Key) else parts[rest[-1]].read


def _read_by(key: str) -> Reader:
    for keys in (KEYS, *SYSTEM_KEYS.values()):
        if key in keys:
            entry = keys[key]
            return entry.read if isinstance(entry, Key) else entry
    raise KeyError(key)


def _blank(part: str | int) -> bool | None:
    return True if part == "cuts_soil" else None  # a box that is ticked or not is never empty


def _emptied(value: Any, generic: bool, key: str) -> Any:
    if not generic or key not in NO_GENERIC_HAS:
        return value
    if key == "notches":
        return [{**notch, "load": None} for notch in value]
    if isinstance(value, list):
        return [[None] * len(item) if isinstance(item, list) else None for item in value]
    return None


def _without_empty(value: Any) -> Any:
    """Leave out empty keys, and lists of nothing; an empty place in a row stays."""
    if isinstance(value, dict):
        return {
            key: _without_empty(one) for key, one in value.items() if one is not None and one != []
        }
    return [_without_empty(one) for one in value] if isinstance(value, list) else value


def _filled(value: Any, typical: Any) -> Any:
    """Put typical values into the empty places; of a list, all or none."""
    if isinstance(value, dict):
        return {
            key: one if key in _MAY_STAY_EMPTY else _filled(one, _at(typical, (key,)))
            for key, one in value.items()
        }
    if not isinstance(value, list):
        return typical if value is None else value
    whole = [item for item in value if None not in _parts(item)]
    return whole if len(whole) >= _ENOUGH or whole == value else typical or []


def _parts(item: Any) -> list[Any]:
    return (
        [*item.values()] if isinstance(item, dict) else item if isinstance(item, list) else [item]
    )


def _at(content: Any, way: Way) -> Any:
    """Go to a place; None where there is none."""
    place = content
    for step in way:
        if isinstance(place, dict):
            place = place.get(step)
        elif isinstance(place, list) and isinstance(step, int) and step < len(place):
            place = place[step]
        else:
            return None
    return place
