"""plan_field(): the single pass from ground to what every zone is told."""

import functools
from collections.abc import Hashable, Iterator, Sequence
from functools import lru_cache

from zoneplan.field.overlay import Cut, overlay
from zoneplan.field.shapes import Field, MarkLayer, Marks, SoilLayer
from zoneplan.notices import Notice, notice
from zoneplan.plan.hand_checked import hand_checked
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.plan.override import override_notice, refuse_faulty
from zoneplan.plan.requirement import (
    REMEMBERED,
    Basis,
    Conditions,
    Requirement,
    basis_of,
    demands_n,
    plannable,
    usual_share_of,
)
from zoneplan.plan.settle import Answer, answer, instructions, required, ruled
from zoneplan.plan.soil_state import soil_state
from zoneplan.plan.zone_notices import delineation_notices, with_notices
from zoneplan.progress import step
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.machine import Machine, setting_kind, setting_unit, settle_distance_m
from zoneplan.rowunit.observation import Observation
from zoneplan.rules.rule import Reason, Rules
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Ground, Moisture, SettingKind
from zoneplan.units import N_PER_LBF
from zoneplan.zones.apply_edits import Overrides, edited
from zoneplan.zones.build import Delineation, build_zones
from zoneplan.zones.edit import Edit
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.graph import GroundNeed
from zoneplan.zones.marks import drawn_by
from zoneplan.zones.treatments import Treated, alike, treated_as, with_treatments
from zoneplan.zones.zone import NOTHING_ASKED, Zone, Zoning


@lru_cache(maxsize=REMEMBERED)
def ground_need(basis: Basis, facts: SoilFacts, site: Marks) -> GroundNeed:
    """Work out what tells some ground from its neighbour, unrounded.

    A machine that holds a margin asks for the target; one that holds a setting for the
    downforce with the hopper half full. Ground that waits is asked at its ceiling, at the
    small weight that its chance leaves it.

    Parameters
    ----------
    basis, facts, site : Basis, SoilFacts, Marks
        Planter, rules and day, and the ground.
    """
    drawn = drawn_by(site)
    if not plannable(facts):
        kind = Ground(facts.ground)
        return GroundNeed(Ground.NO_DATA if kind is Ground.SOIL else kind, drawn)
    machine = basis.machine
    weight_at_half_n = weight_n(machine, (machine.fill_full + machine.fill_refill) / 2)
    usual = usual_share_of(facts, site, basis.conditions)
    shares = (AVAILABLE_SHARE[Moisture.DRY], usual, AVAILABLE_SHARE[Moisture.WET])
    holds_margin = setting_kind(machine) is SettingKind.MARGIN_TARGET
    dry_n, usual_n, wet_n = (
        target_n if holds_margin else target_n + carried_n - weight_at_half_n
        for target_n, carried_n in demands_n(basis, facts, site, shares)
    )
    wait_chance = soil_state(facts).smear_chance(AVAILABLE_SHARE[Moisture.WET])
    return GroundNeed(Ground.SOIL, drawn, (dry_n, usual_n, wet_n), wait_chance)


_STEP_N = 5 * N_PER_LBF  # loads are printed to 5 lb


def print_keys(answers: Sequence[Sequence[Answer]], *, one_setting: bool) -> list[Hashable]:
    """What would be printed for each zone at all moistures.

    Parameters
    ----------
    answers : sequence
        What every zone asks and gets, moisture by moisture.
    one_setting : bool
        Whether one may serve the field: then it is whether that is too light, right or too heavy.
    """
    return [
        tuple(_key(answer, one_setting) for answer in zone) for zone in zip(*answers, strict=True)
    ]


def _key(answer: Answer, one_setting: bool) -> Hashable:
    ground, asked, got = answer
    if asked is None:
        return Ground(ground.facts.ground)
    if got is None:
        return "wait"
    target, notch = asked.target, asked.closing.notch.name
    if one_setting:
        left_n = (got.margin_full_n + got.margin_refill_n) / 2
        light, heavy = left_n < target.least_n, left_n > target.most_n
        return (round(got.setting), notch, light, heavy, asked.fitness)
    loads_n = (target.margin_n, target.least_n, target.most_n)
    return (*(round(load_n / _STEP_N) for load_n in loads_n), notch, asked.fitness)


