"""How many zones: every number of them with what it keeps, and the one to draw."""

import math
from dataclasses import dataclass
from enum import StrEnum

from zoneplan.units import N_PER_LBF
from zoneplan.zones.graph import ZoneGraph
from zoneplan.zones.ground_need import Label
from zoneplan.zones.ward import Join, joins_of_strangers, next_joins

MOST_RMS_N = 6 * N_PER_LBF  # a step of 20 lb rounds as much away: 20 / √12
STEP_N = 20 * N_PER_LBF  # agronomy judgement: no row unit shows a smaller change


@dataclass(frozen=True)
class ZoneCount:
    """One number of zones that the field may be parted into, measured on the finest ground."""

    zones: int
    share: float  # of the variation in the need, 0 to 1
    rms_n: float  # how far the need inside the zones strays from theirs


class Stop(StrEnum):
    """Why no more zones were joined."""

    UNIFORM = "uniform"  # all did: the need strays by no more than a step's rounding
    RMS = "rms"  # the need inside them would stray by more than that
    STEP = "step"  # the next two print needs that a row unit tells apart
    FEWEST = "fewest"  # what is left does not join


@dataclass(frozen=True)
class Partition:
    """The faces of a field in groups, and what other numbers of groups would keep."""

    groups: tuple[tuple[int, ...], ...]
    labels: tuple[Label, ...]  # of each group
    counts: tuple[ZoneCount, ...]  # from the most zones to the fewest
    stop: Stop


def join_to_count(
    graph: ZoneGraph,
    least_area_m2: float,
    least_border_m: float | None,
    most_zones: int | None = None,
) -> Partition:
    """Join the two that lose least as long as no need is lost that a row unit would show.

    Joining ends before the first two that take the root mean square above MOST_RMS_N, or that
    are both large enough for a zone and print needs STEP_N apart. Where the small ground alone
    has lost more than that, the joins may lose as much again. Ground whose need strays by less
    over all of the field is as few zones as there can be.

    Parameters
    ----------
    graph : ZoneGraph
        In which small ground has joined. Joined down to the fewest clusters.
    least_area_m2, least_border_m : float
        Of a zone, and between neighbours. [m², m; None where strangers join as well]
    most_zones : int, optional
        No more zones than this, unless they cannot join.
    """
    members = {key: list(cluster.members) for key, cluster in graph.clusters.items()}
    labels = {key: cluster.label for key, cluster in graph.clusters.items()}
    most_lost = MOST_RMS_N**2 * graph.weight
    stop = Stop.UNIFORM if graph.total <= most_lost else None
    if graph.lost > most_lost:
        most_lost = 2 * graph.lost
    counts = [zone_count(graph, len(members), graph.lost)]
    before, chosen = len(graph.joins), 0
    for join in (
        joins_of_strangers(graph) if least_border_m is None else next_joins(graph, least_border_m)
    ):
        if stop is None:
            stop = _stop(join, most_lost, least_area_m2)
        too_many = most_zones is not None and counts[-1].zones > most_zones
        if stop in (None, Stop.UNIFORM) or too_many:
            chosen += 1
        counts.append(zone_count(graph, counts[-1].zones - 1, join.lost))
    for stays, gone in graph.joins[before : before + chosen]:
        members[stays] += members.pop(gone)
    return Partition(
        groups=tuple(tuple(sorted(faces)) for faces in members.values()),
        labels=tuple(labels[key] for key in members),
        counts=tuple(counts),
        stop=stop or Stop.FEWEST,
    )


def _stop(join: Join, most_lost: float, least_area_m2: float) -> Stop | None:
    if join.lost > most_lost:
        return Stop.RMS
    return Stop.STEP if join.least_m2 >= least_area_m2 and join.step_n >= STEP_N else None


def zone_count(graph: ZoneGraph, zones: int, lost: float) -> ZoneCount:
    """What so many zones keep of a field that lose so much inside them. [m² N²]"""
    share = max(0.0, 1 - lost / graph.total) if graph.total else 1.0
    return ZoneCount(zones, share, math.sqrt(lost / graph.weight) if graph.weight else 0.0)
