"""Fit, test or wait: the chance that a soil smears, its order and its clauses."""

import inspect
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.soil.triangle import MORE_CLAY, POINTS
from zoneplan.say.quantities import out_of_ten
from zoneplan.soil.texture import CLASS_POINT, TEXTURES
from zoneplan.soil.water import reference_soil
from zoneplan.soil.workability import (
    plasticity_pct,
    smear_chance,
    survey_smear_chance,
    zone_fitness,
)
from zoneplan.terms import Fitness

# Sand and clay of the surface horizon as the Iowa soil survey has them (US government, public
# domain), and the chance at field capacity. WORKED, apart from this code; the order is what an
# Iowan says of these soils.
IOWA = {
    "Storden": (0.51, 0.18, 0.15),
    "Clarion": (0.45, 0.21, 0.25),
    "Nicollet": (0.31, 0.26, 0.51),
    "Canisteo": (0.28, 0.29, 0.60),
    "Webster": (0.21, 0.32, 0.72),
    "Okoboji": (0.11, 0.36, 0.85),
}
HUNDREDTH = 0.005 + 1e-9


@pytest.mark.parametrize("series", IOWA)
def test_soils_of_one_county(series):
    sand, clay, chance = IOWA[series]
    assert smear_chance(sand, clay) == pytest.approx(chance, abs=HUNDREDTH)


def test_the_order_that_an_iowan_gives():
    chances = [smear_chance(sand, clay) for sand, clay, _ in IOWA.values()]
    assert chances == sorted(chances)


def test_a_silty_clay_loam_of_38_to_40_per_cent_clay():
    # WORKED: .88 is where such heavy prairie soils (5 % sand) lie; theirs is not in our hands.
    assert smear_chance(0.05, 0.38) == pytest.approx(0.89, abs=HUNDREDTH)


def test_one_chance_by_hand():
    # WORKED, loam at field capacity, from its 13.702 and 27.961 % by volume and 1.43238 Mg/m³:
    # water 19.521 %, w15 9.566 %, limit 13.46 + .80 × 9.566 + 2.54 × 1.4501 + .47 × 3
    # − .21 × 20 = 22.006 %; sd √((5 / 1.43238)² + 3²) = 4.602; z = −.5400, Φ = .2946.
    assert smear_chance(0.40, 0.20) == pytest.approx(0.2946, abs=0.0005)


def handbook_pct(wilting_pct, carbon_pct, extensibility_pct, clay_pct):
    """Liquid limit and plasticity index, National Soil Survey Handbook 618.86."""
    liquid = 11.60 + 1.49 * wilting_pct + 1.35 * carbon_pct
    index = -1.86 + 0.69 * wilting_pct - 1.19 * carbon_pct
    return (
        liquid + 0.6 * extensibility_pct + 0.26 * clay_pct,
        index + 0.13 * extensibility_pct + 0.47 * clay_pct,
    )


def test_the_handbook_by_hand():
    # WORKED: 11.6 + 1.49 x 16.6 + 1.35 x 2 + .6 x 5 + .26 x 35 = 51.13, and so the index.
    assert handbook_pct(16.6, 2.0, 5.0, 35) == pytest.approx((51.13, 24.31), abs=0.01)


@pytest.mark.parametrize("texture", TEXTURES)
def test_the_limit_is_the_one_of_the_handbook(texture):
    # WORKED: liquid limit less plasticity index, each by its own equation; Φ from scipy.
    stats = pytest.importorskip("scipy.stats")
    sand, clay = CLASS_POINT[texture]
    soil = reference_soil(sand, clay)
    liquid, index = handbook_pct(
        100 * soil.wilting / soil.density_mg_m3, 2.5 / 1.724, 3.0, 100 * clay
    )
    assert plasticity_pct(sand, clay) == pytest.approx(index)
    spread = math.hypot(5 / soil.density_mg_m3, 3)
    water = 100 * soil.capacity / soil.density_mg_m3
    chance = stats.norm.cdf((water - (liquid - index)) / spread)
    assert smear_chance(sand, clay) == pytest.approx(chance)


def test_clay_never_clears_a_soil():
    # Invariant 6, on all 20,100 steps of half a per cent, wet, moist and in between.
    for share in (0.75, 0.9, 1.0):
        chances = [smear_chance(sand, clay, share) for sand, clay in POINTS]
        falls = [POINTS[here] for here, more in MORE_CLAY if chances[more] < chances[here] - 1e-12]
        assert (len(MORE_CLAY), falls) == (20100, [])


