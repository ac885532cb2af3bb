"""GeoJSON and KML that mean harm, or were mangled on their way."""

import json
from typing import Any

from tests.hostile.case import FINE, written

RING = [
    [-93.503, 41.999],
    [-93.497, 41.999],
    [-93.497, 42.003],
    [-93.503, 42.003],
    [-93.503, 41.999],
]
DEEP = 50_000


def feature(ring: Any = RING, **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": "Polygon", "coordinates": [ring]},
    }


def collection(*features: Any, **more: Any) -> str:
    return json.dumps({"type": "FeatureCollection", "features": list(features), **more})


def _geometry(text: str) -> str:
    return (
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, '
        f'"geometry": {text}}}]}}'
    )


def _ring(text: str) -> str:
    return _geometry(f'{{"type": "Polygon", "coordinates": [[{text}]]}}')


def _circle(corners: int) -> str:
    import numpy as np

    turn = np.linspace(0, 2 * np.pi, corners)
    x, y = -93.5 + 0.004 * np.cos(turn), 42 + 0.003 * np.sin(turn)
    ring = np.column_stack((x, y)).round(9)
    ring[-1] = ring[0]
    return collection(feature(ring.tolist()))


_SYSTEMS = {
    "a number": 5,
    "a list": [1],
    "a word": "EPSG:4326",
    "without parts": {"type": "name"},
    "with a list of parts": {"type": "name", "properties": [1]},
    "with parts that are a number": {"type": "name", "properties": 7},
    "with a number for a name": {"type": "name", "properties": {"name": 5}},
    "with a table for a name": {"type": "name", "properties": {"name": {}}},
    "of 100,000 letters": {"type": "name", "properties": {"name": "x" * 100_000}},
    "with a NUL in its name": {"type": "name", "properties": {"name": "EPSG:4326\x00"}},
    "of no place on earth": {"type": "name", "properties": {"name": "EPSG:0"}},
    "that steers": {"type": "name", "properties": {"name": "\x1b[2J\x1b]0;x\x07"}},
}
_CRS = "coordinate system we do not know"
_NOT = "cannot be read as GeoJSON"
_CORNERS = "-93.503,41.999],[-93.497,41.999],[-93.497,42.003],[-93.503,41.999]"

