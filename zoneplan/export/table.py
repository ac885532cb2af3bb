"""The columns of every zone file: long name, ten-letter name, unit, meaning; and a zone's row.

A file carries the numbers of one moisture, and a column that says which; or, on request, of
several, with the moisture before each name.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import Any

from shapely.geometry.base import BaseGeometry

from zoneplan.export.once import once
from zoneplan.field.crs import in_degrees
from zoneplan.field.shapes import Mark, Marks
from zoneplan.notices import Notice
from zoneplan.plan.model import Instruction, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.say.notices import words
from zoneplan.say.summary import stamp
from zoneplan.terms import Moisture

Value = str | int | float | bool | None
Row = dict[str, Value]

_NUMBERS = tuple(
    field.name
    for field in fields(Setting)
    if field.name not in ("state", "reasons", "closing_reasons", "stop_reasons", "notices")
)
USUAL = (Moisture.MOIST,)  # the moisture of a file for which none was asked

# Controls that are no space, and halves of characters: no file can hold them all.
_CONTROLS = re.compile("[\x00-\x08\x0e-\x1b\x7f-\x84\x86-\x9f\ud800-\udfff]")

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
    Column("name", "NAME", "", "What a person calls the zone", TEXT),
    Column("area_ha", "AREA_HA", "ha", "Geodesic area", NUMBER),
    Column("ground", "GROUND", "", "soil, organic, water, not soil or no data", TEXT),
    Column("texture", "TEXTURE", "", "USDA texture class of the seed zone", TEXT),
    Column("sand_frac", "SAND", "0 to 1", "Sand by weight", NUMBER),
    Column("silt_frac", "SILT", "0 to 1", "Silt by weight", NUMBER),
    Column("clay_frac", "CLAY", "0 to 1", "Clay by weight", NUMBER),
    Column("organic_pct", "ORGANIC", "%", "Organic matter by weight", NUMBER),
    Column("rated_share", "RATED", "0 to 1", "Share of the zone with texture data", NUMBER),
    Column("headland", "HEADLAND", "", "Marked as headland: the planter turns here", YES),
    Column("track", "TRACK", "", "Marked as wheel track: other wheels run here", YES),
    Column("part", "PART", "", "Name of the drawn zone or edge class it lies in", TEXT),
    Column("part_kind", "PART_KIND", "", "Which of the two: drawn or edge class", TEXT),
    Column("slope_frac", "SLOPE", "rise over run", "Mean slope", NUMBER),
    Column("gathers_water", "GATHERS", "", "Water gathers here", YES),
    Column("steep", "STEEP", "", "Steep: it sheds water", YES),
    Column("treatment", "TREATMENT", "", "Zones that print the same have the same", COUNT),
    Column("usual_share", "USUAL", "0 to 1", "Available water on a usual planting day", NUMBER),
    Column("setting_kind", "SET_KIND", "", "What is set on this machine", TEXT),
    Column("setting_unit", "SET_UNIT", "", "Unit of the settings: N or kPa", TEXT),
    Column("planter", "PLANTER", "", "Said where nobody weighed the planter", TEXT),
)
_WHICH = Column("moisture", "MOISTURE", "", "What the numbers are for: dry, moist or wet", TEXT)
_MOISTURE = (
    Column("margin_n", "MARGIN", "N", "Margin target per row", NUMBER),
    Column("margin_least_n", "LEAST", "N", "Margin that keeps contact 96 % of the time", NUMBER),
    Column("margin_steady_n", "STEADY", "N", "Margin that keeps contact 98 % of the time", NUMBER),
    Column("margin_most_n", "MOST", "N", "Most margin before the soil packs", NUMBER),
    Column("gave_way", "GAVE_WAY", "", "Limit that the target does not keep: least or most", TEXT),
    Column("swing_n", "SWING", "N", "Swing of the gauge-wheel load, a standard deviation", NUMBER),
    Column("closing_load_n", "CLOSING", "N", "Load on the closing wheels per row", NUMBER),
    Column("closing_notch", "NOTCH", "", "Closing-wheel notch", TEXT),
    Column("opener_load_n", "OPENER", "N", "Opener load per row", NUMBER),
    Column("opener_least_n", "OPEN_LST", "N", "Of 10 opener loads 1 is less", NUMBER),
    Column("opener_most_n", "OPEN_MST", "N", "Of 10 opener loads 1 is more", NUMBER),
    Column(
        "attachments_load_n", "ATTACHED", "N", "Load on coulters, cleaners and the like", NUMBER
    ),
    Column("downforce_full_n", "DOWN_FUL", "N", "Downforce needed per row, hopper full", NUMBER),
    Column("downforce_refill_n", "DOWN_REF", "N", "Downforce needed per row, at refill", NUMBER),
    Column("setting", "SETTING", "setting_unit", "What to set on the machine", NUMBER),
    Column("reached", "REACHED", "", "Whether the target holds from full to refill", YES),
    Column("margin_full_n", "MARG_FUL", "N", "Margin that the setting leaves, full", NUMBER),
    Column("margin_refill_n", "MARG_REF", "N", "Margin that the setting leaves, at refill", NUMBER),
    Column("command_n", "COMMAND", "N", "Downforce per row that goes to the cab", NUMBER),
    Column("inside_chance", "INSIDE", "0 to 1", "Chance that the margin left is right", NUMBER),
    Column("light_chance", "LIGHT", "0 to 1", "Chance that it is less than the least", NUMBER),
    Column("heavy_chance", "HEAVY", "0 to 1", "Chance that it is more than the most", NUMBER),
    Column("contact_share", "CONTACT", "0 to 1", "Time on the ground, by the margin left", NUMBER),
    Column("contact_full_share", "CONT_FUL", "0 to 1", "The same, hopper full", NUMBER),
    Column("contact_refill_share", "CONT_REF", "0 to 1", "The same, at refill", NUMBER),
    Column("shallow_share", "SHALLOW", "0 to 1", "Seed over 10 mm too shallow", NUMBER),
    Column("state", "STATE", "", "fit, test, wait or no numbers", TEXT),
    Column("wait", "WAIT", "", "Too wet: no number, wait", YES),
    Column("wait_chance", "SMEARS", "0 to 1", "Chance that the soil smears", NUMBER),
    Column("survey_wait_chance", "SMEAR_SV", "0 to 1", "The same by the survey's limits", NUMBER),
    Column("confidence", "CONFID", "", "Least sure link: measured, advised or judged", TEXT),
    Column("why", "WHY", "", "The rules that add up to the margin target", TEXT),
    Column("override", "OVERRIDE", "", "What a person changed: who, when, why", TEXT),
    Column("warnings", "WARNINGS", "", "What to look out for", TEXT),
)

# One zone at one moisture, a row: the table of settings in a GeoPackage.
SETTING_COLUMNS = (Column("zone", "ZONE", "", "Zone number", COUNT), _WHICH, *_MOISTURE)


def columns(moistures: Sequence[Moisture] = USUAL) -> tuple[Column, ...]:
    """List the columns of a file that carries these moistures.

    >>> [column.name for column in columns(["wet"])][22:24]
    ['moisture', 'margin_n']
    >>> [column.short for column in columns(["dry", "wet"]) if column.short.endswith("_MARGIN")]
    ['D_MARGIN', 'W_MARGIN']
    """
    if len(moistures) == 1:
        return (*_ZONE, _WHICH, *_MOISTURE)
    return _ZONE + tuple(
        replace(
            column,
            name=f"{moisture}_{column.name}",
            short=f"{moisture[0].upper()}_{column.short}",
            meaning=f"{column.meaning}; {moisture}",
        )
        for moisture in moistures
        for column in _MOISTURE
    )


def row(plan: Plan, setting: ZoneSetting, moistures: Sequence[Moisture] = USUAL) -> Row:
    """Give one zone's value for every one of `columns`, by long name. Unknown is None."""
    values: dict[str, Any] = {
        **vars(setting.zone.facts),
        **site_values(setting.zone.site),
        "id": setting.zone.id,
        "name": setting.zone.name,
        "area_ha": setting.zone.area_ha,
        "treatment": setting.zone.treatment,
        "usual_share": setting.usual_share,
        "setting_kind": plan.setting_kind,
        "setting_unit": plan.setting_unit,
        "planter": stamp(plan),
        "moisture": moistures[0],
    }
    for moisture in moistures:
        cells = _at_moisture(setting.moistures[moisture])
        values |= cells | {f"{moisture}_{name}": value for name, value in cells.items()}
    return {column.name: tidy(values[column.name]) for column in columns(moistures)}


