"""What is told of a plan as a whole: whose it is, its one setting, and what is to be watched for.

Zones are told together where the same holds for them, and each thing once.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from zoneplan.errors import either
from zoneplan.notices import Notice, Severity
from zoneplan.plan.headline import Fit, fits, packed
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.request import TitleBlock
from zoneplan.rowunit.machine import Springs
from zoneplan.say.notices import Remark, each_once, words
from zoneplan.say.quantities import UNKNOWN, figure, percent, setting_quantity
from zoneplan.say.sentences import capital, named
from zoneplan.say.trade import INVENTED, USUAL_SHARE
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Ground, Moisture

WAITS = "WAIT"
HALF = (0.5, 0.55)  # a fill between these is called half
USUAL_STEP = 0.05  # of the available water: less from moist is not worth a word
MOST_NAMED = 8  # zones that one line can name
_EXPLAINED = ("off-at-one-setting", "generic-machine", "hand-test")  # by map, stamp, cautions
_ALL_SHARE = 0.995  # of a zone: what lacks is told as less than 1 %
_BY_DAY = ("misses-target",)  # its figures belong together, so that no span tells them
_RULES = ("rule-warns", "part-warned")  # those that tell the operator what to do
_SERIOUS = (Severity.WARNING, Severity.WATCH)
_TOLD_ELSEWHERE = ("no-numbers", "seldom-right", "squeeze-test")  # by the tables
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


# ---- the title block -----------------------------------------------------------------------


def whose(title: TitleBlock) -> str:
    """Name grower, farm, season and which plan it is; empty where nobody said.

    >>> whose(TitleBlock(farm="Bogwater Farm", season="2027", revision=2))
    'Bogwater Farm, season 2027, plan 2'
    """
    season = title.season and f"season {title.season}"
    return ", ".join(filter(None, [title.grower, title.farm, season, which(title), day(title)]))


def which(title: TitleBlock) -> str:
    """Say which plan of the season it is, and of what numbers where a book knows them.

    >>> which(TitleBlock(revision=2, digest="0a1b2c3d4e"))
    'plan 2 (0a1b2c3d)'
    """
    if not title.revision:
        return ""
    return f"plan {title.revision}" + (f" ({title.digest[:8]})" if title.digest else "")


def day(title: TitleBlock) -> str:
    """Write the day so that no country reads another.

    >>> import datetime
    >>> day(TitleBlock(dated=datetime.date(2027, 4, 1)))
    '1 Apr 2027'
    """
    if title.dated is None:
        return ""
    return f"{title.dated.day} {_MONTHS[title.dated.month - 1]} {title.dated.year}"


def whom_to_call(title: TitleBlock) -> str:
    """Name who made it, and where to call them; empty where nobody said.

    >>> whom_to_call(TitleBlock(prepared_by="A. Reed", phone="555 0142"))
    'A. Reed, 555 0142'
    """
    return ", ".join(filter(None, [title.prepared_by, title.phone]))


def in_one_line(title: TitleBlock) -> str:
    """Say all of it in one line; empty where nobody said anything.

    >>> in_one_line(TitleBlock(season="2027", prepared_by="A. Reed"))
    'season 2027; prepared by A. Reed'
    """
    call = whom_to_call(title)
    prepared = f"prepared by {call}" if title.prepared_by else call
    return "; ".join(filter(None, [whose(title), prepared]))


def stamp(plan: Plan) -> str:
    """Say that a plan is of a generic planter; empty for one that somebody weighed."""
    return f"Generic planter, {INVENTED}" if plan.machine.generic else ""


# ---- zones and their ground ----------------------------------------------------------------


def soil_word(facts: SoilFacts) -> str:
    """Name a zone's ground: its texture, or why it has none."""
    if facts.ground == "soil":
        return facts.texture or "no texture data"
    return facts.ground


def usual_side(setting: ZoneSetting) -> str:
    """Say on which side of moist a zone lies on a usual planting day; empty where it is moist."""
    if setting.usual_share is None or abs(setting.usual_share - USUAL_SHARE) < USUAL_STEP:
        return ""
    return "wet" if setting.usual_share > USUAL_SHARE else "dry"


