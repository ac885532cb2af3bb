"""Contiguous Ward: join small ground first, then always the two that lose least, down to one."""

import heapq
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from zoneplan.units import N_PER_LBF
from zoneplan.zones.graph import ZoneGraph

ROUND_N = 5 * N_PER_LBF  # a plan prints loads to 5 lb: compare rounded with rounded


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
