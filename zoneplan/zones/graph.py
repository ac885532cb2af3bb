"""The zone graph: ground that knows its neighbours, and what is lost when two join."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zoneplan.zones.ground_need import USUAL, GroundNeed, Label

SAME_N = 1e-6  # needs that stray by less are the same: rounding
_TINY = np.finfo(float).tiny  # so that nothing by nothing is nothing
_Values = NDArray[np.float64]


@dataclass(slots=True)
class Cluster:
    """Ground joined so far."""

    members: list[int]  # faces
    area_m2: float
    label: Label
    borders_m: dict[int, float]  # by the neighbour's key


class ZoneGraph:
    """The finest ground as clusters, at first one for every face, joined two by two.

    Parameters
    ----------
    needs : sequence of GroundNeed
        What each face needs.
    areas_m2 : sequence of float
        Of each face.
    borders_m : mapping
        Length of border by a pair of faces, the lower first; see `border_lengths`.
    planned : int
        The coordinate of the moisture that is planned for: DRY, USUAL or WET.
    """

    def __init__(
        self,
        needs: Sequence[GroundNeed],
        areas_m2: Sequence[float],
        borders_m: Mapping[tuple[int, int], float],
        planned: int = USUAL,
    ) -> None:
        self.planned = planned
        self.clusters = {
            face: Cluster([face], area_m2, need.label, {})
            for face, (need, area_m2) in enumerate(zip(needs, areas_m2, strict=True))
        }
        for (one, other), length_m in borders_m.items():
            self._lengthen(one, other, length_m)
        distinct = list({id(need): need for need in needs}.values())
        place = {id(need): at for at, need in enumerate(distinct)}
        at = [place[id(need)] for need in needs]
        # By key of the cluster, a column for each coordinate.
        self.means_n = np.array([need.coordinates_n for need in distinct])[at]
        self.weights = np.array([need.weights(planned) for need in distinct])[at]  # [m²]
        self.weights *= np.array(areas_m2)[:, None]
        self.weight = float(self.weights.sum())
        total = lost(self.means_n, self.weights)
        self.total = total if total > SAME_N**2 * self.weight else 0.0  # were all one [m² N²]
        self.lost = 0.0  # by all joins so far, added up from the faces [m² N²]
        self.joins: list[tuple[int, int]] = []  # (key that stayed, key that is gone)

    def costs(self, key: int, others: Sequence[int] | NDArray[np.intp]) -> _Values:
        """What is lost where a cluster joins each of others: Ward's distance. [m² N²]"""
        w, v = self.weights[key], self.weights[others]
        off_n = self.means_n[key] - self.means_n[others]
        each = w * v / (w + v + _TINY) * off_n * off_n
        # Few at a time, again and again: a sum along an axis is slower than its four columns.
        costs: _Values = each[:, 0] + each[:, 1] + each[:, 2] + each[:, 3]
        return costs

    def join(self, one: int, into: int, cost: float) -> int:
        """Join a cluster into a neighbour, whose label it takes; return the key of both.

        Parameters
        ----------
        one, into : int
            Their keys.
        cost : float
            What is lost by it: from `costs`. [m² N²]
        """
        self.lost += cost
        label = self.clusters[into].label
        # The one with more neighbours keeps its key, so that they need not be told.
        key, gone = sorted(
            (one, into), key=lambda candidate: -len(self.clusters[candidate].borders_m)
        )
        cluster, absorbed = self.clusters[key], self.clusters.pop(gone)
        cluster.members += absorbed.members
        cluster.area_m2 += absorbed.area_m2
        cluster.label = label
        cluster.borders_m.pop(gone, None)  # strangers have none
        absorbed.borders_m.pop(key, None)
        for near, length_m in absorbed.borders_m.items():
            del self.clusters[near].borders_m[gone]
            self._lengthen(key, near, length_m)
        self.weights[key] += self.weights[gone]
        share = self.weights[gone] / (self.weights[key] + _TINY)
        self.means_n[key] += share * (self.means_n[gone] - self.means_n[key])
        self.joins.append((key, gone))
        return key

    def unite(self, firsts: Sequence[int]) -> None:
        """Join faces that belong together whatever is lost: from each first up to the next."""
        ends = [*firsts[1:], len(self.means_n)]
        weights = np.add.reduceat(self.weights, firsts)
        means_n = np.add.reduceat(self.weights * self.means_n, firsts) / (weights + _TINY)
        off_n = self.means_n - np.repeat(means_n, np.subtract(ends, firsts), axis=0)
        self.lost += float((self.weights * off_n**2).sum())
        self.weights[firsts], self.means_n[firsts] = weights, means_n
        for first, end in zip(firsts, ends, strict=True):
            cluster, others = self.clusters[first], range(first + 1, end)
            cluster.members += others
            cluster.area_m2 += sum(self.clusters.pop(face).area_m2 for face in others)

    def _lengthen(self, one: int, other: int, length_m: float) -> None:
        borders_m = self.clusters[one].borders_m
        borders_m[other] = borders_m.get(other, 0.0) + length_m
        self.clusters[other].borders_m[one] = borders_m[other]


def lost(needs_n: _Values, weights: _Values) -> float:
    """What is lost where ground is treated as one: weight by the square off its mean. [m² N²].

    Parameters
    ----------
    needs_n, weights : array
        A row for every face, a column for every coordinate. [N, m²]

    Examples
    --------
    >>> lost(np.array([[0.0], [4.0]]), np.array([[3.0], [1.0]]))  # about a mean of 1
    12.0
    """
    return float((weights * (needs_n - mean_n(needs_n, weights)) ** 2).sum())


def mean_n(needs_n: _Values, weights: _Values) -> _Values:
    """What ground needs that is treated as one, by coordinate. [N]"""
    mean: _Values = (weights * needs_n).sum(axis=0) / (weights.sum(axis=0) + _TINY)
    return mean
