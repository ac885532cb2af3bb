"""What is told to somebody who owns the ground and does not plant it: notices, and first answers.

A code that is not here is told by the figures themselves, or is of no use to such a reader. Only
what the plan knows is said; what it does not know is said to be unknown.
"""

from collections.abc import Mapping
from typing import Any

from zoneplan.notices import Notice
from zoneplan.plan.headline import FieldOdds, field_odds, holds_one
from zoneplan.plan.model import Plan
from zoneplan.say.figures import Figures, Template
from zoneplan.say.quantities import (
    ROUNDS,
    SHALLOW,
    figure,
    number,
    of_ten_rounds,
    percent,
    seed_words,
    setting_quantity,
    span,
    unit,
)
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
ALL = 0.995  # share of a field that is told as the whole of it
NOT_KNOWN = "How the planter is set today is not known here, nor what it costs to leave it so."


def set_to(plan: Plan, moisture: Moisture, system: str) -> str:
    """Say what is set over the field; empty where nothing is."""
    quantity = setting_quantity(plan)
    settings = [each.set_at[moisture].setting for each in plan.settings if moisture in each.set_at]
    if not settings:
        return ""
    return f"{span(min(settings), max(settings), quantity, system)} {unit(quantity, system)}"


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
        f"{moisture} soil, is more than {figure(one['resolution_n'], 'load', system)} too light on "
        f"{percent(one['light_share'])} of the ground and too heavy on "
        f"{percent(one['heavy_share'])}."
    ]


def _one_target(plan: Plan, moisture: Moisture, system: str) -> list[str]:
    loads_n = [each.set_at[moisture].margin_n for each in plan.settings if moisture in each.set_at]
    if not loads_n:
        return []
    apart = figure(max(loads_n) - min(loads_n), "load", system)
    if span(min(loads_n), max(loads_n), "load", system).count(" to ") == 0:
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
