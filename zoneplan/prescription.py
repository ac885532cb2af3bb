"""plan_field(): the single pass from ground to settings; Plan and its parts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from zoneplan.errors import MachineError
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import Field, MarkLayer, Site, SoilLayer
from zoneplan.rowunit import contact
from zoneplan.rowunit.calibrate import Observation, scale_from
from zoneplan.rowunit.machine import Machine, Notch
from zoneplan.rowunit.opener import UNCERTAIN_SHARE, opener_load_n
from zoneplan.rowunit.systems import (
    Answer,
    FieldAnswer,
    Need,
    answer,
    setting_kind,
    setting_unit,
    settle_distance_m,
)
from zoneplan.rules.choose import choose
from zoneplan.rules.rule import CONFIDENCES, Choice, Reason, Rules, Situation
from zoneplan.soil.density import dense
from zoneplan.soil.moisture import moisture_shift, past_plastic_limit
from zoneplan.soil.strength import strength_ratio
from zoneplan.soil.texture import GROUP_OF, SoilFacts
from zoneplan.soil.water import WETNESSES
from zoneplan.units import N_PER_LBF, to
from zoneplan.zones.delineate import build_zones
from zoneplan.zones.marks import marks_of
from zoneplan.zones.zone import Decision, Zone


@dataclass(frozen=True)
class Conditions:
    """What the agronomist says of the day and the ground; the machine file gives the rest."""

    tillage: str
    speed_mps: float
    depth_m: float
    residue_frac: float


@dataclass(frozen=True)
class MoistureSetting:
    """All that is decided for one zone at one wetness. Loads are per row; None = no number."""

    margin_n: float | None  # the target
    margin_least_n: float | None  # below this the wheels leave the ground too often
    margin_most_n: float | None  # above this the soil packs
    contact_share: float | None  # of time, at the target and the planned speed
    closing_load_n: float | None
    closing_notch: str | None
    opener_load_n: float | None  # the soil's push on the openers
    opener_least_n: float | None  # where two strength models and the level's doubt may put it
    opener_most_n: float | None
    downforce_full_n: float | None  # needed with the hopper full
    downforce_refill_n: float | None  # needed when the hopper wants refilling
    setting: float | None  # what to set, in the plan's setting_unit
    reached: bool | None  # whether the target holds from full to refill
    margin_full_n: float | None  # what the setting really leaves, hopper full
    margin_refill_n: float | None
    confidence: str | None
    reasons: tuple[Reason, ...]  # they add up to margin_n
    closing_reasons: tuple[Reason, ...]  # they add up to the share of the closing range
    warnings: tuple[str, ...]

    @property
    def wait(self) -> bool:
        """Whether a stop rule held: too wet, no number."""
        return any(reason.kind == "stop" for reason in self.reasons)


@dataclass(frozen=True)
class ZoneSetting:
    """One zone and its settings. Ground without soil data has the three, all empty."""

    zone: Zone
    moistures: Mapping[str, MoistureSetting]  # "dry", "moist", "wet", in that order


@dataclass(frozen=True)
class Plan:
    """A finished plan: everything that a file or a screen may show."""

    field: Field
    machine: Machine
    conditions: Conditions
    rules: Rules
    settings: tuple[ZoneSetting, ...]
    uncovered_ha: float
    setting_kind: str  # "spring position", "air pressure", "margin target"
    setting_unit: str  # "N" or "kPa"
    best: Mapping[str, float | None]  # the field's one setting at each wetness, if one is held
    notes: tuple[str, ...]


ALIKE_N = 20 * N_PER_LBF  # agronomy judgement: a smaller difference is no new zone
FOLLOW_M = 100.0  # judged: shorter ground gets no zone of its own, however fast the system
TRANSITIONS = 5  # judged: a zone should be several changes of target long
LOW_CONTACT = 0.95  # judged: below this share of the time the plan warns
HAND_TEST = (
    "wet: whether a soil still crumbles when wet is an estimate. Squeeze soil from planting "
    "depth: if it sticks to the palm, or a ball dropped from the waist stays whole, wait."
)


@dataclass(frozen=True)
class _Want:
    """What one soil wants at one wetness, before any machine has answered."""

    margin: Choice
    closing: Choice
    notch: Notch | None
    opener_n: tuple[float, float, float]  # as reckoned, least, most
    swing: contact.Swing


def plan_field(
    field: Field,
    layers: Sequence[SoilLayer],
    machine: Machine,
    rules: Rules,
    conditions: Conditions,
    observation: Observation | None = None,
    marks: Sequence[MarkLayer] = (),
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

    Raises
    ------
    LayerError
        When no layer meets the field.
    """
    pieces, uncovered_ha = overlay(field, layers, marks)
    zones = build_zones(
        pieces,
        lambda facts, site: _decide(facts, site, machine, rules, conditions),
        alike_n=ALIKE_N,
        least_area_m2=machine.width_m * _follow_m(machine, conditions.speed_mps),
        least_width_m=machine.width_m,
    )
    scale, scale_note = _scale(zones, machine, conditions, observation)
    by_wetness = {
        wetness: _settle(zones, machine, rules, conditions, wetness, scale) for wetness in WETNESSES
    }
    settings = tuple(
        ZoneSetting(
            zone=_with_notes(zone),
            moistures={wetness: by_wetness[wetness][0][i] for wetness in WETNESSES},
        )
        for i, zone in enumerate(zones)
    )
    notes = [
        *field.notes,
        *(f"{layer.name}: {note}" for layer in layers for note in layer.notes),
        *(f"{layer.name}: {note}" for layer in marks for note in layer.notes),
        *([scale_note] if scale_note else []),
        *_once({wetness: by_wetness[wetness][1].notes for wetness in WETNESSES}),
        HAND_TEST,
    ]
    return Plan(
        field=field,
        machine=machine,
        conditions=conditions,
        rules=rules,
        settings=settings,
        uncovered_ha=uncovered_ha,
        setting_kind=setting_kind(machine),
        setting_unit=setting_unit(machine),
        best={wetness: by_wetness[wetness][1].best for wetness in WETNESSES},
        notes=tuple(notes),
    )


