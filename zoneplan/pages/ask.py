"""The side of the page that asks: which field, which planter, what day."""

from typing import Protocol

import streamlit as st

from zoneplan.demo import demo_fields
from zoneplan.errors import ZoneplanError
from zoneplan.field.layer import COLUMNS
from zoneplan.harmless import in_markdown
from zoneplan.pages.boxes import label
from zoneplan.pages.opened import SAVED, chooser
from zoneplan.pages.state import MACHINE_FILE, OWN_FIELD, desk, put
from zoneplan.pages.uploads import TOGETHER
from zoneplan.pages.words import shortened
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rules.rule import TILLAGES
from zoneplan.work.asked import (
    MOST_PASSES,
    OWN_MACHINE,
    RASTER_UNITS,
    SIDES,
    Asked,
    Ground,
    Upload,
)

FIELD_NEEDED = (
    "Give a boundary (zipped shapefile, GeoJSON, GeoPackage or KML) and at least one soil layer: "
    "a soil-survey download as it came, zipped with its spatial and tabular folders; polygons "
    "with a texture class or with sand, silt and clay; GeoTIFFs of sand, silt and clay; or points "
    "(CSV) of texture. A conductivity log draws edges in these, or takes their place with texture "
    "samples. Where two layers overlap, the first wins. GeoTIFFs sent "
    "together are one layer."
)
SAVED_NEEDED = "Choose a saved plan: a zip that was saved with “Save the plan”."
MACHINE_NEEDED = (
    "Give the machine file: one row unit's weights, its closing notches and its downforce system, "
    "in TOML. Where you have none, choose a generic machine."
)


class _Sent(Protocol):
    """A file as the chooser hands it out."""

    name: str

    def getvalue(self) -> bytes: ...


def ask() -> Asked | str:
    """Ask for everything a plan depends on, or say what is still needed."""
    with st.sidebar:
        ground = _field()
        passes, sides = _headland()
        machine = _planter(demo=st.session_state["field"] != OWN_FIELD)
        st.subheader("Day", anchor=False)
        tillage = st.selectbox(label("tillage"), TILLAGES, key="tillage")
        left, right = st.columns(2)
        speed = left.number_input(
            label("speed_mps"), 1.0, 15.0, None, 0.5, key="speed", placeholder="planter's"
        )
        depth = right.number_input(
            label("depth_m"), 0.5, 4.0, None, 0.25, key="depth", placeholder="planter's"
        )
        residue = st.number_input(label("residue_frac"), 0, 100, step=5, key="residue")
        least_acres, least_width_ft, most_zones = _zones()
    if ground is None:
        return SAVED_NEEDED if st.session_state["field"] == SAVED else FIELD_NEEDED
    if machine is None:
        return MACHINE_NEEDED
    it = desk()
    return Asked(
        ground=ground,
        machine=machine,
        tillage=tillage,
        speed_mph=speed,
        depth_in=depth,
        residue_pct=residue,
        headland=passes,
        sides=sides,
        drawn=it.drawn,
        least_acres=least_acres,
        least_width_ft=least_width_ft,
        most_zones=most_zones,
        rules=it.rules,
        edits=it.edits,
    )


def ask_further(error: ZoneplanError) -> bool:
    """Bring up the box that an error asks for; tell whether it was not there before."""
    if "raster_unit" not in error.parameters or st.session_state.get("unit_asked"):
        return False
    st.session_state["unit_asked"] = True
    return True


def _field() -> Ground | str | None:
    """A demo field's name, or files of one's own; None while some are missing."""
    st.subheader("Field", anchor=False)
    names = [demo.name for demo in demo_fields()]
    name = st.selectbox(
        "Which field",
        [*names, OWN_FIELD, SAVED],
        key="field",
        format_func=lambda it: f"{it.capitalize()} (demo)" if it in names else it,
        on_change=_leave_drawings,
    )
    if name == SAVED:
        chooser("side")
        if before := desk().now:
            st.button("Back to the plan before", key="back-to", on_click=put, args=(before,))
        return None
    if name != OWN_FIELD:
        return name
    boundary = _file("Boundary", "boundary")
    soils = _files(label("soils"), "soils")
    with st.expander("More files"):
        samples = _file(label("samples"), "samples", "Of texture, to read a conductivity log by.")
        elevation = _file(label("elevation"), "elevation", "A GeoTIFF of heights.")
        tracks = _file(label("tracks"), "tracks", "Lines as wide as the planter, or outlines.")
        drawn = _file(label("zones"), "drawn", "Polygons. Each stays a zone of its own.")
    with st.expander("More on these files"):
        pick = _line(label("pick"), "pick", '3, or "column=value"', "Of the boundary.")
        crs = _line(label("crs"), "crs", "EPSG:4326", "Of files that do not state their own.")
        columns = [(part, _line(label(f"columns.{part}"), part)) for part in COLUMNS]
    unit = None
    if st.session_state.get("unit_asked"):
        unit = st.selectbox(
            label("raster_unit"),
            RASTER_UNITS,
            None,
            key="raster_unit",
            placeholder="as the values tell",
        )
    sketched = {it.what for it in desk().drawn}
    if (boundary is None and "boundary" not in sketched) or not (soils or "soil" in sketched):
        return None
    return Ground(
        boundary=boundary,
        soils=soils,
        samples=samples,
        elevation=elevation,
        tracks=tracks,
        drawn=drawn,
        pick=pick,
        crs=crs,
        columns=tuple((part, name) for part, name in columns if name),
        raster_unit=unit,
    )


