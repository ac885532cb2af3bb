"""What is to be watched for, and where: notices and soil notes, each told once."""

from collections.abc import Sequence
from dataclasses import replace

from zoneplan.export.sheets.zone_words import soil_word
from zoneplan.notices import Notice, Severity
from zoneplan.plan.model import Plan, ZoneSetting
from zoneplan.say.figures import capital, named
from zoneplan.say.notices import Remark, each_once, watched, words
from zoneplan.say.quantities import percent, without_soil
from zoneplan.terms import Moisture

_EXPLAINED = ("off-at-one-setting", "generic-machine", "hand-test")  # by map, stamp, cautions
_ALL_SHARE = 0.995  # of a zone: what lacks is told as less than 1 %
_BY_DAY = ("misses-target",)  # its figures belong together, so that no span tells them
_RULES = ("rule-warns", "part-warned")  # those that tell the operator what to do


def gathered(plan: Plan, system: str, *, from_rules: bool = False) -> list[Remark]:
    """Tell every warning once, with the zones and moistures that it holds for.

    Parameters
    ----------
    plan : Plan
        Whose warnings.
    system : str
        "us" or "si".
    from_rules : bool
        Leaves out all that no rule says.
    """
    notices = [notice for notice in _warned(plan) if not from_rules or notice.code in _RULES]
    return each_once(notices, system)


def to_watch(plan: Plan, system: str) -> list[tuple[str, list[Remark]]]:
    """Tell what asks for a person's eye, on any day and then when the soil is dry, moist or wet.

    Remarks that only explain a number are left to the agronomist's sheet.
    """
    serious = watched(
        [notice for notice in (*plan.notices, *_warned(plan)) if notice.code not in _EXPLAINED],
        Severity.WARNING,
        Severity.WATCH,
    )
    bare = without_soil(plan, system)
    always: list[Remark] = [("", bare)] if bare else []
    on: dict[Moisture | None, list[Notice]] = {day: [] for day in (None, *Moisture)}
    for notice in serious:
        day = None if _on_any_day(plan, notice, serious) else notice.moisture
        on[day].append(replace(notice, moisture=None))
    remarks = {day: each_once(notices, system) for day, notices in on.items()}
    remarks[None] = [*always, *remarks[None]]
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
    bare = without_soil(plan, system)
    remarks: list[Remark] = [("", bare)] if bare else []
    gaps: dict[str, list[int]] = {}
    for setting in plan.settings:
        for text in dict.fromkeys(_gaps(setting, system)):
            gaps.setdefault(text, []).append(setting.zone.id)
    return [*remarks, *((capital(named(zones)), text) for text, zones in gaps.items())]


def plan_notes(plan: Plan, system: str) -> list[str]:
    """Tell the notices of the whole plan, each with the moistures that it holds at."""
    return [
        f"{place}: {text}" if place else text for place, text in each_once(plan.notices, system)
    ]


def _warned(plan: Plan) -> list[Notice]:
    return [zone_notice for zone_notice in plan.zone_notices if _is_remark(zone_notice)]


def _is_remark(notice: Notice) -> bool:
    """Whether it is a remark: the tables tell where there are no numbers, and the odds."""
    return notice.code not in ("no-numbers", "seldom-right", "squeeze-test")


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
