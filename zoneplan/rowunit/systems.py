"""What each downforce system can hold, zone by zone, from a full hopper to refill."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from zoneplan.notices import Notice, notice
from zoneplan.rowunit.balance import (
    Demand,
    FieldOutcome,
    downforce_at_fill_n,
    load_at,
    out_of_reach,
    pressure_for,
    settled_outcome,
    weight_n,
)
from zoneplan.rowunit.machine import (
    ClosedLoopAir,
    Hydraulic,
    Machine,
    SetAir,
    Springs,
    reach_n,
    section_width_m,
    settle_distance_m,
)
from zoneplan.rowunit.one_setting import (
    RESOLUTION_N,
    Fit,
    Spread,
    as_good_n,
    best_force_n,
    best_position_n,
    fit,
)

FILL_STEPS = 100


def outcome_of(
    machine: Machine, demands: Sequence[Demand], speed_mps: float, *, tell: bool = True
) -> FieldOutcome:
    """Work out what a machine can hold in every zone of a field, at one moisture.

    Parameters
    ----------
    machine : Machine
        The planter.
    demands : sequence of Demand
        One a zone; zones without a number are left out.
    speed_mps : float
        Planned speed, which says how far a slow system lags. [m/s]
    tell : bool
        False where settings and margins are wanted, and no notice of what one setting costs.

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
        return _spring_outcome(machine, system, demands, tell)
    if isinstance(system, SetAir):
        return _set_air_outcome(machine, system, demands, tell)
    return _margin_outcome(machine, system, demands, speed_mps)


def _spring_outcome(
    machine: Machine, system: Springs, demands: Sequence[Demand], tell: bool
) -> FieldOutcome:
    """Choose the field's one position, and tell how far off each zone is at it."""
    field = _spread_over_fill(machine, demands)
    best_n = best_position_n(system.positions_n, field)
    if not tell:
        outcomes = [
            settled_outcome(machine, demand, best_n, (best_n, best_n), ()) for demand in demands
        ]
        return FieldOutcome(best_n, tuple(outcomes), ())
    over_field = fit(best_n, field)

    @cache
    def alone(hectare: Demand) -> tuple[float, Fit]:  # by itself, and at the field's one
        zone = _spread_over_fill(machine, [hectare])
        return best_position_n(system.positions_n, zone), fit(best_n, zone)

    outcomes = []
    for demand in demands:
        own_n, at_best = alone(_hectare_of(demand))
        zone_notices = _losses(at_best, demand.area_ha, over_field)
        if own_n != best_n:
            zone_notices.append(notice("own-position", position_n=own_n))
        outcomes.append(settled_outcome(machine, demand, best_n, (best_n, best_n), zone_notices))
    near = [
        position_n for position_n in as_good_n(system.positions_n, field) if position_n != best_n
    ]
    also = [notice("position-as-good", position_n=position_n) for position_n in near]
    one = notice("one-position", position_n=best_n, **_loss_values(over_field))
    return FieldOutcome(best_n, tuple(outcomes), (one, *also))


