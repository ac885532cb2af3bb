"""What is told of a field to somebody who owns the ground and does not plant it.

The words of the trade stay on the agronomist's sheet. A margin is "how hard the wheels press",
opener discs are "discs", a target that cannot be kept is told by what the wheels will do.

A notice whose code is not here is told by the figures themselves, or is of no use to such a reader.
Only what the plan knows is said; what it does not know is said to be unknown.
"""

from collections.abc import Mapping
from typing import Any

from zoneplan.notices import Notice
from zoneplan.plan.headline import FieldOdds, field_odds, holds_one, packed
from zoneplan.plan.model import Plan
from zoneplan.say.quantities import (
    ROUNDS,
    SHALLOW,
    figure,
    number,
    of_ten_rounds,
    percent,
    range_figure,
    seed_words,
    setting_quantity,
)
from zoneplan.say.sentences import Figures, Template, counted, listing
from zoneplan.say.summary import without_soil
from zoneplan.terms import Moisture, SettingKind


def _misses(values: Mapping[str, Any]) -> str:
    gaps_n = (values["full_gap_n"], values["refill_gap_n"])
    if min(gaps_n) > 0:
        return "this planter presses harder here than is wanted"
    if max(gaps_n) < 0:
        return "this planter cannot press as hard here as is wanted"
    return "the press changes here as the seed boxes empty"


LANDOWNER: dict[str, Template] = {
    "no-good-margin": "no press is right at {speed_mps:speed}: to keep the wheels down takes "
    "{least_n:load}, and the soil bears {most_n:load}. Drive slower, or wait",
    "bears-little": "the soil bears {most_n:load} of press, which keeps the wheels down "
    "{contact_share:share} of the time",
    "own-number-outside": "a person asked for {margin_n:load} of press; to keep the wheels "
    "down takes {least_n:load}, and the soil bears {most_n:load}",
    "squeeze-test": "squeeze a handful before planting: this soil smears in about "
    "{smear_chance:of ten} when it is so wet",
    "packs": lambda values: (
        f"with the seed boxes {'full' if values['fill'] == 'full' else 'near empty'} the wheels "
        "press {left_n:rough load}, {over_n:rough load} more than the soil bears: the furrow "
        "packs, and roots find it hard"
    ),
    "wheels-lift": "near-empty seed boxes let the wheels off the ground about {up_share:share} of "
    "the time, and seed dropped then lies shallow",
    "part-waits": "{share:share} of this ground waits longer when it is wet",
    "openers-float": "the wheels may lift off the ground as the seed boxes empty, and seed end up "
    "shallow",
    "misses-target": _misses,
    "needs-more-downforce": "this planter cannot press hard enough here",
    "needs-less-downforce": "this planter is heavier here than is wanted, and cannot be lifted",
}


def landowner_words(notice: Notice, units: str) -> str:
    """Tell one notice to a landowner; empty where it is not for one."""
    template = LANDOWNER.get(notice.code)
    if template is None:
        return ""
    values = dict(notice.values)
    return Figures(units).fill(template if isinstance(template, str) else template(values), values)


