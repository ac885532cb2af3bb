"""The zones, or a layer below them, on the field's map.

The ground stays and the zones are laid on it, so that another moisture or another zone
leaves the view where the reader moved it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import folium
import shapely

from zoneplan.export.picture import INK, PAPER, MapClass, map_classes
from zoneplan.harmless import escape
from zoneplan.pages.layer_views import View
from zoneplan.pages.offline_map import (
    Feature,
    Ground,
    collected,
    edges_of,
    feature,
    in_degrees,
    line,
    paper,
)
from zoneplan.pages.words import acres, called, pounds, soil
from zoneplan.plan.model import Plan, Setting, Wait, ZoneSetting
from zoneplan.terms import Moisture

_ABOVE_WEB = 0.55  # how dense a fill is that lets the pictures be seen
_PLACES_SEEN = 6  # of what is coarsened for the screen
_DISC_PX = 23


@dataclass(frozen=True)
class FieldMap:
    """The ground, and what is laid on it."""

    ground: folium.Map
    laid: folium.FeatureGroup


def zone_map(
    plan: Plan, moisture: Moisture, chosen: int, *, web: bool = False, at_one: bool = False
) -> FieldMap:
    """Draw the zones over the boundary, shaded and numbered as on the printed map.

    Parameters
    ----------
    plan : Plan
        What to draw.
    moisture : str
        Which margin targets shade the zones.
    chosen : int
        The zone to draw with a heavy edge.
    web : bool
        Whether pictures from the internet lie below.
    at_one : bool
        Whether the shades say where the field's one setting is too light, right or too heavy.
    """
    classes = map_classes(plan, moisture, at_one=at_one)
    kinds = {zone: kind for kind in classes for zone in kind.zones}
    outline, *shapes = _outlines(plan)
    features = [
        feature(shape, id=setting.zone.id, told=_told(setting, moisture))
        for setting, shape in zip(plan.settings, shapes, strict=True)
    ]
    shade = {
        feature["properties"]["id"]: kinds[feature["properties"]["id"]] for feature in features
    }
    laid = folium.FeatureGroup()
    _fills(features, shade, "id", web=web).add_to(laid)
    _hatches(features, shade, "id", edge_px=1.4).add_to(laid)
    _edges(outline, features, chosen, laid)
    for setting, shape in zip(plan.settings, shapes, strict=True):
        _number(setting, moisture, shape, chosen=setting.zone.id == chosen).add_to(laid)
    return FieldMap(paper(outline.bounds, web=web), laid)


def layer_map(
    view: View, plan: Plan, kinds: Mapping[str, MapClass], chosen: int, *, web: bool = False
) -> FieldMap:
    """Draw a layer over the boundary, and the zones' edges and numbers above it.

    Parameters
    ----------
    view : View
        The layer.
    plan, chosen : Plan, int
        Whose zones, and the one to draw with a heavy edge.
    kinds : mapping
        How each kind of ground in the view is drawn.
    web : bool
        Whether pictures from the internet lie below.
    """
    outline, *shapes = _outlines(plan)
    zones = [
        feature(shape, id=setting.zone.id)
        for setting, shape in zip(plan.settings, shapes, strict=True)
    ]
    ground = ground_of(view, plan.field.crs)
    laid = folium.FeatureGroup()
    _fills(ground, kinds, "kind", web=web).add_to(laid)
    _hatches(ground, kinds, "kind", edge_px=0.8).add_to(laid)
    edges_of(shapes, 2.2, dash="7 5").add_to(laid)
    _edges(outline, zones, chosen, laid)
    for setting, shape in zip(plan.settings, shapes, strict=True):
        _number(setting, None, shape, chosen=setting.zone.id == chosen).add_to(laid)
    return FieldMap(paper(outline.bounds, web=web), laid)


def ground_of(view: View, crs: str) -> list[Feature]:
    """The patches of a view, each with its kind and what a pointer over it brings up."""
    shapes = in_degrees([patch.shape for patch in view.patches], crs, _PLACES_SEEN)
    return [
        feature(shape, kind=patch.kind, told=escape(f"{patch.name}, {acres(patch.area_ha)} acres"))
        for patch, shape in zip(view.patches, shapes, strict=True)
    ]


def pale(features: Sequence[Feature], kinds: Mapping[str, MapClass]) -> folium.GeoJson:
    """Ground in the background: its colours only, and thin."""
    return folium.GeoJson(
        collected(features),
        style_function=lambda feature: {
            "fillColor": kinds[feature["properties"]["kind"]].fill,
            "fillOpacity": 0.5,
            "color": PAPER,
            "weight": 1.5,
        },
        interactive=False,
    )


def _outlines(plan: Plan) -> list[Ground]:
    """The field's outline, then its zones'."""
    return in_degrees(
        [plan.field.shape, *(setting.zone.shape for setting in plan.settings)], plan.field.crs
    )


def _told(setting: ZoneSetting, moisture: Moisture) -> str:
    """What a pointer over the zone brings up. Leaflet takes it as HTML."""
    instruction = setting.moistures[moisture]
    target = f": {pounds(instruction.margin_n)}" if isinstance(instruction, Setting) else ""
    return escape(f"Zone {setting.zone.id}, {called(setting.zone)}{target}")


def _fills(
    features: Sequence[Feature], kinds: Mapping[Any, MapClass], by: str, *, web: bool
) -> folium.GeoJson:
    """Colours inside light edges, by a property. A click is on these."""
    return folium.GeoJson(
        collected(features),
        style_function=lambda feature: {
            "fillColor": kinds[feature["properties"][by]].fill,
            "fillOpacity": _ABOVE_WEB if web else 1,
            "color": PAPER,
            "weight": 4.5,
        },
        tooltip=folium.GeoJsonTooltip(["told"], labels=False, sticky=True),
    )


def _hatches(
    features: Sequence[Feature], kinds: Mapping[Any, MapClass], by: str, edge_px: float
) -> folium.GeoJson:
    """Hatches inside dark edges."""
    return folium.GeoJson(
        collected(features),
        style_function=lambda feature: {
            "fillColor": f"url(#{kinds[feature['properties'][by]].hatch})",
            "fillOpacity": kinds[feature["properties"][by]].hatch != "plain",
            "color": INK,
            "weight": edge_px,
        },
        interactive=False,
    )


def _edges(
    outline: Ground, zones: Sequence[Feature], chosen: int, laid: folium.FeatureGroup
) -> None:
    """The field's edge, and a heavy one round the zone that is chosen."""
    picked = [zone for zone in zones if zone["properties"]["id"] == chosen]
    for features, colour, weight in (
        ([feature(outline)], INK, 3),
        (picked, PAPER, 8),
        (picked, INK, 5),
    ):
        line(features, colour, weight).add_to(laid)


def _number(
    setting: ZoneSetting, moisture: Moisture | None, shape: Ground, *, chosen: bool
) -> folium.Marker:
    """A zone's number where it is roomiest, and in a word why it has none to aim for."""
    east, north = shapely.maximum_inscribed_circle(shape).coords[0]
    word = ""
    if moisture and not isinstance(instruction := setting.moistures[moisture], Setting):
        why = "wait" if isinstance(instruction, Wait) else escape(soil(setting.zone.facts))
        word = f"<i>{why}</i>"
    return folium.Marker(
        (north, east),
        icon=folium.DivIcon(
            html=f"<b>{setting.zone.id}</b>{word}",
            class_name="zone chosen" if chosen else "zone",
            icon_size=(_DISC_PX, _DISC_PX),
        ),
        interactive=False,
        keyboard=False,
    )
