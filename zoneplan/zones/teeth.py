"""Teeth: the parts of a zone that are too thin, though the zone is wide elsewhere."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from math import inf

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from zoneplan.field.overlay import GRID_M
from zoneplan.zones.borders import border_lengths
from zoneplan.zones.order import north_to_south
from zoneplan.zones.patchwork import Patchwork
from zoneplan.zones.tidy import SLACK_M, opened

LEAST_TOOTH = 0.1  # of the least area: what is smaller no planter follows anyway; judgement
_Shapes = NDArray[np.object_]


def teeth(shape: Polygon, roomy: BaseGeometry, least_width_m: float) -> list[Polygon]:
    """Find the parts of a zone in which a disc of the least width would not fit.

    Ground that is nowhere so wide has none, nor has ground where the field itself is thin.

    Parameters
    ----------
    shape : Polygon
        Of the zone.
    roomy : Polygon or MultiPolygon
        Where the field is as wide: see `tidy.opened`.
    least_width_m : float
        Width that is asked for. [m]
    """
    body = opened(shape, least_width_m)
    if body.is_empty:
        return []
    # A little past the body, or rounding would leave threads along its edge.
    parts = shapely.get_parts(shape.difference(body.buffer(SLACK_M, join_style="mitre")))
    return [
        part
        for part in parts
        if isinstance(part, Polygon) and part.intersection(roomy).area > part.area / 2
    ]


def without_teeth(
    patchwork: Patchwork, roomy: BaseGeometry, least_area_m2: float, least_width_m: float
) -> tuple[Patchwork, list[int]]:
    """Cut the teeth off, and give each to the neighbour it has the longest border with.

    Only a neighbour of the same label and marks takes one; without such the tooth stays.
    Ground that only a neck held together falls into two patches.

    Returns
    -------
    tuple
        The patchwork, whose pieces are cut where a tooth was; and the number that each of
        its pieces had before.
    """
    keys = list(patchwork.patches)
    outlines = patchwork.outlines()
    loose: list[Polygon] = []
    takers: list[int] = []
    for key, outline in zip(keys, outlines, strict=True):
        near = [n for n in patchwork.patches[key].borders_m if patchwork.difference_n(key, n) < inf]
        edges = shapely.boundary(outlines[[keys.index(n) for n in near]])
        for tooth in teeth(outline, roomy, least_width_m) if near else []:
            # Its new corners lie on the edges but for rounding: so look a little beside them.
            borders_m = shapely.length(shapely.intersection(edges, tooth.buffer(SLACK_M)))
            if tooth.area >= LEAST_TOOTH * least_area_m2 and borders_m.max() > 2 * SLACK_M:
                loose.append(tooth)
                takers.append(near[int(borders_m.argmax())])
    if not loose:
        return patchwork, list(range(len(patchwork.shapes)))

    shapes, pieces, homes = _cut(patchwork, np.array(loose, dtype=object), takers)
    facts = [patchwork.facts[piece] for piece in pieces]
    sites = [patchwork.sites[piece] for piece in pieces]
    groups = list(_together(shapes, homes))
    return Patchwork(shapes, facts, sites, patchwork.decide, groups), pieces


def _cut(
    patchwork: Patchwork, loose: _Shapes, takers: Sequence[int]
) -> tuple[_Shapes, list[int], list[int]]:
    """Cut the pieces along the teeth: faces, the piece of each, the patch it goes to."""
    lines = shapely.boundary(np.concatenate([patchwork.shapes, loose]))
    noded = shapely.union_all(lines, grid_size=GRID_M)
    faces = shapely.normalize(shapely.get_parts(shapely.polygonize([noded])))
    faces = faces[north_to_south(faces)]
    points = shapely.point_on_surface(faces)
    face, piece = shapely.STRtree(patchwork.shapes).query(points, predicate="within")
    faces = faces[face]
    home_of = {member: key for key, patch in patchwork.patches.items() for member in patch.members}
    homes = [home_of[at] for at in piece.tolist()]
    inside, tooth = shapely.STRtree(loose).query(points[face], predicate="within")
    for at, which in zip(inside.tolist(), tooth.tolist(), strict=True):
        homes[at] = takers[which]
    return faces, piece.tolist(), homes


def _together(shapes: _Shapes, homes: Sequence[int]) -> Iterator[list[int]]:
    """The faces of each patch that hang together."""
    alike = [pair for pair in border_lengths(shapes) if homes[pair[0]] == homes[pair[1]]]
    one, other = np.array(alike, dtype=np.intp).reshape(-1, 2).T
    ties = coo_array((np.ones(len(one)), (one, other)), shape=(len(homes), len(homes)))
    groups: dict[int, list[int]] = defaultdict(list)
    for face, label in enumerate(connected_components(ties, directed=False)[1].tolist()):
        groups[label].append(face)
    yield from groups.values()
