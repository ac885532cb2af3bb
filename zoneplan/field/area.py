"""True areas, on the WGS 84 ellipsoid."""

from pyproj import CRS, Geod
from shapely import get_parts
from shapely.geometry import LinearRing, MultiPolygon, Polygon

from zoneplan.field.crs import WGS_84, move
from zoneplan.units import M2_PER_HA

WGS_84_GEOD = Geod(ellps="WGS84")


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
    area_m2 = sum(
        _ring_area_m2(part.exterior) - sum(map(_ring_area_m2, part.interiors))
        for part in get_parts(move(shape, crs, WGS_84))
    )
    return float(area_m2) / M2_PER_HA


def _ring_area_m2(ring: LinearRing) -> float:
    longitudes, latitudes = ring.coords.xy
    area_m2, _ = WGS_84_GEOD.polygon_area_perimeter(longitudes, latitudes)
    return abs(float(area_m2))
