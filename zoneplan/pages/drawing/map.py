"""The map to draw on: outlines of one kind to change, above all that is known of the ground."""

import zlib
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path

import folium
from folium.plugins import Draw
from folium.template import Template

from zoneplan.export.picture import INK, PAPER
from zoneplan.harmless import escape
from zoneplan.pages.offline_map import (
    Bounds,
    Carried,
    Feature,
    collected,
    data_link,
    paper,
    vendored,
)
from zoneplan.pages.outline import Outline, to_map

COLOURS = {
    "boundary": INK,
    "zone": "#2a6478",
    "headland": "#8a5a00",
    "soil": "#6b4423",
}
FAULTY = "#a3332a"
_SCRIPT = Path(__file__).with_name("draw.js")
_STYLE = f"""
.leaflet-draw-toolbar, .leaflet-draw-actions {{
  font: 13px/30px "Source Sans Pro", Arial, sans-serif; }}
.leaflet-draw .leaflet-draw-toolbar a {{ width: auto; height: 30px; padding: 0 10px;
  background: {PAPER} none; color: {INK}; font: inherit; line-height: 30px; text-align: left; }}
.leaflet-draw .leaflet-draw-toolbar a:hover {{ background: #f1efe3 none; }}
.leaflet-draw .leaflet-draw-toolbar a.leaflet-draw-toolbar-button-enabled {{ background: {INK} none;
  color: {PAPER}; }}
.leaflet-draw .leaflet-draw-toolbar a.leaflet-disabled {{ background: {PAPER} none; color: #6f7a80;
  cursor: default; }}
.leaflet-draw a .sr-only {{ position: static; width: auto; height: auto; margin: 0; clip: auto; }}
.leaflet-draw a:focus-visible {{ outline: 3px solid #2a6478; outline-offset: 2px; }}
.leaflet-touch .leaflet-right .leaflet-draw-actions, .leaflet-right .leaflet-draw-actions {{
  right: 100%; margin-right: 8px; }}
.leaflet-draw .leaflet-draw-actions a {{ height: 30px; padding: 0 10px; background: {INK};
  border-left: 1px solid {PAPER}; color: {PAPER}; font: inherit; line-height: 30px; }}
.leaflet-draw .leaflet-draw-actions a:hover {{ background: #2a6478; }}
.leaflet-draw .leaflet-draw-actions li:first-child a {{ border-radius: 4px 0 0 4px; }}
.leaflet-draw .leaflet-draw-actions li:last-child a {{ border-radius: 0 4px 4px 0; }}
.leaflet-container .leaflet-draw-tooltip {{ background: {INK}; border: 0; color: {PAPER};
  font: 13px/18px "Source Sans Pro", Arial, sans-serif; }}
.leaflet-container .leaflet-draw-tooltip::before {{ display: none; }}
.leaflet-container .leaflet-draw-tooltip-subtext {{ color: #dfe7ea; }}
.leaflet-container .leaflet-error-draw-tooltip {{ background: {FAULTY}; color: {PAPER}; }}
.corner {{ background: {PAPER}; border: 2px solid {INK}; border-radius: 50%;
  box-sizing: border-box; }}
.leaflet-edit-marker-selected {{ background: none; border: 0; }}
"""


class _Pencil(Carried, folium.MacroElement):
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
        script, style = _own()
        self.default_js, self.default_css = [("pencil", script)], [("pencil_css", style)]


class _Tools(Carried, Draw):
    """Drawing tools that carry their script."""


def draw_map(
    bounds: Bounds,
    below: Iterable[folium.GeoJson],
    outlines: Sequence[Outline],
    what: str,
    *,
    turn: int = 0,
    web: bool = False,
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
    ground_map = paper(bounds, web=web)
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
        feature["properties"]["told"] = escape(feature["properties"]["name"] or what)
    named = folium.GeoJsonTooltip(["told"], labels=False, sticky=True)
    return folium.GeoJson(
        collected(features),
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
    tools.default_js = [("leaflet_draw", vendored("leaflet.draw.js"))]
    tools.default_css = [("leaflet_draw_css", vendored("leaflet.draw.css"))]
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
def _own() -> tuple[str, str]:
    return (
        data_link("text/javascript", _SCRIPT.read_bytes()),
        data_link("text/css", _STYLE.encode()),
    )
