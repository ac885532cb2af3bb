"""Who borders whom, and along how many metres."""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon


def border_lengths(shapes: NDArray[np.object_]) -> dict[tuple[int, int], float]:
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
    ends, owner = _segments(shapes)
    order = np.lexsort(ends.T)
    ends, owner = ends[order], owner[order]
    twin = (ends[:-1] == ends[1:]).all(axis=1)  # now side by side, the lower owner first
    pairs = np.column_stack([owner[:-1], owner[1:]])[twin]
    metres = np.hypot(*(ends[:-1, :2] - ends[:-1, 2:])[twin].T)
    pairs, which = np.unique(pairs, axis=0, return_inverse=True)
    sums = np.bincount(which, weights=metres, minlength=len(pairs))
    return {(int(a), int(b)): float(m) for (a, b), m in zip(pairs, sums, strict=True)}


def whole(shapes: NDArray[np.object_]) -> Polygon:
    """Join shapes that border each other; every vertex stays where it was.

    >>> whole(np.array([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)])).area
    2.0
    """
    outline = shapely.normalize(shapely.coverage_union_all(shapes))
    assert isinstance(outline, Polygon)
    return outline


def _segments(shapes: NDArray[np.object_]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Every segment as x, y, x, y with the lower end first, and the shape it belongs to."""
    rings, shape_of_ring = shapely.get_rings(shapes, return_index=True)
    points, ring_of_point = shapely.get_coordinates(rings, return_index=True)
    within = ring_of_point[:-1] == ring_of_point[1:]
    start, end = points[:-1][within], points[1:][within]
    swap = (start[:, 0] > end[:, 0]) | ((start[:, 0] == end[:, 0]) & (start[:, 1] > end[:, 1]))
    ends = np.where(swap[:, None], np.hstack([end, start]), np.hstack([start, end]))
    return ends, shape_of_ring[ring_of_point[:-1][within]]
