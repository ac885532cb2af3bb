"""The field's one setting, where the machine holds one: what it leaves in each zone."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.rowunit.doubt import Chances, mean_chances, window_n
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


def area_mean(
    ground: Sequence[tuple[float, Setting]], value: Callable[[Setting], float]
) -> float | None:
    """Average what is set over the hectares on which it is; None where there is no ground."""
    total_ha = math.fsum(area_ha for area_ha, _ in ground)
    if not total_ha:
        return None
    return math.fsum(area_ha * value(setting) for area_ha, setting in ground) / total_ha


def set_ground(plan: Plan, moisture: Moisture) -> list[tuple[float, Setting]]:
    """List the zones that have a setting at a moisture: their hectares, and what is set."""
    return [
        (zoned.zone.area_ha, zoned.set_at[moisture])
        for zoned in plan.settings
        if moisture in zoned.set_at
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
    ground = set_ground(plan, moisture)
    shallow_share = area_mean(ground, lambda setting: setting.shallow_share)
    if shallow_share is None:
        return None
    rounds = [(setting.chances, area_ha) for area_ha, setting in ground]
    return FieldOdds(mean_chances(rounds), shallow_share)
