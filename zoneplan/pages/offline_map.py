"""An empty map that needs no internet, and lines on it: Leaflet comes with the package."""

import base64
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import folium
import numpy as np
import shapely
from folium.elements import JSCSSMixin
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from zoneplan.export.picture import INK, PAPER, MapClass, hatch_patterns
from zoneplan.pages.layer_views import View
from zoneplan.pages.map import CREDIT, FINEST, TILES, Ground, in_degrees

Feature = dict[str, Any]  # as GeoJSON has it
Bounds = tuple[float, float, float, float]  # west, south, east, north in degrees

_VENDOR = Path(__file__).parent / "browser" / "vendor"
_PLACES_SEEN = 6  # of what is coarsened for the screen
_PX_PER_MM = 3.0  # of the printed map's hatches
_STYLE = f"""
.leaflet-container {{ background: {PAPER}; font: 13px "Source Sans Pro", Arial, sans-serif; }}
.leaflet-container .leaflet-tooltip {{ padding: 3px 8px; color: {INK}; border: 1px solid {INK};
  border-radius: 3px; box-shadow: none; font-size: 13px; }}
.leaflet-container .leaflet-control-scale-line {{ font-size: 11px; line-height: 14px; }}
.leaflet-container .leaflet-control-attribution {{ font-size: 11px; }}
.leaflet-control-attribution > a:first-child, .leaflet-control-attribution > [aria-hidden] {{
  display: none; }}
"""


class Carried(JSCSSMixin):
    """Something of a map whose scripts and styles are carried, not fetched.

    The browser gets them as links of the component. In the page's head, where they are put
    besides, nobody wants them, and searching through them there takes longer than all else.
    """

    def render(self, **kwargs: Any) -> str:
        """Write it without its links."""
        links = self.default_js, self.default_css
        self.default_js, self.default_css = [], []
        written: str = super().render(**kwargs)  # type: ignore[no-untyped-call]
        self.default_js, self.default_css = links
        return written


class _Paper(Carried, folium.Map):
    """A map that carries Leaflet."""


def paper(bounds: Bounds, *, web: bool = False) -> folium.Map:
    """An empty map that fits its bounds, with the hatches that shades call for."""
    sheet = _Paper(
        tiles=None,
        control_scale=True,
        zoom_snap=0.25,
        scroll_wheel_zoom=False,
        attribution_control=web,
    )
    sheet.default_js, sheet.default_css = _leaflet()
    sheet.get_root().html.add_child(  # type: ignore[attr-defined]
        folium.Element(
            '<svg width="0" height="0" style="position:absolute">'
            f"{hatch_patterns(_PX_PER_MM)}</svg>"
        )
    )
    if web:  # what cannot be fetched leaves the paper as it is
        folium.TileLayer(
            TILES,
            attr=CREDIT,
            max_zoom=24,
            max_native_zoom=FINEST,
            control=False,
        ).add_to(sheet)
    west, south, east, north = bounds
    sheet.fit_bounds([(south, west), (north, east)], padding=(24, 24))
    return sheet


def feature(shape: BaseGeometry, **properties: object) -> Feature:
    """A shape in degrees as GeoJSON has it."""
    return {"type": "Feature", "properties": properties, "geometry": mapping(shape)}


def line(
    features: Sequence[Feature], colour: str, weight: float, dash: str | None = None
) -> folium.GeoJson:
    """Edges that take no click."""
    return folium.GeoJson(
        collected(features),
        style_function=lambda _: {
            "fill": False,
            "color": colour,
            "weight": weight,
            "dashArray": dash,
        },
        interactive=False,
    )


def ground_of(view: View, crs: str) -> list[Feature]:
    """The patches of a view, each with its kind."""
    shapes = in_degrees([patch.shape for patch in view.patches], crs, _PLACES_SEEN)
    return [
        feature(shape, kind=patch.kind) for patch, shape in zip(view.patches, shapes, strict=True)
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


def edges_of(zones: Sequence[Ground], weight: float, dash: str) -> folium.GeoJson:
    """Zones' edges, each drawn once, or dashes of one zone would fill another's gaps."""
    edges = shapely.line_merge(shapely.union_all(shapely.boundary(np.array(zones, dtype=object))))
    return line([feature(edges)], INK, weight, dash)


def collected(features: Sequence[Feature]) -> Feature:
    """Features as one thing."""
    return {"type": "FeatureCollection", "features": [*features]}


def data_link(kind: str, content: bytes) -> str:
    """Something as a link that holds all of it, so that nothing is fetched."""
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def vendored(name: str) -> str:
    """A script or a style that comes with the package, as a data link."""
    kind = "text/javascript" if name.endswith(".js") else "text/css"
    return data_link(kind, (_VENDOR / name).read_bytes())


@cache
def _leaflet() -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """Leaflet's script and styles as data links, so that nothing is fetched."""
    script = vendored("leaflet.js")
    own_style = data_link("text/css", _STYLE.encode())
    return [("leaflet", script)], [
        ("leaflet_css", vendored("leaflet.css")),
        ("paper_css", own_style),
    ]
