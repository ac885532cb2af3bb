"""Part a field into zones whose needs agree: build_zones()."""

import functools
from collections import defaultdict
from collections.abc import Callable, Iterable

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.shapes import Site
from zoneplan.rowunit.words import distance
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.alike import join_alike
from zoneplan.zones.kept import Needs, join_to_number
from zoneplan.zones.marks import marked_shares, without_slivers
from zoneplan.zones.order import north_to_south
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.straighten import straightened
from zoneplan.zones.teeth import teeth, without_teeth
from zoneplan.zones.tidy import join_slivers, opened, sliver_test
from zoneplan.zones.zone import Decision, Zone, Zoned

SOME_SHARE = 0.01  # judged: less of the field in thin parts than this is not worth a note


def build_zones(
    pieces: gpd.GeoDataFrame,
    decide: Callable[[SoilFacts, Site], Decision],
    *,
    alike_n: float,
    least_area_m2: float,
    least_width_m: float,
    most_zones: int | None = None,
    straighten_m: float = 0.0,
) -> Zoned:
    """Draw zones that tile the field, so that neighbours are never treated alike.

    Decide first, then draw. The two neighbours that differ least join, as long as that is
    less than `alike_n`; what the joint ground needs is decided anew each time. Then
    slivers join the neighbour they differ from least, and so on until neither finds
    anything to do. Ground with different marks never joins as alike; a mark that is itself
    a sliver does not count. Thin parts of wide zones go to a neighbour. Then the two that
    differ least go on joining as long as enough of the variation in the need for downforce
    is kept: see `join_to_number`. Last, the edges are straightened together.

    The same ground in another order gives the same zones.

    Parameters
    ----------
    pieces : GeoDataFrame
        Single Polygons in the field's metric system that tile it and share every vertex of
        their borders, with their `facts` and `site`: see `overlay`.
    decide : callable
        What ground with such facts needs at such a site.
    alike_n : float
        Least difference in any load that tells two neighbours apart. [N]
    least_area_m2 : float
        Ground smaller than this gets no zone of its own. [m²]
    least_width_m : float
        Nor does ground that is nowhere this wide, unless the field is as thin. [m]
    most_zones : int, optional
        No more zones than this, unless they cannot join.
    straighten_m : float
        Tolerance of the edges: see `straightened`. [m; 0 for none]

    Returns
    -------
    Zoned
        Zones are numbered from north to south, then from west to east. A zone is one
        Polygon: ground in two places is two zones. Its facts are those of the pieces it is
        made of; its outline and its hectares are those of the straightened edges.
    """
    shapes = shapely.normalize(pieces.geometry.to_numpy())
    order = north_to_south(shapes)
    shapes = shapes[order]
    facts, sites = (pieces[column].to_numpy()[order] for column in ("facts", "site"))
    roomy = opened(shapely.coverage_union_all(shapes), least_width_m)
    is_sliver = sliver_test(roomy, least_area_m2, least_width_m)
    decide = functools.cache(decide)
    lasting = without_slivers(shapes, sites, is_sliver)
    patchwork = Patchwork(shapes, facts, lasting, decide)

    def settle() -> None:
        join_alike(patchwork, alike_n)
        while join_slivers(patchwork, is_sliver):
            join_alike(patchwork, alike_n)

    settle()
    patchwork, piece_of = without_teeth(patchwork, roomy, least_area_m2, least_width_m)
    settle()
    decisions = [decide(*known) for known in zip(patchwork.facts, patchwork.sites, strict=True)]
    needs = Needs(decisions, patchwork.areas_m2)
    numbers, said = join_to_number(patchwork, needs, alike_n, most_zones)

    outlines, left = straightened(patchwork.outlines(), straighten_m)
    areas_m2 = patchwork.areas_m2.tolist()
    patches = list(patchwork.patches.values())
    zones = tuple(
        Zone(
            id=number,
            shape=outlines[at],
            area_ha=geodesic_area_ha(outlines[at], pieces.crs),
            facts=patches[at].facts,
            soils=shares((patchwork.facts[n], areas_m2[n]) for n in patches[at].members),
            site=patches[at].site,
            marked=marked_shares((sites[piece_of[n]], areas_m2[n]) for n in patches[at].members),
        )
        for number, at in enumerate(north_to_south(outlines), start=1)
    )
    kept = tuple((number.zones, number.kept) for number in numbers)
    return Zoned(zones, kept, (*said, *left, *_thin(outlines, roomy, least_width_m)))


def _thin(outlines: NDArray[np.object_], roomy: BaseGeometry, least_width_m: float) -> list[str]:
    """Say how much of the field lies in parts of zones that are thinner than asked."""
    if not least_width_m:
        return []
    parts_m2 = sum(part.area for shape in outlines for part in teeth(shape, roomy, least_width_m))
    share = parts_m2 / shapely.area(outlines).sum()
    if share < SOME_SHARE:
        return []
    return [
        f"{100 * share:.0f} % of the field lies in corners and necks of zones that are thinner "
        f"than {distance(least_width_m)}"
    ]


def shares(soils: Iterable[tuple[SoilFacts, float]]) -> tuple[tuple[str, float], ...]:
    """What the sources call a zone's ground, and its share of the zone, largest first.

    >>> shares([(SoilFacts(named="Clarion loam"), 30.0), (SoilFacts("water"), 10.0)])
    (('Clarion loam', 0.75), ('water', 0.25))
    """
    by_name: dict[str, float] = defaultdict(float)
    for facts, area_m2 in soils:
        by_name[facts.named or facts.ground] += area_m2
    total_m2 = sum(by_name.values())
    ranked = sorted(by_name.items(), key=lambda part: (-part[1], part[0]))
    return tuple((name, area_m2 / total_m2) for name, area_m2 in ranked)
