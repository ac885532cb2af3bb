"""The base rules of a set as a grid on the page: a number a cell, changed where it stands."""

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.fault import fault
from zoneplan.pages.rulebook.listed import Acting, details, implied
from zoneplan.pages.rulebook.numbers import boxes
from zoneplan.pages.rulebook.own_rules import put_back
from zoneplan.pages.rulebook.tried import Tried, box_key, drop
from zoneplan.rules.grid import GROUPS, MOISTURES, Cell, grids, textures_of
from zoneplan.rules.rule import Rule, RuleSet
from zoneplan.rules.show import gives_in_words, when_in_words
from zoneplan.say.notices import named


@dataclass(frozen=True)
class Shown:
    """What all cells of a page share."""

    unit: str  # of loads: lbf or N
    acting: Acting
    trial: Tried
    stock: Mapping[str, Rule]  # what a rule of one's own is in place of, by its id


def grid_block(rule_set: RuleSet, shown: Shown) -> None:
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


def _cell(rule_set: RuleSet, cell: Cell, name: str, shown: Shown) -> None:
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


def _under(rule_set: RuleSet, cell: Cell, name: str, shown: Shown) -> str:
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


def _same(cell: Cell, shown: Shown, first: str) -> str:
    """A number that is changed in another cell: one rule decides both."""
    gives = escape(gives_in_words(shown.trial.rules.by_id[cell.rule.id], shown.unit))
    return f'<p class="zp-rules-under"><b>{gives}</b><br>the same rule as: {escape(first)}</p>'
