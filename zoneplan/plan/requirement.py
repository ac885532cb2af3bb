"""What one soil asks of a row unit at one moisture, before any machine has answered."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import NamedTuple

from zoneplan.field.shapes import Marks
from zoneplan.notices import Notice
from zoneplan.plan.soil_state import soil_state, survey_chance
from zoneplan.plan.swing_chain import Pass, chain, measured_swing, swing_factors
from zoneplan.rowunit.closing import ClosingChoice, choose_notch
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.opener_load import attachments_load_n
from zoneplan.rowunit.swing import MeasuredSwing, Swing, SwingFactors
from zoneplan.rowunit.target import (
    STEADY_SWINGS,
    Target,
    exact_target_n,
    light_to_heavy,
    margin_target,
    slid_most_n,
    steady_speed_mps,
)
from zoneplan.rules.choose import choose, judge, number_of, told_apart, warnings_in
from zoneplan.rules.rule import Choice, Reason, Rules, Situation
from zoneplan.soil.density import dense, excess_density_mg_m3
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.usual_day import between_columns, usual_share
from zoneplan.soil.water import AVAILABLE_SHARE
from zoneplan.terms import Fitness, Moisture, System, Tillage

REMEMBERED = 4096  # grounds whose answers are kept: a county has some hundreds, blends many


@dataclass(frozen=True)
class Conditions:
    """What the agronomist says of the day and the ground; the machine file gives the rest."""

    tillage: Tillage
    speed_mps: float
    depth_m: float
    residue_frac: float
    tiled: bool = False  # the ground is tile-drained


@dataclass(frozen=True, eq=False)
class Basis:
    """What every requirement of one plan rests on."""

    machine: Machine
    rules: Rules
    conditions: Conditions

    @cached_property
    def factors(self) -> SwingFactors:
        """What makes a swing, as the stored rules have it."""
        return swing_factors(self.rules)

    @cached_property
    def measured(self) -> MeasuredSwing | None:
        """The machine's own swing, where its file gives one."""
        return measured_swing(self.machine, self.conditions.tillage)

    @property
    def system(self) -> System:
        """What presses the row unit down."""
        return System(self.machine.system.kind)

    @cached_property
    def ruled(self) -> "Basis":
        """The first basis that the rules cannot tell from this: what they said there holds."""
        day, machine = self.conditions, self.machine
        numbers = {
            "speed_mps": day.speed_mps,
            "depth_m": day.depth_m,
            "residue_frac": day.residue_frac,
        }
        apart = day.tillage, machine.closing_wheel, *told_apart(self.rules, numbers)
        return _first_ruled(_RuledAlike(self.rules, self.system, apart, self))


@dataclass(frozen=True)
class _RuledAlike:
    """All that rules look at but the ground."""

    rules: Rules
    system: System
    apart: tuple[object, ...]  # tillage, closing wheel, and the limits that the day keeps
    basis: Basis = field(compare=False)


@lru_cache(maxsize=8)
def _first_ruled(alike: _RuledAlike) -> Basis:
    return alike.basis


@lru_cache(maxsize=8)
def basis_of(machine: Machine, rules: Rules, conditions: Conditions) -> Basis:
    """Give the basis of all plans that rest on the same: what one worked out serves the next."""
    return Basis(machine, rules, conditions)


@dataclass(frozen=True)
class Requirement:
    """What one soil asks at one moisture, before any machine has answered. Loads in newtons."""

    moisture: Moisture
    target: Target
    closing: ClosingChoice
    opener_load_n: float  # the model's, at the planned speed
    attachments_load_n: float
    swing: Swing
    swing_n: float  # at that opener load
    smear_chance: float
    survey_chance: float | None  # the survey's own opinion of it
    fitness: Fitness
    light_to_heavy: float
    reasons: tuple[Reason, ...]  # they add up to target.margin_n
    closing_reasons: tuple[Reason, ...]
    stop_reasons: tuple[Reason, ...]  # why to test or to wait
    notices: tuple[Notice, ...]

    @property
    def steady_n(self) -> float:
        """The margin that keeps the wheels down 98 % of the time."""
        return STEADY_SWINGS * self.swing_n


class _Column(NamedTuple):
    """The rules' own numbers for one soil at one moisture."""

    aim: Choice
    most: Choice
    closing: Choice
    smear: float


def plannable(facts: SoilFacts) -> bool:
    """Whether ground gets numbers."""
    return facts.ground == "soil" and facts.texture is not None


def usual_share_of(facts: SoilFacts, site: Marks, conditions: Conditions) -> float:
    """Share of the available water that is there on a usual planting day. [0 to 1]."""
    return usual_share(
        facts.drainage,
        tiled=conditions.tiled,
        gathers_water=site.gathers_water,
        steep=site.steep,
    )


