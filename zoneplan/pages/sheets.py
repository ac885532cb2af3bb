"""What leaves: the sheets as they will be printed, every file, and the work itself."""

import base64
from collections.abc import Mapping
from functools import partial

import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.export.bundle import EVERYTHING, TASKSET
from zoneplan.export.manifest import Options
from zoneplan.export.taskset_words import Value, taskset_notes
from zoneplan.pages.answers import answered, current, made, pictured, watching
from zoneplan.pages.boxes import choice, title_boxes
from zoneplan.pages.fault import fault
from zoneplan.pages.intake import saved_plan_box
from zoneplan.pages.link import link_block
from zoneplan.pages.overview import head
from zoneplan.pages.state import asked, desk
from zoneplan.pages.words import UNITS, items
from zoneplan.plan.model import Plan
from zoneplan.request import TitleBlock
from zoneplan.run import Job
from zoneplan.store.archive import saved, saved_name
from zoneplan.terms import Moisture, SettingKind

LANDOWNER = "field.html"
FILES = {  # what a browser calls the file, and its label
    "summary.pdf": ("application/pdf", "Printed summary"),
    "cab.pdf": ("application/pdf", "Cab sheet"),
    "agronomist.pdf": ("application/pdf", "Agronomist's sheet"),
    LANDOWNER: ("text/html", "Landowner's page"),
    "zones.zip": ("application/zip", "Zones as a shapefile"),
    "zones.geojson": ("application/geo+json", "Zones as GeoJSON"),
    "zones.gpkg": ("application/geopackage+sqlite3", "Zones as a GeoPackage"),
    "zones.csv": ("text/csv", "Zones as a table"),
    TASKSET: ("application/zip", "Task set for the cab"),
    "plan.json": ("application/json", "The plan, for programs"),
    EVERYTHING: ("application/zip", "All of them in one zip"),
}
SHEETS = {name: FILES[name][1] for name in ("summary.pdf", "cab.pdf", "agronomist.pdf", LANDOWNER)}
PAPERS = {"letter": "US Letter", "a4": "A4"}
VERSIONS = {"version 4": 4, "version 3": 3, "none": None}
SIZES = {"whole": "whole page", "wide": "full width", "close": "close up"}  # as in style.css
_PAGE_PX = 860  # of the landowner's page in its frame
_MOST_SHOWN = 1_400_000  # bytes that a browser takes as an address


def page() -> None:
    """Show the page."""
    job, done = asked(), current()
    if job is None or done is None:
        saved_plan_box("page")
        return
    plan = done.plan
    st.html(head(plan))
    with st.container(key="sheets"):
        shown, side = st.columns([5, 3], gap="large")  # style.css puts them in their places
    with side:
        _put_by(job, plan)
        _whose()
        place = st.container()
        options = _options(plan, job.request.moisture, job.request.title)
    with shown:
        sheet = choice("Preview", SHEETS, "sheet", "summary.pdf")
        if sheet != LANDOWNER:
            _pages(job, sheet, options)
    with place:
        files = _take(job, options)
    with side:
        link_block()
    if sheet == LANDOWNER and files:
        with shown:
            _landowners_page(files[_called(job, options, LANDOWNER)])


def _put_by(job: Job, plan: Plan) -> None:
    """Offer the plan as it can be opened again, and to open another."""
    st.html(
        "<h2 class='zp-sheets'>Save the plan</h2><p class='zp-sheets'>One zip with your files, "
        "drawings, rules and changes. Opened again, it gives the same numbers.</p>"
    )
    st.download_button(
        "Save the plan",
        partial(saved, job, plan),  # made when it is taken
        saved_name(plan),
        "application/zip",
        key="save",
        on_click="ignore",
        type="primary",
        icon=":material/save:",
    )
    with st.expander("Open a saved plan"):
        saved_plan_box("page")


def _whose() -> None:
    """Ask whose plan it is and who made it; the run after has it on every sheet."""
    work = desk()
    with st.expander("Whose plan, and who made it"):
        st.html(
            "<p class='zp-sheets'>It stands on every page, in the files' names and in the cab.</p>"
        )
        title = title_boxes(work.title)
    if title != work.title:
        work.title = title
        st.rerun()


def _options(plan: Plan, moisture: Moisture, title: TitleBlock) -> Options:
    st.html("<h2 class='zp-sheets'>How the files are made</h2>")
    with st.container(horizontal=True):
        paper = choice("Paper", PAPERS, "paper", "letter")
        units = choice("Units on paper", UNITS, "units", "us")
    every = _tick("All three moistures in the zone files, in columns of their own", "every")
    version = VERSIONS[
        st.selectbox("Task set (ISO 11783-10)", VERSIONS, key="taskset", persist_state="session")
    ]
    grid = False
    value: Value = "downforce"
    if version:
        grid = _tick("Its zones as a grid of cells, not as polygons", "grid")
        if plan.setting_kind == SettingKind.MARGIN_TARGET and _tick(
            "Margin targets in it (loads to leave on the gauge wheels), in place of downforce",
            "margins",
        ):
            value = "margin"
        notes = taskset_notes(plan, moisture, grid=grid, value=value)
        opened = "open" if value == "margin" else ""  # a caution goes with it
        st.html(
            f"<details class='zp-sheets' {opened}><summary>What its numbers mean</summary>"
            f"<ul>{items(notes)}</ul></details>"
        )
    return Options(moisture, every, paper, units, version, grid, value, title=title)


def _take(job: Job, options: Options) -> Mapping[str, bytes]:
    """Make the files and offer each; none where a person stopped it."""
    st.html("<h2 class='zp-sheets'>Files</h2>")
    try:
        done = watching(("files", job, options), lambda: made(job, options), "stop-files")
    except ZoneplanError as error:
        st.html(fault(error))
        return {}
    if done is None:
        return {}
    with st.container(horizontal=True, key="files"):
        for name, (kind, label) in FILES.items():
            called = _called(job, options, name)
            if called in done.files:
                st.download_button(
                    label,
                    done.files[called],
                    called,
                    kind,
                    key=f"take-{name}",
                    on_click="ignore",
                    help=called,
                    type="primary" if name == EVERYTHING else "secondary",
                )
    if done.missing:
        st.html(fault(done.missing))
    return done.files


def _called(job: Job, options: Options, name: str) -> str:
    """What a file is called for whose it is, where people pass it on."""
    if name not in SHEETS:
        return name
    return options.title.file_name(answered(job).plan.field.name, name)


def _pages(job: Job, sheet: str, options: Options) -> None:
    """Every page of a sheet as it will be printed."""
    size = choice("Size", SIZES, "size", "wide")
    pages = pictured(job, sheet, options)
    with st.container(key=f"pages-{size}"):
        for number, page in enumerate(pages, 1):
            alt = f"{SHEETS[sheet]}, page {number} of {len(pages)}. {sheet} has it in words."
            st.image(page, alt=alt, width="stretch")


def _landowners_page(content: bytes) -> None:
    """Show it in a frame, at an address of its own: nothing in it reaches the app."""
    if len(content) > _MOST_SHOWN:
        st.html(f"<p class='zp-sheets'>It is too long to be shown here. Open {LANDOWNER}.</p>")
        return
    address = f"data:text/html;charset=utf-8;base64,{base64.b64encode(content).decode()}"
    st.iframe(address, height=_PAGE_PX, alt=f"{SHEETS[LANDOWNER]}, preview")


def _tick(label: str, key: str) -> bool:
    return st.checkbox(label, key=key, persist_state="session")


if __name__ == "__main__":
    page()
