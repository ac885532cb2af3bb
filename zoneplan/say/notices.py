"""Notices in words: one, or many told once with the zones and moistures that they hold for."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from zoneplan.notices import Notice, Severity
from zoneplan.say.figures import BOTH, Figures, capital, ended, runs, sentence
from zoneplan.say.trade import TRADE
from zoneplan.terms import Moisture

_NAME_FIRST = re.compile(r"\{\w+:name\}")
Remark = tuple[str, str]  # where or when it holds, "" for always; and what is said

# Figures of these belong together: a span of each would tell of ground that is nowhere.
_WHOLE = ("misses-target", "at-one-pressure", "off-at-one-setting")


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


def watched(notices: Iterable[Notice], *severities: Severity) -> list[Notice]:
    """Leave only notices of these severities."""
    return [notice for notice in notices if notice.severity in severities]


def named(numbers: Sequence[int]) -> str:
    """Name zones by their numbers.

    >>> named([3]), named([1, 4, 5, 6])
    ('zone 3', 'zones 1, 4 to 6')
    """
    return f"zone{'s' if len(numbers) > 1 else ''} {listed_numbers(numbers)}"


def listed_numbers(numbers: Sequence[int]) -> str:
    """List numbers, runs of more than two by their ends.

    >>> listed_numbers([1, 2, 4, 5, 6])
    '1, 2, 4 to 6'
    """
    return ", ".join(runs(numbers))


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
