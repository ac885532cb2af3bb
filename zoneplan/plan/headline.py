"""The field's one setting, where the machine holds one: what it leaves in each zone."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.rowunit.doubt import Chances, window_n
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import N_PER_LBF

NOISE_N = 2.5 * N_PER_LBF  # a smaller excess is the rounding of the limits


class Fit(StrEnum):
    """Whether one setting suits a zone, with the hopper half full."""

    LIGHT = "too light"
    RIGHT = "right"
    HEAVY = "too heavy"


def holds_one(plan: Plan) -> bool:
    """Whether the machine may hold one setting over the whole field."""
    return plan.setting_kind != SettingKind.MARGIN_TARGET


def left_at_one_n(setting: Setting) -> tuple[float, float]:
    """Margins that the field's one setting leaves, hopper full and at refill. [N]."""
    at_one = next((notice for notice in setting.notices if notice.code == "at-one-pressure"), None)
    if at_one is None:
        return setting.margin_full_n, setting.margin_refill_n
    return at_one["full_n"], at_one["refill_n"]


def fit_at_one(setting: Setting) -> Fit:
    """Hold the margin left by the field's one setting, hopper half full, against the window."""
    half_n = sum(left_at_one_n(setting)) / 2
    least_n, most_n = window_n(setting.margin_least_n, setting.margin_most_n)
    return Fit.LIGHT if half_n < least_n else Fit.HEAVY if half_n > most_n else Fit.RIGHT


def fits(plan: Plan, moisture: Moisture) -> Mapping[Fit | None, list[ZoneSetting]]:
    """Sort the zones by how one setting suits them; those that wait under None."""
    groups: dict[Fit | None, list[ZoneSetting]] = {fit: [] for fit in (*Fit, None)}
    for setting in plan.settings:
        instruction = setting.moistures[moisture]
        if isinstance(instruction, Setting):
            groups[fit_at_one(instruction)].append(setting)
        elif isinstance(instruction, Wait):
            groups[None].append(setting)
    return groups


def packed(plan: Plan, moisture: Moisture) -> list[ZoneSetting]:
    """Find the zones where the field's one setting, hopper full, is more than the soil bears."""
    return [
        setting
        for setting in plan.settings
        if isinstance(instruction := setting.moistures[moisture], Setting)
        and left_at_one_n(instruction)[0] > instruction.margin_most_n + NOISE_N
    ]


@dataclass(frozen=True)
class FieldOdds:
    """What one moisture's settings do over the field: the means of its zones, by area."""

    rounds: Chances
    shallow_share: float  # of the seed


def field_odds(plan: Plan, moisture: Moisture) -> FieldOdds | None:
    """Weigh the zones' chances by area; None where no zone is set.

    Source
    ------
    Derived: the chance at a place of the field that is taken at random.
    """
    at_each = [
        (setting.zone.area_ha, setting.set_at[moisture])
        for setting in plan.settings
        if moisture in setting.set_at
    ]
    area_ha = sum(hectares for hectares, _ in at_each)
    if not area_ha:
        return None

    def mean(of: Callable[[Setting], float]) -> float:
        return sum(hectares * of(setting) for hectares, setting in at_each) / area_ha

    return FieldOdds(
        Chances(
            right=mean(lambda setting: setting.inside_chance),
            light=mean(lambda setting: setting.light_chance),
            heavy=mean(lambda setting: setting.heavy_chance),
        ),
        mean(lambda setting: setting.shallow_share),
    )
