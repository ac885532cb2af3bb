"""One order for ground, whatever order it came in."""

import numpy as np
import shapely
from numpy.typing import NDArray

_DIGITS = 4  # of a metre


def north_to_south(shapes: NDArray[np.object_]) -> NDArray[np.intp]:
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
