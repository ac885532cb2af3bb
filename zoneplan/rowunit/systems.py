"""What each downforce system can hold, zone by zone, from a full hopper to refill."""

from collections.abc import Sequence
from dataclasses import dataclass

from zoneplan.rowunit.balance import margin_left_n, weight_n
from zoneplan.rowunit.chart import load_at
from zoneplan.rowunit.demand import Demand, FieldOutcome, downforce_at_fill_n
from zoneplan.rowunit.fixed_setting_systems import set_air_outcome, spring_outcome
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.margin_control_systems import margin_outcome, reach_n
from zoneplan.terms import SettingKind


@dataclass(frozen=True)
class AtFill:
    """One row unit at one fill of the hopper. [N]."""

    weight_n: float
    needed_n: float  # downforce that would leave the target
    given_n: float  # downforce that the setting gives
    margin_n: float  # what that leaves


def at_fill(machine: Machine, need: Demand, setting: float, fill: float) -> AtFill:
    """Work out the margin that a setting leaves at one fill of the hopper.

    Parameters
    ----------
    machine, need : Machine, Demand
        Who asks what.
    setting : float
        Spring position [N], pressure [kPa], or margin target [N], as the machine has it.
    fill : float
        Share of the hopper. [0 to 1]

    Source
    ------
    Derived: statics. See "The force balance" in DEVELOPERS.md.
    """
    system = machine.system
    needed_n = downforce_at_fill_n(machine, need, fill)
    if isinstance(system, Springs):
        given_n = setting
    elif isinstance(system, SetAir):
        given_n = load_at(system.chart, setting)
    else:
        least_n, most_n = reach_n(system)
        given_n = min(max(needed_n, least_n), most_n)
    weight = weight_n(machine, fill)
    left_n = margin_left_n(weight, given_n, need.opener_load_n, need.closing_load_n)
    return AtFill(weight, needed_n, given_n, left_n)


def setting_kind(machine: Machine) -> SettingKind:
    """Say what is set on a machine."""
    if isinstance(machine.system, Springs):
        return SettingKind.SPRING_POSITION
    if isinstance(machine.system, SetAir):
        return SettingKind.AIR_PRESSURE
    return SettingKind.MARGIN_TARGET


def setting_unit(machine: Machine) -> str:
    """Say what a setting is kept in: "N", or "kPa" for set air."""
    return "kPa" if isinstance(machine.system, SetAir) else "N"


def outcome_of(machine: Machine, demands: Sequence[Demand], speed_mps: float) -> FieldOutcome:
    """Work out what a machine can hold in every zone of a field, at one moisture.

    Parameters
    ----------
    machine : Machine
        The planter.
    demands : sequence of Demand
        One a zone; zones without a number are left out.
    speed_mps : float
        Planned speed, which says how far a slow system lags. [m/s]

    Notes
    -----
    A surprising answer is still an answer: a negative margin means that the openers
    float, and it is returned with a notice. Nothing is read off a chart past its ends:
    such a need is told as out of reach.
    """
    if not demands:
        return FieldOutcome(best=None, outcomes=(), notices=())
    system = machine.system
    if isinstance(system, Springs):
        return spring_outcome(machine, system, demands)
    if isinstance(system, SetAir):
        return set_air_outcome(machine, system, demands)
    return margin_outcome(machine, system, demands, speed_mps)
