"""What is not known of the opener load, carried to the window, the wheels and the seed."""

import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rowunit.planters import SWING
from zoneplan.rowunit.doubt import (
    FILL_POINTS,
    UNCHECKED_SD,
    Chances,
    Row,
    contact_at,
    held_chances,
    held_margin,
    hopper_right_share,
    mean_chances,
    opener_quantiles_n,
    opener_range_n,
    over_fills,
    setting_chances,
    setting_chances_at,
    setting_margin,
    shallow_at,
    window_n,
)
from zoneplan.rowunit.swing import Swing, swing
from zoneplan.terms import System, Tillage
from zoneplan.units import M_PER_IN, MPS_PER_MPH, N_PER_LBF

LB = N_PER_LBF

# The worked example: set air at 55 lb, unit 205 lb and 89.6 lb of seed in a full hopper,
# refilled at a tenth, closing 40 lb, opener 150.2 lb, a window of 96 to 160 lb.
UNIT = Row(294.6 * LB, (205 + 8.96) * LB, 40 * LB, 0.0, 150.2 * LB, sd_ln=0.308)
SET, LEAST, MOST = 55 * LB, 96 * LB, 160 * LB
SET_AIR = swing(Tillage.TILLED, 5 * MPS_PER_MPH, System.SET_AIR, SWING)
DEPTH = 2 * M_PER_IN

# WORKED: full: 294.6 + 55 − 40 − 160 = 149.6 may push, Φ(ln(149.6 / 150.2) / .308) = .495 too
# heavy; half 109.3; refill 68.96. (way from refill to full) to heavy, right, light.
AT_FILLS = {1.0: (0.495, 0.379, 0.127), 0.5: (0.151, 0.528, 0.321), 0.0: (0.006, 0.340, 0.654)}
THOUSANDTH = 0.00055


def heavy_to_light(chances):
    return chances.heavy, chances.right, chances.light


@pytest.mark.parametrize("way", AT_FILLS)
def test_one_fill_of_the_worked_example(way):
    chances = setting_chances_at(UNIT, way, SET, LEAST, MOST)
    assert heavy_to_light(chances) == pytest.approx(AT_FILLS[way], abs=THOUSANDTH)


def test_the_whole_hopper_of_the_worked_example():
    # WORKED: weights 5, 8, 5 of 18 at .113, .5 and .887 of the way; the three printed to be 1.
    result = setting_chances(UNIT, [SET], LEAST, MOST)
    assert heavy_to_light(result) == pytest.approx((0.187, 0.467, 0.346), abs=0.001)


def test_the_three_fills_are_gauss_s():
    # WORKED: ½ (1 ± √.6), weights 5, 8, 5 of 18: exact for any polynomial up to the fifth power.
    assert [way for way, _ in FILL_POINTS] == pytest.approx(
        [(1 - math.sqrt(0.6)) / 2, 0.5, (1 + math.sqrt(0.6)) / 2], abs=0.0001
    )
    for power in range(6):
        result = over_fills(lambda way, power=power: way**power)
        assert result == pytest.approx(1 / (power + 1), abs=0.0001)


def test_chances_are_a_lognormal_s():
    # PUBLISHED: scipy's lognorm.
    stats = pytest.importorskip("scipy.stats")
    opener = stats.lognorm(s=0.308, scale=150.2 * LB)
    for way in (0.0, 0.3, 1.0):
        chances = setting_chances_at(UNIT, way, SET, LEAST, MOST)
        carried = UNIT.resting_n(way) + SET
        assert chances.heavy == pytest.approx(opener.cdf(carried - MOST))
        assert chances.light == pytest.approx(opener.sf(carried - LEAST))


def test_the_quantiles_are_scipy_s():
    stats = pytest.importorskip("scipy.stats")
    shares = [(at + 0.5) / 9 for at in range(9)]
    expected = stats.lognorm(s=0.308, scale=150.2 * LB).ppf(shares)
    assert opener_quantiles_n(UNIT) == pytest.approx(expected)
    assert opener_range_n(UNIT) == pytest.approx(
        stats.lognorm(s=0.308, scale=150.2 * LB).ppf([0.1, 0.9])
    )


