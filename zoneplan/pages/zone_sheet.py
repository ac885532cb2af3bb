"""One zone in words: what to set, what it rests on, what to look out for."""

from collections.abc import Callable, Sequence

from zoneplan.export.sheets.zone_words import elsewhere, usual_words
from zoneplan.harmless import escape
from zoneplan.pages.forces import Forces, forces_figure, window_figure
from zoneplan.pages.words import (
    about,
    acres,
    called,
    items,
    over,
    over_the_hopper,
    pairs,
    pounds,
    setting,
    table,
)
from zoneplan.plan.chances import LeftAtFill, left_at_fill
from zoneplan.plan.headline import NOISE_N
from zoneplan.plan.model import Instruction, Plan, Setting, Wait, ZoneSetting
from zoneplan.rowunit.balance import Demand, at_fill, weight_n
from zoneplan.rules.rule import Reason
from zoneplan.say.notices import words
from zoneplan.say.quantities import of_ten_rounds, percent, rounds_words, seed_words, smear_words
from zoneplan.say.sentences import named
from zoneplan.terms import Fitness, Moisture, SettingKind

MOST_UNITS = 3  # that are named beside the numbers
HEADLINES = (  # what a setting does wrong of its own, told beside it
    "no-good-margin",
    "bears-little",
    "own-number-outside",
    "openers-float",
    "packs",
    "fill-less",
    "refill-sooner",
    "wheels-lift",
    "needs-more-downforce",
    "needs-less-downforce",
)


def zone_sheet(plan: Plan, number: int, moisture: Moisture, fill: float | None = None) -> str:
    """Show one zone's numbers, warnings, chains of reasons and soil at one moisture, as HTML.

    `fill` is the share of the hopper to tell of; as full as planned unless it is given.
    """
    fill = plan.machine.fill_full if fill is None else fill
    zone = next(setting for setting in plan.settings if setting.zone.id == number)
    instruction = zone.moistures[moisture]
    title = f"Zone {number}: {called(zone.zone)}"
    facts = [f"{acres(zone.zone.area_ha)} acres", moisture, usual_words(zone)]
    return (
        f'<article class="zp-zone"><h2>{escape(title)}</h2>'
        f'<p class="area">{escape(", ".join(fact for fact in facts if fact))}</p>'
        f"{_units(zone)}{_places(plan, zone)}"
        f"{_numbers(plan, zone, moisture, fill)}"
        f"{_warnings(instruction)}{_chains(instruction)}{_soil(zone)}"
        "</article>"
    )


def _units(zone: ZoneSetting) -> str:
    """Name the map units that it is made of, the largest first."""
    soils = zone.zone.soils
    several = len(soils) > 1
    named = [f"{name}, {percent(share)}" if several else name for name, share in soils[:MOST_UNITS]]
    more = [f"{len(soils) - MOST_UNITS} more below"] if len(soils) > MOST_UNITS else []
    lines = "<br>".join(map(escape, [*named, *more]))
    return f'<p class="area units">{lines}</p>' if named else ""


def _places(plan: Plan, zone: ZoneSetting) -> str:
    """Say where else the same is done."""
    others = elsewhere(plan, zone)
    if not others or not zone.numbered:
        return ""
    return f'<p class="area">The same is done in {named(others)}.</p>'


