"""The drawing table: the ground that is drawn on, and what is drawn and not yet used, kind by kind.

Nothing is lost until it is used or put back. The map and the text box are two ways to the same
outlines. The map is given outlines anew only where they came from elsewhere than the map itself,
for that makes it load again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import folium
import numpy as np
import shapely
import streamlit as st
from shapely.geometry import MultiPolygon, Polygon, box

from zoneplan.errors import LayerError
from zoneplan.export.picture import INK
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.files import read_shapes
from zoneplan.field.outline import read_field
from zoneplan.field.raster.grid import about, is_raster
from zoneplan.field.raster.opening import transform_bounds
from zoneplan.field.shapes import Field, polygons_in
from zoneplan.pages.answers import current, once, remembered
from zoneplan.pages.boxes import as_upload, box_key
from zoneplan.pages.drawing.map import COLOURS, Bounds, feature, ground_of, line, pale
from zoneplan.pages.drawing.outline import Outline, from_map, outlines_of, shape_of
from zoneplan.pages.layer_views import View, planned_soil
from zoneplan.pages.map import edges_of, in_degrees, shades
from zoneplan.pages.state import OWN_FIELD, desk
from zoneplan.plain_file import scratch
from zoneplan.request import DRAWN
from zoneplan.run import Run
from zoneplan.sources import Upload, on_disk

MOST_CORNERS = 5_000  # of all edges together: a survey area with more is shown by its extent
_FINE_DEG = 2e-5  # two metres
_AROUND = 0.1  # of its width, that the map shows round a field
Outlines = tuple[Outline, ...]


def reach_of(uploads: Sequence[Upload], crs: str | None = None) -> MultiPolygon:
    """Where soil layers lie, in degrees: their polygons, or else only how far they reach.

    A file that cannot be read without a field, or at all, is passed over: it is told about
    once there is a field.
    """
    shapes: list[Polygon] = []
    with scratch() as room:
        for number, upload in enumerate(uploads):
            try:
                shapes += _shapes(on_disk(upload, room / str(number)), crs)
            except LayerError:
                continue
    fine = shapely.simplify(np.array(shapes, dtype=object), _FINE_DEG)
    if shapely.get_num_coordinates(fine).sum() > MOST_CORNERS:
        return MultiPolygon([box(*shapely.total_bounds(fine))])
    return MultiPolygon([*fine])


def boundary_read(upload: Upload, pick: str | None, crs: str | None) -> Field | None:
    """The field of a boundary file; None where it cannot be read as it is."""
    with scratch() as room:
        try:
            return read_field(on_disk(upload, room), pick=pick, crs=crs)
        except LayerError:
            return None


def _shapes(path: Path, crs: str | None) -> list[Polygon]:
    if is_raster(path):
        source = about(path)
        if source.crs is None:
            return []
        return [box(*transform_bounds(source.crs, WGS_84, *source.bounds))]
    frames = [frame.to_crs(WGS_84) for frame in read_shapes(path, crs).values()]
    return [part for frame in frames for part in polygons_in(frame.geometry.to_numpy())]


@dataclass(frozen=True)
class Place:
    """What is known of the ground besides what is drawn."""

    run: Run | None
    field: Field | None  # as planned; where there is no plan, from a boundary file


def place() -> Place:
    """Find it out from the plan, or else from the files that are there."""
    run = current()
    if run:
        return Place(run, run.plan.field)
    files = _sent("boundary")
    return Place(None, _boundary(files[0]) if files else None)


def bounds(here: Place, laid: Sequence[Outline]) -> Bounds | None:
    """What the map shows at first, in degrees; None where nothing says where the field is."""
    shapes = [shape_of(drawing) for drawing in desk().drawn]
    shapes += [
        MultiPolygon([Polygon(outline.corners)]) for outline in laid if len(outline.corners) > 2
    ]
    if here.field:
        shapes.append(move(here.field.shape, here.field.crs, WGS_84))
    if not shapes:
        shapes = [_soils()]
    west, south, east, north = shapely.total_bounds(shapes).tolist()
    if not west < east:
        return None
    wide, high = _AROUND * (east - west), _AROUND * (north - south)
    return west - wide, south - high, east + wide, north + high


def below(here: Place, what: str) -> tuple[list[folium.GeoJson], View | None]:
    """What is known of the ground, pale, for the map; and its soils for a legend."""
    layers, soil = [], None
    if run := here.run:
        plan = run.plan
        soil = once("planned soil", run.summary, lambda: planned_soil(run))
        zones = in_degrees([setting.zone.shape for setting in plan.settings], plan.field.crs)
        layers = [
            pale(ground_of(soil, plan.field.crs), shades(soil)),
            line([feature(edges_of(zones))], INK, 1.2, dash="3 4"),
        ]
    elif not (reach := _soils()).is_empty:
        layers = [line([feature(reach)], COLOURS["soil"], 1)]
    others = [drawing for drawing in desk().drawn if drawing.what != what]
    if here.field and not (
        what == "boundary" and any(one.what == "boundary" for one in desk().drawn)
    ):
        outline = in_degrees([here.field.shape], here.field.crs)
        # The file's boundary is there to go by while another is drawn.
        dash = "6 6" if what == "boundary" else None
        layers.append(line([feature(shape) for shape in outline], INK, 2, dash=dash))
    for other in DRAWN[1:]:
        shapes = [feature(shape_of(drawing)) for drawing in others if drawing.what == other]
        if shapes:
            layers.append(line(shapes, COLOURS[other], 2))
    return layers, soil


def meets(here: Place, what: str) -> Polygon | MultiPolygon | None:
    """The ground that an outline must meet, in degrees; None where that is not known."""
    if what != "boundary":
        return move(here.field.shape, here.field.crs, WGS_84) if here.field else None
    reach = _soils()
    return None if reach.is_empty else shapely.box(*reach.bounds)


def _boundary(file: Upload) -> Field | None:
    pick, crs = (st.session_state.get(name) or None for name in ("pick", "crs"))
    return remembered(("boundary", file, pick, crs), lambda: boundary_read(file, pick, crs), most=1)


def _soils() -> MultiPolygon:
    """Where soil files of one's own lie; a demo field's are where its boundary is."""
    files, crs = _sent("soils"), st.session_state.get("crs") or None
    return remembered(("reach", files, crs), lambda: reach_of(files, crs), most=1)


def _sent(box: str) -> tuple[Upload, ...]:
    """Files that came in by a box on the side; none of them where a demo field is asked for."""
    if st.session_state.get("field") != OWN_FIELD:
        return ()
    chosen = st.session_state.get(box_key(box)) or []
    files = chosen if isinstance(chosen, list) else [chosen]
    return (*desk().files.get(box, ()), *map(as_upload, files))


# ---- what is drawn and not yet used --------------------------------------------------------------


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


def draft_of(what: str) -> Draft:
    """What is drawn of one kind on one field, brought up to what is used of it."""
    used = tuple(outlines_of(desk().drawn, what))
    table = st.session_state.setdefault("sketches", {})
    draft: Draft = table.setdefault((st.session_state["field"], what), Draft())
    if draft.used != used:
        draft.now = draft.laid = rebased(draft.now, draft.used, used)
        draft.used = used
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
    for sent in features:
        properties = sent.get("properties") or {}
        if "mark" in properties:
            properties = {"name": draft.names.setdefault(properties["mark"], name)}
        named.append({**sent, "properties": properties})
    return tuple(from_map(named))
