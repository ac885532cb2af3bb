"""Who is alike, and which neighbour is the nearest."""

import math

import pytest

from zoneplan.zones.patchwork import difference_n, unlikeness
from zoneplan.zones.zone import Decision

SOIL = Decision("soil", (500.0, 450.0, 400.0))


def test_the_difference_is_the_largest_of_all_loads():
    assert difference_n(SOIL, Decision("soil", (510.0, 420.0, 425.0))) == 30.0
    assert difference_n(SOIL, SOIL) == 0.0
    assert difference_n(Decision("water", ()), Decision("water", ())) == 0.0


def test_other_labels_are_never_alike():
    assert difference_n(SOIL, Decision("organic", SOIL.loads_n)) == math.inf


def test_one_label_has_one_number_of_loads():
    with pytest.raises(ValueError, match="longer"):
        difference_n(Decision("soil", (500.0,)), SOIL)


def test_nearest_is_the_same_label_then_ground_with_loads_then_the_smaller_difference():
    ranked = [
        Decision("soil", (300.0, 250.0, 200.0)),
        Decision("soil, wait when wet", (490.0, 440.0)),
        Decision("soil, wait when wet", (480.0, 440.0)),
        Decision("water", ()),
    ]
    steps = [unlikeness(SOIL, decision) for decision in ranked]
    assert steps == sorted(set(steps))
    pond = Decision("water", ())
    assert unlikeness(pond, Decision("no data", ())) < unlikeness(pond, SOIL)
