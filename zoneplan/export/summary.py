"""summary.pdf: the plan on paper, with its map, its reasons and its cautions.

Here the plan is put into words and display units; summary.typ sets them on the page.
"""

import json
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from importlib.resources import as_file, files
from itertools import groupby
from typing import Any

import typst

from zoneplan import units
from zoneplan.export.picture import map_classes, swatch_svg, zone_map_svg
from zoneplan.prescription import MoistureSetting, Plan, ZoneSetting
from zoneplan.rowunit.words import SYSTEM_WORDS, speed
from zoneplan.rules.rule import KINDS, Reason
from zoneplan.soil.texture import SoilFacts

UNKNOWN = "–"
MAP_WETNESS = "moist"
JUDGEMENT = "judgement"  # what a rule without a source says


def summary_pdf(plan: Plan) -> bytes:
    """Print a plan: US Letter, tagged to PDF/UA-1, the same bytes for the same plan."""
    with as_file(files("zoneplan.export")) as home:
        return typst.compile(
            home / "summary.typ",
            sys_inputs={"data": json.dumps(_drawable(_page(plan)))},
            ignore_system_fonts=True,
            font_paths=[home / "fonts"],
            pdf_standards="ua-1",
        )


def _page(plan: Plan) -> dict[str, Any]:
    """Everything that the page says, in the order it says it."""
    name = " ".join(plan.field.name.split())
    details, shared = _details(plan)
    sources = _sources(plan)
    return {
        "title": name,
        "short_title": name if len(name) <= 70 else name[:69] + "…",
        "facts": _facts(plan),
        "best": _best(plan),
        "map": {
            "svg": zone_map_svg(plan, MAP_WETNESS),
            "alt": f"Map of {name}: {len(plan.settings)} zones, numbered as in the table, shaded "
            f"by the margin target when {MAP_WETNESS}.",
            "legend": [(swatch_svg(it), it.label) for it in map_classes(plan, MAP_WETNESS)],
        },
        "zones": [_zone(it, plan.setting_unit) for it in plan.settings],
        "setting": f"{plan.setting_kind}, {_unit(plan.setting_unit)}",
        "details": details,
        "remarks": shared,
        "rulebook": {"revised": plan.rules.revised.isoformat(), "sha256": plan.rules.sha256},
        "rules": _rules(plan, sources),
        "sources": sources,
        "notes": _notes(plan),
    }


def _facts(plan: Plan) -> list[tuple[str, str]]:
    machine, told = plan.machine, plan.conditions
    blank = [it for it in plan.settings if not any(m.reasons for m in it.moistures.values())]
    return [
        ("Area", _area(plan.field.area_ha)),
        ("Planter", machine.name),
        ("Zones", f"{len(plan.settings)}" + (f" ({len(blank)} without numbers)" if blank else "")),
        ("Rows", f"{machine.rows} at {_inches(machine.row_spacing_m)}"),
        ("Ground", f"{told.tillage}, {_percent(told.residue_frac)} residue cover"),
        ("Downforce", SYSTEM_WORDS[machine.system.kind]),
        ("Planting", f"{speed(told.speed_mps)}, {_inches(told.depth_m)} deep"),
        (
            "Hopper",
            f"{_percent(machine.fill_full)} full to {_percent(machine.fill_refill)}, refill",
        ),
    ]


def _best(plan: Plan) -> dict[str, Any] | None:
    if all(value is None for value in plan.best.values()):
        return None
    unit, settings = plan.setting_unit, []
    for wetness, value in plan.best.items():
        wait = sum(setting.moistures[wetness].wait for setting in plan.settings)
        if value is None:
            settings.append((wetness, "WAIT" if wait else UNKNOWN, ""))
        else:
            but = f"but {wait} of {len(plan.settings)} zones wait" if wait else ""
            settings.append((wetness, f"{_number(value, unit)} {_unit(unit)}", but))
    return {"title": f"One {plan.setting_kind} for the whole field", "settings": settings}


def _zone(setting: ZoneSetting, unit: str) -> dict[str, Any]:
    acres = units.to(setting.zone.area_ha * units.M2_PER_HA, "ac", "area")
    return {
        "id": str(setting.zone.id),
        "acres": _decimal(acres),
        "soil": _soil_word(setting.zone.facts),
        "cells": [_cell(it, unit) for it in setting.moistures.values()],
    }


def _cell(moisture: MoistureSetting, unit: str) -> dict[str, str | None]:
    if moisture.margin_n is None:
        return {"instead": "WAIT" if moisture.wait else UNKNOWN}
    return {
        "instead": None,
        "margin": _pounds(moisture.margin_n),
        "band": _band(moisture.margin_least_n, moisture.margin_most_n),
        "notch": moisture.closing_notch or UNKNOWN,
        "full": _pounds(moisture.downforce_full_n),
        "refill": _pounds(moisture.downforce_refill_n),
        "setting": _number(moisture.setting, unit) + (" *" if moisture.reached is False else ""),
    }


