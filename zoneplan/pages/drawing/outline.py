"""Outlines as a person draws them, on the map or as text, and as a request has them.

All that is wrong with them is told at once, before any is used.
"""

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, count
from typing import Any

import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box, shape
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError, listed, nearest
from zoneplan.field.crs import WGS_84, WGS_84_GEOD, geodesic_area_ha, local_crs, move
from zoneplan.field.outline import LEAST_HA, MOST_HA
from zoneplan.field.shapes import Field, polygons_in
from zoneplan.request import Drawn
from zoneplan.soil.texture import TEXTURES
from zoneplan.units import HA_PER_ACRE, M2_PER_HA
from zoneplan.zones.edit import Point as Corner

PLACES = 7  # decimals of a degree: a centimetre
_LEAST_M2 = 1.0  # judged: less is a slip of the hand
_SPOT = re.compile(r"\[(\S+) (\S+)\]")  # where shapely says that a shape is wrong
_CORNER = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*[,;\s]\s*([-+]?\d+(?:\.\d+)?)\s*")
Ground = Polygon | MultiPolygon


@dataclass(frozen=True)
class Outline:
    """One outline, or one line."""

    name: str
    corners: tuple[Corner, ...]  # longitude, latitude in degrees; an outline is not closed


def from_map(features: Iterable[Mapping[str, Any]]) -> list[Outline]:
    """Take polygons as GeoJSON has them; other shapes are passed over."""
    outlines = []
    for feature in features:
        geometry = shape(feature["geometry"])
        name = str((feature.get("properties") or {}).get("name") or "")
        if isinstance(geometry, Polygon):
            outlines.append(Outline(name, _rounded(geometry.exterior.coords[:-1])))
    return outlines


def to_map(outlines: Iterable[Outline]) -> list[dict[str, Any]]:
    """Give outlines as GeoJSON has them, each with its name."""
    return [
        {
            "type": "Feature",
            "properties": {"name": outline.name},
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[*at] for at in (*outline.corners, *outline.corners[:1])]],
            },
        }
        for outline in outlines
    ]


def written(outlines: Iterable[Outline]) -> str:
    """Write outlines as text: a name and a colon, then a corner a line.

    >>> print(written([Outline("Knoll", ((-93.5, 42.0), (-93.49, 42.0), (-93.49, 42.01)))]))
    Knoll:
    42.0, -93.5
    42.0, -93.49
    42.01, -93.49
    """
    return "\n\n".join(
        "\n".join(
            [
                *([f"{outline.name}:"] if outline.name else []),
                *(f"{north}, {east}" for east, north in outline.corners),
            ]
        )
        for outline in outlines
    )


def typed(text: str) -> list[Outline]:
    """Read outlines as `written` writes them; a name or an empty line begins another.

    Raises
    ------
    LayerError
        Naming every line that is no corner.
    """
    outlines: list[Outline] = []
    faults: list[str] = []
    name, corners = "", list[Corner]()
    for number, line in enumerate([*map(str.strip, text.splitlines()), ""], start=1):
        if match := _CORNER.fullmatch(line.replace("−", "-").replace("°", "")):
            corners.append((float(match[2]), float(match[1])))
        elif line and not line.endswith(":"):
            faults.append(
                f"Line {number}, “{line}”, is no corner: write latitude, longitude, as in "
                "42.0312, -93.5512; a name ends with a colon."
            )
        else:
            if corners:
                outlines.append(Outline(name, _rounded(corners)))
                name, corners = "", []
            name = line.removesuffix(":").strip() or name
    _stop_for(faults, "What is typed")
    return outlines


def square(north: float, east: float, acres: float, name: str) -> Outline:
    """A square about a place, to begin with. Latitude and longitude in degrees."""
    metric = local_crs(Point(east, north))
    half_m = math.sqrt(acres * HA_PER_ACRE * M2_PER_HA) / 2
    outline = move(box(-half_m, -half_m, half_m, half_m), metric, WGS_84)
    return Outline(name, _rounded(outline.exterior.coords[:-1]))


def thinned(outline: Outline, within_m: float) -> Outline:
    """Leave out corners, so that no part of the edge moves by more than this. [m]

    An outline too small for that stays as it is.
    """
    closed = LineString([*outline.corners, outline.corners[0]])
    metric = local_crs(closed)
    thin = move(move(closed, WGS_84, metric).simplify(within_m), metric, WGS_84)
    corners = _rounded(thin.coords[:-1])
    return Outline(outline.name, corners) if len(corners) > 2 else outline


