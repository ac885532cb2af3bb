"""The page to draw on: the boundary, zones, headland and soil."""

from dataclasses import replace

import streamlit as st
from streamlit_folium import st_folium

from zoneplan.errors import LayerError
from zoneplan.harmless import escape
from zoneplan.pages.drawing.map import draw_map
from zoneplan.pages.drawing.outline import (
    area_ha,
    boundary_of,
    drawn_from,
    outlines_of,
    square,
    thinned,
    typed,
    written,
)
from zoneplan.pages.drawing.table import Draft, Place, below, bounds, draft_of, meets, place, taken
from zoneplan.pages.fault import fault
from zoneplan.pages.layer_views import View
from zoneplan.pages.map import WEB_HELP, layer_legend, shades
from zoneplan.pages.state import desk, without
from zoneplan.pages.words import acres, header
from zoneplan.request import DRAWN, Drawn
from zoneplan.soil.texture import TEXTURES
from zoneplan.units import M_PER_FT

LABELS = {
    "boundary": "Boundary",
    "zone": "Zone",
    "headland": "Headland",
    "soil": "Soil",
}
ABOUT = {
    "boundary": "The edge of the field. An outline inside another is a hole in it: a pond, a "
    "farmstead.",
    "zone": "Ground that stays a zone of its own. Outlines of one name are one zone.",
    "headland": "Ground where the planter turns.",
    "soil": "Soil as you know it. It counts before every layer. Choose its class, then draw.",
}
CORNERS_HELP = (
    "Another way to draw, and to move corners: one corner a line, latitude first. A name with a "
    "colon, or an empty line, begins another outline. Empty the box to go on with the map's."
)
_MAP_PX = 560
_MANY, _THIN_FT = 20, 3.0  # corners too many to move by hand, and how they become fewer
_START_ACRES = 80.0


def page() -> None:
    """Show the page."""
    here = place()
    st.html(header("Draw"))
    with st.container(key="body"):  # style.css puts them in their places
        left, right = st.container(), st.container()
    with left:
        what, anew = _pick_kind()
        st.html(f'<p class="zp-draw">{ABOUT[what]}</p>')
        draft = draft_of(what)
        if anew:
            draft.laid = draft.now
        name = _name(what, here)
        soil = _map(what, draft, here, name)
        _finish(what, draft)
        if soil:
            st.html(layer_legend(soil, shades(soil)))
    with right:
        if what == "boundary":
            _begin(draft, here)
        _corners(draft)
        _drawn_list()


def _pick_kind() -> tuple[str, bool]:
    """What is to be drawn, and whether the map of it comes up anew."""
    entered = "draw_what" not in st.session_state
    last, field = st.session_state.get("draw_last", (DRAWN[0], "")), st.session_state["field"]
    if entered:
        st.session_state["draw_what"] = last[0]
    st.segmented_control(
        "What to draw",
        DRAWN,
        key="draw_what",
        required=True,
        format_func=LABELS.__getitem__,
    )
    what: str = st.session_state["draw_what"]
    st.session_state["draw_last"] = (what, field)
    return what, entered or last != (what, field)


def _name(what: str, here: Place) -> str:
    """What is drawn next will be called this."""
    if what == "soil":
        return st.selectbox("Texture class", TEXTURES, key="draw_soil", persist_state="session")
    if what == "zone":
        return st.text_input("Name of the zone", key="draw_zone", persist_state="session").strip()
    if what == "boundary":
        named = here.field.name if here.field else ""
        return (
            st.text_input(
                "Name of the field", key="draw_field", placeholder=named, persist_state="session"
            ).strip()
            or named
        )
    return ""


def _map(what: str, draft: Draft, here: Place, name: str) -> View | None:
    """Draw the map; tell which soils lie below."""
    st.toggle("Web background map", key="web_map", help=WEB_HELP, persist_state="session")
    seen = bounds(here, draft.laid)
    if seen is None:
        st.html(
            '<p class="zp-needed">Say where the field lies: type a place and begin with a square, '
            "type the corners, or send a boundary or a soil layer. The map opens there.</p>"
        )
        return None
    layers, soil = below(here, what)
    ground_map = draw_map(
        seen, layers, draft.laid, what, turn=draft.turn, web=st.session_state["web_map"]
    )
    st_folium(
        ground_map,
        key=f"draw-{what}",
        height=_MAP_PX,
        use_container_width=True,
        returned_objects=["all_drawings"],
        on_change=lambda: _take_map(what, draft, name),
    )
    return soil


def _take_map(what: str, draft: Draft, name: str) -> None:
    features = st.session_state[f"draw-{what}"].get("all_drawings")
    if features is not None:
        draft.now, draft.fault = taken(draft, features, name), None


def _finish(what: str, draft: Draft) -> None:
    """Use what was drawn, or put it back."""
    if draft.fault:
        st.html(fault(draft.fault))
    message = "Drawn, and not used yet." if draft.unused else draft.message or ""
    draft.message = None
    with st.container(horizontal=True, key="finish", vertical_alignment="center"):
        st.button(
            "Use these outlines",
            key="draw_use",
            type="primary",
            on_click=_use,
            args=(what, draft),
        )
        st.button(
            "Drop them",
            key="draw_back",
            disabled=not draft.unused,
            on_click=_put_back,
            args=(draft,),
        )
        st.html(f'<p class="zp-draw" role="status">{message}</p>')


