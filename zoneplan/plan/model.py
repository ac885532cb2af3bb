"""A finished plan and its parts: everything that a file or a screen may show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from zoneplan.field.compose import Disagreement, Supplied
from zoneplan.field.shapes import Field
from zoneplan.notices import Notice
from zoneplan.plan.requirement import Conditions
from zoneplan.rowunit.doubt import Chances
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.target import GaveWay
from zoneplan.rules.rule import Reason, Rules
from zoneplan.terms import Confidence, Fitness, Ground, Moisture, SettingKind
from zoneplan.zones.join import Stop, ZoneCount
from zoneplan.zones.zone import Zone

OVERRIDE = "override"  # the kind of a chain's last link, where a person's number stands


@dataclass(frozen=True)
class Setting:
    """All that is decided for one zone at one moisture. Loads are per row, in newtons."""

    margin_n: float  # the target
    margin_least_n: float  # below this the wheels leave the ground too often: 96 %
    margin_steady_n: float  # with this they carry load 98 % of the time
    margin_most_n: float  # above this the soil packs
    gave_way: GaveWay | None  # the limit that the target does not keep
    swing_n: float  # of the gauge-wheel load, which contact is calculated with
    closing_load_n: float
    closing_notch: str
    opener_load_n: float  # the soil's push on the openers
    opener_least_n: float  # between these lie 8 of 10
    opener_most_n: float
    attachments_load_n: float  # and on what else is mounted
    downforce_full_n: float  # needed with the hopper full
    downforce_refill_n: float  # needed when the hopper wants refilling
    setting: float  # what to set, in the plan's setting_unit
    reached: bool  # whether the target holds from full to refill
    margin_full_n: float  # what the setting really leaves, hopper full
    margin_refill_n: float
    command_n: float  # the downforce that goes to the cab: what the setting gives, or mid hopper
    inside_chance: float  # that the margin left lies inside the window, over the hopper
    light_chance: float  # that it is too light
    heavy_chance: float  # that it is too heavy
    contact_share: float  # of time that the wheels carry load, by the margin left
    contact_full_share: float
    contact_refill_share: float
    shallow_share: float  # of the seed that lies more than 10 mm shallow
    state: Fitness  # fit, or to be tested
    wait_chance: float  # that the soil smears at this moisture
    survey_wait_chance: float | None  # the survey's own opinion of it, where it has one
    confidence: Confidence
    reasons: tuple[Reason, ...]  # they add up to margin_n
    closing_reasons: tuple[Reason, ...]  # they add up to the load that the notch is chosen for
    stop_reasons: tuple[Reason, ...]  # why to test
    notices: tuple[Notice, ...]

    @property
    def chances(self) -> Chances:
        """That the margin left is right, light or heavy: they add to 1."""
        return Chances(self.inside_chance, self.light_chance, self.heavy_chance)

    @property
    def by_hand(self) -> Reason | None:
        """The link that put a person's margin target in place of the rules', if one did."""
        return _by_hand(self.reasons)

    @property
    def closing_by_hand(self) -> Reason | None:
        """The same for the closing notch."""
        return _by_hand(self.closing_reasons)


@dataclass(frozen=True)
class Wait:
    """Too wet: no number, and why."""

    wait_chance: float  # that the soil smears
    survey_wait_chance: float | None
    confidence: Confidence
    reasons: tuple[Reason, ...]  # the stop rule
    notices: tuple[Notice, ...]


@dataclass(frozen=True)
class NoNumbers:
    """Ground that is no soil, or whose soil nobody knows."""

    ground: Ground
    notices: tuple[Notice, ...] = ()


Instruction = Setting | Wait | NoNumbers  # what a zone is told at one moisture


def _by_hand(reasons: Sequence[Reason]) -> Reason | None:
    return next((reason for reason in reasons if reason.kind == OVERRIDE), None)


@dataclass(frozen=True)
class ZoneSetting:
    """One zone, and what it is told at dry, moist and wet, in that order."""

    zone: Zone
    moistures: Mapping[Moisture, Instruction]
    usual_share: float | None = None  # of the available water, on a usual planting day

    @property
    def numbered(self) -> bool:
        """Whether it has a number, or a reason to wait, at any moisture."""
        return not any(isinstance(value, NoNumbers) for value in self.moistures.values())

    @property
    def set_at(self) -> dict[Moisture, Setting]:
        """Its settings, at the moistures that have one."""
        return {
            moisture: instruction
            for moisture, instruction in self.moistures.items()
            if isinstance(instruction, Setting)
        }

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What is told of it at every moisture."""
        return tuple(notice for value in self.moistures.values() for notice in value.notices)


@dataclass(frozen=True)
class Plan:
    """A finished plan."""

    field: Field
    machine: Machine
    conditions: Conditions
    rules: Rules
    settings: tuple[ZoneSetting, ...]
    uncovered_ha: float
    setting_kind: SettingKind
    setting_unit: str  # "N" or "kPa"
    best: Mapping[Moisture, float | None]  # the field's one setting, if one is held
    notices: tuple[Notice, ...]  # of the whole plan; a zone's own stand with it
    counts: tuple[
        ZoneCount, ...
    ] = ()  # what every number of zones keeps, from the most to the fewest
    drawn: ZoneCount | None = None  # what these zones keep
    stop: Stop | None = None  # why there are no fewer
    disagreements: tuple[Disagreement, ...] = ()  # between soil layers, the largest first
    supplied: tuple[Supplied, ...] = ()  # what each soil layer said of how much of the field

    @property
    def treatments(self) -> int:
        """How many things the planter is told: zones that print the same are one."""
        return len({setting.zone.treatment for setting in self.settings})

    @property
    def zone_notices(self) -> tuple[Notice, ...]:
        """What is told of every zone."""
        return tuple(notice for setting in self.settings for notice in setting.notices)
