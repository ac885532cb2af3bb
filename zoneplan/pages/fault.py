"""An error as the pages tell it: in a red box, and what would put it right is asked beneath."""

import logging

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.fault_report import write_report
from zoneplan.harmless import escape
from zoneplan.pages.link import page_link
from zoneplan.pages.state import label
from zoneplan.say.sentences import listing
from zoneplan.sources import ask_of

_LOG = logging.getLogger(__name__)


def fault(error: ZoneplanError | str) -> str:
    """Show an error in a red box: what was found, why it stops, what to do, and in which box."""
    message = f"{error}\n{advice(error)}" if isinstance(error, ZoneplanError) else error
    first, *rest = message.splitlines()
    body = "\n".join(rest)
    return (
        f'<div class="zp-fault" role="alert"><p>{escape(first)}</p>'
        f'<p class="rest">{escape(body)}</p></div>'
    )


def advice(error: ZoneplanError) -> str:
    """Say which box says what was not clear to an error; empty where none does.

    >>> advice(ZoneplanError("It has no system.", parameter="crs", example="EPSG:4326"))
    'Say it in “Coordinate system”: EPSG:4326'
    """
    if not error.parameters:
        return ""
    boxes = listing([f"“{label(parameter)}”" for parameter in error.parameters])
    return f"Say it in {boxes}: {error.example}" if error.example else f"Say it in {boxes}."


def show_fault(key: str) -> None:
    """Say once what is wrong, where something stands under this key of the session."""
    if error := st.session_state.pop(key, None):
        st.html(fault(error))


def fault_and_questions(error: ZoneplanError) -> None:
    """Tell an error, and ask for what was not clear to it."""
    st.html(fault(str(error)))
    for parameter in error.parameters:
        _question(parameter, error.example)


def _question(parameter: str, example: str = "") -> None:
    """Ask for one value: a button for each answer, or a line to write it in."""
    if parameter == "pick":
        page_link("start", "Choose it on the map", "map")
        return
    ask, _ = ask_of(parameter)
    key = parameter.replace(".", "_")
    if ask.choices:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(f'<p class="zp-change">{label(parameter)}:</p>')
            for choice in ask.choices:
                st.button(choice, key=f"answer-{key}-{choice}", on_click=answer, args=(key, choice))
        return
    typed = st.text_input(label(parameter), key=f"typed-{key}", placeholder=example)
    if typed:
        st.button("Use it", key=f"use-{key}", on_click=answer, args=(key, typed.strip()))


def answer(key: str, value: object) -> None:
    """Put an answer into the box that keeps it. Call it in a callback."""
    st.session_state[key] = value


def last_catch(error: Exception) -> bool:
    """Show that zoneplan is at fault, and keep a report; the work stays as it is.

    Streamlit calls it in place of its own box with the way through the program.
    """
    path = write_report(error, "the app")
    _LOG.error("A fault of zoneplan: %s. Report: %s", type(error).__name__, path or "none")
    report = (
        f"A report is kept on the machine that runs zoneplan, in {path}: send it to those who gave "
        "you zoneplan, and say what you pressed last."
        if path
        else "No folder takes a report: write down what you pressed last."
    )
    words = (
        f"A fault of zoneplan, not yours: {type(error).__name__}.\n"
        "Nothing of your work is lost. Reload the page, and “Undo” at the side takes the last step "
        f"back.\n{report}"
    )
    st.html(fault(words))
    st.toast("A fault of zoneplan: see above.", icon=":material/error:")  # the page may be far down
    return True
