"""The field as patches that know their neighbours, and what joining two of them does."""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from zoneplan.field.shapes import Site
from zoneplan.soil.blend import blend
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.borders import border_lengths, whole
from zoneplan.zones.marks import blend_sites
from zoneplan.zones.zone import Decision


@dataclass
class Patch:
    """Pieces joined so far: what they are made of, what they need, whom they border."""

    members: list[int]  # indices of the pieces
    soils_m2: dict[SoilFacts, float]  # area by what is known of it
    sites_m2: dict[Site, float]  # area by where it lies
    facts: SoilFacts  # of the whole patch
    site: Site
    decision: Decision
    borders_m: dict[int, float] = field(default_factory=dict)  # by the neighbour's key

    @property
    def area_m2(self) -> float:
        """Plane area."""
        return sum(self.soils_m2.values())


class Patchwork:
    """A field cut into patches, one for every piece to begin with.

    The patches stay keyed by the first of their pieces, so that equal input in
    equal order gives equal patches.
    """

    def __init__(
        self,
        shapes: NDArray[np.object_],
        facts: Iterable[SoilFacts],
        sites: Iterable[Site],
        decide: Callable[[SoilFacts, Site], Decision],
    ) -> None:
        self._shapes = shapes
        self._decide = decide
        areas_m2 = shapely.area(shapes).tolist()
        self.patches = {
            key: Patch([key], {known: m2}, {site: m2}, known, site, decide(known, site))
            for key, (known, site, m2) in enumerate(zip(facts, sites, areas_m2, strict=True))
        }
        for (one, other), length_m in border_lengths(shapes).items():
            self.patches[one].borders_m[other] = length_m
            self.patches[other].borders_m[one] = length_m

    def shape(self, key: int) -> Polygon:
        """Outline of a patch, holes and all."""
        return whole(self._shapes[self.patches[key].members])

    def difference_n(self, one: int, other: int) -> float:
        """How differently two patches want to be treated. [N]"""
        return difference_n(self.patches[one].decision, self.patches[other].decision)

    def join(self, one: int, other: int) -> int:
        """Make two neighbours one patch, decide anew what it needs, and return its key."""
        key, gone = sorted((one, other))
        kept, lost = self.patches[key], self.patches.pop(gone)
        kept.members += lost.members
        for known, area_m2 in lost.soils_m2.items():
            kept.soils_m2[known] = kept.soils_m2.get(known, 0.0) + area_m2
        for site, area_m2 in lost.sites_m2.items():
            kept.sites_m2[site] = kept.sites_m2.get(site, 0.0) + area_m2
        del kept.borders_m[gone], lost.borders_m[key]
        for near, length_m in lost.borders_m.items():
            del self.patches[near].borders_m[gone]
            joint_m = kept.borders_m.get(near, 0.0) + length_m
            kept.borders_m[near] = self.patches[near].borders_m[key] = joint_m
        kept.facts = mixed(kept.soils_m2)
        kept.site = blend_sites(kept.sites_m2)
        kept.decision = self._decide(kept.facts, kept.site)
        return key


def difference_n(a: Decision, b: Decision) -> float:
    """How differently two pieces of ground want to be treated. [N]

    The largest difference between their loads; infinite where labels or marks differ.

    >>> difference_n(Decision("soil", (500.0, 450.0)), Decision("soil", (520.0, 360.0)))
    90.0
    >>> difference_n(Decision("soil", (500.0,)), Decision("water", ()))
    inf
    """
    if (a.label, a.marks) != (b.label, b.marks):
        return math.inf
    return _largest_step(zip(a.loads_n, b.loads_n, strict=True))


def unlikeness(sliver: Decision, near: Decision) -> tuple[bool, int, int, bool, float]:
    """Rank neighbours for a sliver that must join one of them: the least is the nearest.

    Ground that has loads where the sliver has loads, or none where it has none, comes
    first; then ground that has no mark the sliver has not, and lacks the fewest that it
    has; then an equal label; then the largest difference between the loads that both
    have. [N]

    >>> soil, pond = Decision("soil", (500.0, 450.0, 400.0)), Decision("water", ())
    >>> unlikeness(soil, Decision("soil, wait when wet", (480.0, 440.0))) < unlikeness(soil, pond)
    True
    """
    return (
        bool(sliver.loads_n) != bool(near.loads_n),
        len(set(near.marks) - set(sliver.marks)),
        len(set(sliver.marks) - set(near.marks)),
        sliver.label != near.label,
        _largest_step(zip(sliver.loads_n, near.loads_n, strict=False)),
    )


def mixed(soils_m2: Mapping[SoilFacts, float]) -> SoilFacts:
    """Facts of ground made of several soils, weighed by area, the largest first."""
    return blend(sorted(soils_m2.items(), key=lambda part: -part[1]))


def _largest_step(loads_n: Iterable[tuple[float, float]]) -> float:
    return max((abs(a - b) for a, b in loads_n), default=0.0)
