"""Polygons side by side: whether they tile a field, and the stretches of outline that two share.

Where a map's polygons fit each other, as those of surveys do, it is cut to a field the short way:
nothing needs to be noded, polygons inside the field stay as they are, and the others are cut along
its edge. It is tried, and taken only where the parts turn out to tile the field.
"""

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.shapes import SAME_AREA

GRID_M = 1e-7  # corners are put on a grid this fine, so that lines that should meet do
HAIRLINE_M = 0.2  # degrees with six decimals are good to 0.1 m; nobody maps soil so narrow
_Shapes = NDArray[np.object_]
_Points = NDArray[np.float64]


class Tiles(NamedTuple):
    """Parts of polygons that tile a field."""

    shapes: _Shapes  # Polygons that share every corner of their borders
    owners: NDArray[np.intp]  # the polygon that each is of, in order
    closed_m2: NDArray[np.float64]  # the area of each hairline that went to what lies beside it


def tiles(field: Polygon | MultiPolygon, outlines: _Shapes) -> Tiles | None:
    """Cut polygons to a field, all in its metric system; None where their parts do not tile it."""
    ground = shapely.set_precision(field, GRID_M)
    shapely.prepare(ground)
    near = np.flatnonzero(shapely.intersects(ground, outlines))
    parts = shapely.set_precision(outlines[near], GRID_M, mode="pointwise")
    if not shapely.is_valid(parts).all():
        return None
    across = ~shapely.contains_properly(ground, parts)
    parts[across] = _inside(ground, parts[across])
    shapes, of = shapely.get_parts(parts, return_index=True)
    areas_m2 = shapely.area(shapes)
    areal = areas_m2 > 0
    shapes, owners, areas_m2 = shapes[areal], near[of[areal]], areas_m2[areal]
    filled = abs(areas_m2.sum() - field.area) <= SAME_AREA * field.area
    if not filled or not _fit(shapes, ground):
        return None
    order = np.argsort(owners, kind="stable")
    shapes, owners, areas_m2 = shapes[order], owners[order], areas_m2[order]
    if (2 * areas_m2 >= HAIRLINE_M * shapely.length(shapes)).all():
        return Tiles(shapes, owners, areas_m2[:0])
    return _closed(shapes, owners, areas_m2)


def _inside(ground: Polygon | MultiPolygon, parts: _Shapes) -> _Shapes:
    """What of each lies inside the field.

    What is on a grid is cut on it, which takes three times as long as cutting first. Whether
    cutting first did harm is seen from what comes out.
    """
    cut = shapely.intersection(shapely.set_precision(parts, 0), shapely.set_precision(ground, 0))
    cut = shapely.set_precision(cut, GRID_M, mode="pointwise")
    if shapely.is_valid(cut).all():
        return cut
    return shapely.intersection(parts, ground, grid_size=GRID_M)


def _fit(shapes: _Shapes, ground: Polygon | MultiPolygon) -> bool:
    """Whether parts of a field that are as large as it together lie in it side by side.

    So they do where every stretch of an outline is shared by two of them, or is the field's own
    edge, of which none is missing. For where an odd number of parts lie over a place, that number
    can only change along what is not shared, so everywhere it is odd; and as the areas add up, it
    is one.
    """
    outlines = stretches_of(shapes)
    alone_m = np.hypot(*(outlines.lone[:, 1] - outlines.lone[:, 0]).T).sum()
    if not outlines.twofold or abs(alone_m - ground.length) > SAME_AREA * ground.length:
        return False
    edge: BaseGeometry = ground.boundary
    shapely.prepare(edge)
    corners = outlines.lone.reshape(-1, 2)
    own = np.isin(corner_numbers(corners), corner_numbers(shapely.get_coordinates(edge)))
    return bool(shapely.dwithin(shapely.points(corners[~own]), edge, 2 * GRID_M).all())


def _closed(shapes: _Shapes, owners: NDArray[np.intp], areas_m2: NDArray[np.float64]) -> Tiles:
    """Give hairlines to what lies beside them."""
    from_shape = past_hairlines(shapes)
    closed = from_shape != np.arange(len(shapes))
    owners = owners[from_shape]
    takers = np.unique(owners[closed])
    stay = ~np.isin(owners, takers)
    whole = [shapely.coverage_union_all(shapes[owners == taker]) for taker in takers]
    grown, at = shapely.get_parts(np.array(whole, dtype=object), return_index=True)
    owners = np.concatenate([owners[stay], takers[at]])
    order = np.argsort(owners, kind="stable")
    return Tiles(np.concatenate([shapes[stay], grown])[order], owners[order], areas_m2[closed])


