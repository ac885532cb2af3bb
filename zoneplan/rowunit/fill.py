"""What one fill of the hopper makes of a setting: the moment between full and refill."""

from dataclasses import dataclass

from zoneplan.rowunit.balance import margin_left_n, weight_n
from zoneplan.rowunit.chart import load_at
from zoneplan.rowunit.demand import Demand, downforce_at_fill_n
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.margin_control_systems import reach_n


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
