"""The map to draw on: outlines of one kind to change, above all that is known of the ground.

It needs no internet: the map library comes with the package.
"""

import base64
import zlib
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import folium
from folium.elements import JSCSSMixin
from folium.plugins import Draw
from folium.template import Template
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from zoneplan.export.picture import INK, PAPER, MapClass, hatch_patterns
from zoneplan.harmless import escape
from zoneplan.pages.drawing.outline import Outline, to_map
from zoneplan.pages.layer_views import View
from zoneplan.pages.map import CREDIT, FINEST, PLACES_SEEN, PX_PER_MM, TILES, in_degrees

Feature = dict[str, Any]  # as GeoJSON has it
Bounds = tuple[float, float, float, float]  # west, south, east, north in degrees

COLOURS = {
    "boundary": INK,
    "zone": "#2a6478",
    "headland": "#8a5a00",
    "soil": "#6b4423",
}
FAULTY = "#a3332a"
_HERE = Path(__file__).parent
_VENDOR = _HERE.parent / "browser" / "vendor"


class _Carried(JSCSSMixin):
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


class _Paper(_Carried, folium.Map):
    """A map that carries Leaflet."""


def _paper(bounds: Bounds, *, web: bool) -> folium.Map:
    """An empty map that fits its bounds, with the hatches that shades call for."""
    sheet = _Paper(
        tiles=None,
        control_scale=True,
        zoom_snap=0.25,
        scroll_wheel_zoom=False,
        attribution_control=web,
    )
    sheet.default_js = [("leaflet", _link(_VENDOR / "leaflet.js"))]
    sheet.default_css = [("leaflet_css", _link(_VENDOR / "leaflet.css"))]
    sheet.get_root().html.add_child(  # type: ignore[attr-defined]
        folium.Element(
            f'<svg width="0" height="0" style="position:absolute">{hatch_patterns(PX_PER_MM)}</svg>'
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
        _collected(features),
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
    shapes = in_degrees([patch.shape for patch in view.patches], crs, PLACES_SEEN)
    return [
        feature(shape, kind=patch.kind) for patch, shape in zip(view.patches, shapes, strict=True)
    ]


def pale(features: Sequence[Feature], kinds: Mapping[str, MapClass]) -> folium.GeoJson:
    """Ground in the background: its colours only, and thin."""
    return folium.GeoJson(
        _collected(features),
        style_function=lambda feature: {
            "fillColor": kinds[feature["properties"]["kind"]].fill,
            "fillOpacity": 0.5,
            "color": PAPER,
            "weight": 1.5,
        },
        interactive=False,
    )


def _collected(features: Sequence[Feature]) -> Feature:
    return {"type": "FeatureCollection", "features": [*features]}


class _Pencil(_Carried, folium.MacroElement):
    """Our own words and manners for the drawing tools."""

    _template = Template(
        "{% macro script(this, kwargs) %}"
        "pencil({{ this._parent.get_name() }}, drawnItems, "
        "{{ this.place|tojson }}, {{ this.state|tojson }});"
        "{% endmacro %}"
    )

    def __init__(self, place: str, state: str) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Pencil"
        self.place, self.state = place, state
        self.default_js = [("pencil", _link(_HERE / "draw.js"))]
        self.default_css = [("pencil_css", _link(_HERE / "draw.css"))]


class _Tools(_Carried, Draw):
    """Drawing tools that carry their script."""


def draw_map(
    bounds: Bounds,
    below: Iterable[folium.GeoJson],
    outlines: Sequence[Outline],
    what: str,
    *,
    turn: int,
    web: bool,
) -> folium.Map:
    """Lay outlines of one kind on a map, to be moved, deleted, and joined by others.

    Parameters
    ----------
    bounds : tuple
        What the map shows at first.
    below : iterable of GeoJson
        What else is known of the ground.
    outlines : sequence of Outline
        Those that were drawn before.
    what : str
        Of what kind they are.
    turn : int
        Another makes the browser forget what was drawn since.
    web : bool
        Whether pictures from the internet lie below.
    """
    ground_map = _paper(bounds, web=web)
    for layer in below:
        layer.add_to(ground_map)
    editable = _editable(outlines, what)
    editable.add_to(ground_map)
    _tools(editable, what).add_to(ground_map)
    where = " ".join(f"{edge:.4f}" for edge in bounds)
    checksum = zlib.crc32(repr(outlines).encode())
    _Pencil(f"{what} {where}", f"{turn} {checksum}").add_to(ground_map)
    return ground_map


def _editable(outlines: Sequence[Outline], what: str) -> folium.GeoJson:
    features = to_map(outlines)
    for feature in features:
        feature["properties"]["tip"] = escape(feature["properties"]["name"] or what)
    named = folium.GeoJsonTooltip(["tip"], labels=False, sticky=True)
    return folium.GeoJson(
        _collected(features),
        style_function=lambda _: _style(what),
        tooltip=named if features else None,
    )


def _tools(editable: folium.GeoJson, what: str) -> _Tools:
    outline = {
        "allowIntersection": False,
        "showArea": True,
        "showLength": True,
        "metric": False,
        "drawError": {"color": FAULTY},
        "shapeOptions": _style(what),
    }
    others = dict.fromkeys(("rectangle", "circle", "marker", "circlemarker"), False)
    tools = _Tools(  # type: ignore[no-untyped-call]
        feature_group=editable,
        position="topright",
        show_geometry_on_click=False,
        draw_options=others | {"polygon": outline, "polyline": False},
        edit_options={"edit": {"selectedPathOptions": {"maintainColor": True, "dashArray": "4 6"}}},
    )
    tools.default_js = [("leaflet_draw", _link(_VENDOR / "leaflet.draw.js"))]
    tools.default_css = [("leaflet_draw_css", _link(_VENDOR / "leaflet.draw.css"))]
    return tools


def _style(what: str) -> Feature:
    return {
        "color": COLOURS[what],
        "weight": 3,
        "opacity": 1,
        "fill": True,
        "fillColor": COLOURS[what],
        "fillOpacity": 0.04 if what == "boundary" else 0.16,
    }


@cache
def _link(path: Path) -> str:
    """A script or a style as a link that holds all of it, so that nothing is fetched."""
    kind = "text/javascript" if path.suffix == ".js" else "text/css"
    return f"data:{kind};base64,{base64.b64encode(path.read_bytes()).decode()}"
