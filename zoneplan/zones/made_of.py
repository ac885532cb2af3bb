"""What ground lies in an outline, by area, however it was drawn."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import Polygon

from zoneplan.field.overlay import GRID_M, HAIRLINE_M
from zoneplan.field.shapes import Site
from zoneplan.soil.texture import SoilFacts

Ground = tuple[SoilFacts, Site, float]  # what is known of it, and its area in m²


def made_of(outlines: Sequence[Polygon], pieces: gpd.GeoDataFrame) -> list[list[Ground]]:
    """Find what lies in each outline: the pieces of a field, or the parts of them in it.

    Parameters
    ----------
    outlines : sequence of Polygon
        In the pieces' metric system. Edges that were straightened, or drawn by a person, need
        not follow those of the pieces.
    pieces : GeoDataFrame
        As `overlay` gives them.

    Returns
    -------
    list of list of Ground
        A list an outline, in the order of the pieces. What is narrower than a hairline is
        rounding where edges run together, and left out where there is anything else.
    """
    drawn, shapes = np.array(outlines, dtype=object), pieces.geometry.to_numpy()
    shapely.prepare(drawn)
    outline, piece = shapely.STRtree(shapes).query(drawn, predicate="intersects")
    cut = ~shapely.covers(drawn[outline], shapes[piece])
    parts = shapes[piece]
    parts[cut] = shapely.intersection(drawn[outline[cut]], parts[cut], grid_size=GRID_M)
    areas_m2 = shapely.area(parts)
    wide = 2 * areas_m2 >= HAIRLINE_M * shapely.length(parts)
    facts, sites = pieces["facts"].to_numpy(), pieces["site"].to_numpy()
    found = []
    for at in range(len(drawn)):
        inside = np.flatnonzero((outline == at) & (areas_m2 > 0))
        kept = inside[wide[inside]] if wide[inside].any() else inside
        kept = kept[np.argsort(piece[kept])]
        found.append([(facts[piece[n]], sites[piece[n]], float(areas_m2[n])) for n in kept])
    return found
