"""Coordinate systems: degrees, a field's own metres, the way between; and true areas."""

import math
import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Any, TypeVar, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod, Transformer
from pyproj.enums import TransformDirection
from pyproj.exceptions import CRSError, ProjError
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError, quoted
from zoneplan.units import M2_PER_HA

# A system may lead its library to files: of grids, or of more words. None we know needs that.
_POINTS_AT_FILE = re.compile(r"\binit\s*=\s*(?!epsg:)|grids\s*=\s*(?!@null)|\x00", re.I)
WGS_84 = "EPSG:4326"  # always longitude first here
WGS_84_GEOD = Geod(ellps="WGS84")
# WORKED: a degree of latitude is longest at the poles, a² / b · π / 180 on the ellipsoid.
LONGEST_DEGREE_M = 111_694.0
Box = tuple[float, float, float, float]  # west, south, east, north; WGS 84 degrees
_DATUMS = ((32600, 32700), (26900, 0), (25800, 0))  # WGS 84 north and south, NAD83, ETRS89
_NEAR_DEG = 0.5  # of latitude: a zone's neighbour is off by hundreds of kilometres
_LOCAL = re.compile(r"\+proj=laea \+lat_0=\S+ \+lon_0=\S+ \+datum=WGS84 \+units=m \+no_defs")
Shape = TypeVar("Shape", bound=BaseGeometry | NDArray[np.object_])  # one, or many at once


def known_crs(code: str) -> CRS:
    """Look up the coordinate system a user names.

    Raises
    ------
    LayerError
        When there is no such system on the earth's surface.
    """
    try:
        if not isinstance(code, str) or _POINTS_AT_FILE.search(code):
            raise CRSError("it names a file")
        crs = CRS.from_user_input(code)
    except (CRSError, UnicodeError) as fault:
        raise LayerError(
            f"{quoted(code)} is not a coordinate system we know.\n"
            "Write it as a code, such as EPSG:4326 for degrees.",
            code="crs-unknown",
            parameter="crs",
            example="EPSG:4326",
        ) from fault
    return crs


def check_movable(crs: CRS, source: str) -> None:
    """Refuse a coordinate system that nobody knows the way from to longitude and latitude.

    Raises
    ------
    LayerError
        Naming the file it is of.
    """
    try:
        _transformer(crs, CRS(WGS_84))
    except ProjError as fault:
        raise LayerError(
            f"{source} states a coordinate system with no way to degrees: {quoted(crs.name)}.\n"
            "We cannot tell where the field lies.\n"
            "Export it again in degrees (EPSG:4326)."
        ) from fault


def box_in(crs: CRS, bbox: Box) -> tuple[float, float, float, float] | None:
    """The box of another system that holds a box in degrees; None where nobody knows the way."""
    west, south, east, north = bbox
    edge = shapely.segmentize(shapely.box(west, south, east, north), (east - west) / 8 or 1.0)
    try:
        window = move(edge, WGS_84, crs).bounds
    except ProjError:
        return None
    return window if np.isfinite(window).all() else None


def local_crs(shape: BaseGeometry) -> str:
    """Give the metric system of a field: Lambert azimuthal equal-area, centred on it.

    `shape` is in WGS 84 degrees. The centre is that of its bounds, which an outline that
    crosses itself has too.

    >>> from shapely.geometry import Point
    >>> local_crs(Point(-93.5, 42))
    '+proj=laea +lat_0=42.000000 +lon_0=-93.500000 +datum=WGS84 +units=m +no_defs'
    """
    centre = shape.envelope.centroid
    return f"+proj=laea +lat_0={centre.y:.6f} +lon_0={centre.x:.6f} +datum=WGS84 +units=m +no_defs"


