"""The page that holds two plans against each other: A, that was kept, and B, that stands."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

import shapely
import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.export.maps import map_classes
from zoneplan.export.picture import (
    FONT,
    INK,
    PAPER,
    MapClass,
    hatch_paint,
    hatch_patterns,
    svg_link,
    svg_path,
)
from zoneplan.field.crs import move
from zoneplan.harmless import escape
from zoneplan.pages import state
from zoneplan.pages.answers import answered, current, watching
from zoneplan.pages.boxes import moisture_choice
from zoneplan.pages.compare_tables import LETTERS, asked_table, pieces_table, totals_table
from zoneplan.pages.fault import fault
from zoneplan.pages.map import Ground, legend_rows, zone_legend, zone_list
from zoneplan.pages.overview import margin_is
from zoneplan.pages.words import acres, header
from zoneplan.plan.compare import compare
from zoneplan.plan.model import Plan
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.run import Job
from zoneplan.say.summary import stamp
from zoneplan.sources import File
from zoneplan.terms import Moisture

STANDS = "This plan"
KEPT = "Kept: "
BEFORE = "The plan before the last change"
STOCK_RULES = "This plan with the stock rules"
MOST_LETTERS = 60
_NOTHING_YET = (
    "Choose what to compare this plan with; or keep it under a name, change something at the side "
    "and come back: then both are here, side by side."
)


class _Frame(NamedTuple):
    """The ground that both maps show."""

    crs: str  # metric
    bounds: tuple[float, float, float, float]  # west, south, east, north in it


def page() -> None:
    """Show the page."""
    job, run = state.asked(), current()
    if job is None or run is None:
        return
    field = run.plan.field
    st.html(header("Compare two plans", [field.name, f"{acres(field.area_ha)} acres"]))
    with st.container(key="compare-ask"):
        title, other = _choose(job)
        _keep(run.plan)
        if message := st.session_state.pop("compare-said", None):
            st.html(f'<p class="zp-said" role="status">{escape(message)}</p>')
    if other is None:
        st.html(f'<p class="zp-needed">{_NOTHING_YET}</p>')
        return
    moisture = moisture_choice("compare-moisture")
    try:
        other_run = watching(other, lambda: answered(other), stop="stop-compare")
        if other_run is not None:
            _show(title, (other, other_run.plan), (job, run.plan), moisture)
    except ZoneplanError as error:
        st.html(_pair(fault(error), _stands_alone(run.plan, moisture)))


def _stands_alone(plan: Plan, moisture: Moisture) -> str:
    kinds = map_classes(plan, moisture)
    return (
        _zone_map("B", STANDS, plan, kinds, _frame_of(plan))
        + zone_legend(plan, moisture)
        + margin_is()
    )


def _show(title: str, one: tuple[Job, Plan], other: tuple[Job, Plan], moisture: Moisture) -> None:
    (_, mine), (_, theirs) = one, other
    comparison = compare(mine, theirs, moisture)
    kinds, frame = _shades(mine, theirs, moisture), _frame_of(mine, theirs)
    st.html(
        _pair(
            _zone_map("A", title, mine, [kind for kind, _ in kinds], frame),
            _zone_map("B", STANDS, theirs, [kind for _, kind in kinds], frame),
        )
        + _legend(kinds, moisture)
        + margin_is()
        + _pair(
            asked_table(one, other),
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


# ---- two maps -----------------------------------------------------------------------------------

_WIDE, _HIGH, _EDGE = 560.0, 420.0, 8.0  # of a map, in its own pixels, and the paper round it
_PX_PER_MM = 3.0  # of the printed map's hatches
_DISC = 12.0


def _frame_of(*plans: Plan) -> _Frame:
    """Frame the ground of several plans, in the metric system of the first."""
    crs = plans[0].field.crs
    outlines = [move(plan.field.shape, plan.field.crs, crs) for plan in plans]
    west, south, east, north = shapely.total_bounds(outlines).tolist()
    return _Frame(crs, (west, south, east, north))


def _pair(left: str, right: str) -> str:
    """Set two things beside each other, or below where there is no room."""
    return f'<div class="zp-compare pair"><div>{left}</div><div>{right}</div></div>'


def _shades(one: Plan, other: Plan, moisture: Moisture) -> list[tuple[MapClass, MapClass]]:
    """Sort the zones of two plans into the same classes: for each, A's zones and B's."""
    last = max(setting.zone.id for setting in one.settings)
    after = [
        replace(setting, zone=replace(setting.zone, id=setting.zone.id + last))
        for setting in other.settings
    ]
    both = replace(one, settings=(*one.settings, *after))
    return [
        (
            replace(kind, zones=tuple(zone for zone in kind.zones if zone <= last)),
            replace(kind, zones=tuple(zone - last for zone in kind.zones if zone > last)),
        )
        for kind in map_classes(both, moisture)
    ]


def _zone_map(letter: str, title: str, plan: Plan, kinds: Sequence[MapClass], frame: _Frame) -> str:
    """Draw one plan's zones, shaded by `kinds`."""
    text = "; ".join(f"{kind.label}: {zone_list(kind.zones)}" for kind in kinds if kind.zones)
    count = f"{len(plan.settings)} zones" if len(plan.settings) > 1 else "1 zone"
    return (
        f'<figure class="zp-map"><figcaption><b>{letter}</b> <strong>{escape(title)}</strong>'
        f"<span>{escape(plan.machine.name)}, {count}{_stamp(plan)}</span></figcaption>"
        f'<img src="{svg_link(_drawing(plan, kinds, frame))}" '
        f'alt="{escape(f"Map of plan {letter}, north up. Margin to aim for {text}.")}"></figure>'
    )


