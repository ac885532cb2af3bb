"""Cut soil layers to the field: pieces that tile it, without overlap and without gap.

Pieces come as a GeoDataFrame in the field's own metric system:

    geometry   Polygon, one part; neighbours have every corner of their border in common
    facts      SoilFacts; ground "no data" where no layer lies
    layer      str, the name of the layer it is from; None where no layer lies
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError
from zoneplan.field.area import WGS_84_GEOD, geodesic_area_ha
from zoneplan.field.crs import WGS_84, move
from zoneplan.field.repair import repaired
from zoneplan.field.shapes import Field, SoilLayer
from zoneplan.soil.texture import SoilFacts

GRID_M = 1e-7  # corners are put on a grid this fine, so that lines that should meet do
HAIRLINE_M = 0.2  # degrees with six decimals are good to 0.1 m; nobody maps soil so narrow
_ROUND_M = 50.0  # a soil polygon is first cut down to the field and this much around it
_Shapes = NDArray[np.object_]


class _Soil(NamedTuple):
    """A soil polygon about the field, in the field's metric system."""

    shape: MultiPolygon
    facts: SoilFacts
    layer: str | None


def overlay(field: Field, layers: Sequence[SoilLayer]) -> tuple[gpd.GeoDataFrame, float]:
    """Cut the layers to the field. Where two polygons overlap, the first wins.

    Parameters
    ----------
    field : Field
        The ground to tile.
    layers : sequence of SoilLayer
        Polygons of soils, in any coordinate systems.

    Returns
    -------
    tuple
        The pieces, as listed above, and the ground that no layer covers. [ha]

    Raises
    ------
    LayerError
        When no layer meets the field, or a soil polygon in it cannot be mended.

    Notes
    -----
    All outlines, the field's and the soils', are cut where they cross and laid out as
    faces; then each face is looked up in the layers. So the pieces fit each other by the
    way they are made, however ill the layers fit.

    A strip narrower than a hairline, covered or not, is rounding in the files and no
    ground: it goes to what lies beside it.
    """
    soils = [soil for layer in layers for soil in _near(field, layer)]
    outlines = np.array([soil.shape for soil in soils], dtype=object)
    faces = _faces(field, outlines)
    owners = _without_hairlines(faces, _owners(faces, outlines))
    uncovered = len(soils)
    if (owners == uncovered).all():
        raise _apart(field, layers)
    soils.append(_Soil(MultiPolygon(), SoilFacts(ground="no data"), None))
    pieces = [
        (shape, soils[owner].facts, soils[owner].layer)
        for owner in np.unique(owners)
        for shape in shapely.get_parts(shapely.coverage_union_all(faces[owners == owner]))
    ]
    shapes, facts, names = zip(*pieces, strict=True)
    uncovered_ha = sum(geodesic_area_ha(face, field.crs) for face in faces[owners == uncovered])
    frame = gpd.GeoDataFrame(
        {"facts": facts, "layer": pd.Series(names, dtype=object)},
        geometry=list(shapes),
        crs=field.crs,
    )
    return frame, float(uncovered_ha)


def _near(field: Field, layer: SoilLayer) -> Iterator[_Soil]:
    """Take a layer's polygons about the field into the field's metric system.

    They are cut down to the field's surroundings on the way: a county then costs no more
    than a field, and no edge is too long to stay straight.
    """
    ground = layer.ground
    around = shapely.box(*field.shape.bounds).buffer(_ROUND_M).segmentize(_ROUND_M)
    window = shapely.box(*move(around, field.crs, ground.crs).bounds)
    near = ground.iloc[np.sort(ground.sindex.query(window, predicate="intersects"))]
    for shape, facts in zip(near.geometry, near["facts"], strict=True):
        whole, mended = repaired(shape, ground.crs, f"A soil polygon of {layer.name}")
        parts = shapely.get_parts(shapely.intersection(whole, window))
        areas = MultiPolygon([part for part in parts if isinstance(part, Polygon)])
        told = replace(facts, notes=(*facts.notes, mended)) if mended else facts
        yield _Soil(move(areas, ground.crs, field.crs), told, layer.name)


def _faces(field: Field, outlines: _Shapes) -> _Shapes:
    """Cut the field along every outline."""
    edge = field.shape.boundary
    lines = [edge, *shapely.boundary(outlines), *_ties(edge, outlines)]
    noded = shapely.union_all(lines, grid_size=GRID_M)
    faces = shapely.get_parts(shapely.polygonize([noded]))
    return faces[shapely.within(shapely.point_on_surface(faces), field.shape)]


def _ties(edge: BaseGeometry, outlines: _Shapes) -> _Shapes:
    """Lines from corners of soils to the field's edge, where that is only a hairline away.

    They part a hairline among the soils that it runs past.
    """
    shapely.prepare(edge)
    corners = np.asarray(shapely.points(np.unique(shapely.get_coordinates(outlines), axis=0)))
    ties = shapely.shortest_line(corners[shapely.dwithin(corners, edge, HAIRLINE_M)], edge)
    return ties[shapely.length(ties) > 0]


def _owners(faces: _Shapes, outlines: _Shapes) -> NDArray[np.intp]:
    """Find the first soil polygon that each face lies in; one past the last for none."""
    points = shapely.point_on_surface(faces)
    face, soil = shapely.STRtree(outlines).query(points, predicate="within")
    owners = np.full(len(faces), len(outlines), dtype=np.intp)
    np.minimum.at(owners, face, soil)
    return owners


def _without_hairlines(faces: _Shapes, owners: NDArray[np.intp]) -> NDArray[np.intp]:
    """Give each face narrower than a hairline to the one it has the longest border with."""
    owners = owners.copy()
    settled = 2 * shapely.area(faces) / shapely.length(faces) >= HAIRLINE_M
    while True:
        loose, firm = np.flatnonzero(~settled), np.flatnonzero(settled)
        one, other = shapely.STRtree(faces[firm]).query(faces[loose], predicate="intersects")
        one, other = loose[one], firm[other]
        borders_m = shapely.length(shapely.intersection(faces[one], faces[other]))
        order = np.argsort(borders_m)
        order = order[borders_m[order] > 0]
        if not len(order):
            return owners
        owners[one[order]] = owners[other[order]]  # of several, the last: the longest border
        settled[one[order]] = True


def _apart(field: Field, layers: Sequence[SoilLayer]) -> LayerError:
    here = move(field.shape, field.crs, WGS_84)
    rows = [f"  {field.name}: {_extent(here.bounds)}"]
    for layer in layers:
        there = layer.ground.geometry.to_crs(WGS_84)
        nearest = there.iloc[int(np.argmin(shapely.distance(there.to_numpy(), here)))]
        ends = shapely.get_coordinates(shapely.shortest_line(here, nearest))
        _, _, metres = WGS_84_GEOD.inv(*ends[0], *ends[1])
        rows.append(f"  {layer.name}: {_extent(there.total_bounds)}; {metres / 1000:,.1f} km away")
    return LayerError(
        "The boundary and the soil do not meet:\n"
        + "\n".join(rows)
        + "\nNo zone can be drawn without soil. One of them is of another place, or its "
        "coordinate system is misstated.\nCheck both, and give the soil that lies under the field."
    )


def _extent(bounds: Sequence[float]) -> str:
    west, south, east, north = bounds
    return f"longitude {west:.4f} to {east:.4f}, latitude {south:.4f} to {north:.4f}"
