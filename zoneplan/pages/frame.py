"""The frame of the app: what is asked on the side, the pages beside it, and the look of both."""

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from zoneplan.errors import LayerError, ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages import field_queue, link, state
from zoneplan.pages.ask import ask
from zoneplan.pages.book import given
from zoneplan.pages.carry_over import OtherFiles, ask_what_follows
from zoneplan.pages.fault import fault, fault_and_questions
from zoneplan.pages.overview import generic, needed
from zoneplan.pages.person import gate, sign_out_bar
from zoneplan.pages.saved_plan import told_of_opened
from zoneplan.pages.speed_depth import day_asked
from zoneplan.pages.uploads import refused
from zoneplan.run import Job

_HERE = Path(__file__).parent
START = {"start.py": ("Start", "start")}
PAGES = {  # file, title, where it is found
    "planter.py": ("Planter", "planter"),
    "plan.py": ("Field", "field"),
    "draw.py": ("Draw", "draw"),
    "rules.py": ("Rules", "rules"),
    "compare.py": ("Compare", "compare"),
    "sheets.py": ("Sheets and files", "sheets"),
}
GROWERS = {"growers.py": ("Growers", "growers")}  # first, where the app was started with a book
WITHOUT_A_PLAN = ("Draw", "Sheets and files")  # where one is drawn, or opened


def frame() -> None:
    """Ask on the side, answer, and run the page that was chosen."""
    _paper()
    if (somebody := gate()) is None:
        return
    link.find_again()
    beginning = "field" not in st.session_state
    first = "growers.py" if given() else "start.py" if beginning else "plan.py"
    pages = [
        st.Page(_HERE / file, title=title, url_path=path, default=file == first)
        for file, (title, path) in _pages().items()
    ]
    page = st.navigation(pages, position="hidden")  # its own row hides where it is narrow
    row = st.container(key="pages", horizontal=True)
    growers, start, planter = (page.title == title for title in ("Growers", "Start", "Planter"))
    with st.container() if growers else st.sidebar:  # the page of the growers has no side
        sign_out_bar(somebody)
    top = st.sidebar.container()
    job = "" if beginning and (start or planter) else _asked()
    if isinstance(job, Job):
        state.note(job)
    link.keep()
    state.desk().missing = not isinstance(job, Job)
    with row:
        _links(pages)
    with top:  # last, for what was just asked can be undone
        _back_and_forth()
    # Always there, so that a map below stays in its place.
    status, opened, not_taken, weights, day = (st.empty() for _ in range(5))
    if message := state.desk().message:
        status.html(f'<p class="zp-said" role="status">{escape(message)}</p>')
        state.desk().message = None
    if text := refused():
        not_taken.html(fault(text))
    if isinstance(job, OtherFiles) and not growers:
        ask_what_follows(job)
    if growers or start or planter:
        st.html('<i class="zp-whole-page"></i>')
        page.run()
        return
    if given():
        from zoneplan.pages.book.field import bar

        bar()
    in_the_queue = st.container()
    there = _do(job)
    with in_the_queue:  # only a field with a plan is done
        field_queue.bar()
    run = state.current() if there else None
    if run and (text := generic(run.plan)):
        weights.html(text)
    if run and isinstance(job, Job):
        with day.container():
            day_asked(job, run.plan)
    if text := told_of_opened():
        opened.html(text)
    if there or page.title in WITHOUT_A_PLAN:
        page.run()


def _paper() -> None:
    st.set_page_config("zoneplan", _HERE / "icon.svg", "wide", initial_sidebar_state=264)
    st.logo(_HERE / "mark.svg", size="large")
    st.html(_HERE / "style.css")


def _links(pages: Sequence[st.Page]) -> None:
    for one in pages:
        st.page_link(one, query_params=link.carried())


def _pages() -> dict[str, tuple[str, str]]:
    return {**(GROWERS if given() else {}), **START, **PAGES}


def _back_and_forth() -> None:
    desk = state.desk()
    with st.container(horizontal=True, key="back"):
        st.button(
            "Undo", key="undo", icon=":material/undo:", on_click=state.undo, disabled=not desk.past
        )
        st.button(
            "Redo",
            key="redo",
            icon=":material/redo:",
            on_click=state.redo,
            disabled=not desk.future,
        )


def _asked() -> Job | OtherFiles | str | LayerError:
    """A job, or what is still needed, or what is wrong with what a box holds."""
    try:
        return ask()
    except LayerError as error:
        return error


def _do(job: Job | OtherFiles | str | LayerError) -> bool:
    """Do the job; say what stops it, where something does."""
    if isinstance(job, OtherFiles):
        return False
    if isinstance(job, LayerError):
        st.html(fault(job))
        return False
    if isinstance(job, str):
        st.html(needed(job))
        return False
    try:
        return state.watching(job, lambda: state.answered(job)) is not None
    except ZoneplanError as error:
        fault_and_questions(error)
        return False


if __name__ == "__main__":
    frame()
