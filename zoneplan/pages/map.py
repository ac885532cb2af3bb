"""The field's map: its zones or a layer below them, how each looks, and what its shades mean.

The browser keeps what it was sent: shapes go once, each under its digest, and a touch sends only
how they look now and what is chosen. So another moisture or another zone is light, and leaves the
view where the reader moved it.
"""

import hashlib
import json
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from streamlit.components.v1 import declare_component
from streamlit.components.v1.custom_component import CustomComponent

from zoneplan.export.maps import map_classes
from zoneplan.export.picture import (
    PAPER,
    MapClass,
    hatch_patterns,
    svg_link,
    swatch_svg,
)
from zoneplan.harmless import escape
from zoneplan.pages.layer_views import AGREED, NEITHER, NOTHING, UNMARKED, View
from zoneplan.pages.words import acres, called, pounds
from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.say.summary import soil_word
from zoneplan.soil.texture import GROUP_OF
from zoneplan.terms import Moisture

# Pictures from the internet may lie below a map, where a person turns them on.
WEB_HELP = (
    "Off, nothing leaves this machine. On, your browser asks OpenStreetMap's server on the "
    "internet for pictures of this place, so that server learns which place it is. Where it "
    "cannot be reached, the map stays paper."
)
TILES = "https://tile.openstreetmap.org/{z}/{x}/{y}.png"
CREDIT = '&copy; <a href="https://www.openstreetmap.org/copyright">OpenStreetMap</a> contributors'
FINEST = 19  # zoom of the finest pictures there are; beyond it they are enlarged

Ground = Polygon | MultiPolygon
SERVED = Path(__file__).parent / "browser"
NAME = "field_map"
PLACES = 7  # decimals of a degree: a centimetre
PLACES_SEEN = 6  # of what is coarsened for the screen
PX_PER_MM = 3.0  # of the printed map's hatches


@dataclass(frozen=True)
class Shapes:
    """What is sent once."""

    content: Mapping[str, Any]
    digest: str


@dataclass(frozen=True)
class Look:
    """How shapes look now."""

    title: str
    looks: Mapping[int | str, tuple[str, str]]  # fill and hatch, by zone or by kind of ground
    names: Mapping[int, str]  # of zones, told below a pointer
    words: Mapping[int, str]  # why a zone has no number to aim for


def zone_shapes(plan: Plan) -> Shapes:
    """The field's outline, its zones, and where their numbers stand."""
    outline, *zones = in_degrees(
        [plan.field.shape, *(setting.zone.shape for setting in plan.settings)], plan.field.crs
    )
    numbers = [setting.zone.id for setting in plan.settings]
    return numbered_shapes(outline, dict(zip(numbers, zones, strict=True)))


def numbered_shapes(outline: Ground, zones: Mapping[int, Ground]) -> Shapes:
    """Ground with numbers on it, and the line around it all; in degrees."""
    return _shapes(
        bounds=outline.bounds,
        outline=_parts(outline),
        zones=[
            {"id": number, "parts": _parts(shape), "at": _middle(shape)}
            for number, shape in zones.items()
        ],
        edges=[_steps(line) for line in shapely.get_parts(edges_of([*zones.values()]))],
        hatches=hatch_patterns(PX_PER_MM),
    )


def edges_of(zones: Sequence[Ground]) -> BaseGeometry:
    """Edges of zones, each once, or dashes of one would fill another's gaps."""
    edges = shapely.union_all(shapely.boundary(np.array(zones, dtype=object)))
    return shapely.line_merge(edges)


def ground_shapes(view: View, crs: str) -> Shapes:
    """The patches of a layer, each with its kind and what a pointer over it brings up."""
    shapes = in_degrees([patch.shape for patch in view.patches], crs, PLACES_SEEN)
    return _shapes(
        patches=[
            {
                "kind": patch.kind,
                "name": f"{patch.name}, {acres(patch.area_ha)} acres",
                "parts": _parts(shape),
            }
            for patch, shape in zip(view.patches, shapes, strict=True)
        ]
    )


