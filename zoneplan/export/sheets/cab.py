"""cab.pdf: what the operator needs on one page, whatever the plan.

The template takes the first layout that fits its page, so that even the longest names and many
zones leave it at one.
"""

import json
from collections.abc import Iterator
from typing import Any

from zoneplan.export.once import once
from zoneplan.export.sheets.sheet_header import head, zone_map
from zoneplan.export.sheets.zone_words import Group, by_treatment, cell, treatment_row
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import Plan, Wait
from zoneplan.request import TitleBlock
from zoneplan.say.figures import capital
from zoneplan.say.notices import Remark
from zoneplan.say.quantities import figure, setting_quantity
from zoneplan.say.summary import area_ha, on_area, rule_warnings, soil_word
from zoneplan.say.trade import SQUEEZE, TOO_WET, WET, feels_for
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import M_PER_FT

MAPS_MM = (
    (104.0, 74.0),
    (92.0, 58.0),
    (80.0, 46.0),
    (66.0, 36.0),
    (54.0, 28.0),
)  # from roomy to tight
FIRST_PASS_M = 50 * M_PER_FT  # Iowa State University Extension (25 March 2024)
BIG, SMALL = 11, 8  # points of the table's letters
MOST_ROWS = 45  # no page holds more
REST = "the agronomist’s sheet"
CHANGES = {  # what makes a margin greater and smaller, by what the machine is set in
    SettingKind.SPRING_POSITION: ("one spring position up", "one spring position down"),
    SettingKind.AIR_PRESSURE: ("more pressure", "less pressure"),
    SettingKind.MARGIN_TARGET: ("a higher target", "a lower target"),
}


def cab_words(plan: Plan, units: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """All that the cab sheet says, as its template takes it."""
    more, less = CHANGES[plan.setting_kind]
    return {
        **head(plan, units, title),
        "maps": [zone_map(plan, units, *size) for size in MAPS_MM],
        **_marks(plan, units),
        "layouts": list(_layouts(plan, units)),
        "cuts": list(_cuts(plan, units)),
        "feels": [(name, feel.dry, feel.moist) for name, feel in feels_for(_textures(plan))],
        "heads": _heads(plan, units),
        "alike": any(_heads(plan, units)),
        "squeeze_first": capital(SQUEEZE),
        "wet": WET,
        "wait": f"{capital(TOO_WET)}: too wet, WAIT.",
        "more": more,
        "less": less,
        "depth": figure(plan.conditions.depth_m, "length", units),
        "first_pass": figure(FIRST_PASS_M, "distance", units),
    }


def _textures(plan: Plan) -> list[str]:
    return [soil_word(setting.zone.facts) for setting in plan.settings]


def _marks(plan: Plan, system: str) -> dict[str, bool]:
    """Which marks and columns the table needs, so that no other is explained."""
    moistures = [value for setting in plan.settings for value in setting.moistures.values()]
    cells = [cell(plan, [moisture], system) for moisture in moistures]
    marks = {name: any(cell.get(name) for cell in cells) for name in ("crossed", "missed", "test")}
    strays = holds_one(plan) or any(
        cell["left"] != cell["target"] for cell in cells if not cell["instead"]
    )
    by_hand = any(cell.get("by_hand") or cell.get("notch_by_hand") for cell in cells)
    waits = any(isinstance(moisture, Wait) for moisture in moistures)
    return {**marks, "left": strays, "by_hand": by_hand, "waits": waits}


def _heads(plan: Plan, system: str) -> list[str]:
    """The one setting of each moisture, where every zone has the same at all three; else blanks."""
    at_each = [
        {
            figure(setting.set_at[moisture].setting, setting_quantity(plan), system)
            for setting in plan.settings
            if moisture in setting.set_at
        }
        for moisture in Moisture
    ]
    if not holds_one(plan) or any(len(settings) > 1 for settings in at_each):
        return ["", "", ""]
    return ["".join(settings) for settings in at_each]


def _layouts(plan: Plan, system: str) -> Iterator[list[dict[str, Any]]]:
    """Ways to lay the page out with every zone on it, each from roomy to tight.

    First one treatment a row, then those that read the same in one; in both, remarks are told
    or left to another sheet, and the map shrinks. Only then do the letters.
    """
    together = (by_treatment(plan), _alike(plan, system))
    for groups, letters in ((together[0], BIG), (together[1], BIG), (together[1], SMALL)):
        if len(groups) <= MOST_ROWS:
            rows = [_row(plan, group, system) for group in groups]
            yield [
                {"map": size, "size": letters, "rows": rows, "remarks": remarks, "rest": ""}
                for remarks in (rule_warnings(plan, system), _elsewhere(plan, system))
                for size in range(len(MAPS_MM))
            ]


_NOT_IN_THE_CAB = ("band", "right", "shallow")  # the summary has them


def _row(plan: Plan, group: Group, system: str) -> dict[str, Any]:
    """A treatment's row, with what an operator looks for and no more."""
    row = treatment_row(plan, group, system)
    left_out = {*_NOT_IN_THE_CAB, *(["target"] if holds_one(plan) else ["set"])}
    cells = [{name: cell[name] for name in cell if name not in left_out} for cell in row["cells"]]
    return {**row, "usual": "", "cells": cells}


def _cuts(plan: Plan, system: str) -> Iterator[dict[str, Any]]:
    """The tightest way to lay the page out, with one row, two rows and so on: the most ground."""
    alike = _alike(plan, system)
    largest = sorted(alike, key=area_ha, reverse=True)
    rows = {group[0].zone.id: _row(plan, group, system) for group in largest[:MOST_ROWS]}
    remarks = _elsewhere(plan, system)
    for count in range(1, min(MOST_ROWS + 1, len(alike))):
        shown = sorted(group[0].zone.id for group in largest[:count])
        omitted = [setting for group in largest[count:] for setting in group]
        yield {
            "map": len(MAPS_MM) - 1,
            "size": SMALL,
            "rows": [rows[number] for number in shown],
            "remarks": remarks,
            "rest": f"Not here for want of room: {on_area(omitted, system)}. See {REST}.",
        }


def _elsewhere(plan: Plan, system: str) -> list[Remark]:
    warned = rule_warnings(plan, system)
    return [("", f"Remarks on these zones: see {REST}.")] if warned else []


@once
def _alike(plan: Plan, system: str) -> list[Group]:
    """Treatments that read the same, together."""
    groups: dict[str, Group] = {}
    for treated in by_treatment(plan):
        row = _row(plan, treated, system)
        key = json.dumps([row["name"], row["soil"], row["cells"]])
        groups.setdefault(key, []).extend(treated)
    return [sorted(value, key=lambda each: each.zone.id) for value in groups.values()]
