"""From what zones ask at one moisture to what they are told: Setting, Wait or NoNumbers."""

from collections.abc import Sequence
from dataclasses import replace

from zoneplan.notices import Notice, notice
from zoneplan.plan.model import Instruction, NoNumbers, Setting, Wait
from zoneplan.plan.override import overridden
from zoneplan.plan.requirement import (
    Choices,
    Conditions,
    Requirement,
    plannable,
    requirement_of,
)
from zoneplan.rowunit import contact
from zoneplan.rowunit.chart import load_at
from zoneplan.rowunit.demand import Demand, FieldOutcome, Outcome
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.systems import outcome_of
from zoneplan.rules.rule import CONFIDENCES
from zoneplan.terms import Confidence, Ground, Moisture
from zoneplan.units import MPS_PER_MPH
from zoneplan.zones.edit import Override
from zoneplan.zones.edited import Overrides
from zoneplan.zones.zone import Zone

SLOWEST_MPS = 1 * MPS_PER_MPH  # judged: nobody plants more slowly
NOISE_N = 0.5  # a smaller miss is arithmetic


def settle(
    zones: Sequence[Zone],
    machine: Machine,
    choices: Choices,
    conditions: Conditions,
    moisture: Moisture,
    scale: float,
    overrides: Overrides,
) -> tuple[list[Instruction], FieldOutcome]:
    """Tell every zone what to do at one moisture. Asked at once, for springs answer for the field.

    Parameters
    ----------
    zones : sequence of Zone
        Of one field.
    machine, choices, conditions, moisture : Machine, Choices, Conditions, Moisture
        What plants, by what rules, and how the day is meant to be.
    scale : float
        What a hand check makes of every opener load. [factor]
    overrides : mapping of int to sequence of Override
        A person's numbers, by zone.
    """
    required = [
        _required(zone, machine, choices, conditions, moisture, scale, overrides.get(zone.id, ()))
        for zone in zones
    ]
    demands = [
        Demand(
            zone.area_ha,
            asked.margin.value,
            asked.opener_n[0],
            asked.notch.load_n,
            zone.width_m,
            zone.length_m,
        )
        for zone, asked in zip(zones, required, strict=True)
        if asked and asked.margin.value is not None and asked.notch is not None
    ]
    field = outcome_of(machine, demands, conditions.speed_mps)
    outcomes = iter(field.outcomes)
    told: list[Instruction] = []
    for zone, asked in zip(zones, required, strict=True):
        if asked is None:
            told.append(_no_numbers(zone, moisture))
        elif asked.margin.value is None or asked.notch is None:
            told.append(_wait(zone, moisture, asked))
        else:
            told.append(_setting(zone, moisture, asked, next(outcomes), machine, conditions))
    return told, field


def _required(
    zone: Zone,
    machine: Machine,
    choices: Choices,
    conditions: Conditions,
    moisture: Moisture,
    scale: float,
    overrides: Sequence[Override],
) -> Requirement | None:
    """What a zone asks by the rules, by a hand check and by a person; None without data."""
    if not plannable(zone.facts):
        return None
    ruled = requirement_of(zone.facts, zone.site, machine, choices, conditions, moisture)
    asked = overridden(ruled, [it for it in overrides if it.wetness == moisture], machine)
    calculated, least, most = (scale * load_n for load_n in asked.opener_n)
    return replace(asked, opener_n=(calculated, least, most))


def _no_numbers(zone: Zone, moisture: Moisture) -> NoNumbers:
    ground = Ground(zone.facts.ground)
    return NoNumbers(
        ground, (notice("no-numbers", zone=zone.id, moisture=moisture, ground=str(ground)),)
    )


def _wait(zone: Zone, moisture: Moisture, asked: Requirement) -> Wait:
    return Wait(
        confidence=Confidence(asked.margin.confidence),
        reasons=asked.margin.reasons,
        notices=_placed(zone, moisture, asked.margin.notices),
    )