FEEL = {  # the same for any texture; that a moist ball breaks when dropped is Jasa's
    "dry": "A handful of soil from where the seed goes falls apart, or makes a weak ball at most.",
    "moist": "A handful of soil makes a ball when squeezed, and the ball breaks when dropped.",
    "wet": "A squeezed ball of soil leaves a wet outline on the hand.",
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
GROUNDS = {  # ground that gets no numbers, and why
    "soil": "the soil map does not say what the soil is made of",
    "no data": "nothing we were given says what soil it is",
    "organic": "it is peat or muck, and the plan’s numbers are for mineral soil only",
    "water": "the soil map shows water",
    "not soil": "the soil map shows no soil, but rock, a pit or built-up ground",
}
BY_HAND = "changed by a person"
ALL = 0.995  # share of ground that is told as the whole of it
NOT_KNOWN = "How the planter is set today is not known here, nor what it costs to leave it so."


def opening(plan: Plan) -> str:
    """Say what this plan is."""
    asks = "how hard the planter’s wheels should press on the ground while corn is planted."
    if len(plan.settings) == 1:
        return f"This plan treats the whole field alike, and says {asks}"
    return (
        "The soil is not the same all over this field. This plan divides it into "
        f"{len(plan.settings)} zones, and says for each {asks}"
    )


def facts(plan: Plan, system: str) -> list[str]:
    """Say how big the field is, and how and with what it is planted."""
    conditions, machine = plan.conditions, plan.machine
    straw = (
        f", straw on {percent(conditions.residue_frac)} of it" if conditions.residue_frac else ""
    )
    return [
        figure(plan.field.area_ha, "area", system),
        f"ground {TILLAGES[conditions.tillage]}{straw}",
        f"planted at {figure(conditions.speed_mps, 'speed', system)}",
        f"seed {figure(conditions.depth_m, 'length', system)} deep",
        f"planter: {machine.name}",
    ]


def set_to(plan: Plan, moisture: Moisture, system: str) -> str:
    """Say what is set over the field; empty where nothing is."""
    settings = [each.set_at[moisture].setting for each in plan.settings if moisture in each.set_at]
    return range_figure(settings, setting_quantity(plan), system) if settings else ""


def rounds(plan: Plan, moisture: Moisture) -> str:
    """Say in how many of ten rounds that is right over the field; empty where nothing is set."""
    odds = field_odds(plan, moisture)
    return "" if odds is None else f"{of_ten_rounds(odds.rounds)[0]} of {ROUNDS}"


def shallow(plan: Plan, moisture: Moisture) -> str:
    """Say how much of the field's seed lies too shallow; empty where nothing is set."""
    odds = field_odds(plan, moisture)
    return "" if odds is None else seed_words(odds.shallow_share)


def holds_for(plan: Plan, system: str) -> str:
    """Say for how much of the field there are numbers; empty where there are for all of it."""
    numbered_ha = sum(each.zone.area_ha for each in plan.settings if each.set_at)
    if not numbered_ha or numbered_ha > ALL * plan.field.area_ha:
        return ""
    return (
        f"This is for {number(numbered_ha, 'area', system)} of "
        f"{figure(plan.field.area_ha, 'area', system)}: the rest has no numbers."
    )


def what_goes_wrong(plan: Plan, system: str) -> list[str]:
    """Say what comes of too little load and of too much, and about how often."""
    moisture, odds = _day(plan)
    if odds is None:
        return []
    _, light, heavy = of_ten_rounds(odds.rounds)
    boxes = plan.setting_kind != SettingKind.MARGIN_TARGET
    seed = f"{seed_words(odds.shallow_share)} seeds lie more than {SHALLOW[system]} too shallow"
    near_empty, full = (", most with seed boxes near empty", ", most with full boxes")
    return [
        f"Too light{_often(light, moisture, near_empty if boxes else '')}: the wheels bounce. "
        f"In all, {seed}.",
        f"Too heavy{_often(heavy, moisture, full if boxes else '')}: the furrow packs, and the "
        "first roots find it hard.",
    ]


def _often(count: int, moisture: Moisture, when: str) -> str:
    """Say how often, and at what fill of the seed boxes most of it."""
    if not count:
        return f" (on {moisture} soil seldom)"
    return f" (on {moisture} soil about {count} of {ROUNDS} rounds{when})"


def doing_nothing(plan: Plan, system: str) -> list[str]:
    """Say what the plan knows of leaving one setting all over the field, and what it does not."""
    return [*_one_setting(plan, system), NOT_KNOWN]


def _one_setting(plan: Plan, system: str) -> list[str]:
    """Say it of a planter that may hold one setting, and need not: springs have no other choice."""
    if plan.setting_kind == SettingKind.SPRING_POSITION:
        return []
    moisture, _ = _day(plan)
    if not holds_one(plan):
        return _one_target(plan, moisture, system)
    best = plan.best.get(moisture)
    one = next(
        (
            notice
            for notice in plan.notices
            if notice.code in ("one-pressure", "one-position") and notice.moisture is moisture
        ),
        None,
    )
    if best is None or one is None:
        return []
    return [
        f"One setting all over, at best {figure(best, setting_quantity(plan), system)} on "
        f"{moisture} soil, is more than {figure(one['resolution_n'], 'load', system)} lighter than "
        f"aimed on {percent(one['light_share'])} of the ground and heavier on "
        f"{percent(one['heavy_share'])}."
    ]


def _one_target(plan: Plan, moisture: Moisture, system: str) -> list[str]:
    loads_n = [each.set_at[moisture].margin_n for each in plan.settings if moisture in each.set_at]
    if not loads_n:
        return []
    apart = figure(max(loads_n) - min(loads_n), "load", system)
    if number(min(loads_n), "load", system) == number(max(loads_n), "load", system):
        return [f"On {moisture} soil every zone wants the same load: one number for all does it."]
    return [
        f"On {moisture} soil the zones want loads that are no more than {apart} apart, so one of "
        "them for the whole field is never further off than that."
    ]


def _day(plan: Plan) -> tuple[Moisture, FieldOdds | None]:
    """Moist soil, or the first moisture at which something is set."""
    for moisture in (Moisture.MOIST, Moisture.DRY, Moisture.WET):
        if odds := field_odds(plan, moisture):
            return moisture, odds
    return Moisture.MOIST, None


def field_setting(plan: Plan, system: str) -> str:
    """Say what one setting would suit the whole field; empty where none is held."""
    settings = [
        f"{figure(value, setting_quantity(plan), system)} when {moisture}"
        for moisture, value in plan.best.items()
        if value is not None
    ]
    return f"For the whole field that is {listing(settings)}." if settings else ""


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
        if setting.numbered and setting.zone.facts.rated_share < ALL:
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
