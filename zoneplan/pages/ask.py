"""The side of the page that asks: which field, which planter, what day."""

from typing import Protocol

import streamlit as st

from zoneplan.demo import demo_fields
from zoneplan.pages.state import OWN_MACHINE, Asked, Ground, Upload
from zoneplan.rowunit.machine import SYSTEMS
from zoneplan.rules.rule import TILLAGES

OWN_FIELD = "files of my own"
MACHINE_FILE = "a machine file"
PARTS = ("texture", "sand", "silt", "clay", "organic")  # of soil polygons, as columns

FIELD_NEEDED = (
    "Give a boundary (zipped shapefile, GeoJSON, GeoPackage or KML) and at least one soil layer: "
    "a soil-survey download as it came, zipped with its spatial and tabular folders, or polygons "
    "with a texture class or with sand, silt and clay. Where two layers overlap, the first wins."
)
MACHINE_NEEDED = (
    "Give the machine file: one row unit's weights, its closing notches and its downforce system, "
    "in TOML. Where you have none, choose a generic machine."
)

# Errors name the options of the command line; here each is a box with a label.
BOXES = {
    "--pick": "Which feature",
    "--layer-crs": "Coordinate system",
    **{f"--{part}-column": f"{part.capitalize()} column" for part in PARTS},
}


class _Sent(Protocol):
    """A file as the chooser hands it out."""

    name: str

    def getvalue(self) -> bytes: ...


def ask() -> Asked | str:
    """Ask for everything a plan depends on, or say what is still needed."""
    with st.sidebar:
        ground = _field()
        machine = _planter(demo=isinstance(ground, str))
        st.subheader("Day", anchor=False)
        tillage = st.selectbox("Tillage", TILLAGES, key="tillage")
        left, right = st.columns(2)
        speed = left.number_input(
            "Speed, mph", 1.0, 15.0, None, 0.5, key="speed", placeholder="planter's"
        )
        depth = right.number_input(
            "Seed depth, in", 0.5, 4.0, None, 0.25, key="depth", placeholder="planter's"
        )
        residue = st.number_input("Ground covered by residue, %", 0, 100, 0, 5, key="residue")
    if ground is None:
        return FIELD_NEEDED
    if machine is None:
        return MACHINE_NEEDED
    return Asked(ground, machine, tillage, speed, depth, residue)


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
    soils = st.file_uploader("Soil layers", accept_multiple_files=True, key="soils")
    with st.expander("More on these files"):
        pick = _line(BOXES["--pick"], "pick", '3, or "column=value"', "Of the boundary.")
        crs = _line(
            BOXES["--layer-crs"], "crs", "EPSG:4326", "Of files that do not state their own."
        )
        columns = [(part, _line(BOXES[f"--{part}-column"], part)) for part in PARTS]
    if boundary is None or not soils:
        return None
    return Ground(
        boundary=_upload(boundary),
        soils=tuple(map(_upload, soils)),
        pick=pick,
        crs=crs,
        columns=tuple((part, name) for part, name in columns if name),
    )


def _planter(*, demo: bool) -> Upload | str | None:
    """A machine file, or a machine's name; None while the file is missing."""
    st.subheader("Planter", anchor=False)
    machine = st.selectbox(
        "Machine",
        [*([OWN_MACHINE] if demo else []), *SYSTEMS, MACHINE_FILE],
        key="machine",
        format_func=lambda it: f"generic {it}" if it in SYSTEMS else it,
    )
    if machine != MACHINE_FILE:
        return machine
    sent = st.file_uploader("Machine file", key="machine_file")
    return None if sent is None else _upload(sent)


def _line(label: str, key: str, example: str | None = None, help: str | None = None) -> str | None:
    """A box for one line; None while it is empty."""
    return st.text_input(label, key=key, placeholder=example, help=help).strip() or None


def _upload(sent: _Sent) -> Upload:
    return Upload(sent.name, sent.getvalue())
