"""Cells of a grid that belong together: number them, and join what is too small.

Grids of whole numbers, -1 where there is no ground. What goes with the ground cells is
listed row by row.
"""

import math
from collections.abc import Sequence
from heapq import heapify, heappop, heappush
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

Patches = NDArray[np.intp]
_Values = NDArray[np.float64]


def patches_of(kinds: Patches) -> Patches:
    """Number the patches from 0: cells of one kind that hang together by their edges.

    >>> patches_of(np.array([[7, 7, 8], [8, 7, -1]]))
    array([[ 0,  0,  1],
           [ 2,  0, -1]])
    """
    one, other = _beside(kinds)
    alike = kinds.flat[one] == kinds.flat[other]
    ties = coo_array((alike[alike], (one[alike], other[alike])), shape=(kinds.size, kinds.size))
    _, labels = connected_components(ties, directed=False)
    return _numbered(np.where(kinds < 0, -1, labels.reshape(kinds.shape)))


def join_small(
    patches: Patches,
    weights: _Values,
    measures: Sequence[_Values],
    least: float,
    kinds: NDArray[np.generic] | None = None,
) -> Patches:
    """Join each patch that weighs less than `least` to the neighbour most like it.

    The lightest goes first; what a patch has taken in counts from then on. Lighter than `least` are
    then only those without a neighbour to join.

    Parameters
    ----------
    patches : array
        What `patches_of` gives. All else goes with its ground cells.
    weights : array
        Above 0, in the unit of `least`.
    measures : sequence of array
        Patches differ by what their means differ, added up.
    kinds : array, optional
        One for all cells of a patch. Only patches of one kind join.
    """
    of = patches[patches >= 0]
    weight: list[float] = np.bincount(of, weights).tolist()
    # By measure and then by patch: few long lists, which the garbage collector is done with soon.
    sums = [np.bincount(of, weights * values).tolist() for values in measures]
    means = [np.divide(total, weight).tolist() for total in sums]
    kind = None
    if kinds is not None:
        kind = np.empty(len(weight), dtype=kinds.dtype)
        kind[of] = kinds
    near = _neighbours(patches, len(weight), kind)

    home = list(range(len(weight)))
    queue = [(light, patch) for patch, light in enumerate(weight) if light < least]
    heapify(queue)
    while queue:
        queued, patch = heappop(queue)
        if home[patch] != patch or weight[patch] != queued or not near[patch]:
            continue  # it has joined another since, or grown, or stands alone
        into = _most_like(patch, near[patch], means)
        home[patch] = into
        weight[into] += weight[patch]
        for total, mean in zip(sums, means, strict=True):
            total[into] += total[patch]
            mean[into] = total[into] / weight[into]
        for other in near[patch]:
            near[other].remove(patch)
        near[patch].discard(into)
        for other in near[patch]:
            near[other].add(into)
        near[into] |= near[patch]
        if weight[into] < least:
            heappush(queue, (weight[into], into))

    for patch in range(len(home)):
        while home[home[patch]] != home[patch]:
            home[patch] = home[home[patch]]
    return _numbered(np.array([*home, -1])[patches])  # the last is for no ground


def _most_like(patch: int, near: set[int], means: list[list[float]]) -> int:
    """The neighbour whose means differ least, added up; of several the first."""
    into, least = -1, math.inf
    mine = [(mean, mean[patch]) for mean in means]
    for other in near:
        off = 0.0
        for mean, here in mine:
            off += abs(here - mean[other])
        if into < 0 or off < least or (off == least and other < into):
            into, least = other, off
    return into


def _neighbours(patches: Patches, count: int, kind: NDArray[np.generic] | None) -> list[set[int]]:
    """Of each patch those beside it, of its own kind where kinds are given."""
    one, other = (patches.flat[places] for places in _beside(patches))
    join = one != other if kind is None else (one != other) & (kind[one] == kind[other])
    both = np.concatenate((one[join] * count + other[join], other[join] * count + one[join]))
    pairs = np.unique(both)
    ends = np.searchsorted(pairs, np.arange(count + 1) * count).tolist()
    beside = (pairs % count).tolist()
    return [set(beside[start:end]) for start, end in pairwise(ends)]


def _beside(cells: Patches) -> tuple[Patches, Patches]:
    """Places of every two ground cells that share an edge."""
    places = np.arange(cells.size).reshape(cells.shape)
    one = np.concatenate([places[:, :-1].ravel(), places[:-1].ravel()])
    other = np.concatenate([places[:, 1:].ravel(), places[1:].ravel()])
    ground = (cells.flat[one] >= 0) & (cells.flat[other] >= 0)
    return one[ground], other[ground]


def _numbered(labels: Patches) -> Patches:
    """Number the ground from 0 without gaps, in the order of the labels."""
    numbered = np.full(labels.shape, -1, dtype=np.intp)
    ground = labels >= 0
    numbered[ground] = np.unique(labels[ground], return_inverse=True)[1]
    return numbered
