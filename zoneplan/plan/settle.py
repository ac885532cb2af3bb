"""From what zones ask at one moisture to what they are told: Setting, Wait or NoNumbers."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from zoneplan.notices import Notice, notice
from zoneplan.plan.chances import Left, left_of
from zoneplan.plan.headline import NOISE_N
from zoneplan.plan.model import OVERRIDE, Instruction, NoNumbers, Setting, Wait
from zoneplan.plan.override import overridden
from zoneplan.plan.requirement import (
    Basis,
    Requirement,
    judged,
    plannable,
    requirement_of,
    steady_speed_of,
    waits_when_wet,
    warnings_of,
)
from zoneplan.rowunit.balance import (
    HOPPER_RIGHT_SHARE,
    Demand,
    FieldOutcome,
    Outcome,
    load_at,
    refill_fill,
    seed_weight_n,
)
from zoneplan.rowunit.doubt import UNCHECKED_SD
from zoneplan.rowunit.machine import Machine, SetAir, Springs
from zoneplan.rowunit.systems import outcome_of
from zoneplan.rowunit.target import ENOUGH_SHARE, contact_share
from zoneplan.rules.rule import CONFIDENCES
from zoneplan.soil.workability import zone_fitness
from zoneplan.terms import Confidence, Fitness, Ground, Moisture
from zoneplan.zones.edit import Override
from zoneplan.zones.treatments import Treated
from zoneplan.zones.zone import Zone

_WARNED = ("rule-warns", "part-warned")
PART_SHARE = 0.02  # judged: a warning of less of a zone is the rounding of a map
UNLIKELY = 0.5  # a chance of less than half is told
PARTED_CHANCE = 0.3  # judged: two opinions that differ by less are one

OpenerLoads = Mapping[tuple[int, Moisture], tuple[float, float]]  # factor and doubt, by zone


class Answer(NamedTuple):
    """What a zone asks at one moisture, and what the machine does about it."""

    zone: Zone | Treated
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
    answers: Sequence[Answer], basis: Basis, moisture: Moisture, checked: OpenerLoads
) -> list[Instruction]:
    """Put answers into instructions, with the chances of each setting and its notices."""
    orders: list[Instruction] = []
    known: dict[tuple[int, float, float], Left] = {}  # what zones that ask the same are left with
    for zone, asked, got in answers:
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
    if warnings := tuple(_part_warned(zone, basis, moisture, by_rules.notices)):
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


def _part_warned(
    zone: Zone | Treated, basis: Basis, moisture: Moisture, known: Sequence[Notice]
) -> Iterator[Notice]:
    """What the stop rules warn of on part of a zone, though not on the mean of its ground."""
    parts = [(facts, site, m2) for facts, site, m2 in zone.composition if plannable(facts)]
    warned_m2: dict[Notice, float] = defaultdict(float)
    for facts, site, m2 in parts:
        for warning in warnings_of(basis, facts, site, moisture):
            warned_m2[warning] += m2
    whole_m2 = sum(m2 for _, _, m2 in parts)
    for warning, m2 in warned_m2.items():
        if warning not in known and m2 >= PART_SHARE * whole_m2:
            yield notice(
                "part-warned", rule=warning.rule, share=m2 / whole_m2, words=warning["words"]
            )


def _no_numbers(zone: Zone | Treated, moisture: Moisture) -> NoNumbers:
    ground = Ground(zone.facts.ground)
    return NoNumbers(
        ground, (notice("no-numbers", zone=zone.id, moisture=moisture, ground=str(ground)),)
    )


def _wait(zone: Zone | Treated, moisture: Moisture, requirement: Requirement) -> Wait:
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
                *_second_opinion(requirement),
            ],
        ),
    )


def _setting(
    zone: Zone | Treated, requirement: Requirement, outcome: Outcome, basis: Basis, left: Left
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
                *_test(requirement),
                *_second_opinion(requirement),
                *_window(zone, requirement, basis),
                *_packing(requirement, outcome, basis.machine),
                *_closing(requirement),
                *_doubt(requirement, left, outcome, basis.machine),
                *outcome.notices,
            ),
        ),
    )


def _placed(
    zone: Zone | Treated, moisture: Moisture, notices: Sequence[Notice]
) -> tuple[Notice, ...]:
    return tuple(dict.fromkeys(notice.at(zone=zone.id, moisture=moisture) for notice in notices))


def _command_n(machine: Machine, outcome: Outcome) -> float:
    """Downforce that the cab is told: what a setting gives, or what a target needs mid hopper."""
    if isinstance(machine.system, Springs):
        return outcome.setting
    if isinstance(machine.system, SetAir):
        return load_at(machine.system.chart, outcome.setting)
    return (outcome.downforce_full_n + outcome.downforce_refill_n) / 2


def _test(requirement: Requirement) -> list[Notice]:
    """Where the hand has to say whether the soil smears, with the odds."""
    if requirement.fitness is not Fitness.TEST:
        return []
    return [notice("squeeze-test", smear_chance=requirement.smear_chance)]


def _second_opinion(requirement: Requirement) -> list[Notice]:
    """Where the survey's own limits and water say another chance than the texture does."""
    survey = requirement.survey_chance
    if survey is None or abs(survey - requirement.smear_chance) < PARTED_CHANCE:
        return []
    return [
        notice("survey-differs", smear_chance=requirement.smear_chance, survey_chance=survey),
    ]


