"""One rules file, from TOML to rules in SI: which keys it may hold, and who reads each."""

import datetime
import math
import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from zoneplan.errors import RuleError, listed
from zoneplan.rules.keys import (
    Reader,
    date,
    flag,
    is_table,
    number,
    one_of,
    positive,
    some_of,
    table,
    tables,
    text,
    texts,
)
from zoneplan.rules.rule import CONFIDENCES, KINDS, Amount, Rule, Source
from zoneplan.rules.words import (
    CHOICES,
    FLAGS,
    GROUND,
    JUDGEMENT,
    MEASURES,
    Measure,
    either,
    is_judgement,
    si_per,
)

DECIDES = ("margin", "closing")


@dataclass(frozen=True)
class Page:
    """What one rules file says, in SI."""

    name: str
    decides: str
    unit: str
    revised: datetime.date
    rounding: float | None  # None: as the pages under it
    rules: tuple[Rule, ...]
    drop: tuple[str, ...]  # ids of rules to take away


def parse(name: str, content: bytes, origin: str) -> Page:
    """Read the bytes of one rules file.

    Parameters
    ----------
    name : str
        What to call the file in messages.
    content : bytes
        TOML, in UTF-8.
    origin : str
        Where its rules shall say that they came from.

    Raises
    ------
    RuleError
        With every fault of the file.
    """
    faults: list[str] = []
    given = _toml(name, content)
    page = table(given, _PAGE, "", faults)
    faults += [f"no {key}. {ask}" for key, ask in _PAGE_NEEDS.items() if key not in given]
    decides, unit = page.get("decides"), page.get("unit")
    si = _si(decides, unit, faults) if decides and unit else 1.0
    written = [(kind, n, rule) for kind in KINDS for n, rule in enumerate(page.get(kind, ()), 1)]
    rules = [
        _rule(kind, n, rule, unit=unit, si=si, origin=origin, faults=faults)
        for kind, n, rule in written
    ]
    ids = Counter(str(rule["id"]) for _, _, rule in written if "id" in rule)
    faults += [
        f'rule "{known}" is written {count} times. Give each its own id.'
        for known, count in ids.items()
        if count > 1
    ]
    if faults:
        raise RuleError(listed(name, faults))
    return Page(
        name=name,
        decides=page["decides"],
        unit=page["unit"],
        revised=page["revised"],
        rounding=page["rounding"] * si if "rounding" in page else None,
        rules=tuple(rule for rule in rules if rule),
        drop=page.get("drop", ()),
    )


def _toml(name: str, content: bytes) -> dict[str, Any]:
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise RuleError(
            f"{name} is not UTF-8 text: {error.reason} at byte {error.start}.\n"
            "Its words could be misread. Save it again as plain text, encoding UTF-8."
        ) from error
    except (ValueError, RecursionError) as error:  # TOMLDecodeError is a ValueError
        raise RuleError(
            f"{name} is not TOML: {error}.\n"
            "We won't guess what was meant. Mend that line and try again."
        ) from error


def _si(decides: str, unit: str, faults: list[str]) -> float:
    """One of the file's unit, in SI."""
    right = '"share", of the closing range' if decides == "closing" else '"lbf" or "N"'
    try:
        if (decides == "closing") == (unit == "share"):
            return si_per(unit)
    except ValueError:
        pass
    faults.append(f'unit: "{unit}" is no unit for {decides}. Use {right}.')
    return 1.0


def _rule(
    kind: str,
    number: int,
    given: dict[str, Any],
    *,
    unit: str | None,
    si: float,
    origin: str,
    faults: list[str],
) -> Rule | None:
    """One rule, or None and its faults."""
    before = len(faults)
    where = f'rule "{given["id"]}"' if given.get("id") else f"{kind} {number}"
    read = table(given, _RULE | _KEYS[kind], f"{where}, ", faults)
    needs = _RULE_NEEDS | _KIND_NEEDS[kind]
    faults += [
        f"{where} has no {key}. {ask}" for key, ask in needs.items() if given.get(key) in (None, [])
    ]
    if len(faults) == before:
        faults += [f"{where} {fault}" for fault in _contradictions(kind, unit, read)]
    if len(faults) > before:
        return None
    return Rule(
        id=read["id"],
        kind=kind,
        title=read["title"],
        when=read.get("when", {}),
        why=read["why"],
        sources=read["source"],
        confidence=read["confidence"],
        amount=_amount(read, si) if kind in ("base", "adjust") else None,
        least=read["least"] * si if "least" in read else None,
        most=read["most"] * si if "most" in read and kind == "cap" else None,
        warns=read.get("warns"),
        origin=origin,
    )


def _contradictions(kind: str, unit: str | None, read: Mapping[str, Any]) -> list[str]:
    """What is wrong between keys that are each right."""
    faults = []
    if kind == "cap" and not read.keys() & {"least", "most"}:
        faults.append("caps nothing. Give least, most or both.")
    if kind == "adjust" and "most" in read and "per" not in read:
        faults.append("has a most but no per, and so nothing that grows. Leave one out.")
    if read["confidence"] != "judged" and all(source.backs != "value" for source in read["source"]):
        faults.append(
            f'is "{read["confidence"]}", but no source backs its value. '
            'Name one that does, or call it "judged".'
        )
    if unit == "share":
        faults += [
            f"says {key} = {read[key]:g}, which is no share of a range. Write 0 to 1."
            for key in ("aim", "add", "least", "most")
            if abs(read.get(key, 0)) > 1
        ]
    return faults


