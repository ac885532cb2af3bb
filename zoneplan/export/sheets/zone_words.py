"""Zones in words and figures: soil, name, settings, and zones of one treatment in one row."""

from collections.abc import Sequence
from typing import Any

from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.say.quantities import (
    UNKNOWN,
    number,
    out_of_ten,
    percent,
    right_rounds,
    seed_words,
    setting_quantity,
    short_tens,
    span,
    tens,
)
from zoneplan.say.sentences import ROUGH_N, capital, listed_numbers
from zoneplan.say.summary import area_ha, soil_word, usual_side
from zoneplan.terms import Fitness, Moisture
from zoneplan.zones.marks import marks_of

NOTCH, GROUND, NAME, SOILS = 12, 40, 40, 60  # letters that a table has room for

Group = list[ZoneSetting]


def short(words: str, most: int) -> str:
    """Cut words that are too long for their place.

    >>> short("North of the schoolhouse", 10)
    'North of…'
    """
    text = " ".join(words.split())
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def called(setting: ZoneSetting) -> str:
    """What a person calls a zone, as far as a table has room; empty where nobody named it."""
    return short(setting.zone.name, NAME)


def ground_words(setting: ZoneSetting) -> str:
    """Name a zone's ground with what somebody marked there: "loam, headland"."""
    zone = setting.zone
    return short(
        ", ".join([soil_word(zone.facts), *(mark.name for mark in marks_of(zone.site))]), GROUND
    )


def soil_sentences(setting: ZoneSetting) -> list[str]:
    """Tell what is known of a zone's soil; what is not known is left unsaid."""
    facts, soils = setting.zone.facts, setting.zone.soils
    organic, density, swell = facts.organic_pct, facts.density_mg_m3, facts.extensibility_pct
    known = [
        *(
            f"{name} {percent(share)}"
            for name, share in (
                ("sand", facts.sand_frac),
                ("silt", facts.silt_frac),
                ("clay", facts.clay_frac),
                ("rock by volume", facts.fragments_frac),
            )
            if share is not None
        ),
        *([] if organic is None else [f"organic matter {organic:.1f} %"]),
        *([] if density is None else [f"density {density:.2f} g/cm³"]),
        *([] if swell is None else [f"linear extensibility {swell:.1f} %"]),
        *([facts.drainage.lower()] if facts.drainage else []),
        *([f"hydrologic group {facts.hydrologic_group}"] if facts.hydrologic_group else []),
    ]
    called = facts.named
    if len(soils) > 1:
        seen = ((name, percent(share)) for name, share in soils)
        called = ", ".join(f"{name} ({share})" for name, share in seen if share != percent(0.0))
    sentences = [capital(", ".join(known)) + "."] if known else []
    if facts.ground == "soil":
        sentences.append(f"{percent(facts.rated_share)} of the zone has texture data.")
    sentences += _opinions(setting.moistures.get(Moisture.WET))
    return [*sentences, *([f"The soil map calls it {called}."] if called else [])]


def _opinions(wet: Instruction | None) -> list[str]:
    """Tell both opinions of whether it smears when wet, where the survey has one."""
    if not isinstance(wet, Setting | Wait) or wet.survey_wait_chance is None:
        return []
    texture, survey = (out_of_ten(chance) for chance in (wet.wait_chance, wet.survey_wait_chance))
    return [
        f"Smears when wet, out of 10: {texture} by texture, {survey} by the survey’s own limits."
    ]


def usual_words(setting: ZoneSetting) -> str:
    """Say how moist a zone lies on a usual planting day, where that is not moist."""
    side = usual_side(setting)
    return f"usual day: {side} side" if side else ""


