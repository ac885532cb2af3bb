"""Trim zones: their teeth are cut off and go to neighbours that do not get as thin by them."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from math import inf
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import Polygon

from zoneplan.field.overlay import GRID_M
from zoneplan.zones.borders import border_lengths, whole
from zoneplan.zones.marks import binding
from zoneplan.zones.order import north_to_south
from zoneplan.zones.patchwork import unlikeness
from zoneplan.zones.teeth import Teeth
from zoneplan.zones.width import SLACK_M, least_part_m2
from zoneplan.zones.zone import Decision

LEAST_BORDER_M = 10 * SLACK_M  # what meets along less, meets in a corner; judgement
_Shapes = NDArray[np.object_]
_Rank = tuple[bool, tuple[bool, int, int, bool, float], float, int]


class _Zones(NamedTuple):
    shapes: _Shapes
    decisions: Sequence[Decision]


class _Move(NamedTuple):
    tooth: Polygon
    into: int  # index of the zone that takes it


def trimmed(
    outlines: _Shapes, decisions: Sequence[Decision], teeth: Teeth, below_m2: float = inf
) -> tuple[_Shapes, float] | None:
    """Cut off teeth, and give each to the neighbour it differs from least.

    Only ground that does not become thin by it takes a tooth; and what is bound by marks goes
    to the same marks only. Ground that only a neck held together falls into two.

    Parameters
    ----------
    outlines, decisions : array of Polygon, sequence of Decision
        Of the zones of a field: a valid coverage.
    teeth : Teeth
        What is thin there.
    below_m2 : float, optional
        The teeth that are left must have less area than this. [m²]

    Returns
    -------
    tuple or None
        The outlines, and the area of the teeth that are left [m²]; None where no tooth found a
        neighbour.
    """
    zones = _Zones(outlines, decisions)
    found = _found(zones, teeth)
    below_m2 = min(below_m2, _area_m2(found))
    while moves := _moves(found, zones, teeth):
        after = _redrawn(zones, moves)
        left = _found(after, teeth)
        # By half a smallest tooth at least, so that it comes to an end.
        if _area_m2(left) > below_m2 - least_part_m2(teeth.least_width_m) / 2:
            break
        zones, found, below_m2 = after, left, _area_m2(left)
    return None if zones.shapes is outlines else (zones.shapes, below_m2)


def _area_m2(found: Sequence[tuple[Polygon, int]]) -> float:
    return sum(tooth.area for tooth, _ in found)


def _found(zones: _Zones, teeth: Teeth) -> list[tuple[Polygon, int]]:
    """All teeth from north to south, and whose they are."""
    found = [
        (tooth, number)
        for number, (shape, decision) in enumerate(zip(zones.shapes, zones.decisions, strict=True))
        for tooth in teeth.of(shape, decision)
    ]
    if not found:
        return []
    order = north_to_south(np.array([tooth for tooth, _ in found], dtype=object))
    return [found[at] for at in order.tolist()]


def _moves(found: Sequence[tuple[Polygon, int]], zones: _Zones, teeth: Teeth) -> list[_Move]:
    """Find who takes which tooth. Of two that are too near to be judged alone, one waits."""
    tree = shapely.STRtree(zones.shapes)
    too_near_m = teeth.least_width_m + LEAST_BORDER_M
    moves: list[_Move] = []
    for tooth, number in found:
        if any(shapely.dwithin(tooth, move.tooth, too_near_m) for move in moves):
            continue
        # Its new corners lie on the edges but for rounding: so look a little beside them.
        around = tooth.buffer(SLACK_M, join_style="mitre")
        near = tree.query(around, predicate="intersects").tolist()
        ranks = [_rank(tooth, around, number, other, zones, teeth) for other in near]
        takers = [rank for rank in ranks if rank]
        if takers:
            moves.append(_Move(tooth, min(takers)[-1]))
    return moves


def _rank(
    tooth: Polygon, around: Polygon, of: int, other: int, zones: _Zones, teeth: Teeth
) -> _Rank | None:
    """Rank a zone among those that may take a tooth: the least takes it."""
    own, decision, shape = zones.decisions[of], zones.decisions[other], zones.shapes[other]
    bound = binding(own.marks)
    border_m = shapely.boundary(shape).intersection(around).length
    if other == of or border_m < LEAST_BORDER_M or (bound and bound != binding(decision.marks)):
        return None
    before_m2, after_m2 = (
        sum(it.area for it in teeth.of(ground, decision))
        for ground in (shape, shape.union(around, grid_size=GRID_M))
    )
    thin_m2 = after_m2 - before_m2
    if thin_m2 > tooth.area - least_part_m2(teeth.least_width_m) / 2:
        return None
    # To the millimetre, or rounding would decide between two borders that are as long.
    return thin_m2 > tooth.area / 2, unlikeness(own, decision), -round(border_m, 3), other


def _redrawn(zones: _Zones, moves: Sequence[_Move]) -> _Zones:
    """The zones with the teeth moved; still a coverage, for all are cut along all lines."""
    teeth = np.array([move.tooth for move in moves], dtype=object)
    lines = shapely.boundary(np.concatenate([zones.shapes, teeth]))
    noded = shapely.union_all(lines, grid_size=GRID_M)
    faces = shapely.normalize(shapely.get_parts(shapely.polygonize([noded])))
    points = shapely.point_on_surface(faces)
    face, home = shapely.STRtree(zones.shapes).query(points, predicate="within")
    faces, points = faces[face], points[face]
    inside, tooth = shapely.STRtree(teeth).query(points, predicate="within")
    home[inside] = np.array([move.into for move in moves])[tooth]
    groups = list(_together(faces, home))
    shapes = np.array([whole(faces[group]) for group in groups], dtype=object)
    order = north_to_south(shapes)
    return _Zones(shapes[order], [zones.decisions[home[groups[at][0]]] for at in order.tolist()])


def _together(shapes: _Shapes, home: NDArray[np.intp]) -> Iterator[list[int]]:
    """Shapes with the same home that hang together."""
    alike = [pair for pair in border_lengths(shapes) if home[pair[0]] == home[pair[1]]]
    one, other = np.array(alike, dtype=np.intp).reshape(-1, 2).T
    ties = coo_array((np.ones(len(one)), (one, other)), shape=(len(home), len(home)))
    groups: dict[int, list[int]] = defaultdict(list)
    for shape, label in enumerate(connected_components(ties, directed=False)[1].tolist()):
        groups[label].append(shape)
    yield from groups.values()
