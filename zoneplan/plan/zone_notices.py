"""What is told of a zone: of its ground and its setting; and of the zones as they were drawn."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from zoneplan.field.shapes import Marks
from zoneplan.notices import Notice, notice
from zoneplan.plan.chances import Left
from zoneplan.plan.headline import NOISE_N
from zoneplan.plan.model import OVERRIDE
from zoneplan.plan.requirement import (
    Basis,
    Requirement,
    plannable,
    steady_speed_of,
    usual_share_of,
    waits_when_wet,
    warned_of,
    warnings_of,
)
from zoneplan.rowunit.balance import HOPPER_RIGHT_SHARE, Outcome, refill_fill, seed_weight_n
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.target import ENOUGH_SHARE, contact_share
from zoneplan.soil.texture import SoilFacts, texture_point
from zoneplan.terms import Fitness, Moisture
from zoneplan.units import M2_PER_HA
from zoneplan.zones.build import Delineation
from zoneplan.zones.graph import GroundNeed
from zoneplan.zones.join import STEP_N
from zoneplan.zones.marks import marks_of
from zoneplan.zones.straighten import Edges
from zoneplan.zones.zone import Zone

LEAST_SAID_HA = 0.1  # judged: less is the rounding of a soil map
TOLD_SHARE = 0.01  # of a zone: less is the rounding of a map
USUAL_STEP = 0.05  # of the available water: less from moist is not worth a word
PART_SHARE = 0.02  # judged: a warning of less of a zone is the rounding of a map
UNLIKELY = 0.5  # a chance of less than half is told
PARTED_CHANCE = 0.3  # judged: two opinions that differ by less are one
SOME_SHARE = 0.01  # judged: less of the field in narrow parts than this is not worth a note
HARDLY_N = 0.5  # a need that strays by less is one need


NeedOf = Callable[[SoilFacts, Marks], GroundNeed]


def with_notices(zone: Zone, basis: Basis, need_of: NeedOf, *, waits: bool) -> Zone:
    """What its site changes, and what it took in, is told with a zone's own facts.

    Parameters
    ----------
    zone, basis : Zone, Basis
        What is planned, and by what.
    need_of : callable
        What ground needs.
    waits : bool
        Whether the zone waits when it is wet.
    """
    if not plannable(zone.facts):
        return zone
    notes = (
        *zone.facts.notes,
        *_site_notices(zone, basis),
        *_absorbed(zone, basis, need_of, waits),
    )
    return replace(zone, facts=replace(zone.facts, notes=tuple(dict.fromkeys(notes))))


def _site_notices(zone: Zone, basis: Basis) -> Iterator[Notice]:
    site, facts = zone.site, zone.facts
    if facts.texture is not None and (facts.sand_frac is None or facts.clay_frac is None):
        sand_frac, clay_frac = texture_point(facts)
        yield notice(
            "texture-from-class", texture=facts.texture, sand_frac=sand_frac, clay_frac=clay_frac
        )
    usual = usual_share_of(zone.facts, site, basis.conditions)
    if abs(usual - 0.75) >= USUAL_STEP:
        yield notice("usual-day", available_share=usual)
    if site.slope_frac and site.slope_frac >= TOLD_SHARE / 2:
        yield notice("slope-swings", wider_share=min(site.slope_frac, 0.10))
    for mark, share in zone.marked:
        if mark not in marks_of(site) and share >= TOLD_SHARE:
            yield notice("mark-without-zone", share=share, mark=mark.name)
    waiting = _waiting_share(zone, basis)
    if TOLD_SHARE <= waiting <= 0.5:
        yield notice("part-waits", share=waiting)


def _waiting_share(zone: Zone, basis: Basis) -> float:
    """Share of a zone's planned ground that waits when wet, though the zone may not. [0 to 1]."""
    parts = [(facts, site, m2) for facts, site, m2 in zone.composition if plannable(facts)]
    whole_m2 = sum(m2 for _, _, m2 in parts)
    waiting_m2 = sum(m2 for facts, site, m2 in parts if waits_when_wet(basis, facts, site))
    return waiting_m2 / whole_m2 if whole_m2 else 0.0