def cell(plan: Plan, instructions: Sequence[Instruction], system: str) -> dict[str, Any]:
    """What to aim for and to set at one moisture, in zones of one treatment, as the tables show it.

    Loads that differ from zone to zone are told from the least to the most.
    """
    set_to = [instruction for instruction in instructions if isinstance(instruction, Setting)]
    if not set_to:
        waits = [instruction for instruction in instructions if isinstance(instruction, Wait)]
        worst = max(waits, key=lambda wait: wait.wait_chance, default=None)
        odds = f"smears {tens(worst.wait_chance)}" if worst else ""
        return {"instead": "WAIT" if worst else UNKNOWN, "odds": odds}
    first = set_to[0]
    left_n = [
        load_n for setting in set_to for load_n in (setting.margin_full_n, setting.margin_refill_n)
    ]
    return {
        "instead": None,
        "target": _spread([setting.margin_n for setting in set_to], "load", system),
        "crossed": any(map(crossed, set_to)),
        "by_hand": any(setting.by_hand is not None for setting in set_to),
        "notch_by_hand": any(setting.closing_by_hand is not None for setting in set_to),
        "notch": short(first.closing_notch, NOTCH),
        "set": _spread([setting.setting for setting in set_to], setting_quantity(plan), system),
        "missed": any(map(missed, set_to)),
        "left": span(min(left_n), max(left_n), "rough load", system),
        "right": _ends([right_rounds(setting) for setting in set_to]),
        "shallow": seed_words(max(setting.shallow_share for setting in set_to)),
        "test": _test(set_to),
    }


def _spread(values: Sequence[float], quantity: str, system: str) -> str:
    return span(min(values), max(values), quantity, system)


def _ends(counts: Sequence[int]) -> str:
    low, high = min(counts), max(counts)
    return f"{low}" if low == high else f"{low}–{high}"


def _test(settings: Sequence[Setting]) -> str:
    """In how many of ten springs soil smears that is to be squeezed; empty where it is fit."""
    tested = [setting for setting in settings if setting.state is Fitness.TEST]
    return short_tens(max(tested, key=lambda setting: setting.wait_chance)) if tested else ""


def crossed(setting: Setting) -> bool:
    """Whether contact wants more than the soil bears, so that no margin is good."""
    return setting.margin_least_n > setting.margin_most_n


def missed(setting: Setting) -> bool:
    """Whether the setting leaves the target at no fill of the hopper."""
    lowest, highest = sorted((setting.margin_full_n, setting.margin_refill_n))
    return not lowest - ROUGH_N <= setting.margin_n <= highest + ROUGH_N


def by_treatment(plan: Plan) -> list[Group]:
    """Put zones of one treatment together, but zones that a person named apart by their names."""
    groups: dict[Any, Group] = {}
    for setting in plan.settings:
        zone = setting.zone
        treated = ("zone", zone.id) if zone.treatment is None else ("treatment", zone.treatment)
        changed = [
            (value.by_hand, value.closing_by_hand) for value in setting.set_at.values()
        ]  # who changed it is told, and no other zone's
        groups.setdefault((treated, zone.name, *changed), []).append(setting)
    return list(groups.values())


def treatment_row(plan: Plan, group: Sequence[ZoneSetting], system: str) -> dict[str, Any]:
    """What one treatment is, as the tables show it."""
    return {
        "zones": listed_numbers(sorted(setting.zone.id for setting in group)),
        "area": number(area_ha(group), "area", system),
        "name": called(group[0]),
        "soil": short("; ".join(dict.fromkeys(map(ground_words, group))), SOILS),
        "usual": "; ".join(dict.fromkeys(filter(None, map(usual_words, group)))),
        "cells": [
            cell(plan, [setting.moistures[moisture] for setting in group], system)
            for moisture in group[0].moistures
        ],
    }


def places(group: Sequence[ZoneSetting]) -> str:
    """Say that zones are set alike; empty for one zone, or where nothing is set."""
    alike = len(group) > 1 and any(setting.set_at for setting in group)
    return f"same setting in {len(group)} places" if alike else ""


def elsewhere(plan: Plan, setting: ZoneSetting) -> list[int]:
    """Number the other zones of a zone's treatment."""
    treatment = setting.zone.treatment
    return [
        other.zone.id
        for other in plan.settings
        if treatment is not None and other.zone.treatment == treatment and other is not setting
    ]
