"""A change by hand: made, by whom and why; listed among the others; taken back."""

import datetime
from collections.abc import Iterable
from typing import TypedDict

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.fault import fault
from zoneplan.pages.state import change, desk, today, without
from zoneplan.pages.words import still_to_give
from zoneplan.plan.left_out import left_out, replaced
from zoneplan.plan.model import Plan
from zoneplan.plan.places import zone_at
from zoneplan.say.differences import in_words
from zoneplan.say.notices import words
from zoneplan.zones.edit import Edit, Merge, Override, Rename

WHY, INITIALS = "own_why", "own_initials"
HERE = "changed_at"  # where the last change was made: what it moved is shown there
IN_BOX, ON_MAP, IN_LIST = "box", "map", "list"
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


def show_fault(key: str) -> None:
    """Say once what is wrong, where something is."""
    if message := st.session_state.pop(key, None):
        st.html(fault(message))


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
