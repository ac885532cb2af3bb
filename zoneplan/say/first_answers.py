"""What a landowner asks first: what is set, what it does, what goes wrong, and if nothing is done.

Only what the plan knows is said; what it does not know is said to be unknown.
"""

from zoneplan.plan.headline import FieldOdds, field_odds, holds_one
from zoneplan.plan.model import Plan
from zoneplan.rowunit.odds import ROUNDS, of_ten_rounds
from zoneplan.say.odds import SHALLOW, seed_words
from zoneplan.say.quantities import figure, number, percent, setting_quantity, span, unit
from zoneplan.terms import Moisture, SettingKind

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
