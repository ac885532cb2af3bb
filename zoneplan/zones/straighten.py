"""Edges of zones, made simpler together, so that neighbours still meet."""

import numpy as np
import shapely
from numpy.typing import NDArray

_Shapes = NDArray[np.object_]
SAME_AREA = 1e-9  # of the area: rounding


def straightened(outlines: _Shapes, tolerance_m: float) -> tuple[_Shapes, tuple[str, ...]]:
    """Straighten the edges that zones share; the field's own edge stays as it is.

    Parameters
    ----------
    outlines : array of Polygon
        A valid coverage.
    tolerance_m : float
        A corner goes where the triangle it makes with the next two is smaller than this
        squared. [m; 0 for none]

    Returns
    -------
    tuple
        The outlines, and what a reader must know: where they would no longer tile the
        field, they are given back as they came.
    """
    if len(outlines) == 1 or tolerance_m == 0:
        return outlines, ()
    simpler = shapely.normalize(
        shapely.coverage_simplify(outlines, tolerance_m, simplify_boundary=False)
    )
    if _tile_alike(simpler, outlines):
        return simpler, ()
    return outlines, (
        "the edges of the zones are left as the layers have them: straightened, the zones "
        "would no longer tile the field",
    )


def _tile_alike(simpler: _Shapes, outlines: _Shapes) -> bool:
    """Whether they are a coverage of the same ground, one Polygon a zone."""
    if not (
        (shapely.get_type_id(simpler) == shapely.GeometryType.POLYGON).all()
        and shapely.is_valid(simpler).all()
        and shapely.coverage_is_valid(simpler)
    ):
        return False
    area_m2 = shapely.area(outlines).sum()
    before, after = (
        shapely.normalize(shapely.coverage_union_all(shapes)) for shapes in (outlines, simpler)
    )
    same_area = abs(shapely.area(simpler).sum() - area_m2) <= SAME_AREA * area_m2
    return bool(same_area and after.equals_exact(before))
