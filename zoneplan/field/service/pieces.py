"""Ground of map units in WGS 84, and outlines put together so that one question serves many."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, box

from zoneplan.field.service.cover import areas_of

MOST_TOGETHER = 25  # fields of one question
NEAR_DEG = 0.5  # how far apart the fields of one question may lie
_SLIVER_DEG = 1e-6  # about a decimetre: by so much the service's cut may differ from ours
_WRITTEN = 10  # decimals of a degree


@dataclass(frozen=True)
class Piece:
    """Ground of one map unit."""

    area: str
    mukey: str
    shape: MultiPolygon


def together(outlines: Iterable[MultiPolygon]) -> MultiPolygon:
    """Lay outlines together."""
    return areas_of(shapely.union_all([*outlines]))


def within(pieces: Sequence[Piece], outline: MultiPolygon) -> list[Piece]:
    """Cut pieces to an outline; what already lies in it stays as it came."""
    nearly = outline.buffer(_SLIVER_DEG)
    shapely.prepare(nearly)
    own = []
    near = shapely.intersects(nearly, [piece.shape for piece in pieces])
    for number in np.flatnonzero(near).tolist():
        piece = pieces[number]
        whole = nearly.covers(piece.shape)
        shape = piece.shape if whole else areas_of(piece.shape.intersection(outline))
        if shape.area:
            own.append(replace(piece, shape=shape))
    return own


def groups_of(outlines: Mapping[int, MultiPolygon]) -> list[tuple[int, ...]]:
    """Put neighbours together, so many and so near that one question serves them."""
    places = gpd.GeoSeries(outlines, dtype="geometry")
    if places.empty:
        return []
    groups: list[list[int]] = []
    for number in places.hilbert_distance().sort_values(kind="stable").index:
        joined = [*(groups[-1] if groups else []), int(number)]
        west, south, east, north = places.loc[joined].total_bounds
        if groups and len(joined) <= MOST_TOGETHER and max(east - west, north - south) <= NEAR_DEG:
            groups[-1] = joined
        else:
            groups.append([int(number)])
    return [tuple(sorted(group)) for group in groups]


def halves_of(outline: MultiPolygon) -> list[MultiPolygon]:
    """Cut an outline in two, across its longer side."""
    west, south, east, north = outline.bounds
    x, y = (west + east) / 2, (south + north) / 2
    halves = (
        (box(west, south, x, north), box(x, south, east, north))
        if east - west > north - south
        else (box(west, south, east, y), box(west, y, east, north))
    )
    parts = (areas_of(outline.intersection(half)) for half in halves)
    return [part for part in parts if part.area]


def wkt_of(shape: MultiPolygon) -> str:
    """Write a shape as text."""
    return shapely.to_wkt(shape, rounding_precision=_WRITTEN, trim=True)