def _rounded(corners: Iterable[Sequence[float]]) -> tuple[Corner, ...]:
    """Corners to a centimetre, each once where it follows on itself."""
    points = [(round(east, PLACES), round(north, PLACES)) for east, north, *_ in corners]
    return tuple(at for place, at in enumerate(points) if place == 0 or at != points[place - 1])


def _stop_for(faults: Sequence[str], subject: str) -> None:
    if faults:
        raise LayerError(faults[0] if len(faults) == 1 else listed(subject, faults))


# ---- as a request has them -----------------------------------------------------------------------


def outlines_of(drawings: Iterable[Drawn], what: str) -> list[Outline]:
    """What was drawn of one kind, ring by ring: a hole is an outline inside another."""
    return [
        Outline(drawing.name, _rounded(ring.coords[:-1]))
        for drawing in drawings
        if drawing.what == what
        for part in shapely.get_parts(shape_of(drawing))
        for ring in (part.exterior, *part.interiors)
    ]


def drawn_from(
    outlines: Sequence[Outline], what: str, meets: Ground | None = None
) -> tuple[Drawn, ...]:
    """Check all outlines of one kind, and put them as a request has them.

    Parameters
    ----------
    outlines : sequence of Outline
        One of the boundary that lies inside another is a hole in it. Any other that lies
        inside another comes to stand before it, so that it is not hidden.
    what : str
        "boundary", "zone", "headland" or "soil".
    meets : Polygon or MultiPolygon, optional
        In degrees: the field, or for its boundary where soil lies. Each must meet it.

    Raises
    ------
    LayerError
        Telling every outline that cannot be used, why, and what to do.
    """
    named = _named(outlines, what)
    faults = [
        f"{_called(number, outline, len(named))} {fault}"
        for number, outline in enumerate(named, start=1)
        if (fault := fault_of(outline, what, meets))
    ]
    _stop_for(faults, "What is drawn")
    shapes = [Polygon(outline.corners) for outline in named]
    if what == "boundary":
        parts = _with_holes(shapes)
        drawings = tuple(Drawn(what, named[0].name, shapely.to_geojson(part)) for part in parts)
        if drawings and (ground_ha := sum(map(area_ha, drawings))) < LEAST_HA:
            raise LayerError(
                f"The boundary encloses {ground_ha * M2_PER_HA:.2g} m², too little to plant: "
                "draw it larger."
            )
        return drawings
    depths = _depths(shapes)
    order = sorted(range(len(shapes)), key=lambda at: -depths[at])
    return tuple(Drawn(what, named[at].name, shapely.to_geojson(shapes[at])) for at in order)


def boundary_of(field: Field) -> tuple[Drawn, ...]:
    """The boundary of a file as if it were drawn, so that its edges can be moved."""
    shape = shapely.transform(move(field.shape, field.crs, WGS_84), lambda at: at.round(PLACES))
    return tuple(
        Drawn("boundary", field.name, shapely.to_geojson(part)) for part in shapely.get_parts(shape)
    )


def shape_of(drawing: Drawn) -> Ground:
    """Its shape, in degrees."""
    shape = shapely.from_geojson(drawing.shape)
    assert isinstance(shape, Polygon | MultiPolygon)
    return shape


def area_ha(drawing: Drawn) -> float:
    """True area. [ha]"""
    return geodesic_area_ha(shape_of(drawing), WGS_84)


def _named(outlines: Iterable[Outline], what: str) -> list[Outline]:
    """Give those a name that have none."""
    named: list[Outline] = []
    for outline in outlines:
        taken = {other.name for other in named}
        number = next(number for number in count(1) if f"drawn {number}" not in taken)
        instead = {"boundary": "drawn field", "headland": "headland", "zone": f"drawn {number}"}
        named.append(replace(outline, name=outline.name or instead.get(what, "")))
    return named


def _called(number: int, outline: Outline, of: int) -> str:
    return "The outline" if of == 1 else f"Outline {number}, “{outline.name}”,"