def test_only_texture_and_water_are_arguments():
    # Invariant 6: density, extensibility and organic matter do not enter.
    assert list(inspect.signature(smear_chance).parameters) == [
        "sand_frac",
        "clay_frac",
        "available_share",
    ]


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 0.99), st.floats(0.01, 1))
def test_wetter_smears_no_less(sand, clay, share, more):
    sand *= 1 - clay
    wetter = min(share + more, 1.0)
    assert smear_chance(sand, clay, wetter) >= smear_chance(sand, clay, share)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1), st.floats(0.7, 1))
def test_more_clay_smears_no_less(sand, clay, more, share):
    sand *= 1 - clay
    clayier = min(clay + more, 1 - sand)
    assert smear_chance(sand, clayier, share) >= smear_chance(sand, clay, share) - 1e-12


def test_past_sixty_per_cent_clay_nothing_changes():
    assert smear_chance(0.10, 0.80) == smear_chance(0.10, 0.60) > smear_chance(0.10, 0.55)


def test_the_spread_is_about_five_per_cent_of_water():
    # WORKED: hypot(5 / density, 3) lies between 4.4 and 5.3 over the triangle.
    spreads = [math.hypot(5 / reference_soil(*point).density_mg_m3, 3) for point in POINTS]
    assert (min(spreads), max(spreads)) == pytest.approx((4.41, 5.28), abs=0.01)


def test_the_survey_s_own_limits():
    # WORKED, Clarion: 28.6 % by volume at 1.30 Mg/m³ is 22.0 %, the limit 39 − 14 = 25 %:
    # Φ(−3 / 5) = .274. At the limit itself it is one half.
    assert survey_smear_chance(22.0, 39, 14) == pytest.approx(0.274, abs=0.0005)
    assert survey_smear_chance(25.0, 39, 14) == 0.5
    assert survey_smear_chance(22.0, 0, 0) is None  # non-plastic
    assert survey_smear_chance(None, 39, 14) is None
    assert survey_smear_chance(22.0, None, 14) is None
    assert survey_smear_chance(22.0, 39, None) is None


def test_a_zone_waits_where_more_than_half_of_it_waits():
    assert zone_fitness(0.51, Fitness.TEST) is Fitness.WAIT
    assert zone_fitness(0.50, Fitness.WAIT) is Fitness.TEST
    assert zone_fitness(0.0, Fitness.FIT) is Fitness.FIT
    assert zone_fitness(0.3, Fitness.TEST) is Fitness.TEST


def test_odds_to_a_tenth():
    # WORKED: halves go up.
    assert [out_of_ten(chance) for chance in (0, 0.04, 0.05, 0.27, 0.349, 0.75, 1)] == [
        0,
        0,
        1,
        3,
        3,
        8,
        10,
    ]


def workable_share(texture, rosetta):
    """Field capacity over the wet end of the workable range, both by weight and by others."""
    sand, clay = CLASS_POINT[texture]
    density = reference_soil(sand, clay).density_mg_m3
    row = (100 * sand, 100 * (1 - sand - clay), 100 * clay, density)
    parameters, _, _ = rosetta.rosetta(3, rosetta.SoilData.from_iter([row]))
    residual, full, alpha, n, *_ = parameters[0]

    def water(suction_cm):
        return residual + (full - residual) * (1 + (alpha * suction_cm) ** n) ** (1 / n - 1)

    m = 1 - 1 / n
    optimum = residual + (full - residual) * (1 + 1 / m) ** -m  # the inflection point
    wet_end = optimum + 0.4 * (full - optimum)
    return water(33 / 0.0980665) / wet_end


def test_another_theory_of_the_workable_range_gives_much_the_same_order():
    """Dexter & Bird (2001): the soil crumbles best at the inflection of its retention curve.

    PUBLISHED form (from memory): optimum at the inflection, wet limit 0.4 of the way from
    there to saturation. Van Genuchten's parameters by the rosetta package. An outside look:
    the rank correlation of field capacity over that limit with our chance.
    """
    rosetta = pytest.importorskip("rosetta")
    stats = pytest.importorskip("scipy.stats")
    theirs = [workable_share(texture, rosetta) for texture in TEXTURES]
    ours = [smear_chance(*CLASS_POINT[texture]) for texture in TEXTURES]
    assert stats.spearmanr(theirs, ours).statistic > 0.7
