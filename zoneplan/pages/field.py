"""The page of the field: see its zones, read why, change what the ground tells better."""

import streamlit as st

from zoneplan.pages.answers import current, once
from zoneplan.pages.boxes import moisture_choice
from zoneplan.pages.edits import (
    HERE,
    IN_BOX,
    IN_LIST,
    Asking,
    asking,
    change_list,
    pick_zone_again,
    take,
)
from zoneplan.pages.hand_checks import hand_checks, is_checking
from zoneplan.pages.impact import impact_of_last_edit
from zoneplan.pages.layer_views import View, titles, view
from zoneplan.pages.map import (
    WEB_HELP,
    Shapes,
    field_map,
    ground_look,
    ground_shapes,
    layer_legend,
    shades,
    zone_legend,
    zone_look,
    zone_shapes,
)
from zoneplan.pages.overview import (
    CAUTIONS,
    field_and_layers,
    head,
    margin_is,
    notes,
    whole_field,
    zone_table,
)
from zoneplan.pages.state import asked, demo_of, desk
from zoneplan.pages.words import called
from zoneplan.pages.zone_box import is_changing, zone_box
from zoneplan.pages.zone_sheet import zone_sheet
from zoneplan.plan.headline import holds_one
from zoneplan.plan.model import Plan, ZoneSetting
from zoneplan.plan.places import zone_at
from zoneplan.run import Run
from zoneplan.terms import Moisture

ZONES = "zones"
AT_ONE = "too light, right, too heavy"  # at the field's one setting
_SEEN = ("zone", "shown_moisture", "fill", "show")  # what a reload brings back
_HAS = "map_has"  # what the browser was sent of the map


def page() -> None:
    """Show the page."""
    job, run = asked(), current()
    if job is None or run is None:
        return
    plan = run.plan
    st.html(head(plan))
    if not demo_of(job.sources):
        st.html(field_and_layers(run))
    st.session_state[_HAS] = set()  # the browser may have let go what it had
    _field(run, desk().fresh)
    st.html(notes(plan))
    st.html(f'<p class="zp-cautions" role="note">{CAUTIONS}</p>')


@st.fragment
def _field(run: Run, fresh: int) -> None:
    """The map, the zone beside it and the table: what another zone, moisture or fill changes.

    It runs by itself, so that such a touch is light. Whoever lays the desk out anew asks for
    another plan.
    """
    if desk().fresh != fresh:
        st.rerun()
    plan = run.plan
    with st.container(key="body"):  # style.css puts them in their places
        left, right, below = st.container(), st.container(), st.container()
    job = desk().now
    assert job is not None
    impact, at = impact_of_last_edit(job), st.session_state.get(HERE)
    with left, st.container(horizontal=True, vertical_alignment="bottom", key="shown"):
        moisture = moisture_choice("shown_moisture")
        shown = _pick_layer(run)
    with right:
        zone = _pick_zone(plan)
        number = zone.zone.id
        in_box = at == IN_BOX and is_changing()
        if impact and at != IN_LIST and not in_box:
            st.html(impact)
        zone_box(plan, zone, impact if in_box else "")
        # What is checked by hand is of a fill: then that is no matter of the sheet alone.
        beside = _hopper_and_sheet if is_checking() else st.fragment(_hopper_and_sheet)
        fill = beside(plan, number, moisture)
    with left:
        legend_html = _draw(run, shown, moisture, number, asking(plan, number))
        st.html(legend_html + margin_is() + whole_field(plan, moisture))
    with below:
        st.html(once(f"table {moisture}", run, lambda: zone_table(plan, moisture)))
        if impact and at == IN_LIST:
            st.html(impact)
        change_list(plan)
        hand_checks(plan, zone, moisture, fill)


def _hopper_and_sheet(plan: Plan, zone: int, moisture: Moisture) -> float:
    """The zone at a fill, which nothing else of the page depends on; the fill."""
    fill = _hopper(plan)
    st.html(zone_sheet(plan, zone, moisture, fill))
    desk().seen.update({name: st.session_state[name] for name in _SEEN if name in st.session_state})
    return fill


