"""The cab sheet, one page for the operator, and the agronomist's sheet, which tells all."""

import json
from collections.abc import Iterator
from typing import Any

from zoneplan.export.notices_summary import gathered, not_covered, of_zone, plan_notes
from zoneplan.export.once import once
from zoneplan.export.sheets.paper import capital, pdf
from zoneplan.export.sheets.reasons import chains, cited, rule_tables, source_lines
from zoneplan.export.sheets.sheet_header import head, zone_map
from zoneplan.export.sheets.zone_words import (
    Group,
    area_ha,
    band,
    by_treatment,
    called,
    cell,
    elsewhere,
    ground_words,
    on_area,
    places,
    soil_sentences,
    soil_word,
    treatment_row,
    usual_words,
)
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.request import TitleBlock
from zoneplan.rowunit.balance import seed_weight_n, weight_n
from zoneplan.rowunit.machine import ClosedLoopAir, Hydraulic, SetAir, Springs
from zoneplan.say.feel import SQUEEZE, TOO_WET, WET, feels_for
from zoneplan.say.figures import sentence
from zoneplan.say.notices import Remark, named
from zoneplan.say.odds import opener_words, rounds_words, seed_words, smear_words
from zoneplan.say.quantities import figure, number, percent, plain, setting_quantity, unit
from zoneplan.terms import Fitness, Moisture
from zoneplan.units import M_PER_FT


def row_unit(plan: Plan, system: str) -> list[tuple[str, str]]:
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


CAB_MAPS_MM = (
    (104.0, 74.0),
    (92.0, 58.0),
    (80.0, 46.0),
    (66.0, 36.0),
    (54.0, 28.0),
)  # from roomy to tight
AGRONOMIST_MAP_MM = (100.0, 70.0)
FIRST_PASS_M = 50 * M_PER_FT  # Iowa State University Extension (25 March 2024)
BIG, SMALL = 11, 8  # points of the table's letters
MOST_ROWS = 45  # no page holds more
REST = "the agronomist’s sheet"
CHANGES = {  # what makes a margin greater and smaller, by what the machine is set in
    "spring position": ("one spring position up", "one spring position down"),
    "air pressure": ("more pressure", "less pressure"),
    "margin target": ("a higher target", "a lower target"),
}


def cab_pdf(
    plan: Plan, *, paper: str = "letter", units: str = "us", title: TitleBlock | None = None
) -> bytes:
    """Print the cab sheet: one page, whatever the plan.

    Parameters
    ----------
    plan : Plan
        What to print.
    paper : str
        "letter" or "a4".
    units : str
        "us" (lb, psi, mph, in, acres) or "si" (N, kPa, km/h, cm, ha).
    title : TitleBlock, optional
        Whose plan it is and who made it.

    Notes
    -----
    The template takes the first layout that fits its page, so that even the longest names
    and many zones leave it at one.
    """
    return pdf("cab.typ", cab_told(plan, units, title), paper)


