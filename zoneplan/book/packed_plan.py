"""A plan on its way into a book: packed where it was planned, with what it comes to."""

import json
import math
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import shapely

from zoneplan.export.document import plan_bytes
from zoneplan.export.document import plan_document as laid_out
from zoneplan.export.load_plan import WholePlan, whole_plan_bytes
from zoneplan.field.crs import WGS_84, move
from zoneplan.plan.headline import area_mean, set_ground
from zoneplan.plan.model import NoNumbers, Plan, Setting, Wait
from zoneplan.request import Request
from zoneplan.store.request_json import request_document
from zoneplan.terms import Moisture

_CELL_DEG = 1e-5  # about a metre: outlines that differ by less are the same to a planter
_ROUNDING_N = 11.2  # 2.5 lb: the limits are rounded to 5
_BEYOND = ("needs-more-downforce", "needs-less-downforce", "openers-float")


@dataclass(frozen=True)
class PackedPlan:
    """A plan as plain bytes, with what lists and maps tell of it."""

    document: bytes  # plan.json
    whole: bytes  # with shapes and rules
    numbers_sha256: str
    totals: Mapping[str, Any]
    zones: tuple[tuple[Any, ...], ...]  # number, name, hectares, three margins, shape


def packed(plan: Plan, request: Request) -> PackedPlan:
    """Make a plan ready for a book: call it where the plan was made."""
    shapes = [move(zoned.zone.shape, plan.field.crs, WGS_84) for zoned in plan.settings]
    cells = [
        (
            zoned.zone.id,
            zoned.zone.name or None,
            zoned.zone.area_ha,
            *(_margin_n(zoned.moistures[moisture]) for moisture in Moisture),
            shapely.to_wkb(shape),
        )
        for zoned, shape in zip(plan.settings, shapes, strict=True)
    ]
    return PackedPlan(
        zlib.compress(plan_bytes(plan)),
        zlib.compress(whole_plan_bytes(WholePlan(plan, request_document(request)))),
        _numbers_digest(laid_out(plan), shapes),
        {"planned": request.moisture, **totals_of(plan)},
        tuple(cells),
    )


def totals_of(plan: Plan) -> dict[str, Any]:
    """What a plan comes to, for lists and maps.

    Shares are of the field's area, 0 to 1; loads are in newtons a row. None where there is nothing
    to take a mean of.
    """
    by_moisture = {}
    for moisture in Moisture:
        ground = [(zoned.zone.area_ha, zoned.moistures[moisture]) for zoned in plan.settings]
        settings = set_ground(plan, moisture)
        by_moisture[str(moisture)] = {
            "margin_n": area_mean(settings, lambda setting: setting.margin_n),
            "right_chance": area_mean(settings, lambda setting: setting.inside_chance),
            "wait_share": _share(plan, [part for part in ground if isinstance(part[1], Wait)]),
            "blank_share": _share(
                plan, [part for part in ground if isinstance(part[1], NoNumbers)]
            ),
            "out_of_reach_share": _share(plan, [part for part in settings if _beyond(part[1])]),
            "outside_share": _share(plan, [part for part in settings if _outside(part[1])]),
        }
    reasons = [
        link
        for zoned in plan.settings
        for setting in zoned.set_at.values()
        for link in (setting.by_hand, setting.closing_by_hand)
        if link
    ]
    return {
        "zones": len(plan.settings),
        "treatments": plan.treatments,
        "machine": plan.machine.name,
        "generic": plan.machine.generic,
        "uncovered_share": min(plan.uncovered_ha / plan.field.area_ha, 1.0),
        "overrides": len(reasons),
        "moistures": by_moisture,
    }


def _beyond(setting: Setting) -> bool:
    """Whether the planter cannot give what is asked, however it is set."""
    return any(notice.code in _BEYOND for notice in setting.notices)


def _outside(setting: Setting) -> bool:
    """Whether the margin left, hopper half full, lies outside least to most."""
    half_n = (setting.margin_full_n + setting.margin_refill_n) / 2
    least_n, most_n = sorted((setting.margin_least_n, setting.margin_most_n))
    return not least_n - _ROUNDING_N <= half_n <= most_n + _ROUNDING_N


def _share(plan: Plan, ground: Sequence[tuple[float, Any]]) -> float:
    return min(math.fsum(area_ha for area_ha, _ in ground) / plan.field.area_ha, 1.0)


def _margin_n(setting: Any) -> float | None:
    return setting.margin_n if isinstance(setting, Setting) else None


def _numbers_digest(document: Mapping[str, Any], shapes: Sequence[Any]) -> str:
    """Digest of all that is set by, as it is printed, and of where it is set."""
    return sha256(json.dumps([*_numbers(document, shapes)]).encode()).hexdigest()


def _numbers(document: Mapping[str, Any], shapes: Sequence[Any]) -> Iterator[Any]:
    yield document["machine"]["setting_kind"], document["machine"]["setting_unit"]
    yield document["best"]
    for zone, shape in zip(document["zones"], shapes, strict=True):
        outline = shapely.set_precision(shape, _CELL_DEG).normalize()
        yield zone["id"], zone["name"], sha256(shapely.to_wkb(outline)).hexdigest()
        for moisture in Moisture:
            instruction = zone["moistures"][moisture]
            loads = [instruction[name] for name in ("setting", "margin_n")]
            yield (
                *(load and round(load, 1) for load in loads),
                instruction["closing_notch"],
                instruction["state"],
            )