def _band(least_n: float | None, most_n: float | None) -> str:
    """The least that keeps contact and the most the soil bears; crossed bands say so."""
    least, most = _pounds(least_n), _pounds(most_n)
    if least_n is None or most_n is None:
        return "" if least_n is most_n else f"{least} to {most}"
    return f"{least} to {most}" if least_n <= most_n else f"needs {least}, bears {most}"


Remark = tuple[str, str]  # when it holds, "" for always; and what is said


def _details(plan: Plan) -> tuple[list[dict[str, Any]], list[Remark]]:
    """What is told of each zone, alike zones together; and what is said of several of them."""
    groups: dict[str, dict[str, Any]] = {}
    for setting in plan.settings:
        told = {
            "ground": _soil_word(setting.zone.facts),
            "soil": " ".join(_soil_sentences(setting)),
            "rows": [_row(wetness, it) for wetness, it in setting.moistures.items() if it.reasons],
            "remarks": _remarks(setting),
        }
        groups.setdefault(json.dumps(told), {**told, "zones": []})["zones"].append(setting.zone)
    details = list(groups.values())
    said: dict[str, dict[int, str]] = {}  # words, to the zones and when they hold there
    times = Counter(words for it in details for _, words in it["remarks"])
    for detail in details:
        zones = detail.pop("zones")
        area = _area(sum(zone.area_ha for zone in zones))
        names = _zones([zone.id for zone in zones]).capitalize()
        detail["title"] = f"{names}: {detail['ground']}, {area}"
        for when, words in detail["remarks"]:
            if times[words] > 1:
                said.setdefault(words, {}).update({zone.id: when for zone in zones})
        detail["remarks"] = [it for it in detail["remarks"] if times[it[1]] == 1]
    return details, [(_where(zones), words) for words, zones in said.items()]


def _remarks(setting: ZoneSetting) -> list[Remark]:
    """A zone's soil notes, then its warnings with the moistures they hold at."""
    moistures = setting.moistures
    remarks = [("", _capital(note)) for note in setting.zone.facts.notes]
    for words in dict.fromkeys(words for it in moistures.values() for words in it.warnings):
        when = [wetness for wetness, it in moistures.items() if words in it.warnings]
        remarks.append(("" if len(when) == len(moistures) else " and ".join(when), words))
    return remarks


def _where(zones: dict[int, str]) -> str:
    """Name zones by when a remark holds there: "Zones 1, 4, dry; zone 2, dry and moist"."""
    parts = []
    for when in dict.fromkeys(zones.values()):
        names = _zones(sorted(number for number in zones if zones[number] == when))
        parts.append(f"{names}, {when}" if when else names)
    return "; ".join(parts).capitalize()


def _row(wetness: str, moisture: MoistureSetting) -> list[str]:
    stops = ", ".join(it.rule for it in moisture.reasons if it.kind == "stop")
    confidence = moisture.confidence or UNKNOWN
    if stops:
        return [wetness, f"WAIT: {stops}", *[UNKNOWN] * 4, confidence]
    closing = f"{_chain(moisture.closing_reasons, _percent)}: notch {moisture.closing_notch}"
    doubt = _band(moisture.opener_least_n, moisture.opener_most_n)
    left_full, left_refill = _pounds(moisture.margin_full_n), _pounds(moisture.margin_refill_n)
    return [
        wetness,
        f"{_chain(moisture.reasons, _pounds)} = {_pounds(moisture.margin_n)}",
        f"{closing}, {_pounds(moisture.closing_load_n)} lb",
        _pounds(moisture.opener_load_n) + (f" ({doubt})" if doubt else ""),
        left_full if left_full == left_refill else f"{left_full} to {left_refill}",
        _percent(moisture.contact_share),
        confidence,
    ]


def _chain(reasons: Iterable[Reason], shown: Callable[[float | None], str]) -> str:
    """Each rule and what it adds, in order: "ground 100, residue +5"."""
    return ", ".join(f"{it.rule} {_adds(it, shown)}" for it in reasons)


def _adds(reason: Reason, shown: Callable[[float | None], str]) -> str:
    adds = reason.adds
    if adds is None:
        return "wait"
    return shown(adds) if adds < 0 or reason.kind == "base" else f"+{shown(adds)}"


def _soil_word(facts: SoilFacts) -> str:
    if facts.ground == "soil":
        return facts.texture or "no texture data"
    return facts.ground


def _soil_sentences(setting: ZoneSetting) -> list[str]:
    """What is known of a zone's soil; what is not known is left unsaid."""
    facts, soils = setting.zone.facts, setting.zone.soils
    organic, density, swell = facts.organic_pct, facts.density_mg_m3, facts.extensibility_pct
    known = [
        *(
            f"{name} {_percent(share)}"
            for name, share in (
                ("sand", facts.sand_frac),
                ("silt", facts.silt_frac),
                ("clay", facts.clay_frac),
                ("rock by volume", facts.fragments_frac),
            )
            if share is not None
        ),
        *([] if organic is None else [f"organic matter {organic:.1f} %"]),
        *([] if density is None else [f"density {density:.2f} g/cm³"]),
        *([] if swell is None else [f"linear extensibility {swell:.1f} %"]),
        *([facts.drainage.lower()] if facts.drainage else []),
        *([f"hydrologic group {facts.hydrologic_group}"] if facts.hydrologic_group else []),
    ]
    named = facts.named
    if len(soils) > 1:
        named = ", ".join(f"{name} ({_percent(share)})" for name, share in soils)
    sentences = [_capital(", ".join(known)) + "."] if known else []
    if facts.ground == "soil":
        sentences.append(f"{_percent(facts.rated_share)} of the zone has texture data.")
    return [*sentences, *([f"The soil map calls it {named}."] if named else [])]


