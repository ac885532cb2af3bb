"""The short way to cut a map to a field: where its polygons fit each other, as those of surveys do.

Nothing needs to be noded then: polygons inside the field stay as they are, the others are cut along
its edge. It is tried, and taken only where the parts turn out to tile the field.
"""

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.repair import SAME_AREA
from zoneplan.field.stretches import corner_numbers, stretches_of

GRID_M = 1e-7  # corners are put on a grid this fine, so that lines that should meet do
HAIRLINE_M = 0.2  # degrees with six decimals are good to 0.1 m; nobody maps soil so narrow
_Shapes = NDArray[np.object_]


class Tiles(NamedTuple):
    """Parts of polygons that tile a field."""

    shapes: _Shapes  # Polygons that share every corner of their borders
    owners: NDArray[np.intp]  # the polygon that each is of, in order
    closed_m2: NDArray[np.float64]  # the area of each hairline that went to what lies beside it


def tiles(field: Polygon | MultiPolygon, outlines: _Shapes) -> Tiles | None:
    """Cut polygons to a field; None where their parts do not tile it.

    Parameters
    ----------
    field, outlines : Polygon or MultiPolygon, array of them
        In the field's metric system.
    """
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
