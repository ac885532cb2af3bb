"""The rulebook as HTML: every rule, what it does in this plan, and what is not stock.

Words and links from files of one's own are escaped, so that they do nothing.
"""

from collections.abc import Iterable, Mapping, Sequence

from zoneplan.errors import either
from zoneplan.harmless import escape
from zoneplan.pages.words import header, items
from zoneplan.plan.aims import LEAST_SHARE, implied_contact
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait
from zoneplan.plan.requirement import Basis, bearing
from zoneplan.rules.rule import Reason, Rule, Rules, Source
from zoneplan.rules.words import PROVED, gives_in_words, source_in_words, when_in_words
from zoneplan.say.figures import named
from zoneplan.say.quantities import percent
from zoneplan.terms import Moisture

Where = Mapping[str, tuple[int, ...]]  # zones by moisture
Acting = Mapping[tuple[str, str], Where]  # by what is decided, and the rule

_LINKS = ("https://", "http://")


def head(rules: Rules) -> str:
    """Say how many rules there are, of what day, and what is checked of them."""
    own = [rule for rule in rules.every if rule.origin != "stock"]
    facts = [
        f"{len(rules.every)} rules",
        f"{len(own)} of them not stock" if own else "all of them stock",
        f"revised {rules.revised}",
    ]
    return (
        f'{header("Rules", facts)}<details class="zp-rule"><summary>What is checked</summary>'
        f"<ul>{items(PROVED)}</ul></details>"
    )


def acting_in(plan: Plan) -> Acting:
    """Find where each rule adds, bears, holds a sum, warns or says to wait."""
    acting: dict[tuple[str, str], dict[str, tuple[int, ...]]] = {}
    basis = Basis(plan.machine, plan.rules, plan.conditions)
    for setting in plan.settings:
        for moisture, instruction in setting.moistures.items():
            warned = {
                str(notice.rule) for notice in instruction.notices if notice.code == "rule-warns"
            }
            for rule_set in plan.rules.sets:
                links = warned | {reason.rule for reason in _chain(instruction, rule_set.decides)}
                if rule_set.decides == "most" and isinstance(instruction, Setting):
                    bears = bearing(basis, setting.zone.facts, setting.zone.site, moisture)
                    links |= {reason.rule for reason in bears.reasons}
                for rule in rule_set.rules:
                    if rule.id in links:
                        where = acting.setdefault((rule_set.decides, rule.id), {})
                        where[moisture] = (*where.get(moisture, ()), setting.zone.id)
    return acting


def _chain(instruction: Instruction, decides: str) -> Sequence[Reason]:
    """The links that one rule set may have made."""
    if isinstance(instruction, NoNumbers):
        return ()
    if isinstance(instruction, Wait):
        return instruction.reasons if decides == "stop" else ()
    chains = {"closing": instruction.closing_reasons, "stop": instruction.stop_reasons}
    return chains.get(decides, instruction.reasons)


def acting_in_words(where: Where) -> str:
    """Say where a rule acts.

    >>> acting_in_words({"dry": (1, 3), "moist": (1, 3), "wet": (2,)})
    'zones 1, 3 when dry or moist; zone 2 when wet'
    >>> acting_in_words(dict.fromkeys(("dry", "moist", "wet"), (4,)))
    'zone 4'
    """
    by_zones: dict[tuple[int, ...], list[str]] = {}
    for moisture in Moisture:
        if moisture in where:
            by_zones.setdefault(where[moisture], []).append(moisture)
    return "; ".join(
        named(zones) if len(when) == len(Moisture) else f"{named(zones)} when {either(when)}"
        for zones, when in by_zones.items()
    )


def implied(rules: Rules, aim: Rule) -> tuple[str, bool]:
    """Say what contact a base aim implies, in percent, and whether that is too little."""
    least, most = implied_contact(rules, aim)
    shares = dict.fromkeys(percent(share).removesuffix(" %") for share in (least, most))
    return f"{' to '.join(shares)} %", least < LEAST_SHARE


def rule_list(rules: Iterable[Rule], decides: str, unit: str, acting: Acting) -> str:
    """Some rules, in the order they act: each opens on its reason and what backs it."""
    items = [
        f'<details class="zp-rule"><summary><b>{escape(rule.title)}</b> '
        f"<span>{escape(gives_in_words(rule, unit))}</span>{_mark(rule)}</summary>"
        f"{details(rule, acting.get((decides, rule.id), {}))}</details>"
        for rule in rules
    ]
    return "".join(items) or '<p class="zp-rules-none">None.</p>'


def details(rule: Rule, where: Where) -> str:
    """When a rule holds, why, what backs it, how sure it is, and where it acts."""
    texts = [text for text in (rule.plain, rule.warns_plain) if text]
    plain = f"<p>To the landowner: {'; '.join(map(escape, texts))}</p>" if texts else ""
    count = len(rule.sources)
    sources = "".join(f"<li>{_source(source)}</li>" for source in rule.sources)
    acts = acting_in_words(where)
    return (
        f"<div><p>When: {escape(when_in_words(rule.when))}. {escape(rule.why)}</p>{plain}"
        f"<p>In this plan: {acts or 'nowhere'}.</p>"
        f"<p>{escape(rule.confidence.capitalize())}, {count} source{'s' if count > 1 else ''}:</p>"
        f"<ul>{sources}</ul><p><small>{escape(rule.id)}, from {escape(rule.origin)}</small></p>"
        "</div>"
    )


def _mark(rule: Rule) -> str:
    return "" if rule.origin == "stock" else f" <mark>{escape(rule.origin)}</mark>"


def _source(source: Source) -> str:
    text = escape(source_in_words(source))
    if source.link and source.link.startswith(_LINKS):
        return f'{text}, <a href="{escape(source.link)}" rel="noreferrer">{escape(source.link)}</a>'
    return f"{text}, {escape(source.link)}" if source.link else text