def _zones(numbers: Sequence[int]) -> str:
    """Name zones: "zone 3", "zones 1, 4 to 6"."""
    runs = []
    for _, grouped in groupby(enumerate(numbers), lambda it: it[1] - it[0]):
        run = [number for _, number in grouped]
        runs.append(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)))
    return f"zone{'s' if len(numbers) > 1 else ''} {', '.join(runs)}"


def _reasons(plan: Plan) -> tuple[list[Reason], list[Reason]]:
    """Every link of every chain: of the margin targets, and of the closing wheels."""
    moistures = [it for setting in plan.settings for it in setting.moistures.values()]
    margin = [reason for it in moistures for reason in it.reasons]
    return margin, [reason for it in moistures for reason in it.closing_reasons]


def _sources(plan: Plan) -> list[str]:
    """Each source once, in the order that the rules table calls on them."""
    ordered = (it for reasons in _reasons(plan) for it in sorted(reasons, key=_kind_order))
    return list(dict.fromkeys(it.source for it in ordered if it.source != JUDGEMENT))


def _rules(plan: Plan, sources: Sequence[str]) -> list[dict[str, Any]]:
    """Every rule that had a part, once, with what it added over all zones."""
    margin, closing = _reasons(plan)
    tables = (
        ("For the margin target, lb", margin, _pounds),
        ("For the closing wheels, share of the lever's range", closing, _percent),
    )
    return [
        {"title": title, "rows": _rule_rows(reasons, shown, sources)}
        for title, reasons, shown in tables
        if reasons
    ]


def _rule_rows(
    reasons: Sequence[Reason], shown: Callable[[float | None], str], sources: Sequence[str]
) -> list[tuple[str, ...]]:
    by_rule: dict[tuple[str, str], list[Reason]] = {}
    for reason in sorted(reasons, key=_kind_order):
        by_rule.setdefault((reason.rule, reason.why), []).append(reason)
    rows: list[tuple[str, ...]] = []
    for (rule, why), links in by_rule.items():
        links.sort(key=lambda it: it.adds or 0.0)
        adds = " to ".join(dict.fromkeys(_adds(it, shown) for it in (links[0], links[-1])))
        source = links[0].source
        number = source if source == JUDGEMENT else str(sources.index(source) + 1)
        rows.append((rule, adds, why, links[0].confidence, number))
    return rows


def _kind_order(reason: Reason) -> int:
    return KINDS.index(reason.kind) if reason.kind in KINDS else len(KINDS)


def _notes(plan: Plan) -> list[str]:
    uncovered = f"The soil layers say nothing of {_area(plan.uncovered_ha)} of this field."
    return [*([uncovered] if plan.uncovered_ha else []), *map(_capital, plan.notes)]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _number(value: float | None, unit: str) -> str:
    """A setting in the unit of the trade."""
    if value is None or unit == "N":
        return _pounds(value)
    return _signed(units.to(value, "psi", "pressure"))


def _unit(unit: str) -> str:
    return "lb" if unit == "N" else "psi"


def _pounds(force_n: float | None) -> str:
    return UNKNOWN if force_n is None else _signed(units.to(force_n, "lb", "force"))


def _percent(share: float | None) -> str:
    return UNKNOWN if share is None else f"{_signed(100 * share)} %"


def _signed(value: float) -> str:
    return str(round(value)).replace("-", "−")


def _area(area_ha: float) -> str:
    acres = units.to(area_ha * units.M2_PER_HA, "ac", "area")
    return f"{_decimal(acres)} acres ({_decimal(area_ha)} ha)"


def _decimal(value: float) -> str:
    return f"{value:.1f}" if value >= 10 else f"{value:.2f}"


def _inches(length_m: float) -> str:
    return f"{units.to(length_m, 'in', 'length'):.3g} in"


def _drawable(told: Any) -> Any:
    """Put "?" for every character that the page's fonts cannot draw."""
    if isinstance(told, str):
        return "".join(
            it if _has_glyph(it) else " " if it.isspace() else "?"
            for it in unicodedata.normalize("NFC", told)
        )
    if isinstance(told, dict):
        return {name: _drawable(value) for name, value in told.items()}
    if isinstance(told, list | tuple):
        return [_drawable(value) for value in told]
    return told


def _has_glyph(letter: str) -> bool:
    code = ord(letter)
    blocks = code < 0x500 or 0x1E00 <= code < 0x1F00  # Latin, Greek, Cyrillic
    signs = 0x2010 <= code < 0x2041 or 0x20A0 <= code < 0x20C0 or 0x2190 <= code < 0x2300
    return letter.isprintable() and (blocks or signs or letter in "№™")