def _follow_m(machine: Machine, speed_mps: float) -> float:
    """How long ground must be, along the pass, to be worth a zone."""
    return max(FOLLOW_M, TRANSITIONS * settle_distance_m(machine, speed_mps))


def _once(notes: Mapping[str, Sequence[str]]) -> list[str]:
    """Each note once, with the wetnesses it holds for unless it holds for all."""
    when: dict[str, list[str]] = {}
    for wetness, said in notes.items():
        for note in said:
            when.setdefault(note, []).append(wetness)
    return [
        note if len(held) == len(notes) else f"{', '.join(held)}: {note}"
        for note, held in when.items()
    ]


def _situation(
    facts: SoilFacts, site: Site, machine: Machine, conditions: Conditions, wetness: str
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
        past_plastic_limit=past_plastic_limit(facts, wetness, _shift(site)),
        headland=site.headland or site.track,
        system=machine.system.kind,
    )


def _shift(site: Site) -> float:
    return moisture_shift(site.gathers_water, site.steep)


def _want(
    facts: SoilFacts,
    site: Site,
    machine: Machine,
    rules: Rules,
    conditions: Conditions,
    wetness: str,
) -> _Want:
    situation = _situation(facts, site, machine, conditions, wetness)
    closing = choose(rules.closing, situation)
    return _Want(
        margin=choose(rules.margin, situation),
        closing=closing,
        notch=_nearest_notch(machine, closing.value),
        opener_n=_opener_loads_n(facts, site, machine, conditions, wetness),
        swing=contact.swing(machine, conditions.tillage, conditions.speed_mps, site.slope_frac),
    )


def _opener_loads_n(
    facts: SoilFacts, site: Site, machine: Machine, conditions: Conditions, wetness: str
) -> tuple[float, float, float]:
    """The opener load as reckoned, then the least and the most it may be."""
    strength = strength_ratio(facts, wetness, _shift(site))
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


