"""Outlines that tile a field: their order, who borders whom, merged, and split along a line."""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.tiles import GRID_M, HAIRLINE_M, stretches_of

_Shapes = NDArray[np.object_]
_DIGITS = 4  # of a metre
_BEYOND_M = 0.1  # past a zone's edge, so that rounding leaves no neck; less than a hairline


def north_to_south(shapes: _Shapes) -> NDArray[np.intp]:
    """Order of shapes from north to south, then west to east, by a point inside each.

    >>> north_to_south(np.array([shapely.box(4, 0, 6, 2), shapely.box(0, 0, 2, 2)])).tolist()
    [1, 0]
    """
    # From their own corner and to a tenth of a millimetre, or rounding would decide where in a
    # shape the point is, and between two that lie side by side.
    south_west = shapely.total_bounds(shapes)[:2]
    there = shapely.transform(shapes, lambda corners: (corners - south_west).round(_DIGITS))
    inside = shapely.point_on_surface(there)
    return np.lexsort([shapely.get_x(inside), -shapely.get_y(inside).round(_DIGITS)])


def border_lengths(shapes: _Shapes) -> dict[tuple[int, int], float]:
    """Length of the border that each two neighbours share. [m]

    Parameters
    ----------
    shapes : array of Polygon
        A valid coverage: neighbours have every vertex of their shared border in
        common, so that a stretch of border is the same segment in both.

    Returns
    -------
    dict
        Length by a pair of indices, the lower first. Shapes that meet only in a
        point, or not at all, have no entry.

    Examples
    --------
    >>> row = np.array([shapely.box(0, 0, 1, 2), shapely.box(1, 0, 2, 2), shapely.box(2, 2, 3, 3)])
    >>> border_lengths(row)
    {(0, 1): 2.0}
    """
    shared = stretches_of(shapes)
    pairs, which = np.unique(shared.owners @ [len(shapes), 1], return_inverse=True)
    metres = np.bincount(which, weights=shared.metres, minlength=len(pairs))
    return {
        divmod(pair, len(shapes)): length
        for pair, length in zip(pairs.tolist(), metres.tolist(), strict=True)
    }


def whole(shapes: _Shapes) -> Polygon:
    """Join shapes that border each other; every vertex stays where it was.

    >>> whole(np.array([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)])).area
    2.0
    """
    outline = shapely.normalize(shapely.coverage_union_all(shapes))
    assert isinstance(outline, Polygon)
    return outline


def within(line: BaseGeometry, shape: Polygon) -> BaseGeometry:
    """The stretches of a line that run through a shape, from edge to edge where it does.

    >>> from shapely.geometry import LineString
    >>> within(LineString([(-5, 1), (9, 1)]), shapely.box(0, 0, 4, 2)).bounds
    (-0.1, 1.0, 4.1, 1.0)
    """
    stretches: BaseGeometry = shapely.intersection(line, shape.buffer(_BEYOND_M))
    return stretches


def split(shapes: _Shapes, line: BaseGeometry) -> tuple[_Shapes, NDArray[np.intp]]:
    """Part every shape that a line crosses from edge to edge.

    Parameters
    ----------
    shapes : array of Polygon
        A valid coverage.
    line : LineString or MultiLineString
        In the same metric system. An end inside a shape parts nothing; nor does a stretch
        that leaves less than a hairline between it and an edge.

    Returns
    -------
    tuple
        The shapes and their parts, a valid coverage again; and which shape each is of. Where
        nothing is split, the shapes as they came.

    Examples
    --------
    >>> from shapely.geometry import LineString
    >>> row = np.array([shapely.box(0, 0, 4, 2), shapely.box(4, 0, 8, 2)])
    >>> parts, of = split(row, LineString([(3, -1), (3, 1)]))
    >>> of.tolist()
    [0, 1]
    >>> parts, of = split(row, LineString([(3, -1), (3, 3)]))
    >>> shapely.area(parts).tolist(), of.tolist()
    ([6.0, 2.0, 8.0], [0, 0, 1])
    """
    as_they_came = shapes, np.arange(len(shapes))
    near = line.intersection(shapely.box(*shapely.total_bounds(shapes)).buffer(1.0))
    if near.length == 0:
        return as_they_came
    noded = shapely.union_all([*shapely.boundary(shapes), near], grid_size=GRID_M)
    faces = shapely.normalize(shapely.get_parts(shapely.polygonize([noded])))
    points = shapely.point_on_surface(faces)
    face, shape = shapely.STRtree(shapes).query(points, predicate="within")
    parts = [(part, of) for of in range(len(shapes)) for part in _wide(faces[face[shape == of]])]
    if len(parts) == len(shapes):
        return as_they_came
    new_shapes, of_shape = zip(*parts, strict=True)
    return np.array(new_shapes, dtype=object), np.array(of_shape)


def merge(one: Polygon, other: Polygon) -> Polygon | None:
    """Join two of a coverage; None where they share no border, or only a corner.

    >>> merge(shapely.box(0, 0, 1, 1), shapely.box(1, 0, 3, 1)).area
    3.0
    >>> merge(shapely.box(0, 0, 1, 1), shapely.box(1, 1, 2, 2)) is None
    True
    """
    both = np.array([one, other], dtype=object)
    return whole(both) if border_lengths(both) else None


def holder(shapes: _Shapes, place: Point) -> int | None:
    """Index of the shape that holds a place, but for a hairline; None where there is none.

    >>> holder(np.array([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 3, 1)]), Point(2, 0.5))
    1
    """
    if not np.isfinite(shapely.get_coordinates(place)).all():  # nowhere on this side of the earth
        return None
    off_m = shapely.distance(shapes, place)
    nearest = int(off_m.argmin())
    return nearest if off_m[nearest] < HAIRLINE_M else None


def _wide(faces: _Shapes) -> list[Polygon]:
    """The parts of one shape, each hairline with the part that it has the longest border with."""
    parts = sorted(faces, key=_width_m, reverse=True)
    while len(parts) > 1 and _width_m(parts[-1]) < HAIRLINE_M:
        borders_m = border_lengths(np.array(parts, dtype=object))
        thin = len(parts) - 1
        near, _ = max((pair for pair in borders_m if thin in pair), key=borders_m.__getitem__)
        parts[near] = whole(np.array([parts[near], parts.pop()], dtype=object))
        parts.sort(key=_width_m, reverse=True)
    return parts


def _width_m(shape: Polygon) -> float:
    """Mean width of a strip of such an area and outline."""
    return float(2 * shape.area / shape.length)
