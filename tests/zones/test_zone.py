import numpy as np
import pytest
from shapely.geometry import box

from tests.zones.ground import HEADLAND, soil
from zoneplan.field.shapes import NOWHERE
from zoneplan.zones.zone import made_of

LIGHT, HEAVY = soil(200), soil(300)
SHAPES = np.array([box(0, 0, 60, 100), box(60, 0, 100, 100)])
FIELD = SHAPES, [(LIGHT, NOWHERE), (HEAVY, HEADLAND)]


def test_parts_of_pieces_count_by_their_area():
    # WORKED: 10 m of the first and 20 m of the second, 100 m long.
    [[light, heavy]] = made_of([box(50, 0, 80, 100)], *FIELD)
    assert light == (LIGHT, NOWHERE, pytest.approx(1000))
    assert heavy == (HEAVY, HEADLAND, pytest.approx(2000))


def test_what_is_narrower_than_a_hairline_is_rounding():
    assert made_of([box(0, 0, 60.1, 100)], *FIELD) == [[(LIGHT, NOWHERE, pytest.approx(6000))]]


def test_ground_that_is_all_hairlines_is_still_ground():
    [result] = made_of([box(59.9, 0, 60.1, 100)], *FIELD)
    assert [m2 for _, _, m2 in result] == pytest.approx([10.0, 10.0])


def test_nothing_is_made_of_nothing():
    assert made_of([], *FIELD) == []
