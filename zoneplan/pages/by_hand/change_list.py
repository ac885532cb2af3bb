"""Every change by hand of the field in one list, the newest first, each with a way back."""

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.by_hand.making import HERE, IN_LIST
from zoneplan.pages.state import change, desk
from zoneplan.plan.left_out import left_out, replaced
from zoneplan.plan.model import Plan
from zoneplan.say.differences import in_words
from zoneplan.say.notices import words


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
    edits = [*desk().edits]
    del edits[number - 1]
    st.session_state[HERE] = IN_LIST
    change(edits=tuple(edits))