FOLLOW_M = 100.0  # judged: shorter ground gets no zone of its own, however fast the system
TRANSITIONS = 5  # judged: a zone should be several changes of target long


def plan_field(
    field: Field,
    layers: Sequence[SoilLayer],
    machine: Machine,
    rules: Rules,
    conditions: Conditions,
    observations: Sequence[Observation] = (),
    marks: Sequence[MarkLayer] = (),
    zoning: Zoning = NOTHING_ASKED,
    edits: Sequence[Edit] = (),
    planned: Moisture | None = None,
    cut: Cut | None = None,
    ground: FinestGround | None = None,
) -> Plan:
    """Turn soil layers into settings for every zone of one field, at dry, moist and wet.

    Parameters
    ----------
    field, layers : Field, sequence of SoilLayer
        The fittest first: where two overlap the earlier one wins, property by property.
    machine, rules, conditions : Machine, Rules, Conditions
        What plants, what to aim for, and how the day is meant to be.
    observations : sequence of Observation
        Hand checks in the field; they move all opener loads by their worth.
    marks : sequence of MarkLayer
        Headland, wheel tracks, drawn zones, the lie of the land. Where two say something of
        the same, the earlier one wins.
    zoning : Zoning, optional
        How small, how thin and how many the zones may be.
    edits : sequence of Edit, optional
        What a person changed, in the order it was done.
    planned : Moisture, optional
        The state that zones are drawn for above all; else the usual planting day.
    cut : Cut, optional
        What `overlay` made of these layers and marks, where it is known already.
    ground : FinestGround, optional
        The pieces of that cut, with what an earlier plan found out of them.

    Raises
    ------
    LayerError
        When no layer meets the field.
    MachineError
        When an override or a hand check does not fit the machine or the field.
    """
    refuse_faulty(edits, machine)
    if cut is None:
        step("Laying the layers over the field")
        cut = overlay(field, layers, marks)
    basis = basis_of(machine, rules, conditions)

    @functools.cache
    def need_of(facts: SoilFacts, site: Marks) -> GroundNeed:
        return ground_need(basis, facts, site)

    @functools.cache
    def by_rules(ground: Treated, moisture: Moisture) -> Requirement | None:
        return ruled(ground, basis, moisture)

    grounds: list[Treated] = []  # what the zones that were drawn last are treated as

    def treat(zones: Sequence[Zone]) -> None:
        nonlocal grounds
        grounds = treated_as(zones, alike(zones, need_of, planned))

    def printed(zones: Sequence[Zone]) -> list[Hashable]:
        treat(zones)
        distinct = list(dict.fromkeys(grounds))  # far fewer than zones
        answers = []
        for moisture in Moisture:
            asked = [by_rules(ground, moisture) for ground in distinct]
            answers.append(answer(distinct, asked, basis, tell=False)[0])
        keys = dict(zip(distinct, print_keys(answers, one_setting=one_setting), strict=True))
        return [keys[ground] for ground in grounds]

    one_setting = setting_kind(machine) is not SettingKind.MARGIN_TARGET
    step("Drawing zones")
    follow_m2 = machine.width_m * _follow_m(machine, conditions.speed_mps)
    delineation = build_zones(
        ground or FinestGround(cut.pieces),
        need_of,
        printed,
        planned=planned,
        least_area_m2=follow_m2 if zoning.least_area_m2 is None else zoning.least_area_m2,
        least_width_m=machine.width_m if zoning.least_width_m is None else zoning.least_width_m,
        most_zones=zoning.most_zones,
        straighten_m=machine.width_m / 2,
    )
    changed, overrides = edited(delineation.zones, cut.pieces, edits)
    checked, check_notices = hand_checked(changed.zones, basis, observations)
    step("Settling every zone")
    if edits:
        treat(changed.zones)
    settled = {
        moisture: answer(
            changed.zones,
            [
                required(
                    zone,
                    by_rules(ground, moisture),
                    basis,
                    checked,
                    overrides.get(zone.id, ()),
                )
                for zone, ground in zip(changed.zones, grounds, strict=True)
            ],
            basis,
        )
        for moisture in Moisture
    }
    answers = {moisture: zone_answers for moisture, (zone_answers, _) in settled.items()}
    keys = print_keys(list(answers.values()), one_setting=one_setting)
    zones = with_treatments(changed.zones, keys)
    orders = {
        moisture: instructions(zones, answers[moisture], basis, moisture, checked)
        for moisture in Moisture
    }
    settings = tuple(
        ZoneSetting(
            zone=with_notices(
                zone, basis, need_of, waits=isinstance(orders[Moisture.WET][i], Wait)
            ),
            moistures={moisture: orders[moisture][i] for moisture in Moisture},
            usual_share=usual_share_of(zone.facts, zone.site, conditions)
            if plannable(zone.facts)
            else None,
        )
        for i, zone in enumerate(zones)
    )
    notices = (
        *([notice("generic-machine")] if machine.generic else []),
        *field.notes,
        *(note.of(layer.name) for layer in layers for note in layer.notes),
        *(note.of(layer.name) for layer in marks for note in layer.notes),
        *cut.notes,
        *delineation_notices(delineation, zoning.most_zones),
        *changed.notes,
        *_overrides(settings, overrides),
        *([notice("margin-system-answers")] if _margin_control(machine, delineation) else []),
        *check_notices,
        *(
            note.at(moisture=moisture)
            for moisture in Moisture
            for note in settled[moisture][1].notices
        ),
        *_own_rules(rules),
        notice("contact-basis"),
        *([notice("no-till-swing")] if conditions.tillage == "no-till" else []),
        notice("hand-test"),
    )
    return Plan(
        field=field,
        machine=machine,
        conditions=conditions,
        rules=rules,
        settings=settings,
        uncovered_ha=cut.uncovered_ha,
        setting_kind=setting_kind(machine),
        setting_unit=setting_unit(machine),
        best={moisture: settled[moisture][1].best for moisture in Moisture},
        notices=notices,
        counts=delineation.counts,
        drawn=delineation.drawn,
        stop=delineation.stop,
        disagreements=cut.disagreements,
        supplied=cut.supplied,
    )


