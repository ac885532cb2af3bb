"""Rules to TOML, laid out as the stock files are; and a rules file with one rule other.

What else the file says stays as a person laid it out.
"""

import datetime
import json
import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import tomlkit
from tomlkit.items import AoT

from zoneplan.rules.rule import KINDS, Amount, Rule, Source
from zoneplan.rules.words import MEASURE_OF, MEASURES, bounds, is_judgement, si_per

HEADING = (
    "# Written by zoneplan. It is laid over the stock rules; a known id takes that rule's place."
)
_KEY_OF = {measure.field: key for key, measure in MEASURES.items()}
_DIGITS = range(1, 18)  # 17 tell any two floats apart
_HEADER = re.compile(r"^[ \t]*\[+[ \t]*(?P<name>[^\]\n]*)", re.MULTILINE)
_OF_A_RULE = tuple(f"{kind}." for kind in KINDS)  # [[adjust.source]] belongs to the rule above it


def new_file(decides: str, unit: str, revised: datetime.date) -> str:
    """Begin a rules file of one's own."""
    return f"{HEADING}\n\n{lines({'decides': decides, 'unit': unit, 'revised': revised})}"


def in_unit(number: float | None, was: str, unit: str) -> float | None:
    """Write an amount in another unit."""
    return None if number is None else _number(number * si_per(was), si_per(unit))


def as_written(rule: Rule, unit: str) -> dict[str, Any]:
    """Give the keys of a rule's table in a file whose amounts are in `unit`; None where absent.

    >>> from zoneplan.rules.read import read_rules
    >>> written = as_written(read_rules().aim.rules[0], "lbf")
    >>> written["when"], written["aim"], written["most"]
    ({'texture_group': ['coarse'], 'moisture': ['dry']}, 110.0, None)
    """
    is_factor = rule.kind == "factor" and rule.acts != "bounce"
    si = 1.0 if is_factor else si_per(unit)
    gives, per = None, None
    most = rule.most
    if rule.amount:
        gives = rule.amount.fixed if rule.amount.measure is None else rule.amount.each
        per = _per(rule.amount)
        most = rule.most if rule.kind == "factor" else rule.amount.most
    return {
        "id": rule.id,
        "title": rule.title,
        "when": _when(rule.when),
        "aim": _number(gives, si) if rule.kind == "base" else None,
        "add": _number(gives, si) if rule.kind == "adjust" else None,
        "acts": rule.acts,
        "value": _number(gives, si) if rule.kind == "factor" else None,
        "per": per,
        "least": _number(rule.least, si),
        "most": _number(most, si),
        "why": rule.why,
        "plain": rule.plain,
        "warns": rule.warns,
        "warns_plain": rule.warns_plain,
        "confidence": rule.confidence,
        "source": [source_as_written(source) for source in rule.sources],
    }


def source_as_written(source: Source) -> dict[str, str | None]:
    """Give the keys of a source's table; a judgement backs nothing."""
    backs = None if is_judgement(source.cite) else source.backs
    return {"cite": source.cite, "link": source.link, "backs": backs}


def _per(amount: Amount) -> dict[str, float | None] | None:
    if amount.measure is None:
        return None
    si = MEASURE_OF[amount.measure].si
    key = _KEY_OF[amount.measure]
    return {key: _number(amount.step, si), "above": _number(amount.over, si)}


def _when(when: Mapping[str, tuple[object, ...]]) -> dict[str, Any]:
    return dict(_asked(name, allowed) for name, allowed in when.items())


def _asked(name: str, allowed: tuple[object, ...]) -> tuple[str, Any]:
    if name in MEASURE_OF:
        si = MEASURE_OF[name].si
        low_high = zip(("from", "below"), bounds(allowed), strict=True)
        limits = {end: _number(limit, si) for end, limit in low_high if math.isfinite(limit)}
        return _KEY_OF[name], limits
    if isinstance(allowed[0], bool):
        return name, allowed[0]
    return name, [str(value) for value in allowed]


def _number(value: float | None, si: float) -> float | None:
    """The shortest number that becomes this value again once it is read."""
    if value is None:
        return None
    near = value / si
    short = (float(f"{near:.{digits}g}") for digits in _DIGITS)
    beside = (math.nextafter(near, way) for way in (-math.inf, math.inf))
    return next((candidate for candidate in (*short, *beside) if candidate * si == value), near)


# ---- TOML -------------------------------------------------------------------------------------


def lines(keys: Mapping[str, Any]) -> str:
    """A line for each key that says something; tables in a list get a line each."""
    written = []
    for key, value in keys.items():
        if value is None or value in ([], {}):
            continue
        if key == "source":
            listed = "".join(f"    {_toml(one)},\n" for one in value)
            written.append(f"{key} = [\n{listed}]\n")
        else:
            written.append(f"{key} = {_toml(value)}\n")
    return "".join(written)


def _toml(value: Any) -> str:
    """Write one value on one line.

    Source
    ------
    TOML v1.0.0 (2021), "String": in a basic string, the quotation mark, the backslash and the
    control characters but the tab must be escaped. The escapes of JSON are all among those of
    TOML; DEL is the one that JSON leaves as it is.

    Examples
    --------
    >>> print(_toml({"from": 30.0, "names": ['a "b"', "c"]}))
    { from = 30, names = ["a \\"b\\"", "c"] }
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, dict):
        pairs = ", ".join(f"{key} = {_toml(one)}" for key, one in value.items() if one is not None)
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    return repr(value).removesuffix(".0")


# ---- a file with one rule other ------------------------------------------------------------------


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
        The rule, as `as_written` gives it, in the file's unit.
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
