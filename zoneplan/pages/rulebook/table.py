"""The rulebook as HTML: every rule, what it does in this plan, and what is not stock.

Words and links from files of one's own are escaped, so that they do nothing.
"""

from collections.abc import Collection, Mapping, Sequence

from zoneplan.forms import either
from zoneplan.harmless import escape
from zoneplan.pages.words import percent
from zoneplan.plan.aims import LEAST_SHARE, implied_contact
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait
from zoneplan.plan.requirement import Basis, bearing
from zoneplan.rules.local_rules import OwnRule
from zoneplan.rules.rule import Reason, Rule, Rules, RuleSet, Source
from zoneplan.rules.show import PROVED, gives_in_words, when_in_words
from zoneplan.rules.words import source_in_words, sources_in_words
from zoneplan.say.notices import named
from zoneplan.terms import Moisture

Where = Mapping[str, tuple[int, ...]]  # zones by moisture
Acting = Mapping[tuple[str, str], Where]  # by what is decided, and the rule

_HEADS = ("Rule", "When", "Gives", "Why, and how sure", "In this plan", "From")
_DECIDES = {
    "aim": "For the margin to aim for",
    "most": "For the most that the soil bears",
    "swing": "For how far the gauge-wheel load swings",
    "stop": "For when to wait, and when to squeeze first",
    "closing": "For the closing wheels",
}
_LINKS = ("https://", "http://")
_NOTHING: Mapping[str, str] = {}


