"""One's own rules and their files on the page of rules: listed, put back, sent and taken home."""

from collections.abc import Callable, Iterable

import streamlit as st

from zoneplan.errors import RuleError
from zoneplan.harmless import escape
from zoneplan.pages.fault import fault
from zoneplan.pages.state import asked, change, changed, desk, today
from zoneplan.rules import local_rules
from zoneplan.rules.read import RulesFile
from zoneplan.rules.rule import Rules
from zoneplan.rules.words import gives_in_words
from zoneplan.run import Job
from zoneplan.sources import Upload

Files = tuple[RulesFile, ...]

_MOST_MB = 5
_FAULT, _BEFORE = "rules-fault", "rules-before"


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
