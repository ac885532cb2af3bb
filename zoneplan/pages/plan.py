"""The page: choose a field, see its zones, read why, take the files."""

import streamlit as st
from streamlit_folium import st_folium

from zoneplan.errors import ZoneplanError
from zoneplan.pages.ask import WORDS, ask, ask_further
from zoneplan.pages.found import what_was_found
from zoneplan.pages.map import zone_map
from zoneplan.pages.overview import (
    CAUTIONS,
    fault,
    head,
    legend,
    needed,
    notes,
    whole_field,
    zone_table,
)
from zoneplan.pages.own import Ground
from zoneplan.pages.reasons import zone_sheet
from zoneplan.pages.state import EVERYTHING, Asked, Made, made, planned
from zoneplan.pages.words import soil
from zoneplan.prescription import Plan
from zoneplan.soil.water import WETNESSES

FILES = {  # a label, and what a browser calls the file
    "summary.pdf": ("Printed summary", "application/pdf"),
    "cab.pdf": ("Cab sheet", "application/pdf"),
    "agronomist.pdf": ("Agronomist's sheet", "application/pdf"),
    "field.html": ("Landowner's page", "text/html"),
    "zones.zip": ("Shapefile", "application/zip"),
    "zones.geojson": ("GeoJSON", "application/geo+json"),
    "zones.gpkg": ("GeoPackage", "application/geopackage+sqlite3"),
    "zones.csv": ("Table", "text/csv"),
    "plan.json": ("Plan as JSON", "application/json"),
    EVERYTHING: ("All of it, and a task set for the cab", "application/zip"),
}
_MAP_PX = 540


def page() -> None:
    """Show the page."""
    try:
        asked = ask()
        if isinstance(asked, str):
            st.html(needed(asked))
        else:
            _show(asked)
    except ZoneplanError as error:
        if ask_further(str(error)):
            st.rerun()
        st.html(fault(str(error), WORDS))


def _show(asked: Asked) -> None:
    answer = planned(asked)
    plan = answer.plan
    st.html(head(plan))
    if isinstance(asked.ground, Ground):
        st.html(what_was_found(answer))
    with st.container(key="body"):
        left, right, below = st.columns(3, gap="medium")  # style.css puts them in their places
    with left:
        wetness = st.segmented_control(
            "Soil at planting", WETNESSES, default="moist", required=True, key="wetness"
        )
    with right:
        zone = _pick_zone(plan)
        st.html(zone_sheet(plan, zone, wetness))
    with left:
        _draw(plan, wetness, zone)
        st.html(legend(plan, wetness) + whole_field(plan, wetness))
        files = st.container(horizontal=True, key="files")
    with below:
        st.html(zone_table(plan, wetness))
    st.html(notes(plan))
    st.html(f'<p class="zp-cautions" role="note">{CAUTIONS}</p>')
    with files:  # last, for a plan is read before it is taken home
        _downloads(made(asked))


def _pick_zone(plan: Plan) -> int:
    """The zone to read about: chosen in the list, or by a click on the map."""
    soils = {it.zone.id: soil(it.zone.facts) for it in plan.settings}
    zone = st.session_state.get("zone")
    # Set again at every run, or the list shows the words of the plan before.
    st.session_state["zone"] = zone if zone in soils else next(iter(soils))
    return st.selectbox(
        "Zone, or click one on the map",
        soils,
        key="zone",
        format_func=lambda number: f"{number}: {soils[number]}",
    )


def _draw(plan: Plan, wetness: str, zone: int) -> None:
    drawn = zone_map(plan, wetness, zone)
    st_folium(
        drawn.ground,
        key="map",
        height=_MAP_PX,
        use_container_width=True,
        feature_group_to_add=drawn.zones,
        # The place tells one click on a zone from the next.
        returned_objects=["last_object_clicked", "last_active_drawing"],
        on_change=_take_click,
    )


def _take_click() -> None:
    """Choose the zone that was clicked."""
    clicked = st.session_state["map"].get("last_active_drawing")
    if clicked:
        st.session_state["zone"] = clicked["properties"]["id"]


def _downloads(made: Made) -> None:
    for name, (label, kind) in FILES.items():
        st.download_button(
            label,
            made.files[name],
            name,
            kind,
            key=f"take-{name}",
            on_click="ignore",
            type="primary" if name == "summary.pdf" else "secondary",
        )
    if made.missing:
        st.html(fault(made.missing, WORDS))


if __name__ == "__main__":
    page()
