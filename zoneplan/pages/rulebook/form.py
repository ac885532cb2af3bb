"""The boxes of one rule of the list: its numbers where no grid has them, and its words."""

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.fault import fault
from zoneplan.pages.rulebook.numbers import boxes
from zoneplan.pages.rulebook.tried import WORDS, Tried, box_key
from zoneplan.rules.rule import Rule, Rules, RuleSet
from zoneplan.rules.show import gives_in_words, when_in_words

_HELPS = {
    "plain": "He does not plant. Left empty, he reads the reason itself.",
    "warns_plain": "Left empty, he reads the warning itself.",
}


def pick_rule(rules: Rules, unit: str, trial: Tried) -> None:
    """Choose one rule, and change it."""
    options = {rule.id: (rule_set, rule) for rule_set in rules.sets for rule in rule_set.rules}
    if st.session_state.get("rule") not in options:
        st.session_state["rule"] = None
    chosen = st.selectbox(
        "Change a rule of these lists, or the words of any rule",
        options,
        None,
        key="rule",
        format_func=lambda rule_id: f"{options[rule_id][1].title} ({rule_id})",
        placeholder="Choose one, or type to find it",
        persist_state="session",
    )
    if chosen is not None:
        with st.container(key="rules-form"):
            _form(*options[chosen], unit, trial)


def _form(rule_set: RuleSet, rule: Rule, unit: str, trial: Tried) -> None:
    """Ask for everything that can be changed in a rule; filled with what it says now."""

    def box(name: str, filled: object) -> str:
        key = box_key(rule, unit, name)
        st.session_state.setdefault(key, filled)
        return key

    st.html(
        f'<p class="zp-rules-now">Now: <strong>{escape(gives_in_words(rule, unit))}</strong>. '
        f"When: {escape(when_in_words(rule.when))}. {escape(rule.why)}</p>"
    )
    numbers = boxes(rule, unit, rule_set.decides) if rule.kind != "base" else []
    if rule.kind == "base":
        st.html('<p class="zp-rules-none">Its number is in the grid.</p>')
    for place, number in zip(st.columns(max(2, len(numbers))), numbers, strict=False):
        place.number_input(
            number.label,
            value=None,
            step=number.step,
            format="%g",
            key=box(number.key, number.shown),
            persist_state="session",
        )
    st.text_input(WORDS["title"], key=box("title", rule.title), persist_state="session")
    for name in ("plain", "warns", "warns_plain") if rule.warns else ("plain",):
        st.text_area(
            WORDS[name],
            key=box(name, getattr(rule, name) or ""),
            height=68,
            help=_HELPS.get(name),
            persist_state="session",
        )
    if rule.id in trial.faults:
        st.html(fault(trial.faults[rule.id]))
