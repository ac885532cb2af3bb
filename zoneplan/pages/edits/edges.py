"""A zone's edges: joined by clicking a neighbour, split by drawing a line; and both by buttons."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import streamlit as st

from zoneplan.errors import LayerError
from zoneplan.harmless import in_markdown
from zoneplan.pages.drawing.outline import typed
from zoneplan.pages.edits.make import add, lacks, show_fault, who
from zoneplan.pages.words import acres, called
from zoneplan.plan.model import Plan
from zoneplan.plan.places import WAYS, halved, neighbours, place_in, split_by
from zoneplan.zones.edit import Merge, Point

JOIN, SPLIT = "join", "split"
_ASKING, _FAULT, _LINE = "map_asks", "edge_fault", "own_line"


@dataclass(frozen=True)
class Asking:
    """What the map is asked to be clicked for."""

    kind: str  # JOIN or SPLIT
    zone: int
    near: tuple[int, ...]  # to join with
    plan: Plan

    @property
    def for_map(self) -> Mapping[str, Any]:
        """As the map takes it."""
        words = (
            f"Click the zone to join with zone {self.zone}."
            if self.kind == JOIN
            else f"Click along the line that splits zone {self.zone}: begin and end outside it."
        )
        return {"kind": self.kind, "zone": self.zone, "near": self.near, "words": words}


def asking(plan: Plan, zone: int) -> Asking | None:
    """What is asked of the map now; nothing once another zone is chosen or the plan is another."""
    asked: Asking | None = st.session_state.get(_ASKING)
    if asked and (asked.plan is not plan or asked.zone != zone):
        asked = st.session_state[_ASKING] = None
    return asked


def take(event: Mapping[str, Any]) -> None:
    """Do what was clicked on the map. Call it in a callback."""
    asked: Asking | None = st.session_state.get(_ASKING)
    if asked is None:
        return
    if "join" in event and event["join"] in asked.near:
        _join(asked.plan, asked.zone, event["join"])
    elif "line" in event:
        _split(asked.plan, asked.zone, tuple((east, north) for east, north in event["line"]))
    elif "back" in event:
        _stop()


def edges(plan: Plan, number: int) -> None:
    """Offer to join a zone with a neighbour, or to split it."""
    st.html("<h2 class='zp-change'>Its edges</h2>")
    asked = asking(plan, number)
    if asked is None:
        near = neighbours(plan, number)
        with st.container(horizontal=True, key="edges"):
            st.button(
                "Join it with…",
                key="edge-join",
                on_click=_begin,
                args=(JOIN, plan, number),
                disabled=not near,
            )
            st.button(
                "Split it by a line…", key="edge-split", on_click=_begin, args=(SPLIT, plan, number)
            )
    elif asked.kind == JOIN:
        _join_by_button(asked)
    else:
        _split_by_button(asked)
    show_fault(_FAULT)


def _join_by_button(asked: Asking) -> None:
    st.html("<p class='zp-change'>Click a neighbour on the map, or press its button:</p>")
    zones = {setting.zone.id: setting.zone for setting in asked.plan.settings}
    with st.container(horizontal=True, key="neighbours"):
        for other in asked.near:
            zone = zones[other]
            st.button(
                f"Zone {other}: {acres(zone.area_ha)} acres",
                key=f"join-{other}",
                help=in_markdown(called(zone)),
                on_click=_join,
                args=(asked.plan, asked.zone, other),
            )
        st.button("Go back", key="edge-back", on_click=_stop)


def _split_by_button(asked: Asking) -> None:
    number = asked.zone
    st.html(
        "<p class='zp-change'>Click along the line on the map and press “Split here”. Or split it "
        "near its middle:</p>"
    )
    with st.container(horizontal=True, key="halves"):
        for way in WAYS:
            st.button(
                way.capitalize(), key=f"half-{way}", on_click=_halve, args=(asked.plan, number, way)
            )
        st.button("Go back", key="edge-back", on_click=_stop)
    st.text_area(
        "Or type the line: one corner a line, latitude first",
        key=_LINE,
        height=100,
        placeholder="42.03120, -93.55120",
    )
    st.button("Split by these corners", key="split-typed", on_click=_split_typed, args=(asked,))


def _begin(kind: str, plan: Plan, number: int) -> None:
    if missing := lacks():
        st.session_state[_FAULT] = missing
        return
    near = tuple(neighbours(plan, number)) if kind == JOIN else ()
    st.session_state[_ASKING] = Asking(kind, number, near, plan)


def _stop() -> None:
    st.session_state[_ASKING] = None


def _join(plan: Plan, number: int, other: int) -> None:
    _stop()
    add(Merge(place_in(plan, number), place_in(plan, other), **who()))


def _halve(plan: Plan, number: int, way: str) -> None:
    try:
        line = halved(plan, number, way)
    except LayerError as error:
        st.session_state[_FAULT] = str(error)
        return
    _stop()
    add(replace(line, **who()))


def _split_typed(asked: Asking) -> None:
    try:
        lines = typed(st.session_state[_LINE])
        if len(lines) != 1:
            raise LayerError("One line is typed here, without empty lines between its corners.")
    except LayerError as error:
        st.session_state[_FAULT] = str(error)
        return
    _split(asked.plan, asked.zone, lines[0].corners)


def _split(plan: Plan, number: int, corners: tuple[Point, ...]) -> None:
    try:
        line = split_by(plan, number, corners)
    except LayerError as error:
        st.session_state[_FAULT] = str(error)
        return
    _stop()
    add(replace(line, **who()))
