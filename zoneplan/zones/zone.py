"""A zone: what may be asked of zones, what ground lies in an outline, and the zone made of it."""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from zoneplan.field.crs import geodesic_areas_ha
from zoneplan.field.shapes import NOWHERE, Mark, Marks
from zoneplan.field.tiles import GRID_M, HAIRLINE_M
from zoneplan.soil.blend import blend
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.marks import blend_sites, marked_shares


@dataclass(frozen=True)
class Zoning:
    """What is asked of the zones; `None` where the machine and the field are to say."""

    least_area_m2: float | None = None  # else what is long enough for the system to follow
    least_width_m: float | None = None  # else the planter's
    most_zones: int | None = None  # else as few as say what the ground needs


NOTHING_ASKED = Zoning()


@dataclass(frozen=True)
class Zone:
    """Ground to be treated alike."""

    id: int  # 1, 2, 3 ... from north to south, then west to east
    shape: Polygon  # in the field's metric system
    area_ha: float  # geodesic
    facts: SoilFacts
    soils: tuple[tuple[str, float], ...] = ()  # (what the source calls it, share of the zone)
    site: Marks = NOWHERE
    marked: tuple[tuple[Mark, float], ...] = ()  # (what was marked there, share of the zone)
    name: str = ""  # what a person calls it
    composition: tuple[tuple[SoilFacts, Marks, float], ...] = ()  # each soil and site in it [m²]
    treatment: int | None = None  # 1, 2, 3 ...; zones that print the same have the same

    @property
    def width_m(self) -> float:
        """Short side of the narrowest box around it."""
        return self._sides_m[0]

    @property
    def length_m(self) -> float:
        """Long side of the narrowest box around it."""
        return self._sides_m[1]

    @cached_property
    def _sides_m(self) -> tuple[float, float]:
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(self.shape))
        one, other = (math.dist(corners[n], corners[n + 1]) for n in (0, 1))
        return min(one, other), max(one, other)


Ground = tuple[SoilFacts, Marks, float]  # what is known of it, and its area in m²


def made_of(
    outlines: Sequence[Polygon],
    shapes: NDArray[np.object_],
    soils: Sequence[tuple[SoilFacts, Marks]],
) -> list[list[Ground]]:
    """Find what lies in each outline: the pieces of a field, or the parts of them in it.

    Parameters
    ----------
    outlines : sequence of Polygon
        In the pieces' metric system. Edges that were straightened, or drawn by a person, need
        not follow those of the pieces.
    shapes, soils : array of Polygon, sequence of tuple
        Of the pieces, as `overlay` gives them.

    Returns
    -------
    list of list of Ground
        A list an outline, in the order of the pieces. What is narrower than a hairline is
        rounding where edges run together, and left out where there is anything else.
    """
    drawn = np.array(outlines, dtype=object)
    shapely.prepare(drawn)
    outline, piece = shapely.STRtree(shapes).query(drawn, predicate="intersects")
    cut = ~shapely.covers(drawn[outline], shapes[piece])
    parts = shapes[piece]
    parts[cut] = shapely.intersection(drawn[outline[cut]], parts[cut], grid_size=GRID_M)
    areas_m2 = shapely.area(parts)
    wide = 2 * areas_m2 >= HAIRLINE_M * shapely.length(parts)
    grounds = []
    for at in range(len(drawn)):
        inside = np.flatnonzero((outline == at) & (areas_m2 > 0))
        numbers = inside[wide[inside]] if wide[inside].any() else inside
        numbers = numbers[np.argsort(piece[numbers])]
        grounds.append([(*soils[piece[n]], float(areas_m2[n])) for n in numbers])
    return grounds


def zones_of(
    shapes: Sequence[Polygon], grounds: Sequence[Iterable[Ground]], crs: str
) -> list[Zone]:
    """Zones with these outlines, without their numbers; their facts are of their ground, by area.

    Parameters
    ----------
    shapes : sequence of Polygon
        In the field's metric system.
    grounds : sequence of iterable of Ground
        What lies in each: see `made_of`.
    crs : str
        That system.
    """
    areas_ha = geodesic_areas_ha(shapes, crs) if len(shapes) else []
    return list(map(_zone_of, shapes, grounds, areas_ha))


def _zone_of(shape: Polygon, ground: Iterable[Ground], area_ha: float) -> Zone:
    facts, site, parts = blended(ground)
    soils_m2: dict[SoilFacts, float] = defaultdict(float)
    sites_m2: dict[Marks, float] = defaultdict(float)
    for soil, place, m2 in parts:
        soils_m2[soil] += m2
        sites_m2[place] += m2
    return Zone(
        id=0,
        shape=shape,
        area_ha=area_ha,
        facts=facts,
        soils=shares(soils_m2.items()),
        site=site,
        marked=marked_shares(sites_m2.items()),
        composition=parts,
    )


def blended(ground: Iterable[Ground]) -> tuple[SoilFacts, Marks, tuple[Ground, ...]]:
    """Blend ground by area into one soil at one site, and tell each part of it once."""
    parts_m2: dict[tuple[SoilFacts, Marks], float] = defaultdict(float)
    soils_m2: dict[SoilFacts, float] = defaultdict(float)
    sites_m2: dict[Marks, float] = defaultdict(float)
    for facts, site, m2 in ground:
        parts_m2[facts, site] += m2
        soils_m2[facts] += m2
        sites_m2[site] += m2
    return (
        blend(sorted(soils_m2.items(), key=lambda part: -part[1])),
        blend_sites(sites_m2),
        tuple((facts, site, m2) for (facts, site), m2 in parts_m2.items()),
    )


def shares(soils: Iterable[tuple[SoilFacts, float]]) -> tuple[tuple[str, float], ...]:
    """What the sources call a zone's ground, and its share of the zone, largest first.

    >>> shares([(SoilFacts(named="Clarion loam"), 30.0), (SoilFacts("water"), 10.0)])
    (('Clarion loam', 0.75), ('water', 0.25))
    """
    by_name: dict[str, float] = defaultdict(float)
    for facts, area_m2 in soils:
        by_name[facts.named or facts.ground] += area_m2
    total_m2 = sum(by_name.values())
    ranked = sorted(by_name.items(), key=lambda part: (-round(part[1], 4), part[0]))
    return tuple((name, area_m2 / total_m2) for name, area_m2 in ranked)
