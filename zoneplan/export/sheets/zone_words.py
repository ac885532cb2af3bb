"""A zone in words and figures: its soil, its name among others, its settings at one moisture."""

from typing import Any

from zoneplan.export.sheets.paper import capital, short
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.say.quantities import UNKNOWN, number, percent, setting_quantity, span
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.workability import out_of_ten
from zoneplan.terms import Moisture
from zoneplan.zones.marks import marks_of

NOTCH, GROUND, NAME = 12, 40, 40  # letters that a table has room for
NOISE_N = 0.5  # a smaller miss is arithmetic


def soil_word(facts: SoilFacts) -> str:
    """Name a zone's ground: its texture, or why it has none."""
    if facts.ground == "soil":
        return facts.texture or "no texture data"
    return facts.ground


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
    texture, survey = (out_of_ten(it) for it in (wet.wait_chance, wet.survey_wait_chance))
    return [
        f"Smears when wet, out of 10: {texture} by texture, {survey} by the survey’s own limits."
    ]


def cell(plan: Plan, told: Instruction, system: str) -> dict[str, Any]:
    """What to aim for and to set at one moisture, as the tables show it."""
    if not isinstance(told, Setting):
        return {"instead": "WAIT" if isinstance(told, Wait) else UNKNOWN}
    left = span(told.margin_full_n, told.margin_refill_n, "load", system)
    target = number(told.margin_n, "load", system)
    return {
        "instead": None,
        "target": target,
        "band": band(told.margin_least_n, told.margin_most_n, system),
        "crossed": crossed(told),
        "by_hand": told.by_hand is not None,
        "notch_by_hand": told.closing_by_hand is not None,
        "notch": short(told.closing_notch, NOTCH),
        "full": number(told.downforce_full_n, "load", system),
        "refill": number(told.downforce_refill_n, "load", system),
        "set": number(told.setting, setting_quantity(plan), system),
        "missed": missed(told),
        "left": "" if left in (target, UNKNOWN) else left,
    }


def band(least_n: float | None, most_n: float | None, system: str) -> str:
    """The least that keeps contact and the most the soil bears; crossed bands say so."""
    least, most = number(least_n, "load", system), number(most_n, "load", system)
    if least_n is None or most_n is None:
        return "" if least_n is most_n else f"{least} to {most}"
    return f"{least} to {most}" if least_n <= most_n else f"needs {least}, bears {most}"


def crossed(told: Setting) -> bool:
    """Whether contact wants more than the soil bears, so that no margin is good."""
    return told.margin_most_n is not None and told.margin_least_n > told.margin_most_n


def missed(told: Setting) -> bool:
    """Whether the setting leaves the target at no fill of the hopper."""
    lowest, highest = sorted((told.margin_full_n, told.margin_refill_n))
    return not lowest - NOISE_N <= told.margin_n <= highest + NOISE_N
