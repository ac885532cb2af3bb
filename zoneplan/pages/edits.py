"""Changes by hand: made, by whom and why, listed, taken back; and those of a zone's edges."""

import datetime
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypedDict

import streamlit as st

from zoneplan.errors import LayerError
from zoneplan.harmless import escape, in_markdown
from zoneplan.pages.drawing.outline import typed
from zoneplan.pages.fault import show_fault
from zoneplan.pages.state import change, desk, today, without
from zoneplan.pages.words import acres, called, still_to_give
from zoneplan.plan.model import Plan
from zoneplan.plan.places import (
    WAYS,
    halved,
    left_out,
    neighbours,
    place_in,
    replaced,
    split_by,
    zone_at,
)
from zoneplan.say.differences import in_words
from zoneplan.say.notices import words
from zoneplan.zones.edit import Edit, Merge, Override, Rename, Split

WHY, INITIALS = "own_why", "own_initials"
HERE = "changed_at"  # where the last change was made: what it moved is shown there
IN_BOX, ON_MAP, IN_LIST = "box", "map", "list"
JOIN, SPLIT = "join", "split"
_ASKING, _FAULT, _LINE = "map_asks", "edge_fault", "own_line"
_AT = "zone_at"  # a place in the zone that was changed
_EMPTY = {"own_margin_": None, "own_notch_": None, "own_name_": "", "own_line": ""}  # boxes


class Who(TypedDict):
    """Who makes a change, when and why."""

    why: str
    initials: str
    on: datetime.date


def who() -> Who:
    """Take it from the boxes and the clock."""
    session = st.session_state
    return Who(
        why=session.get(WHY, "").strip(),
        initials=session.get(INITIALS, "").strip(),
        on=today(),
    )


def lacks(others: Iterable[str] = ()) -> str:
    """Say what is still to give before a change can be made; nothing where nothing is."""
    by = who()
    missing = [*others, *(["why"] if not by["why"] else [])]
    missing += ["your initials"] if not by["initials"] else []
    return still_to_give(missing)


def add(*edits: Edit) -> None:
    """Make changes, and empty the boxes that they were typed into. Call it in a callback."""
    session = st.session_state
    first = edits[0]
    at = first.one if isinstance(first, Merge) else first.at
    for key in [*session]:
        for begins, empty in _EMPTY.items():
            if str(key).startswith(begins):
                session[key] = empty
    session[WHY] = ""  # a reason is of one change
    numbers = isinstance(first, Override | Rename)
    session.update({_AT: at, HERE: IN_BOX if numbers else ON_MAP})
    change(edits=(*desk().edits, *edits))


def pick_zone_again(plan: Plan) -> None:
    """After zones were drawn anew, choose the one that holds the place that was changed."""
    at = st.session_state.pop(_AT, None)
    if number := zone_at(plan, at) if at else None:
        st.session_state["zone"] = number


def change_list(plan: Plan) -> None:
    """Show the list; nothing where nothing was changed."""
    edits = desk().edits
    if not edits:
        return
    out, newer = left_out(plan, edits), replaced(plan, edits)
    with st.container(key="changes"):
        st.html("<h2 class='zp-change'>Changed by hand, the newest first</h2>")
        # Counted from 1 in the order they were made, as the plan's notes count them.
        for number, edit in reversed([*enumerate(edits, start=1)]):
            line = escape(f"{number}. {in_words(edit, plan)}")
            if notice := out.get(number):
                line += f"<br><b>Does not hold.</b> {escape(words(notice, 'us'))}"
            elif number in newer:
                line += f"<br>Change {newer[number]} took its place."
            with st.container(horizontal=True, vertical_alignment="center", key=f"hand-{number}"):
                st.html(f"<p class='zp-change'>{line}</p>", width="stretch")
                st.button(
                    f"Take back {number}",
                    key=f"take-back-{number}",
                    on_click=_take_back,
                    args=(number,),
                )


def _take_back(number: int) -> None:
    st.session_state[HERE] = IN_LIST
    change(edits=without(desk().edits, number - 1))


# ---- edges: joined by a click, split by a line; or by buttons ------------------------------------


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
        line = tuple((east, north) for east, north in event["line"])
        _split(lambda: split_by(asked.plan, asked.zone, line))
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
    st.html(
        "<p class='zp-change'>Click along the line on the map and press “Split here”. Or split it "
        "near its middle:</p>"
    )
    with st.container(horizontal=True, key="halves"):
        for way in WAYS:
            st.button(
                way.capitalize(),
                key=f"half-{way}",
                on_click=_split,
                args=(partial(halved, asked.plan, asked.zone, way),),
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


def _split_typed(asked: Asking) -> None:
    def split() -> Split:
        lines = typed(st.session_state[_LINE])
        if len(lines) != 1:
            raise LayerError("One line is typed here, without empty lines between its corners.")
        return split_by(asked.plan, asked.zone, lines[0].corners)

    _split(split)


def _split(split: Callable[[], Split]) -> None:
    try:
        line = split()
    except LayerError as error:
        st.session_state[_FAULT] = str(error)
        return
    _stop()
    add(replace(line, **who()))
