"""The text of a rules file with one rule other: the rest of it stays as a person laid it out."""

import datetime
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import tomlkit
from tomlkit.items import AoT

from zoneplan.rules.rule import KINDS
from zoneplan.rules.write import lines

_HEADER = re.compile(r"^[ \t]*\[+[ \t]*(?P<name>[^\]\n]*)", re.MULTILINE)
_OF_A_RULE = tuple(f"{kind}." for kind in KINDS)  # [[adjust.source]] belongs to the rule above it


@dataclass(frozen=True)
class _Block:
    """A table of the file, from its header to its last value."""

    before: str  # comments and blank lines
    text: str


def with_rule(text: str, kind: str, keys: Mapping[str, Any], revised: datetime.date) -> str:
    """Put a rule into a file, in the place of the one of its id if it is there.

    Parameters
    ----------
    text : str
        A sound rules file.
    kind, keys : str, mapping
        The rule, as `write.as_written` gives it, in the file's unit.
    revised : date
        The day to write at the head of the file.
    """
    head, *rules, tail = _blocks(text if text.endswith("\n") else f"{text}\n")
    same = [number for number, block in enumerate(rules) if _is_rule(block, keys["id"], kind)]
    if same:
        (number,) = same
        rules[number] = replace(rules[number], text=_changed(rules[number].text, kind, keys))
    else:
        rules = [*_but(rules, keys["id"]), _Block(tail.before, "")]
        tail = _Block("\n", f"[[{kind}]]\n{lines(keys)}")
    return _joined([_head(head, keys["id"], revised), *rules, tail])


def without_rule(text: str, rule_id: str, revised: datetime.date) -> str:
    """Take a rule, or what drops it, out of a file."""
    head, *rules = _blocks(text)
    return _joined([_head(head, rule_id, revised), *_but(rules, rule_id)])


def _blocks(text: str) -> list[_Block]:
    """The head of a file, its tables, and what stands after the last of them."""
    cuts = [0]
    for header in _HEADER.finditer(text):
        of_its_own = not header["name"].startswith(_OF_A_RULE)
        if of_its_own and header.start() and _is_toml(text[cuts[-1] : header.start()]):
            cuts.append(header.start())
    blocks, before = [], ""
    for start, end in zip(cuts, [*cuts[1:], None], strict=True):
        part = text[start:end]
        length = _to_last_value(part)
        blocks.append(_Block(before, part[:length]))
        before = part[length:]
    return [*blocks, _Block(before, "")]


def _to_last_value(part: str) -> int:
    """The length of a table without the comments and blank lines after it."""
    length = len(part)
    for line in reversed(re.findall(r"[^\n]*\n|[^\n]+", part)):
        if line.strip() and not line.lstrip().startswith("#"):
            break
        length -= len(line)
    return length if _is_toml(part[:length]) else len(part)  # a text may end like a comment


def _is_toml(text: str) -> bool:
    """Whether it is whole: a bracket within a text or a list begins no table."""
    try:
        tomllib.loads(text)
    except ValueError:
        return False
    return True


def _is_rule(block: _Block, rule_id: str, *kinds: str) -> bool:
    read = tomllib.loads(block.text)
    rules = [rule for kind in kinds or KINDS for rule in read.get(kind, ())]
    return any(_one_line(rule["id"]) == rule_id for rule in rules)


def _but(rules: Sequence[_Block], rule_id: str) -> list[_Block]:
    """All but one rule; what was written above it stays."""
    matches = [_is_rule(rule, rule_id) for rule in rules]
    return [
        _Block(block.before if block.before.strip() else "", "") if away else block
        for block, away in zip(rules, matches, strict=True)
    ]


def _changed(text: str, kind: str, keys: Mapping[str, Any]) -> str:
    document = tomlkit.parse(text)
    table = document[kind][0]
    values = {key: value for key, value in keys.items() if value not in (None, [], {})}
    for key in [*table]:
        if key not in values or isinstance(table[key], AoT):
            del table[key]
    for key, value in values.items():
        if key not in table or table[key].unwrap() != value:
            table[key] = tomlkit.parse(lines({key: value}))[key]
    return tomlkit.dumps(document)


def _head(head: _Block, rule_id: str, revised: datetime.date) -> _Block:
    """The head of a file that was changed that day, and no longer drops a rule."""
    values: Any = tomlkit.parse(head.text)
    values["revised"] = revised
    dropped = [name for name in values.get("drop", ()) if _one_line(name) == rule_id]
    for name in dropped:
        values["drop"].remove(name)
    if dropped and not values["drop"]:
        del values["drop"]
    return replace(head, text=tomlkit.dumps(values))


def _one_line(words: str) -> str:
    return " ".join(words.split())


def _joined(blocks: Sequence[_Block]) -> str:
    return "".join(block.before + block.text for block in blocks)
