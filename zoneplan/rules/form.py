"""The form of a rules file: which keys it may hold, who reads each, and the rule made of them."""

import math
import operator
from collections import Counter
from collections.abc import Mapping
from typing import Any

from zoneplan import forms
from zoneplan.errors import either, quoted
from zoneplan.forms import Check, Key, Place, Reader, need, text
from zoneplan.rules.rule import CONFIDENCES, DECIDES, KINDS, KINDS_OF, Amount, Rule, Source
from zoneplan.rules.words import (
    ACTS,
    BY,
    CHOICES,
    FLAGS,
    GROUND,
    GROWS,
    JUDGEMENT,
    MEASURES,
    NUMBERED,
    Measure,
    is_judgement,
    si_per,
)
from zoneplan.units import N_PER_LBF

MOST_LOAD_N = 1000 * N_PER_LBF  # judged: several times what a row unit weighs


def rules_of(read: Mapping[str, Any], origin: str) -> tuple[Rule, ...]:
    """Make the rules of a file out of what `PAGE` read, in SI.

    Parameters
    ----------
    read : mapping
        By the keys of the file, its amounts in its own unit.
    origin : str
        Where the rules shall say that they came from.
    """
    si = si_per(read["unit"])
    return tuple(_rule(kind, rule, si, origin) for kind in KINDS for rule in read[kind])


def _rule(kind: str, read: Mapping[str, Any], si: float, origin: str) -> Rule:
    return Rule(
        id=read["id"],
        kind=kind,
        title=read["title"],
        when=read.get("when", {}),
        why=read["why"],
        sources=read["source"],
        confidence=read["confidence"],
        amount=_amount(read, si) if kind in ("base", "adjust", "factor") else None,
        least=_limit(kind, read, "least", si),
        most=_limit(kind, read, "most", si),
        acts=read.get("acts"),
        warns=read.get("warns"),
        plain=read.get("plain"),
        warns_plain=read.get("warns_plain"),
        origin=origin,
    )


def _limit(kind: str, read: Mapping[str, Any], key: str, si: float) -> float | None:
    """A cap's limit is a load, a factor's is none."""
    if key not in read or kind not in ("cap", "factor"):
        return None
    limit: float = read[key]
    return limit * si if kind == "cap" else limit


def _amount(read: Mapping[str, Any], si: float) -> Amount | None:
    if "acts" in read:
        if "value" not in read:
            return None
        gives = read["value"] * (si if read["acts"] == "bounce" else 1.0)
    else:
        gives = read.get("aim", read.get("add")) * si
    if "per" not in read:
        return Amount(fixed=gives)
    measure, step, above = read["per"]
    return Amount(
        each=gives,
        measure=measure.field,
        over=above * measure.si,
        step=step * measure.si,
        most=read["most"] * si if "most" in read and "acts" not in read else None,
    )


# ---- what does not go together, though each key is right ----------------------------------


def _check_page(read: Mapping[str, Any], place: Place) -> None:
    rules = [rule for kind in KINDS for rule in read.get(kind) or ()]
    decides, unit = read.get("decides"), read.get("unit")
    if unit and not _is_force(unit):
        place.key("unit").fault(f'"{unit}" is no unit of load. Use "lbf" or "N".')
    for kind in KINDS if isinstance(decides, str) else ():
        if decides and read.get(kind) and kind not in KINDS_OF[decides]:
            place.fault(f"[[{kind}]] has no part in {decides}. Use {either(KINDS_OF[decides])}.")
    most = MOST_LOAD_N / si_per(unit) if unit and _is_force(unit) else math.inf
    for rule in rules:
        loads: tuple[str, ...] = ("aim", "add", "least", "most")
        if "acts" in rule:
            loads = ("value",) if rule["acts"] == "bounce" else ()
        for key in loads:
            if abs(rule.get(key, 0)) > most:
                place.fault(
                    f'rule "{quoted(rule["id"])}" says {key} = {rule[key]:g} {unit}, which no row '
                    f"unit can carry. Write {most:,.0f} {unit} or less."
                )
    for known, count in Counter(rule["id"] for rule in rules).items():
        if count > 1:
            place.fault(f'rule "{known}" is written {count} times. Give each its own id.')


