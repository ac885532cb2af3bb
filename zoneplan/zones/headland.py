"""Headland: the passes along the edge of a field, where the planter turns."""

import math
from collections.abc import Iterator, Sequence

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import LinearRing, LineString
from shapely.geometry.base import BaseGeometry

from zoneplan.errors import LayerError
from zoneplan.field.shapes import SAME_AREA, Field, MarkLayer, Marks, polygons_in
from zoneplan.field.tiles import HAIRLINE_M
from zoneplan.notices import Notice, notice
from zoneplan.zones.narrow_parts import TWICE_M

_FACING = ("east", "north", "west", "south")  # from the east anticlockwise, as angles grow
_MOST_MITRE = 2.0  # of the depth, so that a corner sharper than 60° is cut off: judgement


def headland(
    field: Field, passes: int, width_m: float, sides: Sequence[str] | None = None
) -> MarkLayer:
    """Lay passes of the planter along the edge of a field, never outside it.

    Parameters
    ----------
    field : Field
        Holes have an edge too: the planter turns at a pond as well.
    passes : int
        How many, side by side.
    width_m : float
        Of one. [m]
    sides : sequence of str, optional
        Only along sides that face "north", "east", "south" or "west"; all round unless
        given. A side runs from corner to corner and faces where it looks out of the field,
        across a pond too. North-east is whichever of the two is nearer. A bend of less
        than one pass is no corner.

    Raises
    ------
    LayerError
        When no side faces where one is asked for.
    """
    depth_m = passes * width_m
    if sides is None:
        strips = field.shape.difference(_mitred(field.shape, -depth_m))
    else:
        edges = _edges(field, width_m, sides)
        strips = shapely.union_all([_strip(field, edge, depth_m, width_m) for edge in edges])
    ground = polygons_in(strips)
    laid = notice(
        "headland-laid",
        passes=passes,
        width_m=width_m,
        sides=None if sides is None else tuple(sides),
    )
    return MarkLayer(
        name="headland",
        ground=gpd.GeoDataFrame(
            {"site": [Marks(headland=True)] * len(ground)}, geometry=ground, crs=field.crs
        ),
        notes=(laid, *_all_headland(field, strips)),
    )


def _edges(field: Field, width_m: float, sides: Sequence[str]) -> list[LineString]:
    """The stretches of edge that face the sides asked for."""
    runs: dict[str, list[LineString]] = {}
    for ring in shapely.get_rings(shapely.orient_polygons(shapely.get_parts(field.shape))):
        for run in _between_corners(ring, width_m):
            runs.setdefault(_faces(run), []).append(run)
    missing = [side for side in sides if side not in runs]
    if missing:
        raise LayerError(
            f"{field.name} has no side that faces {' or '.join(missing)}: "
            f"its sides face {', '.join(sorted(runs))}.\n"
            "A headland that was asked for must not be missing from the plan.\n"
            "Name one of these, or lay the headland all round."
        )
    chosen = [run for side in dict.fromkeys(sides) for run in runs[side]]
    joined = shapely.line_merge(shapely.multilinestrings(chosen), directed=True)
    return list(shapely.get_parts(joined))


def _between_corners(ring: LinearRing, bend_m: float) -> Iterator[LineString]:
    """Part a ring at its corners: the vertices that are left when its bends are straightened."""
    points = shapely.get_coordinates(ring)[:-1]
    number = {tuple(point): n for n, point in enumerate(points.tolist())}
    straightened = shapely.get_coordinates(ring.simplify(bend_m))[:-1]
    corners = sorted(number[tuple(point)] for point in straightened.tolist())
    for start, end in zip(corners, [*corners[1:], corners[0] + len(points)], strict=True):
        yield LineString(points[np.arange(start, end + 1) % len(points)])


def _faces(run: LineString) -> str:
    """Where a stretch of edge looks, with the ground on its left.

    >>> _faces(LineString([(100, 100), (0, 100)]))
    'north'
    """
    (x, y), *_, (end_x, end_y) = run.coords
    outward = math.atan2(x - end_x, end_y - y)
    return _FACING[math.floor(round(outward / (math.pi / 2), 6) + 0.5) % 4]


def _strip(field: Field, edge: LineString, depth_m: float, bend_m: float) -> BaseGeometry:
    """Ground along a stretch of edge, and no ground across a gap in the field."""
    line = edge if edge.is_closed else _run_out(field, edge, depth_m, bend_m)
    parts = shapely.get_parts(_mitred(line, depth_m).intersection(field.shape))
    return shapely.union_all(parts[shapely.dwithin(parts, edge, HAIRLINE_M)])


def _run_out(field: Field, edge: LineString, reach_m: float, bend_m: float) -> LineString:
    """Run an edge straight on where it leaves the field, so that its strip ends at the field's."""
    points = shapely.get_coordinates(edge)
    straight = shapely.get_coordinates(edge.simplify(bend_m))
    ends = []
    for end, before in ((straight[0], straight[1]), (straight[-1], straight[-2])):
        onward = (end - before) / math.dist(end, before)
        leaves = not field.shape.contains(shapely.Point(end + HAIRLINE_M * onward))
        ends.append([end + reach_m * onward] if leaves else [])
    return LineString([*ends[0], *points, *ends[1]])


def _mitred(shape: BaseGeometry, by_m: float) -> BaseGeometry:
    # A corner written twice has no mitre, and ground that is moved in by it may be lost.
    apart: BaseGeometry = shapely.remove_repeated_points(shape, TWICE_M)
    return apart.buffer(by_m, cap_style="flat", join_style="mitre", mitre_limit=_MOST_MITRE)


def _all_headland(field: Field, strips: BaseGeometry) -> list[Notice]:
    """Note where the field is too narrow for ground between its headlands."""
    parts = shapely.get_parts(field.shape)
    left_m2 = shapely.area(shapely.difference(parts, strips))
    full = int((left_m2 <= SAME_AREA * shapely.area(parts)).sum())
    if not full:
        return []
    return [notice("all-headland", narrow=full, of=len(parts))]
