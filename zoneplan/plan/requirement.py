"""What one soil asks of a row unit at one moisture, before any machine has answered."""

import functools
from collections.abc import Callable
from dataclasses import dataclass

from zoneplan.field.shapes import Site
from zoneplan.rowunit import contact
from zoneplan.rowunit.balance import downforce_needed_n, weight_n
from zoneplan.rowunit.machine import Machine, Notch
from zoneplan.rowunit.opener import UNCERTAIN_SHARE, opener_load_n
from zoneplan.rowunit.systems import setting_kind
from zoneplan.rules.choose import choose
from zoneplan.rules.rule import Choice, Rules, Situation
from zoneplan.soil.density import dense
from zoneplan.soil.moisture import moisture_shift, past_plastic_limit
from zoneplan.soil.strength import strength_ratio
from zoneplan.soil.texture import GROUP_OF, SoilFacts
from zoneplan.soil.water import WETNESSES
from zoneplan.terms import Moisture
from zoneplan.zones.marks import marks_of
from zoneplan.zones.zone import Decision

Choices = Callable[[Situation], tuple[Choice, Choice]]  # of the margin and of closing


@dataclass(frozen=True)
class Conditions:
    """What the agronomist says of the day and the ground; the machine file gives the rest."""

    tillage: str
    speed_mps: float
    depth_m: float
    residue_frac: float


@dataclass(frozen=True)
class Requirement:
    """What one soil asks at one moisture, before any machine has answered."""

    margin: Choice
    closing: Choice
    notch: Notch | None
    opener_n: tuple[float, float, float]  # as reckoned, least, most
    swing: contact.Swing


def choices_by(rules: Rules) -> Choices:
    """Choose by these rules, once for every situation: a thousand soils have a few dozen."""
    return functools.cache(
        lambda situation: (choose(rules.margin, situation), choose(rules.closing, situation))
    )


def shift_of(site: Site) -> float:
    """Share of the available water that a site has more of, or less."""
    return moisture_shift(site.gathers_water, site.steep)


def requirement_of(
    facts: SoilFacts,
    site: Site,
    machine: Machine,
    choices: Choices,
    conditions: Conditions,
    wetness: Moisture,
) -> Requirement:
    """What plannable ground asks at one moisture."""
    margin, closing = choices(_situation(facts, site, machine, conditions, wetness))
    return Requirement(
        margin=margin,
        closing=closing,
        notch=_nearest_notch(machine, closing.value),
        opener_n=opener_loads_n(facts, site, machine, conditions, wetness),
        swing=contact.swing(machine, conditions.tillage, conditions.speed_mps, site.slope_frac),
    )


def opener_loads_n(
    facts: SoilFacts, site: Site, machine: Machine, conditions: Conditions, wetness: Moisture
) -> tuple[float, float, float]:
    """The opener load as reckoned, then the least and the most it may be."""
    strength = strength_ratio(facts, wetness, shift_of(site))
    reckoned, least, most = (
        opener_load_n(
            ratio,
            conditions.depth_m,
            conditions.speed_mps,
            conditions.tillage,
            machine.disc_diameter_m,
        )
        for ratio in (strength.ratio, strength.least, strength.most)
    )
    return reckoned, least * (1 - UNCERTAIN_SHARE), most * (1 + UNCERTAIN_SHARE)


def plannable(facts: SoilFacts) -> bool:
    """Whether ground gets numbers."""
    return facts.ground == "soil" and facts.texture is not None


def decide(
    facts: SoilFacts, site: Site, machine: Machine, choices: Choices, conditions: Conditions
) -> Decision:
    """What tells this ground from its neighbour: the loads a hand would set or a cab would show."""
    if not plannable(facts):
        return Decision(facts.ground if facts.ground != "soil" else "no data", ())
    loads: list[float] = []
    needs: list[float | None] = []
    stopped: list[str] = []
    holds_margin = setting_kind(machine) == "margin target"
    weight_at_half_n = weight_n(machine, (machine.fill_full + machine.fill_refill) / 2)
    for wetness in WETNESSES:
        required = requirement_of(facts, site, machine, choices, conditions, wetness)
        if required.margin.value is None or required.notch is None:
            stopped.append(wetness)
            needs.append(None)
            continue
        carried_n = (required.margin.value, required.opener_n[0], required.notch.load_n)
        needs.append(downforce_needed_n(*carried_n, weight_at_half_n))
        loads += [required.margin.value, required.notch.load_n]
        if not holds_margin:
            loads.append(sum(carried_n))
    label = f"soil, wait when {stopped}" if stopped else "soil"
    return Decision(label, tuple(loads), marks_of(site), tuple(needs))


def _situation(
    facts: SoilFacts, site: Site, machine: Machine, conditions: Conditions, wetness: Moisture
) -> Situation:
    assert facts.texture is not None
    return Situation(
        texture=facts.texture,
        texture_group=GROUP_OF[facts.texture],
        wetness=wetness,
        tillage=conditions.tillage,
        speed_mps=conditions.speed_mps,
        depth_m=conditions.depth_m,
        residue_frac=conditions.residue_frac,
        fragments_frac=facts.fragments_frac or 0.0,
        dense=bool(dense(facts)),
        past_plastic_limit=past_plastic_limit(facts, wetness, shift_of(site)),
        headland=site.headland or site.track,
        system=machine.system.kind,
    )


def share_of(machine: Machine, notch: Notch) -> float:
    """Where a notch lies in the lever's range, by its load: 0 for the lightest, 1 the heaviest."""
    lightest_n, heaviest_n = machine.notches[0].load_n, machine.notches[-1].load_n
    return (notch.load_n - lightest_n) / ((heaviest_n - lightest_n) or 1.0)


def _nearest_notch(machine: Machine, share: float | None) -> Notch | None:
    """The notch whose load is nearest to this share of the lever's range."""
    if share is None:
        return None
    lightest, heaviest = machine.notches[0].load_n, machine.notches[-1].load_n
    wanted_n = lightest + share * (heaviest - lightest)
    return min(machine.notches, key=lambda notch: abs(notch.load_n - wanted_n))
