"""One zone in words: what to set, what it rests on, what to look out for."""

from collections.abc import Callable, Sequence

from zoneplan.harmless import escape
from zoneplan.pages.forces import Forces, forces_figure, window_figure
from zoneplan.pages.words import (
    acres,
    called,
    over_the_hopper,
    percent,
    pounds,
    setting,
    span,
    wheels_up,
)
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.demand import Demand
from zoneplan.rowunit.fill import AtFill, at_fill
from zoneplan.rules.rule import Reason
from zoneplan.say.notices import words
from zoneplan.terms import Moisture, SettingKind


def zone_sheet(plan: Plan, number: int, wetness: Moisture, fill: float | None = None) -> str:
    """Show one zone's numbers, warnings, chains of reasons and soil at one wetness, as HTML.

    `fill` is the share of the hopper to tell of; as full as planned unless it is given.
    """
    fill = plan.machine.fill_full if fill is None else fill
    zone = next(it for it in plan.settings if it.zone.id == number)
    told = zone.moistures[wetness]
    title = f"Zone {number}: {called(zone.zone)}"
    return (
        f'<article class="zp-zone"><h2>{escape(title)}</h2>'
        f'<p class="area">{acres(zone.zone.area_ha)} acres, {wetness}</p>'
        f"{_numbers(plan, told, fill)}{_warnings(told)}{_chains(told)}{_soil(zone)}</article>"
    )


def _numbers(plan: Plan, told: Instruction, fill: float) -> str:
    if isinstance(told, Wait):
        return '<p class="wait"><strong>Wait.</strong> Too wet: there is no number.</p>'
    if not isinstance(told, Setting):
        return ""
    now = _at_fill(plan, told, fill)
    filled = "full" if fill == plan.machine.fill_full else f"{percent(fill)} full"
    details = [
        (f"Margin it leaves, hopper {filled}", pounds(now.margin_n)),
        (f"Downforce needed, hopper {filled}", pounds(now.needed_n)),
        ("Downforce needed, full to refill", span(told.downforce_full_n, told.downforce_refill_n)),
        ("Least that keeps the wheels down", pounds(told.margin_least_n)),
        ("Most the soil bears", pounds(told.margin_most_n)),
        ("Opener load", _opener(told)),
        ("Confidence", told.confidence),
    ]
    return (
        f'{_answer(plan, told)}<dl class="details">{_pairs(details)}</dl>'
        f"{_figures(plan, told, fill)}"
    )


def _answer(plan: Plan, told: Setting) -> str:
    """What this planter does here, what was aimed for, and how the furrow is closed."""
    left = over_the_hopper(told.margin_full_n, told.margin_refill_n)
    here = f"{plan.setting_kind} {setting(told.setting, plan.setting_unit)}"
    does = f"leaves on the gauge wheels {left}"
    if plan.setting_kind == SettingKind.MARGIN_TARGET:
        here = f"holds {pounds(told.setting)}"
        added = over_the_hopper(told.downforce_full_n, told.downforce_refill_n)
        does += f", by a downforce of {added}"
    up = wheels_up(told.contact_share)
    lines = [
        ("This planter", here, does),
        ("Aimed for", f"{pounds(told.margin_n)} of margin", up and f"at that, {up}"),
        ("Closing wheels", f"notch {told.closing_notch}", f"{pounds(told.closing_load_n)} on them"),
    ]
    rows = "".join(
        f"<div><dt>{escape(name)}</dt><dd><strong>{escape(value)}</strong> "
        f"<small>{_unbroken(escape(means))}</small></dd></div>"
        for name, value, means in lines
    )
    return f'<dl class="answer">{rows}</dl>'


def _unbroken(words: str) -> str:
    """Keep a figure and its unit on one line."""
    return words.replace(" %", "\u00a0%").replace(" lb", "\u00a0lb")


