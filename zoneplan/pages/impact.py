"""What a change moves in a plan: numbers by zone; after one by hand, what no longer holds too."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.answers import answered, remembered
from zoneplan.pages.state import desk
from zoneplan.pages.words import acres, bullets, setting, table
from zoneplan.plan.compare import Piece, bounces, compare, packs
from zoneplan.plan.model import Instruction, Plan, Setting, Wait
from zoneplan.plan.places import left_out
from zoneplan.run import Job
from zoneplan.say.notices import words
from zoneplan.say.quantities import UNKNOWN, figure, number, setting_quantity, unit
from zoneplan.say.sentences import counted, listing, named
from zoneplan.terms import Moisture, SettingKind
from zoneplan.zones.edit import Edit

_SAME = '<span class="same">as before</span>'
HAIRLINE_HA = 0.02  # judged: less is where edges were straightened
_GIVES_WAY = {
    "least": "less than keeps the wheels down",
    "most": "more than the soil bears",
    None: "inside both limits again",
}


def impact_table(before: Plan, after: Plan, caption: str, system: str = "us") -> str:
    """Show the ground that is told something else than before: from what, to what, how much of it.

    Parameters
    ----------
    before, after : Plan
        Of the same field.
    caption : str
        What moved it.
    system : str
        "us" or "si".
    """
    counts = (len(before.settings), len(after.settings))
    again = f"<p>The zones were drawn again: {counts[0]} before, {counts[1]} now.</p>"
    note = again if counts[0] != counts[1] else ""
    rows, moved_ha = [], 0.0
    for row, area_ha in _rows(before, after, system):
        rows.append(row)
        moved_ha += area_ha
    if not rows:
        text = f"{caption}: no zone's numbers."
        return f'<section class="zp-rules-moved" role="status"><p>{text}</p>{note}</section>'
    area = unit("area", system)
    heads = ("Zone", area.capitalize() if system == "us" else area, *map(str.capitalize, Moisture))
    share = (
        f"{number(moved_ha, 'area', system)} of {figure(after.field.area_ha, 'area', system)}, "
        f"{len(rows)} {'piece' if len(rows) == 1 else 'pieces'} of ground"
    )
    moved = table("zp-zones", f"{caption} <small>{share}</small>", heads, rows)
    return f'<section class="zp-rules-moved" role="status">{moved}{note}</section>'


def _rows(before: Plan, after: Plan, system: str) -> Iterator[tuple[list[str], float]]:
    """A row for each zone, or for each part of one that lay in another zone before."""
    by_moisture = [
        {piece.zones: piece for piece in compare(before, after, moisture).pieces}
        for moisture in Moisture
    ]
    for zones, piece in sorted(by_moisture[0].items(), key=lambda pair: pair[0][::-1]):
        moves = [
            _move((before, pieces[zones].one), (after, pieces[zones].other), system)
            for pieces in by_moisture
        ]
        area = number(piece.area_ha, "area", system)
        if any(moves) and piece.area_ha > HAIRLINE_HA:
            old, new = zones
            was = "" if old == new else f" <small>was {old}</small>"
            yield [f"{new}{was}", area, *(move or _SAME for move in moves)], piece.area_ha


def _move(one: tuple[Plan, Instruction], other: tuple[Plan, Instruction], system: str) -> str:
    """Say what is another number than before, as HTML; nothing where none is."""
    (_, old), (plan, new) = one, other
    changes = []
    if (was := _target(old, system)) != (now := _target(new, system)):
        by = ""
        if isinstance(old, Setting) and isinstance(new, Setting):
            more = "+" if new.margin_n > old.margin_n else ""
            by = f" ({more}{_figure(new.margin_n - old.margin_n, 'load', system)})"
        changes.append(f"{was} → <strong>{now}</strong>{by}")
    if isinstance(old, Setting) and isinstance(new, Setting):
        was, now = (_set_to(plan, at, system) for at, plan in ((old, one[0]), (new, plan)))
        if was != now and plan.setting_kind != SettingKind.MARGIN_TARGET:
            changes.append(f"{plan.setting_kind} {was} → <strong>{now}</strong>")
        if old.gave_way != new.gave_way:
            changes.append(f"<em>{_GIVES_WAY[new.gave_way]}</em>")
    was, now = _notch(old), _notch(new)
    if was != now and not (isinstance(old, Wait) or isinstance(new, Wait)):
        changes.append(f"notch {escape(was)} → <strong>{escape(now)}</strong>")
    return ", ".join(changes)


def _target(instruction: Instruction, system: str) -> str:
    if isinstance(instruction, Setting):
        return _figure(instruction.margin_n, "load", system)
    return "wait" if isinstance(instruction, Wait) else UNKNOWN


def _set_to(plan: Plan, setting: Setting, system: str) -> str:
    return _figure(setting.setting, setting_quantity(plan), system)


def _notch(instruction: Instruction) -> str:
    return instruction.closing_notch if isinstance(instruction, Setting) else UNKNOWN


def _figure(value: float, quantity: str, system: str) -> str:
    """A figure that stays on one line with its unit."""
    return figure(value, quantity, system).replace(" ", "\u00a0")


# ---- after a change by hand ----------------------------------------------------------------------

_NO_GROUND = acres(0.0)
_CAPTION = "The last change moved"


def impact_of_last_edit(job: Job) -> str:
    """Show what the last change by hand moved, as HTML; nothing where something else was last."""
    before = _before(job)
    if before is None:
        return ""
    try:
        return remembered(("impact", before, job), lambda: _in_html(before, job), most=2)
    except ZoneplanError:  # there was no plan before
        return ""


def _before(job: Job) -> Job | None:
    """The job before the last change, where only changes by hand are others in it."""
    before = desk().past[-1] if desk().past else None
    if before is None or before.request.edits == job.request.edits:
        return None
    alike = replace(before.request, edits=job.request.edits) == job.request
    return before if alike and before.sources == job.sources else None


def _in_html(before: Job, job: Job) -> str:
    one, other = answered(before).plan, answered(job).plan
    pieces = {moisture: compare(one, other, moisture).pieces for moisture in Moisture}
    lines = [*_zones(pieces[Moisture.MOIST]), *_one_setting(one, other)]
    lost = [
        *_lost(pieces),
        *_left_out((one, before.request.edits), (other, job.request.edits)),
    ]
    if one.settings != other.settings:
        lost.append("Sheets and files made before this: make them again.")
    listed = bullets(lines)
    if lost:
        listed += f"<h3>What no longer holds</h3>{bullets(lost)}"
    return f'<div class="zp-changed">{impact_table(one, other, _CAPTION)}{listed}</div>'


def _is_ground(piece: Piece) -> bool:
    """Whether it is more than a hairline between edges that nearly meet."""
    return acres(piece.area_ha) != _NO_GROUND


def _zones(pieces: Sequence[Piece]) -> Iterator[str]:
    parts: dict[int, list[Piece]] = defaultdict(list)
    unions: dict[int, list[Piece]] = defaultdict(list)
    for piece in pieces:
        if _is_ground(piece):
            parts[piece.zones[0]].append(piece)
            unions[piece.zones[1]].append(piece)
    for zone, of in sorted(parts.items()):
        if len(of) > 1:
            by_number = sorted(of, key=lambda piece: piece.zones)
            now = listing([f"{one.zones[1]} ({acres(one.area_ha)} acres)" for one in by_number])
            yield f"Zone {zone} was split: zones {now} now."
    for zone, of in sorted(unions.items()):
        if len(of) > 1:
            were = sorted(piece.zones[0] for piece in of)
            total = acres(sum(piece.area_ha for piece in of))
            joined = counted("zone", were).capitalize()
            yield f"{joined} were joined: zone {zone} now, of {total} acres."


def _one_setting(one: Plan, other: Plan) -> Iterator[str]:
    for moisture in Moisture:
        was, now = (setting(plan.best[moisture], plan.setting_unit) for plan in (one, other))
        if was != now:
            yield f"One {other.setting_kind} for the whole field, {moisture}: {was} → {now}."


_WRONG: dict[str, Callable[[Instruction], bool]] = {
    "more than the soil bears is left": packs,
    "less is left than keeps the wheels down": bounces,
    "the target is not held from full to refill": lambda instruction: (
        isinstance(instruction, Setting) and not instruction.reached
    ),
}


def _lost(pieces: dict[Moisture, tuple[Piece, ...]]) -> Iterator[str]:
    """What a zone's setting did well before, and does no longer."""
    faults: dict[tuple[Moisture, str], list[Piece]] = defaultdict(list)
    for moisture, of_one in pieces.items():
        for piece in of_one:
            for wrong, is_wrong in _WRONG.items():
                newly = is_wrong(piece.other) and not is_wrong(piece.one)
                if newly and isinstance(piece.one, Setting) and _is_ground(piece):
                    faults[moisture, wrong].append(piece)
    for (moisture, wrong), of in faults.items():
        zones = sorted({piece.zones[1] for piece in of})
        area = acres(sum(piece.area_ha for piece in of))
        yield f"{moisture.capitalize()}, {named(zones)}, {area} acres: {wrong}."


def _left_out(
    one: tuple[Plan, Sequence[Edit]], other: tuple[Plan, Sequence[Edit]]
) -> Iterator[str]:
    """Changes that held before and hold no longer."""
    was_out = {one[1][place - 1] for place in left_out(*one)}
    for place, notice in sorted(left_out(*other).items()):
        if other[1][place - 1] not in was_out:
            yield words(notice, "us")
