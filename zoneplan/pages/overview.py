"""What a plan says as a whole: its head, its field and layers, legend, zones, notes, cautions.

All of it is HTML that escapes what came from outside, so that names do nothing.
"""

from collections.abc import Sequence

import shapely

from zoneplan.export.sheets.zone_words import by_treatment, places
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.shapes import Field, MarkLayer, SoilLayer
from zoneplan.harmless import escape
from zoneplan.notices import Notice
from zoneplan.pages.layer_views import subjects
from zoneplan.pages.words import (
    about,
    acres,
    called,
    count_of,
    header,
    items,
    over,
    pairs,
    setting,
)
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.rules.rule import Reason
from zoneplan.run import Run
from zoneplan.say.notices import words
from zoneplan.say.quantities import percent, smear_words
from zoneplan.say.sentences import capital, listed_numbers
from zoneplan.say.summary import area_ha, best_words, plan_notes, stamp, without_soil
from zoneplan.say.trade import MARGIN, MEANINGS
from zoneplan.terms import Fitness, Moisture
from zoneplan.units import speed as speed_words
from zoneplan.units import to

CAUTIONS = (
    "A starting point only. Stop, dig, and check depth, furrow wall and closing in every zone; "
    "too wet means wait. Before anyone reaches in: engine off, key out, pressure relieved, the "
    "planter lowered or its safety stops in. The machine's manual, local rules and the "
    "agronomist on the ground come first."
)


def head(plan: Plan) -> str:
    """Name the field and say what the plan is made for."""
    conditions = plan.conditions
    facts = [
        f"{acres(plan.field.area_ha)} acres",
        _counted(plan),
        plan.machine.name,
        conditions.tillage,
        speed_words(conditions.speed_mps),
        f"{to(conditions.depth_m, 'in', 'length'):.3g} in deep",
        f"{percent(conditions.residue_frac)} residue",
    ]
    return header(plan.field.name, facts)


def _counted(plan: Plan) -> str:
    """Count zones, what the planter is told in them where that is less, and those without."""
    numbered = [setting for setting in plan.settings if setting.numbered]
    treatments = {setting.zone.treatment for setting in numbered}
    parts = [count_of(len(plan.settings), "zone")]
    if None not in treatments and len(treatments) < len(numbered):
        parts.append(count_of(len(treatments), "treatment"))
    if blank := len(plan.settings) - len(numbered):
        parts.append(f"{blank} without numbers")
    return ", ".join(parts)


def whole_field(plan: Plan, moisture: Moisture) -> str:
    """Say the one setting that a machine holds over the field, where it holds one.

    It says where that is too light, right and too heavy, and what it does wrong by itself.
    """
    best = plan.best[moisture]
    summary = best_words(plan, "us")
    if best is None or summary is None:
        return ""
    (here,) = (row for row in summary["settings"] if row["moisture"] == moisture)
    but = f" {here['but']}." if here["but"] else ""
    fits = "; ".join(f"{fit}, {zones}" for fit, zones in here["fits"])
    warning = f'<ul class="warnings"><li>It {escape(here["warning"])}.</li></ul>'
    return (
        f'<div class="zp-best">One {plan.setting_kind} for the whole field, {moisture}: '
        f"<strong>{setting(best, plan.setting_unit)}</strong>.{but} "
        f"<small>With the hopper half full: {escape(fits)}.</small>"
        f"{warning if here['warning'] else ''}</div>"
    )


def margin_is() -> str:
    """Say what a margin is, where the word first stands on a page; at a click the other words."""
    return (
        f'<p class="zp-margin">Margin: {MARGIN}.</p><details class="zp-margin">'
        f"<summary>What the other words mean</summary><dl>{pairs(MEANINGS.items())}</dl></details>"
    )


def zone_table(plan: Plan, moisture: Moisture) -> str:
    """Every treatment in a line, with the zones that get it: the map in words."""
    sets = [plan.setting_kind] if holds_one(plan) else []
    columns = ["Zones", "Acres", "Soil", *sets, "Margin to aim for", "Closing wheels"]
    cells = "".join(f'<th scope="col">{capital(column)}</th>' for column in columns)
    rows = "".join(_row(plan, zones, moisture) for zones in by_treatment(plan))
    return (
        f'<table class="zp-zones"><caption>Every zone, {moisture}</caption>'
        f"<thead><tr>{cells}</tr></thead><tbody>{rows}</tbody></table>"
    )


def generic(plan: Plan) -> str:
    """Say that a plan is of no planter in particular, where nobody put his own weights in."""
    if not stamp(plan):
        return ""
    return (
        f'<p class="zp-generic" role="note"><strong>{escape(stamp(plan))}.</strong> '
        "Put them in on the page “Planter”.</p>"
    )


def notes(plan: Plan) -> str:
    """What the reader of the whole plan should know."""
    bare = without_soil(plan, "us")
    texts = [*([bare] if bare else []), *plan_notes(plan, "us")]
    return f'<section class="zp-notes"><h2>Notes</h2><ul>{items(texts)}</ul></section>'


def needed(what: str) -> str:
    """Say what is still to be given before there can be a plan."""
    line = f"{escape(what)} The plan appears here as soon as it is there."
    return f'{header("Still to give")}<p class="zp-needed">{line}</p>'


