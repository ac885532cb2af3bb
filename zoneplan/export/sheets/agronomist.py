"""agronomist.pdf: what every number rests on, and what is not known."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

from zoneplan.export.once import once
from zoneplan.export.sheets.sheet_header import head, zone_map
from zoneplan.export.sheets.zone_words import (
    Group,
    called,
    elsewhere,
    ground_words,
    places,
    soil_sentences,
    usual_words,
)
from zoneplan.plan.model import OVERRIDE, NoNumbers, Plan, Setting, Wait, ZoneSetting
from zoneplan.request import TitleBlock
from zoneplan.rowunit.balance import seed_weight_n, weight_n
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, SetAir, Springs
from zoneplan.rules.rule import KINDS, Reason, Source
from zoneplan.say.notices import link_amount, link_name, link_words, shown_links
from zoneplan.say.quantities import (
    UNKNOWN,
    figure,
    number,
    opener_words,
    percent,
    plain,
    rounds_words,
    seed_words,
    setting_quantity,
    smear_words,
    unit,
)
from zoneplan.say.sentences import capital, named, sentence
from zoneplan.say.summary import area_ha, not_covered, of_zone, plan_notes
from zoneplan.terms import Fitness, Moisture

MAP_MM = (100.0, 70.0)
JUDGEMENT = "judgement"  # what a rule without a source says

Cite = Callable[[Reason], str]


def agronomist_words(plan: Plan, units: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """All that the agronomist's sheet says, as its template takes it."""
    return {
        **head(plan, units, title),
        "map": zone_map(plan, units, *MAP_MM),
        "row_unit": _row_unit(plan, units),
        "not_covered": not_covered(plan, units),
        "zones": _details(plan, units),
        "rulebook": {"revised": plan.rules.revised.isoformat(), "sha256": plan.rules.sha256},
        "rules": _rule_tables(plan, units),
        "sources": [
            ", ".join(filter(None, (source.cite, source.link)))
            for source in _sources(plan).values()
        ],
        "notes": plan_notes(plan, units),
    }


def _row_unit(plan: Plan, system: str) -> list[tuple[str, str]]:
    """Tell what the machine file says, one label and one value a line."""
    machine = plan.machine

    def load(force_n: float) -> str:
        return figure(force_n, "load", system)

    full, refill = machine.fill_full, machine.fill_refill
    notches = ", ".join(
        f"{notch.name}: {number(notch.load_n, 'load', system)}" for notch in machine.notches
    )
    return [
        ("Row unit, hopper empty", load(machine.unit_weight_n)),
        ("Attachments", load(machine.attachments_n)),
        (
            "Seed",
            f"{load(seed_weight_n(machine, full))} full ({percent(full)} of "
            f"{figure(machine.hopper_m3, 'volume', system)} at "
            f"{figure(machine.test_weight_kg_m3, 'density', system)}), "
            f"{load(seed_weight_n(machine, refill))} at refill ({percent(refill)})",
        ),
        ("Opener discs", f"{figure(machine.disc_diameter_m, 'length', system)} across"),
        ("Closing notches", f"{notches} {unit('load', system)}"),
        *_system(plan, system),
        (
            "Load swing",
            "assumed, not measured"
            if machine.swing_n is None
            else f"measured: {load(machine.swing_n)} at "
            f"{figure(machine.speed_mps, 'speed', system)}",
        ),
        ("Too light", f"counts {plain(machine.light_to_heavy, 2)} times as much as too heavy"),
    ]


def _system(plan: Plan, system: str) -> list[tuple[str, str]]:
    """What the downforce system can give."""
    downforce = plan.machine.system
    lines = []
    if isinstance(downforce, Springs):
        positions = ", ".join(number(load_n, "load", system) for load_n in downforce.positions_n)
        lines.append(("Spring positions", f"{positions} {unit('load', system)}"))
    if isinstance(downforce, SetAir | ClosedLoopAir):
        points = ", ".join(
            f"{number(kpa, 'pressure', system)}: {number(force_n, 'load', system)}"
            for kpa, force_n in downforce.chart
        )
        lines.append(
            ("Air chart", f"{points} ({unit('pressure', system)}: {unit('load', system)})")
        )
    if isinstance(downforce, SetAir):
        lines.append(
            (
                "Pressure",
                f"re-trimmed every {plain(downforce.retrim_s / 60, 1)} min; drifts "
                f"{figure(downforce.drift_kpa_per_h, 'pressure', system)} an hour, either way",
            )
        )
    if isinstance(downforce, ClosedLoopAir):
        lines.append(("Sections", f"{downforce.sections}, with {downforce.sensors} sensors"))
    if isinstance(downforce, Hydraulic):
        reach = (number(load_n, "load", system) for load_n in (downforce.least_n, downforce.most_n))
        lines.append(("Cylinder", f"{' to '.join(reach)} {unit('load', system)}; a minus is lift"))
    if isinstance(downforce, ClosedLoopAir | Hydraulic):
        delay, constant = plain(downforce.delay_s, 2), plain(downforce.time_constant_s, 2)
        lines.append(("Response", f"{delay} s delay, {constant} s time constant"))
    return lines


