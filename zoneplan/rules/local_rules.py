"""Rules of one's own: a changed rule is kept in a named local copy, and the stock one stays."""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from zoneplan.errors import RuleError, listed
from zoneplan.rules.read import Page, RulesFile, parse, read_rules
from zoneplan.rules.rule import Rule, Rules, RuleSet, Source
from zoneplan.rules.words import JUDGEMENT, is_judgement
from zoneplan.rules.write import (
    as_written,
    in_unit,
    new_file,
    source_as_written,
    with_rule,
    without_rule,
)

AMOUNTS = ("aim", "add", "least", "most")  # numbers that are in the unit of their file


@dataclass(frozen=True)
class Change:
    """What a person changes of one rule."""

    decides: str  # as rules.rule.DECIDES
    rule: str  # its id
    numbers: Mapping[str, Any]  # aim, add, per, least, most: as a file has them, in `unit`
    why: str
    warns: str | None
    name: str  # of the local copy
    initials: str
    on: datetime.date
    title: str = ""  # where it is a new one
    unit: str | None = None  # of the numbers, and of a copy that is begun; None: the set's
    confidence: str = "judged"
    source: Source | None = None
    plain: str | None = None  # why, to a landowner; None: as before, unless the why is new
    warns_plain: str | None = None  # the warning, to the same
    keeps_sources: bool = True  # what it cites still backs the direction


@dataclass(frozen=True)
class OwnRule:
    """One place where the rulebook is not the stock one."""

    decides: str
    unit: str  # of its rule set
    own: Rule | None  # None where a file takes the stock rule away
    stock: Rule | None  # None where a file adds the rule


def changed(files: Sequence[RulesFile], *changes: Change) -> tuple[RulesFile, ...]:
    """Keep changed rules in a local copy, and prove the rules that come of all of them.

    Each rule keeps its id and goes into the file "NAME aim.toml", "NAME closing.toml" and so on,
    which is begun where there is none; no other file of one's own holds it any longer. It
    cites who decided and when, then the source that was given, then what it cited before,
    as backing the direction. All else that the file says stays as it was written.

    Parameters
    ----------
    files : sequence of RulesFile
        One's own files, as they lie over the stock rules.
    *changes : Change
        What is new. A number that is None is left out.

    Raises
    ------
    RuleError
        With everything that is wrong. The files that were given stay as they are.
    """
    rules, laid = read_rules(files), tuple(files)
    faults: list[str] = []
    for change in changes:
        laid, rule_faults = _with_change(rules, laid, change)
        if rule_faults:
            faults.append(listed(f'The change of "{change.rule}"', rule_faults))
    try:
        read_rules(laid)
    except RuleError as error:
        faults.append(str(error))
    if faults:
        raise RuleError("\n".join(faults))
    return laid


def _with_change(
    rules: Rules, files: Sequence[RulesFile], change: Change
) -> tuple[tuple[RulesFile, ...], list[str]]:
    """The files with one changed rule, not proved yet; and what is wrong with the change itself."""
    rule_set, rule = _find(rules, change)
    was_in = change.unit or rule_set.unit
    now = as_written(rule, was_in)
    why, warns = change.why.strip() or rule.why, (change.warns or "").strip() or None
    new = now | {
        **change.numbers,
        "title": change.title.strip() or rule.title,
        "why": why,
        "plain": _plain(change.plain, rule.plain, same=why == rule.why),
        "warns": warns,
        "warns_plain": _plain(change.warns_plain, rule.warns_plain, same=warns == rule.warns),
        "confidence": change.confidence,
        "source": [source_as_written(source) for source in _sources(rule, change)],
    }
    faults = _faults(rule, change, now, new)
    name = f"{' '.join(change.name.split()) or 'unnamed'} {change.decides}.toml"
    text, unit = _local_copy(files, name, rule_set, change)
    if rule.kind != "factor" or rule.acts == "bounce":
        new |= {key: in_unit(new[key], was_in, unit) for key in (*AMOUNTS, "value")}
    text = with_rule(text, rule.kind, new, change.on)
    others = _without(
        [file for file in files if file.name != name], change.decides, rule.id, change.on
    )
    return _with(others, RulesFile(name, text.encode())), faults


def put_back(
    files: Sequence[RulesFile], decides: str, rule_id: str, on: datetime.date
) -> tuple[RulesFile, ...]:
    """Take what one's own files say of a rule out of them, so that the stock one stands again.

    A file that says nothing more is no longer among them.

    Raises
    ------
    RuleError
        When the rules that are left leave a hole.
    """
    remaining = _without(files, decides, rule_id, on)
    read_rules(remaining)
    return remaining


def with_files(files: Sequence[RulesFile], more: Sequence[RulesFile]) -> tuple[RulesFile, ...]:
    """Lay more files over the others, or put each in the place of the one of its name.

    Raises
    ------
    RuleError
        With every fault of every file, or of the rules that come of them.
    """
    laid = tuple(files)
    for file in more:
        laid = _with(laid, file)
    read_rules(laid)
    return laid


