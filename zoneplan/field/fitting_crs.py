"""Which coordinate systems would put an outline that states none near what does."""

from math import floor

from shapely.geometry import Point

from zoneplan.errors import LayerError
from zoneplan.field.crs import WGS_84, Box, known_crs, move

_DATUMS = ((32600, 32700), (26900, 0), (25800, 0))  # WGS 84 north and south, NAD83, ETRS89
_NEAR_DEG = 0.5  # of latitude: a zone's neighbour is off by hundreds of kilometres


def fitting_systems(bounds: Box, near: Box | None) -> list[str]:
    """Name the systems in which bounds are on earth, and near other ground where that is known.

    Parameters
    ----------
    bounds : tuple
        West, south, east, north, in the system that is not known.
    near : tuple, optional
        In degrees: where the soil lies. Without it only degrees can be told.

    Returns
    -------
    list of str
        As "EPSG:32615", the likeliest first; empty where nothing fits.

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
    middle = Point((west + east) / 2, (south + north) / 2)
    home = Point((near[0] + near[2]) / 2, (near[1] + near[3]) / 2)
    reach = _NEAR_DEG + max(near[2] - near[0], near[3] - near[1])
    zone = floor((home.x + 180) / 6) + 1
    codes = [
        datum + number
        for datum in (_DATUMS[0][home.y < 0], *(first for first, _ in _DATUMS[1:]))
        for number in (zone, zone - 1, zone + 1)
        if 1 <= number <= 60
    ]
    return [f"EPSG:{code}" for code in codes if _lands(middle, code, home, reach)]


def _lands(middle: Point, code: int, home: Point, reach_deg: float) -> bool:
    try:
        system = known_crs(f"EPSG:{code}")
        return bool(move(middle, system, WGS_84).distance(home) <= reach_deg)
    except (LayerError, ValueError):
        return False