def past_hairlines(faces: _Shapes) -> NDArray[np.intp]:
    """Number the face that each face takes its soil and site from.

    That is itself; or, where it is narrower than a hairline, the one it has the longest
    border with.
    """
    from_face = np.arange(len(faces))
    settled = 2 * shapely.area(faces) / shapely.length(faces) >= HAIRLINE_M
    while True:
        loose, firm = np.flatnonzero(~settled), np.flatnonzero(settled)
        one, other = shapely.STRtree(faces[firm]).query(faces[loose], predicate="intersects")
        one, other = loose[one], firm[other]
        borders_m = shapely.length(shapely.intersection(faces[one], faces[other]))
        order = np.argsort(borders_m)
        order = order[borders_m[order] > 0]
        if not len(order):
            return from_face
        # Of several, the last: the longest border.
        from_face[one[order]] = from_face[other[order]]
        settled[one[order]] = True


class Stretches(NamedTuple):
    """Stretches of outlines, each a straight line between two corners."""

    owners: NDArray[np.intp]  # (n, 2): the numbers of two polygons that share one, the lower first
    metres: NDArray[np.float64]  # (n,): how long it is
    lone: _Points  # (m, 2, 2): both ends of one that a single polygon has
    twofold: bool  # whether none is shared by more than two


def stretches_of(shapes: NDArray[np.object_]) -> Stretches:
    """Take outlines apart, and find out which stretches they share.

    Corners that are meant to be the same are the same to the last digit.

    Examples
    --------
    >>> halves = np.array([shapely.box(0, 0, 1, 2), shapely.box(1, 0, 2, 2)])
    >>> shared = stretches_of(halves)
    >>> shared.owners.tolist(), shared.metres.tolist(), len(shared.lone)
    ([[0, 1]], [2.0], 6)
    """
    corners, owner = shapely.get_coordinates(shapes, return_index=True)
    start = np.flatnonzero(_goes_on(shapes, corners, owner))
    # Sorted by a number made of both ends: the corners themselves take ten times as long to sort.
    number = corner_numbers(corners)
    number = (number[:-1] + number[1:])[start]
    order = np.argsort(number)
    start, number = start[order], number[order]
    alike = number[1:] == number[:-1]
    alike[alike] = _same(corners, start[:-1][alike], start[1:][alike])
    paired = np.zeros(len(start), dtype=bool)
    paired[:-1] |= alike
    paired[1:] |= alike
    one, other, lone = start[:-1][alike], start[1:][alike], start[~paired]
    low, high = np.minimum(owner[one], owner[other]), np.maximum(owner[one], owner[other])
    return Stretches(
        owners=np.column_stack([low, high]),
        metres=np.hypot(*np.diff(corners, axis=0).T)[one],
        lone=np.stack([corners[lone], corners[lone + 1]], axis=1),
        twofold=bool(2 * len(one) + len(lone) == len(start)),
    )


_MIX = np.array([0xBF58476D1CE4E5B9, 0x94D049BB133111EB], dtype=np.uint64)


def corner_numbers(corners: _Points) -> NDArray[np.uint64]:
    """A number for each corner, as good as by chance, however regular their places are.

    Source
    ------
    The mixing is that of Steele, Lea & Flood (2014), "Fast splittable pseudorandom number
    generators", doi:10.1145/2660193.2660195, once for each coordinate.
    """
    x, y = (corners + 0.0).view(np.uint64).T  # there is a zero below zero
    return _mixed(_mixed(x) + y)


def _mixed(number: NDArray[np.uint64]) -> NDArray[np.uint64]:
    for shift, factor in zip((30, 27), _MIX, strict=True):
        number = (number ^ (number >> np.uint64(shift))) * factor
    mixed: NDArray[np.uint64] = number ^ (number >> np.uint64(31))
    return mixed


def _same(corners: _Points, one: NDArray[np.intp], other: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether stretches that begin there have the same ends, either way round."""

    def meet(this: NDArray[np.intp], that: NDArray[np.intp]) -> NDArray[np.bool_]:
        equal: NDArray[np.bool_] = (corners[this] == corners[that]).all(axis=1)
        return equal

    same = meet(one, other + 1) & meet(one + 1, other)  # as neighbours mostly have them
    rest = ~same
    same[rest] = meet(one[rest], other[rest]) & meet(one[rest] + 1, other[rest] + 1)
    return same


def _goes_on(
    shapes: NDArray[np.object_], corners: _Points, owner: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether a stretch begins at each corner: it does not at the end of a ring."""
    goes_on = np.zeros(len(corners), dtype=bool)
    goes_on[:-1] = (owner[1:] == owner[:-1]) & (corners[1:] != corners[:-1]).any(axis=1)
    holed = shapely.get_num_interior_rings(shapes) > 0
    if holed.any():
        rings, of = shapely.get_rings(shapes[holed], return_index=True)
        first = np.searchsorted(owner, np.flatnonzero(holed))
        corners_of_ring = shapely.get_num_coordinates(rings)
        ends = np.cumsum(corners_of_ring)
        before = np.concatenate([[0], np.cumsum(np.bincount(of, corners_of_ring))])[of]
        goes_on[first[of] + ends - before.astype(int) - 1] = False
    return goes_on
