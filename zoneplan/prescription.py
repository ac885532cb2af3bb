"""plan_field(): the single pass from ground to settings; Plan and its parts."""

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from zoneplan.errors import MachineError
from zoneplan.field.disagreement import Disagreement
from zoneplan.field.overlay import overlay
from zoneplan.field.shapes import Field, MarkLayer, Site, SoilLayer
from zoneplan.override import OVERRIDE, in_words, overridden, refuse_faulty
from zoneplan.progress import step
from zoneplan.rowunit import contact
from zoneplan.rowunit.calibrate import Observation, scale_from
from zoneplan.rowunit.machine import Machine
from zoneplan.rowunit.systems import (
    Answer,
    FieldAnswer,
    Need,
    answer,
    section_width_m,
    setting_kind,
    setting_unit,
    settle_distance_m,
)
from zoneplan.rowunit.words import load
from zoneplan.rules.rule import CONFIDENCES, Reason, Rules
from zoneplan.soil.density import dense
from zoneplan.soil.strength import strength_ratio
from zoneplan.soil.texture import SoilFacts
from zoneplan.soil.water import WETNESSES
from zoneplan.swallowed import swallowed
from zoneplan.units import MPS_PER_MPH, N_PER_LBF, to
from zoneplan.want import (
    Choices,
    Conditions,
    Want,
    choices_by,
    decide,
    opener_loads_n,
    plannable,
    shift_of,
    want_of,
)
from zoneplan.zones.delineate import build_zones
from zoneplan.zones.edit import Edit, Override
from zoneplan.zones.edited import Overrides, edited
from zoneplan.zones.kept import KEPT_SHARE
from zoneplan.zones.marks import marks_of
from zoneplan.zones.zone import NOTHING_ASKED, Decision, Zone, Zoned, Zoning

__all__ = ["Conditions", "MoistureSetting", "Plan", "ZoneSetting", "Zoning", "plan_field"]


@dataclass(frozen=True)
class MoistureSetting:
    """All that is decided for one zone at one wetness. Loads are per row; None = no number."""

    margin_n: float | None  # the target
    margin_least_n: float | None  # below this the wheels leave the ground too often: 96 %
    margin_steady_n: float | None  # with this they carry load 98 % of the time
    margin_most_n: float | None  # above this the soil packs
    contact_share: float | None  # of time, at the target and the planned speed
    swing_n: float | None  # of the gauge-wheel load, which contact is reckoned with
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

    @property
    def by_hand(self) -> Reason | None:
        """The link that put a person's margin target in place of the rules', if one did."""
        return _by_hand(self.reasons)

    @property
    def closing_by_hand(self) -> Reason | None:
        """The same for the closing notch."""
        return _by_hand(self.closing_reasons)


def _by_hand(reasons: Sequence[Reason]) -> Reason | None:
    return next((reason for reason in reasons if reason.kind == OVERRIDE), None)


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
    # (number of zones, share that so many keep of the variation in the need for downforce)
    kept: tuple[tuple[int, float], ...] = ()  # from the most zones to the fewest
    disagreements: tuple[Disagreement, ...] = ()  # between soil layers, the largest first