def _numbers(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> str:
    instruction = zone.moistures[moisture]
    if isinstance(instruction, Wait):
        return (
            '<p class="wait"><strong>Wait.</strong> Too wet: there is no number. '
            f"It {escape(smear_words(instruction))}.</p>"
        )
    if not isinstance(instruction, Setting):
        return ""
    return (
        f"{_answer(plan, instruction)}{_headline(instruction)}"
        f"{_left_table(plan, zone, moisture, fill)}{_figures(plan, instruction, fill)}"
    )


def _headline(setting: Setting) -> str:
    """What the setting itself does wrong, where it does, right beneath it."""
    notices = [notice for notice in setting.notices if notice.code in HEADLINES]
    rows = items(words(notice, "us") for notice in dict.fromkeys(notices))
    return f'<div role="note"><ul class="warnings">{rows}</ul></div>' if rows else ""


def _answer(plan: Plan, instruction: Setting) -> str:
    """What to set, how the furrow is closed, how often it holds, and whether to squeeze."""
    if plan.setting_kind == SettingKind.MARGIN_TARGET:
        here = f"holds {pounds(instruction.setting)}"
        added = over_the_hopper(instruction.downforce_full_n, instruction.downforce_refill_n)
        means = f"by a downforce of {added}"
    else:
        here = f"{plan.setting_kind} {setting(instruction.setting, plan.setting_unit)}"
        means = f"aimed at {pounds(instruction.margin_n)} on the gauge wheels"
    squeeze = "first" if instruction.state == Fitness.TEST else "not asked for"
    lines = [
        ("Set", here, means),
        (
            "Closing wheels",
            f"notch {instruction.closing_notch}",
            f"{pounds(instruction.closing_load_n)} on them",
        ),
        ("Chance", rounds_words(plan, instruction), _check_first(instruction)),
        ("Squeeze test", squeeze, smear_words(instruction)),
    ]
    answers = pairs(
        (name, f"<strong>{escape(value)}</strong> <small>{_unbroken(escape(means))}</small>")
        for name, value, means in lines
    )
    return f'<dl class="answer">{answers}</dl>'


def _gave_way(setting: Setting) -> str:
    """Say which limit the target does not keep, where it cannot keep both."""
    if setting.gave_way is None:
        return ""
    light = setting.gave_way == "least"
    limit = "Less than keeps the wheels down." if light else "More than the soil bears."
    return f'<p class="area">{limit}</p>'


def _check_first(setting: Setting) -> str:
    seldom = any(notice.code == "seldom-right" for notice in setting.notices)
    return "check it by hand in the first pass" if seldom else ""


def _unbroken(words: str) -> str:
    """Keep a figure and its unit on one line."""
    return words.replace(" %", "\u00a0%").replace(" lb", "\u00a0lb")


def _figures(plan: Plan, setting: Setting, fill: float) -> str:
    forces = Forces(
        weight_full_n=weight_n(plan.machine, plan.machine.fill_full),
        weight_refill_n=weight_n(plan.machine, plan.machine.fill_refill),
        downforce_full_n=setting.downforce_full_n,
        downforce_refill_n=setting.downforce_refill_n,
        opener_load_n=setting.opener_load_n,
        attachments_load_n=setting.attachments_load_n,
        closing_load_n=setting.closing_load_n,
        margin_n=setting.margin_n,
        between=_between(plan, setting, fill),
    )
    window = window_figure(setting.margin_least_n, setting.margin_n, setting.margin_most_n)
    return window + forces_figure(forces)


def _between(plan: Plan, setting: Setting, fill: float) -> tuple[str, float, float] | None:
    """A bar of its own for a hopper that is neither full nor to be refilled."""
    if fill in (plan.machine.fill_full, plan.machine.fill_refill):
        return None
    openers_n = setting.opener_load_n + setting.attachments_load_n
    demand = Demand(0.0, setting.margin_n, openers_n, setting.closing_load_n)
    now = at_fill(plan.machine, demand, setting.setting, fill)
    return f"{percent(fill)} full", now.weight_n, now.needed_n


def _warnings(instruction: Instruction) -> str:
    told_above = (*HEADLINES, "squeeze-test", "seldom-right")
    texts = dict.fromkeys(
        words(notice, "us") for notice in instruction.notices if notice.code not in told_above
    )
    rows = items(texts)
    return f'<ul class="warnings">{rows}</ul>' if rows else ""


def _chains(instruction: Instruction) -> str:
    if isinstance(instruction, Wait):
        return _chain("Why there is no number", instruction.reasons, pounds)
    if not isinstance(instruction, Setting):
        return ""
    notch = f"notch {instruction.closing_notch}"
    return (
        _chain(f"Why {pounds(instruction.margin_n)}", instruction.reasons, pounds)
        + _gave_way(instruction)
        + _chain(f"Why {notch}", instruction.closing_reasons, pounds)
    )


def _chain(title: str, reasons: Sequence[Reason], shown: Callable[[float | None], str]) -> str:
    """The links that add up to a number, in order, each with its rule and its source."""
    spoken = [reason for reason in reasons if reason.why or shown(reason.adds) != shown(0.0)]
    links = "".join(
        f"<li><b>{_adds(reason, shown)}</b><div>{escape(reason.why)}"
        f"<details><summary>{escape(reason.rule)}, {escape(reason.confidence)}</summary>"
        f"{escape(reason.source)}</details></div></li>"
        for reason in spoken
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
    more = "".join(
        f"<li><b>{percent(share)}</b><div>{escape(name)}</div></li>"
        for name, share in zone.zone.soils[MOST_UNITS:]
    )
    details = pairs((name, escape(value)) for name, value in known)
    listed = f'<ul class="chain">{more}</ul>' if more else ""
    notes = "".join(
        f"<p>{escape(words(note, 'us'))}</p>" for note in facts.notes if note.code != "usual-day"
    )
    return (
        f'<h3>Soil</h3><dl class="details">{details}</dl>{listed}<div class="notes">{notes}</div>'
    )


# ---- what the setting leaves ---------------------------------------------------------------------


def _left_table(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> str:
    """What the setting leaves at full, half and refill, and at a fill in between, as HTML.

    Everything is told of the margin that is left, not of the one that was aimed for.
    """
    setting = zone.moistures[moisture]
    assert isinstance(setting, Setting)
    fills = _fills(plan, fill)
    left = [left_at_fill(plan, zone, moisture, share) for share in fills.values()]
    rows = [
        ("Margin left", [about(at_fill.margin_n) for at_fill in left]),
        ("Least to most", [_against(at_fill, setting) for at_fill in left]),
        ("Wheels on the ground", [_contact(at_fill) for at_fill in left]),
        ("Seed more than 0.4 in shallow", [seed_words(at_fill.shallow_share) for at_fill in left]),
    ]
    if plan.setting_kind != SettingKind.MARGIN_TARGET:  # one that holds a margin holds it all along
        rounds = [str(of_ten_rounds(at_fill.chances)[0]) for at_fill in left]
        rows.append(("Right, of 10 rounds", rounds))
    columns = [*fills]
    if len(columns) > 1 and all(len({*cells}) == 1 for _, cells in rows):  # told once
        columns = ["full to refill"]
        rows = [(name, cells[:1]) for name, cells in rows]
    opener = over(setting.opener_least_n, setting.opener_most_n, "rough load")
    left_html = table(
        "zp-zones zp-left",
        "What the setting leaves",
        ("Hopper", *columns),
        ([name, *cells] for name, cells in rows),
    )
    return (
        f"{left_html}"
        '<p class="zp-left-note">Wheels, seed and rounds count that the opener load may be '
        f"anywhere from {opener}, and more: so "
        "the wheels are down for less of the time than the margin left would say by itself.</p>"
    )


def _against(remainder: LeftAtFill, setting: Setting) -> str:
    """Say on which side of the window a margin lies, and how far."""
    least_n, most_n = setting.margin_least_n, setting.margin_most_n
    if remainder.margin_n > most_n + NOISE_N:
        return f"<b>packs</b>, {about(remainder.margin_n - most_n)} over"
    if remainder.margin_n < least_n - NOISE_N:
        return f"<b>too light</b> by {about(least_n - remainder.margin_n)}"
    return "inside"


def _fills(plan: Plan, fill: float) -> dict[str, float]:
    """Full, half way and refill, and the fill that was asked for, from the fullest."""
    full, refill = plan.machine.fill_full, plan.machine.fill_refill
    if full <= refill:
        return {"full": full}
    half = (full + refill) / 2
    named = {full: "full", half: "half", refill: "refill"}
    fills = sorted({full, half, refill, fill}, reverse=True)
    return {named.get(fill, f"{percent(fill)}"): fill for fill in fills}


def _contact(remainder: LeftAtFill) -> str:
    return "over 99 %" if remainder.contact_share >= 0.995 else percent(remainder.contact_share)