@once
def rows(plan: Plan, moistures: tuple[Moisture, ...] = USUAL) -> tuple[Row, ...]:
    """Give the row of every zone."""
    return tuple(row(plan, setting, moistures) for setting in plan.settings)


def site_values(site: Marks) -> dict[str, Any]:
    """Lay a site out for a file: its mark is told by name and kind."""
    values: dict[str, Any] = {}
    for name, value in vars(site).items():
        values[name] = value.name if isinstance(value, Mark) else value
        if name == "part":
            values["part_kind"] = None if site.part is None else str(site.part.kind)
    return values


@once
def setting_rows(plan: Plan, moistures: tuple[Moisture, ...] = USUAL) -> list[Row]:
    """Give a row for each zone at each moisture, with the values of `SETTING_COLUMNS`."""
    rows = (
        {"zone": setting.zone.id, "moisture": moisture, **_at_moisture(setting.moistures[moisture])}
        for setting in plan.settings
        for moisture in moistures
    )
    return [
        {column.name: tidy(values[column.name]) for column in SETTING_COLUMNS} for values in rows
    ]


def chain(instruction: Instruction) -> str:
    """Tell in one line how the margin target came about [N], or why there is none.

    The links of a number read "tilled-loam +556, fast +44 = 600 N"; a stop rule tells its
    reason in words.
    """
    if isinstance(instruction, NoNumbers):
        return ""
    if isinstance(instruction, Wait):
        return "; ".join(f"{stop.rule}: {stop.why}" for stop in instruction.reasons)
    links = (f"{link.rule} {link.adds or 0:+.0f}" for link in instruction.reasons)
    return f"{', '.join(links)} = {instruction.margin_n:.0f} N"


