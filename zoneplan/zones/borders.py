"""Who borders whom, and along how many metres."""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from zoneplan.field.tiles import stretches_of


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
    shared = stretches_of(shapes)
    pairs, which = np.unique(shared.owners @ [len(shapes), 1], return_inverse=True)
    metres = np.bincount(which, weights=shared.metres, minlength=len(pairs))
    return {
        divmod(pair, len(shapes)): length
        for pair, length in zip(pairs.tolist(), metres.tolist(), strict=True)
    }


def whole(shapes: NDArray[np.object_]) -> Polygon:
    """Join shapes that border each other; every vertex stays where it was.

    >>> whole(np.array([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)])).area
    2.0
    """
    outline = shapely.normalize(shapely.coverage_union_all(shapes))
    assert isinstance(outline, Polygon)
    return outline
