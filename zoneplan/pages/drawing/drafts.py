"""What is drawn and not yet used, kind by kind; and the list of what is used.

Nothing is lost until it is used or put back. The map and the text box are two ways to the same
outlines. The map is given outlines anew only where they came from elsewhere than the map itself,
for that makes it load again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import streamlit as st

from zoneplan.harmless import escape
from zoneplan.pages.drawing.drawn import area_ha
from zoneplan.pages.drawing.outline import Outline, from_map
from zoneplan.pages.state import desk, without
from zoneplan.pages.words import acres
from zoneplan.request import Drawn
from zoneplan.soil.texture import TEXTURES


def drawn_list() -> None:
    """List it."""
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
                _name(place, drawing)
                st.button("Delete", key=f"drawn-go-{place}", on_click=_let_go, args=(place,))


def _name(place: int, drawing: Drawn) -> None:
    """Its name in a box that changes it."""
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


def _let_go(place: int) -> None:
    desk().drawn = without(desk().drawn, place)


Outlines = tuple[Outline, ...]


@dataclass
class Draft:
    """One kind of outlines on the drawing table."""

    used: Outlines = ()  # as they are used
    now: Outlines = ()  # as they are drawn
    laid: Outlines = ()  # as the map was given them
    turn: int = 0  # counts how often the map was to forget what it holds
    typed: str | None = None  # what was typed and could not be read
    fault: str | None = None
    message: str | None = None  # of what was just done
    names: dict[str, str] = field(default_factory=dict)  # by the mark of what was just drawn

    @property
    def unused(self) -> bool:
        """Whether something was drawn or typed that is not used yet."""
        return self.now != self.used or self.typed is not None


def draft_of(what: str, used: Sequence[Outline]) -> Draft:
    """What is drawn of one kind on one field, brought up to what is used of it."""
    table = st.session_state.setdefault("sketches", {})
    draft: Draft = table.setdefault((st.session_state["field"], what), Draft())
    if draft.used != tuple(used):
        draft.now = draft.laid = rebased(draft.now, draft.used, used)
        draft.used = tuple(used)
        draft.fault = None
    return draft


def rebased(
    now: Sequence[Outline], before: Sequence[Outline], after: Sequence[Outline]
) -> Outlines:
    """What is drawn, after what is used was changed elsewhere.

    >>> a, b, c = (Outline(name, ()) for name in "abc")
    >>> [outline.name for outline in rebased([a, b, c], [a, b], [b])]  # a was let go, c is new
    ['b', 'c']
    """
    remaining = [outline for outline in now if outline not in before or outline in after]
    return (
        *remaining,
        *(outline for outline in after if outline not in before and outline not in remaining),
    )


def taken(draft: Draft, features: Iterable[dict[str, Any]], name: str) -> Outlines:
    """The outlines that the map sends. One that is new gets the name, and keeps it."""
    named = []
    for feature in features:
        properties = feature.get("properties") or {}
        if "mark" in properties:
            properties = {"name": draft.names.setdefault(properties["mark"], name)}
        named.append({**feature, "properties": properties})
    return tuple(from_map(named))
