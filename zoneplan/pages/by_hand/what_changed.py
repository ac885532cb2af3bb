"""What the last change by hand moved: numbers, zones, the one setting, and what holds no longer."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages.rulebook.moved import moved_table
from zoneplan.pages.state import answered, desk, known
from zoneplan.pages.words import acres, setting
from zoneplan.plan.compare import Piece, bounces, compare, packs
from zoneplan.plan.left_out import left_out
from zoneplan.plan.model import Instruction, Plan, Setting
from zoneplan.run import Job
from zoneplan.say.figures import counted, listing
from zoneplan.say.notices import named, words
from zoneplan.terms import Moisture
from zoneplan.zones.edit import Edit

_NO_GROUND = acres(0.0)
_CAPTION = "The last change moved"


def what_changed(job: Job) -> str:
    """Show what the last change by hand moved, as HTML; nothing where something else was last."""
    before = _before(job)
    if before is None:
        return ""
    try:
        return known(("what changed", before, job), lambda: _shown(before, job), most=2)
    except ZoneplanError:  # there was no plan before
        return ""


def _before(job: Job) -> Job | None:
    """The job before the last change, where only changes by hand are others in it."""
    before = desk().past[-1] if desk().past else None
    if before is None or before.request.edits == job.request.edits:
        return None
    alike = replace(before.request, edits=job.request.edits) == job.request
    return before if alike and before.sources == job.sources else None


def _shown(before: Job, job: Job) -> str:
    one, other = answered(before).plan, answered(job).plan
    pieces = {moisture: compare(one, other, moisture).pieces for moisture in Moisture}
    lines = [*_zones(pieces[Moisture.MOIST]), *_one_setting(one, other)]
    lost = [
        *_lost(pieces),
        *_left_out((one, before.request.edits), (other, job.request.edits)),
    ]
    if one.settings != other.settings:
        lost.append("Sheets and files made before this: make them again.")
    listed = _list(lines)
    if lost:
        listed += f"<h3>What no longer holds</h3>{_list(lost)}"
    return f'<div class="zp-changed">{moved_table(one, other, _CAPTION)}{listed}</div>'


def _is_ground(piece: Piece) -> bool:
    """Whether it is more than a hairline between edges that nearly meet."""
    return acres(piece.area_ha) != _NO_GROUND


def _list(lines: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>" if lines else ""


def _zones(pieces: Sequence[Piece]) -> Iterator[str]:
    """Which zones were split, and which were joined."""
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
    found: dict[tuple[Moisture, str], list[Piece]] = defaultdict(list)
    for moisture, of_one in pieces.items():
        for piece in of_one:
            for wrong, is_wrong in _WRONG.items():
                newly = is_wrong(piece.other) and not is_wrong(piece.one)
                if newly and isinstance(piece.one, Setting) and _is_ground(piece):
                    found[moisture, wrong].append(piece)
    for (moisture, wrong), of in found.items():
        zones = sorted({piece.zones[1] for piece in of})
        area = acres(sum(piece.area_ha for piece in of))
        yield f"{moisture.capitalize()}, {named(zones)}, {area} acres: {wrong}."


def _left_out(
    one: tuple[Plan, Sequence[Edit]], other: tuple[Plan, Sequence[Edit]]
) -> Iterator[str]:
    """Changes that held before and hold no longer."""
    was_out = {one[1][number - 1] for number in left_out(*one)}
    for number, notice in sorted(left_out(*other).items()):
        if other[1][number - 1] not in was_out:
            yield words(notice, "us")
