"""Cells of a grid that belong together: number them, and join what is too small.

Grids of whole numbers, -1 where there is no ground. What goes with the ground cells is
listed row by row.
"""

from collections.abc import Iterator, Sequence
from heapq import heapify, heappop, heappush
from operator import sub

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

    Parameters
    ----------
    patches : array
        What `patches_of` gives.
    weights : array
        Of each ground cell, above 0.
    measures : sequence of array
        Of each ground cell. Patches differ by what their means differ, added up.
    least : float
        In the unit of `weights`.
    kinds : array, optional
        Of each ground cell, one for all cells of a patch. Only patches of one kind join.

    Returns
    -------
    array
        Patches numbered from 0. Lighter than `least` are only those without a neighbour to join.

    Notes
    -----
    The lightest goes first; what a patch has taken in counts from then on.
    """
    of = patches[patches >= 0]
    weight: list[float] = np.bincount(of, weights).tolist()
    sums: list[list[float]] = np.array(
        [np.bincount(of, weights * values) for values in measures]
    ).T.tolist()
    means = [[total / heavy for total in row] for row, heavy in zip(sums, weight, strict=True)]
    kind = None
    if kinds is not None:
        kind = np.empty(len(weight), dtype=kinds.dtype)
        kind[of] = kinds
    near = _neighbours(patches, len(weight), kind)

    def unlike(one: int, other: int) -> float:
        differences: Iterator[float] = map(abs, map(sub, means[one], means[other]))
        return sum(differences)

    home = list(range(len(weight)))
    queue = [(light, patch) for patch, light in enumerate(weight) if light < least]
    heapify(queue)
    while queue:
        queued, patch = heappop(queue)
        if home[patch] != patch or weight[patch] != queued or not near[patch]:
            continue  # it has joined another since, or grown, or stands alone
        into = min(near[patch], key=lambda other: (unlike(patch, other), other))
        home[patch] = into
        weight[into] += weight[patch]
        sums[into] = [here + there for here, there in zip(sums[patch], sums[into], strict=True)]
        means[into] = [total / weight[into] for total in sums[into]]
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


def _neighbours(patches: Patches, count: int, kind: NDArray[np.generic] | None) -> list[set[int]]:
    """Of each patch those beside it, of its own kind where kinds are given."""
    near: list[set[int]] = [set() for _ in range(count)]
    one, other = (patches.flat[places] for places in _beside(patches))
    join = one != other if kind is None else (one != other) & (kind[one] == kind[other])
    pairs = np.unique(one[join] * count + other[join])
    for here, there in zip((pairs // count).tolist(), (pairs % count).tolist(), strict=True):
        near[here].add(there)
        near[there].add(here)
    return near


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
