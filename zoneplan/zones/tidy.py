"""Slivers: ground too small or too thin for a zone of its own joins a neighbour."""

import shapely

from zoneplan.zones.patchwork import Patchwork, unlikeness

SLACK_M = 0.01  # a pass laid out exactly as wide as asked must not fail by rounding; judgement


def join_slivers(patchwork: Patchwork, least_area_m2: float, least_width_m: float) -> int:
    """Join every sliver to the neighbour it differs from least, the smallest first.

    A sliver has less than the least area, or is nowhere as wide as the least width
    although the field is, there. Two neighbours that differ as little as each other
    are told apart by the longer shared border. A sliver without a neighbour stays.

    Parameters
    ----------
    patchwork : Patchwork
        Changed in place.
    least_area_m2 : float
        Least plane area of a zone. [m²; 0 for any]
    least_width_m : float
        Width that a zone must have somewhere. [m; 0 for any]

    Returns
    -------
    int
        How many slivers were joined.
    """
    patches = patchwork.patches
    inset_m = max(least_width_m - SLACK_M, 0.0) / 2
    field = patchwork.ground()
    # Mitred, so that a strip round a corner is as wide as the strip and no wider.
    roomy = field.buffer(-inset_m, join_style="mitre").buffer(inset_m, join_style="mitre")

    def is_thin(shape: shapely.Polygon) -> bool:
        return (
            shape.buffer(-inset_m, join_style="mitre").is_empty
            and shape.intersection(roomy).area > shape.area / 2  # else the field itself is thin
        )

    def is_sliver(key: int) -> bool:
        patch = patches[key]
        small = patch.area_m2 < least_area_m2
        return bool(patch.borders_m) and (small or is_thin(patchwork.shape(key)))

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
    slivers = {key for key in patches if is_sliver(key)}
    while slivers:
        smallest = min(slivers, key=lambda key: (patches[key].area_m2, key))
        into = nearest(smallest)
        both = into in slivers
        slivers -= {smallest, into}
        joined = patchwork.join(smallest, into)
        if both and is_sliver(joined):
            slivers.add(joined)
    return before - len(patches)
