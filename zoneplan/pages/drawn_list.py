"""Everything that was drawn and is used, each with its name and a way to let it go."""

from dataclasses import replace

import streamlit as st

from zoneplan.field.area import WGS_84_GEOD
from zoneplan.harmless import escape
from zoneplan.pages.drawing import area_ha, lines_of
from zoneplan.pages.outline import Outline
from zoneplan.pages.state import desk
from zoneplan.pages.words import acres
from zoneplan.request import Drawn
from zoneplan.soil.texture import TEXTURES
from zoneplan.units import to
from zoneplan.zones.edit import Split


def drawn_list() -> None:
    """List it."""
    work = desk()
    lines = lines_of(work.edits)
    if not work.drawn and not lines:
        return
    with st.container(key="drawn-list"):
        st.html("<h2 class='zp-change'>Drawn</h2>")
        for place, it in enumerate(work.drawn):
            with st.container(horizontal=True, vertical_alignment="center", key=f"drawn-{place}"):
                st.html(
                    f"<p class='zp-draw'><b>{escape(it.what)}</b> {acres(area_ha(it))} acres</p>"
                )
                _name(place, it)
                st.button("Let go", key=f"drawn-go-{place}", on_click=_let_go, args=(place,))
        for number, line in enumerate(lines):
            with st.container(horizontal=True, vertical_alignment="center", key=f"line-{number}"):
                st.html(f"<p class='zp-draw'><b>{escape(line.name)}</b> {_feet(line)} ft long</p>")
                st.button("Let go", key=f"line-go-{number}", on_click=_let_line_go, args=(number,))


def _name(place: int, it: Drawn) -> None:
    """Its name in a box that changes it."""
    key, label = f"drawn-name-{place}", f"Name of {it.what} {place + 1}"
    st.session_state[key] = it.name  # set again at every run, for rows move up
    if it.what == "soil":
        st.selectbox(
            label, TEXTURES, key=key, label_visibility="collapsed", on_change=_rename, args=(place,)
        )
    elif it.what == "headland":
        st.html(f"<p class='zp-draw'>{escape(it.name)}</p>")
    else:
        st.text_input(
            label, key=key, label_visibility="collapsed", on_change=_rename, args=(place,)
        )


def _rename(place: int) -> None:
    drawn, name = [*desk().drawn], st.session_state[f"drawn-name-{place}"].strip()
    of = drawn[place]
    if name:
        desk().drawn = tuple(
            replace(it, name=name)
            if it == of or it.what == of.what == "boundary"  # all parts of one field
            else it
            for it in drawn
        )


def _let_go(place: int) -> None:
    drawn = [*desk().drawn]
    del drawn[place]
    desk().drawn = tuple(drawn)


def _let_line_go(number: int) -> None:
    edits = [*desk().edits]
    del edits[[at for at, edit in enumerate(edits) if isinstance(edit, Split)][number]]
    desk().edits = tuple(edits)


def _feet(line: Outline) -> str:
    east, north = zip(*line.corners, strict=True)
    length_m = WGS_84_GEOD.line_length(east, north)
    return f"{to(length_m, 'ft', 'length'):,.0f}"