def zone_look(plan: Plan, moisture: Moisture, *, at_one: bool = False) -> Look:
    """Shade the zones as on the printed map.

    `at_one` shades them by where the field's one setting is too light, right or too heavy.
    """
    classes = map_classes(plan, moisture, at_one=at_one)
    return Look(
        f"Map of {plan.field.name}: zones, {moisture}",
        {zone: (kind.fill, kind.hatch) for kind in classes for zone in kind.zones},
        {setting.zone.id: _zone_tip(setting, moisture) for setting in plan.settings},
        {
            setting.zone.id: _why(setting, moisture)
            for setting in plan.settings
            if not isinstance(setting.moistures[moisture], Setting)
        },
    )


def ground_look(view: View, plan: Plan, kinds: Mapping[str, MapClass]) -> Look:
    """Shade a layer by its kinds of ground."""
    looks: dict[int | str, tuple[str, str]] = {
        name: (kind.fill, kind.hatch) for name, kind in kinds.items()
    }
    return Look(f"Map of {plan.field.name}: {view.title}", looks, {}, {})


def field_map(
    look: Look,
    chosen: int,
    zones: Shapes,
    layer: Shapes | None,
    *,
    there: Collection[str],
    web: bool,
    asks: Mapping[str, Any] | None,
    on_change: Callable[[], None],
    key: str = "map",
) -> None:
    """Draw the map. What is clicked on it stands in the session under its key.

    Parameters
    ----------
    look : Look
        How it looks.
    chosen : int
        The zone to draw with a heavy edge.
    zones, layer : Shapes
        The zones, and the layer that is shown in their place.
    there : collection of str
        Digests of the shapes that the browser has.
    web : bool
        Whether pictures from the internet lie below.
    asks : mapping, optional
        What the map is to be clicked for: a neighbour to join, or the corners of a line.
    on_change : callable
        Called where something is clicked, or the browser lacks shapes.
    key : str
        Another for each map of the app.
    """
    wanted = [zones, *([layer] if layer else [])]
    _component()(
        shapes={one.digest: one.content for one in wanted if one.digest not in there},
        zones=zones.digest,
        layer=layer.digest if layer else None,
        title=look.title,
        looks=look.looks,
        names=look.names,
        words=look.words,
        chosen=chosen,
        web={"url": TILES, "credit": CREDIT, "finest": FINEST} if web else None,
        asks=asks,
        key=key,
        on_change=on_change,
    )


@cache
def _component() -> CustomComponent:
    """What the browser draws with: declared while a page runs, or the server would not serve it."""
    return declare_component(NAME, path=str(SERVED))


def in_degrees(shapes: Sequence[Ground], crs: str, places: int = PLACES) -> list[Ground]:
    """Take shapes from metres to degrees, rounded."""
    moved = gpd.GeoSeries(shapes, crs=crs).to_crs("OGC:CRS84")
    return [shapely.transform(shape, lambda points: points.round(places)) for shape in moved]


def _shapes(**content: Any) -> Shapes:
    digest = hashlib.sha256(json.dumps(content).encode()).hexdigest()[:16]
    return Shapes(content, digest)


def _parts(shape: Ground) -> list[list[list[int]]]:
    return [
        [_steps(ring) for ring in (part.exterior, *part.interiors)]
        for part in shapely.get_parts(shape)
    ]


def _steps(line: BaseGeometry) -> list[int]:
    """A line's first corner, then the steps to the next ones: half as long as corners.

    >>> _steps(shapely.LineString([(-93.0, 42.0), (-93.0000001, 42.0), (-93.0, 42.0000002)]))
    [-930000000, 420000000, -1, 0, 1, 2]
    """
    corners = np.rint(shapely.get_coordinates(line) * 10**PLACES).astype(np.int64)
    corners[1:] = np.diff(corners, axis=0)
    steps: list[int] = corners.ravel().tolist()
    return steps


def _middle(shape: Ground) -> list[float]:
    """Where it is roomiest: east, north."""
    middle = shapely.maximum_inscribed_circle(shape)
    place: list[float] = shapely.get_coordinates(middle)[0].tolist()
    return place


def _zone_tip(setting: ZoneSetting, moisture: Moisture) -> str:
    """What a pointer over a zone brings up."""
    instruction = setting.moistures[moisture]
    target = f": {pounds(instruction.margin_n)}" if isinstance(instruction, Setting) else ""
    return f"Zone {setting.zone.id}, {called(setting.zone)}{target}"


