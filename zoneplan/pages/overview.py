"""What a plan says as a whole: its head, the legend, every zone in a line, notes, cautions.

All of it is HTML that escapes what came from outside, so that names do nothing.
"""

import base64

from zoneplan.errors import ZoneplanError
from zoneplan.export.notices_summary import plan_notes
from zoneplan.export.picture import MapClass, map_classes, swatch_svg
from zoneplan.harmless import escape
from zoneplan.pages.boxes import advice
from zoneplan.pages.words import MARGIN_IS, acres, called, percent, pounds, setting, span
from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.rowunit import words
from zoneplan.rules.rule import Reason
from zoneplan.terms import Moisture
from zoneplan.units import to

CAUTIONS = (
    "A starting point only. Stop, dig, and check depth, furrow wall and closing in every zone; "
    "too wet means wait. Before anyone reaches in: engine off, key out, pressure relieved, the "
    "planter lowered or its safety stops in. The machine's manual, local rules and the "
    "agronomist on the ground come first."
)


def head(plan: Plan) -> str:
    """Name the field and say what the plan is made for."""
    told = plan.conditions
    facts = [
        f"{acres(plan.field.area_ha)} acres",
        f"{len(plan.settings)} zones" if len(plan.settings) > 1 else "1 zone",
        plan.machine.name,
        told.tillage,
        words.speed(told.speed_mps),
        f"{to(told.depth_m, 'in', 'length'):.3g} in deep",
        f"{percent(told.residue_frac)} residue",
    ]
    listed = "".join(f"<li>{escape(it)}</li>" for it in facts)
    return f'<header class="zp-head"><h1>{escape(plan.field.name)}</h1><ul>{listed}</ul></header>'


def whole_field(plan: Plan, wetness: Moisture) -> str:
    """Say the one setting that a machine holds over the field, where it holds one."""
    best = plan.best[wetness]
    if best is None:
        return ""
    value = setting(best, plan.setting_unit)
    waiting = [it for it in plan.settings if isinstance(it.moistures[wetness], Wait)]
    but = f" {len(waiting)} of {len(plan.settings)} zones wait." if waiting else ""
    return (
        f'<p class="zp-best">One {plan.setting_kind} for the whole field, {wetness}: '
        f"<strong>{value}</strong>.{but}</p>"
    )


def legend(plan: Plan, wetness: Moisture) -> str:
    """Say what the shades of the map mean."""
    rows = "".join(
        f'<li><img alt="" src="{swatch(kind)}"><span><strong>{escape(kind.label)}</strong> '
        f"{'zone' if len(kind.zones) == 1 else 'zones'} {', '.join(map(str, kind.zones))}"
        "</span></li>"
        for kind in map_classes(plan, wetness)
    )
    return (
        f'<figure class="zp-legend"><figcaption>Margin to aim for, {wetness}</figcaption>'
        f"<ul>{rows}</ul></figure>"
    )


def margin_is() -> str:
    """Say what a margin is, where the word first stands on a page."""
    return f'<p class="zp-margin">{MARGIN_IS}</p>'


def zone_table(plan: Plan, wetness: Moisture) -> str:
    """Every zone in a line: the map in words."""
    sets = [plan.setting_kind] if _sets_more(plan) else []
    columns = ["Zone", "Acres", "Soil", *sets, "Margin to aim for", "Closing wheels"]
    cells = "".join(f'<th scope="col">{_capital(it)}</th>' for it in columns)
    rows = "".join(_row(plan, it, wetness) for it in plan.settings)
    return (
        f'<table class="zp-zones"><caption>Every zone, {wetness}</caption>'
        f"<thead><tr>{cells}</tr></thead><tbody>{rows}</tbody></table>"
    )


def notes(plan: Plan) -> str:
    """What the reader of the whole plan should know."""
    uncovered = f"The soil layers say nothing of {acres(plan.uncovered_ha)} acres of this field."
    told = [*([uncovered] if plan.uncovered_ha else []), *plan_notes(plan, "us")]
    listed = "".join(f"<li>{escape(it)}</li>" for it in told)
    return f'<section class="zp-notes"><h2>Notes</h2><ul>{listed}</ul></section>'


def needed(what: str) -> str:
    """Say what is still to be given before there can be a plan."""
    return (
        f'<header class="zp-head"><h1>Still to give</h1></header><p class="zp-needed">'
        f"{escape(what)} The plan appears here as soon as it is there.</p>"
    )


def fault(error: ZoneplanError | str) -> str:
    """Show an error in a red box: what was found, why it stops, what to do, and in which box."""
    message = f"{error}\n{advice(error)}" if isinstance(error, ZoneplanError) else error
    first, *rest = message.splitlines()
    body = "\n".join(rest)
    return (
        f'<div class="zp-fault" role="alert"><p>{escape(first)}</p>'
        f'<p class="rest">{escape(body)}</p></div>'
    )


def swatch(kind: MapClass) -> str:
    """A swatch as a link, for the page takes no drawings in its HTML."""
    return f"data:image/svg+xml;base64,{base64.b64encode(swatch_svg(kind).encode()).decode()}"


def _row(plan: Plan, zone: ZoneSetting, wetness: Moisture) -> str:
    told = zone.moistures[wetness]
    if isinstance(told, Setting):
        left = _left(told)
        aim = f"{pounds(told.margin_n)}{_hand(told.by_hand)}"
        if _sets_more(plan):
            numbers = f"<td>{setting(told.setting, plan.setting_unit)}{left}</td><td>{aim}</td>"
        else:
            numbers = f"<td>{aim}{left}</td>"
        numbers += f"<td>notch {escape(told.closing_notch)}{_hand(told.closing_by_hand)}</td>"
    else:
        width = 3 if _sets_more(plan) else 2
        why = "WAIT" if isinstance(told, Wait) else "no numbers"
        numbers = f'<td colspan="{width}">{why}</td>'
    return (
        f'<tr><th scope="row">{zone.zone.id}</th><td>{acres(zone.zone.area_ha)}</td>'
        f"<td>{escape(called(zone.zone))}</td>{numbers}</tr>"
    )


def _left(told: Setting) -> str:
    """What the setting leaves on the gauge wheels from full to refill, where it is not the aim."""
    left = span(told.margin_full_n, told.margin_refill_n)
    return "" if left == pounds(told.margin_n) else f" <small>leaves {left}</small>"


def _hand(link: Reason | None) -> str:
    """Mark a number that a person put in place of the rules'."""
    return "" if link is None else ' <small class="zp-hand">by hand</small>'


def _sets_more(plan: Plan) -> bool:
    """Whether the machine is set to something else than the margin target itself."""
    return plan.setting_kind != "margin target"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