def _details(plan: Plan, system: str) -> list[dict[str, Any]]:
    """What is told of each zone; zones of which the same is told, together."""
    cite = _cited(plan)
    groups: dict[str, tuple[dict[str, Any], list[ZoneSetting]]] = {}
    for setting in plan.settings:
        usual = usual_words(setting)
        zone_details = {
            "name": called(setting),
            "ground": ground_words(setting),
            "soil": " ".join(
                [*soil_sentences(setting), *([f"{capital(usual)}."] if usual else [])]
            ),
            "forces": [
                _forces(plan, moisture, instruction, system)
                for moisture, instruction in setting.set_at.items()
            ],
            "chains": _chains(setting, system, cite),
            "remarks": of_zone(setting, system),
        }
        groups.setdefault(json.dumps(zone_details), (zone_details, []))[1].append(setting)
    return [
        {
            "title": f"{capital(named([setting.zone.id for setting in alike]))}"
            f"{', ' if details['name'] else ''}{details['name']}: "
            f"{details['ground']}, {figure(area_ha(alike), 'area', system)}",
            "same": _same(plan, alike),
            **details,
        }
        for details, alike in groups.values()
    ]


def _same(plan: Plan, alike: Group) -> str:
    """Name the zones elsewhere that get the same treatment; empty where none does."""
    numbers = {setting.zone.id for setting in alike}
    others = sorted({zone_id for one in alike for zone_id in elsewhere(plan, one)} - numbers)
    phrases = [*filter(None, [places(alike)]), *([f"set as {named(others)}"] if others else [])]
    return f"{capital(', and '.join(phrases))}." if phrases and alike[0].set_at else ""


def _forces(plan: Plan, moisture: Moisture, setting: Setting, system: str) -> dict[str, Any]:
    """The force balance of one row at one moisture, hopper full and at refill, and its odds."""
    machine = plan.machine
    weights_n = [weight_n(machine, fill) for fill in (machine.fill_full, machine.fill_refill)]
    left_n = (setting.margin_full_n, setting.margin_refill_n)

    def load(force_n: float) -> str:
        return number(force_n, "load", system)

    return {
        "moisture": moisture,
        "weight": [load(force_n) for force_n in weights_n],
        "needs": [load(setting.downforce_full_n), load(setting.downforce_refill_n)],
        "opener": _opener(setting, system),
        "opener_span": opener_words(setting, system),
        "closing": load(setting.closing_load_n),
        "target": load(setting.margin_n),
        "band": _band(setting, system),
        "set": number(setting.setting, setting_quantity(plan), system),
        "left": [load(left_n[0]), load(sum(left_n) / 2), load(left_n[1])],
        "wheels_up": [
            percent(1 - share)
            for share in (
                setting.contact_full_share,
                setting.contact_share,
                setting.contact_refill_share,
            )
        ],
        "rounds": sentence(rounds_words(plan, setting)),
        "shallow": seed_words(setting.shallow_share),
        "state": "" if moisture is Moisture.DRY else sentence(_state(setting)),
        "confidence": setting.confidence,
    }


def _band(setting: Setting, system: str) -> str:
    """The least that keeps contact and the most the soil bears; crossed bands say so."""
    least_n, most_n = setting.margin_least_n, setting.margin_most_n
    least, most = number(least_n, "load", system), number(most_n, "load", system)
    return f"{least} to {most}" if least_n <= most_n else f"needs {least}, bears {most}"


def _opener(setting: Setting, system: str) -> str:
    opener = number(setting.opener_load_n, "load", system)
    if not setting.attachments_load_n:
        return opener
    return f"{opener} + {number(setting.attachments_load_n, 'load', system)}"


def _state(setting: Setting) -> str:
    """Fit or to be tested, with the odds."""
    word = "fit" if setting.state is Fitness.FIT else "squeeze test"
    return f"{word}: {smear_words(setting)}"


# ---- chains, rules and sources -------------------------------------------------------------------


