"""What is told of a zone to somebody who owns the ground: what it is like, how hard the wheels
press, why, how it differs from its neighbours, what to look out for.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from zoneplan import units
from zoneplan.field.shapes import Marks
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import (
    OVERRIDE,
    Instruction,
    NoNumbers,
    Plan,
    Setting,
    Wait,
    ZoneSetting,
)
from zoneplan.rules.rule import Reason, Rule
from zoneplan.rules.words import GROUND
from zoneplan.say.landowner import ALL, BY_HAND, GROUNDS, landowner_words
from zoneplan.say.quantities import (
    ROUNDS,
    figure,
    percent,
    range_figure,
    right_rounds,
    seed_words,
    setting_quantity,
    smear_words,
    unit,
)
from zoneplan.say.sentences import counted, listed_numbers, listing, sentence
from zoneplan.say.summary import usual_side
from zoneplan.soil.texture import GROUP_OF, SoilFacts
from zoneplan.terms import Fitness, Moisture

GROUPS = GROUND["texture_group"]  # from the lightest soil to the heaviest
ROUNDED = "the sums are rounded"
FIRM, LIGHT = 0.67, 0.33  # share of the lever's range: the words of the stock closing rules


def soil(setting: ZoneSetting) -> str:
    """Name a zone's ground."""
    facts = setting.zone.facts
    if facts.ground == "soil":
        return facts.texture or "unknown soil"
    return {"no data": "unknown soil", "organic": "peat or muck"}.get(facts.ground, facts.ground)


def title(setting: ZoneSetting, before_ground: str = ": ") -> str:
    """Name a zone by its number, what a person calls it, and its ground."""
    zone = setting.zone
    called = f", {zone.name}" if zone.name else ""
    return f"Zone {zone.id}{called}{before_ground}{soil(setting)}"


def titled(group: Sequence[ZoneSetting]) -> str:
    """Name the zones of one treatment by their numbers, what a person calls them, and their ground.

    Zones that a person named apart are never of one group.
    """
    if len(group) == 1:
        return title(group[0])
    called = f", {group[0].zone.name}" if group[0].zone.name else ""
    numbers = listed_numbers(sorted(setting.zone.id for setting in group))
    return f"Zones {numbers}{called}: {listing(list(dict.fromkeys(map(soil, group))))}"


def ground(plan: Plan, setting: ZoneSetting) -> list[str]:
    """Tell what a zone is like, as far as it is known."""
    zone = setting.zone
    if not setting.numbered:
        return [sentence(GROUNDS[zone.facts.ground]), "So there are no numbers here."]
    group = GROUP_OF[zone.facts.texture or ""]
    sentences = [sentence(plan.rules.aim.soils.get(group, f"{group} soil"))]
    if zone.facts.drainage:
        sentences.append(f"The soil map calls it {zone.facts.drainage.lower()}.")
    sentences += [f"Here {lie}." for lie in lies(zone.site)]
    if side := usual_side(setting):
        sentences.append(f"On a usual day of planting it lies on the {side} side.")
    if zone.facts.rated_share < ALL:
        sentences.append(f"The soil map speaks for {percent(zone.facts.rated_share)} of this zone.")
    return sentences


def lies(site: Marks) -> list[str]:
    """How a zone lies, apart from its soil."""
    return [
        *(["the planter turns"] if site.headland else []),
        *(["other wheels run year after year"] if site.track else []),
        *([f"the ground is marked “{site.part.name}”"] if site.part else []),
        *(["water gathers"] if site.gathers_water else []),
        *(["the ground is steep and sheds water"] if site.steep else []),
    ]


def press(instructions: Sequence[Instruction], system: str) -> str:
    """Say how hard the wheels should press on each row, or why there is no figure."""
    loads_n = [each.margin_n for each in instructions if isinstance(each, Setting)]
    if loads_n:
        return range_figure(loads_n, "load", system)
    return "wait" if any(isinstance(each, Wait) for each in instructions) else "no number"


def in_fact(settings: Sequence[Setting], system: str) -> str:
    """Say how hard they will press, from full seed boxes to near-empty; empty if as wanted."""
    margins_n = [
        load_n
        for setting in settings
        for load_n in (setting.margin_full_n, setting.margin_refill_n)
    ]
    if max(margins_n) <= 0:
        return "will lift off"
    left_n = [max(margin_n, 0.0) for margin_n in margins_n]
    if range_figure(left_n, "load", system) == press(settings, system):
        return ""
    return f"will press {range_figure(left_n, 'rough load', system)}"


def odds(plan: Plan, settings: Sequence[Setting]) -> str:
    """Say in how many rounds of ten that is right, and how much seed ends up shallow."""
    right = [right_rounds(setting) for setting in settings]
    least, most = min(right), max(right)
    done = "right" if holds_one(plan) else "held"
    counted_rounds = f"{least}" if least == most else f"{least} to {most}"
    seed = seed_words(max(setting.shallow_share for setting in settings))
    return f"{done} on {counted_rounds} of {ROUNDS} rounds; {seed} seeds too shallow"


def smears(instruction: Instruction) -> str:
    """Say how often such ground smears, where it waits or is to be squeezed first."""
    if isinstance(instruction, NoNumbers) or (
        isinstance(instruction, Setting) and instruction.state is Fitness.FIT
    ):
        return ""
    before = "" if isinstance(instruction, Wait) else "squeeze a handful first: "
    return f"{before}{smear_words(instruction)}"


def closing(plan: Plan, setting: Setting) -> str:
    """Say how firmly the furrow is closed over the seed."""
    lightest, heaviest = (plan.machine.notches[index].load_n for index in (0, -1))
    part = (setting.closing_load_n - lightest) / ((heaviest - lightest) or 1.0)
    return "lightly" if part < LIGHT else "firmly" if part > FIRM else "middling"


def setting_of(plan: Plan, settings: Sequence[Setting], system: str) -> str:
    """Say what is set on the planter; empty where that is the press itself."""
    if not holds_one(plan):
        return ""
    values = [setting.setting for setting in settings]
    return range_figure(values, setting_quantity(plan), system)


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


def beside(
    plan: Plan, setting: ZoneSetting, touching: Sequence[ZoneSetting], system: str
) -> list[str]:
    """Tell how a zone differs from each zone that touches it, and why."""
    if not setting.numbered:
        return []
    neighbours: dict[tuple[str, str], list[int]] = {}
    for other in touching:
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
    share = sum(shares) if shares and sum(shares) < ALL else None
    return replace(one, adds=(one.adds or 0.0) + (other.adds or 0.0), share=share)


def _starts(reason: Reason) -> str:
    """Say what a base gives: all that the plan starts from, or its part between two soils."""
    if reason.share is None:
        return "the plan starts from"
    return f"the soil lies between two kinds, and {percent(reason.share)} of this one gives"


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
