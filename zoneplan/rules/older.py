"""Rules files of older releases: what is read as it was, and what has to be changed, and how."""

from collections.abc import Iterator, Mapping
from typing import Any

from zoneplan.errors import quoted
from zoneplan.forms import in_short
from zoneplan.terms import System

_KINDS = ("base", "adjust", "cap", "stop")  # that an older file may have
_RENAMED = {"wetness": "moisture"}
_SYSTEMS = {"looped-air": str(System.CLOSED_LOOP_AIR)}
_GONE = {
    "past_plastic_limit": 'the odds decide now. In a file with decides = "stop" write '
    "smear_pct = { from = 75 } for past_plastic_limit = true.",
}

# The span of closing loads that a share was taken of, in lbf: see the head of closing.toml.
_SPAN_FROM, _SPAN = 20.0, 60.0

# What acts on the swing now, and so once: by the key of a `when` or `per`.
_ACTS = {
    "speed_mph": "speed",
    "tillage": "bounce",
    "residue_pct": "residue",
    "depth_in": "depth",
    "headland": "traffic",
    "track": "traffic",
}


def renamed(document: Mapping[str, Any]) -> dict[str, Any]:
    """Read the words of older releases whose meaning is the same."""
    return {
        key: [_renamed(rule) for rule in value]
        if key in _KINDS and isinstance(value, list)
        else value
        for key, value in document.items()
    }


def what_to_change(document: Mapping[str, Any]) -> list[str]:
    """Tell all that an older release wrote and this one does not read, and where it goes now."""
    changes = [*_head(document)]
    for kind, rule in _rules(document):
        name, when = f'rule "{quoted(rule.get("id"))}"', rule.get("when")
        if isinstance(when, dict):
            changes += [f"{name}, when.{key}: {_GONE[key]}" for key in when if key in _GONE]
        if document.get("decides") == "margin":
            changes.append(f"{name}: {_moved(kind, rule)}")
        elif document.get("unit") == "share":
            changes += [f"{name}, {change}" for change in _in_pounds(kind, rule)]
    return changes


def _renamed(rule: Any) -> Any:
    when = rule.get("when") if isinstance(rule, dict) else None
    if not isinstance(when, dict):
        return rule
    now = {
        _RENAMED.get(key, key) if _RENAMED.get(key) not in when else key: value
        for key, value in when.items()
    }
    if "system" in now:
        several = now["system"] if isinstance(now["system"], list) else [now["system"]]
        now["system"] = [
            _SYSTEMS.get(system, system) if isinstance(system, str) else system
            for system in several
        ]
    return rule | {"when": now}


def _rules(document: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for kind in _KINDS:
        several = document.get(kind)
        for rule in several if isinstance(several, list) else ():
            if isinstance(rule, dict):
                yield kind, rule


def _head(document: Mapping[str, Any]) -> Iterator[str]:
    if document.get("decides") == "margin":
        yield (
            'decides = "margin" is no more: what to aim for goes into a file with decides = "aim", '
            'what the soil bears into one with decides = "most", what makes the load swing into '
            'one with decides = "swing", when to wait into one with decides = "stop".'
        )
    if document.get("unit") == "share":
        yield (
            'unit = "share": closing is decided in pounds now. Write unit = "lbf", and '
            f"{_SPAN_FROM:g} + {_SPAN:g} × the share, which is its place in the span that was "
            "tried."
        )
    if "rounding" in document:
        yield (
            f"rounding = {in_short(document['rounding'])}: targets are rounded to 5 lb by the "
            "program. Leave it out."
        )


def _moved(kind: str, rule: Mapping[str, Any]) -> str:
    """Where a rule of a margin file belongs now."""
    if kind == "base":
        return (
            f'its aim, {in_short(rule.get("aim"))}, goes into a file with decides = "aim", under '
            f'the id "aim-{quoted(rule.get("id"))}" where it takes the place of a stock rule. '
            "It is the aim on tilled, level, bare ground at 5 mph and 2 in: the plan scales it "
            "elsewhere."
        )
    if kind == "cap":
        return (
            f'its most, {in_short(rule.get("most"))}, goes into a file with decides = "most". '
            "Leave its least out: the plan lifts a target to what keeps the wheels "
            "down 96 % of the time."
        )
    if kind == "stop":
        return 'it goes into a file with decides = "stop".'
    per, when = (
        (table if isinstance(table, dict) else {}) for table in (rule.get("per"), rule.get("when"))
    )
    acts = [act for key, act in _ACTS.items() if key in per] or [
        act for key, act in _ACTS.items() if key in when
    ]
    if acts:
        return (
            f"its add, {in_short(rule.get('add'))}, has no place: {acts[0]} acts on the swing, "
            f'once. Change the [[factor]] with acts = "{acts[0]}" in a file with decides = '
            '"swing", or leave the rule out.'
        )
    if not rule.get("add"):
        return (
            'it only warns: write it as a [[warn]], without add, in a file with decides = "stop".'
        )
    return f'its add, {in_short(rule["add"])}, goes into a file with decides = "aim".'


def _in_pounds(kind: str, rule: Mapping[str, Any]) -> Iterator[str]:
    """What each share of a closing rule comes to."""
    for key in ("aim", "add", "least", "most"):
        share = rule.get(key)
        if isinstance(share, int | float) and not isinstance(share, bool):
            adds = kind == "adjust"
            pounds = _SPAN * share if adds else _SPAN_FROM + _SPAN * share
            yield f"{key} = {share:g} is {pounds:.4g} lb now."
