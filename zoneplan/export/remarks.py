"""What is to be watched for, and where: warnings and soil notes, each told once."""

import re
from collections.abc import Collection, Mapping, Sequence

from zoneplan.export.paper import capital
from zoneplan.export.zone_words import named, soil_word
from zoneplan.prescription import Plan, ZoneSetting
from zoneplan.say.quantities import figure, percent
from zoneplan.soil.water import WETNESSES

Remark = tuple[str, str]  # where or when it holds, "" for always; and what is said

# Figures of these belong together: a span of each would tell of ground that is nowhere.
_OF_A_PIECE = ("slides from", "too light", "too heavy")
_FIGURE = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?!\w)")


def gathered(plan: Plan, only: Collection[str] | None = None) -> list[Remark]:
    """Tell every warning once, with the zones and moistures that it holds for.

    Warnings at one moisture that differ in their figures alone are told as one, with the
    span of each figure: "needs 23–51 lb (104–227 N) of lift".

    Parameters
    ----------
    plan : Plan
        Whose warnings.
    only : collection of str, optional
        Leaves out all other warnings.
    """
    alike: dict[tuple[str, tuple[str, ...]], dict[int, list[list[str]]]] = {}
    for setting in plan.settings:
        for wetness, moisture in setting.moistures.items():
            for words in dict.fromkeys(moisture.warnings):
                if only is None or words in only:
                    whole = any(it in words for it in _OF_A_PIECE)
                    between = (words,) if whole else tuple(_FIGURE.split(words))
                    zones = alike.setdefault((wetness, between), {})
                    figures = [] if whole else _FIGURE.findall(words)
                    zones.setdefault(setting.zone.id, []).append(figures)
    said: dict[str, dict[int, list[str]]] = {}
    for (wetness, between), zones in alike.items():
        filled = _filled(between, [figures for found in zones.values() for figures in found])
        for zone in zones:
            said.setdefault(filled, {}).setdefault(zone, []).append(wetness)
    return [
        (where({zone: _when(held) for zone, held in zones.items()}), words)
        for words, zones in said.items()
    ]


def of_zone(setting: ZoneSetting) -> list[Remark]:
    """Tell a zone's warnings with the moistures that they hold at."""
    said: dict[str, list[str]] = {}
    for wetness, moisture in setting.moistures.items():
        for words in dict.fromkeys(moisture.warnings):
            said.setdefault(words, []).append(wetness)
    return [(_when(held), words) for words, held in said.items()]


def from_rules(plan: Plan) -> set[str]:
    """Find the warnings that come with a rule: those that tell the operator what to do."""
    rules = (*plan.rules.margin.rules, *plan.rules.closing.rules)
    return {rule.warns for rule in rules if rule.warns}


def not_covered(plan: Plan, system: str) -> list[Remark]:
    """Tell what the soil data leave open, and what had to be assumed."""
    uncovered = figure(plan.uncovered_ha, "area", system)
    told: list[Remark] = []
    if plan.uncovered_ha:
        told.append(("", f"The soil layers say nothing of {uncovered} of this field."))
    said: dict[str, list[int]] = {}
    for setting in plan.settings:
        for words in dict.fromkeys(_gaps(setting)):
            said.setdefault(words, []).append(setting.zone.id)
    return [*told, *((capital(named(zones)), words) for words, zones in said.items())]


def notes(plan: Plan, system: str) -> list[str]:
    """Tell what holds for the whole plan."""
    uncovered = [words for place, words in not_covered(plan, system) if not place]
    return [*uncovered, *map(capital, plan.notes)]


def where(zones: Mapping[int, str]) -> str:
    """Name zones by when a remark holds there.

    >>> where({1: "dry", 4: "dry", 2: "dry and moist"})
    'Zones 1, 4, dry; zone 2, dry and moist'
    """
    parts = []
    for when in dict.fromkeys(zones.values()):
        names = named(sorted(number for number in zones if zones[number] == when))
        parts.append(f"{names}, {when}" if when else names)
    return capital("; ".join(parts))


def _gaps(setting: ZoneSetting) -> list[str]:
    """What is not known of one zone's soil."""
    facts = setting.zone.facts
    if facts.ground != "soil" or facts.texture is None:
        return [f"No numbers: {soil_word(facts)}.", *map(capital, facts.notes)]
    rated = [] if facts.rated_share > 0.995 else [f"{percent(facts.rated_share)} has texture data."]
    return [*rated, *map(capital, facts.notes)]


def _when(held: Sequence[str]) -> str:
    return "" if len(held) == len(WETNESSES) else " and ".join(held)


def _filled(between: Sequence[str], figures: Sequence[Sequence[str]]) -> str:
    """Put each figure back between the words, or the span of those that stood there."""
    spans = (sorted(dict.fromkeys(column), key=float) for column in zip(*figures, strict=True))
    return between[0] + "".join(
        "–".join(dict.fromkeys((span[0], span[-1]))) + words
        for span, words in zip(spans, between[1:], strict=True)
    )