def _hopper(plan: Plan) -> float:
    """How much seed is left, as a share of the hopper."""
    full, refill = plan.machine.fill_full, plan.machine.fill_refill
    if full <= refill:
        return full
    least, most = round(100 * refill), round(100 * full)
    fill_pct = st.session_state.get("fill", most)
    st.session_state["fill"] = min(max(fill_pct, least), most)  # another planter has another hopper
    chosen = st.slider(
        "Seed in the hopper", least, most, key="fill", format="%d %%", persist_state="session"
    )
    return full if chosen == most else refill if chosen == least else chosen / 100


def _pick_zone(plan: Plan) -> ZoneSetting:
    """The zone to read about: chosen in the list, or by a click on the map."""
    zones = {setting.zone.id: setting for setting in plan.settings}
    pick_zone_again(plan)
    zone = st.session_state.get("zone")
    # Set again at every run, or the list shows the words of the plan before.
    st.session_state["zone"] = zone if zone in zones else next(iter(zones))
    chosen = st.selectbox(
        "Zone, or click one on the map",
        zones,
        key="zone",
        format_func=lambda number: f"{number}: {called(zones[number].zone)}",
        persist_state="session",
    )
    return zones[chosen]


def _pick_layer(run: Run) -> str:
    """What the map shows: the zones, or a layer that they were made from."""
    one = [AT_ONE] if holds_one(run.plan) and any(run.plan.best.values()) else []
    options = [*one, ZONES, *titles(run)]
    had_one = st.session_state.get("show_one", False)
    st.session_state["show_one"] = bool(one)
    # Where one setting serves the field, where it suits is what a reader wants first.
    if st.session_state.get("show") not in options or (one and not had_one):
        st.session_state["show"] = options[0]
    shown = st.selectbox("Show", options, key="show", width=200, persist_state="session")
    st.toggle("Web background", key="web_map", help=WEB_HELP, persist_state="session")
    return shown


def _draw(run: Run, shown: str, moisture: Moisture, zone: int, asked: Asking | None) -> str:
    """Draw the map; its legend as HTML."""
    plan = run.plan
    if asked and shown != AT_ONE:  # zones are what is clicked
        shown = ZONES
    zones = once("zone_shapes", run, lambda: zone_shapes(plan))
    if shown in (ZONES, AT_ONE):
        at_one = shown == AT_ONE
        layer, (look, legend_html) = (
            None,
            once(
                f"{shown} {moisture}",
                run,
                lambda: (
                    zone_look(plan, moisture, at_one=at_one),
                    zone_legend(plan, moisture, at_one=at_one),
                ),
            ),
        )
    else:
        seen, layer = once(f"view {shown}", run.summary, lambda: _view(run, shown))
        kinds = shades(seen)
        look, legend_html = ground_look(seen, plan, kinds), layer_legend(seen, kinds)
    there: set[str] = st.session_state[_HAS]
    field_map(
        look,
        zone,
        zones,
        layer,
        there=there,
        web=st.session_state["web_map"],
        asks=asked.for_map if asked else None,
        on_change=_take_click,
    )
    there |= {shapes.digest for shapes in (zones, layer) if shapes}
    return legend_html


def _view(run: Run, title: str) -> tuple[View, Shapes]:
    layer = view(run, title)
    return layer, ground_shapes(layer, run.plan.field.crs)


def _take_click() -> None:
    """Choose the zone at the click, or do what the map was asked to be clicked for."""
    event, run = st.session_state["map"], current()
    if lacks := event.get("lacks"):
        st.session_state[_HAS] -= {*lacks}
    elif "zone" in event:
        st.session_state["zone"] = event["zone"]
    elif "place" not in event:
        take(event)
    elif run:
        number = zone_at(run.plan, tuple(event["place"]))
        st.session_state["zone"] = number or st.session_state["zone"]


if __name__ == "__main__":
    page()
