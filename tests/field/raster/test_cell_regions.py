"""Patches of a grid on paper: small enough to colour in by hand."""

import numpy as np
import pytest

from zoneplan.field.raster.cell_regions import join_small, patches_of

GREY = np.array([[1, 1, 2, 2], [1, 3, 3, 2], [-1, 3, 1, 1]])


def test_a_patch_hangs_together_by_edges_not_corners():
    # WORKED: the two 1s below touch the others at a corner only.
    expected = [[0, 0, 1, 1], [0, 2, 2, 1], [-1, 2, 3, 3]]
    assert patches_of(GREY).tolist() == expected


def join(rows, values, least):
    kinds = np.array(rows)
    weights = np.ones((kinds >= 0).sum())
    return join_small(patches_of(kinds), weights, [np.array(values, dtype=float)], least).tolist()


def test_the_smallest_joins_the_neighbour_most_like_it():
    # WORKED: 5 lies between 1 and 6, and is nearer to 6.
    assert join([[0, 0, 1, 2, 2]], [1, 1, 5, 6, 6], least=2) == [[0, 0, 1, 1, 1]]


def test_what_was_taken_in_counts_from_then_on():
    # WORKED: 4 joins 5, their mean is 4.5. That is still small, and nearer to 7 than to 1.
    values = [1, 1, 1, 4, 5, 7, 7, 7]
    assert join([[0, 0, 0, 1, 2, 3, 3, 3]], values, least=3) == [[0, 0, 0, 1, 1, 1, 1, 1]]


def test_a_small_patch_without_neighbours_stays():
    assert join([[0, -1, 1, 1]], [1, 9, 9], least=2) == [[0, -1, 1, 1]]


def test_nothing_at_all():
    assert join([[-1, -1]], [], least=2) == [[-1, -1]]


@pytest.mark.parametrize("least", [2, 5, 40])
def test_a_chessboard_joins_too(least):
    # No square has a neighbour of its own kind; all the same none is left small.
    kinds = np.indices((9, 9)).sum(axis=0) % 2
    joined = join_small(patches_of(kinds), np.ones(81), [kinds.ravel().astype(float)], least)
    assert np.bincount(joined.ravel()).min() >= least
    assert patches_of(joined).max() == joined.max()  # and each hangs together
