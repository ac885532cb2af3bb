"""Zones that print the same: neighbours become one zone, strangers one treatment."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from zoneplan.zones.borders import border_lengths, whole
from zoneplan.zones.composition import zone_of
from zoneplan.zones.ground_need import Label
from zoneplan.zones.made_of import Ground
from zoneplan.zones.order import north_to_south
from zoneplan.zones.zone import Zone

Printed = Callable[[Sequence[Zone]], Sequence[Hashable]]


def with_treatments(zones: Sequence[Zone], keys: Sequence[Hashable]) -> tuple[Zone, ...]:
    """Number the treatments of zones: the same for the same key, in the order of the zones.

    Parameters
    ----------
    zones : sequence of Zone
        Of a field.
    keys : sequence
        What a plan prints for each.
    """
    numbers = {key: number for number, key in enumerate(dict.fromkeys(keys), start=1)}
    return tuple(
        replace(zone, treatment=numbers[key]) for zone, key in zip(zones, keys, strict=True)
    )


def merge_same(
    shapes: NDArray[np.object_],
    grounds: Sequence[Sequence[Ground]],
    labels: Sequence[Label],
    printed: Printed,
    least_border_m: float,
    crs: CRS,
) -> tuple[Zone, ...]:
    """Make zones, and one of neighbours with one label that print the same, until none do.

    Parameters
    ----------
    shapes : array of Polygon
        A valid coverage.
    grounds, labels : sequence
        What lies in each, and its label.
    printed : callable
        What a plan would print for each of these zones, as a key.
    least_border_m : float
        Neighbours share at least so much border. [m]
    crs : CRS
        Of the shapes.

    Returns
    -------
    tuple of Zone
        Numbered from north to south, then from west to east, with their treatments.
    """
    while True:
        order = north_to_south(shapes).tolist()
        shapes, labels = shapes[order], [labels[at] for at in order]
        grounds = [grounds[at] for at in order]
        zones = [
            replace(zone_of(shape, ground, crs), id=number)
            for number, (shape, ground) in enumerate(zip(shapes, grounds, strict=True), start=1)
        ]
        keys = printed(zones)
        group_of = list(range(len(zones)))
        for (one, other), border_m in border_lengths(shapes).items():
            same = (labels[one], keys[one]) == (labels[other], keys[other])
            if same and border_m >= least_border_m:
                new, old = sorted((group_of[one], group_of[other]))
                group_of = [new if group == old else group for group in group_of]
        groups = [np.flatnonzero(np.equal(group_of, at)) for at in dict.fromkeys(group_of)]
        if len(groups) == len(zones):
            return with_treatments(zones, keys)
        shapes = np.array([whole(shapes[group]) for group in groups], dtype=object)
        grounds = [[part for at in group for part in grounds[at]] for group in groups]
        labels = [labels[group[0]] for group in groups]
