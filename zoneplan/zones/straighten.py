"""Edges of zones, made simpler together, so that neighbours still meet."""

from collections.abc import Sequence
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from zoneplan.notices import Notice, notice
from zoneplan.zones.narrow_parts import Narrow, Outlines
from zoneplan.zones.teeth import Teeth
from zoneplan.zones.zone import Decision

_Shapes = NDArray[np.object_]
SAME_AREA = 1e-9  # of the area: rounding


def straightened(outlines: _Shapes, tolerance_m: float) -> tuple[_Shapes, tuple[Notice, ...]]:
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
    return outlines, (_left("leave gaps"),)


def straightened_as_wide(
    outlines: _Shapes, decisions: Sequence[Decision], tolerance_m: float, teeth: Teeth
) -> tuple[_Shapes, tuple[Notice, ...]]:
    """Straighten the edges that zones share, so that no zone becomes thin by it.

    Where it would make large teeth, it is tried with half the tolerance, and with a quarter.

    Parameters
    ----------
    outlines, decisions : array of Polygon, sequence of Decision
        Of the zones of a field: a valid coverage.
    tolerance_m : float
        Of `straightened`. [m; 0 for none]
    teeth : Teeth
        What is thin there.

    Returns
    -------
    tuple
        The outlines, in their order, and what a reader must know.
    """

    def large(shapes: _Shapes) -> int:
        return sum(teeth.any_large(*zone) for zone in zip(shapes, decisions, strict=True))

    for finer_m in (tolerance_m, tolerance_m / 2, tolerance_m / 4):
        simpler, said = straightened(outlines, finer_m)
        if simpler is outlines:
            return outlines, said
        if large(simpler) <= large(outlines):
            return simpler, said
    return outlines, (_left("make thin parts"),)


def _left(would: str) -> Notice:
    return notice("edges-not-straightened", would=would, before_edits=False)


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

    given = outlines.shapes
    if len(given) == 1 or tolerance_m == 0:
        return given, Edges.AS_GIVEN
    why = Edges.WOULD_BE_NARROW
    for finer_m in (tolerance_m, tolerance_m / 2, tolerance_m / 4):
        simpler = shapely.normalize(
            shapely.coverage_simplify(given, finer_m, simplify_boundary=False)
        )
        if not _tile_alike(simpler, given):
            why = Edges.WOULD_NOT_TILE
        elif large(simpler) <= large(given):
            return simpler, Edges.STRAIGHT
    return given, why


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
