"""Slivers: ground too small or too thin for a zone of its own joins a neighbour."""

import heapq
from collections.abc import Callable

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.zones.patchwork import Patchwork, unlikeness
from zoneplan.zones.width import opened


def sliver_test(
    narrow: BaseGeometry, least_area_m2: float, least_width_m: float
) -> Callable[[Polygon], bool]:
    """Say what a sliver is: ground that gets no zone of its own.

    It has less than the least area, or less than a square half as wide as the least width,
    or is nowhere as wide as that although the field is, there.

    Parameters
    ----------
    narrow : Polygon or MultiPolygon
        Where the field itself is thinner.
    least_area_m2 : float
        Least plane area of a zone. [m²; 0 for any]
    least_width_m : float
        Width that a zone must have somewhere. [m; 0 for any]
    """
    least_m2 = max(least_area_m2, (least_width_m / 2) ** 2)

    def is_thin(shape: Polygon) -> bool:
        return (
            opened(shape, least_width_m).is_empty
            and shape.intersection(narrow).area < shape.area / 2  # else the field itself is thin
        )

    return lambda shape: round(shape.area, 4) < least_m2 or is_thin(shape)


def join_slivers(patchwork: Patchwork, is_sliver: Callable[[Polygon], bool]) -> int:
    """Join every sliver to the neighbour it differs from least, the smallest first.

    A sliver without a neighbour stays.

    Parameters
    ----------
    patchwork : Patchwork
        Changed in place.
    is_sliver : callable
        From `sliver_test`.

    Returns
    -------
    int
        How many slivers were joined.
    """
    patches = patchwork.patches

    def size(key: int) -> float:
        """To the square centimetre, or rounding would decide between two that are as large."""
        return round(patches[key].area_m2, 4)

    def must_join(key: int) -> bool:
        return bool(patches[key].borders_m) and is_sliver(patchwork.shape(key))

    before = len(patches)
    slivers = {key for key in patches if must_join(key)}
    queue = [(size(key), key) for key in slivers]
    heapq.heapify(queue)
    while queue:
        area_m2, smallest = heapq.heappop(queue)
        if smallest not in slivers or size(smallest) != area_m2:
            continue  # it has joined another since
        into = nearest(patchwork, smallest)
        both = into in slivers
        slivers -= {smallest, into}
        joined = patchwork.join(smallest, into)
        if both and must_join(joined):
            slivers.add(joined)
            heapq.heappush(queue, (size(joined), joined))
    return before - len(patches)


def nearest(patchwork: Patchwork, key: int) -> int:
    """The neighbour that a patch differs from least; in a tie, that of the longest border."""
    patch = patchwork.patches[key]
    return min(
        patch.borders_m,
        key=lambda near: (
            unlikeness(patch.decision, patchwork.patches[near].decision),
            # To the millimetre, or rounding would decide between two that are as long.
            -round(patch.borders_m[near], 3),
            near,
        ),
    )
