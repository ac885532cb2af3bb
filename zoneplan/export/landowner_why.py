"""Why a landowner's zone has its figures: reasons, how it differs from its neighbours, warnings."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import shapely

from zoneplan import units
from zoneplan.export.landowner import BY_HAND, GROUNDS, lies, press, soil
from zoneplan.export.once import once
from zoneplan.plan.model import OVERRIDE, Instruction, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.rules.rule import Reason, Rule
from zoneplan.rules.words import GROUND
from zoneplan.say.figures import counted, listing, sentence
from zoneplan.say.landowner import landowner_words
from zoneplan.say.quantities import (
    figure,
    percent,
    unit,
)
from zoneplan.soil.texture import GROUP_OF, SoilFacts
from zoneplan.terms import Moisture

GROUPS = GROUND["texture_group"]  # from the lightest soil to the heaviest
ROUNDED = "the sums are rounded"
WHOLE = 0.995  # a larger share is all


def reasons(plan: Plan, setting: ZoneSetting, system: str) -> list[str]:
    """Tell what made a zone's figures, each reason once with what it adds at each moisture."""
    adds: dict[str, dict[str, Reason]] = {}
    for moisture, instruction in setting.moistures.items():
        for reason in () if isinstance(instruction, NoNumbers) else instruction.reasons:
            by_moisture = adds.setdefault(_clause(plan, reason), {})
            by_moisture[moisture] = (
                _together(by_moisture[moisture], reason) if moisture in by_moisture else reason
            )
    last = {"rounding": 1, OVERRIDE: 2}
    in_order = sorted(
        adds.items(), key=lambda entry: max(last.get(link.kind, 0) for link in entry[1].values())
    )
    sentences = [_with_amounts(clause, links, system) for clause, links in in_order]
    return [*sentences, *_notches_by_hand(setting)]


def beside(plan: Plan, setting: ZoneSetting, system: str) -> list[str]:
    """Tell how a zone differs from each zone that touches it, and why."""
    if not setting.numbered:
        return []
    neighbours: dict[tuple[str, str], list[int]] = {}
    for other in _neighbours(plan)[setting.zone.id]:
        words = _compared(plan, setting, other, system)
        neighbours.setdefault((soil(other), words), []).append(other.zone.id)
    return [
        f"Beside {counted('zone', ids)}, {name}: {words}"
        for (name, words), ids in neighbours.items()
    ]


def watch(plan: Plan, setting: ZoneSetting, system: str) -> list[str]:
    """Tell what to look out for in a zone, each thing once with the moistures it holds at."""
    remarks: dict[str, list[str]] = {}
    for moisture, instruction in setting.moistures.items():
        for words in dict.fromkeys(_watched(plan, instruction, system)):
            remarks.setdefault(words, []).append(moisture)
    when: dict[str, list[str]] = {}
    for words, moistures in remarks.items():
        when.setdefault(listing(moistures), []).append(sentence(words))
    always = listing(list(setting.moistures))
    return [
        " ".join(sentences if names == always else [f"When {names}:", *sentences])
        for names, sentences in when.items()
    ]


def waiting(plan: Plan, moisture: Moisture) -> list[tuple[str, list[ZoneSetting]]]:
    """Find the zones that must wait at one moisture, by the reason why."""
    waits: dict[str, list[ZoneSetting]] = {}
    for setting in plan.settings:
        instruction = setting.moistures[moisture]
        if isinstance(instruction, Wait):
            waits.setdefault(sentence(_clause(plan, instruction.reasons[0])), []).append(setting)
    return list(waits.items())


def _notches_by_hand(setting: ZoneSetting) -> list[str]:
    """Tell where a person chose how firmly the furrow is closed."""
    chosen: dict[str, list[str]] = {}
    for moisture, instruction in setting.set_at.items():
        if link := instruction.closing_by_hand:
            chosen.setdefault(f"({link.source}): {link.why}", []).append(moisture)
    return [
        sentence(f"how firmly the furrow is closed when {listing(moistures)} was {BY_HAND} {words}")
        for words, moistures in chosen.items()
    ]


def _clause(plan: Plan, reason: Reason) -> str:
    """A reason in plain words; where its rule has none, its own."""
    if reason.kind == "rounding":
        return ROUNDED
    if reason.kind == OVERRIDE:
        return f"the number was {BY_HAND} ({reason.source}): {reason.why}"
    rule = plan.rules.by_id.get(reason.rule)
    return (rule and rule.plain) or reason.why


def _with_amounts(clause: str, links: dict[str, Reason], system: str) -> str:
    """The clause, and what it starts from, adds or takes at each moisture."""
    moistures: dict[str, dict[str, list[str]]] = {}  # verb to amount to moistures
    for moisture, reason in links.items():
        if reason.adds and reason.kind != "rounding":
            verb = "adds" if reason.adds > 0 else "takes away"
            verb = _starts(reason) if reason.kind == "base" else f"that {verb}"
            amount = figure(abs(reason.adds), "load", system)
            moistures.setdefault(verb, {}).setdefault(amount, []).append(moisture)
    clauses = [
        f"{verb} {listing([f'{amount} when {listing(at)}' for amount, at in amounts.items()])}"
        for verb, amounts in moistures.items()
    ]
    return " ".join(map(sentence, [clause, *clauses]))


