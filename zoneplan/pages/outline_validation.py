"""What can be wrong with an outline that was drawn, each in a sentence with what to do."""

import re
from collections.abc import Iterator

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import nearest
from zoneplan.field.area import WGS_84_GEOD, geodesic_area_ha
from zoneplan.field.crs import WGS_84
from zoneplan.field.outline import MOST_HA
from zoneplan.pages.outline import Outline
from zoneplan.soil.texture import TEXTURES
from zoneplan.units import HA_PER_ACRE, M2_PER_HA

LEAST_M2 = 1.0  # judged: less is a slip of the hand
_SPOT = re.compile(r"\[(\S+) (\S+)\]")  # where shapely says that a shape is wrong


def fault_of(
    outline: Outline, what: str, meets: Polygon | MultiPolygon | None = None
) -> str | None:
    """Say what is wrong with an outline, to follow on its name; None where nothing is.

    `what` it is of, and what ground it `meets`, are as in `drawing.drawn_from`.

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


def _faults(outline: Outline, what: str, meets: Polygon | MultiPolygon | None) -> Iterator[str]:
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
        yield "encloses no ground: draw it anew, or delete it."
    if not shape.is_valid:
        yield f"crosses itself{_where(shape)}: move the corners there until it crosses nowhere."
    area_ha = geodesic_area_ha(shape, WGS_84)
    if area_ha * M2_PER_HA < LEAST_M2:
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
    found = _SPOT.search(shapely.is_valid_reason(shape))
    return f" near {float(found[2]):.5f}, {float(found[1]):.5f}" if found else ""


def _apart_km(one: BaseGeometry, other: BaseGeometry) -> float:
    ends = shapely.get_coordinates(shapely.shortest_line(one, other))
    _, _, metres = WGS_84_GEOD.inv(*ends[0], *ends[1])
    return float(metres) / 1000
