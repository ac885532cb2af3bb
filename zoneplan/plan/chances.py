"""What a setting leaves, with the doubt of the opener load in it: chances, contact, seed."""

from dataclasses import dataclass

from zoneplan.plan.model import Plan, Setting, ZoneSetting
from zoneplan.plan.requirement import Requirement, basis_of, pass_of
from zoneplan.rowunit.balance import Outcome, load_at, weight_n
from zoneplan.rowunit.doubt import (
    Chances,
    MarginLeft,
    Row,
    contact_at,
    held_chances,
    held_chances_at,
    held_margin,
    hopper_right_share,
    mean_chances,
    opener_range_n,
    over_fills,
    sd_of_range,
    setting_chances,
    setting_chances_at,
    setting_margin,
    shallow_at,
)
from zoneplan.rowunit.machine import Machine, SetAir, Springs, reach_n
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Moisture

FULL, REFILL = 1.0, 0.0  # how full, from refill to full


@dataclass(frozen=True)
class Left:
    """What one zone is left with over the hopper and the doubt of its opener load."""

    chances: Chances  # that the margin left is inside the window
    contact_full_share: float
    contact_refill_share: float
    contact_share: float  # over the hopper
    shallow_share: float  # of the seed
    opener_range_n: tuple[float, float]
    hopper_share: float  # of the hopper that is inside the window, were the opener load known


def left_of(
    machine: Machine, requirement: Requirement, outcome: Outcome, sd_ln: float, depth_m: float
) -> Left:
    """Work out what a zone is left with.

    Parameters
    ----------
    machine, asked, got : Machine, Requirement, Outcome
        The planter, what the ground asks and what the planter does.
    sd_ln : float
        Doubt of the opener load: standard deviation of its logarithm.
    depth_m : float
        Planting depth. [m]
    """
    row = Row(
        weight_full_n=weight_n(machine, machine.fill_full),
        weight_refill_n=weight_n(machine, machine.fill_refill),
        closing_load_n=requirement.closing.notch.load_n,
        attachments_load_n=requirement.attachments_load_n,
        opener_load_n=requirement.opener_load_n,
        sd_ln=sd_ln,
    )
    target = requirement.target
    margin_left: MarginLeft
    if isinstance(machine.system, Springs | SetAir):
        given_n = _given_n(machine, outcome.setting)
        downforces_n = _drifted_n(machine, outcome.setting)
        chances = setting_chances(row, downforces_n, target.least_n, target.most_n)
        margin_left = setting_margin(row, given_n)
        hopper = hopper_right_share(row, given_n, target.least_n, target.most_n)
    else:
        reach = reach_n(machine.system)
        chances = held_chances(row, target.margin_n, reach)
        margin_left, hopper = held_margin(row, target.margin_n, reach), 1.0
    swung = requirement.swing
    return Left(
        chances=chances,
        contact_full_share=contact_at(row, FULL, margin_left, swung),
        contact_refill_share=contact_at(row, REFILL, margin_left, swung),
        contact_share=over_fills(lambda way: contact_at(row, way, margin_left, swung)),
        shallow_share=over_fills(lambda way: shallow_at(row, way, margin_left, swung, depth_m)),
        opener_range_n=opener_range_n(row),
        hopper_share=hopper,
    )


@dataclass(frozen=True)
class LeftAtFill:
    """What one zone is left with at one fill of the hopper."""

    margin_n: float  # at the opener load that is planned with
    contact_share: float
    shallow_share: float  # of the seed
    chances: Chances  # that the margin left is inside the window


def left_at_fill(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> LeftAtFill:
    """Work out what a zone of a finished plan is left with at one fill of the hopper.

    Parameters
    ----------
    plan, zone, moisture : Plan, ZoneSetting, Moisture
        A zone that has a setting there.
    fill : float
        Share of the hopper. [0 to 1]

    Notes
    -----
    The swing is that of the zone's own slope; the plan's own figures are of all ground that is
    treated with it.
    """
    setting, machine = zone.moistures[moisture], plan.machine
    assert isinstance(setting, Setting)
    seed_share = machine.fill_full - machine.fill_refill
    way = (fill - machine.fill_refill) / seed_share if seed_share > 0 else FULL
    row = Row(
        weight_full_n=weight_n(machine, machine.fill_full),
        weight_refill_n=weight_n(machine, machine.fill_refill),
        closing_load_n=setting.closing_load_n,
        attachments_load_n=setting.attachments_load_n,
        opener_load_n=setting.opener_load_n,
        sd_ln=sd_of_range(setting.opener_least_n, setting.opener_most_n),
    )
    basis = basis_of(machine, plan.rules, plan.conditions)
    planned = pass_of(basis, zone.zone.facts, zone.zone.site, AVAILABLE_SHARE[moisture])
    swung = planned.swing(basis.factors)
    margin_left: MarginLeft
    if isinstance(machine.system, Springs | SetAir):
        margin_left = setting_margin(row, _given_n(machine, setting.setting))
        limits_n = setting.margin_least_n, setting.margin_most_n
        drifted = [
            (setting_chances_at(row, way, downforce_n, *limits_n), 1.0)
            for downforce_n in _drifted_n(machine, setting.setting)
        ]
        chances = mean_chances(drifted)
    else:
        reach = reach_n(machine.system)
        margin_left = held_margin(row, setting.margin_n, reach)
        chances = held_chances_at(row, way, setting.margin_n, reach)
    return LeftAtFill(
        margin_n=margin_left(way, row.opener_load_n),
        contact_share=contact_at(row, way, margin_left, swung),
        shallow_share=shallow_at(row, way, margin_left, swung, plan.conditions.depth_m),
        chances=chances,
    )


def _given_n(machine: Machine, setting: float) -> float:
    if isinstance(machine.system, SetAir):
        return load_at(machine.system.chart, setting)
    return setting


def _drifted_n(machine: Machine, setting: float) -> tuple[float, ...]:
    """What a pressure gives that drifts, half the drift either way; a spring gives one force."""
    system = machine.system
    if not isinstance(system, SetAir):
        return (setting,)
    half_kpa = system.drift_kpa_per_h * system.retrim_s / 3600 / 2
    lowest_kpa, highest_kpa = system.chart[0][0], system.chart[-1][0]
    ends_kpa = (setting - half_kpa, setting + half_kpa)
    return tuple(
        load_at(system.chart, min(max(end_kpa, lowest_kpa), highest_kpa)) for end_kpa in ends_kpa
    )
