"""How a change by hand is made: by whom and why, laid over the job, and the zone found again."""

import datetime
from collections.abc import Iterable
from typing import TypedDict

import streamlit as st

from zoneplan.pages.overview import fault
from zoneplan.pages.state import change, desk
from zoneplan.plan.model import Plan
from zoneplan.plan.places import zone_at
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
        on=datetime.datetime.now().astimezone().date(),
    )


def lacks(others: Iterable[str] = ()) -> str:
    """Say what is still to give before a change can be made; nothing where nothing is."""
    by = who()
    missing = [*others, *(["why"] if not by["why"] else [])]
    missing += ["your initials"] if not by["initials"] else []
    return f"Still to give: {', '.join(missing)}." if missing else ""


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


def told_fault(key: str) -> None:
    """Say once what is wrong, where something is."""
    if message := st.session_state.pop(key, None):
        st.html(fault(message))
