"""Ground for these tests: squares to count on the fingers, random triangles, a plain decision."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import Delaunay, Voronoi

from tests.marking import drawn_zone
from zoneplan.field.shapes import NOWHERE, Site
from zoneplan.soil.texture import SoilFacts
from zoneplan.zones.delineate import build_zones
from zoneplan.zones.marks import marks_of
from zoneplan.zones.zone import Decision, Zone

CRS = "+proj=laea +lat_0=42 +lon_0=-93.5 +datum=WGS84 +units=m"
WATER = SoilFacts("water")
NO_DATA = SoilFacts("no data")
HEADLAND, TRACK, GATHERS = Site(headland=True), Site(track=True), Site(gathers_water=True)


def soil(load_n: float) -> SoilFacts:
    """A soil that `decide` gives this load: a newton for every 1/1000 of clay."""
    clay = load_n / 1000
    return SoilFacts(
        texture="loam",
        sand_frac=0.4,
        silt_frac=0.6 - clay,
        clay_frac=clay,
        organic_pct=3.0,
        rated_share=1.0,
        named=f"soil {load_n:g}",
    )


def decide(facts: SoilFacts, site: Site) -> Decision:
    """Water that gathers takes 50 N off the load."""
    if facts.ground != "soil":
        return Decision(facts.ground, ())
    eased_n = 50.0 * site.gathers_water
    return Decision("soil", (1000 * facts.clay_frac - eased_n, 500.0), marks_of(site))


def decide_needs(facts: SoilFacts, site: Site) -> Decision:
    """The same, where the load is also the need for downforce, at one wetness."""
    decision = decide(facts, site)
    return replace(decision, needs_n=decision.loads_n[:1])


def load_n(zone: Zone) -> float:
    return decide(zone.facts, zone.site).loads_n[0]


def pieces(
    shapes: Sequence[shapely.Polygon],
    facts: Sequence[SoilFacts],
    sites: Sequence[Site] | None = None,
) -> gpd.GeoDataFrame:
    columns = {
        "facts": list(facts),
        "layer": "test",
        "site": list(sites or [NOWHERE] * len(shapes)),
    }
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def grid(rows: Sequence[Sequence[SoilFacts | None]]) -> gpd.GeoDataFrame:
    """Squares of 1 m, the first row northmost; None is ground outside the field."""
    cells = [
        (shapely.box(x, -y - 1, x + 1, -y), facts)
        for y, row in enumerate(rows)
        for x, facts in enumerate(row)
        if facts is not None
    ]
    return pieces(*zip(*cells, strict=True))


def row(*parts: tuple[int, SoilFacts] | tuple[int, SoilFacts, Site]) -> gpd.GeoDataFrame:
    """A strip from west to east, 1 m high: each piece's length in metres, facts and site."""
    edges = np.cumsum([0, *[length for length, *_ in parts]])
    shapes = [shapely.box(a, 0, b, 1) for a, b in pairwise(edges)]
    sites = [site[0] if site else NOWHERE for _, _, *site in parts]
    return pieces(shapes, [facts for _, facts, *_ in parts], sites)


KINDS = np.array([*[soil(n) for n in (200, 210, 230, 260, 300, 350)], WATER, NO_DATA])
ODDS = [0.15] * 6 + [0.05] * 2


def cells(seed: int) -> gpd.GeoDataFrame:
    """A random field of 200 m: cells of six soils, water and no data, with gaps and parts."""
    random = np.random.default_rng(seed)
    diagram = Voronoi(random.uniform(0, 200, (150, 2)))
    rings = [region for region in diagram.regions if region and -1 not in region]
    corners = diagram.vertices.round(7)  # the overlay's grid
    shapes = [shapely.Polygon(corners[ring]) for ring in rings]
    inside = [shape for shape in shapes if shapely.box(0, 0, 200, 200).covers(shape)]
    kept = [shape for shape in inside if random.random() > 0.1]
    return pieces(kept, random.choice(KINDS, len(kept), p=ODDS).tolist())


def noded(shapes: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """Give neighbours the corners of each other's borders, as an overlay does."""
    lines = shapely.union_all(shapely.boundary(shapes))
    cut = shapely.get_parts(shapely.polygonize([lines]))
    return [next(c for c in cut if s.contains(c.representative_point())) for s in shapes]


MARKS = np.array(
    [
        NOWHERE,
        HEADLAND,
        TRACK,
        Site(part=drawn_zone("low")),
        Site(True, part=drawn_zone("low")),
        GATHERS,
    ]
)


def marked(seed: int) -> gpd.GeoDataFrame:
    """The same random fields, where a cell in three is marked or gathers water."""
    ground = cells(seed)
    chosen = np.random.default_rng(seed).choice(6, len(ground), p=[0.65, *[0.07] * 5])
    return ground.assign(site=MARKS[chosen])


def triangles(seed: int) -> gpd.GeoDataFrame:
    """A random field of triangles, of which many meet in every corner."""
    random = np.random.default_rng(seed)
    points = random.uniform(0, 200, (80, 2)).round(7)
    shapes = shapely.polygons(points[Delaunay(points).simplices]).tolist()
    return pieces(shapes, random.choice(KINDS, len(shapes), p=ODDS).tolist())


def zones_of(
    ground: gpd.GeoDataFrame,
    *,
    alike_n: float = 1.0,
    least_area_m2: float = 0.0,
    least_width_m: float = 0.0,
) -> tuple[Zone, ...]:
    """Build zones, and see that they tile the ground, before a test looks at anything else."""
    zones = build_zones(
        ground,
        decide,
        alike_n=alike_n,
        least_area_m2=least_area_m2,
        least_width_m=least_width_m,
    ).zones
    shapes = np.array([zone.shape for zone in zones])
    before = shapely.normalize(shapely.coverage_union_all(ground.geometry.to_numpy()))
    after = shapely.normalize(shapely.coverage_union_all(shapes))
    assert shapely.coverage_is_valid(shapes)
    assert shapely.is_valid(shapes).all()
    assert all(shape.geom_type == "Polygon" for shape in shapes)
    # Not one vertex moved; but where teeth were cut off, all were put on the overlay's grid.
    assert after.equals_exact(before, 0.0) or (
        least_width_m and shapely.hausdorff_distance(before, after) < 1e-6
    )
    assert np.isclose(shapely.area(shapes).sum(), ground.area.sum(), rtol=1e-9, atol=0)
    assert [zone.id for zone in zones] == list(range(1, len(zones) + 1))
    for zone in zones:
        assert np.isclose(sum(share for _, share in zone.soils), 1.0, rtol=1e-12)
        assert all(0 < share < 1 + 1e-12 for _, share in zone.marked)
    return zones
