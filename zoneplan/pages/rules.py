"""The page of rules: the aims as a grid, the others as a list; changed, tried, then kept."""

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.answers import answered, current
from zoneplan.pages.boxes import choice
from zoneplan.pages.fault import fault
from zoneplan.pages.impact import impact_table
from zoneplan.pages.overview import margin_is
from zoneplan.pages.rule_trial import WORDS, Trial, box_key, boxes, drop, panel, trial_of
from zoneplan.pages.rulebook import (
    Acting,
    acting_in,
    asked_before,
    details,
    head,
    implied,
    own_block,
    put_back,
    rule_list,
)
from zoneplan.pages.state import asked
from zoneplan.pages.words import UNITS
from zoneplan.rowunit.opener_load import REFERENCE_DEPTH_M, REFERENCE_SPEED_MPS
from zoneplan.rules.coverage import GROUPS, MOISTURES, Cell, grids
from zoneplan.rules.local_rules import own_rules
from zoneplan.rules.rule import Rule, Rules, RuleSet
from zoneplan.rules.words import gives_in_words, when_in_words
from zoneplan.say.quantities import figure
from zoneplan.say.sentences import named
from zoneplan.soil.texture import textures_of

_FORCES = {"us": "lbf", "si": "N"}
_AIM = (
    "The load to leave on the gauge wheels of each row, on tilled, level, bare ground, {depth} "
    "deep, at {speed}; other ground is planned from it. Under each number: how much of the "
    "time it keeps the wheels down. Change one to see what it would move in this plan."
)
_HELPS = {
    "plain": "He does not plant. Left empty, he reads the reason itself.",
    "warns_plain": "Left empty, he reads the warning itself.",
}
_LISTS = {
    "swing": ("Swing", "How far the load on the gauge wheels swings as the unit rides."),
    "most": ("What the soil bears", "The most load on the gauge wheels before the soil packs."),
    "stop": (
        "Wait or squeeze first",
        "When it is too wet, when to squeeze a handful, what to watch.",
    ),
    "closing": ("Closing wheels", "The load that they carry on each row."),
}


@dataclass(frozen=True)
class _Shown:
    """What all cells of a page share."""

    unit: str  # of loads: lbf or N
    acting: Acting
    trial: Trial
    stock: Mapping[str, Rule]  # what a rule of one's own is in place of, by its id


def page() -> None:
    """Show the page."""
    job, run = asked(), current()
    if job is None or run is None:
        return
    rules = run.plan.rules
    st.html(head(rules) + margin_is())
    system = choice("Units", UNITS, "units", "us")  # the sheets' own
    unit = _FORCES[system]
    trial = trial_of(rules, unit)
    stock = {own.own.id: own.stock for own in own_rules(rules) if own.own and own.stock}
    shown = _Shown(unit, acting_in(run.plan), trial, stock)
    with st.container(key="rules-top"):  # style.css puts one below the other where it is narrow
        left, right = st.columns([5, 4], gap="large")
    with left:
        depth = figure(REFERENCE_DEPTH_M, "length", system)
        speed = figure(REFERENCE_SPEED_MPS, "speed", system)
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
        _pick_rule(rules, unit, trial)
        for decides, (title, what) in _LISTS.items():
            st.html(f"<h2>{title}</h2><p>{what}</p>")
            _block(getattr(rules, decides), shown)


def _block(rule_set: RuleSet, shown: _Shown) -> None:
    """The grid of a set, if it has one, and the list of its other rules."""
    others = [rule for rule in rule_set.rules if rule.kind != "base"]
    if len(others) < len(rule_set.rules):
        _grid_block(rule_set, shown)
    if others:
        st.html(rule_list(others, rule_set.decides, shown.unit, shown.acting))


# ---- the grid ------------------------------------------------------------------------------------