def _why(setting: ZoneSetting, moisture: Moisture) -> str:
    waits = isinstance(setting.moistures[moisture], Wait)
    return "wait" if waits else soil_word(setting.zone.facts)


# ---- shades and legends --------------------------------------------------------------------------

# Soils go from pale sand to dark clay, each class with a hatch of its own within its shade, so
# that they are told apart in grey too. The colours are our own, and none is one of a margin.
_FILL_OF = {
    "coarse": "#f8f0d6",
    "moderately coarse": "#e8d3a4",
    "medium": "#d3b37b",
    "moderately fine": "#bd976a",
    "fine": "#a2785a",
}
_HATCH_OF = {
    "sand": "plain",
    "loamy sand": "dots",
    "sandy loam": "rising",
    "loam": "plain",
    "silt loam": "falling",
    "silt": "dots",
    "sandy clay loam": "rising",
    "clay loam": "cross",
    "silty clay loam": "plain",
    "sandy clay": "falling",
    "silty clay": "dots",
    "clay": "cross",
}
_GROUNDS = {
    "organic": ("#c4b8cc", "cross"),
    "water": ("#d3e6ef", "bars"),
    "not soil": ("#dcdcd6", "plus"),
}
_BLANK = {NOTHING: "plus", AGREED: "plain", NEITHER: "plain", UNMARKED: "plain"}
_OTHERS = (  # in turn, for kinds that have no order
    ("#dfe7ea", "dots"),
    ("#cdb38f", "rising"),
    ("#b7c9d3", "falling"),
    ("#e9d9b8", "cross"),
    ("#8fa9b7", "plain"),
    ("#e2cfd3", "bars"),
)


def shades(view: View) -> dict[str, MapClass]:
    """How each kind of ground in a view is drawn, in the order of its legend."""
    return {
        kind: MapClass(f"{kind}, {acres(area_ha)} acres", *_shade(view, kind, place), zones=())
        for place, (kind, area_ha) in enumerate(view.kinds_ha().items())
    }


def _shade(view: View, kind: str, place: int) -> tuple[str, str]:
    if kind in _BLANK:
        return PAPER, _BLANK[kind]
    if view.about != "soil":
        return _OTHERS[place % len(_OTHERS)][0], _OTHERS[(place + place // 6) % len(_OTHERS)][1]
    if kind in GROUP_OF:
        return _FILL_OF[GROUP_OF[kind]], _HATCH_OF[kind]
    return _GROUNDS.get(kind, (PAPER, "plus"))


def zone_legend(plan: Plan, moisture: Moisture, *, at_one: bool = False) -> str:
    """Say what the shades of the zones mean; `at_one`, where the field's one setting suits."""
    shows = f"One {plan.setting_kind}, hopper half full" if at_one else "Margin to aim for"
    kinds = map_classes(plan, moisture, at_one=at_one)
    rows = legend_rows(
        (kind, f"<strong>{escape(kind.label)}</strong> {zone_list(kind.zones)}") for kind in kinds
    )
    return f'<figure class="zp-legend"><figcaption>{shows}, {moisture}</figcaption>{rows}</figure>'


def layer_legend(view: View, kinds: Mapping[str, MapClass]) -> str:
    """Say what the shades of a view mean, and how much of each there is."""
    rows = legend_rows((kind, escape(kind.label)) for kind in kinds.values())
    return (
        f'<figure class="zp-legend zp-layers"><figcaption>{escape(view.title)}; dashed: the zones\''
        f" edges</figcaption>{rows}</figure>"
    )


def legend_rows(rows: Iterable[tuple[MapClass, str]]) -> str:
    """List shades, each with what it means, in HTML."""
    lines = "".join(
        f'<li><img alt="" src="{svg_link(swatch_svg(kind))}"><span>{meaning}</span></li>'
        for kind, meaning in rows
    )
    return f"<ul>{lines}</ul>"


def zone_list(zones: Sequence[int]) -> str:
    """Name zones one by one.

    >>> zone_list((2,)), zone_list((1, 2, 3))
    ('zone 2', 'zones 1, 2, 3')
    """
    return f"{'zone' if len(zones) == 1 else 'zones'} {', '.join(map(str, zones))}"