def cab_told(plan: Plan, units: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """All that the cab sheet says, as its template takes it."""
    more, less = CHANGES[plan.setting_kind]
    return {
        **head(plan, units, title),
        "maps": [zone_map(plan, units, *size) for size in CAB_MAPS_MM],
        **_marks(plan, units),
        "layouts": list(_layouts(plan, units)),
        "cuts": list(_cuts(plan, units)),
        "feels": [(name, feel.dry, feel.moist) for name, feel in feels_for(_textures(plan))],
        "heads": _heads(plan, units),
        "alike": any(_heads(plan, units)),
        "squeeze_first": capital(SQUEEZE),
        "wet": WET,
        "wait": f"{capital(TOO_WET)}: too wet, WAIT.",
        "more": more,
        "less": less,
        "depth": figure(plan.conditions.depth_m, "length", units),
        "first_pass": figure(FIRST_PASS_M, "distance", units),
    }


def agronomist_pdf(
    plan: Plan, *, paper: str = "letter", units: str = "us", title: TitleBlock | None = None
) -> bytes:
    """Print the agronomist's sheet: what every number rests on, and what is not known.

    Parameters
    ----------
    plan, paper, units, title : Plan, str, str, TitleBlock
        As for `cab_pdf`.
    """
    return pdf("agronomist.typ", agronomist_told(plan, units, title), paper)


def agronomist_told(plan: Plan, units: str, title: TitleBlock | None = None) -> dict[str, Any]:
    """All that the agronomist's sheet says, as its template takes it."""
    return {
        **head(plan, units, title),
        "map": zone_map(plan, units, *AGRONOMIST_MAP_MM),
        "row_unit": row_unit(plan, units),
        "not_covered": not_covered(plan, units),
        "zones": _details(plan, units),
        "rulebook": {"revised": plan.rules.revised.isoformat(), "sha256": plan.rules.sha256},
        "rules": rule_tables(plan, units),
        "sources": source_lines(plan),
        "notes": plan_notes(plan, units),
    }


# ---- the cab sheet ----------------------------------------------------------------------------


def _textures(plan: Plan) -> list[str]:
    return [soil_word(setting.zone.facts) for setting in plan.settings]


def _marks(plan: Plan, system: str) -> dict[str, bool]:
    """Which marks and columns the table needs, so that no other is explained."""
    moistures = [value for setting in plan.settings for value in setting.moistures.values()]
    cells = [cell(plan, [moisture], system) for moisture in moistures]
    marks = {name: any(cell.get(name) for cell in cells) for name in ("crossed", "missed", "test")}
    strays = holds_one(plan) or any(
        cell["left"] != cell["target"] for cell in cells if not cell["instead"]
    )
    by_hand = any(cell.get("by_hand") or cell.get("notch_by_hand") for cell in cells)
    waits = any(isinstance(moisture, Wait) for moisture in moistures)
    return {**marks, "left": strays, "by_hand": by_hand, "waits": waits}


def _heads(plan: Plan, system: str) -> list[str]:
    """The one setting of each moisture, where every zone has the same at all three; else blanks."""
    at_each = [
        {
            figure(setting.set_at[moisture].setting, setting_quantity(plan), system)
            for setting in plan.settings
            if moisture in setting.set_at
        }
        for moisture in Moisture
    ]
    if not holds_one(plan) or any(len(settings) > 1 for settings in at_each):
        return ["", "", ""]
    return ["".join(settings) for settings in at_each]


def _layouts(plan: Plan, system: str) -> Iterator[list[dict[str, Any]]]:
    """Ways to lay the page out with every zone on it, each from roomy to tight.

    First one treatment a row, then those that read the same in one; in both, remarks are told
    or left to another sheet, and the map shrinks. Only then do the letters.
    """
    together = (by_treatment(plan), _alike(plan, system))
    for groups, letters in ((together[0], BIG), (together[1], BIG), (together[1], SMALL)):
        if len(groups) <= MOST_ROWS:
            rows = [_row(plan, group, system) for group in groups]
            yield [
                {"map": size, "size": letters, "rows": rows, "remarks": remarks, "rest": ""}
                for remarks in (gathered(plan, system, from_rules=True), _elsewhere(plan, system))
                for size in range(len(CAB_MAPS_MM))
            ]


_NOT_IN_THE_CAB = ("band", "right", "shallow")  # the summary has them


def _row(plan: Plan, group: Group, system: str) -> dict[str, Any]:
    """A treatment's row, with what an operator looks for and no more."""
    row = treatment_row(plan, group, system)
    left_out = {*_NOT_IN_THE_CAB, *(["target"] if holds_one(plan) else ["set"])}
    cells = [{name: cell[name] for name in cell if name not in left_out} for cell in row["cells"]]
    return {**row, "usual": "", "cells": cells}


def _cuts(plan: Plan, system: str) -> Iterator[dict[str, Any]]:
    """The tightest way to lay the page out, with one row, two rows and so on: the most ground."""
    alike = _alike(plan, system)
    largest = sorted(alike, key=area_ha, reverse=True)
    rows = {group[0].zone.id: _row(plan, group, system) for group in largest[:MOST_ROWS]}
    remarks = _elsewhere(plan, system)
    for count in range(1, min(MOST_ROWS + 1, len(alike))):
        shown = sorted(group[0].zone.id for group in largest[:count])
        omitted = [setting for group in largest[count:] for setting in group]
        yield {
            "map": len(CAB_MAPS_MM) - 1,
            "size": SMALL,
            "rows": [rows[number] for number in shown],
            "remarks": remarks,
            "rest": f"Not here for want of room: {on_area(omitted, system)}. See {REST}.",
        }


def _elsewhere(plan: Plan, system: str) -> list[Remark]:
    warned = gathered(plan, system, from_rules=True)
    return [("", f"Remarks on these zones: see {REST}.")] if warned else []


@once
def _alike(plan: Plan, system: str) -> list[Group]:
    """Treatments that read the same, together."""
    groups: dict[str, Group] = {}
    for treated in by_treatment(plan):
        row = _row(plan, treated, system)
        key = json.dumps([row["name"], row["soil"], row["cells"]])
        groups.setdefault(key, []).extend(treated)
    return [sorted(value, key=lambda each: each.zone.id) for value in groups.values()]


# ---- the agronomist's sheet -------------------------------------------------------------------


def _details(plan: Plan, system: str) -> list[dict[str, Any]]:
    """What is told of each zone; zones of which the same is told, together."""
    cite = cited(plan)
    groups: dict[str, tuple[dict[str, Any], list[ZoneSetting]]] = {}
    for setting in plan.settings:
        zone_details = {
            "name": called(setting),
            "ground": ground_words(setting),
            "soil": " ".join([*soil_sentences(setting), *_usual(setting)]),
            "forces": [
                _forces(plan, moisture, instruction, system)
                for moisture, instruction in setting.set_at.items()
            ],
            "chains": chains(setting, system, cite),
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


def _usual(setting: ZoneSetting) -> list[str]:
    usual = usual_words(setting)
    return [f"{capital(usual)}."] if usual else []


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
        "band": band(setting.margin_least_n, setting.margin_most_n, system),
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


def _opener(setting: Setting, system: str) -> str:
    opener = number(setting.opener_load_n, "load", system)
    if not setting.attachments_load_n:
        return opener
    return f"{opener} + {number(setting.attachments_load_n, 'load', system)}"


def _state(setting: Setting) -> str:
    """Fit or to be tested, with the odds."""
    word = "fit" if setting.state is Fitness.FIT else "squeeze test"
    return f"{word}: {smear_words(setting)}"