def by_hand(instruction: Instruction) -> str:
    """Tell in one line what a person put in place of the rules' numbers; empty if nothing."""
    if not isinstance(instruction, Setting):
        return ""
    links = (("margin", instruction.by_hand), ("closing", instruction.closing_by_hand))
    return "; ".join(
        f"{what}: {tidy(link.source)}: {tidy(link.why)}" for what, link in links if link
    )


def tidy(value: Any) -> Any:
    """Write a value plainly: no noise of binary arithmetic, text on one line.

    Nine decimals lose nothing that matters.

    >>> tidy(0.1 + 0.2), tidy(" low\\tground ")
    (0.3, 'low ground')
    """
    if isinstance(value, float):
        return round(float(value), 9) + 0.0
    if isinstance(value, str):
        return _on_one_line(value)
    return value


@lru_cache(maxsize=4096)  # the same rules are told in every zone
def _on_one_line(text: str) -> str:
    return " ".join(_CONTROLS.sub("", text).split())


def _at_moisture(instruction: Instruction) -> dict[str, Any]:
    return {
        **numbers(instruction),
        "state": state(instruction),
        "wait": isinstance(instruction, Wait),
        "why": chain(instruction),
        "override": by_hand(instruction),
        "warnings": " ".join(dict.fromkeys(file_words(notice) for notice in instruction.notices)),
    }


def file_words(notice: Notice) -> str:
    """Tell a notice as a file does: from words as plan.json keeps them, so both say the same."""
    return _words(notice.code, notice.values, notice.layer)


@lru_cache(maxsize=4096)  # the same at each moisture, in zones that are treated alike, in each file
def _words(code: str, values: tuple[tuple[str, Any], ...], layer: str | None) -> str:
    tidied = tuple((name, tidy(value)) for name, value in values)
    return words(Notice(code, tidied, layer=layer))


def state(instruction: Instruction) -> str:
    """Say in a word what a zone is told: fit, test, wait or no numbers."""
    if isinstance(instruction, Setting):
        return str(instruction.state)
    return "wait" if isinstance(instruction, Wait) else "no numbers"


def numbers(instruction: Instruction) -> dict[str, Any]:
    """Give what a zone is told at one moisture, name by name; unknown is None.

    Ground that waits or has no numbers has every name all the same.
    """
    return {name: getattr(instruction, name, None) for name in _NUMBERS}


@once
def zone_shapes(plan: Plan, decimals: int) -> tuple[BaseGeometry, ...]:
    """Give the shape of every zone in degrees; see `in_degrees`."""
    return tuple(in_degrees(each.zone.shape, plan.field.crs, decimals) for each in plan.settings)
