"""A plan in plain words, for somebody who owns the ground and does not plant it.

The words of the trade stay on the agronomist's sheet. A margin is "how hard the wheels press",
opener discs are "discs", a target that cannot be kept is told by what the wheels will do.
"""

from collections.abc import Sequence

from zoneplan.export.sheets.zone_words import usual_words
from zoneplan.field.shapes import Marks
from zoneplan.plan.headline import packed
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.say.figures import counted, listed_numbers, listing, sentence
from zoneplan.say.quantities import (
    ROUNDS,
    figure,
    percent,
    right_rounds,
    seed_words,
    setting_quantity,
    smear_words,
    span,
    unit,
)
from zoneplan.say.summary import without_soil
from zoneplan.soil.texture import GROUP_OF
from zoneplan.terms import Fitness, Moisture, SettingKind

GROUNDS = {  # ground that gets no numbers, and why
    "soil": "the soil map does not say what the soil is made of",
    "no data": "nothing we were given says what soil it is",
    "organic": "it is peat or muck, and the plan’s numbers are for mineral soil only",
    "water": "the soil map shows water",
    "not soil": "the soil map shows no soil, but rock, a pit or built-up ground",
}
PLANTERS = {  # downforce system to what it can and cannot do
    "springs": "Springs hold its rows down. They are set by hand before it starts, and cannot "
    "change from zone to zone: the plan picks the one position that suits the field best.",
    "set-air": "Air bags hold its rows down, at a pressure that the operator sets. "
    "It may be changed from zone to zone, or left at the one that suits the field best.",
    "closed-loop-air": "Air bags hold its rows down. It feels how hard some of its wheels "
    "press, and corrects itself as it goes, several rows together.",
    "hydraulic": "A cylinder holds each row down. Every row feels how hard its own wheels press, "
    "and corrects itself as it goes.",
}
TILLAGES = {
    "tilled": "tilled",
    "strip-till": "tilled in strips",
    "no-till": "not tilled",
}
BY_HAND = "changed by a person"
FIRM, LIGHT = 0.67, 0.33  # share of the lever's range: the words of the stock closing rules
RATED = 0.995  # ground with less than this share of texture data is told of


def share(part: float) -> str:
    """Write a share of the field.

    >>> share(0.478), share(0.002)
    ('48 %', 'less than 1 %')
    """
    return percent(part) if part >= 0.005 else "less than 1 %"


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
    sentences += _usual(setting)
    if zone.facts.rated_share < RATED:
        sentences.append(f"The soil map speaks for {percent(zone.facts.rated_share)} of this zone.")
    return sentences


def _usual(setting: ZoneSetting) -> list[str]:
    """Say whether it lies wetter or drier than most ground, on a usual planting day."""
    usual = usual_words(setting)
    return [f"On a {usual.replace(':', ' of planting it lies on the')}."] if usual else []


def titled(group: Sequence[ZoneSetting]) -> str:
    """Name the zones of one treatment by their numbers, what a person calls them, and their ground.

    Zones that a person named apart are never of one group.
    """
    if len(group) == 1:
        return title(group[0])
    called = f", {group[0].zone.name}" if group[0].zone.name else ""
    numbers = listed_numbers(sorted(setting.zone.id for setting in group))
    return f"Zones {numbers}{called}: {listing(list(dict.fromkeys(map(soil, group))))}"


def press(instructions: Sequence[Instruction], system: str) -> str:
    """Say how hard the wheels should press on each row, or why there is no figure."""
    loads_n = [each.margin_n for each in instructions if isinstance(each, Setting)]
    if loads_n:
        return f"{span(min(loads_n), max(loads_n), 'load', system)} {unit('load', system)}"
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
    least_n, most_n = (max(margin_n, 0.0) for margin_n in (min(margins_n), max(margins_n)))
    wanted_n = [setting.margin_n for setting in settings]
    if span(least_n, most_n, "load", system) == span(min(wanted_n), max(wanted_n), "load", system):
        return ""
    return f"will press {span(least_n, most_n, 'rough load', system)} {unit('load', system)}"


def odds(plan: Plan, settings: Sequence[Setting]) -> str:
    """Say in how many rounds of ten that is right, and how much seed ends up shallow."""
    right = [right_rounds(setting) for setting in settings]
    least, most = min(right), max(right)
    done = "held" if plan.setting_kind == SettingKind.MARGIN_TARGET else "right"
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


def field_warnings(plan: Plan) -> list[str]:
    """Warn that one setting for the whole field presses more than some ground bears."""
    moistures: dict[tuple[int, ...], list[str]] = {}
    for moisture, value in plan.best.items():
        here = tuple(setting.zone.id for setting in packed(plan, Moisture(moisture)))
        if value is not None and here:
            moistures.setdefault(here, []).append(moisture)
    return [
        "With full seed boxes it presses more than the ground bears in "
        f"{counted('zone', here)} when {listing(when)}: "
        "fill them less, or set it lighter."
        for here, when in moistures.items()
    ]


def closing(plan: Plan, setting: Setting) -> str:
    """Say how firmly the furrow is closed over the seed."""
    lightest, heaviest = (plan.machine.notches[index].load_n for index in (0, -1))
    part = (setting.closing_load_n - lightest) / ((heaviest - lightest) or 1.0)
    return "lightly" if part < LIGHT else "firmly" if part > FIRM else "middling"


def setting_of(plan: Plan, settings: Sequence[Setting], system: str) -> str:
    """Say what is set on the planter; empty where that is the press itself."""
    if plan.setting_kind == SettingKind.MARGIN_TARGET:
        return ""
    values, quantity = [setting.setting for setting in settings], setting_quantity(plan)
    return f"{span(min(values), max(values), quantity, system)} {unit(quantity, system)}"


def field_setting(plan: Plan, system: str) -> str:
    """Say what one setting would suit the whole field; empty where none is held."""
    settings = [
        f"{figure(value, setting_quantity(plan), system)} when {moisture}"
        for moisture, value in plan.best.items()
        if value is not None
    ]
    return f"For the whole field that is {listing(settings)}." if settings else ""


def pressed(plan: Plan, moisture: Moisture, system: str) -> str:
    """Say the figures over the whole field; empty where there are none."""
    instructions = [setting.moistures[moisture] for setting in plan.settings]
    loads = [
        instruction.margin_n for instruction in instructions if isinstance(instruction, Setting)
    ]
    if not loads:
        return ""
    return f"{span(min(loads), max(loads), 'load', system)} {unit('load', system)}"


def unknown(plan: Plan, system: str) -> list[str]:
    """Tell which ground the plan knows too little of, and how sure its figures are."""
    uncovered = without_soil(plan, system)
    sentences = [uncovered] if uncovered else []
    bare: dict[str, list[int]] = {}
    for setting in plan.settings:
        if not setting.numbered:
            bare.setdefault(GROUNDS[setting.zone.facts.ground], []).append(setting.zone.id)
    sentences += [f"No numbers in {counted('zone', ids)}: {why}." for why, ids in bare.items()]
    thin: dict[str, list[int]] = {}
    for setting in plan.settings:
        if setting.numbered and setting.zone.facts.rated_share < RATED:
            thin.setdefault(percent(setting.zone.facts.rated_share), []).append(setting.zone.id)
    if thin:
        rated = listing([f"{part} of {counted('zone', ids)}" for part, ids in thin.items()])
        sentences.append(f"The soil map speaks for only {rated}. The rest is taken to be alike.")
    sure = {value.confidence for each in plan.settings for value in each.set_at.values()}
    if sure == {"judged"}:
        sentences.append(
            "Every number here rests at least in part on judgement, not on measurement."
        )
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
