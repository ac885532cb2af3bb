"""What is tried in the boxes of the rules: what it would move, and the way to keep it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import streamlit as st

from zoneplan.errors import RuleError, ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.answers import answered, watching
from zoneplan.pages.fault import fault
from zoneplan.pages.impact import impact_table
from zoneplan.pages.rulebook.numbers import boxes, numbers_of
from zoneplan.pages.rulebook.own_rules import Files, lay, own_files, uploads
from zoneplan.pages.state import changed, today
from zoneplan.pages.words import still_to_give
from zoneplan.plan.model import Plan
from zoneplan.rules import local_rules
from zoneplan.rules.read import read_rules
from zoneplan.rules.rule import CONFIDENCES, Rule, Rules, RuleSet, Source
from zoneplan.rules.words import gives_in_words, is_judgement
from zoneplan.rules.write import as_written
from zoneplan.run import Job

WORDS = {  # of a rule, and what their boxes are called
    "title": "Title",
    "plain": "Why, to the landowner in plain words",
    "warns": "Warns",
    "warns_plain": "Warns the landowner",
}
BACKS = {"value": "the number", "direction": "its direction only"}
_TRIED = "tried"
_FAULT = "rules-keep-fault"
_NAME, _INITIALS, _WHY = "rules-name", "rules-initials", "rules-why"


@dataclass(frozen=True)
class Trial:
    """What the boxes hold that the rules do not."""

    changes: tuple[local_rules.Change, ...]
    files: Files | None  # one's own files with it; None where something of it is wrong
    rules: Rules  # with it, or as they stand
    faults: Mapping[str, str]  # by a rule's id; by nothing where it is none rule's alone

    @property
    def ids(self) -> set[str]:
        """Whose numbers or words are tried."""
        return {change.rule for change in self.changes}


def box_key(rule: Rule, unit: str, name: str) -> str:
    """Name a box of a rule: another once the rule says something else."""
    return f"rules {hash(repr(rule)):x} {unit} {rule.id} {name}"


def trial_of(rules: Rules, unit: str) -> Trial:
    """Find what was typed into the boxes and is not kept; loads in `unit`."""
    changes = tuple(
        change
        for rule_set in rules.sets
        for rule in rule_set.rules
        if (change := _change(rule_set, rule, unit))
    )
    if not changes:
        return Trial((), None, rules, {})
    try:
        files = local_rules.changed(own_files(), *changes)
        return Trial(changes, files, read_rules(files), {})
    except RuleError as error:
        return Trial(changes, None, rules, _faults_alone(changes) or {"": str(error)})


def _change(rule_set: RuleSet, rule: Rule, unit: str) -> local_rules.Change | None:
    session = st.session_state
    entries = {
        box.key: box.value if typed == box.shown else typed
        for box in boxes(rule, unit, rule_set.decides)
        for typed in [session.get(box_key(rule, unit, box.key), box.shown)]
    }
    shown = {box.key: box.value for box in boxes(rule, unit, rule_set.decides)}
    words = {
        name: typed.strip()
        for name in WORDS
        for stored in [getattr(rule, name) or ""]
        if (typed := session.get(box_key(rule, unit, name), stored)).strip() != stored
    }
    if entries == shown and not words:
        return None
    return local_rules.Change(
        decides=rule_set.decides,
        rule=rule.id,
        numbers=numbers_of(entries, as_written(rule, unit)["when"]) if entries != shown else {},
        why=_TRIED,
        name=_TRIED,
        initials=_TRIED,
        on=today(),
        unit=unit,
        title=words.get("title", rule.title),
        plain=words.get("plain"),
        warns=words.get("warns", rule.warns),
        warns_plain=words.get("warns_plain"),
    )


def _faults_alone(changes: tuple[local_rules.Change, ...]) -> dict[str, str]:
    """What is wrong with each change by itself, by its rule."""
    faults = {}
    for change in changes:
        try:
            local_rules.changed(own_files(), change)
        except RuleError as error:
            faults[change.rule] = str(error)
    return faults


def drop(rule: Rule, unit: str) -> None:
    """Let the boxes of a rule hold again what it says. Call it in a callback."""
    prefix = box_key(rule, unit, "")
    for key in [name for name in st.session_state if str(name).startswith(prefix)]:
        del st.session_state[key]


# ---- the panel ---------------------------------------------------------------------------------


def panel(job: Job, plan: Plan, trial: Trial, unit: str, system: str) -> None:
    """Show what would move, and ask for what is needed to keep it."""
    st.html(f"<h2>Tried, not kept yet</h2><ul>{''.join(_lines(plan.rules, trial, unit))}</ul>")
    if "" in trial.faults:
        st.html(fault(trial.faults[""]))
    if trial.files is None:
        st.html("<p>Nothing can be kept while a rule is at fault.</p>")
    else:
        _impact(changed(job, rules=uploads(trial.files)), plan, system)
    _ask(plan.rules, trial)
    if message := st.session_state.get(_FAULT):
        st.html(fault(message))
    rules = [plan.rules.by_id[change.rule] for change in trial.changes]
    with st.container(horizontal=True):
        st.button(
            "Keep in my rules",
            key="rules-keep",
            type="primary",
            disabled=trial.files is None,
            on_click=_keep,
            args=(trial, rules, unit),
        )
        st.button("Drop it", key="rules-drop", on_click=_drop_all, args=(rules, unit))


def _lines(rules: Rules, trial: Trial, unit: str) -> list[str]:
    """What each rule gives, and would give."""
    lines = []
    for rule in (rules.by_id[change.rule] for change in trial.changes):
        was, now = (gives_in_words(one, unit) for one in (rule, trial.rules.by_id[rule.id]))
        gives = f"{escape(was)} → <strong>{escape(now)}</strong>" if was != now else "other words"
        gives = "at fault" if trial.files is None else gives
        lines.append(f"<li>{escape(rule.title)}: {gives}</li>")
    return lines


def _impact(job: Job, plan: Plan, system: str) -> None:
    try:
        run = watching(job, lambda: answered(job), "stop-rules")
    except ZoneplanError as error:
        st.html(fault(error))
        return
    if run is not None:
        st.html(impact_table(plan, run.plan, "In this plan it would move", system))


def _ask(rules: Rules, trial: Trial) -> None:
    """Ask why, who, and what backs it."""
    st.text_area(
        "Why",
        key=_WHY,
        height=68,
        help="What you saw, or what you know. The landowner reads it too, where you give no "
        "plainer words.",
        persist_state="session",
    )
    left, right = st.columns([2, 1])
    left.text_input(
        "Name of your rules file",
        key=_NAME,
        max_chars=60,
        placeholder="a farm, a co-op",
        persist_state="session",
    )
    right.text_input("Your initials", key=_INITIALS, max_chars=12, persist_state="session")
    cited = [source for change in trial.changes for source in rules.by_id[change.rule].sources]
    with st.expander("What backs it"):
        if not all(is_judgement(source.cite) for source in cited):
            st.session_state.setdefault("rules-keeps", True)
            st.checkbox("What it cites still backs its direction", key="rules-keeps")
        st.text_input("A source: who wrote it, when and where", key="rules-cite")
        st.text_input("Link", key="rules-link")
        left, right = st.columns(2)
        left.selectbox("It backs", BACKS, format_func=BACKS.__getitem__, key="rules-backs")
        right.selectbox(
            "How sure", CONFIDENCES, CONFIDENCES.index("judged"), key="rules-confidence"
        )


def _keep(trial: Trial, rules: list[Rule], unit: str) -> None:
    session = st.session_state
    asked = {"why": session[_WHY], "your initials": session[_INITIALS]}
    asked["a name for the file"] = session[_NAME]
    if missing := [what for what, given in asked.items() if not given.strip()]:
        session[_FAULT] = still_to_give(missing)
        return
    cite, link = session["rules-cite"].strip(), session["rules-link"].strip()
    source = Source(cite, link or None, session["rules-backs"]) if cite or link else None
    changes = [
        replace(
            change,
            why=session[_WHY],
            name=session[_NAME],
            initials=session[_INITIALS],
            confidence=session["rules-confidence"],
            source=source,
            keeps_sources=session.get("rules-keeps", False),
        )
        for change in trial.changes
    ]
    if lay(lambda files: local_rules.changed(files, *changes), _FAULT):
        _drop_all(rules, unit)


def _drop_all(rules: list[Rule], unit: str) -> None:
    for rule in rules:
        drop(rule, unit)
    for key in (_WHY, "rules-cite", "rules-link", "rules-backs", "rules-confidence", _FAULT):
        st.session_state.pop(key, None)
