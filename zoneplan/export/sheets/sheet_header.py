"""The head of every sheet: what field, planter and day it is for, and the map."""

from typing import Any

from zoneplan.export.maps import map_classes, shows_fit, zone_map_svg
from zoneplan.export.picture import swatch_svg
from zoneplan.export.sheets.zone_words import short
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.rowunit.machine import SYSTEM_WORDS
from zoneplan.say.quantities import SHALLOW, figure, percent, setting_quantity, unit
from zoneplan.say.summary import best_words, in_one_line, stamp, whom_to_call, whose
from zoneplan.say.trade import MARGIN, SQUEEZE, TOO_WET
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF

MAP_MOISTURE = Moisture.MOIST
DOUBT_N = 40 * N_PER_LBF  # judged: how far any margin target may be off at least
TITLE, LINE, WHOSE = 70, 60, 120  # letters that a title, a fact and a whole line have room for


def head(plan: Plan, system: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """Tell what every sheet begins with, and the words that its tables share."""
    title = title or TitleBlock()
    return {
        **shared(plan.field.name, stamp(plan), system),
        "whose": short(whose(title), WHOSE),
        "call": short(whom_to_call(title), LINE),
        "stand": short(in_one_line(title), WHOSE),
        "facts": _facts(plan, system),
        "best": best_words(plan, system),
        "area_unit": unit("area", system),
        "set_unit": unit(setting_quantity(plan), system),
        "shallow": SHALLOW[system],
        "sets": holds_one(plan),  # whether there is more to set than that
        "setting": f"{plan.setting_kind}, {unit(setting_quantity(plan), system)}",
    }


def shared(name: str, generic: str, system: str) -> dict[str, str]:
    """Tell what every sheet says, be it of one field or the cover of many."""
    title = " ".join(name.split())
    return {
        "title": title,
        "short_title": short(title, TITLE),
        "generic": generic,
        "load": unit("load", system),
        "squeeze": SQUEEZE,
        "too_wet": TOO_WET,
        "doubt": figure(DOUBT_N, "rough load", system),
    }


def zone_map(plan: Plan, system: str, width_mm: float, height_mm: float) -> dict[str, Any]:
    """Draw the map, and say what it shows to those who cannot see it."""
    at_one = shows_fit(plan, MAP_MOISTURE)
    title, about, shaded = (
        (
            f"Where one setting suits, {MAP_MOISTURE}",
            f"{figure(plan.best[MAP_MOISTURE], setting_quantity(plan), system)}, hopper half full: "
            "whether the load left on the gauge wheels keeps them down, and the soil bears it",
            "by whether one setting is too light, right or too heavy",
        )
        if at_one
        else (
            f"Margin to aim for, {MAP_MOISTURE}",
            MARGIN.removeprefix("the "),
            "by the margin target",
        )
    )
    return {
        "svg": zone_map_svg(
            plan, MAP_MOISTURE, width_mm=width_mm, height_mm=height_mm, system=system
        ),
        "alt": f"Map of {plan.field.name}: {len(plan.settings)} zones, numbered as in the table, "
        f"shaded {shaded} when {MAP_MOISTURE}.",
        "title": title,
        "about": about,
        "high": height_mm + 16.0,  # with scale, north and numbers beside it
        "legend": [
            (swatch_svg(map_class), map_class.label)
            for map_class in map_classes(plan, MAP_MOISTURE, system=system, at_one=at_one)
        ],
    }


def _facts(plan: Plan, system: str) -> list[tuple[str, str]]:
    machine, conditions = plan.machine, plan.conditions
    return [
        ("Area", figure(plan.field.area_ha, "area", system)),
        ("Zones", _zones(plan)),
        ("Ground", f"{conditions.tillage}, {percent(conditions.residue_frac)} residue cover"),
        (
            "Planting",
            f"{figure(conditions.speed_mps, 'speed', system)}, "
            f"{figure(conditions.depth_m, 'length', system)} deep",
        ),
        ("Planter", short(machine.name, LINE)),
        ("Rows", f"{machine.rows} at {figure(machine.row_spacing_m, 'length', system)}"),
        ("Downforce", SYSTEM_WORDS[machine.system.kind]),
        ("Hopper", f"{percent(machine.fill_full)} full, refill at {percent(machine.fill_refill)}"),
    ]


def _zones(plan: Plan) -> str:
    """How many there are, in how many treatments, and how many have no numbers."""
    numbered = [setting for setting in plan.settings if setting.numbered]
    treatments = len({setting.zone.treatment for setting in numbered})
    blank = len(plan.settings) - len(numbered)
    counts = [
        *([f"set in {treatments} ways"] if 1 < treatments < len(numbered) else []),
        *([f"{blank} without numbers"] if blank else []),
    ]
    return f"{len(plan.settings)}" + (f" ({', '.join(counts)})" if counts else "")