def _together(one: Reason, other: Reason) -> Reason:
    """Make one link of two that are told in the same words."""
    shares = [link.share for link in (one, other) if link.share is not None]
    share = sum(shares) if shares and sum(shares) < WHOLE else None
    return replace(one, adds=(one.adds or 0.0) + (other.adds or 0.0), share=share)


def _starts(reason: Reason) -> str:
    """Say what a base gives: all that the plan starts from, or its part between two soils."""
    if reason.share is None:
        return "the plan starts from"
    return f"the soil lies between two kinds, and {percent(reason.share)} of this one gives"


@once
def _neighbours(plan: Plan) -> dict[int, list[ZoneSetting]]:
    """The zones that have an edge in common with each; a corner is none."""
    shapes = np.array([setting.zone.shape for setting in plan.settings])
    pairs = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, other = pairs[:, pairs[0] < pairs[1]]
    touch = shapely.length(shapely.intersection(shapes[one], shapes[other])) > 0
    beside: dict[int, list[ZoneSetting]] = {setting.zone.id: [] for setting in plan.settings}
    both = np.concatenate([one[touch], other[touch]]), np.concatenate([other[touch], one[touch]])
    for here, there in sorted(zip(*both, strict=True)):
        beside[plan.settings[here].zone.id].append(plan.settings[there])
    return beside


def _compared(plan: Plan, here: ZoneSetting, there: ZoneSetting, system: str) -> str:
    if not there.numbered:
        return f"no numbers there: {GROUNDS[there.zone.facts.ground]}."
    moistures: dict[str, list[str]] = {}
    for moisture, instruction in here.moistures.items():
        words = _difference(instruction, there.moistures[moisture], system)
        moistures.setdefault(words, []).append(moisture)
    phrases = [f"{words} when {listing(names)}" for words, names in moistures.items()]
    if list(moistures) == ["the same"]:
        phrases = ["the same numbers"]
    return " ".join([f"{'; '.join(phrases)}.", *_causes(plan, here, there)])


def _difference(here: Instruction, there: Instruction, system: str) -> str:
    name = unit("load", system)
    if not isinstance(here, Setting) or not isinstance(there, Setting):
        one, other = press([here], system), press([there], system)
        return "the same" if one == other else f"{one} here and {other} there"
    more = round(units.to(here.margin_n, name, "force"))
    more -= round(units.to(there.margin_n, name, "force"))
    return f"{abs(more)} {name} {'more' if more > 0 else 'less'}" if more else "the same"


def _causes(plan: Plan, here: ZoneSetting, there: ZoneSetting) -> list[str]:
    """What holds in one of two zones and not in the other."""
    one, other = (_particulars(plan, setting) for setting in (here, there))
    return [
        *_heavier(here.zone.facts, there.zone.facts),
        *(f"Here {clause}." for clause in one if clause not in other),
        *(f"There {clause}." for clause in other if clause not in one),
    ]


def _heavier(here: SoilFacts, there: SoilFacts) -> list[str]:
    """Which of two soils is the heavier, in groups as the rules know them."""
    one, other = (GROUPS.index(GROUP_OF[facts.texture or ""]) for facts in (here, there))
    if one == other:
        return []
    text = f"This soil is {'heavier' if one > other else 'lighter'}"
    clay, clay_there = here.clay_frac, there.clay_frac
    if clay is not None and clay_there is not None and (clay > clay_there) == (one > other):
        text += f": {percent(clay)} of it is clay, and {percent(clay_there)} there"
    return [f"{text}."]


def _particulars(plan: Plan, setting: ZoneSetting) -> list[str]:
    """What is told of a zone besides its soil."""
    clauses = []
    for value in setting.moistures.values():
        if isinstance(value, NoNumbers):
            continue
        kinds = (
            reason for reason in value.reasons if reason.kind not in ("base", "rounding", OVERRIDE)
        )
        clauses += [_clause(plan, reason).rstrip(".") for reason in kinds]
        clauses += (
            [f"a number was {BY_HAND}"] if isinstance(value, Setting) and value.by_hand else []
        )
        warning = (rule for rule in _warning(plan, value) if rule.kind != "base")
        clauses += [rule.plain for rule in warning if rule.plain]
    return list(dict.fromkeys([*lies(setting.zone.site), *clauses]))


def _warning(plan: Plan, instruction: Instruction) -> list[Rule]:
    """The rules that warn at one moisture."""
    rules = plan.rules.by_id
    return [
        rules[notice.rule]
        for notice in instruction.notices
        if notice.code == "rule-warns" and notice.rule in rules
    ]


def _watched(plan: Plan, instruction: Instruction, system: str) -> Iterable[str]:
    """What to look out for at one moisture: from the rules, the wheels, then the planter."""
    for rule in _warning(plan, instruction):
        told_already = rule.kind == "stop" and rule.plain and not rule.warns_plain
        if words := rule.warns_plain or (None if told_already else rule.warns):
            yield words
    for notice in instruction.notices:
        if words := landowner_words(notice, system):
            yield words
