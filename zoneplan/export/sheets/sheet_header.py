"""The head of every sheet: what field, planter and day it is for, and the map."""

from typing import Any

from zoneplan.export.picture import map_classes, swatch_svg, zone_map_svg
from zoneplan.export.sheets.paper import short
from zoneplan.plan.model import Plan, Wait
from zoneplan.rowunit.words import SYSTEM_WORDS
from zoneplan.say.feel import SQUEEZE, TOO_WET
from zoneplan.say.quantities import (
    UNKNOWN,
    figure,
    percent,
    setting_quantity,
    unit,
)
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF

MAP_WETNESS = Moisture.MOIST
DOUBT_N = 40 * N_PER_LBF  # judged: how far any margin target may be off at least
AREA_HEAD = {"us": "Acres", "si": "ha"}
TITLE, LINE = 70, 60  # letters that a title and a line in the head have room for


def head(plan: Plan, system: str) -> dict[str, Any]:
    """Tell what every sheet begins with, and the words that its tables share."""
    name = " ".join(plan.field.name.split())
    return {
        "title": name,
        "short_title": short(name, TITLE),
        "facts": _facts(plan, system),
        "best": _best(plan, system),
        "load": unit("load", system),
        "area": AREA_HEAD[system],
        "squeeze": SQUEEZE,
        "too_wet": TOO_WET,
        "doubt": figure(DOUBT_N, "load", system),
        "sets": plan.setting_kind != "margin target",  # whether there is more to set than that
        "setting": f"{plan.setting_kind}, {unit(setting_quantity(plan), system)}",
    }


def zone_map(plan: Plan, system: str, width_mm: float, height_mm: float) -> dict[str, Any]:
    """Draw the map, and say what it shows to those who cannot see it."""
    return {
        "svg": zone_map_svg(plan, MAP_WETNESS, width_mm=width_mm, height_mm=height_mm),
        "alt": f"Map of {plan.field.name}: {len(plan.settings)} zones, numbered as in the table, "
        f"shaded by the margin target when {MAP_WETNESS}.",
        "high": height_mm + 16.0,  # with scale, north and numbers beside it
        "legend": [
            (swatch_svg(it), it.label) for it in map_classes(plan, MAP_WETNESS, system=system)
        ],
    }


def _facts(plan: Plan, system: str) -> list[tuple[str, str]]:
    machine, told = plan.machine, plan.conditions
    blank = [it for it in plan.settings if not it.numbered]
    return [
        ("Area", figure(plan.field.area_ha, "area", system)),
        ("Zones", f"{len(plan.settings)}" + (f" ({len(blank)} without numbers)" if blank else "")),
        ("Ground", f"{told.tillage}, {percent(told.residue_frac)} residue cover"),
        (
            "Planting",
            f"{figure(told.speed_mps, 'speed', system)}, "
            f"{figure(told.depth_m, 'length', system)} deep",
        ),
        ("Planter", short(machine.name, LINE)),
        ("Rows", f"{machine.rows} at {figure(machine.row_spacing_m, 'length', system)}"),
        ("Downforce", SYSTEM_WORDS[machine.system.kind]),
        ("Hopper", f"{percent(machine.fill_full)} full, refill at {percent(machine.fill_refill)}"),
    ]


def _best(plan: Plan, system: str) -> dict[str, Any] | None:
    """The one setting for the whole field, where the machine holds one."""
    if all(value is None for value in plan.best.values()):
        return None
    quantity, settings = setting_quantity(plan), []
    for wetness, value in plan.best.items():
        wait = sum(isinstance(it.moistures[wetness], Wait) for it in plan.settings)
        if value is None:
            settings.append((wetness, "WAIT" if wait else UNKNOWN, ""))
        else:
            but = f"{wait} of {len(plan.settings)} zones wait" if wait else ""
            settings.append((wetness, figure(value, quantity, system), but))
    return {"title": f"One {plan.setting_kind} for the whole field", "settings": settings}
