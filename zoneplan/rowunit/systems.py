"""What each downforce system can hold, zone by zone, from a full hopper to refill."""

from collections.abc import Sequence

from zoneplan.rowunit.demand import Demand, FieldOutcome
from zoneplan.rowunit.fixed_setting_systems import set_air_outcome, spring_outcome
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.margin_control_systems import margin_outcome
from zoneplan.terms import SettingKind


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
