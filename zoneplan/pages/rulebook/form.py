"""The form that changes one rule, and keeps it in a local copy."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.overview import fault
from zoneplan.pages.rulebook.own_rules import lay, today
from zoneplan.pages.rulebook.table import rule_in_words
from zoneplan.pages.words import UNKNOWN, acres, pounds
from zoneplan.plan.compare import compare
from zoneplan.plan.model import Instruction, Plan, Setting, Wait
from zoneplan.rules import local_rules
from zoneplan.rules.rule import CONFIDENCES, Rule, Rules, RuleSet, Source
from zoneplan.rules.words import GROWS, MEASURES, is_judgement
from zoneplan.rules.write import as_written
from zoneplan.terms import Moisture

_SAME = '<span class="same">as before</span>'
_NO_GROUND = acres(0.0)


def moved_table(before: Plan, after: Plan) -> str:
    """Show the ground whose margin target or closing notch is another one than before."""
    counts = (len(before.settings), len(after.settings))
    anew = f"<p>The zones were drawn anew: {counts[0]} before, {counts[1]} now.</p>"
    note = anew if counts[0] != counts[1] else ""
    rows = "".join(_rows(before, after))
    if not rows:
        return (
            '<section class="zp-rules-moved" role="status">'
            f"<p>The last change of rules moved no zone's numbers.</p>{note}</section>"
        )
    heads = "".join(
        f'<th scope="col">{head}</th>' for head in ("Zone", "Acres", *map(str.capitalize, Moisture))
    )
    return (
        f'<section class="zp-rules-moved" role="status"><table class="zp-zones">'
        "<caption>What the last change of rules moved</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>{note}</section>"
    )


def _rows(before: Plan, after: Plan) -> Iterator[str]:
    """A row for each zone, or for each part of one that lay in another zone before."""
    by_moisture = [
        {piece.zones: piece for piece in compare(before, after, moisture).pieces}
        for moisture in Moisture
    ]
    for zones, piece in sorted(by_moisture[0].items(), key=lambda pair: pair[0][::-1]):
        moves = [_move(pieces[zones].one, pieces[zones].other) for pieces in by_moisture]
        area = acres(piece.area_ha)
        if any(moves) and area != _NO_GROUND:  # a hairline where edges were straightened
            old, new = zones
            was = "" if old == new else f" <small>was {old}</small>"
            cells = "".join(f"<td>{move or _SAME}</td>" for move in moves)
            yield f'<tr><th scope="row">{new}{was}</th><td>{area}</td>{cells}</tr>'


def _move(old: Instruction, new: Instruction) -> str:
    """Say what is another number than before, as HTML; nothing where none is."""
    changes = []
    if _target(old) != _target(new):
        by = ""
        if isinstance(old, Setting) and isinstance(new, Setting):
            more = "+" if new.margin_n > old.margin_n else ""
            by = f" ({more}{pounds(new.margin_n - old.margin_n)})"
        changes.append(f"{_target(old)} → <strong>{_target(new)}</strong>{by}")
    was, now = _notch(old), _notch(new)
    if was != now and not (isinstance(old, Wait) or isinstance(new, Wait)):
        changes.append(f"notch {escape(was)} → <strong>{escape(now)}</strong>")
    return ", ".join(changes)


def _target(instruction: Instruction) -> str:
    if isinstance(instruction, Setting):
        return pounds(instruction.margin_n)
    return "wait" if isinstance(instruction, Wait) else UNKNOWN


def _notch(instruction: Instruction) -> str:
    return instruction.closing_notch if isinstance(instruction, Setting) else UNKNOWN


BACKS = {"value": "the number", "direction": "its direction only"}
_GIVES = {"aim": "Aim for", "most": "The soil bears", "closing": "The closing wheels carry"}
_WHEN = "when "  # begins the key of a box that says when
_NAME, _INITIALS = "rules-name", "rules-initials"
_STAYS: Literal["session"] = "session"  # nothing typed is lost on the way to another page


@dataclass(frozen=True)
class Box:
    """One number of a rule that can be changed."""

    key: str
    label: str
    value: float | None
    step: float


def boxes(rule: Rule, unit: str, decides: str = "aim") -> list[Box]:
    """Find the numbers of a rule that can be changed, in the unit of its set.

    >>> from zoneplan.rules.read import read_rules
    >>> rules = read_rules()
    >>> [(box.label, box.value) for box in boxes(rules.aim.rules[0], "lbf")]
    [('Aim for, lb', 110.0)]
    >>> [(box.label, box.value) for box in boxes(rules.stop.rules[0], "lbf", "stop")]
    [('Chance to smear from, %', 75.0), ('Plasticity index from, %', 4.0)]
    """
    keys = as_written(rule, unit)
    return [*_amounts(rule, keys, decides, unit), *_limits(keys["when"])]


def _amounts(rule: Rule, keys: dict[str, Any], decides: str, unit: str) -> list[Box]:
    """What a rule gives."""
    unit_words, step = ("share of the range", 0.05) if unit == "share" else ("lb", 5.0)
    if rule.kind == "base":
        return [Box("aim", f"{_GIVES[decides]}, {unit_words}", keys["aim"], step)]
    if rule.kind == "cap":
        return [
            Box("least", f"At least, {unit_words}", keys["least"], step),
            Box("most", f"At most, {unit_words}", keys["most"], step),
        ]
    if rule.kind == "factor":
        return _factor(rule, keys, step)
    if rule.kind != "adjust":
        return []
    first = Box("add", f"Add, {unit_words}", keys["add"], step)
    if not keys["per"]:
        return [first]
    return [
        first,
        *_per(keys["per"]),
        Box("most", f"in all at most, {unit_words}", keys["most"], step),
    ]


def _factor(rule: Rule, keys: dict[str, Any], step: float) -> list[Box]:
    """The number of a part of the swing; some parts have none."""
    if keys["value"] is None:
        return []
    if rule.acts == "bounce":
        return [Box("value", "Bounce, lb", keys["value"], step)]
    if not keys["per"]:
        label = "Swings of margin" if rule.acts == "least" else "Share of the opener load"
        label = "Share of the unevenness that is felt" if rule.acts == "felt" else label
        return [Box("value", label, keys["value"], 0.05)]
    return [
        Box("value", "Share more of the swing", keys["value"], 0.005),
        *(_per(keys["per"]) if GROWS[rule.acts or ""].starts is None else []),  # else it is fixed
        *(
            Box(end, f"Factor not {'below' if end == 'least' else 'above'}", keys[end], 0.05)
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


def pick_rule(rules: Rules, means: Mapping[str, str]) -> None:
    """Choose one rule, and change it. `means` is what the numbers of some come to, by id."""
    options = {
        (rule_set.decides, rule.id): (rule_set, rule)
        for rule_set in rules.sets
        for rule in rule_set.rules
    }
    if st.session_state.get("rule") not in options:
        st.session_state["rule"] = None
    st.html("<h2>Change a rule</h2>")
    chosen = st.selectbox(
        "Rule",
        options,
        None,
        key="rule",
        format_func=lambda key: f"{options[key][1].title} ({key[1]})",
        placeholder="Choose one, or type to find it",
        persist_state=_STAYS,
    )
    if chosen is not None:
        _form(*options[chosen], means.get(chosen[1], ""))


def _form(rule_set: RuleSet, rule: Rule, means: str) -> None:
    """Ask for everything that can be changed in a rule; filled with what it says now."""
    unit = rule_set.unit
    says = hash((rule_in_words(rule, unit), rule.plain, rule.warns_plain))
    form = f"rules-form {rule_set.decides} {rule.id} {says:x} "

    def box(name: str, filled: object) -> str:
        st.session_state.setdefault(form + name, filled)
        return form + name

    st.html(rule_in_words(rule, unit, means))
    numbers = boxes(rule, unit, rule_set.decides)
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
    _plain_box("The same to the landowner, in plain words", box("plain", rule.plain or ""))
    if rule.warns:
        warns = box("warns", rule.warns)
        st.text_area("Warns", key=warns, height=68, persist_state=_STAYS)
        _plain_box("Warns the landowner", box("warns_plain", rule.warns_plain or ""))
    if any(not is_judgement(source.cite) for source in rule.sources):
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
    if message := st.session_state.get(form + "fault"):
        st.html(fault(message))
    st.button(
        "Keep as my copy",
        key="rules-keep",
        type="primary",
        on_click=_keep,
        args=(rule_set, rule, form),
    )


def _plain_box(label: str, key: str) -> None:
    st.text_area(
        label,
        key=key,
        height=68,
        help="He does not plant. Left empty, he reads what stands above. Change both together.",
        persist_state=_STAYS,
    )


def _keep(rule_set: RuleSet, rule: Rule, form: str) -> None:
    session = st.session_state
    cite, link = session[form + "cite"].strip(), session[form + "link"].strip()
    new = local_rules.Change(
        decides=rule_set.decides,
        rule=rule.id,
        numbers=numbers_of(
            {
                box.key: session[form + box.key]
                for box in boxes(rule, rule_set.unit, rule_set.decides)
            },
            as_written(rule, rule_set.unit)["when"],
        ),
        why=session[form + "why"],
        plain=session[form + "plain"],
        warns=session.get(form + "warns"),
        warns_plain=session.get(form + "warns_plain"),
        name=session[_NAME],
        initials=session[_INITIALS],
        on=today(),
        title=session[form + "title"],
        confidence=session[form + "confidence"],
        source=Source(cite, link or None, session[form + "backs"]) if cite or link else None,
        keeps_sources=session.get(form + "keeps", False),
    )
    if lay(lambda files: local_rules.changed(files, new), form + "fault"):
        for key in [name for name in session if str(name).startswith(form)]:
            del session[key]