def _stamp(plan: Plan) -> str:
    return f"<br><b>{escape(stamp(plan))}</b>" if stamp(plan) else ""


def _legend(kinds: Iterable[tuple[MapClass, MapClass]], moisture: Moisture) -> str:
    """Say once what the shades of both maps mean."""
    rows = legend_rows(
        (one, f"<strong>{escape(one.label)}</strong> {_by_plan(one.zones, other.zones)}")
        for one, other in kinds
    )
    return (
        '<figure class="zp-compare zp-legend"><figcaption>Margin to aim for, '
        f"{moisture}: the shades are the same in both maps</figcaption>{rows}</figure>"
    )


def _drawing(plan: Plan, kinds: Sequence[MapClass], frame: _Frame) -> str:
    west, south, east, north = frame.bounds
    px = min((_WIDE - 2 * _EDGE) / (east - west), (_HIGH - 2 * _EDGE) / (north - south))

    def on_paper(shape: Ground) -> Ground:
        moved = move(shape, plan.field.crs, frame.crs)
        return shapely.transform(moved, lambda at: (at - (west, north)) * px + (_EDGE, -_EDGE))

    fills = {zone: kind for kind in kinds for zone in kind.zones}
    paths, numbers = [], []
    for setting in plan.settings:
        shape, kind = on_paper(setting.zone.shape), fills[setting.zone.id]
        line = svg_path(shape, 1)
        hatch = hatch_paint(kind.hatch, kind.hatch)
        paths.append(f'<path d="{line}" fill="{kind.fill}" stroke="{PAPER}" stroke-width="4.5"/>')
        paths.append(f'<path d="{line}" fill="{hatch}" stroke="{INK}" stroke-width="1.4"/>')
        x, y = shapely.maximum_inscribed_circle(shape).coords[0]
        numbers.append(
            f'<circle cx="{x:.1f}" cy="{-y:.1f}" r="{_DISC}" fill="{PAPER}" stroke="{INK}"/>'
            f'<text x="{x:.1f}" y="{-y:.1f}" dy="4.6" text-anchor="middle">{setting.zone.id}</text>'
        )
    outline = svg_path(on_paper(plan.field.shape), 1)
    wide, high = (east - west) * px + 2 * _EDGE, (north - south) * px + 2 * _EDGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.1f}" height="{high:.1f}" '
        f'viewBox="0 0 {wide:.1f} {high:.1f}" font-family="{FONT}" font-size="13" '
        f'font-weight="600" fill="{INK}"><defs>{hatch_patterns(_PX_PER_MM)}</defs>{"".join(paths)}'
        f'<path d="{outline}" fill="none" stroke="{INK}" stroke-width="3"/>'
        f"{''.join(numbers)}</svg>"
    )


def _by_plan(*zones: Sequence[int]) -> str:
    return "; ".join(
        f"{letter}: {zone_list(numbers)}"
        for letter, numbers in zip(LETTERS, zones, strict=True)
        if numbers
    )


if __name__ == "__main__":
    page()