@lru_cache(maxsize=REMEMBERED)
def requirement_of(basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture) -> Requirement:
    """Work out what plannable ground asks at one moisture.

    Parameters
    ----------
    basis : Basis
        Planter, rules and day.
    facts, site : SoilFacts, Marks
        The ground.
    moisture : Moisture
        The state that the hand finds there.
    """
    planned = pass_of(basis, facts, site, AVAILABLE_SHARE[moisture])
    column, swing_n = _column(basis.ruled, facts, site, moisture), planned.swing_n(basis.factors)
    target = margin_target(
        _number(column.aim),
        swing_n,
        planned.reference.swing_n(basis.factors),
        slid_most_n(_number(column.most), column.smear),
    )
    fitness, stop_reasons, stop_notices, _ = judged(basis, facts, site, moisture)
    closing = choose_notch(basis.machine.notches, _number(column.closing), moisture, column.smear)
    return Requirement(
        moisture=moisture,
        target=target,
        closing=closing,
        opener_load_n=planned.opener_load_n,
        attachments_load_n=attachments_n(basis, planned),
        swing=planned.swing(basis.factors),
        swing_n=swing_n,
        smear_chance=column.smear,
        survey_chance=survey_chance(facts) if moisture is Moisture.WET else None,
        fitness=fitness,
        light_to_heavy=light_to_heavy(moisture, column.smear) * _own_ratio(basis.machine),
        reasons=chain(basis.rules, basis.factors, planned, column.aim, column.most, target),
        closing_reasons=column.closing.reasons,
        stop_reasons=stop_reasons,
        notices=(
            *column.aim.notices,
            *column.most.notices,
            *column.closing.notices,
            *stop_notices,
        ),
    )


def bearing(basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture) -> Choice:
    """What plannable ground bears by the rules, and which of them say so, before it slides."""
    return choose(basis.rules.most, _situation(basis, facts, site, moisture))


def warnings_of(
    basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture
) -> tuple[Notice, ...]:
    """What the stop rules say to look out for on plannable ground at a moisture."""
    return judged(basis, facts, site, moisture).notices


class Judged(NamedTuple):
    """Whether plannable ground is fit at a moisture, why, and what to look out for."""

    fitness: Fitness
    reasons: tuple[Reason, ...]
    notices: tuple[Notice, ...]
    smear_chance: float


def judged(basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture) -> Judged:
    """Judge plannable ground by the stop rules, as `requirement_of` does."""
    return _judged(basis.ruled, facts, site, moisture)


@lru_cache(maxsize=REMEMBERED)
def _judged(basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture) -> Judged:
    situation = _situation(basis, facts, site, moisture)
    return Judged(*judge(basis.rules.stop, situation), situation.smear_chance)


def waits_when_wet(basis: Basis, facts: SoilFacts, site: Marks) -> bool:
    """Whether such ground, by itself, is too wet for a number when it is wet."""
    return judged(basis, facts, site, Moisture.WET).fitness is Fitness.WAIT


def warned_of(basis: Basis, facts: SoilFacts, site: Marks) -> frozenset[Notice]:
    """What any rules warn of on plannable ground, at any moisture."""
    return _warned_of(basis.ruled, facts, site)


@lru_cache(maxsize=REMEMBERED)
def _warned_of(basis: Basis, facts: SoilFacts, site: Marks) -> frozenset[Notice]:
    rules = basis.rules
    situations = [_situation(basis, facts, site, moisture) for moisture in Moisture]
    loads = (
        warnings_in(decides, situation)
        for decides in (rules.aim, rules.most, rules.closing)
        for situation in situations
    )
    stops = (judged(basis, facts, site, moisture).notices for moisture in Moisture)
    return frozenset(warning for notices in (*loads, *stops) for warning in notices)


def demands_n(
    basis: Basis, facts: SoilFacts, site: Marks, available_shares: Sequence[float]
) -> list[tuple[float, float]]:
    """Unrounded margin targets, and what opener, attachments and closing wheels carry. [N].

    Parameters
    ----------
    basis, facts, site : Basis, SoilFacts, Marks
        As for `requirement_of`.
    available_shares : sequence of float
        Any shares of the available water: numbers that are kept for three moistures are read
        between them. [0 to 1]
    """
    planned = pass_of(basis, facts, site, AVAILABLE_SHARE[Moisture.MOIST])
    swing, demands = planned.swing(basis.factors), []
    for share in available_shares:
        ruled = _ruled_at(basis.ruled, facts, site, share)
        opener_n = planned.opener_load_at_n(share)
        target_n = exact_target_n(
            ruled.aim_n, swing.at_n(opener_n), ruled.reference_swing_n, ruled.most_n
        )
        attached_n = attachments_load_n(
            basis.machine.attachment_reactions,
            planned.soil.moisture_ratio(share),
            planned.ground_ratio,
        )
        demands.append((target_n, opener_n + attached_n + ruled.closing_n))
    return demands


class _RuledAt(NamedTuple):
    """What the rules make of one soil at any moisture, however it is planted. [N]."""

    aim_n: float
    most_n: float  # less what it slides
    closing_n: float
    reference_swing_n: float