def _set_air_outcome(
    machine: Machine, system: SetAir, demands: Sequence[Demand], tell: bool
) -> FieldOutcome:
    """Choose each zone's pressure, and the one pressure that costs the field least."""
    least_n, most_n = system.chart[0][1], system.chart[-1][1]

    def reachable(wanted_n: float) -> float:  # costs least there, as cost has one valley
        return min(max(wanted_n, least_n), most_n)

    field = _spread_over_fill(machine, demands)
    wanted_n = best_force_n(field)
    best_n = reachable(wanted_n)
    best_kpa = pressure_for(system.chart, best_n)
    over_field = fit(best_n, field)

    @cache
    def alone(hectare: Demand) -> tuple[float, Spread]:
        zone = _spread_over_fill(machine, [hectare])
        return best_force_n(zone), zone

    outcomes = []
    for demand in demands:
        own_wanted_n, zone = alone(_hectare_of(demand))
        own_n = reachable(own_wanted_n)
        zone_notices = out_of_reach([own_wanted_n], least_n, most_n)
        short = bool(zone_notices)
        if tell and abs(own_n - best_n) > RESOLUTION_N:
            at_one = settled_outcome(
                machine, demand, best_kpa, (best_n, best_n), (), tell_gap=False
            )
            zone_notices.append(
                notice(
                    "at-one-pressure",
                    pressure_kpa=best_kpa,
                    full_n=at_one.margin_full_n,
                    refill_n=at_one.margin_refill_n,
                )
            )
            losses = _losses(fit(best_n, zone), demand.area_ha, over_field)
            zone_notices.extend([*at_one.notices, *losses])
        own_kpa = pressure_for(system.chart, own_n)
        outcomes.append(
            settled_outcome(machine, demand, own_kpa, (own_n, own_n), zone_notices, tell_gap=short)
        )
    seed_n = weight_n(machine, machine.fill_full) - weight_n(machine, machine.fill_refill)
    notices = (
        notice(
            "one-pressure", pressure_kpa=best_kpa, downforce_n=best_n, **_loss_values(over_field)
        ),
        *out_of_reach([wanted_n], least_n, most_n),
        notice("slides-with-seed", seed_n=seed_n),
        _drift(system, best_kpa),
    )
    return FieldOutcome(best_kpa, tuple(outcomes), notices)


def _margin_outcome(
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


def _spread_over_fill(machine: Machine, demands: Sequence[Demand]) -> Spread:
    """Spread the zones' needs over the hopper, from full to refill.

    A zone meets every fill as often as any other, since seed goes by area: the fills are
    the middles of 100 equal steps.
    """
    middles = (np.arange(FILL_STEPS) + 0.5) / FILL_STEPS
    full_n = np.array(
        [downforce_at_fill_n(machine, demand, machine.fill_full) for demand in demands]
    )
    refill_n = np.array(
        [downforce_at_fill_n(machine, demand, machine.fill_refill) for demand in demands]
    )
    areas_ha = np.array([demand.area_ha for demand in demands])
    return Spread(
        needs_n=(full_n + np.outer(middles, refill_n - full_n)).ravel(),
        weights=np.tile(areas_ha / FILL_STEPS, FILL_STEPS),
        light_to_heavy=np.tile([demand.light_to_heavy for demand in demands], FILL_STEPS),
    )


def _loss_values(fits: Fit) -> dict[str, Any]:
    return {
        "light_share": fits.light_share,
        "heavy_share": fits.heavy_share,
        "resolution_n": RESOLUTION_N,
    }


def _hectare_of(demand: Demand) -> Demand:
    """A hectare that asks for the same: of many zones that are treated alike there is one."""
    return replace(demand, area_ha=1.0, width_m=None, length_m=None)


def _losses(hectare: Fit, area_ha: float, over_field: Fit) -> list[Notice]:
    """What so many hectares lose, as a share of what the field does."""
    if not hectare.light_share and not hectare.heavy_share:
        return []
    return [
        notice(
            "off-at-one-setting",
            light_share=hectare.light_share,
            heavy_share=hectare.heavy_share,
            loss_share=hectare.cost * area_ha / over_field.cost,
        )
    ]


def _drift(system: SetAir, pressure_kpa: float) -> Notice:
    drift_kpa = system.drift_kpa_per_h * system.retrim_s / 3600
    lowest_kpa = max(system.chart[0][0], pressure_kpa - drift_kpa)
    highest_kpa = min(system.chart[-1][0], pressure_kpa + drift_kpa)
    return notice(
        "pressure-drifts",
        retrim_s=system.retrim_s,
        drift_kpa=drift_kpa,
        lowest_n=load_at(system.chart, lowest_kpa),
        highest_n=load_at(system.chart, highest_kpa),
        clipped=lowest_kpa > pressure_kpa - drift_kpa or highest_kpa < pressure_kpa + drift_kpa,
    )