def _overrides(settings: Sequence[ZoneSetting], overrides: Overrides) -> Iterator[Notice]:
    for setting in settings:
        for edit in overrides.get(setting.zone.id, ()):
            chain = _chain(setting.moistures[Moisture(edit.moisture)], edit.decides)
            yield override_notice(setting.zone.id, edit, chain, waits=plannable(setting.zone.facts))


def _chain(instruction: Instruction, decides: str) -> Sequence[Reason]:
    if isinstance(instruction, Setting):
        return instruction.reasons if decides == "margin" else instruction.closing_reasons
    return instruction.reasons if isinstance(instruction, Wait) else ()


def _own_rules(rules: Rules) -> list[Notice]:
    """Tell where the rules are not the stock ones."""
    own = tuple(f"{rule.id} ({rule.origin})" for rule in rules.every if rule.origin != "stock")
    notices = [notice("rules-not-stock", rules=own)] if own else []
    return [*notices, *([notice("rules-dropped", rules=rules.dropped)] if rules.dropped else [])]


def _follow_m(machine: Machine, speed_mps: float) -> float:
    """How long ground must be, along the pass, to be worth a zone."""
    return max(FOLLOW_M, TRANSITIONS * settle_distance_m(machine, speed_mps))


def _margin_control(machine: Machine, delineation: Delineation) -> bool:
    """Whether what the zones do not keep is found by the system itself."""
    return setting_kind(machine) is SettingKind.MARGIN_TARGET and delineation.drawn.rms_n > 0
