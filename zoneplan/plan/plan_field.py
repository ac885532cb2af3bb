"""plan_field(): the single pass from ground to what every zone is told."""

import functools
from collections.abc import Iterator, Sequence
from dataclasses import replace

from zoneplan.errors import MachineError
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import Field, MarkLayer, Site, SoilLayer
from zoneplan.notices import Notice, notice
from zoneplan.plan.absorbed import absorbed
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.plan.override import override_notice, refuse_faulty
from zoneplan.plan.requirement import (
    Conditions,
    choices_by,
    decide,
    opener_loads_n,
    plannable,
    requirement_of,
    shift_of,
)
from zoneplan.plan.settle import settle
from zoneplan.progress import step
from zoneplan.rowunit import contact
from zoneplan.rowunit.calibrate import Observation, scale_from
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.margin_control_systems import section_width_m, settle_distance_m
from zoneplan.rowunit.systems import setting_kind, setting_unit
from zoneplan.rules.rule import Reason, Rules
from zoneplan.soil.density import dense
from zoneplan.soil.strength import strength_ratio
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Moisture, SettingKind
from zoneplan.units import N_PER_LBF
from zoneplan.zones.delineate import build_zones
from zoneplan.zones.edit import Edit
from zoneplan.zones.edited import Overrides, edited
from zoneplan.zones.kept import KEPT_SHARE
from zoneplan.zones.marks import marks_of
from zoneplan.zones.zone import NOTHING_ASKED, Decision, Zone, Zoned, Zoning

ALIKE_N = 20 * N_PER_LBF  # agronomy judgement: a smaller difference is no new zone
FOLLOW_M = 100.0  # judged: shorter ground gets no zone of its own, however fast the system
TRANSITIONS = 5  # judged: a zone should be several changes of target long
STRAIGHTEN_M = 5.0  # judged: edges may move by half a section, but no further than maps are true


def plan_field(
    field: Field,
    layers: Sequence[SoilLayer],
    machine: Machine,
    rules: Rules,
    conditions: Conditions,
    observation: Observation | None = None,
    marks: Sequence[MarkLayer] = (),
    zoning: Zoning = NOTHING_ASKED,
    edits: Sequence[Edit] = (),
) -> Plan:
    """Turn soil layers into settings for every zone of one field, at dry, moist and wet.

    Parameters
    ----------
    field, layers : Field, sequence of SoilLayer
        Where two layers overlap the earlier one wins.
    machine, rules, conditions : Machine, Rules, Conditions
        What plants, what to aim for, and how the day is meant to be.
    observation : Observation, optional
        One hand check in the field; all opener loads are scaled through it.
    marks : sequence of MarkLayer
        Headland, wheel tracks, drawn zones, the lie of the land. Where two say something of
        the same, the earlier one wins.
    zoning : Zoning, optional
        How small, how thin and how many the zones may be.
    edits : sequence of Edit, optional
        What a person changed, in the order it was done.

    Raises
    ------
    LayerError
        When no layer meets the field.
    MachineError
        When an override or the observation does not fit the machine or the field.
    """
    refuse_faulty(edits, machine)
    step("Laying the layers over the field")
    cut = overlay(field, layers, marks)
    choices = choices_by(rules)
    follow_m2 = machine.width_m * _follow_m(machine, conditions.speed_mps)

    @functools.cache
    def decided(facts: SoilFacts, site: Site) -> Decision:
        return decide(facts, site, machine, choices, conditions)

    def warned(facts: SoilFacts, site: Site) -> frozenset[Notice]:
        asked = (requirement_of(facts, site, machine, choices, conditions, it) for it in Moisture)
        return frozenset(
            told for it in asked for told in it.margin.notices if told.code == "rule-warns"
        )

    step("Drawing zones")
    zoned = build_zones(
        cut.pieces,
        decided,
        alike_n=ALIKE_N,
        least_area_m2=follow_m2 if zoning.least_area_m2 is None else zoning.least_area_m2,
        least_width_m=machine.width_m if zoning.least_width_m is None else zoning.least_width_m,
        most_zones=zoning.most_zones,
        straighten_m=min(section_width_m(machine) / 2, STRAIGHTEN_M),
    )
    zoned, overrides = edited(zoned, cut.pieces, edits)
    zones = zoned.zones
    inside = absorbed(zones, cut.pieces, decided, warned, ALIKE_N)
    scale, scale_notice = _scale(zones, machine, conditions, observation)
    step("Settling every zone")
    settled = {
        moisture: settle(zones, machine, choices, conditions, moisture, scale, overrides)
        for moisture in Moisture
    }
    settings = tuple(
        ZoneSetting(
            zone=_with_notes(zone, inside[i]),
            moistures={moisture: settled[moisture][0][i] for moisture in Moisture},
        )
        for i, zone in enumerate(zones)
    )
    notices = (
        *field.notes,
        *(note.of(layer.name) for layer in layers for note in layer.notes),
        *(note.of(layer.name) for layer in marks for note in layer.notes),
        *cut.notes,
        *zoned.notes,
        *_overrides(settings, overrides),
        *([notice("margin-system-answers")] if _margin_control(machine, zoned) else []),
        *([scale_notice] if scale_notice else []),
        *(
            told.at(moisture=moisture)
            for moisture in Moisture
            for told in settled[moisture][1].notices
        ),
        *_own_rules(rules),
        _contact_basis(machine, conditions),
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
        kept=zoned.kept,
        disagreements=cut.disagreements,
    )