def _absorbed(zone: Zone, basis: Basis, need_of: NeedOf, waits: bool) -> Iterator[Notice]:
    """What is in a zone that asks for something else."""
    if len(zone.composition) < 2:
        return
    own = need_of(zone.facts, zone.site)
    if own.needs_n is None:
        return
    warned = warned_of(basis, zone.facts, zone.site)
    for facts, site, m2 in zone.composition:
        area_ha = m2 / M2_PER_HA  # true, for the field's metric system keeps areas
        other = need_of(facts, site)
        if area_ha < LEAST_SAID_HA or other.needs_n is None:
            continue
        waits_unlike = waits_when_wet(basis, facts, site) != waits
        differs_n = max(abs(a - b) for a, b in zip(own.needs_n, other.needs_n, strict=True))
        rules = sorted(
            {str(warning["words"]) for warning in warned_of(basis, facts, site) - warned}
        )
        if waits_unlike or differs_n >= STEP_N or rules:
            yield notice(
                "absorbed-soil",
                zone=zone.id,
                area_ha=area_ha,
                soil=facts.named or facts.texture or facts.ground,
                waits=waits_unlike,
                differs_n=differs_n if differs_n >= STEP_N else 0.0,
                warned=tuple(rules),
            )


def part_warned(
    zone: Zone, basis: Basis, moisture: Moisture, known: Sequence[Notice]
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


def setting_notices(
    zone: Zone, requirement: Requirement, outcome: Outcome, left: Left, basis: Basis
) -> list[Notice]:
    """What is told of a setting besides what rules and machine say of it."""
    return [
        *_test(requirement),
        *second_opinion(requirement),
        *_window(zone, requirement, basis),
        *_packing(requirement, outcome, basis.machine),
        *_closing(requirement),
        *_doubt(requirement, left, outcome, basis.machine),
    ]


def _test(requirement: Requirement) -> list[Notice]:
    """Where the hand has to say whether the soil smears, with the odds."""
    if requirement.fitness is not Fitness.TEST:
        return []
    return [notice("squeeze-test", smear_chance=requirement.smear_chance)]


def second_opinion(requirement: Requirement) -> list[Notice]:
    """Where the survey's own limits and water say another chance than the texture does."""
    survey = requirement.survey_chance
    if survey is None or abs(survey - requirement.smear_chance) < PARTED_CHANCE:
        return []
    return [
        notice("survey-differs", smear_chance=requirement.smear_chance, survey_chance=survey),
    ]


def _window(zone: Zone, requirement: Requirement, basis: Basis) -> list[Notice]:
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


def delineation_notices(delineation: Delineation, most_zones: int | None) -> Iterator[Notice]:
    """Tell what the zones keep, or that one treatment serves; and where they are not as asked.

    Zones without numbers keep nothing, and are not counted in what is kept.
    """
    zones = delineation.drawn.zones
    rated = [zone for zone in delineation.zones if plannable(zone.facts)]
    treatments = {zone.treatment for zone in rated}
    unrated = zones - len(rated)
    shares = {
        count.zones - unrated: count.share for count in delineation.counts if count.zones > unrated
    }
    if shares and len(treatments) == 1:
        rms_n = delineation.counts[-1].rms_n
        yield notice("uniform-ground" if rms_n < HARDLY_N else "one-treatment", rms_n=rms_n)
    elif shares:
        # One keeps nothing of what it is measured by: that is not worth a word.
        fewer = max((count for count in shares if 1 < count < len(rated)), default=None)
        yield notice(
            "zones-keep",
            zones=len(rated),
            treatments=len(treatments),
            kept_share=delineation.drawn.share,
            rms_n=delineation.drawn.rms_n,
            fewer=fewer,
            fewer_share=None if fewer is None else shares[fewer],
        )
    if most_zones is not None and zones > most_zones:
        yield notice("more-zones-than-asked", zones=zones, asked=most_zones)
    if delineation.edges in (Edges.WOULD_NOT_TILE, Edges.WOULD_BE_NARROW):
        yield notice("edges-not-straightened", would=str(delineation.edges))
    if delineation.narrow_share >= SOME_SHARE:
        yield notice("thin-parts-left", share=delineation.narrow_share)
