"""Zones that print the same: neighbours become one zone, strangers one treatment."""

from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np

from zoneplan.field.shapes import Marks
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Moisture
from zoneplan.zones.coverage import border_lengths, north_to_south, whole
from zoneplan.zones.graph import COORDINATE_OF, GroundNeed, Label, ZoneGraph
from zoneplan.zones.join import join_to_count
from zoneplan.zones.zone import Ground, Zone, blended, zones_of

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


def alike(
    zones: Sequence[Zone],
    need_of: Callable[[SoilFacts, Marks], GroundNeed],
    planned: Moisture | None = None,
) -> list[int]:
    """Group zones that may be treated alike, wherever they lie: a number for each zone.

    Strangers join as neighbours do, the two that lose least first, and stop where neighbours
    stop: see `join_to_count`. Ground with another label stays by itself.

    Parameters
    ----------
    zones : sequence of Zone
        Of a field, with their composition.
    need_of : callable
        What ground with such facts needs at such a site.
    planned : Moisture, optional
        That is planned for; else the usual day.
    """
    parts = [part for zone in zones for part in _own_ground_first(zone)]
    needs = [need_of(facts, site) for facts, site, _ in parts]
    graph = ZoneGraph(needs, [m2 for *_, m2 in parts], {}, COORDINATE_OF[planned])
    *firsts, _ = accumulate((len(zone.composition) for zone in zones), initial=0)
    graph.unite(firsts)
    groups = join_to_count(graph, 0.0, None).groups
    group_of = {face: at for at, faces in enumerate(groups) for face in faces}
    return [group_of[first] for first in firsts]


@dataclass(frozen=True, eq=False)
class Treated:
    """All ground that is treated alike, as if it were one zone: the same object for its zones."""

    facts: SoilFacts
    site: Marks
    composition: tuple[Ground, ...]
    area_ha: float
    # As a zone has them; what is treated alike lies in many places.
    id: int = 0
    width_m: float | None = None
    length_m: float | None = None


def treated_as(zones: Sequence[Zone], groups: Sequence[int]) -> list[Treated]:
    """For each zone all ground that is treated with it.

    Parameters
    ----------
    zones, groups : sequence
        From `alike`.
    """
    members: dict[int, list[Zone]] = defaultdict(list)
    for zone, group in zip(zones, groups, strict=True):
        members[group].append(zone)
    treated = {
        group: Treated(
            *blended(ground for zone in alike_zones for ground in zone.composition),
            area_ha=sum(zone.area_ha for zone in alike_zones),
        )
        for group, alike_zones in members.items()
    }
    return [treated[group] for group in groups]


def _own_ground_first(zone: Zone) -> list[Ground]:
    """A zone's ground, what it is planned as before what it took in."""
    return sorted(zone.composition, key=lambda part: part[0].ground != zone.facts.ground)


def merge_same(
    zones: Sequence[Zone],
    labels: Sequence[Label],
    printed: Printed,
    least_border_m: float,
    crs: str,
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
    crs : str
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
        several = [group for group in groups.values() if group[1:]]
        united = iter(
            zones_of(
                [whole(shapes[group]) for group in several],
                [[part for at in group for part in zones[at].composition] for group in several],
                crs,
            )
        )
        zones = [next(united) if group[1:] else zones[group[0]] for group in groups.values()]