def _overrides(settings: Sequence[ZoneSetting], overrides: Overrides) -> Iterator[Notice]:
    for setting in settings:
        for edit in overrides.get(setting.zone.id, ()):
            chain = _chain(setting.moistures[Moisture(edit.wetness)], edit.decides)
            yield override_notice(setting.zone.id, edit, chain, waits=plannable(setting.zone.facts))


def _chain(told: Instruction, decides: str) -> Sequence[Reason]:
    if isinstance(told, Setting):
        return told.reasons if decides == "margin" else told.closing_reasons
    return told.reasons if isinstance(told, Wait) else ()


def _own_rules(rules: Rules) -> list[Notice]:
    """Tell where the rules are not the stock ones."""
    every = (*rules.margin.rules, *rules.closing.rules)
    own = tuple(f"{rule.id} ({rule.origin})" for rule in every if rule.origin != "stock")
    found = [notice("rules-not-stock", rules=own)] if own else []
    return [*found, *([notice("rules-dropped", rules=rules.dropped)] if rules.dropped else [])]


def _contact_basis(machine: Machine, conditions: Conditions) -> Notice:
    swing = contact.swing(machine, conditions.tillage, conditions.speed_mps)
    return notice(
        "contact-basis",
        swing_n=swing.load_n,
        known_n=swing.known_n,
        known_at_mps=swing.known_at_mps,
        measured=swing.measured,
        tillage=conditions.tillage,
    )


def _follow_m(machine: Machine, speed_mps: float) -> float:
    """How long ground must be, along the pass, to be worth a zone."""
    return max(FOLLOW_M, TRANSITIONS * settle_distance_m(machine, speed_mps))


def _margin_control(machine: Machine, zoned: Zoned) -> bool:
    """Whether the zones keep little because the system finds the rest by itself."""
    most_kept = max((kept for _, kept in zoned.kept), default=1.0)
    return setting_kind(machine) == SettingKind.MARGIN_TARGET and most_kept < KEPT_SHARE


def _scale(
    zones: Sequence[Zone],
    machine: Machine,
    conditions: Conditions,
    observation: Observation | None,
) -> tuple[float, Notice | None]:
    """How far one hand check moves every opener load, and what tells so."""
    if observation is None:
        return 1.0, None
    seen = [zone for zone in zones if zone.id == observation.zone]
    if not seen or not plannable(seen[0].facts):
        numbered = ", ".join(str(zone.id) for zone in zones if plannable(zone.facts))
        raise MachineError(
            f"The observation is of zone {observation.zone}, which this plan has no numbers for.\n"
            f"Name one of: {numbered}."
        )
    standing = replace(conditions, speed_mps=0.0)  # the row unit was stopped for the check
    modelled_n, _, _ = opener_loads_n(
        seen[0].facts, seen[0].site, machine, standing, observation.wetness
    )
    return scale_from(observation, machine, modelled_n)


def _with_notes(zone: Zone, inside: Sequence[Notice]) -> Zone:
    """What was assumed of a zone, and what its site changes, is told with its own facts."""
    if not plannable(zone.facts):
        return zone
    assumed = [*strength_ratio(zone.facts, Moisture.DRY).notes]
    if dense(zone.facts) is None:
        assumed.append(notice("density-not-checked"))
    notes = tuple(dict.fromkeys((*zone.facts.notes, *assumed, *_site_notices(zone), *inside)))
    return replace(zone, facts=replace(zone.facts, notes=notes))


def _site_notices(zone: Zone) -> list[Notice]:
    site, shift = zone.site, shift_of(zone.site)
    found = []
    if shift:
        found.append(
            notice("lie-shifts-water", gathers=site.gathers_water, available_share=abs(shift))
        )
    wider_share = contact.swing_factor(site.slope_frac or 0.0) - 1
    if wider_share >= 0.005:
        found.append(notice("slope-swings", wider_share=wider_share))
    return [
        *found,
        *(
            notice("mark-without-zone", share=share, mark=mark.name)
            for mark, share in zone.marked
            if mark not in marks_of(site) and share >= 0.01
        ),
    ]
