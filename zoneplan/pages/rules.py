"""The page of rules: read them, change one in a copy of one's own, see what that moves."""

import streamlit as st

from zoneplan.pages.overview import margin_is
from zoneplan.pages.rulebook.form import moved_table, pick_rule
from zoneplan.pages.rulebook.own_rules import asked_before, own_block
from zoneplan.pages.rulebook.table import acting_in, head, implied, picked, rules_table
from zoneplan.pages.state import answered, asked, current, desk
from zoneplan.rules.rule import KINDS


def page() -> None:
    """Show the page."""
    job, run = asked(), current()
    if job is None or run is None:
        return
    rules = run.plan.rules
    means = implied(rules)
    st.html(head(rules) + margin_is())
    with st.container(key="rules-top"):  # style.css puts one below the other where it is narrow
        left, right = st.columns([3, 2], gap="large")
    with left, st.container(key="rules-change"):
        pick_rule(rules, means)
    with right, st.container(key="rules-files"):
        own_block(rules, desk().rules)
    if before := asked_before(job):
        st.html(moved_table(answered(before).plan, run.plan))
    acting = acting_in(run.plan)
    with st.container(horizontal=True, vertical_alignment="bottom", key="rules-filter"):
        words = st.text_input("Find", key="rules-words", placeholder="a soil, a word, a source")
        kinds = st.segmented_control("Kind", KINDS, selection_mode="multi", key="rules-kinds")
        only = st.toggle("Only rules that act in this plan", key="rules-acting")
    for rule_set in rules.sets:
        shown = picked(rule_set, kinds, words, acting if only else None)
        st.html(rules_table(rule_set, shown, acting, means))


if __name__ == "__main__":
    page()