def move(shape: Shape, source: str | CRS, target: str | CRS) -> Shape:
    """Take a shape from one coordinate system to another, corner by corner.

    Edges stay straight between their corners. Along a parallel at 42° latitude that
    bends an edge of 800 m by 1 cm and one of 2 km by 7 cm, far less than any boundary
    is known to.
    """

    def moved(corners: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(move_points(corners[:, 0], corners[:, 1], source, target))

    there: Shape = shapely.transform(cast(Any, shape), moved)
    return there


def move_points(
    x: NDArray[np.float64], y: NDArray[np.float64], source: str | CRS, target: str | CRS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Take points from one coordinate system to another."""
    for transformer, direction in _way(_code(source), _code(target)):
        x, y = transformer.transform(x, y, direction=direction)
    return x, y


def _code(crs: str | CRS) -> str:
    return crs if isinstance(crs, str) else str(crs.srs).removesuffix(" +type=crs")


@lru_cache(maxsize=64)
def _way(source: str, target: str) -> tuple[tuple[Transformer, TransformDirection], ...]:
    """The steps from one system to another, a field's own always by way of degrees.

    Its system is no more than an equation on WGS 84; to look for better ways, as is done between
    two others, takes a hundred times as long.
    """
    if source == target:
        return ()
    local = [_LOCAL.fullmatch(code) for code in (source, target)]
    if not any(local):
        return ((_transformer(CRS(source), CRS(target)), TransformDirection.FORWARD),)
    if source == WGS_84:
        return ((_projection(target), TransformDirection.FORWARD),)
    if target == WGS_84:
        return ((_projection(source), TransformDirection.INVERSE),)
    return (*_way(source, WGS_84), *_way(WGS_84, target))


def _projection(local: str) -> Transformer:
    """From degrees to a field's own system."""
    place = " ".join(local.split()[:3])
    return Transformer.from_pipeline(
        f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step {place} +ellps=WGS84"
    )


@lru_cache(maxsize=64)
def _transformer(source: CRS, target: CRS) -> Transformer:
    return Transformer.from_crs(source, target, always_xy=True)


def utm_zone(longitude_deg: float) -> int:
    """Number the zone of the UTM system that a place lies in.

    >>> utm_zone(-180), utm_zone(-93.5), utm_zone(180)
    (1, 15, 60)
    """
    return min(int((longitude_deg + 180) // 6) + 1, 60)


def fitting_systems(bounds: Box, near: Box | None) -> list[str]:
    """Name the systems in which bounds are on earth, and near other ground where that is known.

    `near` is in degrees: where the soil lies. Without it only degrees can be told. The likeliest
    comes first; none where nothing fits.

    Examples
    --------
    >>> fitting_systems((-93.6, 41.9, -93.5, 42.0), None)
    ['EPSG:4326']
    >>> fitting_systems((447000, 4650000, 448000, 4651000), (-93.7, 41.9, -93.5, 42.1))
    ['EPSG:32615', 'EPSG:26915']
    """
    west, south, east, north = bounds
    if max(abs(west), abs(east)) <= 180 and max(abs(south), abs(north)) <= 90:
        return [WGS_84]
    if near is None:
        return []
    middle = shapely.box(*bounds).centroid
    home = shapely.box(*near).centroid
    reach = _NEAR_DEG + max(near[2] - near[0], near[3] - near[1])
    zone = utm_zone(home.x)
    codes = [
        datum + number
        for datum in (_DATUMS[0][home.y < 0], *(first for first, _ in _DATUMS[1:]))
        for number in (zone, zone - 1, zone + 1)
        if 1 <= number <= 60
    ]
    return [f"EPSG:{code}" for code in codes if _lands(middle, code, home, reach)]


def _lands(middle: BaseGeometry, code: int, home: BaseGeometry, reach_deg: float) -> bool:
    try:
        system = known_crs(f"EPSG:{code}")
        return bool(move(middle, system, WGS_84).distance(home) <= reach_deg)
    except (LayerError, ValueError):
        return False


def geodesic_area_ha(shape: Polygon | MultiPolygon, crs: str | CRS) -> float:
    """Area on the ellipsoid, with geodesics for edges: outlines less holes. [ha]

    Rings may wind either way. A ring that crosses itself counts its loops against each
    other, so a repair that changes the ground changes this number.

    Source
    ------
    Karney (2013), "Algorithms for geodesics", J. Geodesy 87:43-55,
    doi:10.1007/s00190-012-0578-z, as PROJ carries it.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> round(geodesic_area_ha(box(-93.50, 42.00, -93.49, 42.01), "EPSG:4326"), 2)
    92.02
    """
    return geodesic_areas_ha([shape], crs)[0]


def geodesic_areas_ha(shapes: Sequence[BaseGeometry], crs: str | CRS) -> list[float]:
    """Areas of many shapes as `geodesic_area_ha` takes them, moved all at once. [ha]."""
    moved = move(np.array(shapes, dtype=object), crs, WGS_84)
    return [sum(map(_area_m2, shapely.get_parts(shape))) / M2_PER_HA for shape in moved]


def _area_m2(part: Polygon) -> float:
    rings = [shapely.get_coordinates(ring).T for ring in shapely.get_rings(part)]
    areas_m2 = [abs(float(WGS_84_GEOD.polygon_area_perimeter(*ring)[0])) for ring in rings]
    return areas_m2[0] - sum(areas_m2[1:]) if areas_m2 else 0.0


def in_degrees(shape: BaseGeometry, crs: str, decimals: int) -> BaseGeometry:
    """Give polygons in longitude and latitude, rounded, still valid, outlines counter-clockwise.

    A corner that two zones share is rounded alike in both, so they stay neighbours without a gap.
    Of the decimals of a degree 7 are about a centimetre, 9 a tenth of a millimetre.
    """

    def rounded(corners: NDArray[np.float64]) -> NDArray[np.float64]:
        return corners.round(decimals)

    geometry = shapely.transform(move(shape, crs, WGS_84), rounded)
    if not geometry.is_valid:  # a hole that touched its outline may now cross it by a hair
        repaired = shapely.make_valid(geometry, method="structure", keep_collapsed=False)
        geometry = shapely.set_precision(repaired, 10.0**-decimals)
    return shapely.orient_polygons(geometry)


def slack_m(decimals: int) -> float:
    """Give the most that rounding can move a corner: half the last place, both ways. [m].

    Times the length of an outline, it is the most that rounding can change an area. [m²]

    >>> round(slack_m(7), 4)
    0.0079
    """
    return math.hypot(0.5, 0.5) * 10.0**-decimals * LONGEST_DEGREE_M


def distance_m(one: BaseGeometry, other: BaseGeometry) -> float:
    """How far two shapes in WGS 84 degrees are apart. [m].

    >>> round(distance_m(shapely.Point(-93.5, 42), shapely.Point(-93.5, 42.01)))
    1111
    """
    ends = shapely.get_coordinates(shapely.shortest_line(one, other))
    return float(WGS_84_GEOD.inv(*ends[0], *ends[1])[2])


def extent(bounds: Sequence[float]) -> str:
    """Say bounds in degrees.

    >>> extent((-93.5, 42.0, -93.49, 42.01))
    'longitude -93.5000 to -93.4900, latitude 42.0000 to 42.0100'
    """
    west, south, east, north = bounds
    return f"longitude {west:.4f} to {east:.4f}, latitude {south:.4f} to {north:.4f}"
