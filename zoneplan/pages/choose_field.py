"""Which field of a file: its outline is drawn, its system asked for; of many, some are chosen."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
import streamlit as st

from zoneplan.errors import ZoneplanError
from zoneplan.export.picture import INK, PAPER, STEPS, svg_link, svg_path
from zoneplan.field.columns import written
from zoneplan.field.crs import WGS_84, fitting_systems, geodesic_area_ha, local_crs, move
from zoneplan.field.files import read_areas
from zoneplan.field.outline import name_in, read_field, read_outlines
from zoneplan.field.shapes import Field
from zoneplan.harmless import escape, in_markdown
from zoneplan.pages import intake, next_field
from zoneplan.pages.answers import remembered
from zoneplan.pages.fault import answer, fault
from zoneplan.pages.map import Ground, Look, Shapes, field_map, numbered_shapes
from zoneplan.pages.state import desk
from zoneplan.pages.words import acres, shortened
from zoneplan.plain_file import scratch
from zoneplan.sources import Upload, on_disk

_MAP, _HAS, _TAKEN = "fields-map", "fields-has", "fields-taken"
_OF = "fields-of"  # the file
_MOST_ON_THE_MAP = 500
_A_PAGE = 50  # fields of the list
_FEW = 12  # that nobody needs to search
_FINE = 2000  # parts of the map's width: what is finer is not seen
_MOST_COLUMNS = 3
_PX = 320  # of the outline's picture


@dataclass(frozen=True)
class _Outline:
    name: str
    facts: tuple[str, ...]  # its name, and what else the file says of it
    acres: str

    @property
    def label(self) -> str:
        """All that is known of it."""
        return f"{', '.join(self.facts)}, {self.acres} acres"


def show_outline() -> Field | None:
    """Draw the outline of the file that is there at once; ask what the file does not say."""
    uploads = desk().files.get("boundary", ())
    if not uploads:
        return None
    crs, pick = answers_given().values()
    try:
        with scratch() as room:
            field = _field_or_question(on_disk(uploads[0], room), pick, crs)
    except ZoneplanError as error:
        st.html(fault(error))
        return None
    if field is None:
        return None
    st.html(
        f'<figure class="zp-outline">{_picture(field)}<figcaption>{escape(field.name)}: '
        f"{acres(field.area_ha)} acres</figcaption></figure>"
    )
    if pick:
        queue = desk().queue
        if queue and queue.boundary == uploads[0] and pick in queue.names:
            st.html(f'<p class="zp-change">{len(queue.names)} fields, one after the other.</p>')
        st.button("Other fields of this file", key="choose-again", on_click=_again)
    return field


def choose_fields() -> None:
    """Let fields of the file be chosen, where it holds several."""
    uploads = desk().files.get("boundary", ())
    if not uploads or not st.session_state.get("choosing"):
        return
    try:
        with scratch() as room:
            _choose_from(on_disk(uploads[0], room), uploads[0], answers_given()["crs"])
    except ZoneplanError:  # another file came, and it was told above
        del st.session_state["choosing"]


def answers_given() -> dict[str, str | None]:
    """What was answered about the file: its coordinate system, and which outline is the field."""
    return {name: st.session_state.get(name) or None for name in ("crs", "pick")}


def _field_or_question(path: Path, pick: str | None, crs: str | None) -> Field | None:
    """Read the field; where the file does not say all of it, ask.

    Raises
    ------
    ZoneplanError
        When no answer would put it right.
    """
    try:
        return read_field(path, pick, crs)
    except ZoneplanError as error:
        if "crs" in error.parameters:
            _ask_system(error, path)
        elif "pick" in error.parameters:
            st.session_state["choosing"] = True
        else:
            raise
    return None


def _picture(field: Field) -> str:
    west, south, east, north = field.shape.buffer(max(field.area_ha, 0.1) ** 0.5).bounds
    width, height = east - west, north - south
    scale = _PX / max(width, height)
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{scale * width:.0f}" '
        f'height="{scale * height:.0f}" viewBox="{west} {-north} {width} {height}">'
        f'<path d="{svg_path(field.shape)}" fill="{PAPER}" stroke="{INK}" '
        f'stroke-width="{2 / scale}" fill-rule="evenodd"/></svg>'
    )
    return f'<img alt="The field\'s outline, north up" src="{svg_link(drawing)}">'


def _ask_system(error: ZoneplanError, path: Path) -> None:
    """No coordinate system: offer those in which the outline lies where its soil does."""
    st.html(fault(str(error)))
    # Read as if they were of some system, for the numbers that they have.
    west, south, east, north = map(float, read_areas(path, "EPSG:3857").total_bounds)
    near = next(
        (
            seen.bounds
            for upload in desk().files.get("soils", ())
            if (seen := intake.recognised(upload)).bounds
        ),
        None,
    )
    for code in fitting_systems((west, south, east, north), near):
        st.button(f"{code} fits: use it", key=f"use-{code}", on_click=answer, args=("crs", code))
    typed = st.text_input("Coordinate system", key="typed-crs", placeholder="EPSG:32615")
    if typed:
        st.button("Use this one", key="use-typed", on_click=answer, args=("crs", typed.strip()))


# ---- a file of many fields -----------------------------------------------------------------------


def _choose_from(path: Path, boundary: Upload, crs: str | None) -> None:
    """Draw the map and the list, and the button that takes what is ticked.

    Raises
    ------
    LayerError
        When the file cannot be trusted.
    """
    outlines, shapes = remembered(("outlines", boundary, crs), lambda: _read(path, crs), most=2)
    if st.session_state.get(_OF) != boundary:
        st.session_state.update({_OF: boundary, _TAKEN: set()})
    _chooser(boundary, outlines, shapes)


@st.fragment
def _chooser(boundary: Upload, outlines: Mapping[int, _Outline], shapes: Shapes | None) -> None:
    taken: set[int] = st.session_state.setdefault(_TAKEN, set())
    taken &= outlines.keys()
    st.html(
        f'<h2 class="zp-change">{len(outlines):,} fields: click yours on the map, or tick them in '
        "the list</h2>"
    )
    with st.container(key="fields"):
        drawing, listing = st.columns([6, 5], gap="large")
    with listing:
        count = len(taken)
        if st.button(
            f"Take {count} fields, one after the other" if count > 1 else "Take this field",
            key="take-fields",
            type="primary",
            disabled=not taken,
            on_click=_take,
            args=(boundary, {number: outlines[number].name for number in sorted(taken)}),
        ):
            st.rerun()  # the whole page
        _list(outlines, taken)
    with drawing:
        if shapes is None:
            st.html(f'<p class="zp-change">Too many for a map: more than {_MOST_ON_THE_MAP}.</p>')
        else:
            _map(outlines, shapes, taken)


def _list(outlines: Mapping[int, _Outline], taken: set[int]) -> None:
    words = ""
    if len(outlines) > _FEW:
        words = st.text_input("Name contains", key="fields-words").casefold().strip()
    matching = [number for number, one in outlines.items() if words in one.label.casefold()]
    pages = -(-len(matching) // _A_PAGE)
    page = st.pagination(pages, key=f"fields-page-{words}") if pages > 1 else 1
    with st.container(key="fields-list"):
        for number in matching[(page - 1) * _A_PAGE : page * _A_PAGE]:
            key = f"field-{number}"
            st.session_state[key] = number in taken
            st.checkbox(
                _ticked(number, outlines[number]),
                key=key,
                on_change=_toggle,
                args=(number,),
            )
    if not matching:
        st.html('<p class="zp-needed" role="status">No field is like that.</p>')


def _ticked(number: int, outline: _Outline) -> str:
    """What a box to tick says: it is read aloud with every mark that is written in it."""
    return f"{number}. {', '.join(map(in_markdown, outline.facts))}, {outline.acres} acres"


def _map(outlines: Mapping[int, _Outline], shapes: Shapes, taken: set[int]) -> None:
    there: set[str] = st.session_state.setdefault(_HAS, set())
    look = Look(
        "Map of the file's fields",
        {number: STEPS[2] if number in taken else (PAPER, "plain") for number in outlines},
        {number: f"{number}: {one.label}" for number, one in outlines.items()},
        dict.fromkeys(taken, "taken"),
    )
    field_map(
        look, 0, shapes, None, there=there, web=False, asks=None, on_change=_clicked, key=_MAP
    )
    there.add(shapes.digest)


def _clicked() -> None:
    event = st.session_state[_MAP]
    if lacks := event.get("lacks"):
        st.session_state[_HAS] -= {*lacks}
    elif "zone" in event:
        _toggle(event["zone"])


def _toggle(number: int) -> None:
    st.session_state[_TAKEN] ^= {number}


def _take(boundary: Upload, names: Mapping[int, str]) -> None:
    next_field.begin(boundary, {str(number): name for number, name in names.items()})
    st.session_state.pop("choosing", None)


def _again() -> None:
    """Choose once more, from those that were taken. Call it in a callback."""
    work = desk()
    boundary = work.files["boundary"][0]
    queued = work.queue.names if work.queue and work.queue.boundary == boundary else ()
    picks = [*queued] or [st.session_state.get("pick") or ""]
    taken = {int(pick) for pick in picks if pick.isdecimal()}
    st.session_state.update({_OF: boundary, _TAKEN: taken})
    st.session_state["choosing"] = True


def _read(path: Path, crs: str | None) -> tuple[dict[int, _Outline], Shapes | None]:
    areas, _ = read_outlines(path, crs)
    columns = [name for name in areas.columns if name != "geometry"]
    telling = [name for name in columns if len(set(map(written, areas[name]))) > 1]
    outlines = {}
    for number, row in areas.iterrows():
        name = name_in(row) or f"{path.stem} {number}"
        more = [written(row[column]) for column in telling[:_MOST_COLUMNS]]
        facts = dict.fromkeys(map(shortened, (name, *filter(None, more))))
        outlines[int(number)] = _Outline(name, tuple(facts), _acres(row.geometry))
    if len(areas) > _MOST_ON_THE_MAP:
        return outlines, None
    return outlines, _shapes(dict(zip(outlines, areas.geometry, strict=True)))


def _acres(shape: Ground) -> str:
    metric = local_crs(shape)
    return acres(geodesic_area_ha(move(shape, WGS_84, metric), metric))


def _shapes(shapes: Mapping[int, Ground]) -> Shapes:
    every = np.array([*shapes.values()], dtype=object)
    west, south, east, north = shapely.total_bounds(every)
    simple: Any = shapely.simplify(every, max(east - west, north - south) / _FINE)
    around: Any = shapely.union_all(simple)
    return numbered_shapes(around, dict(zip(shapes, simple, strict=True)))
