"""The chains that made the numbers, the rules in them, and where those come from."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from zoneplan.export.once import once
from zoneplan.plan.model import OVERRIDE, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.rules.rule import KINDS, Reason, Source
from zoneplan.say.notices import link_amount, link_name, link_words, shown_links
from zoneplan.say.quantities import UNKNOWN, figure, smear_words, unit

JUDGEMENT = "judgement"  # what a rule without a source says

Cite = Callable[[Reason], str]


def no_cite(_: Reason) -> str:
    """Leave a link of a chain without its confidence and sources."""
    return ""


def source_lines(plan: Plan) -> list[str]:
    """Write the list of sources."""
    return [
        f"{source.cite}, {source.link}" if source.link else source.cite for source in _sources(plan)
    ]


def cited(plan: Plan) -> Cite:
    """Make what a link of a chain is marked with: confidence, and sources by number."""
    numbers = {source.cite: str(i) for i, source in enumerate(_sources(plan), 1)}

    def cite(reason: Reason) -> str:
        if reason.kind == OVERRIDE:
            return f" ({reason.confidence}, {reason.source})"
        citation = ", ".join(numbers[source.cite] for source in _sources_of(plan, reason))
        return f" ({reason.confidence}, {citation or JUDGEMENT})"

    return cite


def chains(setting: ZoneSetting, system: str, cite: Cite = no_cite) -> list[tuple[str, ...]]:
    """Tell how a zone's numbers came about: moisture, margin, closing and confidence."""
    return [
        (
            moisture,
            _margin_chain(instruction, system, cite),
            _closing_chain(instruction, system, cite),
            instruction.confidence,
        )
        for moisture, instruction in setting.moistures.items()
        if not isinstance(instruction, NoNumbers)
    ]


def rule_tables(plan: Plan, system: str) -> list[dict[str, Any]]:
    """Tell every rule that had a part, once, with what it added over all zones."""
    margin, closing = _reasons(plan)
    load = unit("load", system)
    tables = (
        (f"For the margin target, {load}", margin),
        (f"For the closing wheels, {load}", closing),
    )
    return [
        {"title": title, "rows": _rule_rows(plan, reasons, system)}
        for title, reasons in tables
        if reasons
    ]


def _margin_chain(instruction: Setting | Wait, system: str, cite: Cite) -> str:
    if isinstance(instruction, Wait):
        stops = ", ".join(reason.rule + cite(reason) for reason in instruction.reasons)
        return f"WAIT, {smear_words(instruction)}: {stops}"
    links = _links(instruction.reasons, system, cite)
    return f"{links} = {figure(instruction.margin_n, 'load', system)}"


def _closing_chain(instruction: Setting | Wait, system: str, cite: Cite) -> str:
    if isinstance(instruction, Wait):
        return UNKNOWN
    load = figure(instruction.closing_load_n, "load", system)
    links = _links(instruction.closing_reasons, system, cite)
    return f"{links}: notch {instruction.closing_notch}, {load}"


def _links(reasons: Sequence[Reason], system: str, cite: Cite) -> str:
    """Each rule and what it does, in order: "aim-loam 110, bounce-no-till × 1.32, +35"."""
    links = shown_links(reasons, system)
    return "; ".join(f"{link_name(link)} {link_amount(link, system)}{cite(link)}" for link in links)


def _rule_rows(plan: Plan, reasons: Sequence[Reason], system: str) -> list[tuple[str, ...]]:
    by_rule: dict[tuple[str, str], list[Reason]] = {}
    for reason in sorted(reasons, key=_kind_order):
        by_rule.setdefault((reason.rule, _why(reason, system)), []).append(reason)
    numbers = {source.cite: i for i, source in enumerate(_sources(plan), 1)}
    rows: list[tuple[str, ...]] = []
    for (rule, why), links in by_rule.items():
        links.sort(key=lambda link: link.adds or 0.0)
        adds = " to ".join(dict.fromkeys(_adds(link, system) for link in (links[0], links[-1])))
        citation = ", ".join(
            f"{numbers[source.cite]}{' (value)' if source.backs == 'value' else ''}"
            for source in _sources_of(plan, links[0])
        )
        rows.append((rule, adds, why, links[0].confidence, citation or JUDGEMENT))
    return rows


def _adds(reason: Reason, system: str) -> str:
    """What a rule adds, without the factor: that differs from zone to zone."""
    return link_amount(replace(reason, factor=None), system)


def _why(reason: Reason, system: str) -> str:
    """The rule's own words; a rounding has none, and tells what it does."""
    return reason.why or link_words(reason, system)


def _reasons(plan: Plan) -> tuple[list[Reason], list[Reason]]:
    """Every link that a rule made, of the margin targets and of the closing wheels."""
    every = [value for setting in plan.settings for value in setting.moistures.values()]
    margin = [
        reason
        for instruction in every
        if not isinstance(instruction, NoNumbers)
        for reason in instruction.reasons
    ]
    closing = [
        reason
        for instruction in every
        if isinstance(instruction, Setting)
        for reason in instruction.closing_reasons
    ]
    return _by_rules(margin), _by_rules(closing)


def _by_rules(reasons: Sequence[Reason]) -> list[Reason]:
    return [reason for reason in reasons if reason.kind != OVERRIDE]


@once
def _sources(plan: Plan) -> list[Source]:
    """Find each source once, in the order that the tables of rules call on them."""
    sources: dict[str, Source] = {}
    for reasons in _reasons(plan):
        for reason in sorted(reasons, key=_kind_order):
            for source in _sources_of(plan, reason):
                sources.setdefault(source.cite, source)
    return list(sources.values())


def _sources_of(plan: Plan, reason: Reason) -> list[Source]:
    """What a reason rests on besides judgement. Rounding is no rule, and tells its own."""
    rule = plan.rules.by_id.get(reason.rule)
    sources = rule.sources if rule else (Source(reason.source),)
    return [source for source in sources if source.cite not in (JUDGEMENT, "")]


def _kind_order(reason: Reason) -> int:
    return KINDS.index(reason.kind) if reason.kind in KINDS else len(KINDS)
