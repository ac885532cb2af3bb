"""What is tried in the boxes of the rules: their numbers, what would move, the way to keep it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import streamlit as st

from zoneplan.errors import RuleError, ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.answers import answered, watching
from zoneplan.pages.fault import fault
from zoneplan.pages.impact import impact_table
from zoneplan.pages.rulebook import Files, lay, own_files, uploads
from zoneplan.pages.state import changed, today
from zoneplan.pages.words import still_to_give
from zoneplan.plan.model import Plan
from zoneplan.rules import local_rules
from zoneplan.rules.read import read_rules
from zoneplan.rules.rule import CONFIDENCES, Rule, Rules, RuleSet, Source
from zoneplan.rules.words import GROWS, MEASURES, gives_in_words, is_judgement
from zoneplan.rules.write import as_written
from zoneplan.run import Job

WORDS = {  # of a rule, and what their boxes are called
    "title": "Title",
    "plain": "Why, to the landowner in plain words",
    "warns": "Warns",
    "warns_plain": "Warns the landowner",
}
BACKS = {"value": "the number", "direction": "its direction only"}
GIVES = {"aim": "Aim for", "most": "The soil bears", "closing": "The closing wheels carry"}
_STEPS = {"lbf": 5.0, "N": 20.0}
_DIGITS = {"lbf": 1, "N": 0}  # of a load, that a box shows
_FACTORS = {"least": "Swings of margin", "felt": "Share of the unevenness that is felt"}
_WHEN = "when "  # begins the key of a box that says when
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
    session, numbers = st.session_state, boxes(rule, unit, rule_set.decides)
    entries = {
        box.key: box.value if typed == box.shown else typed
        for box in numbers
        for typed in [session.get(box_key(rule, unit, box.key), box.shown)]
    }
    shown = {box.key: box.value for box in numbers}
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
    rules = [plan.rules.by_id[change.rule] for change in trial.changes]
    st.html(f"<h2>Tried, not kept yet</h2><ul>{''.join(_lines(rules, trial, unit))}</ul>")
    if "" in trial.faults:
        st.html(fault(trial.faults[""]))
    if trial.files is None:
        st.html("<p>Nothing can be kept while a rule is at fault.</p>")
    else:
        _impact(changed(job, rules=uploads(trial.files)), plan, system)
    _ask(rules)
    if message := st.session_state.get(_FAULT):
        st.html(fault(message))
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


def _lines(rules: list[Rule], trial: Trial, unit: str) -> list[str]:
    lines = []
    for rule in rules:
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


def _ask(rules: list[Rule]) -> None:
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
    cited = [source for rule in rules for source in rule.sources]
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


# ---- the numbers of a rule -----------------------------------------------------------------------


@dataclass(frozen=True)
class Box:
    """One number of a rule that can be changed."""

    key: str
    label: str
    value: float | None  # as the rule has it
    step: float
    digits: int = 9  # that are shown

    @property
    def shown(self) -> float | None:
        """What stands in the box until somebody types."""
        return None if self.value is None else round(self.value, self.digits)


def boxes(rule: Rule, unit: str, decides: str = "aim") -> list[Box]:
    """Find the numbers of a rule that can be changed, loads in `unit`: lbf or N.

    >>> from zoneplan.rules.read import read_rules
    >>> rules = read_rules()
    >>> [(box.label, box.shown) for box in boxes(rules.aim.rules[0], "N")]
    [('Aim for, N', 489.0)]
    >>> [(box.label, box.value) for box in boxes(rules.stop.rules[0], "lbf", "stop")]
    [('Chance to smear from, %', 75.0), ('Plasticity index from, %', 4.0)]
    """
    keys = as_written(rule, unit)
    return [*_amounts(rule, keys, decides, unit), *_limits(keys["when"])]


def numbers_of(
    entries: dict[str, float | None], when: dict[str, Any] | None = None
) -> dict[str, Any]:
    """Give what was typed into the boxes as a rules file has it.

    `when` is what the rule asks for now; a limit that is emptied is left out.

    >>> numbers_of({"add": 8.0, "speed_mph": 1.0, "above": 5.0, "most": None})
    {'add': 8.0, 'most': None, 'per': {'speed_mph': 1.0, 'above': 5.0}}
    >>> numbers_of({"when smear_pct from": 80.0}, {"moisture": ["wet"], "smear_pct": {"from": 75}})
    {'when': {'moisture': ['wet'], 'smear_pct': {'from': 80.0}}}
    """
    limits = {key: value for key, value in entries.items() if key.startswith(_WHEN)}
    amounts = {key: value for key, value in entries.items() if key not in limits}
    per = {key: value for key, value in amounts.items() if key in MEASURES or key == "above"}
    numbers: dict[str, Any] = {key: value for key, value in amounts.items() if key not in per}
    conditions = {
        key: dict(value) if key in MEASURES else value for key, value in (when or {}).items()
    }
    for key, limit in limits.items():
        measure, end = key.removeprefix(_WHEN).split()
        conditions[measure][end] = limit
        if limit is None:
            del conditions[measure][end]
    conditions = {key: value for key, value in conditions.items() if value}
    return numbers | ({"per": per} if per else {}) | ({"when": conditions} if limits else {})


def _amounts(rule: Rule, keys: dict[str, Any], decides: str, unit: str) -> list[Box]:

    def load(key: str, label: str) -> Box:
        label = f"{label}, {unit.removesuffix('f')}"
        return Box(key, label, keys[key], _STEPS[unit], _DIGITS[unit])

    if rule.kind == "base":
        return [load("aim", GIVES[decides])]
    if rule.kind == "cap":
        return [load("least", "At least"), load("most", "At most")]
    if rule.kind == "adjust":
        per = [*_per(keys["per"]), load("most", "in all at most")] if keys["per"] else []
        return [load("add", "Add"), *per]
    if rule.acts == "bounce":
        return [load("value", "Bounce")]
    return _factor(rule, keys) if rule.kind == "factor" and keys["value"] is not None else []


def _factor(rule: Rule, keys: dict[str, Any]) -> list[Box]:
    """The number of a part of the swing that is no load."""
    if not keys["per"]:
        label = _FACTORS.get(rule.acts or "", "Share of the opener load")
        return [Box("value", label, keys["value"], 0.05)]
    return [
        Box("value", "Share more swing for each step", keys["value"], 0.005),
        *(_per(keys["per"]) if GROWS[rule.acts or ""].starts is None else []),  # else it is fixed
        *(
            Box(end, f"Share never {'below' if end == 'least' else 'above'}", keys[end], 0.05)
            for end in ("least", "most")
            if keys[end] is not None
        ),
    ]


def _per(per: dict[str, float]) -> list[Box]:
    """For every so much of a measured thing, above so much."""
    measure, above = per
    grows = MEASURES[measure]
    return [
        Box(measure, f"for every, {grows.unit}", per[measure], 0.5),
        Box(above, f"of {grows.name} above, {grows.unit}", per[above], 0.5),
    ]


def _limits(when: dict[str, Any]) -> list[Box]:
    """From where to where a rule holds, where that is a number."""
    return [
        Box(
            f"{_WHEN}{key} {end}",
            f"{MEASURES[key].name.capitalize()} {end}, {MEASURES[key].unit}",
            limit,
            1.0,
        )
        for key, limits in when.items()
        if key in MEASURES
        for end, limit in limits.items()
    ]