def head(rules: Rules) -> str:
    """Say how many rules there are, of what day, and what is proved of them."""
    own = [rule for rule in _every(rules) if rule.origin != "stock"]
    facts = [
        f"{len(_every(rules))} rules",
        f"{len(own)} of them not stock" if own else "all of them stock",
        f"revised {rules.revised}",
        f"digest {rules.sha256[:8]}",
    ]
    listed = "".join(f"<li>{escape(fact)}</li>" for fact in facts)
    proved = "".join(f"<li>{escape(claim)}</li>" for claim in PROVED)
    return (
        f'<header class="zp-head"><h1>Rules</h1><ul>{listed}</ul></header>'
        '<section class="zp-rules-proved" aria-label="Checks"><b>Proved</b>'
        f"<ul>{proved}</ul></section>"
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


def picked(
    rule_set: RuleSet, kinds: Collection[str], words: str, acting: Acting | None = None
) -> list[Rule]:
    """Pick the rules of some kinds that have every word and, if asked, act; no kind is all."""
    return [
        rule
        for rule in rule_set.rules
        if (not kinds or rule.kind in kinds)
        and all(word in _said(rule, rule_set).lower() for word in words.lower().split())
        and (acting is None or (rule_set.decides, rule.id) in acting)
    ]


def implied(rules: Rules) -> dict[str, str]:
    """Say what contact every base aim implies, by its id; one that is too little is marked."""
    texts = {}
    for rule in rules.aim.rules:
        if rule.kind == "base":
            least, most = implied_contact(rules, rule)
            shares = dict.fromkeys(percent(share).removesuffix(" %") for share in (least, most))
            texts[rule.id] = f"keeps the wheels down {' to '.join(shares)} % of the time"
            if least < LEAST_SHARE:
                texts[rule.id] += ": less than the 96 % of common practice, the plan will lift it"
    return texts


def rules_table(
    rule_set: RuleSet, rules: Sequence[Rule], acting: Acting, means: Mapping[str, str] = _NOTHING
) -> str:
    """Some rules of a set, in the order they act.

    `means` is what the numbers of some of them come to, by id; see `implied`.
    """
    title = f"{_DECIDES[rule_set.decides]}: {len(rules)} of {len(rule_set.rules)} rules"
    if not rules:
        return f'<p class="zp-rules-none">{title}.</p>'
    heads = "".join(f'<th scope="col">{head}</th>' for head in _HEADS)
    rows = "".join(
        _row(
            rule, rule_set.unit, acting.get((rule_set.decides, rule.id), {}), means.get(rule.id, "")
        )
        for rule in rules
    )
    return (
        f'<div class="zp-rules-wide"><table class="zp-rules"><caption>{title}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def rule_in_words(rule: Rule, unit: str, means: str = "") -> str:
    """Say what a rule says now, what that comes to, and why."""
    comes_to = f" ({escape(means)})" if means else ""
    return (
        f'<p class="zp-rules-now">Now: <strong>{escape(gives_in_words(rule, unit))}</strong>'
        f"{comes_to}, when {escape(when_in_words(rule.when))}. {escape(rule.why)}</p>"
    )


def own_rule(own_rule: OwnRule) -> str:
    """Say what is one's own, and what it is in place of."""
    rule = own_rule.own or own_rule.stock
    assert rule is not None
    if own_rule.own is None:
        text = f"a file takes it away: {gives_in_words(rule, own_rule.unit)}"
    else:
        text = gives_in_words(own_rule.own, own_rule.unit)
        if own_rule.stock:
            text += f", in place of: {gives_in_words(own_rule.stock, own_rule.unit)}"
    by = f"{own_rule.own.sources[0].cite}; in {own_rule.own.origin}" if own_rule.own else ""
    return (
        f'<div class="zp-rules-own"><strong>{escape(rule.title)}</strong> '
        f"<small>{escape(rule.id)}</small><p>{escape(text)}</p>"
        f"<p><small>{escape(by)}</small></p></div>"
    )


def _every(rules: Rules) -> tuple[Rule, ...]:
    return rules.every


def _said(rule: Rule, rule_set: RuleSet) -> str:
    """All that the table says of a rule, for a search."""
    parts = (
        rule.id,
        rule.kind,
        rule_set.decides,
        rule.title,
        when_in_words(rule.when),
        gives_in_words(rule, rule_set.unit),
        rule.why,
        rule.plain or "",
        rule.warns_plain or "",
        sources_in_words(rule),
        rule.confidence,
        rule.origin,
    )
    return " ".join(parts)


def _plain(rule: Rule) -> str:
    """What the landowner reads in its place."""
    texts = [text for text in (rule.plain, rule.warns_plain) if text]
    words = "; ".join(map(escape, texts))
    return f'<p class="plain"><small>To the landowner: {words}</small></p>' if texts else ""


def _row(rule: Rule, unit: str, where: Where, means: str) -> str:
    """One rule. The head of each cell is told again in it, for where the table is narrow."""
    count = len(rule.sources)
    comes_to = f"<p><small>{escape(means)}</small></p>" if means else ""
    sources = "".join(f"<li>{_source(source)}</li>" for source in rule.sources)
    cells = [
        escape(when_in_words(rule.when)),
        f"{escape(gives_in_words(rule, unit))}{comes_to}",
        f"{escape(rule.why)}{_plain(rule)}<details><summary>{escape(rule.confidence)}, "
        f"{count} source{'s' if count > 1 else ''}</summary><ul>{sources}</ul></details>",
        acting_in_words(where) or "–",
        "stock" if rule.origin == "stock" else f"<mark>{escape(rule.origin)}</mark>",
    ]
    body = "".join(
        f'<td data-head="{head}"><div>{cell}</div></td>'
        for head, cell in zip(_HEADS[1:], cells, strict=True)
    )
    return (
        f'<tr><th scope="row">{escape(rule.title)}'
        f"<small>{escape(rule.kind)}, {escape(rule.id)}</small></th>{body}</tr>"
    )


def _source(source: Source) -> str:
    text = escape(source_in_words(source))
    if source.link and source.link.startswith(_LINKS):
        return f'{text}, <a href="{escape(source.link)}" rel="noreferrer">{escape(source.link)}</a>'
    return f"{text}, {escape(source.link)}" if source.link else text
