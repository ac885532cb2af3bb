"""Draw the zones of a field from what its ground needs: build_zones()."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
import shapely
from shapely.geometry import Polygon

from zoneplan.field.shapes import Marks
from zoneplan.field.tiles import GRID_M
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Moisture
from zoneplan.zones.coverage import border_lengths, north_to_south, whole
from zoneplan.zones.finest_ground import FinestGround
from zoneplan.zones.graph import COORDINATE_OF, GroundNeed, ZoneGraph, lost, mean_n
from zoneplan.zones.join import Stop, ZoneCount, join_small, join_to_count, zone_count
from zoneplan.zones.narrow_parts import (
    SLACK_M,
    Narrow,
    Outlines,
    area_m2,
    besides_of,
    largest,
    least_part_m2,
)
from zoneplan.zones.straighten import Edges, straighten
from zoneplan.zones.treatments import Printed, merge_same
from zoneplan.zones.zone import Zone

_LEAST_BORDER_M = 10 * SLACK_M  # what meets along less, meets in a corner; judgement


def widened(
    outlines: Outlines, narrow: Narrow, least_area_m2: float, most_zones: int | None = None
) -> Outlines:
    """Cut off narrow parts, and give each to the neighbour it is most alike.

    Only ground that does not become as thin by it takes a part, and only ground with the same
    label, unless the part is loose. What only a neck held together falls into two. A zone with
    a part as large as a square of the least width that nobody takes joins the neighbour with
    its label that it is most alike; so does what is now smaller than the least area, and the
    smallest as long as there are more zones than asked.
    """
    thin_m2 = inf
    while True:  # each time less is thin, or there is one zone less
        outlines, thin_m2 = _trimmed(outlines, narrow, thin_m2)
        too_many = most_zones is not None and len(outlines.shapes) > most_zones
        pair = _to_join(outlines, narrow, inf if too_many else least_area_m2)
        if pair is None:
            return outlines
        shapes = outlines.shapes.copy()
        shapes[pair[1]] = whole(shapes[list(pair)])
        others = [at for at in range(len(shapes)) if at != pair[0]]
        outlines = Outlines(
            shapes[others], tuple(outlines.labels[at] for at in others), outlines.means[others]
        )


def _trimmed(outlines: Outlines, narrow: Narrow, below_m2: float) -> tuple[Outlines, float]:
    """Move narrow parts as long as each time less is thin; tell how much is left. [m²]"""
    parts = _narrow_parts(outlines, narrow)
    below_m2 = min(below_m2, _sum_m2(parts))
    while moves := _moves(parts, outlines, narrow):
        after = _redrawn(outlines, moves)
        parts_left = _narrow_parts(after, narrow)
        # By half a smallest part at least, so that it comes to an end.
        if _sum_m2(parts_left) > below_m2 - least_part_m2(narrow.least_width_m) / 2:
            break
        outlines, parts, below_m2 = after, parts_left, _sum_m2(parts_left)
    return outlines, below_m2


def _sum_m2(parts: Sequence[tuple[Polygon, int]]) -> float:
    return sum(part.area for part, _ in parts)


def _narrow_parts(outlines: Outlines, narrow: Narrow) -> list[tuple[Polygon, int]]:
    """All narrow parts from north to south, and whose they are."""
    zones = zip(outlines.shapes, outlines.labels, strict=True)
    parts = [(part, at) for at, zone in enumerate(zones) for part in narrow.parts(*zone)]
    if not parts:
        return []
    order = north_to_south(np.array([part for part, _ in parts], dtype=object))
    return [parts[at] for at in order.tolist()]


def _moves(
    parts: Sequence[tuple[Polygon, int]], outlines: Outlines, narrow: Narrow
) -> list[tuple[Polygon, int]]:
    """Find who takes which part. Of two that are too near to be judged alone, one waits."""
    tree = shapely.STRtree(outlines.shapes)
    too_near_m = narrow.least_width_m + _LEAST_BORDER_M
    moves: list[tuple[Polygon, int]] = []
    for part, of in parts:
        if any(shapely.dwithin(part, moved, too_near_m) for moved, _ in moves):
            continue
        # Its new corners lie on the edges but for rounding: so look a little beside them.
        around = part.buffer(SLACK_M, join_style="mitre")
        near = np.sort(tree.query(around, predicate="intersects")).tolist()
        ranks = [_rank(part, around, of, other, outlines, narrow) for other in near]
        takers = [rank for rank in ranks if rank]
        if takers:
            moves.append((part, min(takers)[-1]))
    return moves


def _rank(
    part: Polygon, around: Polygon, of: int, other: int, outlines: Outlines, narrow: Narrow
) -> tuple[bool, float, float, int] | None:
    """Rank a zone among those that may take a part: the least takes it."""
    label, shape = outlines.labels[other], outlines.shapes[other]
    border_m = shapely.boundary(shape).intersection(around).length
    stays = label != outlines.labels[of] and outlines.labels[of] not in narrow.loose
    if other == of or stays or border_m < _LEAST_BORDER_M:
        return None
    both = largest(shape.union(around, grid_size=GRID_M))
    before_m2, after_m2 = (
        sum(thin_part.area for thin_part in narrow.parts(ground, label)) for ground in (shape, both)
    )
    thin_m2 = after_m2 - before_m2
    if thin_m2 > part.area - least_part_m2(narrow.least_width_m) / 2:
        return None
    # To the millimetre, or rounding would decide between two borders that are as long.
    return thin_m2 > part.area / 2, _unlikeness(outlines, of, other), -round(border_m, 3), other


def _unlikeness(outlines: Outlines, one: int, other: int) -> float:
    return round(float(((outlines.means[one] - outlines.means[other]) ** 2).sum()), 6)


def _to_join(outlines: Outlines, narrow: Narrow, least_area_m2: float) -> tuple[int, int] | None:
    """The smallest zone that cannot stay alone, and the neighbour it is most alike."""
    shapes, labels = outlines.shapes, outlines.labels
    sizes_m2 = [area_m2(shape) for shape in shapes]
    cannot_stay = [
        at
        for at, zone in enumerate(zip(shapes, labels, strict=True))
        if sizes_m2[at] < least_area_m2 or narrow.any_large(*zone)
    ]
    if not cannot_stay:
        return None
    borders_m: dict[int, dict[int, float]] = defaultdict(dict)
    for (one, other), length_m in border_lengths(shapes).items():
        if labels[one] == labels[other]:
            borders_m[one][other] = borders_m[other][one] = length_m
    for at in sorted(cannot_stay, key=lambda at: (sizes_m2[at], at)):
        if at in borders_m:
            return at, min(
                borders_m[at],
                key=lambda near: (
                    _unlikeness(outlines, at, near),
                    -round(borders_m[at][near], 3),
                    near,
                ),
            )
    return None


def _redrawn(outlines: Outlines, moves: Sequence[tuple[Polygon, int]]) -> Outlines:
    """The outlines with parts moved; still a coverage, for those nearby are cut along all lines."""
    parts = np.array([part for part, _ in moves], dtype=object)
    # All on one grid, or those that are cut would not meet those that are not.
    everyone = shapely.set_precision(outlines.shapes, GRID_M, mode="pointwise")
    _, touched = shapely.STRtree(everyone).query(parts, "dwithin", _LEAST_BORDER_M)
    near = np.unique(touched)
    shapes = everyone[near]
    lines = shapely.boundary(np.concatenate([shapes, parts]))
    noded = shapely.union_all(lines, grid_size=GRID_M)
    faces = shapely.normalize(shapely.get_parts(shapely.polygonize([noded])))
    points = shapely.point_on_surface(faces)
    face, home = shapely.STRtree(shapes).query(points, predicate="within")
    faces, points, home = faces[face], points[face], near[home]
    inside, part = shapely.STRtree(parts).query(points, predicate="within")
    home[inside] = np.array([into for _, into in moves])[part]
    apart = np.setdiff1d(np.arange(len(everyone)), near).tolist()
    drawn = [(everyone[at], at) for at in apart]
    drawn += [
        (shape, at)
        for at in np.unique(home).tolist()
        for shape in shapely.get_parts(
            shapely.normalize(shapely.coverage_union_all(faces[home == at]))
        )
    ]
    drawn.sort(key=lambda one: one[1])
    shapes = np.array([shape for shape, _ in drawn], dtype=object)
    order = north_to_south(shapes)
    homes = [drawn[at][1] for at in order.tolist()]
    return Outlines(
        shapes[order], tuple(outlines.labels[at] for at in homes), outlines.means[homes]
    )


@dataclass(frozen=True)
class Delineation:
    """A field parted into zones, and what other numbers of them would keep."""

    zones: tuple[Zone, ...]
    # From the most zones to the fewest, before edges were moved; none without any numbers.
    counts: tuple[ZoneCount, ...]
    drawn: ZoneCount  # what these zones keep, as they are
    stop: Stop  # why there are no fewer
    edges: Edges  # whether they were straightened
    narrow_share: float  # of the field: in parts of zones that are thinner than asked


def build_zones(
    ground: FinestGround,
    need_of: Callable[[SoilFacts, Marks], GroundNeed],
    printed: Printed,
    *,
    planned: Moisture | None = None,
    least_area_m2: float,
    least_width_m: float,
    most_zones: int | None = None,
    straighten_m: float = 0.0,
) -> Delineation:
    """Draw zones that tile the field: as few as say what its ground needs.

    Small ground joins first, then always the two neighbours that lose least: see `join_small`
    and `join_to_count`. Narrow parts of what is left go to neighbours, the edges are
    straightened together, and neighbours that print the same become one zone.

    The same ground in another order gives the same zones.

    Parameters
    ----------
    ground : FinestGround
        The pieces of the field.
    need_of : callable
        What ground with such facts needs at such a site; asked once for each.
    printed : callable
        What a plan would print for each of these zones, all moistures of it, as a key: zones
        with the same key are one treatment.
    planned : Moisture, optional
        That is planned for; else the usual day.
    least_area_m2 : float
        Ground smaller than this gets no zone of its own. [m²]
    least_width_m : float
        No zone is thinner than this, but where ground with its label is. [m; 0 for any]
    most_zones : int, optional
        No more zones than this, unless they cannot join.
    straighten_m : float
        Tolerance of the edges: see `straighten`. [m; 0 for none]

    Returns
    -------
    Delineation
        Zones are numbered from north to south, then from west to east. A zone is one Polygon:
        ground in two places is two zones, though it may be one treatment. Its facts are those
        of the ground in it; ground with another label lies in it only where it is thin.
    """
    need = {known: need_of(*known) for known in dict.fromkeys(ground.soils)}
    needs = [need[known] for known in ground.soils]
    coordinate = COORDINATE_OF[planned]

    graph = ZoneGraph(needs, ground.areas_m2, ground.borders_m, coordinate)
    needs_n, weights = graph.means_n.copy(), graph.weights.copy()
    least_m2 = max(least_area_m2, least_part_m2(least_width_m))
    least_border_m = least_width_m / 2 - SLACK_M

    def thin(faces: Sequence[int]) -> bool:
        return ground.is_thin(tuple(sorted(faces)), least_width_m)

    join_small(graph, least_m2, least_border_m, thin)
    partition = join_to_count(graph, least_m2, least_border_m, most_zones)
    groups = [list(group) for group in partition.groups]
    scale = np.sqrt(weights.sum(axis=0) / (graph.weight or 1.0))
    outlines = Outlines(
        np.array([ground.outline(group) for group in partition.groups], dtype=object),
        partition.labels,
        np.array([scale * mean_n(needs_n[group], weights[group]) for group in groups]),
    )
    label_of = {
        face: label
        for group, label in zip(partition.groups, partition.labels, strict=True)
        for face in group
    }
    loose = {need.label for need in needs if need.needs_n is None}
    besides = besides_of(
        [label_of[face] for face in range(len(needs))],
        loose,
        lambda faces: ground.narrow_in(tuple(faces), least_width_m),
    )
    narrow = Narrow(besides, loose, least_width_m, ground.thin_parts)
    outlines = widened(outlines, narrow, least_m2, most_zones)
    drawn, edges = straighten(outlines, straighten_m, narrow)
    zones = merge_same(
        ground.zones_in(list(drawn)), outlines.labels, printed, least_border_m, ground.crs
    )
    left_m2 = sum(
        part.area
        for shape, label in zip(drawn, outlines.labels, strict=True)
        for part in narrow.parts(shape, label)
    )
    inside = sum(_lost(zone, need, coordinate) for zone in zones)
    return Delineation(
        zones=zones,
        counts=partition.counts if graph.weight else (),
        drawn=zone_count(graph, len(zones), inside),
        stop=partition.stop,
        edges=edges,
        narrow_share=left_m2 / float(shapely.area(ground.shapes).sum()),
    )


def _lost(zone: Zone, need: Mapping[tuple[SoilFacts, Marks], GroundNeed], coordinate: int) -> float:
    """What is lost where all ground of a zone is treated as one. [m² N²]"""
    parts = [(need[facts, site], m2) for facts, site, m2 in zone.composition]
    weights = np.array([m2 * np.array(part.weights(coordinate)) for part, m2 in parts])
    return lost(np.array([part.coordinates_n for part, _ in parts]), weights)
