"""Join ground into zones by contiguous Ward: small ground, then always the two that lose least.

Every number of zones is measured by what it keeps, and one of them is chosen.
"""

import heapq
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from zoneplan.units import N_PER_LBF
from zoneplan.zones.graph import Label, ZoneGraph

ROUND_N = 5 * N_PER_LBF  # a plan prints loads to 5 lb: compare rounded with rounded
MOST_RMS_N = 6 * N_PER_LBF  # a step of 20 lb rounds as much away: 20 / √12
STEP_N = 20 * N_PER_LBF  # agronomy judgement: no row unit shows a smaller change


class Join(NamedTuple):
    """The next two to join."""

    lost: float  # once they have, by all joins [m² N²]
    least_m2: float  # area of the smaller
    step_n: float  # between what they print at the planned moisture


def join_small(
    graph: ZoneGraph,
    least_area_m2: float,
    least_border_m: float,
    is_thin: Callable[[Sequence[int]], bool],
) -> None:
    """Join ground that gets no zone of its own, the smallest first, where least is lost.

    Ground smaller or thinner than asked joins ground with the same label. Where there is none
    beside it, it stays; but if it is thinner it joins whatever is beside it.

    Parameters
    ----------
    graph : ZoneGraph
        Changed in place.
    least_area_m2 : float
        Least area of a zone. [m²]
    least_border_m : float
        Neighbours with a shorter border are taken only where there is no other. [m]
    is_thin : callable
        Whether these faces, together, are thinner than asked.
    """
    clusters = graph.clusters
    queue = [(cluster.area_m2, key) for key, cluster in clusters.items()]
    heapq.heapify(queue)
    while queue:
        area_m2, key = heapq.heappop(queue)
        if key not in clusters or clusters[key].area_m2 != area_m2:
            continue  # it has joined another since
        borders_m, label = clusters[key].borders_m, clusters[key].label
        beside = [near for near in borders_m if clusters[near].label == label]
        if area_m2 >= least_area_m2 or not beside:
            if not is_thin(clusters[key].members):
                continue
            beside = beside or list(borders_m)
        if not beside:
            continue
        costs = graph.costs(key, beside).tolist()
        ranks = (
            (
                borders_m[near] < least_border_m,
                clusters[near].label[0] != label[0],
                cost,
                # To the millimetre, or rounding would decide between two that are as long.
                -round(borders_m[near], 3),
                near,
            )
            for near, cost in zip(beside, costs, strict=True)
        )
        near = min(ranks)[-1]
        joined = graph.join(key, near, costs[beside.index(near)])
        heapq.heappush(queue, (clusters[joined].area_m2, joined))


def next_joins(graph: ZoneGraph, least_border_m: float) -> Iterator[Join]:
    """Find the two that lose least, again and again; they join when the next are asked for.

    Ground with other labels never joins, nor does what meets along less than the least border.
    """
    clusters = graph.clusters
    queue: list[tuple[float, int, int, int, int]] = []

    def push_cheapest(key: int) -> None:
        """Every pair is queued for one of the two at what it costs, or for less."""
        cluster = clusters[key]
        beside = [
            near
            for near, border_m in cluster.borders_m.items()
            if border_m >= least_border_m and clusters[near].label == cluster.label
        ]
        if beside:
            costs = graph.costs(key, beside)
            at = int(costs.argmin())
            sizes = len(cluster.members), len(clusters[beside[at]].members)
            heapq.heappush(queue, (float(costs[at]), key, beside[at], *sizes))

    for key in clusters:
        push_cheapest(key)
    while queue:
        cost, key, near, size, near_size = heapq.heappop(queue)
        if key not in clusters or len(clusters[key].members) != size:
            continue  # it has joined another since, and was queued again
        if near not in clusters or len(clusters[near].members) != near_size:
            push_cheapest(key)
            continue
        yield _join(graph, key, near, cost)
        push_cheapest(graph.join(key, near, cost))


def joins_of_strangers(graph: ZoneGraph) -> Iterator[Join]:
    """Find the two that lose least as `next_joins` does, wherever they lie.

    Each is a neighbour of every other, so that a table is quicker than a queue.
    """
    keys = np.array(sorted(graph.clusters))
    label_of = [graph.clusters[key].label for key in keys.tolist()]
    kinds = {label: kind for kind, label in enumerate(label_of)}
    labels = np.array([kinds[label] for label in label_of])

    def costs_of(at: int) -> NDArray[np.float64]:
        return np.where(labels == labels[at], graph.costs(int(keys[at]), keys), np.inf)

    costs = np.triu(np.array([costs_of(at) for at in range(len(keys))]), 1)
    costs[np.tril_indices(len(keys))] = np.inf
    least = costs.min(axis=1)  # of each row, or less: what joins never costs less by it
    while np.isfinite(cost := least[one := int(least.argmin())]):
        other = int(costs[one].argmin())
        if costs[one, other] > cost:
            least[one] = costs[one, other]
            continue
        key, near = int(keys[one]), int(keys[other])
        yield _join(graph, key, near, float(cost))
        graph.join(key, near, float(cost))
        labels[other] = -1  # it is gone
        costs[other], costs[:, other], least[other] = np.inf, np.inf, np.inf
        united = costs_of(one)
        costs[one, one + 1 :], costs[:one, one] = united[one + 1 :], united[:one]
        least[one] = costs[one].min()


def _join(graph: ZoneGraph, key: int, near: int, cost: float) -> Join:
    least_m2 = min(graph.clusters[key].area_m2, graph.clusters[near].area_m2)
    one, other = (round(graph.means_n[each, graph.planned] / ROUND_N) for each in (key, near))
    return Join(graph.lost + cost, least_m2, abs(one - other) * ROUND_N)


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
