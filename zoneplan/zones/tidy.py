"""Slivers: ground too small or too thin for a zone of its own joins a neighbour."""

from collections.abc import Callable

from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.zones.patchwork import Patchwork, unlikeness

SLACK_M = 0.01  # a pass laid out exactly as wide as asked must not fail by rounding; judgement


def sliver_test(
    field: BaseGeometry, least_area_m2: float, least_width_m: float
) -> Callable[[Polygon], bool]:
    """Say what a sliver is: ground that gets no zone of its own.

    It has less than the least area, or is nowhere as wide as the least width although the
    field is, there.

    Parameters
    ----------
    field : Polygon or MultiPolygon
        The ground that zones are drawn on.
    least_area_m2 : float
        Least plane area of a zone. [m²; 0 for any]
    least_width_m : float
        Width that a zone must have somewhere. [m; 0 for any]
    """
    inset_m = max(least_width_m - SLACK_M, 0.0) / 2
    # Mitred, so that a strip round a corner is as wide as the strip and no wider.
    roomy = field.buffer(-inset_m, join_style="mitre").buffer(inset_m, join_style="mitre")

    def is_thin(shape: Polygon) -> bool:
        return (
            shape.buffer(-inset_m, join_style="mitre").is_empty
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
    while slivers:
        smallest = min(slivers, key=lambda key: (patches[key].area_m2, key))
        into = nearest(smallest)
        both = into in slivers
        slivers -= {smallest, into}
        joined = patchwork.join(smallest, into)
        if both and must_join(joined):
            slivers.add(joined)
    return before - len(patches)