def _amount(read: Mapping[str, Any], si: float) -> Amount:
    gives = read.get("aim", read.get("add")) * si
    if "per" not in read:
        return Amount(fixed=gives)
    measure, step, above = read["per"]
    return Amount(
        each=gives,
        measure=measure.field,
        over=above * measure.si,
        step=step * measure.si,
        most=read["most"] * si if "most" in read else None,
    )


# ---- which keys a file may hold, and who reads each --------------------------------------


def _range(measure: Measure) -> Reader:
    """From one number up to, but not with, another, into SI."""

    def read(found: Any, at: str, faults: list[str]) -> tuple[float, float] | None:
        if not is_table(found, at, faults):
            return None
        bounds = table(found, {"from": number, "below": number}, f"{at}.", faults)
        least, below = bounds.get("from", -math.inf), bounds.get("below", math.inf)
        if least is None or below is None:
            return None
        if not found or least >= below:
            faults.append(f"{at} never holds, or always. Give from, below or both, low to high.")
        return least * measure.si, below * measure.si

    return read


def _when(keys: Mapping[str, Reader]) -> Reader:
    """What must be so, by the names of Situation's fields."""

    def read(found: Any, at: str, faults: list[str]) -> dict[str, tuple[object, ...]] | None:
        if not is_table(found, at, faults):
            return None
        asked = table(found, keys, f"{at}.", faults)
        return {
            MEASURES[key].field if key in MEASURES else key: allowed
            for key, allowed in asked.items()
        }

    return read


def _per(found: Any, at: str, faults: list[str]) -> tuple[Measure, float, float] | None:
    """What an amount grows with: (measure, step, above), in the measure's unit."""
    if not is_table(found, at, faults):
        return None
    read = table(found, dict.fromkeys(MEASURES, positive) | {"above": number}, f"{at}.", faults)
    steps = [key for key in read if key in MEASURES]
    if len(steps) != 1 or "above" not in read:
        faults.append(f"{at}: give one step and where it starts: {{ speed_mph = 1, above = 5 }}.")
        return None
    return MEASURES[steps[0]], read[steps[0]], read["above"]


def _sources(found: Any, at: str, faults: list[str]) -> tuple[Source, ...] | None:
    read = [table(one, _SOURCE, f"{at}.", faults) for one in tables(found, at, faults)]
    for one in read:
        if "cite" not in one:
            faults.append(f"{at} has no cite. Say who wrote it, when and where.")
        elif is_judgement(one["cite"]) and "backs" in one:
            faults.append(f"{at}: a judgement backs nothing. Leave backs out.")
        elif not is_judgement(one["cite"]) and "backs" not in one:
            faults.append(f"{at} does not say what it backs. Use value or direction.")
    return tuple(Source(**one) for one in read if "cite" in one)


_GROUND = {key: some_of(key.replace("_", " "), words) for key, words in GROUND.items()}
_SITUATION = (
    {key: some_of(key.replace("_", " "), words) for key, words in CHOICES.items()}
    | dict.fromkeys(FLAGS, flag)
    | {key: _range(measure) for key, measure in MEASURES.items()}
)
_SOURCE: dict[str, Reader] = {
    "cite": text,
    "link": text,
    "backs": one_of("thing a source backs", ("value", "direction")),
}
_PAGE: dict[str, Reader] = {
    "decides": one_of("thing that rules decide", DECIDES),
    "unit": text,
    "revised": date,
    "rounding": positive,
    "drop": texts,
} | dict.fromkeys(KINDS, tables)
_PAGE_NEEDS = {
    "decides": f"Say what the rules are for: {either(DECIDES)}.",
    "unit": 'Say what the amounts are in: "lbf" for the margin, "share" for closing.',
    "revised": "Write the day it was last changed: revised = 2026-11-20.",
}
_RULE: dict[str, Reader] = {
    "id": text,
    "title": text,
    "when": _when(_SITUATION),
    "why": text,
    "confidence": one_of("confidence", CONFIDENCES),
    "source": _sources,
    "warns": text,
}
_RULE_NEEDS = {
    "id": "Give it a short one that no other rule has.",
    "title": "Name it in a few words.",
    "why": "Say in a sentence why a grower should believe it.",
    "confidence": f"Use {either(CONFIDENCES)}.",
    "source": f'Name one, or write cite = "{JUDGEMENT}".',
}
_KEYS: dict[str, dict[str, Reader]] = {
    "base": {"when": _when(_GROUND), "aim": number},
    "adjust": {"add": number, "per": _per, "most": positive},
    "cap": {"least": number, "most": number},
    "stop": {},
}
_KIND_NEEDS = {
    "base": {"aim": "Say what to aim for, in the file's unit."},
    "adjust": {"add": "Say how much, in the file's unit; 0 where it only warns."},
    "cap": {},
    "stop": {},
}
