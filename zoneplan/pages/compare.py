"""The page that holds two plans against each other: A, that was kept, and B, that stands."""

from collections import Counter
from dataclasses import replace
from typing import Any

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.export.picture import map_classes
from zoneplan.harmless import escape
from zoneplan.pages import overview, state
from zoneplan.pages.comparison.tables import asked_table, pieces_table, totals_table
from zoneplan.pages.comparison.two_maps import frame_of, legend, pair, shades, zone_map
from zoneplan.pages.fault import fault
from zoneplan.pages.words import acres, header
from zoneplan.plan.compare import compare
from zoneplan.plan.model import Plan
from zoneplan.request import Ask, Drawn, Form, Request, asks
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rowunit.observation import Observation
from zoneplan.run import Job
from zoneplan.say.differences import NONE, Difference, differences, in_words
from zoneplan.sources import File, files_of
from zoneplan.terms import Moisture
from zoneplan.zones.edit import Edit

STANDS = "This plan"
KEPT = "Kept: "
BEFORE = "The plan before the last change"
STOCK_RULES = "This plan with the stock rules"
MOST_LETTERS = 60
_TOLD_BY_PLAN = ("tillage", "speed_mps", "depth_m", "residue_frac")
_NOTHING_YET = (
    "Choose what to compare this plan with; or keep it under a name, change something at the side "
    "and come back: then both are here, side by side."
)


def page() -> None:
    """Show the page."""
    job, run = state.asked(), state.current()
    if job is None or run is None:
        return
    st.html(_head(run.plan))
    with st.container(key="compare-ask"):
        title, other = _choose(job)
        _keep(run.plan)
        if message := st.session_state.pop("compare-said", None):
            st.html(f'<p class="zp-said" role="status">{escape(message)}</p>')
    if other is None:
        st.html(f'<p class="zp-needed">{_NOTHING_YET}</p>')
        return
    moisture = Moisture(
        st.segmented_control(
            "Soil at planting",
            [str(moisture) for moisture in Moisture],
            default="moist",
            required=True,
            key="compare-moisture",
            persist_state="session",
        )
    )
    try:
        other_run = state.watching(other, lambda: state.answered(other), stop="stop-compare")
        if other_run is not None:
            _show(title, (other, other_run.plan), (job, run.plan), moisture)
    except ZoneplanError as error:
        st.html(pair(fault(error), _stands_alone(run.plan, moisture)))


def _stands_alone(plan: Plan, moisture: Moisture) -> str:
    kinds = map_classes(plan, moisture)
    return (
        zone_map("B", STANDS, plan, kinds, frame_of(plan))
        + overview.legend(plan, moisture)
        + overview.margin_is()
    )


def _head(plan: Plan) -> str:
    facts = [plan.field.name, f"{acres(plan.field.area_ha)} acres"]
    return header("Compare two plans", facts)


def _show(title: str, one: tuple[Job, Plan], other: tuple[Job, Plan], moisture: Moisture) -> None:
    (_, mine), (_, theirs) = one, other
    comparison = compare(mine, theirs, moisture)
    kinds, frame = shades(mine, theirs, moisture), frame_of(mine, theirs)
    st.html(
        pair(
            zone_map("A", title, mine, [kind for kind, _ in kinds], frame),
            zone_map("B", STANDS, theirs, [kind for _, kind in kinds], frame),
        )
        + legend(kinds, moisture)
        + overview.margin_is()
        + pair(
            asked_table([*differences(mine, theirs), *_asked_apart(one, other)]),
            totals_table(mine, theirs, comparison, moisture),
        )
        + pieces_table(mine, theirs, comparison, moisture)
    )


def _choose(job: Job) -> tuple[str, Job | None]:
    """Choose A, among the plans that were kept and those that are quick to make."""
    offered = _offered(job)
    if st.session_state.get("compare-with") not in offered:
        st.session_state["compare-with"] = None
    with st.container(horizontal=True, vertical_alignment="bottom"):
        title = st.selectbox(
            "Compare with (A)",
            list(offered),
            None,
            key="compare-with",
            placeholder="a plan that was kept, or another planter",
            persist_state="session",
        )
        if title is None:
            return "", None
        st.button(
            "Use plan A instead of B",
            key="compare-put",
            on_click=state.put,
            args=(offered[title],),
        )
        name = title.removeprefix(KEPT)
        if title.startswith(KEPT):
            st.button("Forget A", key="compare-let-go", on_click=_let_go, args=(name,))
    return name, offered[title]