def _chains(setting: ZoneSetting, system: str, cite: Cite) -> list[tuple[str, str, str]]:
    """Tell how a zone's numbers came about: moisture, margin and closing."""

    def links(reasons: Sequence[Reason]) -> str:
        """Each rule and what it does, in order: "aim-loam 110, bounce-no-till × 1.32, +35"."""
        return "; ".join(
            f"{link_name(link)} {link_amount(link, system)}{cite(link)}"
            for link in shown_links(reasons, system)
        )

    chains: list[tuple[str, str, str]] = []
    for moisture, instruction in setting.moistures.items():
        if isinstance(instruction, Wait):
            stops = ", ".join(reason.rule + cite(reason) for reason in instruction.reasons)
            chains.append((moisture, f"WAIT, {smear_words(instruction)}: {stops}", UNKNOWN))
        elif isinstance(instruction, Setting):
            margin = figure(instruction.margin_n, "load", system)
            closing = figure(instruction.closing_load_n, "load", system)
            chains.append(
                (
                    moisture,
                    f"{links(instruction.reasons)} = {margin}",
                    f"{links(instruction.closing_reasons)}: notch {instruction.closing_notch}, "
                    f"{closing}",
                )
            )
    return chains


def _cited(plan: Plan) -> Cite:
    """Make what a link of a chain is marked with: confidence, and sources by number."""
    numbers = _numbers(plan)

    def cite(reason: Reason) -> str:
        if reason.kind == OVERRIDE:
            return f" ({reason.confidence}, {reason.source})"
        citation = ", ".join(f"{numbers[source.cite]}" for source in _sources_of(plan, reason))
        return f" ({reason.confidence}, {citation or JUDGEMENT})"

    return cite


def _rule_tables(plan: Plan, system: str) -> list[dict[str, Any]]:
    """Tell every rule that had a part, once, with what it added over all zones."""
    load = unit("load", system)
    titles = (f"For the margin target, {load}", f"For the closing wheels, {load}")
    return [
        {"title": title, "rows": _rule_rows(plan, reasons, system)}
        for title, reasons in zip(titles, _reasons(plan), strict=True)
        if reasons
    ]


def _rule_rows(plan: Plan, reasons: Sequence[Reason], system: str) -> list[tuple[str, ...]]:
    by_rule: dict[tuple[str, str], list[Reason]] = {}
    for reason in reasons:
        why = reason.why or link_words(reason, system)  # a rounding tells what it does
        by_rule.setdefault((reason.rule, why), []).append(reason)
    numbers = _numbers(plan)
    rows: list[tuple[str, ...]] = []
    for (rule, why), links in by_rule.items():
        links.sort(key=lambda link: link.adds or 0.0)
        adds = (  # without the factor: that differs from zone to zone
            link_amount(replace(link, factor=None), system) for link in (links[0], links[-1])
        )
        citation = ", ".join(
            f"{numbers[source.cite]}{' (value)' if source.backs == 'value' else ''}"
            for source in _sources_of(plan, links[0])
        )
        rows.append(
            (
                rule,
                " to ".join(dict.fromkeys(adds)),
                why,
                links[0].confidence,
                citation or JUDGEMENT,
            )
        )
    return rows


def _reasons(plan: Plan) -> tuple[list[Reason], list[Reason]]:
    """Every link that a rule made, of the margin targets and of the closing wheels, by its kind."""
    every = [value for setting in plan.settings for value in setting.moistures.values()]
    chains = (
        [value.reasons for value in every if not isinstance(value, NoNumbers)],
        [value.closing_reasons for value in every if isinstance(value, Setting)],
    )
    margin, closing = (
        sorted(
            (reason for reason in chain(*links) if reason.kind != OVERRIDE),
            key=lambda reason: KINDS.index(reason.kind) if reason.kind in KINDS else len(KINDS),
        )
        for links in chains
    )
    return margin, closing


@once
def _sources(plan: Plan) -> dict[str, Source]:
    """Find each source once by its name, in the order that the tables of rules call on them."""
    sources: dict[str, Source] = {}
    for reason in chain(*_reasons(plan)):
        for source in _sources_of(plan, reason):
            sources.setdefault(source.cite, source)
    return sources


def _numbers(plan: Plan) -> dict[str, int]:
    return {cite: number for number, cite in enumerate(_sources(plan), 1)}


def _sources_of(plan: Plan, reason: Reason) -> list[Source]:
    """What a reason rests on besides judgement. Rounding is no rule, and tells its own."""
    rule = plan.rules.by_id.get(reason.rule)
    sources = rule.sources if rule else (Source(reason.source),)
    return [source for source in sources if source.cite not in (JUDGEMENT, "")]