SLOWEST_MPS = 1 * MPS_PER_MPH  # judged: nobody plants more slowly
ALIKE_N = 20 * N_PER_LBF  # agronomy judgement: a smaller difference is no new zone
FOLLOW_M = 100.0  # judged: shorter ground gets no zone of its own, however fast the system
TRANSITIONS = 5  # judged: a zone should be several changes of target long
STRAIGHTEN_M = 5.0  # judged: edges may move by half a section, but no further than maps are true
HELD_MARGIN = (
    "a system that holds a margin answers the openers by itself: what the zones do not keep of "
    "their need is not lost"
)
HAND_TEST = (
    "wet: whether a soil still crumbles when wet is an estimate. Squeeze soil from planting "
    "depth: if it sticks to the palm, or a ball dropped from the waist stays whole, wait."
)


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

    def warned(facts: SoilFacts, site: Site) -> frozenset[str]:
        wants = (want_of(facts, site, machine, choices, conditions, it) for it in WETNESSES)
        return frozenset(said for want in wants for said in want.margin.warnings)

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
    inside = swallowed(zones, cut.pieces, decided, warned, ALIKE_N)
    scale, scale_note = _scale(zones, machine, conditions, observation)
    step("Settling every zone")
    by_wetness = {
        wetness: _settle(zones, machine, choices, conditions, wetness, scale, overrides)
        for wetness in WETNESSES
    }
    settings = tuple(
        ZoneSetting(
            zone=_with_notes(zone, inside[i]),
            moistures={wetness: by_wetness[wetness][0][i] for wetness in WETNESSES},
        )
        for i, zone in enumerate(zones)
    )
    notes = [
        *field.notes,
        *(f"{layer.name}: {note}" for layer in layers for note in layer.notes),
        *(f"{layer.name}: {note}" for layer in marks for note in layer.notes),
        *cut.notes,
        *zoned.notes,
        *_overrides_in_words(settings, overrides),
        *([HELD_MARGIN] if _held_margin(machine, zoned) else []),
        *([scale_note] if scale_note else []),
        *_once({wetness: by_wetness[wetness][1].notes for wetness in WETNESSES}),
        *_own_rules(rules),
        _contact_note(machine, conditions),
        HAND_TEST,
    ]
    return Plan(
        field=field,
        machine=machine,
        conditions=conditions,
        rules=rules,
        settings=settings,
        uncovered_ha=cut.uncovered_ha,
        setting_kind=setting_kind(machine),
        setting_unit=setting_unit(machine),
        best={wetness: by_wetness[wetness][1].best for wetness in WETNESSES},
        notes=tuple(notes),
        kept=zoned.kept,
        disagreements=cut.disagreements,
    )


def _overrides_in_words(settings: Sequence[ZoneSetting], overrides: Overrides) -> Iterator[str]:
    for setting in settings:
        for edit in overrides.get(setting.zone.id, ()):
            moisture = setting.moistures[edit.wetness]
            chain = moisture.reasons if edit.decides == "margin" else moisture.closing_reasons
            yield in_words(setting.zone.id, edit, chain, waits=plannable(setting.zone.facts))


def _own_rules(rules: Rules) -> list[str]:
    """Say where the rules are not the stock ones."""
    every = (*rules.margin.rules, *rules.closing.rules)
    own = [f"{rule.id} ({rule.origin})" for rule in every if rule.origin != "stock"]
    notes = [f"rules that are not stock: {', '.join(own)}"] if own else []
    if rules.dropped:
        notes.append(f"stock rules dropped: {', '.join(rules.dropped)}")
    return notes


def _contact_note(machine: Machine, conditions: Conditions) -> str:
    swing = contact.swing(machine, conditions.tillage, conditions.speed_mps)
    return (
        f"Contact is reckoned with a swing of the gauge-wheel load of {load(swing.load_n)} "
        f"({swing.source}); 96 to 98 % of the time on the ground is wanted, as common practice, "
        "no source."
    )


def _follow_m(machine: Machine, speed_mps: float) -> float:
    """How long ground must be, along the pass, to be worth a zone."""
    return max(FOLLOW_M, TRANSITIONS * settle_distance_m(machine, speed_mps))


def _held_margin(machine: Machine, zoned: Zoned) -> bool:
    """Whether the zones keep little because the system finds the rest by itself."""
    most_kept = max((kept for _, kept in zoned.kept), default=1.0)
    return setting_kind(machine) == "margin target" and most_kept < KEPT_SHARE


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


def _settle(
    zones: Sequence[Zone],
    machine: Machine,
    choices: Choices,
    conditions: Conditions,
    wetness: str,
    scale: float,
    overrides: Overrides,
) -> tuple[list[MoistureSetting], FieldAnswer]:
    """Every zone's setting at one wetness. Asked at once, for springs answer for the field."""
    wants = [
        _wanted(zone, machine, choices, conditions, wetness, scale, overrides.get(zone.id, ()))
        for zone in zones
    ]
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
            settings.append(_set(want, next(answers), machine, conditions))
    return settings, field_answer


def _wanted(
    zone: Zone,
    machine: Machine,
    choices: Choices,
    conditions: Conditions,
    wetness: str,
    scale: float,
    overrides: Sequence[Override],
) -> Want | None:
    """What a zone wants by the rules, by a hand check and by a person; None without data."""
    if not plannable(zone.facts):
        return None
    ruled = want_of(zone.facts, zone.site, machine, choices, conditions, wetness)
    want = overridden(ruled, [it for it in overrides if it.wetness == wetness], machine)
    return replace(want, opener_n=_scaled(want.opener_n, scale))


def _scaled(loads_n: tuple[float, float, float], scale: float) -> tuple[float, float, float]:
    """Loads moved through a hand check."""
    reckoned, least, most = (scale * load_n for load_n in loads_n)
    return reckoned, least, most