def _nearest_notch(machine: Machine, share: float | None) -> Notch | None:
    """The notch whose load is nearest to this share of the lever's range."""
    if share is None:
        return None
    lightest, heaviest = machine.notches[0].load_n, machine.notches[-1].load_n
    wanted_n = lightest + share * (heaviest - lightest)
    return min(machine.notches, key=lambda notch: abs(notch.load_n - wanted_n))


def _plannable(facts: SoilFacts) -> bool:
    return facts.ground == "soil" and facts.texture is not None


def _decide(
    facts: SoilFacts, site: Site, machine: Machine, rules: Rules, conditions: Conditions
) -> Decision:
    """What tells this ground from its neighbour: the loads a hand would set or a cab would show."""
    if not _plannable(facts):
        return Decision(facts.ground if facts.ground != "soil" else "no data", ())
    loads: list[float] = []
    stopped: list[str] = []
    holds_margin = setting_kind(machine) == "margin target"
    for wetness in WETNESSES:
        want = _want(facts, site, machine, rules, conditions, wetness)
        if want.margin.value is None or want.notch is None:
            stopped.append(wetness)
            continue
        loads += [want.margin.value, want.notch.load_n]
        if not holds_margin:
            loads.append(want.margin.value + want.opener_n[0] + want.notch.load_n)
    label = f"soil, wait when {stopped}" if stopped else "soil"
    return Decision(label, tuple(loads), marks_of(site))


def _settle(
    zones: Sequence[Zone],
    machine: Machine,
    rules: Rules,
    conditions: Conditions,
    wetness: str,
    scale: float,
) -> tuple[list[MoistureSetting], FieldAnswer]:
    """Every zone's setting at one wetness. Asked at once, for springs answer for the field."""
    wants: list[_Want | None] = []
    for zone in zones:
        want = (
            _want(zone.facts, zone.site, machine, rules, conditions, wetness)
            if _plannable(zone.facts)
            else None
        )
        wants.append(want and replace(want, opener_n=_scaled(want.opener_n, scale)))
    needs = [
        Need(
            zone.area_ha,
            want.margin.value,
            want.opener_n[0],
            want.notch.load_n,
            zone.width_m,
            zone.length_m,
        )
        for zone, want in zip(zones, wants, strict=True)
        if want and want.margin.value is not None and want.notch is not None
    ]
    field_answer = answer(machine, needs, conditions.speed_mps)
    answers = iter(field_answer.answers)
    settings = []
    for zone, want in zip(zones, wants, strict=True):
        if want is None:
            settings.append(_no_numbers(zone.facts))
        elif want.margin.value is None or want.notch is None:
            settings.append(_waiting(want))
        else:
            settings.append(_set(want, next(answers), conditions))
    return settings, field_answer


def _scaled(loads_n: tuple[float, float, float], scale: float) -> tuple[float, float, float]:
    """Loads moved through a hand check."""
    reckoned, least, most = (scale * load_n for load_n in loads_n)
    return reckoned, least, most


_EMPTY = MoistureSetting(
    *(None,) * 16,
    reasons=(),
    closing_reasons=(),
    warnings=(),
)


def _no_numbers(facts: SoilFacts) -> MoistureSetting:
    kind = "soil without texture data" if facts.ground == "soil" else facts.ground
    return replace(_EMPTY, warnings=(f"No numbers here: {kind}.",))


def _waiting(want: _Want) -> MoistureSetting:
    return replace(
        _EMPTY,
        confidence=want.margin.confidence,
        reasons=want.margin.reasons,
        warnings=want.margin.warnings,
    )


