"""What a reader should know, as facts: Notice, and every code in one table.

The core returns notices and never a sentence. `say` puts them into words, by reader and by
unit system; what merges, counts, compares or filters them goes by code.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from zoneplan.terms import Moisture

Value = str | float | int | bool | tuple[str, ...] | None


class Severity(StrEnum):
    """How much a notice asks of its reader."""

    NOTE = "note"  # how the plan came about
    ASSUMED = "assumed"  # what is not known, and was taken
    WATCH = "watch"  # look at it in the field
    WARNING = "warning"  # a number is not what it should be


@dataclass(frozen=True)
class Notice:
    """One thing to know. Its values are in SI, each named with its unit, and hashable."""

    code: str  # a key of CODES
    values: tuple[tuple[str, Value], ...] = ()  # in the order of their names
    zone: int | None = None
    moisture: Moisture | None = None
    rule: str | None = None  # id of the rule that speaks

    @property
    def severity(self) -> Severity:
        """How much it asks of its reader."""
        return CODES[self.code].severity

    def __getitem__(self, name: str) -> Any:
        """Give one of its values."""
        return dict(self.values)[name]

    def at_field(self) -> "Notice":
        """Say the same without its zone."""
        return replace(self, zone=None)

    def at(self, *, zone: int | None = None, moisture: Moisture | None = None) -> "Notice":
        """Say the same of a zone or at a moisture."""
        return replace(
            self,
            zone=self.zone if zone is None else zone,
            moisture=self.moisture if moisture is None else moisture,
        )


@dataclass(frozen=True)
class Kind:
    """What notices of one code carry."""

    severity: Severity
    values: tuple[str, ...] = ()


def notice(
    code: str,
    *,
    zone: int | None = None,
    moisture: Moisture | None = None,
    rule: str | None = None,
    **values: Value,
) -> Notice:
    """Make a notice; its values are those that its code carries, no more and no fewer.

    Raises
    ------
    KeyError, ValueError
        For a code that nobody listed, or values that are not the code's: our bug.

    Examples
    --------
    >>> told = notice("openers-float", zone=3)
    >>> told.severity, told.zone
    (<Severity.WARNING: 'warning'>, 3)
    """
    if sorted(CODES[code].values) != sorted(values):
        raise ValueError(f"{code} carries {CODES[code].values}, not {sorted(values)}")
    return Notice(code, tuple(sorted(values.items())), zone, moisture, rule)


def notice_from(told: Mapping[str, Any]) -> Notice:
    """Make a notice again from what `as_dict` wrote."""
    moisture = told.get("moisture")
    return notice(
        told["code"],
        zone=told.get("zone"),
        moisture=None if moisture is None else Moisture(moisture),
        rule=told.get("rule"),
        **{name: tuple(it) if isinstance(it, list) else it for name, it in told["values"].items()},
    )


def as_dict(told: Notice) -> dict[str, Any]:
    """Lay a notice out for a file."""
    return {
        "code": told.code,
        "severity": str(told.severity),
        "zone": told.zone,
        "moisture": None if told.moisture is None else str(told.moisture),
        "rule": told.rule,
        "values": dict(told.values),
    }


_NOTE, _ASSUMED, _WATCH, _WARNING = Severity

CODES: dict[str, Kind] = {
    # what the machine can hold
    "misses-target": Kind(
        _WARNING, ("target_n", "full_n", "refill_n", "full_gap_n", "refill_gap_n")
    ),
    "openers-float": Kind(_WARNING),
    "needs-more-downforce": Kind(_WARNING, ("needed_n", "most_n")),
    "needs-less-downforce": Kind(_WARNING, ("needed_n", "least_n")),
    "own-position": Kind(_NOTE, ("position_n",)),
    "at-one-pressure": Kind(_NOTE, ("pressure_kpa", "full_n", "refill_n")),
    "off-at-one-setting": Kind(_WARNING, ("light_share", "heavy_share", "loss_share")),
    "one-position": Kind(
        _NOTE, ("position_n", "light_share", "heavy_share", "resolution_n", "light_to_heavy")
    ),
    "one-pressure": Kind(
        _NOTE,
        (
            "pressure_kpa",
            "downforce_n",
            "light_share",
            "heavy_share",
            "resolution_n",
            "light_to_heavy",
        ),
    ),
    "slides-with-seed": Kind(_NOTE, ("seed_n",)),
    "pressure-drifts": Kind(_NOTE, ("retrim_s", "drift_kpa", "lowest_n", "highest_n", "clipped")),
    "target-held": Kind(_NOTE, ("held_share", "least_n", "most_n")),
    "settles-after": Kind(_NOTE, ("speed_mps", "distance_m")),
    "takes-lift": Kind(_NOTE, ("share",)),
    "sensors-are-few": Kind(_NOTE, ("sensors", "rows", "sections", "section_m")),
    "each-row-feels": Kind(_NOTE, ("rows",)),
    "zone-narrow": Kind(_WARNING, ("width_m", "section_m")),
    "zone-short": Kind(_WARNING, ("length_m", "settle_m")),
    # what the rules and a person say
    "rule-warns": Kind(_WATCH, ("words",)),
    "held-by-a-cap": Kind(_NOTE, ("cap", "asked_n", "held_n", "asked_share", "held_share")),
    "override-stands": Kind(_NOTE, ("decides", "margin_n", "notch", "why", "source")),
    "override-left-out": Kind(_WARNING, ("decides", "margin_n", "notch", "why", "who", "waits")),
    "rules-not-stock": Kind(_NOTE, ("rules",)),
    "rules-dropped": Kind(_NOTE, ("rules",)),
    # what the plan makes of both
    "no-numbers": Kind(_NOTE, ("ground",)),
    "no-good-margin": Kind(_WARNING, ("speed_mps", "least_n", "most_n")),
    "little-contact": Kind(_WARNING, ("speed_mps", "up_share", "steady_mps", "by_hand", "least_n")),
    "contact-bought-with-load": Kind(_WARNING, ("contact_share", "enough_n", "beyond_n")),
    "packs": Kind(_WARNING, ("fill", "left_n", "most_n", "over_n")),
    "target-packs": Kind(_WARNING, ("margin_n", "most_n", "over_n")),
    "absorbed-soil": Kind(_NOTE, ("area_ha", "soil", "waits", "differs_n", "warned")),
    "margin-system-answers": Kind(_NOTE),
    "opener-loads-scaled": Kind(
        _NOTE,
        (
            "factor",
            "seen_zone",
            "seen_moisture",
            "downforce_n",
            "fill_share",
            "margin_n",
            "weighed",
            "found_n",
            "modelled_n",
            "far_off",
        ),
    ),
    "contact-basis": Kind(_NOTE, ("swing_n", "known_n", "known_at_mps", "measured", "tillage")),
    "hand-test": Kind(_WATCH),
    "density-not-checked": Kind(_ASSUMED),
    "lie-shifts-water": Kind(_NOTE, ("gathers", "available_share")),
    "slope-swings": Kind(_NOTE, ("wider_share",)),
    "mark-without-zone": Kind(_NOTE, ("share", "mark")),
    "remark": Kind(_NOTE, ("words",)),
}
