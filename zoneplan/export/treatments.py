"""Zones that get the same treatment, told in one row that names them."""

from collections.abc import Sequence
from typing import Any

from zoneplan.export.sheets.paper import short
from zoneplan.export.sheets.zone_words import called, cell, ground_words, usual_words
from zoneplan.plan.model import Plan, ZoneSetting
from zoneplan.say.notices import listed_numbers, named
from zoneplan.say.quantities import figure, number

MOST_NAMED = 8  # zones that one line can name
SOILS = 60  # letters that the soils of a row have room for

Group = list[ZoneSetting]


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
        "places": places(group),
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
