"""One zone in words: what to set, what it rests on, what to look out for."""

from collections.abc import Callable, Sequence

from zoneplan.harmless import escape
from zoneplan.pages.forces import Forces, forces_figure, window_figure
from zoneplan.pages.words import (
    UNKNOWN,
    acres,
    called,
    over_the_hopper,
    percent,
    pounds,
    setting,
    span,
    wheels_up,
)
from zoneplan.prescription import MoistureSetting, Plan, ZoneSetting
from zoneplan.rowunit.balance import weight_n
from zoneplan.rowunit.fill import AtFill, at_fill
from zoneplan.rowunit.need import Need
from zoneplan.rules.rule import Reason


def zone_sheet(plan: Plan, number: int, wetness: str, fill: float | None = None) -> str:
    """Show one zone's numbers, warnings, chains of reasons and soil at one wetness, as HTML.

    `fill` is the share of the hopper to tell of; as full as planned unless it is given.
    """
    fill = plan.machine.fill_full if fill is None else fill
    zone = next(it for it in plan.settings if it.zone.id == number)
    moisture = zone.moistures[wetness]
    title = f"Zone {number}: {called(zone.zone)}"
    return (
        f'<article class="zp-zone"><h2>{escape(title)}</h2>'
        f'<p class="area">{acres(zone.zone.area_ha)} acres, {wetness}</p>'
        f"{_numbers(plan, moisture, fill)}{_figures(plan, moisture, fill)}{_warnings(moisture)}"
        f"{_chains(moisture)}{_soil(zone)}</article>"
    )


def _numbers(plan: Plan, moisture: MoistureSetting, fill: float) -> str:
    if moisture.wait:
        return '<p class="wait"><strong>Wait.</strong> Too wet: there is no number.</p>'
    if moisture.margin_n is None:
        return ""
    now = _at_fill(plan, moisture, fill)
    filled = "full" if fill == plan.machine.fill_full else f"{percent(fill)} full"
    details = [
        (f"Margin it leaves, hopper {filled}", pounds(now.margin_n if now else None)),
        (f"Downforce needed, hopper {filled}", pounds(now.needed_n if now else None)),
        (
            "Downforce needed, full to refill",
            span(moisture.downforce_full_n, moisture.downforce_refill_n),
        ),
        ("Least that keeps the wheels down", pounds(moisture.margin_least_n)),
        ("Most the soil bears", pounds(moisture.margin_most_n)),
        ("Opener load", _opener(moisture)),
        ("Confidence", moisture.confidence or UNKNOWN),
    ]
    return f'{_answer(plan, moisture)}<dl class="details">{_pairs(details)}</dl>'


def _answer(plan: Plan, moisture: MoistureSetting) -> str:
    """What this planter does here, what was aimed for, and how the furrow is closed."""
    left = over_the_hopper(moisture.margin_full_n, moisture.margin_refill_n)
    here = f"{plan.setting_kind} {setting(moisture.setting, plan.setting_unit)}"
    does = f"leaves on the gauge wheels {left}"
    if plan.setting_kind == "margin target":
        here = f"holds {pounds(moisture.setting)}"
        added = over_the_hopper(moisture.downforce_full_n, moisture.downforce_refill_n)
        does += f", by a downforce of {added}"
    up = wheels_up(moisture.contact_share)
    lines = [
        ("This planter", here, does),
        ("Aimed for", f"{pounds(moisture.margin_n)} of margin", up and f"at that, {up}"),
        (
            "Closing wheels",
            f"notch {moisture.closing_notch or UNKNOWN}",
            f"{pounds(moisture.closing_load_n)} on them",
        ),
    ]
    told = "".join(
        f"<div><dt>{escape(name)}</dt><dd><strong>{escape(value)}</strong> "
        f"<small>{_unbroken(escape(means))}</small></dd></div>"
        for name, value, means in lines
    )
    return f'<dl class="answer">{told}</dl>'


def _unbroken(words: str) -> str:
    """Keep a figure and its unit on one line."""
    return words.replace(" %", "\u00a0%").replace(" lb", "\u00a0lb")


def _figures(plan: Plan, moisture: MoistureSetting, fill: float) -> str:
    """The forces and the margin window, where there are numbers to draw."""
    told = moisture
    if (
        told.margin_n is None
        or told.margin_least_n is None
        or told.opener_load_n is None
        or told.closing_load_n is None
        or told.downforce_full_n is None
        or told.downforce_refill_n is None
    ):
        return ""
    forces = Forces(
        weight_full_n=weight_n(plan.machine, plan.machine.fill_full),
        weight_refill_n=weight_n(plan.machine, plan.machine.fill_refill),
        downforce_full_n=told.downforce_full_n,
        downforce_refill_n=told.downforce_refill_n,
        opener_load_n=told.opener_load_n,
        closing_load_n=told.closing_load_n,
        margin_n=told.margin_n,
        between=_between(plan, moisture, fill),
    )
    window = window_figure(told.margin_least_n, told.margin_n, told.margin_most_n)
    return window + forces_figure(forces)


def _between(plan: Plan, moisture: MoistureSetting, fill: float) -> tuple[str, float, float] | None:
    """A bar of its own for a hopper that is neither full nor to be refilled."""
    now = _at_fill(plan, moisture, fill)
    if now is None or fill in (plan.machine.fill_full, plan.machine.fill_refill):
        return None
    return f"{percent(fill)} full", now.weight_n, now.needed_n


def _at_fill(plan: Plan, moisture: MoistureSetting, fill: float) -> AtFill | None:
    if (
        moisture.margin_n is None
        or moisture.opener_load_n is None
        or moisture.closing_load_n is None
        or moisture.setting is None
    ):
        return None
    need = Need(0.0, moisture.margin_n, moisture.opener_load_n, moisture.closing_load_n)
    return at_fill(plan.machine, need, moisture.setting, fill)


def _opener(moisture: MoistureSetting) -> str:
    told = pounds(moisture.opener_load_n)
    if moisture.opener_least_n is None or moisture.opener_most_n is None:
        return told
    return f"{told} (may be {span(moisture.opener_least_n, moisture.opener_most_n)})"


def _pairs(pairs: Sequence[tuple[str, str]]) -> str:
    return "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in pairs
    )


def _warnings(moisture: MoistureSetting) -> str:
    told = "".join(f"<li>{escape(it)}</li>" for it in moisture.warnings)
    return f'<ul class="warnings">{told}</ul>' if told else ""


def _chains(moisture: MoistureSetting) -> str:
    margin, closing = moisture.reasons, moisture.closing_reasons
    target = "there is no number" if moisture.margin_n is None else pounds(moisture.margin_n)
    notch = f"notch {moisture.closing_notch}, {pounds(moisture.closing_load_n)}"
    return "".join(
        [
            _chain(f"Why {target}", margin, pounds) if margin else "",
            _chain(f"Why {notch}", closing, percent) if closing else "",
        ]
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
    notes = "".join(f"<p>{escape(it)}</p>" for it in facts.notes)
    return (
        f'<h3>Soil</h3><dl class="details">{_pairs(known)}</dl>'
        f'<ul class="chain">{soils}</ul><div class="notes">{notes}</div>'
    )
