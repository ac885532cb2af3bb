"""The page of rules: the aims as a grid, the others as a list; changed, tried, then kept."""

import streamlit as st

from zoneplan.pages.impact import impact_table
from zoneplan.pages.overview import margin_is
from zoneplan.pages.rulebook.form import pick_rule
from zoneplan.pages.rulebook.grid import Shown, grid_block
from zoneplan.pages.rulebook.listed import acting_in, head, rule_list
from zoneplan.pages.rulebook.own_rules import asked_before, own_block
from zoneplan.pages.rulebook.tried import panel, tried
from zoneplan.pages.sheets import DEFAULTS
from zoneplan.pages.state import answered, asked, current
from zoneplan.pages.words import UNITS
from zoneplan.rowunit.opener_load import REFERENCE_DEPTH_M, REFERENCE_SPEED_MPS
from zoneplan.rules.local_rules import own_rules
from zoneplan.rules.rule import RuleSet
from zoneplan.say.quantities import figure

_FORCES = {"us": "lbf", "si": "N"}
_AIM = (
    "The load to leave on the gauge wheels of each row, on tilled, level, bare ground, {depth} "
    "deep, at {speed}; other ground is planned from it. Under each number: how much of the "
    "time it keeps the wheels down. Change one to see what it would move in this plan."
)
_LISTS = {
    "swing": ("Swing", "How far the load on the gauge wheels swings as the unit rides."),
    "most": ("What the soil bears", "The most load on the gauge wheels before the soil packs."),
    "stop": (
        "Wait or squeeze first",
        "When it is too wet, when to squeeze a handful, what to watch.",
    ),
    "closing": ("Closing wheels", "The load that they carry on each row."),
}


def page() -> None:
    """Show the page."""
    job, run = asked(), current()
    if job is None or run is None:
        return
    rules = run.plan.rules
    st.html(head(rules) + margin_is())
    system = _system()
    unit = _FORCES[system]
    trial = tried(rules, unit)
    stock = {own.own.id: own.stock for own in own_rules(rules) if own.own and own.stock}
    shown = Shown(unit, acting_in(run.plan), trial, stock)
    with st.container(key="rules-top"):  # style.css puts one below the other where it is narrow
        left, right = st.columns([5, 4], gap="large")
    with left:
        depth, speed = (
            figure(REFERENCE_DEPTH_M, "length", system),
            figure(REFERENCE_SPEED_MPS, "speed", system),
        )
        about = _AIM.format(depth=depth, speed=speed)
        st.html(f"<h2>To aim for, {unit.removesuffix('f')}</h2><p>{about}</p>")
        _block(rules.aim, shown)
    with right:
        if trial.changes:
            with st.container(key="rules-tried"):
                panel(job, run.plan, trial, unit, system)
        with st.container(key="rules-files"):
            own_block(rules, unit)
        if before := asked_before(job):
            caption = "The last change of rules moved"
            st.html(impact_table(answered(before).plan, run.plan, caption, system))
    with st.container(key="rules-lists"):
        pick_rule(rules, unit, trial)
        for decides, (title, what) in _LISTS.items():
            st.html(f"<h2>{title}</h2><p>{what}</p>")
            _block(getattr(rules, decides), shown)


def _system() -> str:
    """Ask for the units: the sheets' own."""
    return st.segmented_control(
        "Units",
        UNITS,
        default=DEFAULTS["units"],
        required=True,
        format_func=UNITS.__getitem__,
        key="units",
        persist_state="session",
    )


def _block(rule_set: RuleSet, shown: Shown) -> None:
    """The grid of a set, if it has one, and the list of its other rules."""
    others = [rule for rule in rule_set.rules if rule.kind != "base"]
    if len(others) < len(rule_set.rules):
        grid_block(rule_set, shown)
    if others:
        st.html(rule_list(others, rule_set.decides, shown.unit, shown.acting))


if __name__ == "__main__":
    page()
