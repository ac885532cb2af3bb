"""The form that changes one rule, and keeps it in a local copy."""

from dataclasses import dataclass
from typing import Any, Literal

import streamlit as st

from zoneplan.pages.overview import fault
from zoneplan.pages.own_rules import lay, today
from zoneplan.pages.rulebook import rule_in_words
from zoneplan.rules import local_rules
from zoneplan.rules.rule import CONFIDENCES, Rule, Rules, RuleSet, Source
from zoneplan.rules.words import MEASURES, is_judgement
from zoneplan.rules.write import as_written

BACKS = {"value": "the number", "direction": "its direction only"}
_NAME, _INITIALS = "rules-name", "rules-initials"
_STAYS: Literal["session"] = "session"  # nothing typed is lost on the way to another page


@dataclass(frozen=True)
class Box:
    """One number of a rule that can be changed."""

    key: str
    label: str
    value: float | None
    step: float


def boxes(rule: Rule, unit: str) -> list[Box]:
    """Find the numbers of a rule that can be changed, in the unit of its set.

    >>> from zoneplan.rules.read import read_rules
    >>> [(box.label, box.value) for box in boxes(read_rules().margin.rules[0], "lbf")]
    [('Aim for, lb', 90.0)]
    """
    keys = as_written(rule, unit)
    said, step = ("share of the range", 0.05) if unit == "share" else ("lb", 5.0)
    if rule.kind == "base":
        return [Box("aim", f"Aim for, {said}", keys["aim"], step)]
    if rule.kind == "cap":
        return [
            Box("least", f"At least, {said}", keys["least"], step),
            Box("most", f"At most, {said}", keys["most"], step),
        ]
    if rule.kind == "stop":
        return []
    if not keys["per"]:
        return [Box("add", f"Add, {said}", keys["add"], step)]
    measure, above = keys["per"]
    grows = MEASURES[measure]
    return [
        Box("add", f"Add, {said}", keys["add"], step),
        Box(measure, f"for every, {grows.unit}", keys["per"][measure], 0.5),
        Box(above, f"of {grows.name} above, {grows.unit}", keys["per"][above], 0.5),
        Box("most", f"in all at most, {said}", keys["most"], step),
    ]


def numbers_of(given: dict[str, float | None]) -> dict[str, Any]:
    """Give what was typed into the boxes as a rules file has it.

    >>> numbers_of({"add": 8.0, "speed_mph": 1.0, "above": 5.0, "most": None})
    {'add': 8.0, 'most': None, 'per': {'speed_mph': 1.0, 'above': 5.0}}
    """
    per = {key: value for key, value in given.items() if key in MEASURES or key == "above"}
    numbers: dict[str, Any] = {key: value for key, value in given.items() if key not in per}
    return numbers | ({"per": per} if per else {})


def pick_rule(rules: Rules) -> None:
    """Choose one rule, and change it."""
    found = {
        (rule_set.decides, rule.id): (rule_set, rule)
        for rule_set in rules.sets
        for rule in rule_set.rules
    }
    if st.session_state.get("rule") not in found:
        st.session_state["rule"] = None
    st.html("<h2>Change a rule</h2>")
    chosen = st.selectbox(
        "Rule",
        found,
        None,
        key="rule",
        format_func=lambda it: f"{found[it][1].title} ({it[1]})",
        placeholder="Choose one, or type to find it",
        persist_state=_STAYS,
    )
    if chosen is not None:
        _form(*found[chosen])


def _form(rule_set: RuleSet, rule: Rule) -> None:
    """Ask for everything that can be changed in a rule; filled with what it says now."""
    unit = rule_set.unit
    form = f"rules-form {rule_set.decides} {rule.id} {hash(rule_in_words(rule, unit)):x} "

    def box(name: str, filled: object) -> str:
        st.session_state.setdefault(form + name, filled)
        return form + name

    st.html(rule_in_words(rule, unit))
    numbers = boxes(rule, unit)
    for place, number in zip(st.columns(max(2, len(numbers))), numbers, strict=False):
        place.number_input(
            number.label,
            value=None,
            step=number.step,
            format="%g",
            key=box(number.key, number.value),
            persist_state=_STAYS,
        )
    why = "" if rule.origin == "stock" else rule.why
    st.text_area("Why", key=box("why", why), height=68, persist_state=_STAYS)
    if rule.warns:
        warns = box("warns", rule.warns)
        st.text_area("Warns", key=warns, height=68, persist_state=_STAYS)
    if any(not is_judgement(it.cite) for it in rule.sources):
        st.checkbox(
            "What it cites still backs its direction", key=box("keeps", True), persist_state=_STAYS
        )
    with st.expander("Its title, and a source for it"):
        st.text_input("Title", key=box("title", rule.title), persist_state=_STAYS)
        st.text_input("Who wrote it, when and where", key=box("cite", ""), persist_state=_STAYS)
        st.text_input("Link", key=box("link", ""), persist_state=_STAYS)
        left, right = st.columns(2)
        left.selectbox(
            "It backs",
            BACKS,
            format_func=BACKS.__getitem__,
            key=box("backs", "value"),
            persist_state=_STAYS,
        )
        right.selectbox(
            "Confidence", CONFIDENCES, key=box("confidence", "judged"), persist_state=_STAYS
        )
    left, right = st.columns([2, 1])
    left.text_input(
        "Name of the local copy",
        key=_NAME,
        max_chars=60,
        placeholder="a farm, a co-op",
        persist_state=_STAYS,
    )
    right.text_input("Your initials", key=_INITIALS, max_chars=12, persist_state=_STAYS)
    if told := st.session_state.get(form + "fault"):
        st.html(fault(told))
    st.button(
        "Keep as my copy",
        key="rules-keep",
        type="primary",
        on_click=_keep,
        args=(rule_set, rule, form),
    )


def _keep(rule_set: RuleSet, rule: Rule, form: str) -> None:
    told = st.session_state
    cite, link = told[form + "cite"].strip(), told[form + "link"].strip()
    new = local_rules.Change(
        decides=rule_set.decides,
        rule=rule.id,
        numbers=numbers_of({it.key: told[form + it.key] for it in boxes(rule, rule_set.unit)}),
        why=told[form + "why"],
        warns=told.get(form + "warns"),
        name=told[_NAME],
        initials=told[_INITIALS],
        on=today(),
        title=told[form + "title"],
        confidence=told[form + "confidence"],
        source=Source(cite, link or None, told[form + "backs"]) if cite or link else None,
        keeps_sources=told.get(form + "keeps", False),
    )
    if lay(lambda files: local_rules.changed(files, new), form + "fault"):
        for key in [it for it in told if str(it).startswith(form)]:
            del told[key]