def _with_holes(shapes: Sequence[Polygon]) -> Sequence[Polygon]:
    """Ground from outlines: one that lies inside another is a hole, one in a hole is ground.

    Their corners stay as they were drawn; only outlines that overlap are joined.
    """
    if any(one.equals(other) for one, other in combinations(shapes, 2)):
        raise LayerError("Two outlines of the boundary are the same: delete one of them.")
    if any(one.overlaps(other) for one, other in combinations(shapes, 2)):
        whole: BaseGeometry = MultiPolygon()
        for shape in sorted(shapes, key=lambda polygon: -polygon.area):
            whole = whole.difference(shape) if whole.covers(shape) else whole.union(shape)
        return polygons_in(whole)
    depths = _depths(shapes)
    return [
        Polygon(
            ground.exterior,
            [
                hole.exterior
                for hole, deep in zip(shapes, depths, strict=True)
                if deep == depth + 1 and _lies_in(hole, ground)
            ],
        )
        for ground, depth in zip(shapes, depths, strict=True)
        if depth % 2 == 0
    ]


def _depths(shapes: Sequence[Polygon]) -> list[int]:
    return [sum(_lies_in(one, other) for other in shapes) for one in shapes]


def _lies_in(one: Polygon, other: Polygon) -> bool:
    return one.area < other.area and bool(other.covers(one))


# ---- what is wrong with one ----------------------------------------------------------------------


def fault_of(outline: Outline, what: str, meets: Ground | None = None) -> str | None:
    """Say what is wrong with an outline, to follow on its name; None where nothing is.

    `what` it is of, and what ground it `meets`, are as in `drawn_from`.

    >>> fault_of(Outline("", ((-93.5, 42.0), (-93.49, 42.0))), "zone")
    'has 2 corners: an outline needs three at least. Draw it to its end, or delete it.'
    """
    return next(_faults(outline, what, meets), None)


def off_the_earth(outline: Outline) -> str | None:
    """Say which corner is no place; None where all are.

    >>> off_the_earth(Outline("", ((42.0, -93.5), (42.0, -93.4))))
    'has a corner at latitude -93.5: write latitude first, then longitude.'
    """
    for east, north in outline.corners:
        if not abs(north) <= 90:
            return f"has a corner at latitude {north:g}: write latitude first, then longitude."
        if not abs(east) <= 180:
            return f"has a corner at longitude {east:g}, which is no place on earth: correct it."
    if len({*outline.corners}) < 2:
        return "has only one corner: draw it to its end, or delete it."
    return None


def _faults(outline: Outline, what: str, meets: Ground | None) -> Iterator[str]:
    """The first is what matters: what follows rests on what went before."""
    if fault := off_the_earth(outline):
        yield fault
    if what == "soil" and outline.name not in TEXTURES:
        yield f"is of “{outline.name}”, which is no texture class. {_instead(outline.name)}"
    corners = len({*outline.corners})
    if corners < 3:
        yield (
            f"has {corners} corners: an outline needs three at least. "
            "Draw it to its end, or delete it."
        )
    shape = Polygon(outline.corners)
    if not isinstance(shape.convex_hull, Polygon):
        yield "encloses no ground: draw it again, or delete it."
    if not shape.is_valid:
        yield f"crosses itself{_where(shape)}: move the corners there until it crosses nowhere."
    area_ha = geodesic_area_ha(shape, WGS_84)
    if area_ha * M2_PER_HA < _LEAST_M2:
        yield f"encloses {area_ha * M2_PER_HA:.2g} m²: draw it larger, or delete it."
    if area_ha > MOST_HA and what != "soil":  # of which a field takes what it needs
        yield (
            f"encloses {area_ha / HA_PER_ACRE:,.0f} acres, more than any one field: "
            "zoom in, and draw it smaller."
        )
    if meets is not None and not shape.intersects(meets):
        other = "the soil layers" if what == "boundary" else "the field"
        yield f"lies {_apart_km(shape, meets):,.3g} km from {other}: move it there, or delete it."


def _instead(name: str) -> str:
    return nearest(name, TEXTURES) or f"Choose one of {', '.join(TEXTURES)}."


def _where(shape: Polygon) -> str:
    match = _SPOT.search(shapely.is_valid_reason(shape))
    return f" near {float(match[2]):.5f}, {float(match[1]):.5f}" if match else ""


def _apart_km(one: BaseGeometry, other: BaseGeometry) -> float:
    ends = shapely.get_coordinates(shapely.shortest_line(one, other))
    _, _, metres = WGS_84_GEOD.inv(*ends[0], *ends[1])
    return float(metres) / 1000
