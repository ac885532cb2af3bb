"""Slivers: ground too small or too thin for a zone of its own joins a neighbour."""

import heapq
from collections.abc import Callable

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.zones.patchwork import Patchwork, unlikeness

SLACK_M = 0.01  # a pass laid out exactly as wide as asked must not fail by rounding; judgement


def opened(ground: BaseGeometry, least_width_m: float) -> BaseGeometry:
    """Where ground is as wide as the least width: what is left once thin parts are rubbed out.

    >>> import shapely
    >>> spike = shapely.union_all([shapely.box(0, 0, 9, 9), shapely.box(9, 4, 20, 5)])
    >>> opened(spike, 2.0).area
    81.0
    """
    inset_m = max(least_width_m - SLACK_M, 0.0) / 2
    # Mitred, so that a strip round a corner is as wide as the strip and no wider.
    return ground.buffer(-inset_m, join_style="mitre").buffer(inset_m, join_style="mitre")


def sliver_test(
    roomy: BaseGeometry, least_area_m2: float, least_width_m: float
) -> Callable[[Polygon], bool]:
    """Say what a sliver is: ground that gets no zone of its own.

    It has less than the least area, or is nowhere as wide as the least width although the
    field is, there.

    Parameters
    ----------
    roomy : Polygon or MultiPolygon
        Where the field is as wide: see `opened`.
    least_area_m2 : float
        Least plane area of a zone. [m²; 0 for any]
    least_width_m : float
        Width that a zone must have somewhere. [m; 0 for any]
    """

    def is_thin(shape: Polygon) -> bool:
        return (
            opened(shape, least_width_m).is_empty
            and shape.intersection(roomy).area > shape.area / 2  # else the field itself is thin
        )

    return lambda shape: shape.area < least_area_m2 or is_thin(shape)


def join_slivers(patchwork: Patchwork, is_sliver: Callable[[Polygon], bool]) -> int:
    """Join every sliver to the neighbour it differs from least, the smallest first.

    Two neighbours that differ as little as each other are told apart by the longer shared
    border. A sliver without a neighbour stays.

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

    def must_join(key: int) -> bool:
        return bool(patches[key].borders_m) and is_sliver(patchwork.shape(key))

    def nearest(key: int) -> int:
        patch = patches[key]
        return min(
            patch.borders_m,
            key=lambda near: (
                unlikeness(patch.decision, patches[near].decision),
                -patch.borders_m[near],
                near,
            ),
        )

    before = len(patches)
    slivers = {key for key in patches if must_join(key)}
    queue = [(patches[key].area_m2, key) for key in slivers]
    heapq.heapify(queue)
    while queue:
        area_m2, smallest = heapq.heappop(queue)
        if smallest not in slivers or patches[smallest].area_m2 != area_m2:
            continue  # it has joined another since
        into = nearest(smallest)
        both = into in slivers
        slivers -= {smallest, into}
        joined = patchwork.join(smallest, into)
        if both and must_join(joined):
            slivers.add(joined)
            heapq.heappush(queue, (patches[joined].area_m2, joined))
    return before - len(patches)
