"""The side of the page that asks: which field, which planter, what day."""

from typing import Protocol

import streamlit as st

from zoneplan.demo import demo_fields
from zoneplan.field.layer import COLUMNS
from zoneplan.pages.own import Ground, Upload
from zoneplan.pages.state import OWN_MACHINE, Asked
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rules.rule import TILLAGES

OWN_FIELD = "files of my own"
MACHINE_FILE = "a machine file"
SIDES = ("north", "east", "south", "west")
UNITS = ("percent", "g/kg", "fraction")
MOST_PASSES = 8
COLUMN_BOXES = {part: f"{part.capitalize()} column" for part in COLUMNS}
RASTER_UNIT = "--raster-unit"  # its box comes up when an error asks for it

FIELD_NEEDED = (
    "Give a boundary (zipped shapefile, GeoJSON, GeoPackage or KML) and at least one soil layer: "
    "a soil-survey download as it came, zipped with its spatial and tabular folders; polygons "
    "with a texture class or with sand, silt and clay; GeoTIFFs of sand, silt and clay; or points "
    "(CSV) of texture. A conductivity log draws edges in these, or takes their place with texture "
    "samples. Where two layers overlap, the first wins. GeoTIFFs sent "
    "together are one layer."
)
MACHINE_NEEDED = (
    "Give the machine file: one row unit's weights, its closing notches and its downforce system, "
    "in TOML. Where you have none, choose a generic machine."
)

# Errors name the options of the command line; here each is a box with a label.
BOXES = {
    "--soil": "Soil layers",
    "--samples": "Texture samples",
    "--elevation": "Elevation",
    "--tracks": "Wheel tracks",
    "--drawn": "Drawn zones",
    "--pick": "Which feature",
    "--layer-crs": "Coordinate system",
    **{f"--{part}-column": label for part, label in COLUMN_BOXES.items()},
    RASTER_UNIT: "Raster unit",
    "--headland": "Headland passes",
    "--headland-side": "Headland sides",
    "--machine": "Machine",
    "--tillage": "Tillage",
    "--speed": "Speed, mph",
    "--depth": "Seed depth, in",
    "--residue": "Ground covered by residue, %",
}
# What to read in place of an option: its box, or what to do where there is none.
WORDS = {option: f"“{label}”" for option, label in BOXES.items()} | {
    "--band clay=FILE:NUMBER": "send a file for each, named for what it holds, as in clay.tif",
}


class _Sent(Protocol):
    """A file as the chooser hands it out."""

    name: str

    def getvalue(self) -> bytes: ...


def ask() -> Asked | str:
    """Ask for everything a plan depends on, or say what is still needed."""
    with st.sidebar:
        ground = _field()
        passes, sides = _headland()
        machine = _planter(demo=isinstance(ground, str))
        st.subheader("Day", anchor=False)
        tillage = st.selectbox(BOXES["--tillage"], TILLAGES, key="tillage")
        left, right = st.columns(2)
        speed = left.number_input(
            BOXES["--speed"], 1.0, 15.0, None, 0.5, key="speed", placeholder="planter's"
        )
        depth = right.number_input(
            BOXES["--depth"], 0.5, 4.0, None, 0.25, key="depth", placeholder="planter's"
        )
        residue = st.number_input(BOXES["--residue"], 0, 100, 0, 5, key="residue")
    if ground is None:
        return FIELD_NEEDED
    if machine is None:
        return MACHINE_NEEDED
    return Asked(ground, machine, tillage, speed, depth, residue, passes, sides)


def ask_further(error: str) -> bool:
    """Bring up the box that an error asks for; tell whether it was not there before."""
    if RASTER_UNIT not in error or st.session_state.get("unit_asked"):
        return False
    st.session_state["unit_asked"] = True
    return True


def _field() -> Ground | str | None:
    """A demo field's name, or files of one's own; None while some are missing."""
    st.subheader("Field", anchor=False)
    names = [demo.name for demo in demo_fields()]
    name = st.selectbox(
        "Which field",
        [*names, OWN_FIELD],
        key="field",
        format_func=lambda it: it if it == OWN_FIELD else f"{it.capitalize()} (demo)",
    )
    if name != OWN_FIELD:
        return name
    boundary = st.file_uploader("Boundary", key="boundary")
    soils = st.file_uploader(BOXES["--soil"], accept_multiple_files=True, key="soils")
    with st.expander("More files"):
        samples = _file("--samples", "samples", "Of texture, to read a conductivity log by.")
        elevation = _file("--elevation", "elevation", "A GeoTIFF of heights.")
        tracks = _file("--tracks", "tracks", "Lines as wide as the planter, or outlines.")
        drawn = _file("--drawn", "drawn", "Polygons. Each stays a zone of its own.")
    with st.expander("More on these files"):
        pick = _line(BOXES["--pick"], "pick", '3, or "column=value"', "Of the boundary.")
        crs = _line(
            BOXES["--layer-crs"], "crs", "EPSG:4326", "Of files that do not state their own."
        )
        columns = [(part, _line(label, part)) for part, label in COLUMN_BOXES.items()]
    unit = None
    if st.session_state.get("unit_asked"):
        unit = st.selectbox(
            BOXES[RASTER_UNIT], UNITS, None, key="raster_unit", placeholder="as the values tell"
        )
    if boundary is None or not soils:
        return None
    return Ground(
        boundary=_upload(boundary),
        soils=tuple(map(_upload, soils)),
        samples=samples,
        elevation=elevation,
        tracks=tracks,
        drawn=drawn,
        pick=pick,
        crs=crs,
        columns=tuple((part, name) for part, name in columns if name),
        raster_unit=unit,
    )


def _headland() -> tuple[int, tuple[str, ...]]:
    """Passes of the planter round the edge, and the sides that have them."""
    passes = st.number_input(BOXES["--headland"], 0, MOST_PASSES, 0, key="headland")
    if not passes:
        return 0, ()
    sides = st.multiselect(
        BOXES["--headland-side"], SIDES, key="sides", placeholder="all round, holes too"
    )
    return passes, tuple(sides)


def _planter(*, demo: bool) -> Upload | str | None:
    """A machine file, or a machine's name; None while the file is missing."""
    st.subheader("Planter", anchor=False)
    machine = st.selectbox(
        BOXES["--machine"],
        [*([OWN_MACHINE] if demo else []), *SYSTEMS, MACHINE_FILE],
        key="machine",
        format_func=lambda it: f"generic {it}" if it in SYSTEMS else it,
    )
    if machine != MACHINE_FILE:
        return machine
    sent = st.file_uploader("Machine file", key="machine_file")
    return None if sent is None else _upload(sent)


def _file(option: str, key: str, help: str) -> Upload | None:
    """A chooser for one file; None while there is none."""
    sent = st.file_uploader(BOXES[option], key=key, help=help)
    return None if sent is None else _upload(sent)


def _line(label: str, key: str, example: str | None = None, help: str | None = None) -> str | None:
    """A box for one line; None while it is empty."""
    return st.text_input(label, key=key, placeholder=example, help=help).strip() or None


def _upload(sent: _Sent) -> Upload:
    return Upload(sent.name, sent.getvalue())