def without_file(files: Sequence[RulesFile], name: str) -> tuple[RulesFile, ...]:
    """Take one file away.

    Raises
    ------
    RuleError
        When another file is built on it.
    """
    remaining = tuple(file for file in files if file.name != name)
    read_rules(remaining)
    return remaining


def own_rules(rules: Rules) -> list[OwnRule]:
    """Every rule that is not the stock one, in the order they act, then what was taken away."""
    own, gone = [], []
    for decides, stock_set in _sets(read_rules()).items():
        rule_set = _sets(rules)[decides]
        standing = {rule.id for rule in rule_set.rules}
        stock = {rule.id: rule for rule in stock_set.rules}
        own += [
            OwnRule(decides, rule_set.unit, rule, stock.get(rule.id))
            for rule in rule_set.rules
            if rule.origin != "stock"
        ]
        gone += [
            OwnRule(decides, rule_set.unit, None, rule)
            for rule in stock_set.rules
            if rule.id not in standing
        ]
    return own + gone


def _sets(rules: Rules) -> dict[str, RuleSet]:
    return {rule_set.decides: rule_set for rule_set in rules.sets}


def _find(rules: Rules, change: Change) -> tuple[RuleSet, Rule]:
    rule_set = _sets(rules)[change.decides]
    return rule_set, next(rule for rule in rule_set.rules if rule.id == change.rule)


def _plain(given: str | None, before: str | None, *, same: bool) -> str | None:
    """What a landowner is told: as it was given, else as before where that tells the reason."""
    if given is not None:
        return given.strip() or None
    return before if same else None


def _sources(rule: Rule, change: Change) -> list[Source]:
    who = Source(f"{JUDGEMENT} of {change.initials.strip() or '?'}, {change.on.isoformat()}")
    cited = [source for source in rule.sources if not is_judgement(source.cite)]
    backing = (
        [replace(source, backs="direction") for source in cited] if change.keeps_sources else []
    )
    return [who, *([change.source] if change.source else []), *backing]


def _faults(
    rule: Rule, change: Change, now: Mapping[str, Any], new: Mapping[str, Any]
) -> list[str]:
    """What is missing, or does not go together, that no reader of the file would see."""
    faults = []
    if not change.name.strip():
        faults.append("the local copy has no name. Name it after the farm or the co-op.")
    if not change.initials.strip():
        faults.append("it does not say who decided. Give initials.")
    if not change.why.strip():
        faults.append("it does not say why. Say in a sentence what you saw, or what you know.")
    if change.source is None and all(new[key] == now[key] for key in now if key != "source"):
        faults.append("nothing is new in it. Give another number, or other words.")
    was, adds = now["add"] or 0.0, new["add"] or 0.0
    if was * adds < 0 and len(_sources(rule, replace(change, source=None))) > 1:
        faults.append(
            f"it turns the rule round, from {was:g} to {adds:g}: what it cites backs the other "
            "direction. Leave those sources out."
        )
    return faults


def _page(file: RulesFile) -> Page:
    return parse(file.name, file.content, file.name)


def _local_copy(
    files: Sequence[RulesFile], name: str, rule_set: RuleSet, change: Change
) -> tuple[str, str]:
    """The local copy of this name, or a new one, and its unit."""
    for file in files:
        if file.name == name:
            copy = _page(file)
            if copy.decides != rule_set.decides:
                raise RuleError(
                    f"{name} decides {copy.decides}, and this rule {rule_set.decides}.\n"
                    "One file decides one thing.\nGive the local copy another name."
                )
            return _text(file), copy.unit
    unit = change.unit or rule_set.unit
    return new_file(rule_set.decides, unit, change.on), unit


def _text(file: RulesFile) -> str:
    return file.content.decode("utf-8-sig")


def _with(files: Sequence[RulesFile], file: RulesFile) -> tuple[RulesFile, ...]:
    if any(other.name == file.name for other in files):
        return tuple(file if other.name == file.name else other for other in files)
    return (*files, file)


def _without(
    files: Sequence[RulesFile], decides: str, rule_id: str, on: datetime.date
) -> tuple[RulesFile, ...]:
    """The files with one rule neither in them nor dropped by them."""
    remaining = []
    for file in files:
        page = _page(file)
        rules = [rule.id for rule in page.rules if rule.id != rule_id]
        drop = [name for name in page.drop if name != rule_id]
        if page.decides != decides or (len(rules), len(drop)) == (len(page.rules), len(page.drop)):
            remaining.append(file)
        elif rules or drop:
            text = without_rule(_text(file), rule_id, on)
            remaining.append(RulesFile(file.name, text.encode()))
    return tuple(remaining)