def _figures(plan: Plan, told: Setting, fill: float) -> str:
    """The forces and the margin window."""
    forces = Forces(
        weight_full_n=weight_n(plan.machine, plan.machine.fill_full),
        weight_refill_n=weight_n(plan.machine, plan.machine.fill_refill),
        downforce_full_n=told.downforce_full_n,
        downforce_refill_n=told.downforce_refill_n,
        opener_load_n=told.opener_load_n,
        closing_load_n=told.closing_load_n,
        margin_n=told.margin_n,
        between=_between(plan, told, fill),
    )
    window = window_figure(told.margin_least_n, told.margin_n, told.margin_most_n)
    return window + forces_figure(forces)


def _between(plan: Plan, told: Setting, fill: float) -> tuple[str, float, float] | None:
    """A bar of its own for a hopper that is neither full nor to be refilled."""
    if fill in (plan.machine.fill_full, plan.machine.fill_refill):
        return None
    now = _at_fill(plan, told, fill)
    return f"{percent(fill)} full", now.weight_n, now.needed_n


def _at_fill(plan: Plan, told: Setting, fill: float) -> AtFill:
    demand = Demand(0.0, told.margin_n, told.opener_load_n, told.closing_load_n)
    return at_fill(plan.machine, demand, told.setting, fill)


def _opener(told: Setting) -> str:
    may_be = span(told.opener_least_n, told.opener_most_n)
    return f"{pounds(told.opener_load_n)} (may be {may_be})"


def _pairs(pairs: Sequence[tuple[str, str]]) -> str:
    return "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in pairs
    )


def _warnings(told: Instruction) -> str:
    texts = dict.fromkeys(words(it, "us") for it in told.notices)
    rows = "".join(f"<li>{escape(it)}</li>" for it in texts)
    return f'<ul class="warnings">{rows}</ul>' if rows else ""


def _chains(told: Instruction) -> str:
    if isinstance(told, Wait):
        return _chain("Why there is no number", told.reasons, pounds)
    if not isinstance(told, Setting):
        return ""
    notch = f"notch {told.closing_notch}, {pounds(told.closing_load_n)}"
    return _chain(f"Why {pounds(told.margin_n)}", told.reasons, pounds) + _chain(
        f"Why {notch}", told.closing_reasons, percent
    )


def _chain(title: str, reasons: Sequence[Reason], shown: Callable[[float | None], str]) -> str:
    """The links that add up to a number, in order, each with its rule and its source."""
    links = "".join(
        f"<li><b>{_adds(it, shown)}</b><div>{escape(it.why)}"
        f"<details><summary>{escape(it.rule)}, {escape(it.confidence)}</summary>"
        f"{escape(it.source)}</details></div></li>"
        for it in reasons
    )
    return f'<h3>{escape(title)}</h3><ol class="chain">{links}</ol>'


def _adds(reason: Reason, shown: Callable[[float | None], str]) -> str:
    if reason.adds is None:
        return "wait"
    sign = "+" if reason.adds > 0 and reason.kind != "base" else ""
    return f"{sign}{shown(reason.adds)}"


def _soil(zone: ZoneSetting) -> str:
    facts = zone.zone.facts
    parts = [
        ("Sand", facts.sand_frac),
        ("Silt", facts.silt_frac),
        ("Clay", facts.clay_frac),
        ("Rock by volume", facts.fragments_frac),
    ]
    known = [(name, percent(share)) for name, share in parts if share is not None]
    if facts.organic_pct is not None:
        known.append(("Organic matter", f"{facts.organic_pct:.1f} %"))
    if facts.density_mg_m3 is not None:
        known.append(("Density", f"{facts.density_mg_m3:.2f} g/cm³"))
    if facts.ground == "soil":
        known.append(("Has texture data", percent(facts.rated_share)))
    soils = "".join(
        f"<li><b>{percent(share)}</b><div>{escape(named)}</div></li>"
        for named, share in zone.zone.soils
    )
    notes = "".join(f"<p>{escape(words(it, 'us'))}</p>" for it in facts.notes)
    return (
        f'<h3>Soil</h3><dl class="details">{_pairs(known)}</dl>'
        f'<ul class="chain">{soils}</ul><div class="notes">{notes}</div>'
    )
