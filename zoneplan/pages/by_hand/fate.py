"""What becomes of what was done by hand where other files come under it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely

from zoneplan.errors import ZoneplanError
from zoneplan.field.crs import WGS_84, move
from zoneplan.pages.planter_day import machine_of
from zoneplan.pages.state import answered, changed, desk, known
from zoneplan.plan.left_out import NOT_PLACED as CODES
from zoneplan.plan.left_out import left_out
from zoneplan.plan.model import Plan
from zoneplan.plan.override import unfit
from zoneplan.request import Drawn
from zoneplan.run import Job, read_outline
from zoneplan.say.differences import in_words
from zoneplan.say.trade_ground import NOT_PLACED
from zoneplan.zones.edit import Edit


@dataclass(frozen=True)
class Fate:
    """What can be placed with the new files, and what cannot, in words."""

    job: Job  # with what can be placed
    stands: tuple[str, ...]
    lost: tuple[str, ...]


def fate_of(job: Job) -> Fate:
    """Find what of a job's drawings and changes its own files have a place for.

    Raises
    ------
    ZoneplanError
        Where it cannot be planned even so.
    """
    return known(("fate", job), lambda: _fate(job), most=2)


def _fate(job: Job) -> Fate:
    before = _plan_before()
    drawn = [one for one in job.request.drawn if one.what != "boundary"]
    outside = _outside(job, drawn)
    edits, planter = job.request.edits, machine_of(job.sources.machine)
    notches = unfit(edits, planter) if planter else {}
    fitting = tuple(edit for number, edit in enumerate(edits, start=1) if number not in notches)
    inside = tuple(one for one in job.request.drawn if one not in outside)
    placed = changed(job, drawn=inside, edits=fitting)
    out = left_out(answered(placed).plan, fitting, CODES)
    kept = tuple(edit for number, edit in enumerate(fitting, start=1) if number not in out)
    return Fate(
        changed(placed, edits=kept),
        stands=(
            *(_drawn_words(one) for one in drawn if one not in outside),
            *(_words(edit, before) for edit in kept),
        ),
        lost=(
            *(f"{_drawn_words(one)}: it lies outside the field" for one in outside),
            *(
                f"{_words(edits[number - 1], before)}. The planter has no notch {notch}"
                for number, notch in notches.items()
            ),
            *(
                f"{_words(fitting[number - 1], before)}. Why not: {NOT_PLACED[notice.code]}"
                for number, notice in out.items()
            ),
        ),
    )


def _plan_before() -> Plan | None:
    """The plan that the changes were made in: they are told in its numbers."""
    now = desk().now
    try:
        return answered(now).plan if now else None
    except ZoneplanError:
        return None


def _outside(job: Job, drawn: Sequence[Drawn]) -> list[Drawn]:
    """Drawings that do not meet the field."""
    if not drawn:
        return []
    boundary = job.request.outlines("boundary")
    field = read_outline(replace(job.request, drawn=boundary), job.sources)
    outline = move(field.shape, field.crs, WGS_84)
    return [one for one in drawn if not shapely.from_geojson(one.shape).intersects(outline)]


def _drawn_words(one: Drawn) -> str:
    return f"Drawn {one.what} “{one.name}”"


def _words(edit: Edit, before: Plan | None) -> str:
    return in_words(edit, before) if before else type(edit).__name__
