"""TOML files to Rules: laid over each other, every fault told at once, the whole proved.

A file of an older release is read as it was, or told what has to be changed in it.
"""

import datetime
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from zoneplan import forms
from zoneplan.errors import RuleError, in_short, listed, nearest, quoted
from zoneplan.plain_file import MOST_TOML_MB, read_plain, toml
from zoneplan.rules.coverage import faults_of
from zoneplan.rules.form import PAGE, rules_of
from zoneplan.rules.rule import DECIDES, Rule, Rules, RuleSet
from zoneplan.terms import System

_File = tuple[str, bytes, str]  # its name, what it holds, and whose rules they are
STOCK = tuple(Path(__file__).parent / "data" / f"{decides}.toml" for decides in DECIDES)


@dataclass(frozen=True)
class RulesFile:
    """A rules file that lies on no disk."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Page:
    """What one rules file says, in SI."""

    name: str
    decides: str
    unit: str
    revised: datetime.date
    rules: tuple[Rule, ...]
    drop: tuple[str, ...]  # ids of rules to take away
    soils: Mapping[str, str] = field(default_factory=dict)  # a texture group in plain words


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
        With every fault of the file; for a file of an older release, with all that has to be
        changed in it.
    """
    document = _renamed(toml(name, content, RuleError))
    if older := _what_to_change(document):
        raise RuleError(listed(f"{name}, of an older release,", older))
    read = forms.checked(PAGE, document, name, RuleError)
    return Page(
        name=name,
        decides=read["decides"],
        unit=read["unit"],
        revised=read["revised"],
        rules=rules_of(read, origin),
        drop=read["drop"],
        soils=read["soils"],
    )


def read_rules(extra: Sequence[Path | RulesFile] = ()) -> Rules:
    """Read the stock rules and lay each extra file over them, in order.

    In an extra file a rule with a known id takes that rule's place, a new id is added after
    the others, and a top-level `drop = ["id"]` takes rules away.

    Parameters
    ----------
    extra : sequence of Path or RulesFile
        Rules files of a grower or a co-op. One may hold only a few rules.

    Returns
    -------
    Rules
        Every rule set, in SI, proved: see `coverage.faults_of`.

    Raises
    ------
    RuleError
        With every fault of every file; once the files are sound, with every fault of the
        rules laid together.

    Examples
    --------
    >>> rules = read_rules()
    >>> [rule_set.decides for rule_set in rules.sets]
    ['aim', 'most', 'swing', 'stop', 'closing']
    """
    files: list[_File] = []
    faults: list[str] = []
    for file in (*STOCK, *extra):
        try:
            files.append((file.name, _content(file), "stock" if file in STOCK else file.name))
            _page(*files[-1])
        except RuleError as error:
            faults.append(str(error))
    if faults:
        raise RuleError("\n".join(faults))
    return _proved(tuple(files))


_page = lru_cache(maxsize=32)(parse)  # many fields are planned by the same rules


@lru_cache(maxsize=8)
def _proved(files: tuple[_File, ...]) -> Rules:
    """Lay sound files over each other, and prove what comes of it."""
    pages = [_page(*file) for file in files]
    faults: list[str] = []
    sets: dict[str, RuleSet] = {}
    for decides in DECIDES:
        try:
            sets[decides] = _lay_together([page for page in pages if page.decides == decides])
        except RuleError as error:
            faults.append(str(error))
    if faults:
        raise RuleError("\n".join(faults))
    return Rules(
        **sets,
        revised=max(page.revised for page in pages),
        sha256=hashlib.sha256(b"".join(content for _, content, _ in files)).hexdigest(),
        dropped=tuple(rule_id for page in pages for rule_id in page.drop),
    )


def _content(file: Path | RulesFile) -> bytes:
    if isinstance(file, RulesFile):
        return file.content
    return read_plain(file, MOST_TOML_MB, RuleError)


def _lay_together(pages: Sequence[Page]) -> RuleSet:
    """Lay pages that decide one thing over each other, and prove what comes of it."""
    laid: dict[str, Rule] = {}
    faults: list[str] = []
    soils: dict[str, str] = {}
    for page in pages:
        for rule_id in page.drop:
            if laid.pop(rule_id, None) is None:
                faults.append(
                    f'{page.name}, drop: "{rule_id}" is no rule. {nearest(rule_id, laid)}'.rstrip()
                )
        laid |= {rule.id: rule for rule in page.rules}
        soils |= page.soils
    stock = pages[0]
    rules = tuple(laid.values())
    faults += faults_of(stock.decides, rules, stock.unit)
    if faults:
        names = " + ".join(page.name for page in pages)
        raise RuleError(listed(f"The {stock.decides} rulebook ({names})", faults))
    return RuleSet(
        decides=stock.decides,
        unit=stock.unit,
        revised=max(page.revised for page in pages),
        rules=rules,
        soils=soils,
    )


# ---- files of older releases ---------------------------------------------------------------------

_OLDER_KINDS = ("base", "adjust", "cap", "stop")  # that an older file may have
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


def _renamed(document: Mapping[str, Any]) -> dict[str, Any]:
    """Read the words of older releases whose meaning is the same."""
    return {
        key: [_renamed_rule(rule) for rule in value]
        if key in _OLDER_KINDS and isinstance(value, list)
        else value
        for key, value in document.items()
    }


def _what_to_change(document: Mapping[str, Any]) -> list[str]:
    """Tell all that an older release wrote and this one does not read, and where it goes now."""
    changes = [*_changes_of_head(document)]
    rules = [
        (kind, rule)
        for kind in _OLDER_KINDS
        for rule in _list(document.get(kind))
        if isinstance(rule, dict)
    ]
    for kind, rule in rules:
        name, when = f'rule "{quoted(rule.get("id"))}"', rule.get("when")
        if isinstance(when, dict):
            changes += [f"{name}, when.{key}: {_GONE[key]}" for key in when if key in _GONE]
        if document.get("decides") == "margin":
            changes.append(f"{name}: {_moved(kind, rule)}")
        elif document.get("unit") == "share":
            changes += [f"{name}, {change}" for change in _in_pounds(kind, rule)]
    return changes


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _renamed_rule(rule: Any) -> Any:
    when = rule.get("when") if isinstance(rule, dict) else None
    if not isinstance(when, dict):
        return rule
    now = {
        "moisture" if key == "wetness" and "moisture" not in when else key: value
        for key, value in when.items()
    }
    if "system" in now:
        several = now["system"] if isinstance(now["system"], list) else [now["system"]]
        now["system"] = [
            str(System.CLOSED_LOOP_AIR) if system == "looped-air" else system for system in several
        ]
    return rule | {"when": now}


def _changes_of_head(document: Mapping[str, Any]) -> Iterator[str]:
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
