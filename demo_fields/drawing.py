"""Ground drawn by hand in metres: smooth outlines, and shapes that share their edges exactly."""

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
import shapely
from pyproj import Transformer
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

Point = tuple[float, float]
GRID_M = 0.1  # every corner lies on this grid, so that neighbours meet in the same corners
DECIMALS = 9  # of a degree: a tenth of a millimetre


def smooth(points: Sequence[Point]) -> list[Point]:
    """Round a line off by cutting its corners twice (Chaikin); the ends stay."""
    for _ in range(2):
        points = [points[0], *_corners_cut(points), points[-1]]
    return list(points)


def blob(*points: Point) -> Polygon:
    """Close a line round a piece of ground, and round it off."""
    for _ in range(2):
        points = tuple(_corners_cut([*points, points[0]]))
    return Polygon(points)


def strip(points: Sequence[Point], width: float) -> Polygon:
    """A smooth way of one width, round at its ends."""
    return LineString(smooth(points)).buffer(width / 2, quad_segs=2)


def cut_out(block: Polygon, *taken: Polygon) -> Polygon | MultiPolygon:
    """Leave what remains of a block of land."""
    return shapely.difference(block, shapely.union_all(taken), grid_size=GRID_M)


def coverage(extent: Polygon, painted: Iterable[tuple[str, Polygon]]) -> list[tuple[str, Polygon]]:
    """Tile the extent: where painted shapes lie over each other, the last one shows.

    All outlines are cut at every crossing first, so that two neighbours have the very
    same corners along the edge they share.
    """
    painted = list(painted)
    outlines = [extent.boundary, *(shape.boundary for _, shape in painted)]
    faces = shapely.polygonize([shapely.union_all(outlines, grid_size=GRID_M)]).geoms
    tiles: dict[str, list[Polygon]] = {}
    for face in faces:
        inside = face.representative_point()
        if extent.contains(inside):
            shown = [symbol for symbol, shape in painted if shape.contains(inside)][-1]
            tiles.setdefault(shown, []).append(face)
    merged = [
        (symbol, part)
        for symbol, parts in tiles.items()
        for part in shapely.get_parts(shapely.union_all(parts))
    ]
    return sorted(merged, key=lambda tile: (tile[0], tile[1].bounds))


def to_degrees(shape: BaseGeometry, middle: Point) -> BaseGeometry:
    """Lay a shape in metres round its (longitude, latitude) middle, equal in area, on WGS 84."""
    longitude, latitude = middle
    local = f"+proj=laea +lat_0={latitude} +lon_0={longitude} +datum=WGS84 +units=m"
    project = Transformer.from_crs(local, "EPSG:4326", always_xy=True)

    def moved(xy):
        degrees = project.transform(xy[:, 0], xy[:, 1])
        return np.column_stack(degrees).round(DECIMALS)

    return shapely.transform(shape, moved).normalize()


def _corners_cut(points: Sequence[Point]) -> list[Point]:
    """Keep the points a quarter and three quarters along each piece of a line."""
    return [
        (x + share * (next_x - x), y + share * (next_y - y))
        for (x, y), (next_x, next_y) in pairwise(points)
        for share in (0.25, 0.75)
    ]
