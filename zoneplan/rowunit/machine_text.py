"""A machine file with other values in it: what is not another value stays, letter for letter."""

import tomllib
from collections.abc import Collection, Mapping
from typing import Any

import tomlkit
from tomlkit.items import AoT, Table

from zoneplan.rowunit.machine_file import NO_GENERIC_HAS, OLD_NAMES, new_machine_text

OWN = "as given by its owner"


def with_content(text: str, content: Mapping[str, Any]) -> str:
    """Put values into a machine file; it is generic no more, and says so nowhere.

    What is left out of `content` is taken out of the file. Comments stay, but those beside a value
    that is another now, and those that say that all numbers are invented. A list is one value.

    Parameters
    ----------
    text : str
        A sound machine file.
    content : mapping
        Keys and values as TOML has them: `read_content` reads them to the same planter.
    """
    before = tomllib.loads(text)
    file: Any = tomlkit.parse(_without_head(text) if before.get("generic") else text)
    given = NO_GENERIC_HAS if before.get("generic") else ()
    kind = content["system"]["kind"]
    if kind != before.get("system", {}).get("kind"):
        file["system"] = tomlkit.parse(new_machine_text(OLD_NAMES.get(kind, kind)))["system"]
        _lay(file["system"], content["system"], NO_GENERIC_HAS)
    else:
        _lay(file["system"], content["system"], given)
    _lay(file, {key: content[key] for key in content if key not in ("system", "generic")}, given)
    return tomlkit.dumps(file)


def _without_head(text: str) -> str:
    """Leave out the comments above the first key: they say that the numbers are invented."""
    lines = text.splitlines(keepends=True)
    first = next(at for at, line in enumerate(lines) if line.strip() and line.lstrip()[0] != "#")
    return "".join(lines[first:])


def _lay(table: Any, content: Mapping[str, Any], given: Collection[str]) -> None:
    """Lay values over a table; each that is new, or was given, with a comment whose it is."""
    before = table.unwrap()
    for key in before:
        if key not in content and key != "system":
            del table[key]
    for key, value in content.items():
        if key in before and _same(before[key], value) and key not in given:
            continue
        item = _item(value)
        item.comment(OWN)
        item.trivia.comment_ws = "  "
        if key in table and isinstance(table[key], AoT | Table):  # it may stand below the system
            del table[key]
        table[key] = item


def _same(one: Any, other: Any) -> bool:
    return type(one) is type(other) and one == other


def _item(value: Any) -> Any:
    """Write a value as a person would: tables of a list each on a line of its own."""
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        table.update(value)
        return table
    if not isinstance(value, list | tuple):
        return tomlkit.item(value)
    array = tomlkit.array()
    array.multiline(any(isinstance(one, Mapping | list | tuple) for one in value))
    for one in value:
        array.append(_item(one))
    return array
