"""The zones on a map that needs no internet: Leaflet comes with the package.

The ground stays and the zones are laid on it, so that another moisture or another zone
leaves the view where the reader moved it.
"""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from pathlib import Path
from typing import Any

import folium
import geopandas as gpd
import shapely
from shapely.geometry import MultiPolygon, Polygon, mapping

from zoneplan.export.picture import HATCHES, INK, PAPER, MapClass, map_classes
from zoneplan.pages.words import pounds, soil
from zoneplan.prescription import Plan, ZoneSetting

Ground = Polygon | MultiPolygon

_VENDOR = Path(__file__).parent / "vendor"
_PLACES = 7  # decimals of a degree: a centimetre
_PX_PER_MM = 3.0  # of the printed map's hatches
_DISC_PX = 23
_STYLE = f"""
.leaflet-container {{ background: {PAPER}; font: 13px "Source Sans Pro", Arial, sans-serif; }}
.leaflet-container .leaflet-tooltip {{ padding: 3px 8px; color: {INK}; border: 1px solid {INK};
  border-radius: 3px; box-shadow: none; font-size: 13px; }}
.leaflet-container .leaflet-control-scale-line {{ font-size: 11px; line-height: 14px; }}
.zone {{ color: {INK}; font-size: 12px; line-height: 21px; text-align: center; }}
.zone b {{ display: block; border: 1px solid {INK}; border-radius: 50%; background: {PAPER};
  font-weight: 600; }}
.zone.chosen b {{ background: {INK}; color: {PAPER}; }}
.zone i {{ position: absolute; top: 24px; left: 50%; padding: 0 4px; border-radius: 3px;
  background: {PAPER}; font-style: normal; line-height: 16px; white-space: nowrap;
  transform: translateX(-50%); }}
"""


@dataclass(frozen=True)
class ZoneMap:
    """The ground, and the zones that are laid on it."""

    ground: folium.Map
    zones: folium.FeatureGroup


def zone_map(plan: Plan, wetness: str, chosen: int) -> ZoneMap:
    """Draw the zones over the boundary, shaded and numbered as on the printed map.

    Parameters
    ----------
    plan : Plan
        What to draw.
    wetness : str
        Which margin targets shade the zones.
    chosen : int
        The zone to draw with a heavy edge.
    """
    kinds = {zone: kind for kind in map_classes(plan, wetness) for zone in kind.zones}
    outline, *shapes = _in_degrees(
        plan, [plan.field.shape, *(it.zone.shape for it in plan.settings)]
    )
    features = [
        _feature(shape, id=it.zone.id, told=_told(it, wetness))
        for it, shape in zip(plan.settings, shapes, strict=True)
    ]
    zones = folium.FeatureGroup()
    _fills(features, kinds).add_to(zones)
    _hatches(features, kinds).add_to(zones)
    picked = [it for it in features if it["properties"]["id"] == chosen]
    for drawn, colour, weight in (
        ([_feature(outline)], INK, 3),
        (picked, PAPER, 8),
        (picked, INK, 5),
    ):
        _line(drawn, colour, weight).add_to(zones)
    for it, shape in zip(plan.settings, shapes, strict=True):
        _number(it, wetness, shape, chosen=it.zone.id == chosen).add_to(zones)
    return ZoneMap(_ground(outline), zones)


def _in_degrees(plan: Plan, shapes: Sequence[Ground]) -> list[Ground]:
    moved = gpd.GeoSeries(shapes, crs=plan.field.crs).to_crs("OGC:CRS84")
    return [shapely.transform(shape, lambda points: points.round(_PLACES)) for shape in moved]


def _feature(shape: Ground, **properties: object) -> dict[str, Any]:
    return {"type": "Feature", "properties": properties, "geometry": mapping(shape)}


def _told(setting: ZoneSetting, wetness: str) -> str:
    """What a pointer over the zone brings up. Leaflet takes it as HTML."""
    moisture = setting.moistures[wetness]
    target = "" if moisture.margin_n is None else f": {pounds(moisture.margin_n)}"
    return escape(f"Zone {setting.zone.id}, {soil(setting.zone.facts)}{target}")


def _ground(outline: Ground) -> folium.Map:
    """An empty map that fits the field, with the hatches that its zones call for."""
    drawn = folium.Map(
        tiles=None,
        control_scale=True,
        zoom_snap=0.25,
        scroll_wheel_zoom=False,
        attribution_control=False,
    )
    drawn.default_js, drawn.default_css = _leaflet()
    hatches = "".join(
        f'<pattern id="{name}" patternUnits="userSpaceOnUse" width="{side}" height="{side}" '
        f'patternTransform="scale({_PX_PER_MM}) rotate({turn})">'
        f'<g fill="{INK}" stroke="{INK}" stroke-width="0.22">{drawing}</g></pattern>'
        for name, (side, turn, drawing) in HATCHES.items()
    )
    drawn.get_root().html.add_child(  # type: ignore[attr-defined]
        folium.Element(f'<svg width="0" height="0" style="position:absolute">{hatches}</svg>')
    )
    west, south, east, north = outline.bounds
    drawn.fit_bounds([(south, west), (north, east)], padding=(24, 24))
    return drawn


def _fills(features: list[dict[str, Any]], kinds: Mapping[int, MapClass]) -> folium.GeoJson:
    """The zones' colours inside light edges. A click is on these."""
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        style_function=lambda it: {
            "fillColor": kinds[it["properties"]["id"]].fill,
            "fillOpacity": 1,
            "color": PAPER,
            "weight": 4.5,
        },
        tooltip=folium.GeoJsonTooltip(["told"], labels=False, sticky=True),
    )


def _hatches(features: list[dict[str, Any]], kinds: Mapping[int, MapClass]) -> folium.GeoJson:
    """The zones' hatches inside dark edges."""
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        style_function=lambda it: {
            "fillColor": f"url(#{kinds[it['properties']['id']].hatch})",
            "fillOpacity": kinds[it["properties"]["id"]].hatch != "plain",
            "color": INK,
            "weight": 1.4,
        },
        interactive=False,
    )


def _line(features: list[dict[str, Any]], colour: str, weight: float) -> folium.GeoJson:
    return folium.GeoJson(
        {"type": "FeatureCollection", "features": features},
        style_function=lambda _: {"fill": False, "color": colour, "weight": weight},
        interactive=False,
    )


def _number(setting: ZoneSetting, wetness: str, shape: Ground, *, chosen: bool) -> folium.Marker:
    """A zone's number where it is roomiest, and in a word why it has none to aim for."""
    east, north = shapely.maximum_inscribed_circle(shape).coords[0]
    moisture, word = setting.moistures[wetness], ""
    if moisture.margin_n is None:
        word = f"<i>{'wait' if moisture.wait else escape(soil(setting.zone.facts))}</i>"
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


@cache
def _leaflet() -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Leaflet's script and styles as data links, so that nothing is fetched."""
    script = _data_link("text/javascript", (_VENDOR / "leaflet.js").read_bytes())
    style = _data_link("text/css", (_VENDOR / "leaflet.css").read_bytes())
    own_style = _data_link("text/css", _STYLE.encode())
    return [("leaflet", script)], [("leaflet_css", style), ("zones_css", own_style)]


def _data_link(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"
