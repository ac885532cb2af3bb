"""What a person changes in the zone that is shown: its numbers, its name, its edges."""

import datetime

import streamlit as st

from zoneplan.errors import LayerError
from zoneplan.harmless import escape
from zoneplan.pages.overview import fault
from zoneplan.pages.state import change, desk
from zoneplan.plan.model import Plan, Setting, Wait
from zoneplan.plan.places import WAYS, halved, neighbours, place_in, zone_at
from zoneplan.say.differences import in_words
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF
from zoneplan.zones.edit import Edit, Merge, Override, Rename

MARGIN, NOTCH = "margin target", "closing notch"
EVERY = "every moisture"
MOST_MARGIN_LB = 1000.0
_DECIDES = {MARGIN: "margin", NOTCH: "closing"}


def changes(plan: Plan, number: int, moisture: Moisture) -> None:
    """Offer what can be changed in a zone, and list what was."""
    box = st.expander(
        f"Change zone {number}", icon=":material/edit:", key="change", on_change="rerun"
    )
    if box.open:  # what nobody sees need not be drawn at every touch
        with box:
            _number(plan, number, moisture)
            _edges(plan, number)
            _name(plan, number)
    _list(plan)


def pick_zone_again(plan: Plan) -> None:
    """After zones were drawn anew, choose the one that holds the place chosen before."""
    at = st.session_state.pop("zone_at", None)
    number = zone_at(plan, at) if at else None
    if number:
        st.session_state["zone"] = number


def _number(plan: Plan, number: int, moisture: Moisture) -> None:
    """A number of a person's own, with who and why."""
    st.html("<h2 class='zp-change'>A number of your own</h2>")
    instruction = next(setting for setting in plan.settings if setting.zone.id == number).moistures[
        moisture
    ]
    if not isinstance(instruction, Setting):
        waits = isinstance(instruction, Wait)
        reason = "waits: too wet has no number" if waits else "has no soil data"
        st.html(f"<p class='zp-change'>Zone {number} {reason}, {moisture}.</p>")
        return
    left, right = st.columns(2)
    what = left.selectbox("What", list(_DECIDES), key="own_what")
    right.selectbox("When the soil is", [moisture, EVERY], key="own_when")
    notches = [notch.name for notch in plan.machine.notches]
    if what == MARGIN:
        st.number_input(
            "Load on the gauge wheels, lb a row", 0.0, MOST_MARGIN_LB, None, 5.0, key="own_margin"
        )
    else:
        st.selectbox("Notch", notches, None, key="own_notch", placeholder="as the rules say")
    st.text_input("Why", key="own_why", max_chars=300, persist_state="session")
    st.text_input("Your initials", key="own_initials", max_chars=12, persist_state="session")
    if wrong := st.session_state.pop("own_fault", None):
        st.html(fault(wrong))
    st.button("Put it in place", key="own_put", on_click=_put_number, args=(plan, number, moisture))


def _put_number(plan: Plan, number: int, moisture: Moisture) -> None:
    session = st.session_state
    decides = _DECIDES[session["own_what"]]
    value = session.get("own_margin") if decides == "margin" else session.get("own_notch")
    why, initials = session["own_why"].strip(), session["own_initials"].strip()
    missing = [
        name
        for name, given in (("the number", value), ("why", why), ("your initials", initials))
        if given is None or given == ""
    ]
    if missing:
        session["own_fault"] = f"Still to give: {', '.join(missing)}."
        return
    at, today = place_in(plan, number), datetime.datetime.now().astimezone().date()
    own_value = value * N_PER_LBF if isinstance(value, float | int) else str(value)
    when = [moisture] if session["own_when"] == moisture else tuple(Moisture)
    _add(*(Override(at, decides, each, own_value, why, initials, today) for each in when))
    session["zone_at"] = at
    for box in ("own_margin", "own_notch"):
        session.pop(box, None)


def _edges(plan: Plan, number: int) -> None:
    """Join it with a neighbour, or part it."""
    st.html("<h2 class='zp-change'>Its edges</h2>")
    near = neighbours(plan, number)
    left, right = st.columns(2, vertical_alignment="bottom")
    if near:
        with left:
            other = st.selectbox("Neighbour", near, key="join_with")
        right.button(f"Join zones {number} and {other}", on_click=_join, args=(plan, number, other))
    with left:
        way = st.selectbox("Part", WAYS, key="part_way")
    right.button(f"Part zone {number}", on_click=_part, args=(plan, number, way))
    if message := st.session_state.pop("edge_fault", None):
        st.html(fault(message))
    st.html("<p class='zp-change'>A line of your own parts zones too: draw it under Draw.</p>")


def _join(plan: Plan, number: int, other: int) -> None:
    at = place_in(plan, number)
    _add(Merge(at, place_in(plan, other)))
    st.session_state["zone_at"] = at


def _part(plan: Plan, number: int, way: str) -> None:
    try:
        _add(halved(plan, number, way))
    except LayerError as error:
        st.session_state["edge_fault"] = str(error)
    else:
        st.session_state["zone_at"] = place_in(plan, number)


def _name(plan: Plan, number: int) -> None:
    st.html("<h2 class='zp-change'>Its name</h2>")
    left, right = st.columns(2, vertical_alignment="bottom")
    with left:
        st.text_input("Name", key="zone_name", max_chars=60)
    right.button(f"Name zone {number}", on_click=_rename, args=(plan, number))


def _rename(plan: Plan, number: int) -> None:
    at = place_in(plan, number)
    _add(Rename(at, st.session_state["zone_name"].strip()))
    st.session_state["zone_at"] = at
    st.session_state["zone_name"] = ""


def _list(plan: Plan) -> None:
    """What was changed, each with a way back."""
    edits = desk().edits
    if not edits:
        return
    with st.container(key="changes"):
        st.html("<h2 class='zp-change'>Changed by hand</h2>")
        for place, edit in enumerate(edits):  # counted from 1, as the plan's notes count them
            left, right = st.columns([5, 1], vertical_alignment="center")
            line = f"{place + 1}. {in_words(edit, plan)}"
            left.html(f"<p class='zp-change'>{escape(line)}</p>")
            right.button("Take back", key=f"take-back-{place}", on_click=_take_back, args=(place,))


def _take_back(place: int) -> None:
    edits = [*desk().edits]
    del edits[place]
    change(edits=tuple(edits))


def _add(*edits: Edit) -> None:
    change(edits=(*desk().edits, *edits))
