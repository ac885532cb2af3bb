"""Other files on the desk: what of the drawings and changes by hand is carried over to them.

Nothing follows unasked: what has a place with the new files, and what has none, is told first.
With another planter speed and depth stay as they were, and its own are asked about.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import shapely
import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.field.crs import WGS_84, move
from zoneplan.harmless import escape
from zoneplan.pages.answers import answered, is_answered, machine_of, remembered, watching
from zoneplan.pages.fault import fault
from zoneplan.pages.next_field import bare, changed_by_hand
from zoneplan.pages.state import BOXED, changed, desk, ground_of, put
from zoneplan.pages.words import bullets
from zoneplan.plan.model import Plan
from zoneplan.plan.override import unfit
from zoneplan.plan.places import NOT_PLACED as CODES
from zoneplan.plan.places import left_out
from zoneplan.request import Drawn
from zoneplan.run import Job, read_outline
from zoneplan.say.differences import in_words
from zoneplan.say.quantities import figure
from zoneplan.say.sentences import listing
from zoneplan.say.trade_ground import NOT_PLACED
from zoneplan.sources import File
from zoneplan.zones.edit import Edit

_KINDS = {"speed_mps": ("speed", "speed"), "depth_m": ("seed depth", "length")}


class NewFiles(StrEnum):
    """What came that is not as it was."""

    OUTLINE = "Another outline came"
    LAYERS = "Another file came under what was changed by hand"
    PLANTER = "Another planter came, which cannot do all that was changed by hand"


@dataclass(frozen=True)
class OtherFiles:
    """A job with other files, and what was done by hand that would be laid over them."""

    job: Job
    new: NewFiles
    whole: bool  # whether it can be planned
    belongings: tuple[str, ...] = ()


def other_files(job: Job, *, whole: bool) -> OtherFiles | None:
    """Find what was done by hand on other files and still stands, where a job has new ones.

    `whole` says whether all that a plan needs is there; until it is only an outline is asked about.
    """
    before = desk().ground
    if before is None:
        return None
    now = ground_of(job)
    if now.outline != before.outline:
        belongings = _belongings(job)
        return OtherFiles(job, NewFiles.OUTLINE, whole, belongings) if belongings else None
    if not job.request.edits or not whole:
        return None
    if now.layers != before.layers:
        return OtherFiles(job, NewFiles.LAYERS, whole)
    if now.planter != before.planter and _lacks_a_notch(job):
        return OtherFiles(job, NewFiles.PLANTER, whole)
    return None


@dataclass(frozen=True)
class CarryOver:
    """What has a place with the new files, and what has none, in words."""

    job: Job  # with what has a place
    stays: tuple[str, ...]
    lost: tuple[str, ...]


def ask_what_follows(other: OtherFiles) -> None:
    """Ask what is to become of it: what survives, and what has no place any more, by name."""
    now, job, outline = desk().now, other.job, other.new is NewFiles.OUTLINE
    belongings = (
        f"<p>On the field before there are: {escape(listing(other.belongings))}. They follow only "
        "if you say so.</p>"
        if outline
        else ""
    )
    carried = None
    try:
        if other.whole and changed_by_hand(job):
            carried = watching(job, lambda: _carry_over(job), stop="stop-swap")
    except ZoneplanError as error:
        st.html(fault(error))
    st.html(
        f'<section class="zp-ask" role="alert"><h2>{other.new}</h2>{belongings}'
        f"{_lists(carried) if carried else ''}</section>"
    )
    some = "what has a place" if carried and carried.lost else "them"
    keep = f"The same field: keep {some}" if outline else f"Use it, and keep {some}"
    leave = "Another field: begin without them" if outline else "Use it without them"
    with st.container(horizontal=True):
        st.button(
            leave,
            key="swap-other",
            type="primary" if outline else "secondary",
            on_click=_begin_another if outline else _without_edits,
            args=(job,),
        )
        st.button(
            keep,
            key="swap-same",
            type="secondary" if outline else "primary",
            on_click=_carry_on,
            args=(job, carried),
        )
        if now is not None:
            st.button("Back to the plan before", key="swap-back", on_click=put, args=(now,))


def _lists(carried: CarryOver) -> str:
    parts = (("No place for it any more", carried.lost), ("Stays", carried.stays))
    return "".join(f"<h3>{head}</h3>{bullets(lines)}" for head, lines in parts if lines)


def _lacks_a_notch(job: Job) -> bool:
    machine = machine_of(job.sources.machine)
    return machine is not None and bool(unfit(job.request.edits, machine))


def _begin_another(job: Job) -> None:
    own = replace(bare(job).request.title, grower=None, farm=None)
    put(changed(bare(job), title=own))
    desk().message = "Another field is begun. “Undo” leads back to the one before."


def _without_edits(job: Job) -> None:
    put(changed(job, edits=()))


def _carry_on(job: Job, carried: CarryOver | None) -> None:
    if carried is None:
        desk().ground = ground_of(job)
    else:
        put(carried.job)


def _belongings(job: Job) -> tuple[str, ...]:
    request = job.request
    drawn = [one for one in request.drawn if one.what != "boundary"]
    counts = (
        (len(request.edits) + len(drawn), "change by hand", "changes by hand"),
        (len(request.observations) + len(job.sources.checks), "hand check", "hand checks"),
    )
    counted = [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]
    named = (
        ("its name", request.name),
        ("grower", request.title.grower),
        ("farm", request.title.farm),
        ("revision", request.title.revision),
    )
    return (*counted, *(f"{what} {value}" for what, value in named if value))


# ---- what has a place with the new files ---------------------------------------------------------


def _carry_over(job: Job) -> CarryOver:
    """Find what of a job's drawings and changes its own files have a place for.

    Raises
    ------
    ZoneplanError
        Where it cannot be planned even so.
    """
    return remembered(("carry over", job), lambda: _placed(job), most=2)


def _placed(job: Job) -> CarryOver:
    before = _plan_before()
    drawn = [one for one in job.request.drawn if one.what != "boundary"]
    outside = _outside(job, drawn)
    edits, planter = job.request.edits, machine_of(job.sources.machine)
    notches = unfit(edits, planter) if planter else {}
    fitting = tuple(edit for number, edit in enumerate(edits, start=1) if number not in notches)
    inside = tuple(one for one in job.request.drawn if one not in outside)
    placed = changed(job, drawn=inside, edits=fitting)
    out = left_out(answered(placed).plan, fitting, CODES)
    placeable = tuple(edit for number, edit in enumerate(fitting, start=1) if number not in out)
    return CarryOver(
        changed(placed, edits=placeable),
        stays=(
            *(_drawn_words(one) for one in drawn if one not in outside),
            *(_words(edit, before) for edit in placeable),
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


# ---- speed and depth -----------------------------------------------------------------------------


def day_that_stays(before: Job, planter: File | str) -> dict[str, float]:
    """What a request has to say so that another planter plants as fast and deep as the one before.

    Nothing where no plan was made with that one, or where the request says it already.
    """
    if before.sources.machine == planter or not is_answered(before):
        return {}
    old, new = machine_of(before.sources.machine), machine_of(planter)
    if old is None or new is None:
        return {}
    stays = {
        name: getattr(old, name)
        for name in _KINDS
        if getattr(before.request, name) is None
        and not _alike(name, getattr(old, name), getattr(new, name))
        and BOXED[name].fault(getattr(old, name)) is None
    }
    work = desk()
    work.day_stays = {**work.day_stays, **stays}
    return stays


def fill_day(planter: File | str, boundary: Any) -> None:
    """Fill the boxes of speed and depth where a person chose another planter for the same field.

    Call it before those boxes are drawn. A job that was laid out whole brings its own day.
    """
    work = desk()
    before, work.planter = work.planter, planter
    job = work.now
    if before is None or before == planter or job is None or job.sources.boundary != boundary:
        return
    for name, value in day_that_stays(job, planter).items():
        if st.session_state.get(name) is None:  # else a person says so at the same time
            st.session_state[name] = BOXED[name].shown(value)


def ask_about_day(job: Job, plan: Plan) -> None:
    """Say where speed or depth are not the planter's own because they stayed, and ask."""
    machine, day = plan.machine, plan.conditions
    if day.depth_m >= machine.deepest_m:
        depth, deepest = (
            _figure("depth_m", depth_m) for depth_m in (day.depth_m, machine.deepest_m)
        )
        st.html(
            f'<p class="zp-generic" role="alert">The plan is {depth} deep, and these opener discs '
            f"plant to less than {deepest}. Nothing was changed: change the depth at the side, or "
            "measure the discs again.</p>"
        )
    stayed = [
        name
        for name, value in desk().day_stays.items()
        if _alike(name, getattr(job.request, name), value)
        and not _alike(name, getattr(machine, name), value)
    ]
    if not stayed:
        return
    stays = listing([f"{_KINDS[name][0]} {_figure(name, getattr(day, name))}" for name in stayed])
    own = listing([_figure(name, getattr(machine, name)) for name in stayed])
    st.html(
        f'<p class="zp-generic" role="status">As before the planter was changed: {stays}. '
        f"{escape(machine.name)} itself says {own}.</p>"
    )
    if st.session_state.get("day-told") != own:  # the page may stand far down
        st.session_state["day-told"] = own
        st.toast(f"As before: {stays}. The planter says {own}: see the top of the page.")
    with st.container(horizontal=True):
        st.button(f"Plan at {own}", key="day-own", on_click=_as_the_planter, args=(job, stayed))
        st.button("Leave it so", key="day-kept", on_click=_leave_day)


def _as_the_planter(job: Job, names: list[str]) -> None:
    _leave_day()
    put(changed(job, **dict.fromkeys(names)))


def _leave_day() -> None:
    desk().day_stays = {}


def _alike(name: str, one: float | None, other: float) -> bool:
    return bool(BOXED[name].shown(one) == BOXED[name].shown(other))


def _figure(name: str, value: float) -> str:
    return figure(value, _KINDS[name][1], "us")
