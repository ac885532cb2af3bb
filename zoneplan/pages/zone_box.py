"""What a person changes in the zone that is shown: its numbers, notches, name, edges."""

from collections.abc import Container
from dataclasses import replace

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.edits import INITIALS, WHY, add, edges, lacks, who
from zoneplan.pages.fault import show_fault
from zoneplan.pages.words import pounds
from zoneplan.plan.model import Plan, Setting, ZoneSetting
from zoneplan.plan.override import doubtful
from zoneplan.plan.places import place_in
from zoneplan.say.notices import words
from zoneplan.say.summary import soil_word
from zoneplan.terms import Moisture
from zoneplan.units import N_PER_LBF
from zoneplan.zones.edit import Edit, Override, Rename

MOST_MARGIN_LB = 1000.0
_BOX = "change"
_ASKED = "own_asked"  # the zone whose numbers a person is asked about


def is_changing() -> bool:
    """Whether the box is open."""
    return bool(st.session_state.get(_BOX))


def zone_box(plan: Plan, zone: ZoneSetting, impact: str) -> None:
    """Offer what can be changed in a zone.

    The `impact` of its last change, as HTML, is shown where that was put in place.
    """
    box = st.expander("Change this zone", icon=":material/edit:", key=_BOX, on_change="rerun")
    if not box.open:  # what nobody sees need not be drawn at every touch
        return
    number = zone.zone.id
    with box:
        left, right = st.columns([3, 1])
        left.text_input("Why", key=WHY, max_chars=300, persist_state="session")
        right.text_input("Your initials", key=INITIALS, max_chars=12, persist_state="session")
        _numbers(plan, zone)
        called = zone.zone.name or "none"
        st.text_input("Name", key=_key("name", number), max_chars=60, placeholder=called)
        _put_in_place(plan, number)
        if impact:
            st.html(impact)
        edges(plan, number)


# ---- numbers, notches and a name -----------------------------------------------------------------


def _key(what: str, zone: int, moisture: str = "") -> str:
    """A box's key: each zone has boxes of its own, so that nothing typed goes to another."""
    return f"own_{what}_{zone}{moisture}"


def _numbers(plan: Plan, zone: ZoneSetting) -> None:
    notches = [notch.name for notch in plan.machine.notches]
    number = zone.zone.id
    if not zone.set_at:
        why = "is too wet at any moisture" if zone.numbered else f"is {soil_word(zone.zone.facts)}"
        st.html(f"<p class='zp-change'>Zone {number} {escape(why)}: it has no numbers.</p>")
        return
    for place, (moisture, instruction) in zip(
        st.columns(len(Moisture)), zone.moistures.items(), strict=True
    ):
        if not isinstance(instruction, Setting):
            place.html(f"<p class='zp-change'>{moisture.capitalize()}: waits, too wet</p>")
            continue
        place.number_input(
            f"Margin, {moisture}, lb",
            0.0,
            MOST_MARGIN_LB,
            None,
            5.0,
            "%g",
            key=_key("margin", number, moisture),
            placeholder=pounds(instruction.margin_n).removesuffix(" lb"),
        )
        least, most = pounds(instruction.margin_least_n), pounds(instruction.margin_most_n)
        fits = f"{least.removesuffix(' lb')} to {most} fits"
        if instruction.margin_least_n > instruction.margin_most_n:
            fits = f"wheels stay down from {least}, the soil bears {most}"
        place.html(f"<p class='zp-change'>{fits}</p>")
        place.selectbox(
            f"Notch, {moisture}",
            notches,
            None,
            key=_key("notch", number, moisture),
            placeholder=instruction.closing_notch,
        )


def _put_in_place(plan: Plan, number: int) -> None:
    show_fault("own_fault")
    typed = _typed(plan, number) if st.session_state.get(_ASKED) == number else ()
    notices = doubtful(plan, typed)
    if not notices:
        st.session_state[_ASKED] = None
        st.button(
            "Make the change", key="own_put", type="primary", on_click=_put, args=(plan, number)
        )
        return
    lines = "".join(
        f"<p>{str(notice.moisture).capitalize()}: {escape(words(notice, 'us'))}</p>"
        for notice in notices
    )
    st.html(f"<div class='zp-ask' role='alert'>{lines}</div>")
    with st.container(horizontal=True, key="ask-far"):
        st.button("Use it anyway", key="own_anyway", on_click=_put, args=(plan, number, True))
        st.button("Go back", key="own_back", type="primary", on_click=_go_back)


def _put(plan: Plan, number: int, meant: bool = False) -> None:
    edits = _typed(plan, number)
    far = {notice.moisture for notice in doubtful(plan, edits)}
    if missing := lacks(() if edits else ("a number, a notch or a name",)):
        st.session_state["own_fault"] = missing
    elif far and not meant:
        st.session_state[_ASKED] = number
    else:
        _go_back()
        add(*(_meant(edit, far) for edit in edits))


def _meant(edit: Edit, far: Container[Moisture | None]) -> Edit:
    """A number that was asked about says so."""
    if isinstance(edit, Override) and edit.decides == "margin" and edit.moisture in far:
        return replace(edit, sure=True)
    return edit


def _go_back() -> None:
    st.session_state[_ASKED] = None


def _typed(plan: Plan, number: int) -> tuple[Edit, ...]:
    """What the boxes hold, as changes."""
    session, at, by = st.session_state, place_in(plan, number), who()
    edits: list[Edit] = []
    for moisture in Moisture:
        margin_lb = session.get(_key("margin", number, moisture))
        notch = session.get(_key("notch", number, moisture))
        if margin_lb is not None:
            edits.append(Override(at, "margin", moisture, margin_lb * N_PER_LBF, **by))
        if notch is not None:
            edits.append(Override(at, "closing", moisture, notch, **by))
    if name := session.get(_key("name", number), "").strip():
        edits.append(Rename(at, name, **by))
    return tuple(edits)
