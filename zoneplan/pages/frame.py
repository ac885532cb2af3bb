"""The frame of the app: what is asked on the side, the pages beside it, and the look of both."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import streamlit as st

from zoneplan.ask import Part
from zoneplan.demo import Demo, demo_fields
from zoneplan.errors import LayerError, ZoneplanError
from zoneplan.harmless import escape
from zoneplan.pages import link, next_field, state
from zoneplan.pages.answers import answered, current, watching
from zoneplan.pages.book import given
from zoneplan.pages.boxes import boxes, file_box, files_box
from zoneplan.pages.carry_over import (
    OtherFiles,
    ask_about_day,
    ask_what_follows,
    fill_day,
    other_files,
)
from zoneplan.pages.door import refused
from zoneplan.pages.fault import fault, fault_and_questions
from zoneplan.pages.intake import SAVED, opened_notice, public_data, saved_plan_box
from zoneplan.pages.link import page_link
from zoneplan.pages.next_field import leave_field
from zoneplan.pages.overview import generic, needed
from zoneplan.pages.person import gate, sign_out_bar
from zoneplan.pages.state import (
    BOXED,
    FILL_IN,
    MACHINE_FILE,
    OWN_FIELD,
    OWN_MACHINE,
    demo_of,
    desk,
    label,
    planter_words,
    put,
)
from zoneplan.request import usual_of
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.run import Job
from zoneplan.sources import File, Sources, Upload

_HERE = Path(__file__).parent
START = {"start.py": ("Start", "start")}
PAGES = {  # file, title, where it is found
    "planter.py": ("Planter", "planter"),
    "field.py": ("Field", "field"),
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
    first = "growers.py" if given() else "start.py" if beginning else "field.py"
    pages = [
        st.Page(_HERE / file, title=title, url_path=path, default=file == first)
        for file, (title, path) in {**(GROWERS if given() else {}), **START, **PAGES}.items()
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
        for one in pages:
            st.page_link(one, query_params=link.carried())
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
        next_field.bar()
    run = current() if there else None
    if run and (text := generic(run.plan)):
        weights.html(text)
    if run and isinstance(job, Job):
        with day.container():
            ask_about_day(job, run.plan)
    if text := opened_notice():
        opened.html(text)
    if there or page.title in WITHOUT_A_PLAN:
        page.run()


def _paper() -> None:
    st.set_page_config("zoneplan", _HERE / "icon.svg", "wide", initial_sidebar_state=264)
    st.logo(_HERE / "mark.svg", size="large")
    st.html(_HERE / "style.css")


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
        return _ask()
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
        return watching(job, lambda: answered(job)) is not None
    except ZoneplanError as error:
        fault_and_questions(error)
        return False


# ---- what is asked on the side -------------------------------------------------------------------

FIELD_NEEDED = (
    "Give a boundary (zipped shapefile, GeoJSON, GeoPackage or KML) and at least one soil layer: "
    "a soil-survey download as it came, zipped with its spatial and tabular folders; polygons "
    "with a texture class or with sand, silt and clay; GeoTIFFs of sand, silt and clay; or points "
    "(CSV) of texture. A conductivity log draws edges in these, or takes their place with texture "
    "samples. Where two layers overlap, the better one wins: samples of the field, then a survey, "
    "then rasters; the other fills what it lacks. GeoTIFFs sent together are one layer. In the "
    "United States a button on the side gets the public soil survey once there is a boundary."
)
SAVED_NEEDED = "Choose a saved plan: a zip that was saved with “Save the plan”."
MACHINE_NEEDED = (
    "Give the machine file: one row unit's weights, its closing notches and its downforce system, "
    "in TOML. Where you have none, choose a generic machine."
)


def _ask() -> Job | OtherFiles | str:
    """Ask for everything a plan depends on, or say what is still needed, or what is to be said.

    Raises
    ------
    LayerError
        Where a box holds what cannot be.
    """
    desk().box_fault = None
    with st.sidebar:
        demo, files, values = _field()
        values |= boxes([Part.MARKS], files)
        machine = _machine(demo)
        if machine is not None:
            fill_day(machine, files.get("boundary"))
        with st.expander("Hand checks"):
            files["checks"] = files_box("checks")
        st.subheader("Day", anchor=False)
        values |= boxes([Part.DAY], files)
        with st.expander("Zones"):
            values |= boxes([Part.ZONES], files)
    if st.session_state["field"] == SAVED:
        return SAVED_NEEDED
    work = desk()
    boxless = replace(work.laid, **{name: usual_of(name) for name in BOXED})
    request = replace(boxless, **values, drawn=work.drawn, edits=work.edits, title=work.title)
    job = Job(request, Sources(machine or MACHINE_FILE, rules=work.rules, **files))
    needed = _needed(files, machine)
    other = other_files(job, whole=not needed)
    work.draft = job if needed or other or work.box_fault else None
    if other:
        return other
    if needed:
        return needed
    if work.box_fault:
        raise work.box_fault
    return job


def _needed(files: Mapping[str, Any], machine: File | str | None) -> str:
    """Say what is still needed; nothing where nothing is."""
    drawn = {one.what for one in desk().drawn}
    if not (files.get("boundary") or "boundary" in drawn):
        return FIELD_NEEDED
    if not (files.get("soils") or "soil" in drawn):
        return FIELD_NEEDED
    return MACHINE_NEEDED if machine is None else ""


def _field() -> tuple[Demo | None, dict[str, Any], dict[str, Any]]:
    """A demo field, if one is chosen; the files of the ground, and what they leave open."""
    st.subheader("Field", anchor=False)
    demos = {demo.name: demo for demo in demo_fields()}
    name = st.selectbox(
        "Which field",
        [*demos, OWN_FIELD, SAVED],
        key="field",
        format_func=lambda choice: f"{choice.capitalize()} (demo)" if choice in demos else choice,
        on_change=_leave_drawings,
    )
    if name == SAVED:
        saved_plan_box("side")
        if before := desk().now:
            st.button("Back to the plan before", key="back-to", on_click=put, args=(before,))
        return None, {}, {}
    if name in demos:
        demo = demos[name]
        return demo, {"boundary": demo.boundary, "soils": (demo.survey,)}, {}
    files: dict[str, Any] = {"boundary": file_box("boundary"), "soils": files_box("soils")}
    with st.expander("More files"):
        files |= {role: file_box(role) for role in ("samples", "elevation", "tracks", "zones")}
    with st.expander("More on these files"):
        values = boxes([Part.FIELD, Part.SOIL], files)
    public_data(files, values)
    return None, files, values


def _leave_drawings() -> None:
    """On the way to another field, leave what was drawn and changed on the one before."""
    work, field = desk(), st.session_state["field"]
    if work.now is None or field == SAVED:
        return
    demo = demo_of(work.now.sources)
    if field != (demo.name if demo else OWN_FIELD):
        leave_field(work.now)


def _machine(demo: Demo | None) -> File | str | None:
    """A machine file, or a machine's name; None while the file is missing."""
    st.subheader("Planter", anchor=False)
    own = [OWN_MACHINE] if st.session_state["field"] != OWN_FIELD else []
    planters: list[str | Upload] = [*own, *desk().planters, *SYSTEMS, MACHINE_FILE]
    machine = st.selectbox(
        label("machine"),
        planters,
        key="machine",
        format_func=planter_words,
    )
    file = file_box("machine", "Machine file") if machine == MACHINE_FILE else machine
    page_link("planter", FILL_IN, "edit")
    if machine == OWN_MACHINE:
        return demo.machine if demo else None
    return file


if __name__ == "__main__":
    frame()