def why_blank(instruction: Instruction) -> str:
    """Say in a word why a zone has no target; empty where it has one."""
    if isinstance(instruction, Setting):
        return ""
    if isinstance(instruction, Wait):
        return "wait"
    return Ground.NO_DATA if instruction.ground == Ground.SOIL else instruction.ground


def area_ha(group: Sequence[ZoneSetting]) -> float:
    """Add up the areas of zones. [ha]."""
    return sum(setting.zone.area_ha for setting in group)


def named_or_counted(group: Sequence[ZoneSetting]) -> str:
    """Name a few zones, and count many."""
    zones = sorted(setting.zone.id for setting in group)
    return named(zones) if len(zones) <= MOST_NAMED else f"{len(zones)} zones"


def on_area(group: Sequence[ZoneSetting], system: str) -> str:
    """Name zones with their area."""
    return f"{named_or_counted(group)}, {figure(area_ha(group), 'area', system)}"


# ---- one setting for the whole field -------------------------------------------------------


def best_words(plan: Plan, system: str) -> dict[str, Any] | None:
    """Tell the one setting for the whole field, where the machine holds one."""
    if all(value is None for value in plan.best.values()):
        return None
    return {
        "title": f"One {plan.setting_kind} for the whole field",
        "settings": [
            _at(plan, Moisture(moisture), value, system) for moisture, value in plan.best.items()
        ],
    }


def _at(plan: Plan, moisture: Moisture, value: float | None, system: str) -> dict[str, Any]:
    sorted_zones = fits(plan, moisture)
    waiting = len(sorted_zones[None])
    if value is None:
        shown, but = WAITS if waiting else UNKNOWN, ""
    else:
        shown = figure(value, setting_quantity(plan), system)
        wait = f"{waiting} of {len(plan.settings)} zones wait" if waiting else ""
        but = "; ".join(filter(None, (nearly_as_good(plan, moisture, system), wait)))
    return {
        "moisture": moisture,
        "value": shown,
        "but": but,
        "fits": [
            (str(fit), on_area(zones, system))
            for fit in Fit
            if value is not None and (zones := sorted_zones[fit])
        ],
        "warning": "" if value is None else headline_warning(plan, moisture, value, system),
    }


def nearly_as_good(plan: Plan, moisture: Moisture, system: str) -> str:
    """Name the positions that cost the field nearly as little; empty where there are none."""
    others = [
        figure(notice["position_n"], "load", system)
        for notice in plan.notices
        if notice.code == "position-as-good" and notice.moisture == moisture
    ]
    does = "does" if len(others) == 1 else "do"
    return f"{either(others)} {does} nearly as well" if others else ""


def headline_warning(plan: Plan, moisture: Moisture, value: float, system: str) -> str:
    """Warn that one setting, hopper full, leaves more than the soil bears; empty where it bears.

    It says how far to fill instead, where that is enough, and the next setting that is lighter.
    """
    zones = packed(plan, moisture)
    if not zones:
        return ""
    ways = [*_fill(plan, zones, moisture), *_lighter(plan, value, system)]
    advice = f": {', or '.join(ways)}" if ways else ""
    return (
        f"leaves more than the soil bears with the hopper full in {named_or_counted(zones)}{advice}"
    )


def _fill(plan: Plan, zones: Sequence[ZoneSetting], moisture: Moisture) -> list[str]:
    """How far to fill, in steps of 5 %; nothing where that is no more than is left at refill.

    Nor is it told where no fill is low enough, or what is known is of another setting.
    """
    notices = [
        {notice.code: notice for notice in zone.moistures[moisture].notices} for zone in zones
    ]
    if any("fill-less" not in notice or "at-one-pressure" in notice for notice in notices):
        return []
    least = min(notice["fill-less"]["fill_share"] for notice in notices)
    if HALF[0] <= least <= HALF[1]:
        return ["fill it half"]
    fill = math.floor(20 * least) / 20
    return [f"fill it to {percent(fill)}"] if fill > plan.machine.fill_refill else []


def _lighter(plan: Plan, value: float, system: str) -> list[str]:
    if not isinstance(plan.machine.system, Springs):
        return ["less pressure"] if value > 0 else []
    lighter = [position_n for position_n in plan.machine.system.positions_n if position_n < value]
    return [f"the next spring, {figure(max(lighter), 'load', system)}"] if lighter else []