def _row(plan: Plan, zones: Sequence[ZoneSetting], moisture: Moisture) -> str:
    """What is done alike in some zones: told once, with its places."""
    instructions = [zone.moistures[moisture] for zone in zones]
    settings = [instruction for instruction in instructions if isinstance(instruction, Setting)]
    if settings:
        first = settings[0]
        aims = [setting.margin_n for setting in settings]
        aim = f"{over(min(aims), max(aims))}{_hand(first.by_hand)}"
        left = _left(settings)
        if holds_one(plan):
            values = [setting.setting for setting in settings]
            sets = dict.fromkeys(setting(value, plan.setting_unit) for value in sorted(values))
            numbers = f"<td>{' to '.join(sets)}{left}</td><td>{aim}</td>"
        else:
            numbers = f"<td>{aim}{left}</td>"
        notch = f"notch {escape(first.closing_notch)}{_hand(first.closing_by_hand)}"
        numbers += f"<td>{notch}{_test(settings)}</td>"
    else:
        width = 3 if holds_one(plan) else 2
        why = "WAIT" if isinstance(instructions[0], Wait) else "no numbers"
        numbers = f'<td colspan="{width}">{why}</td>'
    ids = listed_numbers(sorted(zone.zone.id for zone in zones))
    where = f" <small>{escape(places(zones))}</small>" if places(zones) else ""
    soils = "; ".join(dict.fromkeys(called(zone.zone) for zone in zones))
    units = f" <small>{escape(_units(zones))}</small>" if _units(zones) else ""
    return (
        f'<tr><th scope="row">{ids}</th><td>{acres(area_ha(zones))}</td>'
        f"<td>{escape(soils)}{units}{where}</td>{numbers}</tr>"
    )


def _units(zones: Sequence[ZoneSetting]) -> str:
    """Name the map unit that most of each zone is, where it says more than its texture."""
    named = dict.fromkeys(zone.zone.soils[0][0] for zone in zones if zone.zone.soils)
    return "; ".join(name for name in named if name not in {called(zone.zone) for zone in zones})


def _left(settings: Sequence[Setting]) -> str:
    """What the setting leaves on the gauge wheels from full to refill, where it is not the aim."""
    left_n = [margin_n for at in settings for margin_n in (at.margin_full_n, at.margin_refill_n)]
    if set(map(about, left_n)) == {about(setting.margin_n) for setting in settings}:
        return ""
    return f" <small>leaves {over(max(left_n), min(left_n), 'rough load')}</small>"


def _test(settings: Sequence[Setting]) -> str:
    """Say that a handful is squeezed first, with the odds that it smears."""
    tested = [setting for setting in settings if setting.state == Fitness.TEST]
    if not tested:
        return ""
    return f" <small>squeeze first: {escape(smear_words(tested[0]))}</small>"


def _hand(link: Reason | None) -> str:
    """Mark a number that a person put in place of the rules'."""
    return "" if link is None else ' <small class="zp-hand">by hand</small>'


# ---- the field and its layers --------------------------------------------------------------------


def field_and_layers(run: Run) -> str:
    """Name the field, its layers and how far they reach, as HTML."""
    plan, summary = run.plan, run.summary
    field = plan.field
    covered = percent(1 - plan.uncovered_ha / field.area_ha)
    lacking = f", {plan.uncovered_ha:.2g} ha without" if plan.uncovered_ha else ""
    facts = [
        ("Field", field.name),
        ("Area", f"{field.area_ha:.2f} ha ({acres(field.area_ha)} acres)"),
        ("Outline", _outline(field)),
        ("Where", _where(field)),
        ("Coordinate system", summary.system),
        ("Soil layers cover", covered + lacking),
    ]
    described = pairs((name, escape(value)) for name, value in facts)
    noted = [(f"Boundary, {field.name}", field.notes)] if field.notes else []
    layers = "".join(
        _layer_line(name, notes)
        for name, notes in [
            *noted,
            *map(_soil_line, summary.soils),
            *map(_mark_line, summary.marks),
        ]
    )
    return (
        '<section class="zp-found" aria-label="What was found"><h2>What was found</h2>'
        f"<dl>{described}</dl><ul>{layers}</ul></section>"
    )


def _outline(field: Field) -> str:
    parts = shapely.get_parts(field.shape)
    holes = int(shapely.get_num_interior_rings(parts).sum())
    return f"{count_of(len(parts), 'piece')}, {count_of(holes, 'hole') if holes else 'no holes'}"


def _where(field: Field) -> str:
    middle = move(field.shape.centroid, field.crs, WGS_84)
    north, east = "N" if middle.y >= 0 else "S", "E" if middle.x >= 0 else "W"
    return f"{abs(middle.y):.4f}° {north}, {abs(middle.x):.4f}° {east}"


def _soil_line(layer: SoilLayer) -> tuple[str, Sequence[Notice]]:
    count = count_of(len(layer.ground), "piece")
    return f"{layer.name}: {layer.kind}, {count}, {_system(layer)}", layer.notes


def _mark_line(layer: MarkLayer) -> tuple[str, Sequence[Notice]]:
    """A layer that says where ground lies, and what it says of it."""
    what = ", ".join(subjects(layer)) or "no edges"
    label = what if what == layer.name else f"{layer.name}: {what}"
    return f"{label}, {count_of(len(layer.ground), 'piece')}", layer.notes


def _system(layer: SoilLayer) -> str:
    """What a layer's coordinates were; "unknown" is how the field's own is called."""
    name = layer.ground.crs.name
    return "in metres about the field" if name == "unknown" else str(name)


def _layer_line(label: str, notes: Sequence[Notice]) -> str:
    if not notes:
        return f"<li>{escape(label)}</li>"
    listed = items(words(note, "us") for note in notes)
    return (
        f"<li><details><summary>{escape(label)}; {count_of(len(notes), 'note')}</summary>"
        f"<ul>{listed}</ul></details></li>"
    )
