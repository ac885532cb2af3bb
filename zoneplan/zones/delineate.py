"""Group pieces of ground whose needs agree: build_zones()."""

import functools
import heapq
from collections.abc import Callable, Mapping

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.shapes import Site
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.marks import marked_shares, without_slivers
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.tidy import join_slivers, sliver_test
from zoneplan.zones.zone import Decision, Zone


def build_zones(
    pieces: gpd.GeoDataFrame,
    decide: Callable[[SoilFacts, Site], Decision],
    *,
    alike_n: float,
    least_area_m2: float,
    least_width_m: float,
) -> list[Zone]:
    """Draw zones that tile the field, so that neighbours are never treated alike.

    Decide first, then draw. The two neighbours that differ least join, as long as that is
    less than `alike_n`; what the joint ground needs is decided anew each time. Then
    slivers join the neighbour they differ from least, and so on until neither finds
    anything to do. Ground with different marks never joins as alike; a mark that is itself
    a sliver does not count. The same ground in another order gives the same zones.

    Parameters
    ----------
    pieces : GeoDataFrame
        What `overlay` returns: single Polygons in the field's metric system that
        tile it and share every vertex of their borders, with their `facts` and `site`.
    decide : callable
        What ground with such facts needs at such a site.
    alike_n : float
        Least difference in any load that tells two neighbours apart. [N]
    least_area_m2 : float
        Ground smaller than this gets no zone of its own. [m²]
    least_width_m : float
        Nor does ground that is nowhere this wide, unless the field is as thin. [m]

    Returns
    -------
    list of Zone
        Numbered from north to south, then from west to east. A zone is one Polygon:
        ground in two places is two zones.
    """
    shapes = shapely.normalize(pieces.geometry.to_numpy())
    order = north_to_south(shapes)
    shapes = shapes[order]
    facts, sites = (pieces[column].to_numpy()[order] for column in ("facts", "site"))
    is_sliver = sliver_test(shapely.coverage_union_all(shapes), least_area_m2, least_width_m)
    lasting = without_slivers(shapes, sites, is_sliver)
    patchwork = Patchwork(shapes, facts, lasting, functools.cache(decide))
    join_alike(patchwork, alike_n)
    while join_slivers(patchwork, is_sliver):
        join_alike(patchwork, alike_n)

    areas_m2 = shapely.area(shapes).tolist()
    patches = list(patchwork.patches.values())
    outlines = np.array([patchwork.shape(key) for key in patchwork.patches], dtype=object)
    return [
        Zone(
            id=number,
            shape=outlines[at],
            area_ha=geodesic_area_ha(outlines[at], pieces.crs),
            facts=patches[at].facts,
            soils=shares(patches[at].soils_m2),
            site=patches[at].site,
            marked=marked_shares((sites[n], areas_m2[n]) for n in patches[at].members),
        )
        for number, at in enumerate(north_to_south(outlines), start=1)
    ]


def join_alike(patchwork: Patchwork, alike_n: float) -> None:
    """Join the two neighbours that differ least until no two are alike.

    Alike is nearer than `alike_n` [N], or not different at all.
    """
    queue: list[tuple[float, int, int]] = []

    def consider(one: int, other: int) -> None:
        difference = patchwork.difference_n(one, other)
        if difference < alike_n or difference == 0.0:
            heapq.heappush(queue, (difference, min(one, other), max(one, other)))

    for key, patch in patchwork.patches.items():
        for near in patch.borders_m:
            if key < near:
                consider(key, near)
    while queue:
        difference, one, other = heapq.heappop(queue)
        gone = not patchwork.patches.keys() >= {one, other}
        if gone or difference != patchwork.difference_n(one, other):
            continue  # one of them has joined another since
        key = patchwork.join(one, other)
        for near in patchwork.patches[key].borders_m:
            consider(key, near)


def north_to_south(shapes: NDArray[np.object_]) -> NDArray[np.intp]:
    """Order of shapes from north to south, then west to east, by a point inside each.

    >>> north_to_south(np.array([shapely.box(4, 0, 6, 2), shapely.box(0, 0, 2, 2)])).tolist()
    [1, 0]
    """
    inside = shapely.point_on_surface(shapes)
    # To the millimetre, or rounding would decide between two that lie side by side.
    return np.lexsort([shapely.get_x(inside), -shapely.get_y(inside).round(3)])


def shares(soils_m2: Mapping[SoilFacts, float]) -> tuple[tuple[str, float], ...]:
    """What the sources call a zone's ground, and its share of the zone, largest first.

    >>> shares({SoilFacts(named="Clarion loam"): 30.0, SoilFacts("water"): 10.0})
    (('Clarion loam', 0.75), ('water', 0.25))
    """
    by_name: dict[str, float] = {}
    for facts, area_m2 in soils_m2.items():
        name = facts.named or facts.ground
        by_name[name] = by_name.get(name, 0.0) + area_m2
    total_m2 = sum(by_name.values())
    ranked = sorted(by_name.items(), key=lambda part: (-part[1], part[0]))
    return tuple((name, area_m2 / total_m2) for name, area_m2 in ranked)
