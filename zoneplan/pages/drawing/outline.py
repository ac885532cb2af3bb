"""One outline or line as a person draws it: on the map, or corner by corner as text."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from shapely.geometry import LineString, Point, Polygon, box, shape

from zoneplan.errors import LayerError, listed
from zoneplan.field.crs import WGS_84, local_crs, move
from zoneplan.units import HA_PER_ACRE, M2_PER_HA
from zoneplan.zones.edit import Point as Corner

PLACES = 7  # decimals of a degree: a centimetre
_CORNER = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*[,;\s]\s*([-+]?\d+(?:\.\d+)?)\s*")


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
            outlines.append(Outline(name, rounded(geometry.exterior.coords[:-1])))
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
                outlines.append(Outline(name, rounded(corners)))
                name, corners = "", []
            name = line.removesuffix(":").strip() or name
    stop_for(faults, "What is typed")
    return outlines


def square(north: float, east: float, acres: float, name: str) -> Outline:
    """A square about a place, to begin with. Latitude and longitude in degrees."""
    metric = local_crs(Point(east, north))
    half_m = math.sqrt(acres * HA_PER_ACRE * M2_PER_HA) / 2
    outline = move(box(-half_m, -half_m, half_m, half_m), metric, WGS_84)
    return Outline(name, rounded(outline.exterior.coords[:-1]))


def thinned(outline: Outline, within_m: float) -> Outline:
    """Leave out corners, so that no part of the edge moves by more than this. [m]

    An outline too small for that stays as it is.
    """
    closed = LineString([*outline.corners, outline.corners[0]])
    metric = local_crs(closed)
    thin = move(move(closed, WGS_84, metric).simplify(within_m), metric, WGS_84)
    corners = rounded(thin.coords[:-1])
    return Outline(outline.name, corners) if len(corners) > 2 else outline


def rounded(corners: Iterable[Sequence[float]]) -> tuple[Corner, ...]:
    """Corners to a centimetre, each once where it follows on itself."""
    points = [(round(east, PLACES), round(north, PLACES)) for east, north, *_ in corners]
    return tuple(at for place, at in enumerate(points) if place == 0 or at != points[place - 1])


def stop_for(faults: Sequence[str], subject: str) -> None:
    """Tell what is wrong with a drawing, all at once.

    Raises
    ------
    LayerError
        Where anything is.
    """
    if faults:
        raise LayerError(faults[0] if len(faults) == 1 else listed(subject, faults))