_EMPTY = MoistureSetting(
    *(None,) * 18,
    reasons=(),
    closing_reasons=(),
    warnings=(),
)


def _no_numbers(facts: SoilFacts) -> MoistureSetting:
    kind = "soil without texture data" if facts.ground == "soil" else facts.ground
    return replace(_EMPTY, warnings=(f"No numbers here: {kind}.",))


def _waiting(want: Want) -> MoistureSetting:
    return replace(
        _EMPTY,
        confidence=want.margin.confidence,
        reasons=want.margin.reasons,
        warnings=want.margin.warnings,
    )


def _set(want: Want, got: Answer, machine: Machine, conditions: Conditions) -> MoistureSetting:
    assert want.margin.value is not None
    assert want.notch is not None
    least_n, steady_n = contact.margin_window_n(want.swing.load_n)
    share = contact.contact_share(want.margin.value, want.swing.load_n)
    return MoistureSetting(
        margin_n=want.margin.value,
        margin_least_n=least_n,
        margin_steady_n=steady_n,
        margin_most_n=want.margin.most,
        contact_share=share,
        swing_n=want.swing.load_n,
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
            *_contact_warnings(want, least_n, share, machine, conditions),
            *_packing_warnings(want, got),
            *got.warnings,
        ),
    )


def _contact_warnings(
    want: Want, least_n: float, share: float, machine: Machine, conditions: Conditions
) -> list[str]:
    """Where the two sides of the margin cross there is no good number, and the plan says so."""
    assert want.margin.value is not None
    margin_n, most_n = want.margin.value, want.margin.most
    speed = _both_speeds(conditions.speed_mps)
    if most_n is not None and least_n > most_n:
        return [
            f"No margin is good at {speed}: steady contact wants {load(least_n)}, "
            f"the soil bears {load(most_n)}. Slow down, or wait."
        ]
    if margin_n < least_n:
        steady_mps = contact.steady_speed_mps(machine, conditions.tillage, margin_n, want.swing)
        if steady_mps >= SLOWEST_MPS:
            slower = f"at {_both_speeds(steady_mps)} it would be 4 %"
        elif _by_hand(want.margin.reasons):
            slower = f"no slower pass mends that, but {load(least_n)} would"
        else:
            slower = "no slower pass mends that, and more load would pack: watch the depth"
        up_pct = 100 * (1 - share)
        up = f"about {up_pct:.0f} %" if up_pct >= 4.5 else "a little over 4 %"
        return [
            f"At {speed} the gauge wheels are off the ground {up} of the time at this target, "
            f"and seed dropped then lies shallow. At most 4 % is wanted; {slower}."
        ]
    paid = contact.bought_with_load(margin_n, want.swing.load_n)
    return [paid] if paid else []


def _packing_warnings(want: Want, got: Answer) -> list[str]:
    """Where the margin that is really left, or asked for, is more than the soil bears."""
    left_n, when = max((got.margin_full_n, "full"), (got.margin_refill_n, "at refill"))
    margin_n, most_n = want.margin.value, want.margin.most
    assert margin_n is not None
    if most_n is None or max(left_n, margin_n) <= most_n + 0.5:
        return []
    if left_n <= most_n + 0.5:
        return [
            f"The target of {load(margin_n)} is more than the {load(most_n)} that the soil bears."
        ]
    return [
        f"With the hopper {when} the margin comes to {load(left_n)}: more than the "
        f"{load(most_n)} that the soil bears."
    ]


def _both_speeds(speed_mps: float) -> str:
    return f"{to(speed_mps, 'mph', 'speed'):.2g} mph ({to(speed_mps, 'km/h', 'speed'):.2g} km/h)"


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


def _with_notes(zone: Zone, inside: Sequence[str]) -> Zone:
    """What was assumed of a zone, and what its site changes, is told with its own facts."""
    if not plannable(zone.facts):
        return zone
    assumed = list(strength_ratio(zone.facts, WETNESSES[0]).notes)
    if dense(zone.facts) is None:
        assumed.append("bulk density unknown: not checked for dense soil")
    notes = tuple(dict.fromkeys((*zone.facts.notes, *assumed, *_site_notes(zone), *inside)))
    return replace(zone, facts=replace(zone.facts, notes=notes))


def _site_notes(zone: Zone) -> list[str]:
    site, shift = zone.site, shift_of(zone.site)
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
