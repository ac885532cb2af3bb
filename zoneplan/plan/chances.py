"""What a setting leaves, with the doubt of the opener load in it: chances, contact, seed."""

from dataclasses import dataclass

from zoneplan.plan.requirement import Requirement
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.chart import load_at
from zoneplan.rowunit.demand import Outcome
from zoneplan.rowunit.doubt import (
    Chances,
    MarginLeft,
    Row,
    contact_at,
    held_chances,
    held_margin,
    opener_range_n,
    over_fills,
    setting_chances,
    setting_margin,
    shallow_at,
)
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.margin_control_systems import reach_n
from zoneplan.rowunit.odds import hopper_right_share

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
    machine: Machine, asked: Requirement, got: Outcome, sd_ln: float, depth_m: float
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
        closing_load_n=asked.closing.notch.load_n,
        attachments_load_n=asked.attachments_load_n,
        opener_load_n=asked.opener_load_n,
        sd_ln=sd_ln,
    )
    target = asked.target
    margin_left: MarginLeft
    if isinstance(machine.system, Springs | SetAir):
        given_n = _given_n(machine, got)
        downforces_n = _drifted_n(machine, got)
        chances = setting_chances(row, downforces_n, target.least_n, target.most_n)
        margin_left = setting_margin(row, given_n)
        hopper = hopper_right_share(row, given_n, target.least_n, target.most_n)
    else:
        reach = reach_n(machine.system)
        chances = held_chances(row, target.margin_n, reach)
        margin_left, hopper = held_margin(row, target.margin_n, reach), 1.0
    swung = asked.swing
    return Left(
        chances=chances,
        contact_full_share=contact_at(row, FULL, margin_left, swung),
        contact_refill_share=contact_at(row, REFILL, margin_left, swung),
        contact_share=over_fills(lambda way: contact_at(row, way, margin_left, swung)),
        shallow_share=over_fills(lambda way: shallow_at(row, way, margin_left, swung, depth_m)),
        opener_range_n=opener_range_n(row),
        hopper_share=hopper,
    )


def _given_n(machine: Machine, got: Outcome) -> float:
    if isinstance(machine.system, SetAir):
        return load_at(machine.system.chart, got.setting)
    return got.setting


def _drifted_n(machine: Machine, got: Outcome) -> tuple[float, ...]:
    """What a pressure gives that drifts, half the drift either way; a spring gives one force."""
    system = machine.system
    if not isinstance(system, SetAir):
        return (got.setting,)
    half_kpa = system.drift_kpa_per_h * system.retrim_s / 3600 / 2
    lowest_kpa, highest_kpa = system.chart[0][0], system.chart[-1][0]
    ends_kpa = (got.setting - half_kpa, got.setting + half_kpa)
    return tuple(load_at(system.chart, min(max(it, lowest_kpa), highest_kpa)) for it in ends_kpa)
