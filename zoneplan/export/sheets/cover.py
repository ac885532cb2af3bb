"""The cover of a grower's booklet: his fields in a list and on a map."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from zoneplan.export.maps import MappedField, fields_map_svg
from zoneplan.export.picture import MapClass, shade_words, swatch_svg
from zoneplan.export.sheets.printed import pdf
from zoneplan.export.sheets.sheet_header import TITLE, shared
from zoneplan.export.sheets.zone_words import short
from zoneplan.field.crs import in_degrees
from zoneplan.plan.headline import area_mean, set_ground
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.say.quantities import UNKNOWN, figure, number, span
from zoneplan.say.summary import day, stamp, whom_to_call
from zoneplan.terms import Moisture

_AREA_HEAD = {"us": "Acres", "si": "ha"}
_MAP_MM = (118.0, 92.0)
_PLACE, _PLANTER = 40, 30  # letters that a name has room for
_FAULT = 200
_DECIMALS = 7


@dataclass(frozen=True)
class Listed:
    """A field in the list."""

    farm: str
    field: str
    revision: int
    digest: str
    plan: Plan
    page: int  # of the booklet, where its sheets begin


def cover_pdf(
    title: TitleBlock,
    fields: Sequence[Listed],
    contents: Sequence[tuple[str, str]],
    left_out: Sequence[tuple[str, str]] = (),
    *,
    paper: str = "letter",
    units: str = "us",
) -> bytes:
    """Print the cover.

    Parameters
    ----------
    title : TitleBlock
        Whose fields, for which planting, by whom, of which day.
    fields : sequence of Listed
        In the order of the booklet; their numbers on map and list count from 1.
    contents : sequence of (str, str)
        What else is in the folder: a name and what it is for.
    left_out : sequence of (str, str)
        Fields that are not: a name and the fault that was found in its files.
    paper, units : str
        As for `sheet_pdf`.
    """
    areas_ha = [one.plan.field.area_ha for one in fields]
    grower = " ".join((title.grower or "").split()) or "A grower"
    call, dated = whom_to_call(title), day(title)
    generic = next(filter(None, (stamp(one.plan) for one in fields)), "")
    farms = [farm for farm in dict.fromkeys(one.farm for one in fields) if farm]
    stand = filter(None, [f"season {title.season}", dated, call and f"prepared by {call}"])
    words: dict[str, Any] = {
        **shared(grower, generic, units),
        "season": title.season,
        "stand": short(", ".join(stand), 120) if call or dated else "",
        "about": [
            ("Fields", f"{len(fields)}"),
            ("Area", figure(sum(areas_ha), "area", units)),
            *([("Farms", short(", ".join(farms), 160))] if farms else []),
            *([("Prepared by", short(call, TITLE))] if call else []),
            *([("Date", dated)] if dated else []),
        ],
        "area": _AREA_HEAD[units],
        "total": number(sum(areas_ha), "area", units),
        "fields": [_row(place, one, units) for place, one in enumerate(fields, 1)],
        "contents": list(contents),
        "left_out": [(short(name, TITLE), short(fault, _FAULT)) for name, fault in left_out],
        "map": _map(fields, grower, units),
    }
    return pdf("cover.typ", words, paper)


def _row(place: int, one: Listed, system: str) -> dict[str, str]:
    settings = [each.set_at.get(Moisture.MOIST) for each in one.plan.settings]
    loads_n = [setting.margin_n for setting in settings if setting]
    return {
        "number": str(place),
        "farm": short(one.farm, _PLACE),
        "field": short(one.field, _PLACE),
        "area": number(one.plan.field.area_ha, "area", system),
        "zones": str(len(one.plan.settings)),
        "plan": f"{one.revision} ({one.digest[:8]})",
        "margin": span(min(loads_n), max(loads_n), "load", system) if loads_n else UNKNOWN,
        "planter": short(one.plan.machine.name, _PLANTER),
        "page": str(one.page),
    }


def _map(fields: Sequence[Listed], grower: str, system: str) -> dict[str, Any]:
    mapped = [
        MappedField(
            place,
            one.field,
            in_degrees(one.plan.field.shape, one.plan.field.crs, _DECIMALS),
            area_mean(set_ground(one.plan, Moisture.MOIST), lambda setting: setting.margin_n),
        )
        for place, one in enumerate(fields, 1)
    ]
    width_mm, height_mm = _MAP_MM
    return {
        "svg": fields_map_svg(
            mapped,
            width_mm=width_mm,
            height_mm=height_mm,
            title=f"Fields of {grower}",
            system=system,
        ),
        "alt": f"Map of the {len(fields)} fields of {grower}, numbered as in the list.",
        "high": height_mm + 26.0,
        "title": "Mean margin, moist soil",
        "about": "by area, over the zones that have one; the same shades for every grower and year",
        "legend": [
            (swatch_svg(MapClass(words, fill, hatch, ())), words)
            for fill, hatch, words in shade_words(system)
        ],
    }
