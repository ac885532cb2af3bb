"""Notices and reasons in words.

A notice is told by itself, or many once with the zones and moistures that they hold for. A link
of a chain is told by what it does to the number, and why, so that its words agree with its sign.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from zoneplan.notices import Notice
from zoneplan.plan.model import OVERRIDE
from zoneplan.rules.rule import Reason
from zoneplan.say.quantities import UNKNOWN, figure, number, percent, plain
from zoneplan.say.sentences import BOTH, Figures, capital, ended, named, sentence
from zoneplan.say.trade import TRADE
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF

STEP_N = 5 * N_PER_LBF  # targets are whole steps of it
_NAME_FIRST = re.compile(r"\{\w+:name\}")
Remark = tuple[str, str]  # where or when it holds, "" for always; and what is said

# Figures of these belong together: a span of each would tell of ground that is nowhere.
_WHOLE = (
    "misses-target",
    "at-one-pressure",
    "off-at-one-setting",
    "seldom-right",
    "usual-day",
)


def words(notice: Notice, units: str = BOTH) -> str:
    """Tell one notice as a sentence.

    >>> from zoneplan.notices import notice
    >>> words(notice("takes-lift", share=0.25))
    '25 % of the planned area would take lift, hopper full.'
    """
    return _filled(notice, dict(notice.values), units)


def each_once(notices: Iterable[Notice], units: str = BOTH) -> list[Remark]:
    """Tell every notice once, with the zones and moistures that it holds for.

    Those of one code at one moisture that differ in their figures alone are told as one, with
    the span of each figure.
    """
    alike: dict[tuple[Any, ...], list[Notice]] = {}
    for notice in notices:
        alike.setdefault((notice.moisture, *_kind(notice)), []).append(notice)
    remarks: dict[str, dict[int | None, list[Moisture | None]]] = {}
    for group in alike.values():
        text = _filled(group[0], _spans(group), units)
        for notice in group:
            when = remarks.setdefault(text, {}).setdefault(notice.zone, [])
            if notice.moisture not in when:
                when.append(notice.moisture)
    return [(_place(zones), text) for text, zones in remarks.items()]


def _filled(notice: Notice, values: Mapping[str, Any], units: str) -> str:
    template = TRADE[notice.code]
    template = template if isinstance(template, str) else template(values)
    text = Figures(units).fill(template, values)
    if notice.layer is not None:
        return ended(f"{notice.layer}: {text}")
    return ended(text) if _NAME_FIRST.match(template) else sentence(text)


def _kind(notice: Notice) -> tuple[Any, ...]:
    """What has to be equal for two notices to be told as one."""
    if notice.code in _WHOLE:
        return (notice.code, notice.rule, notice.layer, notice.values)
    fixed = tuple((name, value) for name, value in notice.values if not _measured(value))
    return (notice.code, notice.rule, notice.layer, fixed)


def _measured(value: Any) -> bool:
    return isinstance(value, float)


def _spans(group: Sequence[Notice]) -> dict[str, Any]:
    """The values of notices that are told as one: of each figure its least and its most."""
    values = dict(group[0].values)
    for name, first in group[0].values:
        if _measured(first):
            figures = [float(notice[name]) for notice in group]
            if min(figures) < max(figures):
                values[name] = (min(figures), max(figures))  # type: ignore[assignment]
    return values


def _place(zones: Mapping[int | None, Sequence[Moisture | None]]) -> str:
    """Name zones by when a remark holds there: "Zones 1, 4, dry; zone 2, dry and moist"."""
    by_when: dict[str, list[int | None]] = {}
    for zone, moistures in zones.items():
        by_when.setdefault(_when(moistures), []).append(zone)
    parts = []
    for when, numbers in by_when.items():
        ids = sorted(number for number in numbers if number is not None)
        parts.append(", ".join(part for part in (named(ids) if ids else "", when) if part))
    text = "; ".join(part for part in parts if part)
    return capital(text)


def _when(moistures: Sequence[Moisture | None]) -> str:
    known = [moisture for moisture in Moisture if moisture in moistures]
    return "" if len(known) in (0, len(Moisture)) else " and ".join(known)


# ---- the links of a chain ------------------------------------------------------------------


def link_amount(reason: Reason, system: str) -> str:
    """Tell what a link does to a load, with its factor and its share where it has one.

    >>> link = Reason("bounce-no-till", "swing", 155.7, "", "", "judged", factor=1.318)
    >>> link_amount(link, "us"), link_amount(link, "si")
    ('× 1.32, +35', '× 1.32, +156')
    """
    if reason.adds is None:
        return "wait"
    amount = number(reason.adds, "load", system)
    if reason.kind != "base" and reason.adds > 0 and amount != "0":
        amount = f"+{amount}"
    if reason.factor is not None:
        return f"× {plain(reason.factor, 2)}, {amount}"
    return amount


def link_words(reason: Reason, system: str) -> str:
    """Tell why a link is there, so that its words agree with the sign of its number.

    >>> link = Reason("rounding", "rounding", -4.4, "", "", "judged")
    >>> link_words(link, "us"), link_words(link, "si")
    ('Rounded down to a whole 5 lb.', 'Rounded down to a whole 22 N.')
    """
    adds = reason.adds or 0.0
    if reason.kind == "rounding":
        way = "down" if adds < 0 else "up"
        return f"Rounded {way} to a whole {figure(STEP_N, 'load', system)}."
    return f"{_lead(reason, adds)}{reason.why}"


def shown_links(reasons: Sequence[Reason], system: str) -> list[Reason]:
    """Leave out a rounding that reads as nothing."""
    return [
        reason
        for reason in reasons
        if reason.kind != "rounding" or number(reason.adds, "load", system) not in ("0", UNKNOWN)
    ]


def link_name(reason: Reason) -> str:
    """Name the rule that made a link, with the share of the soil that it speaks for."""
    return f"{percent(reason.share)} of {reason.rule}" if reason.share is not None else reason.rule


def _lead(reason: Reason, adds: float) -> str:
    if reason.share is not None:
        return f"Between texture classes, {percent(reason.share)} of it by this rule. "
    leads = {
        "swing": ("Swings less, so less is aimed for. ", "Swings more, so more is aimed for. "),
        "least": ("", "Lifted to the least that keeps the wheels down. "),
        "most": ("Held at the most that the soil bears. ", ""),
        "adjust": ("Takes away. ", "Adds. "),
        "cap": ("Held down. ", "Held up. "),
        OVERRIDE: ("A person’s number, which is less. ", "A person’s number, which is more. "),
    }
    return leads.get(reason.kind, ("", ""))[adds > 0]
