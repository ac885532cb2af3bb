"""The side of the page that asks: which field, which planter, what day."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import streamlit as st

from zoneplan.demo import Demo, demo_fields
from zoneplan.pages.boxes import BOXED, label
from zoneplan.pages.carry_over import OtherFiles, leave_field, other_files
from zoneplan.pages.link import carried
from zoneplan.pages.public_data import public_data
from zoneplan.pages.saved_plan import SAVED, chooser
from zoneplan.pages.side_boxes import boxes, file_box, files_box
from zoneplan.pages.speed_depth import keep_day
from zoneplan.pages.state import (
    FILL_IN,
    MACHINE_FILE,
    OWN_FIELD,
    OWN_MACHINE,
    OWN_PLANTER,
    demo_of,
    desk,
    planter_words,
    put,
)
from zoneplan.request import Part, usual_of
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.run import Job
from zoneplan.sources import File, Sources, Upload

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


def ask() -> Job | OtherFiles | str:
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
            keep_day(machine, files.get("boundary"))
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
        chooser("side")
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
    st.page_link(OWN_PLANTER, label=FILL_IN, icon=":material/edit:", query_params=carried())
    if machine == OWN_MACHINE:
        return demo.machine if demo else None
    return file
