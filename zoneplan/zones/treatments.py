"""Zones that print the same: neighbours become one zone, strangers one treatment."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

import numpy as np
from pyproj import CRS

from zoneplan.zones.borders import border_lengths, whole
from zoneplan.zones.composition import zone_of
from zoneplan.zones.ground_need import Label
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
    zones: Sequence[Zone],
    labels: Sequence[Label],
    printed: Printed,
    least_border_m: float,
    crs: CRS,
) -> tuple[Zone, ...]:
    """Make one zone of neighbours with one label that print the same, until none do.

    Parameters
    ----------
    zones, labels : sequence of Zone, sequence of Label
        That tile a field, and the label of each.
    printed : callable
        What a plan would print for each of these zones, as a key.
    least_border_m : float
        Neighbours share at least so much border. [m]
    crs : CRS
        Of the zones.

    Returns
    -------
    tuple of Zone
        Numbered from north to south, then from west to east, with their treatments.
    """
    while True:
        shapes = np.array([zone.shape for zone in zones], dtype=object)
        order = north_to_south(shapes).tolist()
        shapes, labels = shapes[order], [labels[at] for at in order]
        zones = [replace(zones[at], id=number) for number, at in enumerate(order, start=1)]
        keys = list(zip(labels, printed(zones), strict=True))
        groups = {at: [at] for at in range(len(zones))}
        group_of = list(groups)
        for (one, other), border_m in border_lengths(shapes).items():
            into, gone = sorted((group_of[one], group_of[other]))
            if keys[one] == keys[other] and border_m >= least_border_m and into != gone:
                for at in groups[gone]:
                    group_of[at] = into
                groups[into] += groups.pop(gone)
        if len(groups) == len(zones):
            return with_treatments(zones, [key for _, key in keys])
        labels = [labels[at] for at in groups]
        zones = [
            zone_of(whole(shapes[group]), [it for at in group for it in zones[at].composition], crs)
            if group[1:]
            else zones[group[0]]
            for group in groups.values()
        ]
