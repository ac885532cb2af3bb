"""The ground that a service is asked about: outlines alone, together or in halves; and in tiles."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import shapely
from shapely.geometry import MultiPolygon, box
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import ServiceError
from zoneplan.field.crs import WGS_84, move, utm_zone
from zoneplan.field.shapes import Field, polygons_in

GROWN_M = 30.0  # so that an edge drawn a little differently tomorrow is covered too
SIMPLIFIED_M = 2.0  # corners that change the grown outline by less are not sent
MOST_CORNERS = 500  # that are sent; an outline with more goes as its box
MOST_SPAN_M = 40_000.0  # judged: a farm's fields lie nearer than that, a county is as wide
DECIMALS = 7  # of a degree: about a centimetre
MOST_TOGETHER = 25  # fields of one question
NEAR_DEG = 0.5  # how far apart the fields of one question may lie
_SMOOTH = 2  # corners in a quarter of the circle that the outline grows by
MOST_CELLS = 2000  # of a tile, across or down: more was seen to fail
CELLS_M = (1, 2, 3, 5, 10)  # widths that are tried, the finest first
MOST_TILES = 4  # at a width; with more the next width is taken
_LAST_NAD83_ZONE = 23
_NAD83, _WGS84_NORTH, _WGS84_SOUTH = 26900, 32600, 32700  # UTM: the code is this and the zone


@dataclass(frozen=True)
class Tile:
    """Ground to ask for at once, in metres of its system."""

    west: float
    south: float
    east: float
    north: float
    code: int  # EPSG
    cell_m: int

    @property
    def size(self) -> tuple[int, int]:
        """Cells across and down."""
        across, down = (self.east - self.west), (self.north - self.south)
        return round(across / self.cell_m), round(down / self.cell_m)


def asked_outline(field: Field) -> MultiPolygon:
    """Give the ground to ask about, in WGS 84 degrees: the outline grown by GROWN_M.

    It holds the whole field, with no more than MOST_CORNERS corners.

    Raises
    ------
    ServiceError
        When no public survey of the United States reaches there, or it spans too much.
    """
    check_cover(field)
    grown = field.shape.buffer(GROWN_M, quad_segs=_SMOOTH).simplify(SIMPLIFIED_M)
    if shapely.get_num_coordinates(grown) > MOST_CORNERS:
        grown = box(*grown.bounds)
    degrees = shapely.set_precision(move(grown, field.crs, WGS_84), 10.0**-DECIMALS)
    return areas_of(degrees)


def areas_of(shape: BaseGeometry) -> MultiPolygon:
    """Keep the areas of a shape: what else is left where a map was cut is no ground."""
    return MultiPolygon(polygons_in(shapely.make_valid(shape)))


def check_cover(field: Field) -> None:
    """Refuse ground that a survey of the United States cannot know, before anything is sent.

    Raises
    ------
    ServiceError
        When the outline lies in no part of the United States, or spans more than MOST_SPAN_M.

    Notes
    -----
    The outline of the country is coarse: within 0.05 degrees of its edge the service itself
    is asked. It holds the country's share of the Great Lakes, where the service knows no soil.

    Source
    ------
    Natural Earth, 1:10m countries, public domain.
    """
    west, south, east, north = field.shape.bounds
    span_m = max(east - west, north - south)
    if span_m > MOST_SPAN_M:
        raise ServiceError(
            f"{field.name} spans {span_m / 1000:,.0f} km, more than the "
            f"{MOST_SPAN_M / 1000:.0f} km that one field may.\n"
            "Nothing was sent: its parts are of several counties, or one lies where it should not."
            "\nGive each field by itself; of a file that holds several, say which one.",
            code="outline-too-wide",
            parameter="pick",
            example="3",
        )
    outline = move(field.shape, field.crs, WGS_84)
    if outline.intersects(_united_states()):
        return
    place = outline.representative_point()
    swapped = _united_states().intersects(shapely.Point(place.y, place.x))
    hint = " Its longitude and latitude look swapped." if swapped else ""
    raise ServiceError(
        f"{field.name} lies at longitude {place.x:.4f}, latitude {place.y:.4f}: outside the United "
        f"States, or over open water.{hint}\n"
        "The public services know no ground there, so nothing was sent.\n"
        "Check the boundary and its coordinate system; elsewhere, give a soil layer of your own.",
        code="outline-outside",
    )


def together(outlines: Iterable[MultiPolygon]) -> MultiPolygon:
    """Lay outlines together."""
    return areas_of(shapely.union_all([*outlines]))


def groups_of(outlines: Mapping[int, MultiPolygon]) -> list[tuple[int, ...]]:
    """Put neighbours together, so many and so near that one question serves them."""
    places = gpd.GeoSeries(outlines, dtype="geometry")
    if places.empty:
        return []
    groups: list[list[int]] = []
    for number in places.hilbert_distance().sort_values(kind="stable").index:
        joined = [*(groups[-1] if groups else []), int(number)]
        west, south, east, north = places.loc[joined].total_bounds
        if groups and len(joined) <= MOST_TOGETHER and max(east - west, north - south) <= NEAR_DEG:
            groups[-1] = joined
        else:
            groups.append([int(number)])
    return [tuple(sorted(group)) for group in groups]


def halves_of(outline: MultiPolygon) -> list[MultiPolygon]:
    """Cut an outline in two, across its longer side."""
    west, south, east, north = outline.bounds
    x, y = (west + east) / 2, (south + north) / 2
    halves = (
        (box(west, south, x, north), box(x, south, east, north))
        if east - west > north - south
        else (box(west, south, east, y), box(west, y, east, north))
    )
    parts = (areas_of(outline.intersection(half)) for half in halves)
    return [part for part in parts if part.area]


@lru_cache(maxsize=1)
def _united_states() -> BaseGeometry:
    feature = json.loads(Path(__file__).with_name("united_states.geojson").read_text("utf-8"))
    country: BaseGeometry = shapely.from_geojson(json.dumps(feature["geometry"]))
    shapely.prepare(country)
    return country


def tiles_of(field: Field, around_m: float) -> list[Tile]:
    """Lay tiles over a field and the ground around it, in metres, on whole cells.

    They are of the finest cells that MOST_TILES can hold, or else of the widest.
    """
    code = _system(field)
    around = move(field.shape, field.crs, f"EPSG:{code}").buffer(around_m).bounds
    for cell_m in CELLS_M:
        west, south = (math.floor(side / cell_m) for side in around[:2])
        east, north = (math.ceil(side / cell_m) for side in around[2:])
        across = math.ceil((east - west) / MOST_CELLS)
        down = math.ceil((north - south) / MOST_CELLS)
        if across * down <= MOST_TILES or cell_m == CELLS_M[-1]:
            columns, rows = _edges(west, east, across), _edges(south, north, down)
            return [
                Tile(left * cell_m, bottom * cell_m, right * cell_m, top * cell_m, code, cell_m)
                for bottom, top in pairwise(rows)
                for left, right in pairwise(columns)
            ]
    raise AssertionError("the widest cells are always taken")


def quarters_of(tile: Tile) -> list[Tile]:
    """Cut a tile in four, on whole cells."""
    across, down = tile.size
    x = tile.west + across // 2 * tile.cell_m
    y = tile.south + down // 2 * tile.cell_m
    return [
        Tile(west, south, east, north, tile.code, tile.cell_m)
        for west, east in ((tile.west, x), (x, tile.east))
        for south, north in ((tile.south, y), (y, tile.north))
    ]


def _system(field: Field) -> int:
    """The code of the UTM zone that a field lies in: NAD 83 where that has it."""
    place = move(field.shape, field.crs, WGS_84).envelope.centroid
    zone = utm_zone(place.x)
    if place.y > 0 and zone <= _LAST_NAD83_ZONE:
        return _NAD83 + zone
    return (_WGS84_NORTH if place.y > 0 else _WGS84_SOUTH) + zone


def _edges(first: int, last: int, parts: int) -> list[int]:
    return [first + (last - first) * part // parts for part in range(parts + 1)]
