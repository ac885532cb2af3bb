"""Which edition of a soil survey it is: its area, its version, and when it was refreshed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from zoneplan.notices import Notice, notice

VINTAGE_COLUMNS = ("areasymbol", "areaname", "saversion", "saverest", "projectscale")
ASKED_COLUMNS = ("asked", "asked_of")  # that zoneplan adds to what it asked for


@dataclass(frozen=True)
class Vintage:
    """The edition of one survey area. The refresh is not the field work, which is far older."""

    area: str  # "IA073"
    area_name: str | None = None
    version: str | None = None
    refreshed: str | None = None  # day, as 2025-09-04
    scale: str | None = None  # of its map: one to so many
    asked: str | None = None  # day that the service was asked, where it is known
    asked_of: str | None = None  # host


def vintages(columns: Mapping[str, Sequence[str]]) -> list[Vintage]:
    """Take the editions out of an answer that says them, each area once."""
    if "areasymbol" not in columns or "saverest" not in columns:
        return []
    blank = [""] * len(columns["areasymbol"])
    names = (*VINTAGE_COLUMNS, *ASKED_COLUMNS)
    rows = zip(*(columns.get(name, blank) for name in names), strict=True)
    told = {Vintage(area, *(cell or None for cell in rest)) for area, *rest in rows if area}
    return sorted(told, key=_order)


def vintage_notice(vintage: Vintage) -> Notice:
    """Say which edition it is, so that a plan names it."""
    return notice(
        "survey-vintage",
        area=vintage.area,
        area_name=vintage.area_name,
        version=vintage.version,
        refreshed=vintage.refreshed,
        asked=vintage.asked,
        asked_of=vintage.asked_of,
    )


def _order(vintage: Vintage) -> tuple[str, str]:
    return vintage.area, vintage.refreshed or ""
