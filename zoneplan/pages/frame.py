"""The frame of the app: what is asked on the side, the pages beside it, and the look of both."""

from pathlib import Path

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages import link, state
from zoneplan.pages.ask import ask, ask_further
from zoneplan.pages.opened import told_of_opened
from zoneplan.pages.overview import fault, needed
from zoneplan.pages.uploads import refused
from zoneplan.work.asked import Asked

_HERE = Path(__file__).parent
PAGES = {  # file, title, where it is found
    "plan.py": ("Field", None),
    "draw.py": ("Draw", "draw"),
    "rules.py": ("Rules", "rules"),
    "compare.py": ("Compare", "compare"),
    "sheets.py": ("Sheets and files", "sheets"),
}
WITHOUT_A_PLAN = ("Draw", "Sheets and files")  # where one is drawn, or opened


def frame() -> None:
    """Ask on the side, answer, and run the page that was chosen."""
    st.set_page_config("zoneplan", _HERE / "icon.svg", "wide", initial_sidebar_state=264)
    st.logo(_HERE / "mark.svg", size="large")
    st.html(_HERE / "style.css")
    link.find_again()
    page = st.navigation(
        [
            st.Page(_HERE / file, title=title, url_path=path, default=path is None)
            for file, (title, path) in PAGES.items()
        ],
        position="top",
    )
    top = st.sidebar.container()
    question = ask()
    if isinstance(question, Asked):
        state.note(question)
    link.keep()
    state.desk().missing = isinstance(question, str)
    with top:  # last, for what was just asked can be undone
        _back_and_forth()
    # Always there, so that a map below stays in its place.
    said, opened, not_taken = (st.empty() for _ in range(3))
    if it := state.desk().said:
        said.html(f'<p class="zp-said" role="status">{escape(it)}</p>')
        state.desk().said = None
    if told := refused():
        not_taken.html(fault(told))
    there = _answer(question)
    if told := told_of_opened():
        opened.html(told)
    if there or page.title in WITHOUT_A_PLAN:
        page.run()


def _back_and_forth() -> None:
    it = state.desk()
    with st.container(horizontal=True, key="back"):
        st.button(
            "Undo", key="undo", icon=":material/undo:", on_click=state.undo, disabled=not it.past
        )
        st.button(
            "Redo", key="redo", icon=":material/redo:", on_click=state.redo, disabled=not it.future
        )


def _answer(question: Asked | str) -> bool:
    """Answer the question; say what stops it, where something does."""
    if isinstance(question, str):
        st.html(needed(question))
        return False
    try:
        return state.watching(question, lambda: state.answered(question)) is not None
    except ZoneplanError as error:
        if ask_further(error):
            st.rerun()
        st.html(fault(error))
        return False


if __name__ == "__main__":
    frame()
