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


def test_other_marks_are_never_alike():
    assert difference_n(SOIL, Decision("soil", SOIL.loads_n, ("headland",))) == math.inf


def test_a_sliver_gives_up_a_mark_before_it_takes_one():
    low = Decision("soil", SOIL.loads_n, ("low",))
    both = Decision("soil", SOIL.loads_n, ("headland", "low"))
    far = (300.0, 250.0, 200.0)
    ranked = [
        Decision("soil", far, ("low",)),
        Decision("soil, wait when wet", far[:2], ("low",)),
        Decision("soil", SOIL.loads_n),
        both,
        Decision("soil", SOIL.loads_n, ("headland",)),
        Decision("water", ()),
    ]
    steps = [unlikeness(low, decision) for decision in ranked]
    assert steps == sorted(set(steps))
    # Where the headland crosses it, either will do; plain ground would lose both.
    assert unlikeness(both, low)[:3] == unlikeness(both, ranked[4])[:3] < unlikeness(both, SOIL)


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
