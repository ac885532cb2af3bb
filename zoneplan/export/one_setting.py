"""The field's one setting: where it is too light, right or too heavy, and its own warning."""

import math
from collections.abc import Sequence
from typing import Any

from zoneplan.export.sheets.zone_words import named_or_counted, on_area
from zoneplan.plan.headline import Fit, fits, packed
from zoneplan.plan.model import Plan, ZoneSetting
from zoneplan.rowunit.machine import Springs
from zoneplan.say.quantities import UNKNOWN, figure, percent, setting_quantity
from zoneplan.terms import Moisture

HALF = (0.45, 0.55)  # a fill between these is called half
WAITS = "WAIT"


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
        but = f"{waiting} of {len(plan.settings)} zones wait" if waiting else ""
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


def headline_warning(plan: Plan, moisture: Moisture, value: float, system: str) -> str:
    """Warn that one setting, hopper full, leaves more than the soil bears; empty where it bears.

    It says how far to fill instead, where that is enough, and the next setting that is lighter.
    """
    zones = packed(plan, moisture)
    if not zones:
        return ""
    ways = [*_fill(zones, moisture), *_lighter(plan, value, system)]
    advice = f": {', or '.join(ways)}" if ways else ""
    return (
        f"leaves more than the soil bears with the hopper full in {named_or_counted(zones)}{advice}"
    )


def _fill(zones: Sequence[ZoneSetting], moisture: Moisture) -> list[str]:
    """How far to fill; nothing where no fill is low enough, or it is told of another setting."""
    notices = [
        {notice.code: notice for notice in zone.moistures[moisture].notices} for zone in zones
    ]
    if any("fill-less" not in notice or "at-one-pressure" in notice for notice in notices):
        return []
    least = min(notice["fill-less"]["fill_share"] for notice in notices)
    if HALF[0] <= least <= HALF[1]:
        return ["fill it half"]
    return [f"fill it to {percent(math.floor(20 * least) / 20)}"]


def _lighter(plan: Plan, value: float, system: str) -> list[str]:
    if not isinstance(plan.machine.system, Springs):
        return ["less pressure"] if value > 0 else []
    lighter = [position_n for position_n in plan.machine.system.positions_n if position_n < value]
    return [f"the next spring, {figure(max(lighter), 'load', system)}"] if lighter else []