def _is_force(unit: str) -> bool:
    try:
        return si_per(unit) > 0
    except ValueError:
        return False


def _check_rule(read: Mapping[str, Any], place: Place) -> None:
    confidence, sources = read.get("confidence"), read.get("source")
    backed = any(source.backs == "value" for source in sources or ())
    if confidence in ("measured", "advised") and sources and not backed:
        place.fault(
            f'is "{confidence}", but no source backs its value. '
            'Name one that does, or call it "judged".'
        )
    if "warns_plain" in read and "warns" not in read:
        place.fault("has a warns_plain but no warns. Write the warning too, or leave it out.")


def _check_adjust(read: Mapping[str, Any], place: Place) -> None:
    _check_rule(read, place)
    if "most" in read and "per" not in read:
        place.fault("has a most but no per, and so nothing that grows. Leave one out.")


def _check_factor(read: Mapping[str, Any], place: Place) -> None:
    _check_rule(read, place)
    acts = read.get("acts")
    if not isinstance(acts, str):
        return
    grows, per = GROWS.get(acts), read.get("per")
    if acts in NUMBERED and "value" not in read:
        place.fault(f"acts on {acts} and has no value. Say how much.")
    elif acts not in NUMBERED and "value" in read:
        place.fault(f"acts on {acts}, whose number is in the program. Leave value out.")
    if grows and per is None and "per" not in read:
        place.fault(f"acts on {acts}, which grows. {grows.ask}")
    elif grows and per and not grows.fits(*per):
        place.fault(f"acts on {acts} and grows with something else. {grows.ask}")
    if grows and grows.ends not in read:
        place.fault(f"acts on {acts} and never ends. Say how far it goes: {grows.ends} = ...")
    for key in ("per", "least", "most"):
        if key in read and not (grows and key in ("per", grows.ends)):
            place.fault(f"acts on {acts}, which has no {key}. Leave {key} out.")
    for key in (read.get("when") or {}).keys() - {BY.get(acts)}:
        place.fault(f"acts on {acts}, which does not go by {key}. Leave it out of when.")


def _check_warn(read: Mapping[str, Any], place: Place) -> None:
    _check_rule(read, place)
    if not read.get("warns"):
        place.fault("warns of nothing. Write the warning: warns = ...")


def _check_cap(read: Mapping[str, Any], place: Place) -> None:
    _check_rule(read, place)
    if not read.keys() & {"least", "most"}:
        place.fault("caps nothing. Give least, most or both.")


def _check_source(read: Mapping[str, Any], place: Place) -> None:
    cite = read.get("cite")
    if cite and is_judgement(cite) and "backs" in read:
        place.fault("a judgement backs nothing. Leave backs out.")
    elif cite and not is_judgement(cite) and "backs" not in read:
        place.fault("does not say what it backs. Use value or direction.")


def _check_per(read: Mapping[str, Any], place: Place) -> None:
    if len(read) != 2 or "above" not in read:
        place.fault("give one step and where it starts: { speed_mph = 1, above = 5 }.")


# ---- the forms -----------------------------------------------------------------------------


def _range(measure: Measure) -> Reader:
    """From one number up to, but not with, another, into SI."""

    def bounds(read: Mapping[str, Any]) -> tuple[float, float]:
        return read.get("from", -math.inf), read.get("below", math.inf)

    def check(read: Mapping[str, Any], place: Place) -> None:
        if None not in read.values() and (not read or operator.ge(*bounds(read))):
            place.fault("never holds, or always. Give from, below or both, low to high.")

    def make(**read: float) -> tuple[float, float]:
        least, below = bounds(read)
        return least * measure.si, below * measure.si

    return forms.table({"from": forms.number(), "below": forms.number()}, make, check)


