"""The columns of every zone file: long name, ten-letter name, unit, meaning; and a zone's row."""

from dataclasses import dataclass
from typing import Any

from zoneplan.prescription import MoistureSetting, Plan, ZoneSetting
from zoneplan.soil.water import WETNESSES

Value = str | int | float | bool | None


# How a table keeps a value, with room for the unknown.
COUNT, NUMBER, YES, TEXT = "Int64", "Float64", "boolean", "string"


@dataclass(frozen=True)
class Column:
    """One column: `name` in GeoJSON and tables, `short` in the shapefile."""

    name: str
    short: str  # at most ten ASCII letters, digits or _
    unit: str  # "" where there is none
    meaning: str
    dtype: Any  # the name of a pandas type: COUNT, NUMBER, YES or TEXT


_ZONE = (
    Column("id", "ID", "", "Zone number, from the north", COUNT),
    Column("area_ha", "AREA_HA", "ha", "Geodesic area", NUMBER),
    Column("ground", "GROUND", "", "soil, organic, water, not soil or no data", TEXT),
    Column("texture", "TEXTURE", "", "USDA texture class of the seed zone", TEXT),
    Column("sand_frac", "SAND", "0 to 1", "Sand by weight", NUMBER),
    Column("silt_frac", "SILT", "0 to 1", "Silt by weight", NUMBER),
    Column("clay_frac", "CLAY", "0 to 1", "Clay by weight", NUMBER),
    Column("organic_pct", "ORGANIC", "%", "Organic matter by weight", NUMBER),
    Column("rated_share", "RATED", "0 to 1", "Share of the zone with texture data", NUMBER),
    Column("setting_kind", "SET_KIND", "", "What is set on this machine", TEXT),
    Column("setting_unit", "SET_UNIT", "", "Unit of the settings: N or kPa", TEXT),
)

# These come three times, as dry_margin_n, moist_margin_n, wet_margin_n; D_MARGIN, M_..., W_...
_MOISTURE = (
    Column("margin_n", "MARGIN", "N", "Margin target per row", NUMBER),
    Column("margin_least_n", "LEAST", "N", "Least margin that keeps contact", NUMBER),
    Column("margin_most_n", "MOST", "N", "Most margin before the soil packs", NUMBER),
    Column("contact_share", "CONTACT", "0 to 1", "Time the wheels carry load, at target", NUMBER),
    Column("closing_load_n", "CLOSING", "N", "Load on the closing wheels per row", NUMBER),
    Column("closing_notch", "NOTCH", "", "Closing-wheel notch", TEXT),
    Column("opener_load_n", "OPENER", "N", "Opener load per row", NUMBER),
    Column("opener_least_n", "OPEN_LST", "N", "Least that the opener load may be", NUMBER),
    Column("opener_most_n", "OPEN_MST", "N", "Most that the opener load may be", NUMBER),
    Column("downforce_full_n", "DOWN_FUL", "N", "Downforce needed per row, hopper full", NUMBER),
    Column("downforce_refill_n", "DOWN_REF", "N", "Downforce needed per row, at refill", NUMBER),
    Column("setting", "SETTING", "SET_UNIT", "What to set on the machine", NUMBER),
    Column("reached", "REACHED", "", "Whether the target holds from full to refill", YES),
    Column("margin_full_n", "MARG_FUL", "N", "Margin that the setting leaves, full", NUMBER),
    Column("margin_refill_n", "MARG_REF", "N", "Margin that the setting leaves, at refill", NUMBER),
    Column("wait", "WAIT", "", "Too wet: no number, wait", YES),
    Column("confidence", "CONFID", "", "Least sure link: measured, advised or judged", TEXT),
    Column("why", "WHY", "", "The rules that add up to the margin target", TEXT),
    Column("warnings", "WARNINGS", "", "What to look out for", TEXT),
)

COLUMNS = _ZONE + tuple(
    Column(
        name=f"{wetness}_{column.name}",
        short=f"{wetness[0].upper()}_{column.short}",
        unit=column.unit,
        meaning=f"{column.meaning}; {wetness}",
        dtype=column.dtype,
    )
    for wetness in WETNESSES
    for column in _MOISTURE
)


def row(plan: Plan, setting: ZoneSetting) -> dict[str, Value]:
    """Give one zone's value for every column, by long name. Unknown is None."""
    found: dict[str, Any] = {
        **vars(setting.zone.facts),
        "id": setting.zone.id,
        "area_ha": setting.zone.area_ha,
        "setting_kind": plan.setting_kind,
        "setting_unit": plan.setting_unit,
    }
    for wetness, moisture in setting.moistures.items():
        told = {"wait": moisture.wait, "why": chain(moisture)}
        told["warnings"] = " ".join(moisture.warnings)
        found |= {f"{wetness}_{name}": value for name, value in (vars(moisture) | told).items()}
    return {column.name: tidy(found[column.name]) for column in COLUMNS}


def chain(moisture: MoistureSetting) -> str:
    """Tell in one line how the margin target came about [N], or why there is none.

    The links of a number read "tilled-loam +556, fast +44 = 600 N"; a stop rule tells its
    reason in words.
    """
    if moisture.margin_n is None:
        stops = (link for link in moisture.reasons if link.kind == "stop")
        return "; ".join(f"{stop.rule}: {stop.why}" for stop in stops)
    links = (f"{link.rule} {link.adds or 0:+.0f}" for link in moisture.reasons)
    return f"{', '.join(links)} = {moisture.margin_n:.0f} N"


def tidy(value: Any) -> Any:
    """Round away the noise of binary arithmetic: nine decimals lose nothing that matters.

    >>> tidy(0.1 + 0.2)
    0.3
    """
    return round(float(value), 9) + 0.0 if isinstance(value, float) else value