def _setting(
    zone: Zone,
    moisture: Moisture,
    asked: Requirement,
    got: Outcome,
    machine: Machine,
    conditions: Conditions,
) -> Setting:
    margin_n, notch = asked.margin.value, asked.notch
    assert margin_n is not None
    assert notch is not None
    least_n, steady_n = contact.margin_window_n(asked.swing.load_n)
    share = contact.contact_share(margin_n, asked.swing.load_n)
    return Setting(
        margin_n=margin_n,
        margin_least_n=least_n,
        margin_steady_n=steady_n,
        margin_most_n=asked.margin.most,
        contact_share=share,
        swing_n=asked.swing.load_n,
        closing_load_n=notch.load_n,
        closing_notch=notch.name,
        opener_load_n=asked.opener_n[0],
        opener_least_n=asked.opener_n[1],
        opener_most_n=asked.opener_n[2],
        downforce_full_n=got.downforce_full_n,
        downforce_refill_n=got.downforce_refill_n,
        setting=got.setting,
        reached=got.reached,
        margin_full_n=got.margin_full_n,
        margin_refill_n=got.margin_refill_n,
        command_n=_command_n(machine, got),
        confidence=Confidence(
            max(asked.margin.confidence, asked.closing.confidence, key=CONFIDENCES.index)
        ),
        reasons=asked.margin.reasons,
        closing_reasons=asked.closing.reasons,
        notices=_placed(
            zone,
            moisture,
            (
                *asked.margin.notices,
                *asked.closing.notices,
                *_contact(asked, margin_n, least_n, share, machine, conditions),
                *_packing(margin_n, asked.margin.most, got),
                *got.notices,
            ),
        ),
    )


def _placed(zone: Zone, moisture: Moisture, notices: Sequence[Notice]) -> tuple[Notice, ...]:
    return tuple(dict.fromkeys(it.at(zone=zone.id, moisture=moisture) for it in notices))


def _command_n(machine: Machine, got: Outcome) -> float:
    """Downforce that the cab is told: what a setting gives, or what a target needs mid hopper."""
    if isinstance(machine.system, Springs):
        return got.setting
    if isinstance(machine.system, SetAir):
        return load_at(machine.system.chart, got.setting)
    return (got.downforce_full_n + got.downforce_refill_n) / 2


def _contact(
    asked: Requirement,
    margin_n: float,
    least_n: float,
    share: float,
    machine: Machine,
    conditions: Conditions,
) -> list[Notice]:
    """Where the two sides of the margin cross there is no good number, and the plan says so."""
    most_n, speed_mps = asked.margin.most, conditions.speed_mps
    if most_n is not None and least_n > most_n:
        return [notice("no-good-margin", speed_mps=speed_mps, least_n=least_n, most_n=most_n)]
    if margin_n < least_n:
        steady_mps = contact.steady_speed_mps(machine, conditions.tillage, margin_n, asked.swing)
        by_hand = asked.margin.reasons[-1].kind == "override"
        return [
            notice(
                "little-contact",
                speed_mps=speed_mps,
                up_share=1 - share,
                steady_mps=steady_mps if steady_mps >= SLOWEST_MPS else None,
                by_hand=by_hand,
                least_n=least_n,
            )
        ]
    paid = contact.bought_with_load(margin_n, asked.swing.load_n)
    return [paid] if paid else []


def _packing(margin_n: float, most_n: float | None, got: Outcome) -> list[Notice]:
    """Where the margin that is really left, or asked for, is more than the soil bears."""
    left_n, fill = max((got.margin_full_n, "full"), (got.margin_refill_n, "at refill"))
    if most_n is None or max(left_n, margin_n) <= most_n + NOISE_N:
        return []
    if left_n <= most_n + NOISE_N:
        return [notice("target-packs", margin_n=margin_n, most_n=most_n, over_n=margin_n - most_n)]
    return [notice("packs", fill=fill, left_n=left_n, most_n=most_n, over_n=left_n - most_n)]
