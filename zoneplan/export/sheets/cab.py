"""cab.pdf: what the operator needs on one page, whatever the plan.

The template takes the first layout that fits its page, so that even the longest names and many
zones leave it at one.
"""

import json
from typing import Any

from zoneplan.export.sheets.sheet_header import head, zone_map
from zoneplan.export.sheets.zone_words import Group, by_treatment, cell, treatment_row
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import Plan, Wait
from zoneplan.request import TitleBlock
from zoneplan.say.quantities import figure, setting_quantity
from zoneplan.say.sentences import capital
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
    remarks, heads = rule_warnings(plan, units), _heads(plan, units)
    textures = [soil_word(setting.zone.facts) for setting in plan.settings]
    return {
        **head(plan, units, title),
        "maps": [zone_map(plan, units, *size) for size in MAPS_MM],
        **_marks(plan, units),
        **_tables(plan, units),
        "remarks": [remarks, [("", f"Remarks on these zones: see {REST}.")] if remarks else []],
        "feels": [(name, feel.dry, feel.moist) for name, feel in feels_for(textures)],
        "heads": heads,
        "alike": any(heads),
        "squeeze_first": capital(SQUEEZE),
        "wet": WET,
        "wait": f"{capital(TOO_WET)}: too wet, WAIT.",
        "more": more,
        "less": less,
        "depth": figure(plan.conditions.depth_m, "length", units),
        "first_pass": figure(FIRST_PASS_M, "distance", units),
    }


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


def _tables(plan: Plan, system: str) -> dict[str, Any]:
    """All rows by the zones in them, and the tables that the page may have, each by its rows.

    First one treatment a row, then those that read the same in one; and cuts of that, with one
    row, two rows and so on: the most ground.
    """
    each = [(group, _row(plan, group, system)) for group in by_treatment(plan)]
    groups: dict[str, Group] = {}
    for group, row in each:
        groups.setdefault(json.dumps([row["name"], row["soil"], row["cells"]]), []).extend(group)
    alike = [
        (group, _row(plan, group, system))
        for group in (sorted(value, key=lambda one: one.zone.id) for value in groups.values())
    ]
    largest = sorted(alike, key=lambda shown: area_ha(shown[0]), reverse=True)
    tables = [table for table in (each, alike) if len(table) <= MOST_ROWS]
    rows = (row for table in (*tables, largest[:MOST_ROWS]) for _, row in table)
    return {
        "rows": {row["zones"]: row for row in rows},
        "tables": [[row["zones"] for _, row in table] for table in tables],
        "cuts": [
            {
                "rows": [
                    row["zones"]
                    for _, row in sorted(largest[:count], key=lambda shown: shown[0][0].zone.id)
                ],
                "rest": "Not here for want of room: "
                + on_area([one for group, _ in largest[count:] for one in group], system)
                + f". See {REST}.",
            }
            for count in range(1, min(MOST_ROWS + 1, len(alike)))
        ],
    }


def _row(plan: Plan, group: Group, system: str) -> dict[str, Any]:
    """A treatment's row, with what an operator looks for and no more."""
    row = treatment_row(plan, group, system)
    left_out = ("right", "shallow", "target" if holds_one(plan) else "set")  # the summary has them
    cells = [{name: cell[name] for name in cell if name not in left_out} for cell in row["cells"]]
    return {**row, "cells": cells}