@lru_cache(maxsize=REMEMBERED)
def _ruled_at(basis: Basis, facts: SoilFacts, site: Marks, available_share: float) -> _RuledAt:
    soil = soil_state(facts)
    aim_n, most_n, closing_n = (
        between_columns(available_share, *by_moisture)
        for by_moisture in _ruled_n(basis, facts, site)
    )
    return _RuledAt(
        aim_n,
        slid_most_n(most_n, soil.smear_chance(available_share)),
        closing_n,
        Pass(soil, available_share).swing_n(basis.factors),
    )


@lru_cache(maxsize=REMEMBERED)
def _ruled_n(basis: Basis, facts: SoilFacts, site: Marks) -> tuple[tuple[float, float, float], ...]:
    """Aim, most and closing load by the rules, each dry, moist and wet. [N]."""
    dry, moist, wet = (_situation(basis, facts, site, moisture) for moisture in Moisture)
    rules = basis.rules
    return tuple(
        (number_of(decides, dry), number_of(decides, moist), number_of(decides, wet))
        for decides in (rules.aim, rules.most, rules.closing)
    )


def pass_of(
    basis: Basis,
    facts: SoilFacts,
    site: Marks,
    available_share: float,
    *,
    speed_mps: float | None = None,
) -> Pass:
    """Describe how the planter goes over some ground, at the planned speed or another."""
    soil, day, excess = soil_state(facts), basis.conditions, 0.0
    if facts.density_measured and facts.density_mg_m3 is not None:
        excess = excess_density_mg_m3(facts.density_mg_m3, soil.sand_frac, soil.clay_frac)
    return Pass(
        soil=soil,
        available_share=available_share,
        tillage=day.tillage,
        speed_mps=day.speed_mps if speed_mps is None else speed_mps,
        residue_frac=day.residue_frac,
        depth_m=day.depth_m,
        traffic=site.headland or site.track,
        excess_density_mg_m3=excess,
        system=basis.system,
        slope_frac=site.slope_frac or 0.0,
        measured=basis.measured,
    )


def attachments_n(basis: Basis, planned: Pass) -> float:
    """What the soil pushes up on coulters, cleaners and the like. [N]."""
    return attachments_load_n(
        basis.machine.attachment_reactions,
        planned.soil.moisture_ratio(planned.available_share),
        planned.ground_ratio,
    )


def opener_loads_at(
    basis: Basis, facts: SoilFacts, site: Marks, *, speed_mps: float
) -> list[float]:
    """What the soil pushes up on discs and attachments at a speed: dry, moist and wet. [N]."""
    passes = [
        pass_of(basis, facts, site, AVAILABLE_SHARE[moisture], speed_mps=speed_mps)
        for moisture in Moisture
    ]
    return [planned.opener_load_n + attachments_n(basis, planned) for planned in passes]


def steady_speed_of(
    basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture, margin_n: float
) -> float | None:
    """Fastest speed at which a margin keeps the wheels down 96 % of the time. [m/s]."""

    def swing_n_at(speed_mps: float) -> float:
        there = pass_of(basis, facts, site, AVAILABLE_SHARE[moisture], speed_mps=speed_mps)
        return there.swing_n(basis.factors)

    return steady_speed_mps(margin_n, basis.conditions.speed_mps, swing_n_at)


@lru_cache(maxsize=REMEMBERED)
def _column(basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture) -> _Column:
    rules, situation = basis.rules, _situation(basis, facts, site, moisture)
    return _Column(
        choose(rules.aim, situation),
        choose(rules.most, situation),
        choose(rules.closing, situation),
        situation.smear_chance,
    )


@lru_cache(maxsize=REMEMBERED)
def _situation(basis: Basis, facts: SoilFacts, site: Marks, moisture: Moisture) -> Situation:
    soil, conditions = soil_state(facts), basis.conditions
    return Situation(
        texture_shares=soil.shares,
        moisture=moisture,
        tillage=conditions.tillage,
        speed_mps=conditions.speed_mps,
        depth_m=conditions.depth_m,
        residue_frac=conditions.residue_frac,
        fragments_frac=facts.fragments_frac or 0.0,
        organic_pct=facts.organic_pct,
        dense=facts.density_measured and bool(dense(facts)),
        smear_chance=soil.smear_chance(AVAILABLE_SHARE[moisture]),
        plasticity_pct=soil.plasticity_pct,
        survey_smear_chance=survey_chance(facts),
        survey_plasticity_pct=facts.plasticity_index_pct,
        headland=site.headland,
        track=site.track,
        system=basis.system,
        closing_wheel=basis.machine.closing_wheel,
    )


def _own_ratio(machine: Machine) -> float:
    """What the machine file makes of the stock ratio of too light to too heavy."""
    return machine.light_to_heavy / 2.0


def _number(choice: Choice) -> float:
    assert choice.value is not None
    return choice.value
