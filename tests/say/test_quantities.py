"""Chances as they are printed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rowunit.test_doubt import LEAST, MOST, SET, UNIT
from zoneplan.rowunit.doubt import Chances, setting_chances
from zoneplan.say.quantities import of_ten_rounds, one_in


def test_the_worked_example_is_five_three_two():
    assert of_ten_rounds(setting_chances(UNIT, [SET], LEAST, MOST)) == (5, 3, 2)


# WORKED: whole tenths, then the largest remainders.
ROUNDS = {
    (1.0, 0.0, 0.0): (10, 0, 0),
    (0.0, 0.0, 1.0): (0, 0, 10),
    (0.34, 0.33, 0.33): (4, 3, 3),
    (0.95, 0.05, 0.0): (10, 0, 0),  # a tie: right first
    (0.94, 0.03, 0.03): (10, 0, 0),
    (0.72, 0.14, 0.14): (7, 2, 1),  # a tie: light before heavy
    (0.6, 0.1 + 0.2, 0.1): (6, 3, 1),  # float noise
}


@pytest.mark.parametrize("chances", ROUNDS)
def test_rounds(chances):
    assert of_ten_rounds(Chances(*chances)) == ROUNDS[chances]


@given(st.floats(0, 1), st.floats(0, 1))
def test_rounds_are_always_ten(right, rest):
    light = (1 - right) * rest
    heavy = 1 - right - light
    counts = of_ten_rounds(Chances(right, light, max(heavy, 0.0)))
    assert sum(counts) == 10
    assert min(counts) >= 0
    for count, chance in zip(counts, (right, light, heavy), strict=True):
        assert abs(count - 10 * chance) < 1


def test_one_in():
    # WORKED: 1 / .034 is 29.4, 1 / .0286 is 35 (nearer to 40 by ratio), 1 / .007 is 143.
    values = [one_in(share) for share in (0.034, 0.0286, 0.007, 0.5, 0.9, 0.001, 0.0009, 0.0)]
    assert values == [30, 40, 150, 2, 2, 1000, None, None]


def test_a_round_number_says_itself():
    # WORKED: what people say; the widest step is from 500 to 1000, whose middle is off by √2.
    for count in (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 200, 500, 1000):
        assert one_in(1 / count) == count
    for count in range(2, 1001):
        assert 0.70 < one_in(1 / count) / count < 1.42
