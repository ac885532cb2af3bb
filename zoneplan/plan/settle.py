"""From what zones ask at one moisture to what they are told: Setting, Wait or NoNumbers."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from zoneplan.field.shapes import Marks
from zoneplan.notices import Notice, notice
from zoneplan.plan.chances import Left, left_of
from zoneplan.plan.model import Instruction, NoNumbers, Setting, Wait
from zoneplan.plan.override import overridden
from zoneplan.plan.requirement import (
    Basis,
    Conditions,
    Requirement,
    basis_of,
    judged,
    plannable,
    requirement_of,
)
from zoneplan.plan.zone_notices import part_warned, second_opinion, setting_notices
from zoneplan.rowunit.balance import (
    Demand,
    FieldOutcome,
    Outcome,
    load_at,
)
from zoneplan.rowunit.doubt import UNCHECKED_SD
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.systems import outcome_of
from zoneplan.rules.rule import CONFIDENCES, Rules
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.workability import zone_fitness
from zoneplan.terms import Confidence, Fitness, Ground, Moisture, Tillage
from zoneplan.zones.edit import Override
from zoneplan.zones.treatments import Treated
from zoneplan.zones.zone import Zone

_WARNED = ("rule-warns", "part-warned")

OpenerLoads = Mapping[tuple[int, Moisture], tuple[float, float]]  # factor and doubt, by zone


class Answer(NamedTuple):
    """What a zone asks at one moisture, and what the machine does about it."""

    ground: Zone | Treated
    asked: Requirement | None  # None without data
    got: Outcome | None  # None where it waits, too


def answer(
    zones: Sequence[Zone | Treated],
    required: Sequence[Requirement | None],
    basis: Basis,
    *,
    tell: bool = True,
) -> tuple[list[Answer], FieldOutcome]:
    """Answer every zone at one moisture. Asked at once, for springs answer for the field.

    Parameters
    ----------
    zones : sequence of Zone or Treated
        All of one field, or all that is treated alike in it.
    required : sequence of Requirement
        What each asks; None without data.
    basis : Basis
        What plants, and how fast.
    tell : bool
        Whether the machine's notices are wanted, too.
    """
    demands = [
        Demand(
            area_ha=zone.area_ha,
            margin_n=requirement.target.margin_n,
            opener_load_n=requirement.opener_load_n + requirement.attachments_load_n,
            closing_load_n=requirement.closing.notch.load_n,
            light_to_heavy=requirement.light_to_heavy,
            width_m=zone.width_m,
            length_m=zone.length_m,
        )
        for zone, requirement in zip(zones, required, strict=True)
        if requirement and requirement.fitness is not Fitness.WAIT
    ]
    field = outcome_of(basis.machine, demands, basis.conditions.speed_mps, tell=tell)
    outcomes = iter(field.outcomes)
    return [
        Answer(
            zone,
            requirement,
            next(outcomes) if requirement and requirement.fitness is not Fitness.WAIT else None,
        )
        for zone, requirement in zip(zones, required, strict=True)
    ], field


def instructions(
    zones: Sequence[Zone],
    answers: Sequence[Answer],
    basis: Basis,
    moisture: Moisture,
    checked: OpenerLoads,
) -> list[Instruction]:
    """Put answers into instructions, with the chances of each setting and its notices."""
    orders: list[Instruction] = []
    known: dict[tuple[int, float, float], Left] = {}  # what zones that ask the same are left with
    for zone, (_, asked, got) in zip(zones, answers, strict=True):
        if asked is None:
            orders.append(_no_numbers(zone, moisture))
        elif got is None:
            orders.append(_wait(zone, moisture, asked))
        else:
            sd_ln = checked.get((zone.id, moisture), (1.0, UNCHECKED_SD))[1]
            key = id(asked), got.setting, sd_ln
            if key not in known:
                known[key] = left_of(basis.machine, asked, got, sd_ln, basis.conditions.depth_m)
            orders.append(_setting(zone, asked, got, basis, known[key]))
    return orders


def ruled(ground: Zone | Treated, basis: Basis, moisture: Moisture) -> Requirement | None:
    """What ground that is treated alike asks by the rules; None without data."""
    if not plannable(ground.facts):
        return None
    requirement = requirement_of(basis, ground.facts, ground.site, moisture)
    return _judged(ground, basis, moisture, requirement)


def required(
    zone: Zone,
    by_rules: Requirement | None,
    basis: Basis,
    checked: OpenerLoads,
    overrides: Sequence[Override],
) -> Requirement | None:
    """What a zone asks by the rules, by hand checks and by a person; None without data.

    Parameters
    ----------
    zone : Zone
        One of a field.
    by_rules : Requirement
        What all ground asks that is treated with it: see `ruled`.
    basis : Basis
        What plants, by what rules, and how the day is meant to be.
    checked : mapping of (int, Moisture) to (float, float)
        What hand checks make of the opener load in a zone, and the doubt that is left.
    overrides : sequence of Override
        A person's numbers for this zone.
    """
    if by_rules is None or not plannable(zone.facts):
        return None
    requirement, moisture = by_rules, by_rules.moisture
    if (zone.id, moisture) in checked:
        factor = checked[zone.id, moisture][0]
        requirement = replace(
            requirement,
            opener_load_n=factor * by_rules.opener_load_n,
            attachments_load_n=factor * by_rules.attachments_load_n,
        )
    if warnings := tuple(part_warned(zone, basis, moisture, by_rules.notices)):
        requirement = replace(requirement, notices=(*by_rules.notices, *warnings))
    return overridden(
        requirement,
        [override for override in overrides if override.moisture == moisture],
        basis.machine,
    )


def _judged(
    ground: Zone | Treated, basis: Basis, moisture: Moisture, ruled: Requirement
) -> Requirement:
    """A zone waits where more than half of its ground waits; else its chance is that by area."""
    parts = [(facts, site, m2) for facts, site, m2 in ground.composition if plannable(facts)]
    if len(parts) < 2 or moisture is Moisture.DRY:
        return ruled
    verdicts = [(judged(basis, facts, site, moisture), m2) for facts, site, m2 in parts]
    whole_m2 = sum(m2 for _, m2 in verdicts)
    waiting_m2 = sum(m2 for verdict, m2 in verdicts if verdict.fitness is Fitness.WAIT)
    fitness = zone_fitness(waiting_m2 / whole_m2, ruled.fitness)
    saying = [(m2, verdict.reasons) for verdict, m2 in verdicts if verdict.fitness is fitness]
    return replace(
        ruled,
        smear_chance=sum(verdict.smear_chance * m2 for verdict, m2 in verdicts) / whole_m2,
        fitness=fitness,
        # A zone waits for the reason of the ground that waits, though the mean of it would not.
        stop_reasons=ruled.stop_reasons
        if fitness is ruled.fitness or not saying
        else max(saying, key=lambda part: part[0])[1],
    )


def _no_numbers(zone: Zone, moisture: Moisture) -> NoNumbers:
    ground = Ground(zone.facts.ground)
    return NoNumbers(
        ground, (notice("no-numbers", zone=zone.id, moisture=moisture, ground=str(ground)),)
    )


def _wait(zone: Zone, moisture: Moisture, requirement: Requirement) -> Wait:
    return Wait(
        wait_chance=requirement.smear_chance,
        survey_wait_chance=requirement.survey_chance,
        confidence=Confidence.JUDGED,
        reasons=requirement.stop_reasons,
        notices=_placed(
            zone,
            moisture,
            [
                *(notice for notice in requirement.notices if notice.code in _WARNED),
                *second_opinion(requirement),
            ],
        ),
    )


def _setting(
    zone: Zone, requirement: Requirement, outcome: Outcome, basis: Basis, left: Left
) -> Setting:
    target, notch = requirement.target, requirement.closing.notch
    chain = (*requirement.reasons, *requirement.closing_reasons)
    return Setting(
        margin_n=target.margin_n,
        margin_least_n=target.least_n,
        margin_steady_n=requirement.steady_n,
        margin_most_n=target.most_n,
        gave_way=target.gave_way,
        swing_n=requirement.swing_n,
        closing_load_n=notch.load_n,
        closing_notch=notch.name,
        opener_load_n=requirement.opener_load_n,
        opener_least_n=left.opener_range_n[0],
        opener_most_n=left.opener_range_n[1],
        attachments_load_n=requirement.attachments_load_n,
        downforce_full_n=outcome.downforce_full_n,
        downforce_refill_n=outcome.downforce_refill_n,
        setting=outcome.setting,
        reached=outcome.reached,
        margin_full_n=outcome.margin_full_n,
        margin_refill_n=outcome.margin_refill_n,
        command_n=_command_n(basis.machine, outcome),
        inside_chance=left.chances.right,
        light_chance=left.chances.light,
        heavy_chance=left.chances.heavy,
        contact_share=left.contact_share,
        contact_full_share=left.contact_full_share,
        contact_refill_share=left.contact_refill_share,
        shallow_share=left.shallow_share,
        state=requirement.fitness,
        wait_chance=requirement.smear_chance,
        survey_wait_chance=requirement.survey_chance,
        confidence=Confidence(max((reason.confidence for reason in chain), key=CONFIDENCES.index)),
        reasons=requirement.reasons,
        closing_reasons=requirement.closing_reasons,
        stop_reasons=requirement.stop_reasons,
        notices=_placed(
            zone,
            requirement.moisture,
            (
                *requirement.notices,
                *setting_notices(zone, requirement, outcome, left, basis),
                *outcome.notices,
            ),
        ),
    )


def _placed(zone: Zone, moisture: Moisture, notices: Sequence[Notice]) -> tuple[Notice, ...]:
    return tuple(dict.fromkeys(notice.at(zone=zone.id, moisture=moisture) for notice in notices))


def _command_n(machine: Machine, outcome: Outcome) -> float:
    """Downforce that the cab is told: what a setting gives, or what a target needs mid hopper."""
    if isinstance(machine.system, Springs):
        return outcome.setting
    if isinstance(machine.system, SetAir):
        return load_at(machine.system.chart, outcome.setting)
    return (outcome.downforce_full_n + outcome.downforce_refill_n) / 2


def on_loam(machine: Machine, rules: Rules) -> tuple[Demand, Outcome]:
    """Tell what loam asks of a planter at its usual speed and depth, and what it does there.

    Loam, moist, tilled and level, is what the opener load is counted from.
    """
    day = Conditions(Tillage.TILLED, machine.speed_mps, machine.depth_m, residue_frac=0.0)
    basis = basis_of(machine, rules, day)
    asked = requirement_of(basis, SoilFacts(texture="loam"), Marks(), Moisture.MOIST)
    demand = Demand(
        area_ha=1.0,
        margin_n=asked.target.margin_n,
        opener_load_n=asked.opener_load_n + asked.attachments_load_n,
        closing_load_n=asked.closing.notch.load_n,
        light_to_heavy=asked.light_to_heavy,
    )
    return demand, outcome_of(machine, [demand], machine.speed_mps).outcomes[0]
