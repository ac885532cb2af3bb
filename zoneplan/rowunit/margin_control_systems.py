"""Air in closed loop and hydraulics: they hold a margin, as far and as fast as they reach."""

from collections.abc import Sequence

import numpy as np

from zoneplan.notices import Notice, notice
from zoneplan.rowunit.demand import (
    Demand,
    FieldOutcome,
    downforce_at_fill_n,
    out_of_reach,
    settled_outcome,
)
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, Machine, SetAir, Springs

SETTLED_TIME_CONSTANTS = 3  # a first-order system has then made 95 % of a step


def section_width_m(machine: Machine) -> float:
    """Width of the narrowest strip that can be given a setting of its own. [m]."""
    if isinstance(machine.system, Hydraulic):
        return machine.row_spacing_m
    if isinstance(machine.system, ClosedLoopAir):
        return machine.width_m / machine.system.sections
    return machine.width_m


def settle_distance_m(machine: Machine, speed_mps: float) -> float:
    """Distance travelled before a new target is held. [m]; 0 where a setting is held.

    Source
    ------
    Derived: speed × (delay + 3 time constants), when a first-order system has made 95 %
    of a step.
    """
    if isinstance(machine.system, Springs | SetAir):
        return 0.0
    settled_s = machine.system.delay_s + SETTLED_TIME_CONSTANTS * machine.system.time_constant_s
    return speed_mps * settled_s


def reach_n(system: ClosedLoopAir | Hydraulic) -> tuple[float, float]:
    """Least and most downforce that a system gives. [N]; negative is lift."""
    if isinstance(system, ClosedLoopAir):
        return system.chart[0][1], system.chart[-1][1]
    return system.least_n, system.most_n


def margin_outcome(
    machine: Machine, system: ClosedLoopAir | Hydraulic, demands: Sequence[Demand], speed_mps: float
) -> FieldOutcome:
    """Give each zone its margin as the target, and tell where it cannot be held."""
    least_n, most_n = reach_n(system)
    outcomes = []
    for demand in demands:
        needed_n = [
            downforce_at_fill_n(machine, demand, fill)
            for fill in (machine.fill_full, machine.fill_refill)
        ]
        full_n, refill_n = (min(max(each_n, least_n), most_n) for each_n in needed_n)
        zone_notices = out_of_reach(needed_n, least_n, most_n) + _too_small(
            machine, demand, speed_mps
        )
        outcomes.append(
            settled_outcome(machine, demand, demand.margin_n, (full_n, refill_n), zone_notices)
        )

    areas_ha = [demand.area_ha for demand in demands]
    held_share = np.average([each.reached for each in outcomes], weights=areas_ha)
    lifted = np.average([each.downforce_full_n < 0 for each in outcomes], weights=areas_ha)
    notices = [
        notice("target-held", held_share=float(held_share), least_n=least_n, most_n=most_n),
        notice(
            "settles-after",
            speed_mps=speed_mps,
            distance_m=settle_distance_m(machine, speed_mps),
        ),
    ]
    if lifted > 0:
        notices.append(notice("takes-lift", share=float(lifted)))
    if isinstance(system, ClosedLoopAir):
        notices.append(
            notice(
                "sensors-are-few",
                sensors=system.sensors,
                rows=machine.rows,
                sections=system.sections,
                section_m=section_width_m(machine),
            )
        )
    else:
        notices.append(notice("each-row-feels", rows=machine.rows))
    return FieldOutcome(best=None, outcomes=tuple(outcomes), notices=tuple(notices))


def _too_small(machine: Machine, demand: Demand, speed_mps: float) -> list[Notice]:
    width_m, settle_m = section_width_m(machine), settle_distance_m(machine, speed_mps)
    notices = []
    if demand.width_m is not None and demand.width_m < width_m:
        notices.append(notice("zone-narrow", width_m=demand.width_m, section_m=width_m))
    if demand.length_m is not None and demand.length_m < settle_m:
        notices.append(notice("zone-short", length_m=demand.length_m, settle_m=settle_m))
    return notices
