"""The page of the field: see its zones, read why, change what the ground tells better."""

import streamlit as st
from streamlit_folium import st_folium

from zoneplan.pages.changes import changes, pick_zone_again
from zoneplan.pages.found import what_was_found
from zoneplan.pages.map import zone_map
from zoneplan.pages.overview import CAUTIONS, head, legend, notes, whole_field, zone_table
from zoneplan.pages.reasons import zone_sheet
from zoneplan.pages.state import asked, current
from zoneplan.pages.words import soil
from zoneplan.prescription import Plan
from zoneplan.soil.water import WETNESSES
from zoneplan.work.asked import Ground

_MAP_PX = 540


def page() -> None:
    """Show the page."""
    question, answer = asked(), current()
    if question is None or answer is None:
        return
    plan = answer.plan
    st.html(head(plan))
    if isinstance(question.ground, Ground):
        st.html(what_was_found(answer))
    with st.container(key="body"):
        left, right, below = st.columns(3, gap="medium")  # style.css puts them in their places
    with left:
        wetness = st.segmented_control(
            "Soil at planting", WETNESSES, default="moist", required=True, key="wetness"
        )
    with right:
        zone = _pick_zone(plan)
        fill = _hopper(plan)
        st.html(zone_sheet(plan, zone, wetness, fill))
    with left:
        _draw(plan, wetness, zone)
        st.html(legend(plan, wetness) + whole_field(plan, wetness))
    with below:
        st.html(zone_table(plan, wetness))
        changes(plan, zone, wetness)
    st.html(notes(plan))
    st.html(f'<p class="zp-cautions" role="note">{CAUTIONS}</p>')


def _hopper(plan: Plan) -> float:
    """How much seed is left, as a share of the hopper."""
    full, refill = plan.machine.fill_full, plan.machine.fill_refill
    if full <= refill:
        return full
    least, most = round(100 * refill), round(100 * full)
    kept = st.session_state.get("fill", most)
    st.session_state["fill"] = min(max(kept, least), most)  # another planter has another hopper
    chosen = st.slider("Seed in the hopper", least, most, key="fill", format="%d %%")
    return full if chosen == most else refill if chosen == least else chosen / 100


def _pick_zone(plan: Plan) -> int:
    """The zone to read about: chosen in the list, or by a click on the map."""
    soils = {it.zone.id: soil(it.zone.facts) for it in plan.settings}
    pick_zone_again(plan)
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


if __name__ == "__main__":
    page()
