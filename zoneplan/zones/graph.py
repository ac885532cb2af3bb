"""The zone graph: what ground needs, who its neighbours are, and what is lost when two join."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zoneplan.terms import Ground, Moisture
from zoneplan.units import N_PER_LBF

DRY, USUAL, WET, WAIT = range(4)  # coordinates: three needs, and the chance to wait
COORDINATES = 4
COORDINATE_OF = {Moisture.DRY: DRY, Moisture.MOIST: USUAL, Moisture.WET: WET, None: USUAL}
WAIT_N = 60 * N_PER_LBF  # judged: how many newtons a certain wait weighs as much as
SAME_N = 1e-6  # needs that stray by less are the same: rounding
_TINY = np.finfo(float).tiny  # so that nothing by nothing is nothing

Label = tuple[Ground, str | None]  # kind of ground, and the zone drawn around it
_Values = NDArray[np.float64]


@dataclass(frozen=True)
class GroundNeed:
    """What one soil at one site needs, unrounded.

    The need of a row unit that holds a setting is target + R + C + A - W at half fill, of one
    that holds a margin the target. Ground without numbers needs nothing.
    """

    kind: Ground  # other kinds never join
    drawn: str | None = None  # the zone a person drew around it: nor do these across their line
    needs_n: tuple[float, float, float] | None = None  # dry, on the usual day, wet [N]
    wait_chance: float = 0.0  # that it is too wet to plant in the wet column, 0 to 1

    @property
    def label(self) -> Label:
        """Ground with another label never joins it as alike."""
        return self.kind, self.drawn

    @property
    def coordinates_n(self) -> tuple[float, ...]:
        """Where it lies among all needs. [N]

        >>> GroundNeed(Ground.SOIL, None, (900.0, 800.0, 700.0), 0.5).coordinates_n[:3]
        (900.0, 800.0, 700.0)
        """
        if self.needs_n is None:
            return (0.0,) * COORDINATES
        return (*self.needs_n, self.wait_chance * WAIT_N)

    def weights(self, planned: int) -> tuple[float, ...]:
        """How much a square metre of it weighs in each coordinate.

        The planned moisture counts a half, the others a quarter each; when wet, ground counts
        as much as it is not to wait. Judged.

        >>> GroundNeed(Ground.SOIL, None, (900.0, 800.0, 700.0), 0.5).weights(USUAL)
        (0.25, 0.5, 0.125, 0.25)
        """
        if self.needs_n is None:
            return (0.0,) * COORDINATES
        share = [0.25] * COORDINATES
        share[planned] = 0.5
        share[WET] *= 1 - self.wait_chance
        return tuple(share)


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