def _grid_block(rule_set: RuleSet, shown: _Shown) -> None:
    """Draw one grid, or one a tillage where rules differ by it."""
    laid, first_at = grids(rule_set), dict[str, str]()
    for place, grid in enumerate(laid):
        if len(laid) > 1:
            st.html(f"<h3>{escape(' and '.join(grid.tillages).capitalize())}</h3>")
        with st.container(key=f"rules-grid-{rule_set.decides}-{place}"):  # in rows by style.css
            for head in ("", *MOISTURES):
                st.html(f"<p class='zp-rules-head'>{head.capitalize()}</p>")
            for group in GROUPS:
                soils = ", ".join(textures_of(group))
                st.html(f"<p class='zp-rules-soil'>{soils.capitalize()} <small>{group}</small></p>")
                for moisture in MOISTURES:
                    cell = grid.cells[group, moisture]
                    name = f"{soils}, {moisture}"
                    with st.container():
                        if cell.rule.id in first_at:  # a box for each rule, and no second one
                            st.html(_same(cell, shown, first_at[cell.rule.id]))
                        else:
                            if len(laid) > 1:
                                name = f"{name}, {' or '.join(grid.tillages)}"
                            first_at[cell.rule.id] = name
                            _cell(rule_set, cell, name, shown)


def _cell(rule_set: RuleSet, cell: Cell, name: str, shown: _Shown) -> None:
    rule, unit, trial = cell.rule, shown.unit, shown.trial
    (box,) = boxes(rule, unit, rule_set.decides)
    key = box_key(rule, unit, box.key)
    st.session_state.setdefault(key, box.shown)
    st.number_input(
        f"{box.label}: {name}",
        value=None,
        step=box.step,
        format="%g",
        key=key,
        label_visibility="collapsed",
        persist_state="session",
    )
    st.html(_under(rule_set, cell, name, shown))
    if rule.id in trial.faults:
        st.html(fault(trial.faults[rule.id]))
    if rule.id in trial.ids:
        label = f"Back to {gives_in_words(rule, unit)}"
        st.button(label, key=f"drop {key}", on_click=drop, args=(rule, unit), type="tertiary")
    elif stock := shown.stock.get(rule.id):
        label = f"Back to {gives_in_words(stock, unit)}"
        args = (rule_set.decides, rule.id)
        st.button(label, key=f"back {key}", on_click=put_back, args=args, type="tertiary")


def _under(rule_set: RuleSet, cell: Cell, name: str, shown: _Shown) -> str:
    """What stands under a number: the contact it implies, where it acts, and why at a click."""
    rule, lines = cell.rule, []
    if rule_set.decides == "aim":
        rules = shown.trial.rules
        contact, little = implied(rules, rules.by_id[rule.id])
        lines.append(f"wheels down {contact}" if rule.id not in shown.trial.faults else "")
        if little:
            lines.append("<mark>less than 96 %: the plan will lift it</mark>")
    where = shown.acting.get((rule_set.decides, rule.id), {})
    if zones := sorted({zone for zones in where.values() for zone in zones}):
        lines.append(named(tuple(zones)))
    if rule.origin != "stock":
        lines.append(f"<mark>{escape(rule.origin)}</mark>")
    also = ""
    if cell.also:
        count = len(cell.also)
        lines.append(f"and {count} special rule{'s' if count > 1 else ''}")
        listed = "".join(
            f"<li>{escape(one.title)}: {escape(gives_in_words(one, shown.unit))}, "
            f"when {escape(when_in_words(one.when))}</li>"
            for one in cell.also
        )
        also = f"<p>Special rules that may add to it or hold it here:</p><ul>{listed}</ul>"
    return (
        f'<p class="zp-rules-under">{"<br>".join(filter(None, lines))}</p>'
        f'<details class="zp-rules-why"><summary aria-label="Why: {escape(name)}">Why</summary>'
        f"<div><b>{escape(rule.title)}</b>{details(rule, where)}{also}</div></details>"
    )


def _same(cell: Cell, shown: _Shown, first: str) -> str:
    """A number that is changed in another cell: one rule decides both."""
    gives = escape(gives_in_words(shown.trial.rules.by_id[cell.rule.id], shown.unit))
    return f'<p class="zp-rules-under"><b>{gives}</b><br>the same rule as: {escape(first)}</p>'


# ---- one rule ------------------------------------------------------------------------------------


def _pick_rule(rules: Rules, unit: str, trial: Trial) -> None:
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


def _form(rule_set: RuleSet, rule: Rule, unit: str, trial: Trial) -> None:
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


if __name__ == "__main__":
    page()