def _use(what: str, draft: Draft) -> None:
    """Put what was drawn into the request; say what is wrong with it, if anything is."""
    here, work = place(), desk()
    try:
        if draft.typed is not None:
            draft.now = tuple(typed(draft.typed))
        drawings = drawn_from(draft.now, what, meets(here, what))
        others = [other for other in work.drawn if other.what != what]
        work.drawn = tuple(sorted((*others, *drawings), key=lambda one: DRAWN.index(one.what)))
    except LayerError as error:
        draft.fault = str(error)
        return
    draft.typed = draft.fault = None
    draft.now = draft.laid = draft.used = tuple(outlines_of(work.drawn, what))
    draft.turn += 1
    draft.message = f"{LABELS[what]}: {_counted(len(draft.now))} in use."


def _counted(number: int) -> str:
    return "1 is" if number == 1 else f"{number or 'none'} are"


def _put_back(draft: Draft) -> None:
    draft.now = draft.laid = draft.used
    draft.typed = draft.fault = None
    draft.turn += 1


def _begin(draft: Draft, here: Place) -> None:
    """Ways to a first boundary: the one of a file, or a square about a place."""
    has_boundary = any(other.what == "boundary" for other in desk().drawn)
    if here.field and not has_boundary:
        st.button(
            "Take the file's boundary, to move its edges",
            key="draw_take",
            on_click=_take_boundary,
            args=(here,),
        )
    if here.field or has_boundary:
        return
    st.html("<h2 class='zp-change'>Begin at a place</h2>")
    left, right = st.columns(2)
    north = left.number_input("Latitude", -90.0, 90.0, None, format="%.5f", key="draw_north")
    east = right.number_input("Longitude", -180.0, 180.0, None, format="%.5f", key="draw_east")
    size_acres = st.number_input("Acres", 1.0, 10_000.0, _START_ACRES, 10.0, key="draw_acres")
    st.button(
        "Begin with a square",
        key="draw_square",
        disabled=north is None or east is None,
        on_click=_begin_square,
        args=(draft, north, east, size_acres),
    )


def _take_boundary(here: Place) -> None:
    assert here.field is not None
    desk().drawn = (*boundary_of(here.field), *desk().drawn)


def _begin_square(draft: Draft, north: float, east: float, size_acres: float) -> None:
    draft.now = (
        *draft.now,
        square(north, east, size_acres, st.session_state.get("draw_field", "")),
    )
    draft.laid, draft.fault = draft.now, None


def _corners(draft: Draft) -> None:
    """What is drawn, corner by corner, to read and to type."""
    st.session_state["draw_corners"] = written(draft.now) if draft.typed is None else draft.typed
    st.text_area(
        "Corners, typed",
        key="draw_corners",
        help=CORNERS_HELP,
        height=220,
        placeholder="42.03120, -93.55120",
        on_change=_take_text,
        args=(draft,),
    )
    if any(len(outline.corners) > _MANY for outline in draft.now):
        st.button(
            "Fewer corners",
            key="draw_thin",
            help=f"Leaves out those without which the edge moves by less than {_THIN_FT:g} feet.",
            on_click=_thin,
            args=(draft,),
        )


def _thin(draft: Draft) -> None:
    draft.now = draft.laid = tuple(thinned(outline, _THIN_FT * M_PER_FT) for outline in draft.now)
    draft.typed = draft.fault = None


def _take_text(draft: Draft) -> None:
    text = st.session_state["draw_corners"]
    draft.typed = draft.fault = None
    if not text.strip():
        return
    try:
        draft.now = draft.laid = tuple(typed(text))
    except LayerError as error:
        draft.typed, draft.fault = text, str(error)


# ---- what is used -----------------------------------------------------------------------------


def _drawn_list() -> None:
    """List what is used, each to be renamed or deleted."""
    work = desk()
    if not work.drawn:
        return
    with st.container(key="drawn-list"):
        st.html("<h2 class='zp-change'>Drawn</h2>")
        for place, drawing in enumerate(work.drawn):
            with st.container(horizontal=True, vertical_alignment="center", key=f"drawn-{place}"):
                st.html(
                    f"<p class='zp-draw'><b>{escape(drawing.what)}</b> "
                    f"{acres(area_ha(drawing))} acres</p>"
                )
                _name_box(place, drawing)
                st.button("Delete", key=f"drawn-go-{place}", on_click=_delete, args=(place,))


def _name_box(place: int, drawing: Drawn) -> None:
    key, label = f"drawn-name-{place}", f"Name of {drawing.what} {place + 1}"
    st.session_state[key] = drawing.name  # set again at every run, for rows move up
    if drawing.what == "soil":
        st.selectbox(
            label, TEXTURES, key=key, label_visibility="collapsed", on_change=_rename, args=(place,)
        )
    elif drawing.what == "headland":
        st.html(f"<p class='zp-draw'>{escape(drawing.name)}</p>")
    else:
        st.text_input(
            label, key=key, label_visibility="collapsed", on_change=_rename, args=(place,)
        )


def _rename(place: int) -> None:
    drawings, name = [*desk().drawn], st.session_state[f"drawn-name-{place}"].strip()
    of = drawings[place]
    if name:
        desk().drawn = tuple(
            replace(drawing, name=name)
            if drawing == of or drawing.what == of.what == "boundary"  # all parts of one field
            else drawing
            for drawing in drawings
        )


def _delete(place: int) -> None:
    desk().drawn = without(desk().drawn, place)


if __name__ == "__main__":
    page()
