"""Speed and depth when the planter changes: they stay, and what the planter says is asked."""

from typing import Any

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.answers import is_answered, machine_of
from zoneplan.pages.boxes import BOXED
from zoneplan.pages.state import changed, desk, put
from zoneplan.plan.model import Plan
from zoneplan.run import Job
from zoneplan.say.figures import listing
from zoneplan.say.quantities import figure
from zoneplan.sources import File

_KINDS = {"speed_mps": ("speed", "speed"), "depth_m": ("seed depth", "length")}


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
