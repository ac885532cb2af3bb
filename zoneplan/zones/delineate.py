"""Part a field into zones whose needs agree: build_zones()."""

import functools
from collections import defaultdict
from collections.abc import Callable, Iterable
from math import inf

import geopandas as gpd
import shapely

from zoneplan.field.area import geodesic_area_ha
from zoneplan.field.shapes import Site
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.alike import join_alike
from zoneplan.zones.kept import join_to_number
from zoneplan.zones.made_of import made_of
from zoneplan.zones.marks import marked_shares, without_slivers
from zoneplan.zones.order import north_to_south
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.straighten import straightened_as_wide
from zoneplan.zones.teeth import Teeth, join_thin
from zoneplan.zones.tidy import join_slivers, sliver_test
from zoneplan.zones.trim import trimmed
from zoneplan.zones.width import narrow_in
from zoneplan.zones.zone import Decision, Zone, Zoned


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
    a sliver does not count. Thin parts of zones go to neighbours. Then the two that differ
    least go on joining as long as enough of the variation in the need for downforce is kept:
    see `join_to_number`. Last, the edges are straightened together.

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
        No zone is thinner than this, but where the field is: see the notes. [m; 0 for any]
    most_zones : int, optional
        No more zones than this, unless they cannot join.
    straighten_m : float
        Tolerance of the edges: see `straightened`. [m; 0 for none]

    Returns
    -------
    Zoned
        Zones are numbered from north to south, then from west to east. A zone is one
        Polygon: ground in two places is two zones. Its facts are those of the ground it is
        made of; its outline and its hectares are those of the straightened edges.

    Notes
    -----
    How thin a zone may be. `opened` rubs out of a zone what is thinner than the least width,
    and out of the field what the field is by itself. Of what it rubs out of a finished zone,
    less what it rubs out of the field, every part is smaller than a square of the least
    width: a corner, a bump, a short neck. Parts down to a quarter of that go to a neighbour
    wherever one takes them and does not get as thin; a zone with a part as large as the square
    that nobody takes joins the neighbour that it differs from least.

    That holds among ground of one kind, by label and marks, and of the field without ground
    that somebody marked: a headland, a wheel track, a drawn zone keep the ground they were
    given, as thin as it is. Between kinds, as soil and water, thin parts go to neighbours too,
    but wide ground does not join for them: should one be left, the notes tell.
    """
    shapes = shapely.normalize(pieces.geometry.to_numpy())
    order = north_to_south(shapes)
    shapes = shapes[order]
    pieces = pieces.iloc[order].set_geometry(shapes)
    is_sliver = sliver_test(narrow_in(shapes, least_width_m), least_area_m2, least_width_m)
    ground = pieces.assign(site=without_slivers(shapes, pieces["site"].tolist(), is_sliver))
    known = zip(ground["facts"], ground["site"], shapely.area(shapes).tolist(), strict=True)
    patchwork = Patchwork(shapes, [[alone] for alone in known], functools.cache(decide))
    teeth = Teeth(shapes, patchwork.decisions(), least_width_m)

    def settle() -> None:
        join_alike(patchwork, alike_n)
        while join_slivers(patchwork, is_sliver):
            join_alike(patchwork, alike_n)

    settle()
    teeth_m2 = inf
    while True:  # each time less is thin, or there is one zone less
        cut = trimmed(patchwork.outlines(), patchwork.decisions(), teeth, teeth_m2)
        if cut:
            outlines, teeth_m2 = cut
            patchwork = Patchwork(outlines, made_of(list(outlines), ground), patchwork.decide)
        elif not join_thin(patchwork, teeth):
            break
        settle()
    numbers, said = join_to_number(patchwork, alike_n, most_zones)
    while join_thin(patchwork, teeth):
        numbers, said = join_to_number(patchwork, alike_n, most_zones)

    decisions = patchwork.decisions()
    outlines, left = straightened_as_wide(patchwork.outlines(), decisions, straighten_m, teeth)
    made = made_of(list(patchwork.outlines()), pieces)
    patches = list(patchwork.patches.values())
    zones = tuple(
        Zone(
            id=number,
            shape=outlines[at],
            area_ha=geodesic_area_ha(outlines[at], pieces.crs),
            facts=patches[at].facts,
            soils=shares((facts, m2) for facts, _, m2 in made[at]),
            site=patches[at].site,
            marked=marked_shares((site, m2) for _, site, m2 in made[at]),
        )
        for number, at in enumerate(north_to_south(outlines), start=1)
    )
    kept = tuple((number.zones, number.kept) for number in numbers)
    return Zoned(zones, kept, (*said, *left, *teeth.notes(outlines, decisions)))


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
