"""The rulebook on the page of rules: every rule as HTML, and rules of one's own with their files.

Words and links from files of one's own are escaped, so that they do nothing.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence

import streamlit as st

from zoneplan.errors import RuleError, either
from zoneplan.harmless import escape
from zoneplan.pages.fault import fault
from zoneplan.pages.state import asked, change, changed, desk, today
from zoneplan.pages.words import header, items
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait
from zoneplan.plan.requirement import Basis, bearing
from zoneplan.plan.swing_chain import LEAST_SHARE, implied_contact
from zoneplan.rules import local_rules
from zoneplan.rules.read import RulesFile
from zoneplan.rules.rule import Reason, Rule, Rules, Source
from zoneplan.rules.words import PROVED, gives_in_words, source_in_words, when_in_words
from zoneplan.run import Job
from zoneplan.say.quantities import percent
from zoneplan.say.sentences import named
from zoneplan.sources import Upload
from zoneplan.terms import Moisture

Where = Mapping[str, tuple[int, ...]]  # zones by moisture
Acting = Mapping[tuple[str, str], Where]  # by what is decided, and the rule

Files = tuple[RulesFile, ...]
_LINKS = ("https://", "http://")
_MOST_MB = 5
_FAULT, _BEFORE = "rules-fault", "rules-before"


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


# ---- rules of one's own --------------------------------------------------------------------------


def own_block(rules: Rules, unit: str) -> None:
    """List what is not stock, each with a way back, and the files that it stands in."""
    st.html("<h2>Rules of your own</h2>")
    mine = local_rules.own_rules(rules)
    if not mine:
        st.html(
            '<p class="zp-rules-none">None: every rule is the stock one. What you keep goes into '
            "a rules file with a name, for you to download; the stock rule stays.</p>"
        )
    for place, entry in enumerate(mine):
        rule = entry.own or entry.stock
        assert rule is not None
        with st.container(horizontal=True, vertical_alignment="center", key=f"rules-own-{place}"):
            st.html(_own_rule(entry, unit))
            st.button(
                "Put the stock rule back" if entry.stock else "Take it away",
                key=f"rules-back-{place}",
                on_click=put_back,
                args=(entry.decides, rule.id),
            )
    for place, file in enumerate(desk().rules):
        with st.container(horizontal=True, vertical_alignment="center", key=f"rules-file-{place}"):
            st.html(f'<p class="zp-rules-file">{escape(file.name)}</p>')
            st.download_button(
                "Download",
                file.content,
                file.name,
                "application/toml",
                key=f"rules-get-{place}",
                on_click="ignore",
            )
            st.button(
                "Take the file away",
                key=f"rules-gone-{place}",
                on_click=_take_away,
                args=(file.name,),
            )
    upload = f"rules-upload {rules.sha256[:8]}"  # emptied once its files are laid
    st.file_uploader(
        "Rules files of your own",
        "toml",
        accept_multiple_files=True,
        max_upload_size=_MOST_MB,
        key=upload,
        on_change=_take_files,
        args=(upload,),
    )
    if message := st.session_state.get(_FAULT):
        st.html(fault(message))


def _own_rule(entry: local_rules.OwnRule, unit: str) -> str:
    """Say what is one's own, and what it is in place of."""
    rule = entry.own or entry.stock
    assert rule is not None
    if entry.own is None:
        text = f"a file takes it away: {gives_in_words(rule, unit)}"
    else:
        text = gives_in_words(entry.own, unit)
        if entry.stock:
            text += f", in place of: {gives_in_words(entry.stock, unit)}"
    by = f"{entry.own.sources[0].cite}; in {entry.own.origin}" if entry.own else ""
    return (
        f'<div class="zp-rules-own"><strong>{escape(rule.title)}</strong> '
        f"<small>{escape(rule.id)}</small><p>{escape(text)}</p>"
        f"<p><small>{escape(by)}</small></p></div>"
    )


def put_back(decides: str, rule_id: str) -> None:
    """Let the stock rule stand again. Call it in a callback."""
    lay(lambda files: local_rules.put_back(files, decides, rule_id, today()), _FAULT)


def _take_away(name: str) -> None:
    lay(lambda files: local_rules.without_file(files, name), _FAULT)


def _take_files(upload: str) -> None:
    more = [RulesFile(file_name(file.name), file.getvalue()) for file in st.session_state[upload]]
    lay(lambda files: local_rules.with_files(files, more), _FAULT)


def file_name(sent: str) -> str:
    r"""Name a rules file as it was sent, without its folder and never as the stock rules are.

    >>> file_name("C:\\rules\\coop.toml"), file_name("stock")
    ('coop.toml', 'stock.toml')
    """
    name = " ".join(sent.replace("\\", "/").rpartition("/")[2].split())
    return name if name.lower().endswith(".toml") else f"{name}.toml"


def own_files() -> Files:
    """One's own files, as they lie over the stock rules."""
    return tuple(RulesFile(file.name, file.content) for file in desk().rules)


def uploads(files: Iterable[RulesFile]) -> tuple[Upload, ...]:
    """Give rules files as a job has them."""
    return tuple(Upload(file.name, file.content) for file in files)


def lay(laid: Callable[[Files], Files], fault_at: str) -> bool:
    """Lay one's own files again; where that cannot stand, keep what is wrong for its place."""
    now = asked()
    assert now is not None
    try:
        rules = uploads(laid(own_files()))
    except RuleError as error:
        st.session_state[fault_at] = str(error)
        return False
    st.session_state.pop(fault_at, None)
    if rules != desk().rules:
        st.session_state[_BEFORE] = now
        change(rules=rules)
    return True


def asked_before(job: Job) -> Job | None:
    """What was asked before the last change of rules, if nothing else is new since."""
    before: Job | None = st.session_state.get(_BEFORE)
    if before and before != job == changed(before, rules=job.sources.rules):
        return before
    return None
