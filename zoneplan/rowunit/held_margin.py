"""Looped air and hydraulics: they hold a margin, as far and as fast as they reach."""

from collections.abc import Sequence

import numpy as np

from zoneplan.rowunit.machine import Hydraulic, LoopedAir, Machine, SetAir, Springs
from zoneplan.rowunit.need import (
    FieldAnswer,
    Need,
    downforce_at_fill_n,
    out_of_reach,
    settled_answer,
)
from zoneplan.rowunit.words import distance, downforce, speed
from zoneplan.units import percent

SETTLED_TIME_CONSTANTS = 3  # a first-order system has then made 95 % of a step


def section_width_m(machine: Machine) -> float:
    """Width of the narrowest strip that can be given a setting of its own. [m]."""
    if isinstance(machine.system, Hydraulic):
        return machine.row_spacing_m
    if isinstance(machine.system, LoopedAir):
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


def reach_n(system: LoopedAir | Hydraulic) -> tuple[float, float]:
    """Least and most downforce that a system gives. [N]; negative is lift."""
    if isinstance(system, LoopedAir):
        return system.chart[0][1], system.chart[-1][1]
    return system.least_n, system.most_n


def margin_answer(
    machine: Machine, system: LoopedAir | Hydraulic, needs: Sequence[Need], speed_mps: float
) -> FieldAnswer:
    """Give each zone its margin as the target, and say where it cannot be held."""
    least_n, most_n = reach_n(system)
    answers = []
    for need in needs:
        needed_n = [
            downforce_at_fill_n(machine, need, fill)
            for fill in (machine.fill_full, machine.fill_refill)
        ]
        full_n, refill_n = (min(max(each_n, least_n), most_n) for each_n in needed_n)
        said = out_of_reach(needed_n, least_n, most_n) + _too_small(machine, need, speed_mps)
        answers.append(settled_answer(machine, need, need.margin_n, (full_n, refill_n), said))

    areas_ha = [need.area_ha for need in needs]
    held = np.average([each.reached for each in answers], weights=areas_ha)
    lifted = np.average([each.downforce_full_n < 0 for each in answers], weights=areas_ha)
    notes = [
        f"The target is held on {percent(held)} of the planned area; the machine "
        f"reaches from {downforce(least_n)} to {downforce(most_n)}.",
        f"At {speed(speed_mps)} a new target is held "
        f"{distance(settle_distance_m(machine, speed_mps))} past a zone's edge.",
    ]
    if lifted > 0:
        notes.append(f"{percent(lifted)} of the planned area would take lift, hopper full.")
    if isinstance(system, LoopedAir):
        notes.append(_blind_words(machine, system))
    else:
        notes.append(f"Each of the {machine.rows} rows feels and holds the target by itself.")
    return FieldAnswer(best=None, answers=tuple(answers), notes=tuple(notes))


def _too_small(machine: Machine, need: Need, speed_mps: float) -> list[str]:
    width_m, settle_m = section_width_m(machine), settle_distance_m(machine, speed_mps)
    said = []
    if need.width_m is not None and need.width_m < width_m:
        said.append(
            f"The zone is {distance(need.width_m)} wide where it is narrowest; a setting covers "
            f"{distance(width_m)}: part of it gets its neighbour's target."
        )
    if need.length_m is not None and need.length_m < settle_m:
        said.append(
            f"The zone is {distance(need.length_m)} long; a new target is held after "
            f"{distance(settle_m)}: it is passed before the margin has settled."
        )
    return said


def _blind_words(machine: Machine, system: LoopedAir) -> str:
    said = (
        f"{system.sensors} sensors feel {machine.rows} rows, in {system.sections} sections of "
        f"{distance(section_width_m(machine))}: a wheel track or hard spot under a row without a "
        "sensor is not seen, and one under a sensor moves its whole section."
    )
    if system.sensors < system.sections:
        said += " Some sections have no sensor and follow another's."
    return said
