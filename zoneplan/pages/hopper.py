"""What one zone is left with as the hopper empties: margin, contact, seed, and the odds."""

from zoneplan.harmless import escape
from zoneplan.pages.words import about, about_span, percent
from zoneplan.plan.chances import LeftAtFill, left_at_fill
from zoneplan.plan.headline import NOISE_N
from zoneplan.plan.model import Plan, Setting, ZoneSetting
from zoneplan.rowunit.odds import of_ten_rounds
from zoneplan.say.odds import seed_words
from zoneplan.terms import Moisture, SettingKind


def left_table(plan: Plan, zone: ZoneSetting, moisture: Moisture, fill: float) -> str:
    """What the setting leaves at full, half and refill, and at a fill in between, as HTML.

    Everything is told of the margin that is left, not of the one that was aimed for.
    """
    setting = zone.moistures[moisture]
    assert isinstance(setting, Setting)
    fills = _fills(plan, fill)
    left = [left_at_fill(plan, zone, moisture, share) for share in fills.values()]
    rows = [
        ("Margin left", [about(at_fill.margin_n) for at_fill in left]),
        ("Against the window", [against(at_fill, setting) for at_fill in left]),
        ("Wheels on the ground", [_contact(at_fill) for at_fill in left]),
        ("Seed more than 0.4 in shallow", [seed_words(at_fill.shallow_share) for at_fill in left]),
    ]
    if plan.setting_kind != SettingKind.MARGIN_TARGET:  # one that holds a margin holds it all along
        rounds = [str(of_ten_rounds(at_fill.chances)[0]) for at_fill in left]
        rows.append(("In the window, of 10 rounds", rounds))
    columns = [*fills]
    if len(columns) > 1 and all(len({*cells}) == 1 for _, cells in rows):  # told once
        columns = ["full to refill"]
        rows = [(name, cells[:1]) for name, cells in rows]
    heads = "".join(f'<th scope="col">{escape(name)}</th>' for name in ("Hopper", *columns))
    body = "".join(
        f'<tr><th scope="row">{escape(name)}</th>'
        f"{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>"
        for name, cells in rows
    )
    return (
        '<table class="zp-zones zp-left"><caption>What the setting leaves</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
        '<p class="zp-left-note">Wheels, seed and rounds count that the opener load may be '
        f"anywhere from {about_span(setting.opener_least_n, setting.opener_most_n)}, and more: so "
        "the wheels are down for less of the time than the margin left would say by itself.</p>"
    )


def against(remainder: LeftAtFill, setting: Setting) -> str:
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
