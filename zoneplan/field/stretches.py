"""Outlines from corner to corner: the stretches that two polygons share, and those of one alone."""

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

_Points = NDArray[np.float64]


class Stretches(NamedTuple):
    """Stretches of outlines, each a straight line between two corners."""

    owners: NDArray[np.intp]  # (n, 2): the numbers of two polygons that share one, the lower first
    metres: NDArray[np.float64]  # (n,): how long it is
    lone: _Points  # (m, 2, 2): both ends of one that a single polygon has
    twofold: bool  # whether none is shared by more than two


def stretches_of(shapes: NDArray[np.object_]) -> Stretches:
    """Take outlines apart, and find out which stretches they share.

    Parameters
    ----------
    shapes : array of Polygon
        Corners that are meant to be the same are the same to the last digit.

    Examples
    --------
    >>> halves = np.array([shapely.box(0, 0, 1, 2), shapely.box(1, 0, 2, 2)])
    >>> shared = stretches_of(halves)
    >>> shared.owners.tolist(), shared.metres.tolist(), len(shared.lone)
    ([[0, 1]], [2.0], 6)
    """
    corners, owner = shapely.get_coordinates(shapes, return_index=True)
    start = np.flatnonzero(_goes_on(shapes, corners, owner))
    # Sorted by a number made of both ends: the corners themselves take ten times as long to sort.
    number = corner_numbers(corners)
    number = (number[:-1] + number[1:])[start]
    order = np.argsort(number)
    start, number = start[order], number[order]
    alike = number[1:] == number[:-1]
    alike[alike] = _same(corners, start[:-1][alike], start[1:][alike])
    paired = np.zeros(len(start), dtype=bool)
    paired[:-1] |= alike
    paired[1:] |= alike
    one, other, lone = start[:-1][alike], start[1:][alike], start[~paired]
    low, high = np.minimum(owner[one], owner[other]), np.maximum(owner[one], owner[other])
    return Stretches(
        owners=np.column_stack([low, high]),
        metres=np.hypot(*np.diff(corners, axis=0).T)[one],
        lone=np.stack([corners[lone], corners[lone + 1]], axis=1),
        twofold=bool(2 * len(one) + len(lone) == len(start)),
    )


_MIX = np.array([0xBF58476D1CE4E5B9, 0x94D049BB133111EB], dtype=np.uint64)


def corner_numbers(corners: _Points) -> NDArray[np.uint64]:
    """A number for each corner, as good as by chance, however regular their places are.

    Source
    ------
    The mixing is that of Steele, Lea & Flood (2014), "Fast splittable pseudorandom number
    generators", doi:10.1145/2660193.2660195, once for each coordinate.
    """
    x, y = (corners + 0.0).view(np.uint64).T  # there is a zero below zero
    return _mixed(_mixed(x) + y)


def _mixed(number: NDArray[np.uint64]) -> NDArray[np.uint64]:
    for shift, factor in zip((30, 27), _MIX, strict=True):
        number = (number ^ (number >> np.uint64(shift))) * factor
    mixed: NDArray[np.uint64] = number ^ (number >> np.uint64(31))
    return mixed


def _same(corners: _Points, one: NDArray[np.intp], other: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether stretches that begin there have the same ends, either way round."""

    def meet(this: NDArray[np.intp], that: NDArray[np.intp]) -> NDArray[np.bool_]:
        equal: NDArray[np.bool_] = (corners[this] == corners[that]).all(axis=1)
        return equal

    same = meet(one, other + 1) & meet(one + 1, other)  # as neighbours mostly have them
    rest = ~same
    same[rest] = meet(one[rest], other[rest]) & meet(one[rest] + 1, other[rest] + 1)
    return same


def _goes_on(
    shapes: NDArray[np.object_], corners: _Points, owner: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether a stretch begins at each corner: it does not at the end of a ring."""
    goes_on = np.zeros(len(corners), dtype=bool)
    goes_on[:-1] = (owner[1:] == owner[:-1]) & (corners[1:] != corners[:-1]).any(axis=1)
    holed = shapely.get_num_interior_rings(shapes) > 0
    if holed.any():
        rings, of = shapely.get_rings(shapes[holed], return_index=True)
        first = np.searchsorted(owner, np.flatnonzero(holed))
        corners_of_ring = shapely.get_num_coordinates(rings)
        ends = np.cumsum(corners_of_ring)
        before = np.concatenate([[0], np.cumsum(np.bincount(of, corners_of_ring))])[of]
        goes_on[first[of] + ends - before.astype(int) - 1] = False
    return goes_on