def test_the_spread_by_hand():
    # WORKED: √(.25² + .15² + .10²) = √.095.
    assert pytest.approx(0.3082, abs=0.0001) == UNCHECKED_SD


def test_a_pressure_that_drifts_is_the_mean_of_its_ends():
    low, high = (setting_chances(UNIT, [SET + off * LB], LEAST, MOST) for off in (-12, 12))
    both = setting_chances(UNIT, [SET - 12 * LB, SET + 12 * LB], LEAST, MOST)
    assert heavy_to_light(both) == pytest.approx(
        [(a + b) / 2 for a, b in zip(heavy_to_light(low), heavy_to_light(high), strict=True)]
    )
    assert both.right < setting_chances(UNIT, [SET], LEAST, MOST).right


def test_where_there_is_no_window_ten_pounds_either_side_of_the_ceiling():
    # WORKED.
    assert window_n(130 * LB, 110 * LB) == pytest.approx((100 * LB, 120 * LB))
    assert window_n(110 * LB, 110 * LB) == pytest.approx((100 * LB, 120 * LB))
    assert window_n(LEAST, MOST) == (LEAST, MOST)
    crossed = setting_chances(UNIT, [SET], 130 * LB, 110 * LB)
    assert heavy_to_light(crossed) == pytest.approx(
        heavy_to_light(setting_chances(UNIT, [SET], 100 * LB, 120 * LB))
    )


def test_what_cannot_be_carried_is_never_too_heavy():
    # WORKED: 214 + 0 − 40 − 200 is under nothing: no opener load is that small.
    chances = setting_chances_at(UNIT, 0.0, 0.0, 180 * LB, 200 * LB)
    assert heavy_to_light(chances) == (0.0, 0.0, 1.0)


def test_with_nothing_in_doubt_the_hopper_alone_decides():
    # WORKED, in pounds: 159.4 full (right), 119.1 half (right), 78.8 at refill (light).
    sure = dataclasses.replace(UNIT, sd_ln=0.0)
    values = [
        heavy_to_light(setting_chances_at(sure, way, SET, LEAST, MOST)) for way in (1.0, 0.5, 0.0)
    ]
    assert values == [(0, 1, 0), (0, 1, 0), (0, 0, 1)]


def test_a_margin_is_held_as_far_as_the_downforce_reaches():
    # WORKED: asked 120 lb of margin at half fill (254.3 lb): R − 94.3 of downforce. 0 to 100
    # lb reach from 94.3 to 194.3: Φ(.836) − Φ(−1.511) = .7984 − .0654.
    even = dataclasses.replace(UNIT, weight_full_n=254.28 * LB, weight_refill_n=254.28 * LB)
    result = held_chances(even, 120 * LB, (0.0, 100 * LB))
    assert heavy_to_light(result) == pytest.approx((0.0654, 0.7330, 0.2016), abs=0.0005)


def test_what_is_held_and_what_is_left_past_the_reach():
    # WORKED, half fill, 214.28 lb at rest: R 150 needs 55.7 of downforce: 120 left. R 250 needs
    # 155.7 and gets 100: 64.3. R 50 needs −44.3 and gets 0: 164.3.
    left = held_margin(UNIT, 120 * LB, (0.0, 100 * LB))
    values = [left(0.5, opener * LB) / LB for opener in (150, 250, 50)]
    assert values == pytest.approx([120, 64.28, 164.28])
    result = setting_margin(UNIT, SET)
    assert result(0.5, 150 * LB) / LB == pytest.approx(214.28 + 55 - 150)


def test_contact_and_shallow_seed_of_the_worked_example():
    # WORKED, apart from this code: at the median alone .007 of the seed is shallow; over nine
    # quantiles .0286; over two thousand .0346. (The nine leave out the hardest eighteenth.)
    left = setting_margin(UNIT, SET)
    sure = dataclasses.replace(UNIT, sd_ln=0.0)
    shallow, at_median = (
        over_fills(lambda way, row=row: shallow_at(row, way, left, SET_AIR, DEPTH))
        for row in (UNIT, sure)
    )
    assert shallow == pytest.approx(0.0286, abs=0.0001)
    assert at_median == pytest.approx(0.0071, abs=0.0001)
    contact = over_fills(lambda way: contact_at(UNIT, way, left, SET_AIR))
    assert contact == pytest.approx(0.9263, abs=0.0001)


