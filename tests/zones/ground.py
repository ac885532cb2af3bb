"""Ground for these tests: squares to count on the fingers, random triangles, a plain load."""

from collections.abc import Sequence
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
from scipy.spatial import Delaunay, Voronoi

from tests.marking import drawn_zone
from zoneplan.field.shapes import NOWHERE, Marks
from zoneplan.soil.texture import SoilFacts

CRS = "+proj=laea +lat_0=42 +lon_0=-93.5 +datum=WGS84 +units=m"
WATER = SoilFacts("water")
NO_DATA = SoilFacts("no data")
HEADLAND, TRACK, GATHERS = Marks(headland=True), Marks(track=True), Marks(gathers_water=True)


def soil(load_n: float) -> SoilFacts:
    """A soil that `load_n` gives this load: a newton for every 1/1000 of clay."""
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


def load_n(facts: SoilFacts, site: Marks) -> float:
    """Water that gathers takes 50 N off the load."""
    assert facts.clay_frac is not None
    return 1000 * facts.clay_frac - 50.0 * site.gathers_water


def pieces(
    shapes: Sequence[shapely.Polygon],
    facts: Sequence[SoilFacts],
    sites: Sequence[Marks] | None = None,
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


def row(*parts: tuple[int, SoilFacts] | tuple[int, SoilFacts, Marks]) -> gpd.GeoDataFrame:
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
    values = [shape for shape in inside if random.random() > 0.1]
    return pieces(values, random.choice(KINDS, len(values), p=ODDS).tolist())


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
        Marks(part=drawn_zone("low")),
        Marks(True, part=drawn_zone("low")),
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