def _offered(job: Job) -> dict[str, Job]:
    """What A can be, by how it is called."""
    offered = {f"{KEPT}{name}": other_job for name, other_job in state.desk().beside.items()}
    if state.desk().past:
        offered[BEFORE] = state.desk().past[-1]
    if job.sources.rules:
        offered[STOCK_RULES] = state.changed(job, rules=())
    machines: dict[str, File | str] = {f"a generic {system} planter": system for system in SYSTEMS}
    if demo := state.demo_of(job.sources):
        machines = {state.OWN_MACHINE: demo.machine, **machines}
    for named, machine in machines.items():
        if machine != job.sources.machine:
            offered[f"This plan with {named}"] = state.changed(job, machine=machine)
    return offered


def _keep(plan: Plan) -> None:
    """Keep the plan that stands, under a name."""
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.text_input(
            "Keep this plan (B) as",
            key="compare-name",
            max_chars=MOST_LETTERS,
            placeholder=_plain_name(plan),
        )
        st.button(
            "Keep it to compare with",
            key="compare-keep",
            on_click=_keep_it,
            args=(_plain_name(plan),),
        )


def _plain_name(plan: Plan) -> str:
    return f"{plan.machine.name}, {plan.conditions.tillage}"


def _keep_it(plain: str) -> None:
    desk = state.desk()
    assert desk.now is not None
    name = st.session_state["compare-name"].strip() or plain
    free, number = name, 1
    while free in desk.beside:
        number += 1
        free = f"{name} ({number})"
    desk.beside[free] = desk.now
    st.session_state["compare-said"] = (
        f"Kept as “{free}”. Change something at the side: B is then the changed plan."
    )
    st.session_state["compare-name"] = ""
    st.session_state["compare-with"] = f"{KEPT}{free}"


def _let_go(name: str) -> None:
    del state.desk().beside[name]


def _asked_apart(one: tuple[Job, Plan], other: tuple[Job, Plan]) -> list[Difference]:
    """What differs in the jobs, beyond what a plan tells."""
    mine, theirs = _told(*one), _told(*other)
    unlike = [what for what in mine if mine[what][0] != theirs[what][0]]
    rows = [(what, mine[what][1], theirs[what][1]) for what in unlike]
    return [Difference(what, a, b if a != b else f"{b}, changed") for what, a, b in rows]


def _told(job: Job, plan: Plan) -> dict[str, tuple[object, str]]:
    """What is asked, and how it reads; a plan itself tells its day, its planter and its rules."""
    layers = replace(job.sources, machine="", rules=())
    names = [file.name for _, file in files_of(layers)]
    demo = state.demo_of(job.sources)
    return {
        "files": (layers, "a demo field's" if demo else ", ".join(names) or NONE),
        **{
            f"{ask.box[0].lower()}{ask.box[1:]}": (
                value := getattr(job.request, name),
                _in_words(ask, value, plan),
            )
            for name, ask in asks(Request)
            if name not in _TOLD_BY_PLAN
        },
    }


def _in_words(ask: Ask, value: Any, plan: Plan) -> str:
    """How a value reads."""
    if isinstance(value, tuple):
        return ", ".join(_items(ask, value, plan)) or ask.usual or NONE
    if value is None:
        return ask.usual or NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{ask.shown(value):g}" if isinstance(value, float | int) else str(value)


def _items(ask: Ask, value: tuple[Any, ...], plan: Plan) -> list[str]:
    """How each of several values reads."""
    if ask.form is Form.PAIRS:
        return [f"{name}={what}" for name, what in value]
    if ask.form is not Form.NOUNS:
        return [str(part) for part in value]
    counts = Counter(drawing.what for drawing in value if isinstance(drawing, Drawn))
    edits = [in_words(edit, plan) for edit in value if isinstance(edit, Edit)]
    checks = [
        f"zone {check.zone}, {check.moisture}" for check in value if isinstance(check, Observation)
    ]
    return [*(f"{what}: {count}" for what, count in counts.items()), *edits, *checks]


if __name__ == "__main__":
    page()
