"""The field as patches that know their neighbours, and what joining two of them does."""

import copy
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from zoneplan.field.shapes import Site
from zoneplan.soil.blend import blend
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.borders import border_lengths, whole
from zoneplan.zones.made_of import Ground
from zoneplan.zones.marks import blend_sites
from zoneplan.zones.mixture import Mixture, add, mixture_of
from zoneplan.zones.zone import Decision


@dataclass
class Patch:
    """Shapes joined so far: what they are made of, what they need, whom they border."""

    members: list[int]  # indices of the shapes
    area_m2: float  # plane
    soils: Mixture[SoilFacts]
    sites: Mixture[Site]
    facts: SoilFacts  # of the whole patch
    site: Site
    decision: Decision
    borders_m: dict[int, float]  # by the neighbour's key


class Patchwork:
    """A field cut into patches, at first one for every shape.

    The patches stay keyed by the first of their shapes, so that equal input in equal order
    gives equal patches.

    Parameters
    ----------
    shapes : array of Polygon
        A valid coverage.
    grounds : sequence of sequence of Ground
        What lies in each.
    decide : callable
        What ground with such facts needs at such a site.
    """

    def __init__(
        self,
        shapes: NDArray[np.object_],
        grounds: Sequence[Sequence[Ground]],
        decide: Callable[[SoilFacts, Site], Decision],
    ) -> None:
        self.shapes, self.grounds, self.decide = shapes, grounds, decide
        self.patches = {number: self._patch(number) for number in range(len(shapes))}
        for (one, other), length_m in border_lengths(shapes).items():
            self._lengthen(one, other, length_m)

    def copy(self) -> "Patchwork":
        """Give a patchwork of its own to whoever wants to see where joining leads."""
        other = copy.copy(self)
        other.patches = {
            key: replace(
                patch,
                members=patch.members.copy(),
                soils=patch.soils.copy(),
                sites=patch.sites.copy(),
                borders_m=patch.borders_m.copy(),
            )
            for key, patch in self.patches.items()
        }
        return other

    def shape(self, key: int) -> Polygon:
        """Outline of a patch, holes and all."""
        return whole(self.shapes[self.patches[key].members])

    def outlines(self) -> NDArray[np.object_]:
        """Outlines of all patches, in their order."""
        return np.array([self.shape(key) for key in self.patches], dtype=object)

    def decisions(self) -> list[Decision]:
        """What all patches need, in their order."""
        return [patch.decision for patch in self.patches.values()]

    def difference_n(self, one: int, other: int) -> float:
        """How differently two patches want to be treated. [N]"""
        return difference_n(self.patches[one].decision, self.patches[other].decision)

    def join(self, one: int, other: int) -> int:
        """Make two neighbours one patch, decide anew what it needs, and return its key."""
        key, gone = sorted((one, other))
        kept, lost = self.patches[key], self.patches.pop(gone)
        kept.members += lost.members
        kept.area_m2 += lost.area_m2
        add(kept.soils, lost.soils, _blend_soils)
        add(kept.sites, lost.sites, _blend_sites)
        del kept.borders_m[gone], lost.borders_m[key]
        for near, length_m in lost.borders_m.items():
            del self.patches[near].borders_m[gone]
            self._lengthen(key, near, length_m)
        kept.facts = _blend_soils(kept.soils.values())
        kept.site = _blend_sites(kept.sites.values())
        kept.decision = self.decide(kept.facts, kept.site)
        return key

    def _patch(self, number: int) -> Patch:
        soils: Mixture[SoilFacts] = {}
        sites: Mixture[Site] = {}
        for facts, site, m2 in self.grounds[number]:
            add(soils, mixture_of(facts, m2), _blend_soils)
            add(sites, mixture_of(site, m2), _blend_sites)
        facts, site = _blend_soils(soils.values()), _blend_sites(sites.values())
        area_m2 = float(shapely.area(self.shapes[number]))
        return Patch([number], area_m2, soils, sites, facts, site, self.decide(facts, site), {})

    def _lengthen(self, one: int, other: int, length_m: float) -> None:
        borders_m = self.patches[one].borders_m
        borders_m[other] = borders_m.get(other, 0.0) + length_m
        self.patches[other].borders_m[one] = borders_m[other]


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


def _blend_soils(parts: Iterable[tuple[SoilFacts, float]]) -> SoilFacts:
    """Facts of ground made of several soils, weighed by area, the largest first."""
    return blend(sorted(parts, key=lambda part: -part[1]))


def _blend_sites(parts: Iterable[tuple[Site, float]]) -> Site:
    return blend_sites(dict(parts))


def _largest_step(loads_n: Iterable[tuple[float, float]]) -> float:
    # To the micronewton, or rounding would decide between two that are as far.
    return round(max((abs(a - b) for a, b in loads_n), default=0.0), 6)
