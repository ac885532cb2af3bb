"""Shapes for a screen: cut to the field, apart from each other, coarsened until they are light.

What is planned is never taken from here.
"""

from collections.abc import Iterable, Sequence

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.shapes import Field

FINEST_M = 0.5  # a screen of 600 dots shows a field of 65 ha at 1.4 m a dot
MOST_CORNERS = 5_000  # together: some 240 kB in degrees, with hatches
_POLYGON = 3  # as shapely counts kinds of shapes


def clipped(field: Field, ground: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """A layer's polygons in the field, in its metric system, without overlaps."""
    window = gpd.GeoSeries([field.shape], crs=field.crs).to_crs(ground.crs).total_bounds
    near = ground.iloc[np.sort(ground.sindex.query(shapely.box(*window)))].to_crs(field.crs)
    shapes = shapely.make_valid(near.geometry.to_numpy())
    inside = shapely.intersection(shapes, field.shape)
    apart = near.set_geometry(
        gpd.GeoSeries([area(shape) for shape in _apart(inside)], near.index, crs=field.crs)
    )
    return apart[~apart.is_empty]


def light(shapes: Sequence[BaseGeometry]) -> list[Polygon | MultiPolygon]:
    """Coarsen shapes together, so that they still fit, until a browser takes them easily."""
    fine, reach_m = np.array([*shapes], dtype=object), FINEST_M
    coarse = shapely.coverage_simplify(fine, reach_m)
    while shapely.get_num_coordinates(coarse).sum() > MOST_CORNERS:
        reach_m *= 2
        seen = [_without_specks(shape, (2 * reach_m) ** 2) for shape in fine]
        coarse = shapely.coverage_simplify(np.array(seen, dtype=object), reach_m)
    return [*coarse]


def area(shape: BaseGeometry) -> Polygon | MultiPolygon:
    """What of a shape is area: cuts leave points and lines where edges meet."""
    if isinstance(shape, Polygon | MultiPolygon):
        return shape
    parts = shapely.get_parts(shape)
    return MultiPolygon(parts[shapely.get_type_id(parts) == _POLYGON].tolist())


def _apart(shapes: Iterable[BaseGeometry]) -> list[BaseGeometry]:
    """Take from each shape what the ones before it cover."""
    apart = np.array([*shapes], dtype=object)
    one, other = shapely.STRtree(apart).query(apart, predicate="overlaps")
    within, over = shapely.STRtree(apart).query(apart, predicate="within")
    pairs = {*zip(one.tolist(), other.tolist(), strict=True)}
    pairs |= {*zip(within.tolist(), over.tolist(), strict=True)}
    pairs |= {(second, first) for first, second in pairs}
    for late, early in sorted(pairs):
        if early < late:
            apart[late] = apart[late].difference(apart[early])
    return [*apart]


def _without_specks(shape: BaseGeometry, least_m2: float) -> BaseGeometry:
    """Leave out islands and fill holes that are too small to be seen."""
    parts = [
        Polygon(
            part.exterior,
            [interior for interior in part.interiors if Polygon(interior).area >= least_m2],
        )
        for part in shapely.get_parts(shape)
        if part.area >= least_m2
    ]
    return MultiPolygon(parts)
