"""One order for ground, whatever order it came in."""

import numpy as np
import shapely
from numpy.typing import NDArray


def north_to_south(shapes: NDArray[np.object_]) -> NDArray[np.intp]:
    """Order of shapes from north to south, then west to east, by a point inside each.

    >>> north_to_south(np.array([shapely.box(4, 0, 6, 2), shapely.box(0, 0, 2, 2)])).tolist()
    [1, 0]
    """
    inside = shapely.point_on_surface(shapes)
    # To the millimetre, or rounding would decide between two that lie side by side.
    return np.lexsort([shapely.get_x(inside), -shapely.get_y(inside).round(3)])