def _per(**read: float) -> tuple[Measure, float, float]:
    """What an amount grows with: (measure, step, above), in the measure's unit."""
    (key,) = read.keys() & MEASURES.keys()
    return MEASURES[key], read[key], read["above"]


def _allowed(value: Any, place: Place) -> tuple[bool | None, ...]:
    return (forms.flag(value, place),)


def _rules_of(kind: str) -> Key:
    own, check = _KINDS[kind]

    def called(number: int, value: Any) -> str:
        known = value.get("id") if isinstance(value, dict) else None
        return f'rule "{known}"' if known else f"{kind} {number}"

    rule = forms.table(_RULE | own, check=check)
    ask = f"Write two brackets each time: [[{kind}]]."
    return Key(forms.many(rule, called=called), ask=ask, usual=())


_GROUND: dict[str, Key | Reader] = {
    key: forms.some_of(key.replace("_", " "), words) for key, words in GROUND.items()
}
_SITUATION: dict[str, Key | Reader] = (
    {key: forms.some_of(key.replace("_", " "), words) for key, words in CHOICES.items()}
    | dict.fromkeys(FLAGS, _allowed)
    | {key: Key(_range(measure), field=measure.field) for key, measure in MEASURES.items()}
)
_SOURCE = forms.table(
    {
        "cite": need(text, "Say who wrote it, when and where."),
        "link": text,
        "backs": forms.one_of("thing a source backs", ("value", "direction")),
    },
    Source,
    _check_source,
)
_RULE: dict[str, Key | Reader] = {
    "id": need(text, "Give it a short one that no other rule has."),
    "title": need(text, "Name it in a few words."),
    "when": forms.table(_SITUATION),
    "why": need(text, "Say in a sentence why a grower should believe it."),
    "confidence": need(forms.one_of("confidence", CONFIDENCES), f"Use {either(CONFIDENCES)}."),
    "source": need(forms.many(_SOURCE), f'Name one, or write [{{ cite = "{JUDGEMENT}" }}].'),
    "plain": text,
    "warns": text,
    "warns_plain": text,
}
_ABOVE_0 = forms.number(0, above=True)
_PER = forms.table(dict.fromkeys(MEASURES, _ABOVE_0) | {"above": forms.number()}, _per, _check_per)
_KINDS: dict[str, tuple[dict[str, Key | Reader], Check]] = {  # keys of its own, and their check
    "base": (
        {
            "when": forms.table(_GROUND),
            "aim": need(forms.number(), "Say what to aim for, in the file's unit."),
        },
        _check_rule,
    ),
    "adjust": (
        {
            "add": need(forms.number(), "Say how much, in the file's unit; 0 where it only warns."),
            "per": _PER,
            "most": _ABOVE_0,
        },
        _check_adjust,
    ),
    "cap": ({"least": forms.number(), "most": forms.number()}, _check_cap),
    "factor": (
        {
            "acts": Key(forms.one_of("part of a swing", ACTS), ask=f"Use {either(ACTS)}."),
            "value": forms.number(),
            "per": _PER,
            "least": forms.number(),
            "most": forms.number(),
        },
        _check_factor,
    ),
    "stop": ({}, _check_rule),
    "test": ({}, _check_rule),
    "warn": ({}, _check_warn),
}
PAGE = forms.table(
    {
        "decides": need(
            forms.one_of("thing that rules decide", DECIDES),
            f"Say what the rules are for: {either(DECIDES)}.",
        ),
        "unit": need(text, 'Say what the amounts are in: "lbf" or "N".'),
        "revised": need(forms.date, "Write the day it was last changed: revised = 2026-11-20."),
        "drop": Key(forms.many(text), example='["one", "two"]', usual=()),
        "soils": Key(forms.table(dict.fromkeys(GROUND["texture_group"], text)), usual={}),
        **{kind: _rules_of(kind) for kind in KINDS},
    },
    check=_check_page,
)