def _window(zone: Zone | Treated, requirement: Requirement, basis: Basis) -> list[Notice]:
    """Where the two sides of the margin cross, and what the target then comes to."""
    target = requirement.target
    by_hand = bool(requirement.reasons) and requirement.reasons[-1].kind == OVERRIDE
    if by_hand and target.gave_way is not None:
        return [
            notice(
                "own-number-outside",
                margin_n=target.margin_n,
                least_n=target.least_n,
                most_n=target.most_n,
            )
        ]
    if target.least_n <= target.most_n:
        return []
    share = contact_share(target.margin_n, requirement.swing_n)
    steady_mps = steady_speed_of(
        basis, zone.facts, zone.site, requirement.moisture, target.margin_n
    )
    code = "bears-little" if share >= ENOUGH_SHARE else "no-good-margin"
    return [
        notice(
            code,
            speed_mps=basis.conditions.speed_mps,
            most_n=target.most_n,
            least_n=target.least_n,
            contact_share=share,
            steady_mps=steady_mps,
        )
    ]


def _packing(requirement: Requirement, outcome: Outcome, machine: Machine) -> list[Notice]:
    """Where the margin that is really left is more than the soil bears, and what to do."""
    most_n = requirement.target.most_n
    left_n, fill = max((outcome.margin_full_n, "full"), (outcome.margin_refill_n, "at refill"))
    if left_n <= most_n + NOISE_N:
        return []
    over_n, hopper_n = left_n - most_n, seed_weight_n(machine, 1.0)
    fill_to = machine.fill_full - over_n / hopper_n if hopper_n else 0.0
    return [
        notice("packs", fill=fill, left_n=left_n, most_n=most_n, over_n=over_n),
        *(
            [notice("fill-less", fill_share=fill_to)]
            if fill == "full" and fill_to > machine.fill_refill
            else []
        ),
    ]


def _closing(requirement: Requirement) -> list[Notice]:
    """Where a dry choice lies outside the best band of the trial."""
    choice = requirement.closing
    if not choice.outside_best:
        return []
    return [
        notice(
            "closing-outside-best",
            load_n=choice.notch.load_n,
            beside=None if choice.beside is None else choice.beside.name,
        )
    ]


def _doubt(
    requirement: Requirement, left: Left, outcome: Outcome, machine: Machine
) -> list[Notice]:
    """Where the chance is under a half, and where the hopper alone is the reason."""
    notices = []
    if left.chances.right < UNLIKELY:
        notices.append(
            notice(
                "seldom-right",
                right_share=left.chances.right,
                light_share=left.chances.light,
                heavy_share=left.chances.heavy,
            )
        )
    if left.hopper_share < HOPPER_RIGHT_SHARE:
        fill = refill_fill(
            machine.fill_full,
            machine.fill_refill,
            seed_weight_n(machine, 1.0),
            outcome.margin_full_n,
            requirement.target.least_n,
            requirement.target.most_n,
        )
        if fill is not None:
            notices.append(notice("refill-sooner", fill_share=fill))
    if left.contact_refill_share < ENOUGH_SHARE:
        notices.append(notice("wheels-lift", up_share=1 - left.contact_refill_share))
    return notices


def waiting_share(zone: Zone, basis: Basis) -> float:
    """Share of a zone's planned ground that waits when wet, though the zone may not. [0 to 1]."""
    parts = [(facts, site, m2) for facts, site, m2 in zone.composition if plannable(facts)]
    whole_m2 = sum(m2 for _, _, m2 in parts)
    waiting_m2 = sum(m2 for facts, site, m2 in parts if waits_when_wet(basis, facts, site))
    return waiting_m2 / whole_m2 if whole_m2 else 0.0
