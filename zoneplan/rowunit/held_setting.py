"""Springs and set air: they hold a setting, and the margin slides as the seed goes."""

from collections.abc import Sequence

import numpy as np

from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.chart import load_at, pressure_for
from zoneplan.rowunit.fixed import RESOLUTION_N, Spread, best_force_n, best_position_n, fit
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.need import (
    FieldAnswer,
    Need,
    downforce_at_fill_n,
    out_of_reach,
    settled_answer,
)
from zoneplan.rowunit.words import downforce, load, pressure
from zoneplan.units import percent, to

FILL_STEPS = 100


def spring_answer(machine: Machine, system: Springs, needs: Sequence[Need]) -> FieldAnswer:
    """Choose the field's one position, and say how far off each zone is at it."""
    field = spread_over_fill(machine, needs)
    best_n = best_position_n(system.positions_n, field)
    answers = []
    for need in needs:
        zone = spread_over_fill(machine, [need])
        own_n = best_position_n(system.positions_n, zone)
        said = _loss_words(best_n, zone, field)
        if own_n != best_n:
            said.append(f"On its own this zone would take the {load(own_n)} position.")
        answers.append(settled_answer(machine, need, best_n, (best_n, best_n), said))
    notes = (
        f"One spring position for the whole field: {load(best_n)}. {_fit_words(best_n, field)}",
    )
    return FieldAnswer(best_n, tuple(answers), notes)


def set_air_answer(machine: Machine, system: SetAir, needs: Sequence[Need]) -> FieldAnswer:
    """Choose each zone's pressure, and the one pressure that costs the field least."""
    least_n, most_n = system.chart[0][1], system.chart[-1][1]

    def reachable(wanted_n: float) -> float:  # costs least there, as cost has one valley
        return min(max(wanted_n, least_n), most_n)

    field = spread_over_fill(machine, needs)
    wanted_n = best_force_n(field)
    best_n = reachable(wanted_n)
    best_kpa = pressure_for(system.chart, best_n)
    answers = []
    for need in needs:
        zone = spread_over_fill(machine, [need])
        own_wanted_n = best_force_n(zone)
        own_n = reachable(own_wanted_n)
        said = out_of_reach([own_wanted_n], least_n, most_n)
        short = bool(said)
        if abs(own_n - best_n) > RESOLUTION_N:
            at_one = settled_answer(machine, need, best_kpa, (best_n, best_n), (), tell_gap=False)
            said.append(
                f"At the field's one pressure, {pressure(best_kpa)}, the margin here slides "
                f"from {load(at_one.margin_full_n)} to {load(at_one.margin_refill_n)}."
            )
            said.extend([*at_one.warnings, *_loss_words(best_n, zone, field)])
        own_kpa = pressure_for(system.chart, own_n)
        answers.append(settled_answer(machine, need, own_kpa, (own_n, own_n), said, tell_gap=short))
    seed_n = weight_n(machine, machine.fill_full) - weight_n(machine, machine.fill_refill)
    notes = (
        f"One pressure for the whole field: {pressure(best_kpa)}, {downforce(best_n)}. "
        f"{_fit_words(best_n, field)}",
        *out_of_reach([wanted_n], least_n, most_n),
        f"From a full hopper to refill every margin slides down by {load(seed_n)} with the seed.",
        _drift_words(system, best_kpa),
    )
    return FieldAnswer(best_kpa, tuple(answers), notes)


def spread_over_fill(machine: Machine, needs: Sequence[Need]) -> Spread:
    """Spread the zones' needs over the hopper, from full to refill.

    A zone meets every fill as often as any other, since seed goes by area: the fills are
    the middles of 100 equal steps.
    """
    middles = (np.arange(FILL_STEPS) + 0.5) / FILL_STEPS
    full_n = np.array([downforce_at_fill_n(machine, need, machine.fill_full) for need in needs])
    refill_n = np.array([downforce_at_fill_n(machine, need, machine.fill_refill) for need in needs])
    areas_ha = np.array([need.area_ha for need in needs])
    return Spread(
        needs_n=(full_n + np.outer(middles, refill_n - full_n)).ravel(),
        weights=np.tile(areas_ha / FILL_STEPS, FILL_STEPS),
        light_to_heavy=machine.light_to_heavy,
    )


def _fit_words(downforce_n: float, field: Spread) -> str:
    fits = fit(downforce_n, field)
    return (
        f"It leaves {percent(fits.light_share)} of the ground more than {load(RESOLUTION_N)} too "
        f"light and {percent(fits.heavy_share)} too heavy, from a full hopper to refill; too light "
        f"counts {field.light_to_heavy:g} to 1."
    )


def _loss_words(downforce_n: float, zone: Spread, field: Spread) -> list[str]:
    fits = fit(downforce_n, zone)
    shares = {"too light": fits.light_share, "too heavy": fits.heavy_share}
    missed = " and ".join(f"{percent(share)} {word}" for word, share in shares.items() if share > 0)
    if not missed:
        return []
    loss_share = fits.cost / fit(downforce_n, field).cost
    return [
        f"Of this zone's ground {missed}: {percent(loss_share)} of "
        "what the whole field loses by being too light or too heavy."
    ]


def _drift_words(system: SetAir, pressure_kpa: float) -> str:
    drift_kpa = system.drift_kpa_per_h * system.retrim_s / 3600
    lowest_kpa = max(system.chart[0][0], pressure_kpa - drift_kpa)
    highest_kpa = min(system.chart[-1][0], pressure_kpa + drift_kpa)
    clipped = lowest_kpa > pressure_kpa - drift_kpa or highest_kpa < pressure_kpa + drift_kpa
    return (
        f"Re-trimmed every {to(system.retrim_s, 'min', 'time'):.3g} min, the pressure drifts by "
        f"as much as {pressure(drift_kpa)}: downforce then lies between "
        f"{load(load_at(system.chart, lowest_kpa))} and "
        f"{load(load_at(system.chart, highest_kpa))}"
        f"{', as far as the chart goes.' if clipped else '.'}"
    )