def _set(want: _Want, got: Answer, conditions: Conditions) -> MoistureSetting:
    assert want.margin.value is not None
    assert want.notch is not None
    least_n, _ = contact.margin_window_n(want.swing.load_n)
    share = contact.contact_share(want.margin.value, want.swing.load_n)
    return MoistureSetting(
        margin_n=want.margin.value,
        margin_least_n=least_n,
        margin_most_n=want.margin.most,
        contact_share=share,
        closing_load_n=want.notch.load_n,
        closing_notch=want.notch.name,
        opener_load_n=want.opener_n[0],
        opener_least_n=want.opener_n[1],
        opener_most_n=want.opener_n[2],
        downforce_full_n=got.downforce_full_n,
        downforce_refill_n=got.downforce_refill_n,
        setting=got.setting,
        reached=got.reached,
        margin_full_n=got.margin_full_n,
        margin_refill_n=got.margin_refill_n,
        confidence=max(want.margin.confidence, want.closing.confidence, key=CONFIDENCES.index),
        reasons=want.margin.reasons,
        closing_reasons=want.closing.reasons,
        warnings=(
            *want.margin.warnings,
            *want.closing.warnings,
            *_contact_warnings(want, least_n, share, conditions.speed_mps),
            *got.warnings,
        ),
    )


def _contact_warnings(want: _Want, least_n: float, share: float, speed_mps: float) -> list[str]:
    """Where the two sides of the margin cross there is no good number, and the plan says so."""
    speed = f"{to(speed_mps, 'mph', 'speed'):.3g} mph"
    least = f"{to(least_n, 'lb', 'force'):.0f} lb"
    most_n = want.margin.most
    if most_n is not None and least_n > most_n:
        return [
            f"No margin is good at {speed}: steady contact wants {least}, "
            f"the soil bears {to(most_n, 'lb', 'force'):.0f} lb. Slow down, or wait."
        ]
    if share < LOW_CONTACT:
        return [
            f"At {speed} the gauge wheels carry load about {share:.0%} of the time at this "
            f"target; {least} or a slower pass would make it 96 %."
        ]
    assert want.margin.value is not None
    paid = contact.bought_with_load(want.margin.value, want.swing.load_n)
    return [paid] if paid else []


def _scale(
    zones: Sequence[Zone],
    machine: Machine,
    conditions: Conditions,
    observation: Observation | None,
) -> tuple[float, str | None]:
    """How far one hand check moves every opener load, and the sentence that says so."""
    if observation is None:
        return 1.0, None
    seen = [zone for zone in zones if zone.id == observation.zone]
    if not seen or not _plannable(seen[0].facts):
        numbered = ", ".join(str(zone.id) for zone in zones if _plannable(zone.facts))
        raise MachineError(
            f"The observation is of zone {observation.zone}, which this plan has no numbers for.\n"
            f"Name one of: {numbered}."
        )
    standing = replace(conditions, speed_mps=0.0)  # the row unit was stopped for the check
    modelled_n, _, _ = _opener_loads_n(
        seen[0].facts, seen[0].site, machine, standing, observation.wetness
    )
    return scale_from(observation, machine, modelled_n)


def _with_notes(zone: Zone) -> Zone:
    """What was assumed of a zone, and what its site changes, is told with its own facts."""
    if not _plannable(zone.facts):
        return zone
    assumed = list(strength_ratio(zone.facts, WETNESSES[0]).notes)
    if dense(zone.facts) is None:
        assumed.append("bulk density unknown: not checked for dense soil")
    notes = tuple(dict.fromkeys((*zone.facts.notes, *assumed, *_site_notes(zone))))
    return replace(zone, facts=replace(zone.facts, notes=notes))


def _site_notes(zone: Zone) -> list[str]:
    site, shift = zone.site, _shift(zone.site)
    notes = []
    if shift:
        lie = "water gathers here" if site.gathers_water else "steep ground sheds water"
        way = "wetter" if shift > 0 else "drier"
        notes.append(
            f"{lie}: planned {100 * abs(shift):.0f} % of available water {way}, "
            "but no wetter than wet"
        )
    wider_pct = 100 * (contact.swing_factor(site.slope_frac or 0.0) - 1)
    if wider_pct >= 0.5:
        notes.append(f"it slopes: the gauge-wheel load is taken to swing {wider_pct:.0f} % wider")
    notes += [
        f"{100 * share:.0f} % of it is {mark}, too small or too thin for a zone of its own"
        for mark, share in zone.marked
        if mark not in marks_of(site) and share >= 0.01
    ]
    return notes
