"""Draw the zones of a field from what its ground needs: build_zones()."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from zoneplan.field.shapes import Marks
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Moisture
from zoneplan.zones.borders import border_lengths, whole
from zoneplan.zones.composition import made_of, zone_of
from zoneplan.zones.graph import ZoneGraph, lost, mean_n
from zoneplan.zones.ground_need import COORDINATE_OF, GroundNeed
from zoneplan.zones.narrow_parts import SLACK_M, Narrow, Outlines, is_thin, least_part_m2, narrow_in
from zoneplan.zones.order import north_to_south
from zoneplan.zones.straighten import Edges, straighten
from zoneplan.zones.treatments import Printed, merge_same
from zoneplan.zones.ward import join_small
from zoneplan.zones.widen import widened
from zoneplan.zones.zone import Zone
from zoneplan.zones.zone_count import Stop, ZoneCount, join_to_count, zone_count


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
    pieces: gpd.GeoDataFrame,
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
    pieces : GeoDataFrame
        Single Polygons in the field's metric system that tile it and share every vertex of
        their borders, with their `facts` and `site`: see `overlay`.
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
    shapes = shapely.normalize(pieces.geometry.to_numpy())
    order = north_to_south(shapes)
    shapes, pieces = shapes[order], pieces.iloc[order].set_geometry(shapes[order])
    known = list(zip(pieces["facts"], pieces["site"], strict=True))
    need = {ground: need_of(*ground) for ground in dict.fromkeys(known)}
    needs = [need[ground] for ground in known]
    coordinate = COORDINATE_OF[planned]

    # To the square centimetre, or rounding would decide between two that are as large.
    graph = ZoneGraph(
        needs, shapely.area(shapes).round(4).tolist(), border_lengths(shapes), coordinate
    )
    needs_n, weights = graph.means_n.copy(), graph.weights.copy()
    narrow_field = narrow_in(shapes, least_width_m)
    least_m2 = max(least_area_m2, least_part_m2(least_width_m))
    least_border_m = least_width_m / 2 - SLACK_M

    def thin(faces: Sequence[int]) -> bool:
        return is_thin(shapely.coverage_union_all(shapes[faces]), least_width_m, narrow_field)

    join_small(graph, least_m2, least_border_m, thin)
    partition = join_to_count(graph, least_m2, least_border_m, most_zones)
    groups = [list(group) for group in partition.groups]
    scale = np.sqrt(weights.sum(axis=0) / (graph.weight or 1.0))
    outlines = Outlines(
        np.array([whole(shapes[group]) for group in groups], dtype=object),
        partition.labels,
        np.array([scale * mean_n(needs_n[group], weights[group]) for group in groups]),
    )
    loose = {need.label for need in needs if need.needs_n is None}
    narrow = Narrow(outlines, loose, least_width_m)
    outlines = widened(outlines, narrow, least_m2, most_zones)
    drawn, edges = straighten(outlines, straighten_m, narrow)
    grounds = made_of(list(drawn), pieces)
    zones = merge_same(
        [zone_of(*zone, pieces.crs) for zone in zip(drawn, grounds, strict=True)],
        outlines.labels,
        printed,
        least_border_m,
        pieces.crs,
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
        narrow_share=left_m2 / float(shapely.area(shapes).sum()),
    )


def _lost(zone: Zone, need: Mapping[tuple[SoilFacts, Marks], GroundNeed], coordinate: int) -> float:
    """What is lost where all ground of a zone is treated as one. [m² N²]"""
    parts = [(need[facts, site], m2) for facts, site, m2 in zone.composition]
    weights = np.array([m2 * np.array(part.weights(coordinate)) for part, m2 in parts])
    return lost(np.array([part.coordinates_n for part, _ in parts]), weights)