def test_nine_quantiles_come_within_a_fifth_of_the_whole_integral():
    integrate = pytest.importorskip("scipy.integrate")
    stats = pytest.importorskip("scipy.stats")
    left = setting_margin(UNIT, SET)

    def at(z, way):
        opener = 150.2 * LB * math.exp(0.308 * z)
        share = stats.norm.cdf(
            -(left(way, opener) + 0.9 * 0.01 / DEPTH * opener) / SET_AIR.at_n(opener)
        )
        return share * stats.norm.pdf(z)

    whole = over_fills(lambda way: integrate.quad(at, -6, 6, args=(way,))[0])
    nine = over_fills(lambda way: shallow_at(UNIT, way, left, SET_AIR, DEPTH))
    assert whole == pytest.approx(0.0346, abs=0.0005)
    assert 0.8 * whole < nine < whole


def test_one_contact_by_hand():
    # WORKED: R known, margin 100 lb and a swing of 50 lb: Φ(2) = .97725.
    sure = Row(250 * LB, 250 * LB, 0.0, 0.0, 150 * LB, sd_ln=0.0)
    flat = Swing(50 * LB, 0.0, 1.0)
    assert contact_at(sure, 0.5, setting_margin(sure, 0.0), flat) == pytest.approx(0.97725)
    # 10 of 50.8 mm relieve .9 × 150 × .19685 = 26.6 lb: Φ(−126.6 / 50) = .00567.
    result = shallow_at(sure, 0.5, setting_margin(sure, 0.0), flat, DEPTH)
    assert result == pytest.approx(0.00567, abs=0.00002)


def test_a_field_is_the_mean_of_its_zones_by_area():
    # WORKED: 3 ha at .5 and 1 ha at .9.
    zones = [(Chances(0.5, 0.5, 0.0), 3.0), (Chances(0.9, 0.0, 0.1), 1.0)]
    assert heavy_to_light(mean_chances(zones)) == pytest.approx((0.025, 0.6, 0.375))


LOAD = st.floats(1, 3000)


@given(LOAD, st.floats(0, 900), st.floats(0, 400), LOAD, st.floats(0.01, 0.6), LOAD, LOAD, LOAD)
def test_chances_are_whole(refill, seed, closing, opener, sd, setting, least, most):
    # Invariant 11.
    row = Row(refill + seed, refill, closing, 0.0, opener, sd)
    for result in (
        setting_chances(row, [setting - 20, setting + 20], least, most),
        held_chances(row, least, (-most, setting)),
    ):
        assert sum(heavy_to_light(result)) == pytest.approx(1)
        assert min(heavy_to_light(result)) >= 0


@given(LOAD, LOAD, st.floats(0.01, 0.6), st.floats(10, 900), st.floats(0, 1), st.floats(0, 500))
def test_more_downforce_is_more_contact_and_less_shallow_seed(
    weight, opener, sd, setting, way, more
):
    row = Row(weight, weight, 0.0, 0.0, opener, sd)
    less, heavier = setting_margin(row, setting), setting_margin(row, setting + more)
    assert contact_at(row, way, heavier, SET_AIR) >= contact_at(row, way, less, SET_AIR)
    assert shallow_at(row, way, heavier, SET_AIR, DEPTH) <= shallow_at(
        row, way, less, SET_AIR, DEPTH
    )


def test_what_the_hopper_alone_leaves():
    # WORKED, in pounds: 159.4 full, 78.8 at refill; 159.4 − 96 = 63.4 of 80.64 are right.
    assert hopper_right_share(UNIT, SET, LEAST, MOST) == pytest.approx(63.4 / 80.64, abs=0.0001)
    empty = Row(200.0, 200.0, 0.0, 0.0, 100.0)
    assert hopper_right_share(empty, 0.0, 90.0, 110.0) == 1
    assert hopper_right_share(empty, 0.0, 110.0, 120.0) == 0
    wide = Row(400.0, 200.0, 0.0, 0.0, 100.0)
    assert hopper_right_share(wide, 0.0, 400.0, 500.0) == 0