# ---- what is to be watched for -------------------------------------------------------------


def without_soil(plan: Plan, system: str) -> str:
    """Say how much of a field no soil layer covers; empty where they cover all of it."""
    if not plan.uncovered_ha:
        return ""
    area = figure(plan.uncovered_ha, "area", system)
    return f"The soil data say nothing of {area} of this field."


def rule_warnings(plan: Plan, system: str) -> list[Remark]:
    """Tell every warning of a rule once, with the zones and moistures that it holds for."""
    return each_once([notice for notice in plan.zone_notices if notice.code in _RULES], system)


def to_watch(plan: Plan, system: str) -> list[tuple[str, list[Remark]]]:
    """Tell what asks for a person's eye, on any day and then when the soil is dry, moist or wet.

    Remarks that only explain a number are left to the agronomist's sheet.
    """
    serious = [
        notice
        for notice in (*plan.notices, *filter(_is_remark, plan.zone_notices))
        if notice.code not in _EXPLAINED and notice.severity in _SERIOUS
    ]
    on: dict[Moisture | None, list[Notice]] = {day: [] for day in (None, *Moisture)}
    for notice in serious:
        day = None if _on_any_day(plan, notice, serious) else notice.moisture
        on[day].append(replace(notice, moisture=None))
    remarks = {day: each_once(notices, system) for day, notices in on.items()}
    remarks[None] = [*_bare(plan, system), *remarks[None]]
    return [
        (f"When {day}" if day else "On any day", listed)
        for day, listed in remarks.items()
        if listed
    ]


def _on_any_day(plan: Plan, notice: Notice, others: Sequence[Notice]) -> bool:
    """Whether the same is told of its zone at every moisture that it is set at, if at several."""
    if notice.zone is None or notice.code in _BY_DAY:
        return False
    zone = next(each for each in plan.settings if each.zone.id == notice.zone)
    days = {
        one.moisture
        for one in others
        if (one.zone, one.code, one.rule) == (notice.zone, notice.code, notice.rule)
    }
    return len(zone.set_at) > 1 and days >= {*zone.set_at}


def of_zone(setting: ZoneSetting, system: str) -> list[Remark]:
    """Tell a zone's warnings, those together that hold at the same moistures."""
    remarks: dict[str, list[str]] = {}
    for when, text in each_once(
        [notice.at_field() for notice in setting.notices if _is_remark(notice)], system
    ):
        remarks.setdefault(when, []).append(text)
    return [(when, " ".join(texts)) for when, texts in remarks.items()]


def not_covered(plan: Plan, system: str) -> list[Remark]:
    """Tell what the soil data leave open, and what had to be assumed."""
    gaps: dict[str, list[int]] = {}
    for setting in plan.settings:
        for text in dict.fromkeys(_gaps(setting, system)):
            gaps.setdefault(text, []).append(setting.zone.id)
    return [*_bare(plan, system), *((capital(named(zones)), text) for text, zones in gaps.items())]


def plan_notes(plan: Plan, system: str) -> list[str]:
    """Tell the notices of the whole plan, each with the moistures that it holds at."""
    return [
        f"{place}: {text}" if place else text for place, text in each_once(plan.notices, system)
    ]


def _bare(plan: Plan, system: str) -> list[Remark]:
    bare = without_soil(plan, system)
    return [("", bare)] if bare else []


def _is_remark(notice: Notice) -> bool:
    """Whether it is a remark: the tables tell where there are no numbers, and the odds."""
    return notice.code not in _TOLD_ELSEWHERE


def _gaps(setting: ZoneSetting, system: str) -> list[str]:
    """What is not known of one zone's soil."""
    facts = setting.zone.facts
    notes = [words(note, system) for note in facts.notes]
    if facts.ground != "soil" or facts.texture is None:
        return [f"No numbers: {soil_word(facts)}.", *notes]
    other_share = sum(note["share"] for note in facts.notes if note.code == "part-other-ground")
    if facts.rated_share + other_share > _ALL_SHARE:  # what lacks is told by its kind
        return notes
    return [f"{percent(facts.rated_share)} has texture data.", *notes]
