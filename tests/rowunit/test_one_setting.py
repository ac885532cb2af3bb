import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from tests.rowunit.planters import LB
from zoneplan.rowunit.one_setting import Spread, best_force_n, best_position_n, fit


def spread(needs, weights, light_to_heavy=2.0):
    return Spread(np.array(needs, float), np.array(weights, float), light_to_heavy)


# WORKED. 100 lb on 30 ha, 150 on 50, 300 on 20. Shares at or below: 0.3, 0.8, 1.0. Too light
# counts r times: the quantile is r/(r + 1), 1/4 at a third, 1/2 at 1, 2/3 at 2, 9/10 at 9.
@pytest.mark.parametrize(("ratio", "best"), [(1 / 3, 100), (1, 150), (2, 150), (9, 300)])
def test_the_quantile_by_hand(ratio, best):
    assert best_force_n(spread([300, 100, 150], [20, 30, 50], ratio)) == best


def test_of_equal_settings_the_lightest():
    # WORKED. Two halves, 1 to 1: every force from 100 to 200 costs the same.
    assert best_force_n(spread([200, 100], [1, 1], 1.0)) == 100
    assert best_position_n([200, 150, 100], spread([200, 100], [1, 1], 1.0)) == 100


@pytest.mark.parametrize("seed", range(40))
def test_the_quantile_costs_no_more_than_scipys_minimum(seed):
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 30))
    needs = random.normal(700, 500, count)
    weights = random.uniform(0.01, 10, count)
    ratio = float(random.uniform(0.2, 8))

    def cost(setting):  # written apart from the code under test
        return sum(
            weight * (ratio * (need - setting) if need > setting else setting - need)
            for need, weight in zip(needs, weights, strict=True)
        )

    result = minimize_scalar(
        cost, bounds=(needs.min() - 1, needs.max() + 1), method="bounded", options={"xatol": 1e-6}
    )
    best = best_force_n(Spread(needs, weights, ratio))
    assert cost(best) <= result.fun + 1e-6
    assert cost(best) == pytest.approx(result.fun, rel=1e-4, abs=1e-2)
    assert fit(best, Spread(needs, weights, ratio)).cost == pytest.approx(cost(best))


def test_position_of_least_cost_is_not_always_the_nearest_to_the_best_force():
    # WORKED. Best force 150, nearer to 125 than to 250. 125: light 25·50·2 + 175·20·2 = 9500,
    # heavy 25·30 = 750, in all 10 250. 250: light 50·20·2 = 2000, heavy 150·30 + 100·50 = 9500,
    # in all 11 500. With too light counted 4 to 1: 19 750 against 13 500. The positions are
    # common practice, no source.
    needs, weights = [100, 150, 300], [30, 50, 20]
    assert fit(125, spread(needs, weights)).cost == 10_250
    assert fit(250, spread(needs, weights)).cost == 11_500
    assert best_position_n([0, 125, 250, 400], spread(needs, weights)) == 125
    assert best_position_n([0, 125, 250, 400], spread(needs, weights, 4.0)) == 250


def test_position_of_least_cost_among_even_steps():
    # WORKED. 100: 2·(50·50 + 200·20) = 13 000. 200: 100·30 + 50·50 + 2·100·20 = 9500. 300:
    # 200·30 + 150·50 = 13 500. With too light counted 5 to 1: 32 500, 15 500 and 13 500.
    needs, weights = [100, 150, 300], [30, 50, 20]
    assert [fit(each, spread(needs, weights)).cost for each in (100, 200, 300)] == [
        13_000,
        9500,
        13_500,
    ]
    assert best_position_n([0, 100, 200, 300, 400], spread(needs, weights)) == 200
    assert best_position_n([0, 100, 200, 300, 400], spread(needs, weights, 5.0)) == 300


def test_shares_left_too_light_and_too_heavy():
    # WORKED. At 150 lb: 170 and 130 are within 20 lb; 171 is short, 100 and 129 are over.
    needs = [100 * LB, 129 * LB, 131 * LB, 169 * LB, 171 * LB]
    fits = fit(150 * LB, spread(needs, [1, 1, 3, 3, 2]))
    assert fits.light_share == pytest.approx(0.2)
    assert fits.heavy_share == pytest.approx(0.2)
