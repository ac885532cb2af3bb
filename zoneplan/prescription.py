"""plan_field(): the single pass from ground to settings; Plan and its parts."""

from collections.abc import Mapping
from dataclasses import dataclass

from zoneplan.field.shapes import Field
from zoneplan.rowunit.machine import Machine
from zoneplan.rules.rule import Reason, Rules
from zoneplan.zones.zone import Zone


@dataclass(frozen=True)
class Conditions:
    """What the agronomist says of the day and the ground; the machine file gives the rest."""

    tillage: str
    speed_mps: float
    depth_m: float
    residue_frac: float


@dataclass(frozen=True)
class MoistureSetting:
    """All that is decided for one zone at one wetness. Loads are per row; None = no number."""

    margin_n: float | None  # the target
    margin_least_n: float | None  # below this the wheels leave the ground too often
    margin_most_n: float | None  # above this the soil packs
    contact_share: float | None  # of time, at the target and the planned speed
    closing_load_n: float | None
    closing_notch: str | None
    opener_load_n: float | None  # the soil's push on the openers
    downforce_full_n: float | None  # needed with the hopper full
    downforce_refill_n: float | None  # needed when the hopper wants refilling
    setting: float | None  # what to set, in the plan's setting_unit
    reached: bool | None  # whether the target holds from full to refill
    margin_full_n: float | None  # what the setting really leaves, hopper full
    margin_refill_n: float | None
    confidence: str | None
    reasons: tuple[Reason, ...]  # they add up to margin_n
    closing_reasons: tuple[Reason, ...]  # they add up to the share of the closing range
    warnings: tuple[str, ...]

    @property
    def wait(self) -> bool:
        """Whether a stop rule held: too wet, no number."""
        return any(reason.kind == "stop" for reason in self.reasons)


@dataclass(frozen=True)
class ZoneSetting:
    """One zone and its settings. Ground without soil data has the three, all empty."""

    zone: Zone
    moistures: Mapping[str, MoistureSetting]  # "dry", "moist", "wet", in that order


@dataclass(frozen=True)
class Plan:
    """A finished plan: everything that a file or a screen may show."""

    field: Field
    machine: Machine
    conditions: Conditions
    rules: Rules
    settings: tuple[ZoneSetting, ...]
    uncovered_ha: float
    setting_kind: str  # "spring position", "air pressure", "margin target"
    setting_unit: str  # "N" or "kPa"
    best: Mapping[str, float | None]  # the field's one setting at each wetness, if one is held
    notes: tuple[str, ...]
