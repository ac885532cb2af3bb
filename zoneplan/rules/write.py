"""Rules to TOML, laid out as the stock files are."""

import datetime
import json
import math
from collections.abc import Mapping
from typing import Any

from zoneplan.rules.rule import Amount, Rule, Source
from zoneplan.rules.words import MEASURE_OF, MEASURES, bounds, is_judgement, si_per

HEADING = (
    "# Written by zoneplan. It is laid over the stock rules; a known id takes that rule's place."
)
_KEY_OF = {measure.field: key for key, measure in MEASURES.items()}
_DIGITS = range(1, 18)  # 17 tell any two floats apart


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
