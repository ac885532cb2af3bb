"""Edges of zones, made simpler together, so that neighbours still meet."""

from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from zoneplan.zones.narrow_parts import Narrow, Outlines

_Shapes = NDArray[np.object_]
SAME_AREA = 1e-9  # of the area: rounding


class Edges(StrEnum):
    """Whether the edges of zones were straightened, or why they were not."""

    STRAIGHT = "straight"
    AS_GIVEN = "as given"  # nothing was asked, or there is but one zone
    WOULD_NOT_TILE = "would not tile"  # the field
    WOULD_BE_NARROW = "would be narrow"  # some zone


def straighten(outlines: Outlines, tolerance_m: float, narrow: Narrow) -> tuple[_Shapes, Edges]:
    """Straighten the edges that zones share; the field's own edge stays as it is.

    Where it would make a zone narrow, it is tried with half the tolerance, and with a quarter.

    Parameters
    ----------
    outlines : Outlines
        Of the zones of a field.
    tolerance_m : float
        A corner goes where the triangle it makes with the next two is smaller than this
        squared. [m; 0 for none]
    narrow : Narrow
        What is narrow there.

    Returns
    -------
    tuple
        The shapes, in their order, and whether they were straightened.
    """

    def large(shapes: _Shapes) -> int:
        return sum(narrow.any_large(*zone) for zone in zip(shapes, outlines.labels, strict=True))

    original = outlines.shapes
    if len(original) == 1 or tolerance_m == 0:
        return original, Edges.AS_GIVEN
    why, most = Edges.WOULD_BE_NARROW, large(original)
    for finer_m in (tolerance_m, tolerance_m / 2, tolerance_m / 4):
        simpler = shapely.normalize(
            shapely.coverage_simplify(original, finer_m, simplify_boundary=False)
        )
        if not _tile_alike(simpler, original):
            why = Edges.WOULD_NOT_TILE
        elif large(simpler) <= most:
            return simpler, Edges.STRAIGHT
    return original, why


def _tile_alike(simpler: _Shapes, outlines: _Shapes) -> bool:
    """Whether they are a coverage of the same ground, one Polygon a zone."""
    area_m2 = shapely.area(outlines).sum()
    return bool(
        (shapely.get_type_id(simpler) == shapely.GeometryType.POLYGON).all()
        and shapely.is_valid(simpler).all()
        and shapely.coverage_is_valid(simpler)
        and abs(shapely.area(simpler).sum() - area_m2) <= SAME_AREA * area_m2
    )