def _leave_drawings() -> None:
    """On the way to another field, leave what was drawn and changed on the one before."""
    it, field = desk(), st.session_state["field"]
    if it.now is None or field == SAVED:
        return
    before = it.now.ground if isinstance(it.now.ground, str) else OWN_FIELD
    if field != before:
        it.drawn, it.edits = (), ()


def _headland() -> tuple[int, tuple[str, ...]]:
    """Passes of the planter round the edge, and the sides that have them."""
    passes = st.number_input(label("headland_passes"), 0, MOST_PASSES, key="headland")
    if not passes:
        return 0, ()
    sides = st.multiselect(
        label("headland_sides"), SIDES, key="sides", placeholder="all round, holes too"
    )
    return passes, tuple(sides)


def _planter(*, demo: bool) -> Upload | str | None:
    """A machine file, or a machine's name; None while the file is missing."""
    st.subheader("Planter", anchor=False)
    machine = st.selectbox(
        label("machine"),
        [*([OWN_MACHINE] if demo else []), *SYSTEMS, MACHINE_FILE],
        key="machine",
        format_func=lambda it: f"generic {it}" if it in SYSTEMS else it,
    )
    if machine != MACHINE_FILE:
        return machine
    return _file("Machine file", "machine_file")


def _zones() -> tuple[float | None, float | None, int | None]:
    """What is asked of the zones."""
    with st.expander("Zones"):
        return (
            st.number_input(
                label("least_area_m2"),
                0.0,
                None,
                None,
                1.0,
                key="least_acres",
                placeholder="as the system can follow",
            ),
            st.number_input(
                label("least_width_m"),
                0.0,
                None,
                None,
                5.0,
                key="least_width",
                placeholder="planter's",
            ),
            st.number_input(
                label("most_zones"),
                1,
                None,
                None,
                1,
                key="most_zones",
                placeholder="as the field needs",
            ),
        )


def _file(called: str, box: str, help: str | None = None) -> Upload | None:
    """A chooser for one file; None while there is none."""
    sent = st.file_uploader(called, key=box_key(box), help=help)
    if sent is not None:
        return as_upload(sent)
    return next(iter(_kept(box)), None)


def _files(called: str, box: str) -> tuple[Upload, ...]:
    """A chooser for files: those kept from before come first."""
    sent = st.file_uploader(called, accept_multiple_files=True, key=box_key(box), help=TOGETHER)
    return (*_kept(box), *map(as_upload, sent))


def box_key(box: str) -> str:
    """A chooser's key: another once the desk was laid out anew, for no chooser can be filled."""
    fresh = desk().fresh
    return f"{box}-{fresh}" if fresh else box


def _kept(box: str) -> tuple[Upload, ...]:
    """Files that the chooser does not show, for they were sent before; each can be let go."""
    kept = desk().files.get(box, ())
    for number, upload in enumerate(kept):
        st.button(
            f"{in_markdown(shortened(upload.name))}, {len(upload.content) / 1000:,.0f} kB",
            key=f"let-go-{box}-{number}",
            icon=":material/close:",
            on_click=_let_go,
            args=(box, number),
            help="Kept from before. Press to let it go.",
            type="tertiary",
        )
    return kept


def _let_go(box: str, number: int) -> None:
    kept = [*desk().files.get(box, ())]
    del kept[number]
    desk().files[box] = tuple(kept)


def _line(called: str, key: str, example: str | None = None, help: str | None = None) -> str | None:
    """A box for one line; None while it is empty."""
    return st.text_input(called, key=key, placeholder=example, help=help).strip() or None


def as_upload(sent: _Sent) -> Upload:
    """Take a file as a chooser hands it out."""
    return Upload(sent.name, sent.getvalue())
