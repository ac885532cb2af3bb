"""What would put an error right, asked where it is told: nobody has to look for a box."""

from pathlib import Path

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.pages.boxes import label
from zoneplan.pages.link import carried
from zoneplan.pages.overview import fault
from zoneplan.sources import ask_of

_START = Path(__file__).with_name("start.py")


def told(error: ZoneplanError) -> None:
    """Tell an error, and ask for what was not clear to it."""
    st.html(fault(str(error)))
    for parameter in error.parameters:
        question(parameter, error.example)


def question(parameter: str, example: str = "") -> None:
    """Ask for one value: a button for each answer, or a line to write it in."""
    if parameter == "pick":
        st.page_link(
            _START, label="Choose it on the map", icon=":material/map:", query_params=carried()
        )
        return
    ask, _ = ask_of(parameter)
    key = parameter.replace(".", "_")
    if ask.choices:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(f'<p class="zp-change">{label(parameter)}:</p>')
            for answer in ask.choices:
                st.button(answer, key=f"answer-{key}-{answer}", on_click=say, args=(key, answer))
        return
    typed = st.text_input(label(parameter), key=f"typed-{key}", placeholder=example)
    if typed:
        st.button("Use it", key=f"use-{key}", on_click=say, args=(key, typed.strip()))


def say(key: str, value: object) -> None:
    """Put an answer into the box that keeps it. Call it in a callback."""
    st.session_state[key] = value