written("boundary", "field.geojson", [
    *((f"its system is {what}", collection(feature(), crs=crs), _CRS) for what, crs in _SYSTEMS.items()),
    ("no system at all", collection(feature(), crs=None), FINE),
    ("only a number", "5", "content is something else"),
    ("only nothing", "null", "content is something else"),
    ("an empty table", "{}", _NOT),
    ("a web page", "<!doctype html><html>", "a web page"),
    ("brackets without end", '{"type":' + "[" * DEEP, _NOT),
    ("tables without end", '{"a":' * DEEP, _NOT),
    ("closed brackets, 50,000 deep", collection(crs="crs")[:-1] + ', "x": ' + "[" * DEEP + "]" * DEEP + "}", _CRS),
    ("geometries within each other", _geometry('{"type":"GeometryCollection","geometries":[' * 500 + "]}" * 500), "holds no area|cannot be read"),
    ("features that are nothing", '{"type":"FeatureCollection","features":null}', "holds no|cannot be read"),
    ("features that are numbers", collection(1, 2, 3), "holds no|cannot be read"),
    ("a feature without a shape", collection({"type": "Feature", "properties": {}, "geometry": None}), "holds no area"),
    ("a shape of a kind that is none", _geometry('{"type":"Blob","coordinates":[]}'), "holds no area|cannot"),
    ("coordinates that are words", _ring('["a","b"],["c","d"],["e","f"],["a","b"]'), "holds no area|cannot|degrees|crosses"),
    ("coordinates that are lists too deep", _ring("[[[-93,42]]],[[[-93,42]]]"), "holds no area|cannot"),
    ("coordinates that are a number", _geometry('{"type":"Polygon","coordinates":5}'), "holds no area|cannot"),
    ("coordinates of 1e308", _ring("[1e308,1e308],[-1e308,1e308],[-1e308,-1e308],[1e308,1e308]"), "degrees"),
    ("coordinates of 1e400", _ring("[1e400,42],[-93.4,42],[-93.4,42.1],[1e400,42]"), "not a number|degrees|cannot"),
    ("coordinates that are not numbers", _ring(f"[{_CORNERS},[NaN,NaN],[{_CORNERS}]"), "not a number|cannot"),
    ("coordinates without end", _ring("[-Infinity,42],[-93.4,42],[-93.4,Infinity],[-Infinity,42]"), "not a number|cannot"),
    ("a number of 6,000 digits", _ring("[" + "9" * 6000 + ",42],[-93.4,42],[-93.4,42.1],[0,42]"), "not a number|degrees|cannot"),
    ("a ring of two", collection(feature(RING[:2])), "holds no|no field|cannot|crosses"),
    ("a ring of one place", collection(feature([RING[0]] * 5)), "no field|crosses"),
    ("a ring that is open", collection(feature(RING[:-1])), "closed linestring"),
    ("an empty ring", collection(feature([])), "holds no area"),
    ("corners of five numbers", collection(feature([[*corner, 1, 2, 3] for corner in RING])), FINE),
    ("a bow tie", collection(feature([RING[0], RING[2], RING[1], RING[3], RING[0]])), "crosses itself|no field"),
    ("longitude and latitude swapped", collection(feature([corner[::-1] for corner in RING])), "swapped"),
    ("metres for degrees", collection(feature([[x * 1e4, y * 1e4] for x, y in RING])), "these are no degrees"),
    ("round the world", collection(feature([[-179, 1], [179, 1], [179, 1.1], [-179, 1.1], [-179, 1]])), "runs round the world|no field"),
    ("at the pole", collection(feature([[0, 89.999], [0.5, 89.999], [0.5, 90], [0, 90], [0, 89.999]])), "|no field|crosses"),
    ("a million corners", _circle(1_000_000), "1,000,000 corners"),
    ("20,000 fields", collection(*([feature()] * 20_000)), "and 19980 more"),
    ("a name of a million letters", collection(feature(name="x" * 10**6)), FINE),
    ("a name that steers", collection(feature(name="\x1b[2J\u202eevil<script>")), FINE),
    ("a name with a NUL", collection(feature(name="a\x00b")), FINE),
    ("a name that is a table", collection(feature(name={"a": [1, {"b": 2}]})), FINE),
    ("10,000 names of columns", collection(feature(**{f"c{n}": n for n in range(10_000)})), FINE),
    ("a column called geometry", collection(feature(geometry="mine", facts="mine", layer="mine")), FINE),
    ("a key that stands twice", collection(feature()).replace('"features"', '"features": [], "features"'), "|holds no"),
    ("in UTF-16", collection(feature()).encode("utf-16"), "something else|cannot be read"),
    ("a mark before it", b"\xef\xbb\xbf" + collection(feature()).encode(), FINE),
    ("letters of another code", collection(feature(name="x")).encode().replace(b'"x"', b'"\xe9"'), "|cannot be read"),
    ("cut off in the middle", collection(feature())[:150], _NOT),
    ("followed by something else", collection(feature()) + "}}}}]]]", "|cannot be read"),
    ("NULs in its text", collection(feature()).replace(" ", "\x00"), "cannot be read"),
])  # fmt: skip


def _kml(inside: str, head: str = "") -> str:
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>{head}<kml xmlns="http://www.opengis.net/kml/2.2">'
        f"<Document>{inside}</Document></kml>"
    )


def _placemark(coordinates: str, name: str = "North") -> str:
    return (
        f"<Placemark><name>{name}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{coordinates}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
    )


_PLACES = " ".join(f"{x},{y},0" for x, y in RING)
_LAUGHS = "<!DOCTYPE kml [<!ENTITY a0 'ha'>" + "".join(
    f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>" for n in range(1, 10)
) + "]>"  # fmt: skip

written("boundary", "field.kml", [
    ("kml as it should be", _kml(_placemark(_PLACES)), FINE),
    ("kml with a billion laughs", _kml(_placemark(_PLACES, "&a9;"), _LAUGHS), "cannot be read as KML|holds no"),
    ("kml without a place", _kml("<Placemark/>"), "holds no"),
    ("kml with nothing in it", _kml(""), "holds no|cannot be read"),
    ("kml with words for places", _kml(_placemark("here there everywhere nowhere")), "holds no|cannot|no field|crosses"),
    ("kml with places that are not numbers", _kml(_placemark("nan,nan nan,nan nan,nan nan,nan")), "not a number|holds no|cannot|no field|crosses"),
    ("kml with 1e308", _kml(_placemark("1e308,1 2,1e308 3,3 1e308,1")), "degrees|cannot"),
    ("kml of folders within folders", _kml("<Folder>" * 20_000 + "</Folder>" * 20_000), "holds no|cannot be read"),
    ("kml that is open", _kml(_placemark(_PLACES))[:-20], "|cannot be read|holds no"),
    ("kml with another code than it says", _kml(_placemark(_PLACES, "Lünn")).encode("latin-1"), "|cannot be read|holds no"),
    ("kml whose only shape is a line", _kml(f"<Placemark><LineString><coordinates>{_PLACES}</coordinates></LineString></Placemark>"), "holds no area"),
])  # fmt: skip
