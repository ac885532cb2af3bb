"""The swing of the gauge-wheel load, by hand and beside the one machine that was measured."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rowunit.planters import SWING
from zoneplan.rowunit.swing import (
    MeasuredSwing,
    residue_factor,
    slope_factor,
    speed_factor,
    swing,
)
from zoneplan.terms import System, Tillage
from zoneplan.units import MPS_PER_MPH, N_PER_LBF

LB = N_PER_LBF
FIVE = 5 * MPS_PER_MPH


def swing_lb(tillage, mph, system, opener_lb, **ground):
    return swing(tillage, mph * MPS_PER_MPH, system, SWING, **ground).at_n(opener_lb * LB) / LB


# WORKED: √(bounce² + (.15 h R)²), in pounds.
BY_HAND = {
    ("tilled", 5, "springs", 150): math.hypot(50, 22.5),
    ("tilled", 5, "set-air", 150): math.hypot(50, 22.5),
    ("tilled", 5, "closed-loop-air", 150): math.hypot(50, 18),
    ("tilled", 5, "hydraulic", 150): math.hypot(50, 11.25),
    ("strip-till", 5, "springs", 150): math.hypot(52, 22.5),
    ("no-till", 5, "springs", 225): math.hypot(62, 33.75),
    ("tilled", 8, "springs", 200): math.hypot(57.5, 30),
    ("tilled", 1, "springs", 150): math.hypot(42.5, 22.5),
}


@pytest.mark.parametrize("case", BY_HAND)
def test_by_hand(case):
    tillage, mph, system, opener_lb = case
    result = swing_lb(Tillage(tillage), mph, System(system), opener_lb)
    assert result == pytest.approx(BY_HAND[case])


def test_factors_by_hand():
    # WORKED: 5 % per mph either way, not below .85; .25 % per per cent over 20, not above 1.15;
    # 1 % per per cent of slope, not above 10 %.
    assert [round(speed_factor(mph * MPS_PER_MPH, SWING), 6) for mph in (0, 2, 3, 5, 7)] == [
        0.85,
        0.85,
        0.9,
        1.0,
        1.1,
    ]
    assert [round(residue_factor(pct, SWING), 6) for pct in (0, 20, 30, 80, 100)] == [
        1.0,
        1.0,
        1.025,
        1.15,
        1.15,
    ]
    assert [round(slope_factor(frac, SWING), 6) for frac in (0, 0.04, 0.10, 0.30)] == [
        1,
        1.04,
        1.1,
        1.1,
    ]


def test_the_slope_multiplies_all_of_it():
    level = swing_lb(Tillage.TILLED, 5, System.SPRINGS, 150)
    assert swing_lb(Tillage.TILLED, 5, System.SPRINGS, 150, slope_frac=0.05) == pytest.approx(
        1.05 * level
    )


def test_a_measured_swing_replaces_it_where_it_was_measured():
    # WORKED: 80 lb logged at 5 mph on tilled ground; at 7 mph 1.10 times that; no-till is
    # modelled still.
    logged = MeasuredSwing(80 * LB, Tillage.TILLED, FIVE)
    ground = {"measured": logged, "slope_frac": 0.08, "residue_pct": 60}
    assert swing_lb(Tillage.TILLED, 5, System.SPRINGS, 150, **ground) == pytest.approx(80)
    assert swing_lb(Tillage.TILLED, 5, System.SPRINGS, 400, **ground) == pytest.approx(80)
    assert swing_lb(Tillage.TILLED, 7, System.SPRINGS, 150, **ground) == pytest.approx(88)
    faster = {"measured": MeasuredSwing(88 * LB, Tillage.TILLED, 7 * MPS_PER_MPH)}
    assert swing_lb(Tillage.TILLED, 5, System.SPRINGS, 150, **faster) == pytest.approx(80)
    no_till = {**ground, "measured": None}
    assert swing_lb(Tillage.NO_TILL, 5, System.SPRINGS, 225, **ground) == swing_lb(
        Tillage.NO_TILL, 5, System.SPRINGS, 225, **no_till
    )


def test_other_factors_make_another_swing():
    rough = replace(SWING, uneven_share=0.30, bounce_n=dict.fromkeys(Tillage, 40 * LB))
    result = swing(Tillage.NO_TILL, FIVE, System.SPRINGS, rough).at_n(100 * LB) / LB
    assert result == pytest.approx(50)  # WORKED: √(40² + 30²)


def test_common_practice_lies_on_it():
    # 100 to 110 lb keep the wheels down 96 to 98 % of the time: common practice, no source.
    # WORKED: 1.75 and 2.05 swings of a moist loam's 54.6 lb are 95.6 and 112 lb.
    s = swing_lb(Tillage.TILLED, 5, System.SPRINGS, 147)
    assert 1.75 * s <= 100
    assert 2.05 * s >= 110


# PUBLISHED: journal abstract on a radial gauge-wheel load sensor, one no-till machine, authors
# not shown: mean load [N] and coefficient of variation at 6, 8, 10 and 12 km/h.
MEASURED = {6: (1148, 0.40), 8: (1017, 0.41), 10: (843, 0.62), 12: (713, 0.71)}


def uncensored(mean, deviation):
    """Mean and deviation of a normal whose values below zero were read as zero."""
    optimize = pytest.importorskip("scipy.optimize")
    norm = pytest.importorskip("scipy.stats").norm

    def missed(guess):
        middle, spread = guess
        a = middle / spread
        first = middle * norm.cdf(a) + spread * norm.pdf(a)
        second = (middle**2 + spread**2) * norm.cdf(a) + middle * spread * norm.pdf(a)
        return first - mean, math.sqrt(second - first**2) - deviation

    return optimize.fsolve(missed, (mean, deviation))


def test_the_measured_no_till_machine_swung_a_third_more_than_ours():
    """A wheel in the air weighs nothing: the study's numbers are a normal censored at zero.

    WORKED with scipy: at 12 km/h its 713 and 506 N come of 686 and 553 N, contact 89 % and
    not 92. Ours for moist no-till ground is 68 to 90 lb: a third too low, and told.
    """
    for kmh, (mean, variation) in MEASURED.items():
        middle, spread = uncensored(mean, variation * mean)
        assert spread >= variation * mean * 0.999
        ours = swing_lb(Tillage.NO_TILL, kmh / 1.609344, System.SPRINGS, 225)
        assert 1.1 < spread / LB / ours < 1.7, kmh
    norm = pytest.importorskip("scipy.stats").norm
    assert norm.cdf(middle / spread) == pytest.approx(0.892, abs=0.005)


@given(
    st.sampled_from(list(Tillage)),
    st.sampled_from(list(System)),
    st.floats(0, 12),
    st.floats(0, 600),
    st.floats(0, 100),
    st.floats(0, 0.3),
    st.floats(0, 3),
    st.floats(0, 100),
)
def test_nothing_steadies_that_should_not(
    tillage, system, mph, opener_lb, residue, slope, more_mph, more
):
    here = swing_lb(tillage, mph, system, opener_lb, residue_pct=residue, slope_frac=slope)
    assert here > 0
    ground = {"residue_pct": residue, "slope_frac": slope}
    for other in (
        swing_lb(tillage, mph + more_mph, system, opener_lb, **ground),
        swing_lb(tillage, mph, system, opener_lb + more, **ground),
        swing_lb(tillage, mph, system, opener_lb, residue_pct=residue + more, slope_frac=slope),
        swing_lb(tillage, mph, System.SPRINGS, opener_lb, **ground),
    ):
        assert other >= here - 1e-9
