"""How wide ground is, and what of it is thinner than asked."""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.overlay import GRID_M

SLACK_M = 0.01  # a pass laid out exactly as wide as asked must not fail by rounding; judgement
_MOST_MITRE = 2.0  # of half the width, so that a corner sharper than 60° is cut off: judgement
NOTHING = Polygon()


def opened(ground: BaseGeometry, least_width_m: float) -> BaseGeometry:
    """Where ground is as wide as the least width: what is left once thin parts are rubbed out.

    Its edges are moved in by half the width, and those of what is left out again. A corner of
    60° or more stays; a sharper one is cut off as far from the middle of the last strip that
    fits as the strip is wide.

    >>> spike = shapely.union_all([shapely.box(0, 0, 9, 9), shapely.box(9, 4, 20, 5)])
    >>> opened(spike, 2.0).area
    81.0
    """
    inset_m = max(least_width_m - SLACK_M, 0.0) / 2
    # Mitred, so that a strip round a corner is as wide as the strip and no wider.
    return _moved(_moved(ground, -inset_m), inset_m)


def thin_parts(
    ground: BaseGeometry, least_width_m: float, besides: BaseGeometry = NOTHING
) -> list[Polygon]:
    """Find the parts of ground that are thinner than the least width.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
        To look at.
    least_width_m : float
        Width that is asked for. [m; 0 for any]
    besides : Polygon or MultiPolygon, optional
        Where it may be as thin as it is.

    Returns
    -------
    list of Polygon
        What `opened` rubs out, but for parts smaller than `least_part_m2`.

    Examples
    --------
    >>> body, spike, step = (0, 0, 9, 9), (9, 4, 20, 5), (3, 9, 4, 9.5)
    >>> ground = shapely.union_all([shapely.box(*corners) for corners in (body, spike, step)])
    >>> [round(part.area, 1) for part in thin_parts(ground, 2.0)]
    [11.0]
    """
    if not least_width_m:
        return []
    wide = shapely.union_all([opened(ground, least_width_m), besides], grid_size=GRID_M)
    # A little past it, or rounding would leave threads along its edge.
    parts = shapely.get_parts(ground.difference(_moved(wide, SLACK_M)))
    least_m2 = least_part_m2(least_width_m)
    return [part for part in parts if isinstance(part, Polygon) and part.area >= least_m2]


def least_part_m2(least_width_m: float) -> float:
    """Area of a square half as wide: what is smaller is a corner or a bump. Judged. [m²]"""
    return (least_width_m / 2) ** 2


def narrow_in(shapes: NDArray[np.object_], least_width_m: float) -> BaseGeometry:
    """Where the ground that shapes make up together is thin: a valid coverage, or part of one."""
    return shapely.union_all(thin_parts(shapely.coverage_union_all(shapes), least_width_m))


def _moved(ground: BaseGeometry, by_m: float) -> BaseGeometry:
    """Move edges out, with corners; on the overlay's grid, for a corner written twice has none."""
    on_grid = shapely.set_precision(ground, GRID_M)
    return on_grid.buffer(by_m, join_style="mitre", mitre_limit=_MOST_MITRE)
