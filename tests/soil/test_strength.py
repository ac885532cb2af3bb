"""Soil strength: the two models' published forms, and the ratios that are made of them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.soil.triangle import MORE_CLAY, POINTS
from zoneplan.errors import OutOfRangeError
from zoneplan.soil.strength import (
    moisture_ratio,
    organic_carbon_pct,
    strength_by_clay_kpa,
    strength_by_suction_kpa,
    texture_ratio,
)
from zoneplan.soil.texture import CLASS_POINT
from zoneplan.soil.water import AVAILABLE_SHARE, reference_soil, suction_kpa

CARBON = 1.724  # organic matter in a weight of organic carbon

# WORKED from the coefficients of da Silva & Kay (1997), apart from this code.
# (clay %, carbon %, water, density) to MPa and its tolerance.
BY_CLAY = {
    (10, 1.5, 0.15, 1.45): (1.627, 0.002),
    (10, 1.5, 0.10, 1.45): (2.880, 0.002),
    (20, 2.0, 0.25, 1.30): (1.004, 0.002),
    (20, 2.0, 0.20, 1.30): (1.771, 0.002),
    (20, 2.0, 0.15, 1.30): (3.679, 0.005),
    (20, 2.0, 0.20, 1.45): (3.328, 0.005),
    (30, 2.0, 0.30, 1.30): (0.850, 0.002),
    (30, 2.0, 0.25, 1.30): (1.694, 0.002),
    (30, 2.0, 0.20, 1.30): (3.939, 0.005),
}


def test_carbon_is_a_share_of_organic_matter():
    # WORKED: 2.5 / 1.724 (National Soil Survey Handbook 618.44).
    assert organic_carbon_pct(2.5) == pytest.approx(1.450, abs=0.0005)


@pytest.mark.parametrize("soil", BY_CLAY)
def test_strength_by_clay(soil):
    clay, carbon, water, density = soil
    mpa, within = BY_CLAY[soil]
    result = strength_by_clay_kpa(clay / 100, carbon * CARBON, water, density) / 1000
    assert result == pytest.approx(mpa, abs=within)


# WORKED: water at which the same model gives 2 MPa, where roots stop. (clay, carbon, density)
AT_2_MPA = {(10, 1.5, 1.45): 0.1296, (20, 2.0, 1.30): 0.1906, (30, 2.0, 1.30): 0.2393}


@pytest.mark.parametrize("soil", AT_2_MPA)
def test_water_at_the_root_limit(soil):
    clay, carbon, density = soil
    drier, wetter = AT_2_MPA[soil] - 0.0005, AT_2_MPA[soil] + 0.0005
    assert strength_by_clay_kpa(clay / 100, carbon * CARBON, drier, density) > 2000
    assert strength_by_clay_kpa(clay / 100, carbon * CARBON, wetter, density) < 2000


@pytest.mark.parametrize(
    ("clay_frac", "organic_pct", "words"),
    [
        (0.45, 2.5, "45 % clay"),
        (0.38, 2.5, "38 % clay"),
        (0.03, 2.5, "3 % clay"),
        (0.2, 7.5, "7.5 %"),
    ],
)
def test_strength_by_clay_is_refused_outside_its_soils(clay_frac, organic_pct, words):
    with pytest.raises(OutOfRangeError, match=words):
        strength_by_clay_kpa(clay_frac, organic_pct, 0.25, 1.3)


def test_strength_by_suction():
    # WORKED, loam at field capacity: 33 kPa, .2796/.4595 of the pores full, 1.432 Mg/m³:
    # .35 x log10(33 x .6085) + .93 x 1.4324 + 1.2623 = .4560 + 1.3321 + 1.2623 = 3.0504.
    assert strength_by_suction_kpa(33, 0.6085, 1.4324) == pytest.approx(10**3.0504, rel=0.0005)


# WORKED, apart from this code: class points at matric density and 2.5 % organic matter, MPa at
# 1, .75, .5, .25 and 0 of the available water; first by clay, then by suction (Whalley et al.
# 2007). Clay is past the first model.
SHARES = (1.0, 0.75, 0.5, 0.25, 0.0)
CLASS_MEANS = {
    "sand": ((1.07, 1.19, 1.36, 1.58, 1.90), (0.78, 0.96, 1.22, 1.62, 2.31)),
    "sandy loam": ((1.27, 1.57, 2.01, 2.70, 3.94), (1.02, 1.24, 1.57, 2.07, 2.94)),
    "loam": ((1.00, 1.44, 2.20, 3.62, 6.68), (1.12, 1.38, 1.76, 2.34, 3.33)),
    "silt loam": ((0.55, 0.78, 1.20, 2.07, 4.38), (1.02, 1.21, 1.48, 1.91, 2.72)),
    "sandy clay loam": ((1.98, 2.74, 3.94, 5.92, 9.43), (1.30, 1.66, 2.18, 2.96, 4.19)),
    "clay loam": ((0.53, 0.84, 1.42, 2.54, 4.97), (1.09, 1.39, 1.82, 2.46, 3.49)),
    "silty clay loam": ((0.24, 0.41, 0.74, 1.46, 3.25), (0.90, 1.13, 1.46, 1.97, 2.80)),
    "clay": (None, (1.01, 1.32, 1.76, 2.41, 3.40)),
}
HUNDREDTH = 0.0051  # the table's own rounding


@pytest.mark.parametrize("texture", CLASS_MEANS)
def test_both_models_at_the_class_points(texture):
    soil = reference_soil(*CLASS_POINT[texture])
    by_clay, by_suction = CLASS_MEANS[texture]
    waters = [soil.wilting + share * (soil.capacity - soil.wilting) for share in SHARES]
    assert [
        strength_by_suction_kpa(
            suction_kpa(water, soil.wilting, soil.capacity),
            water / soil.saturated,
            soil.density_mg_m3,
        )
        / 1000
        for water in waters
    ] == pytest.approx(by_suction, abs=HUNDREDTH)
    if by_clay is not None:
        assert [
            strength_by_clay_kpa(soil.clay_frac, 2.5, water, soil.density_mg_m3) / 1000
            for water in waters
        ] == pytest.approx(by_clay, abs=HUNDREDTH)


# ---- the two ratios of the opener load: the table they were built for, and their directions

LB_PER_N = 1 / 4.4482216152605

# WORKED, apart from this code: 675 N × texture ratio × moisture ratio in whole pounds, at 35,
# 75 and 100 % of the available water.
LOADS_LB = {
    "sand": (184, 134, 113),
    "sandy loam": (207, 138, 113),
    "loam": (257, 147, 111),
    "silt loam": (246, 143, 110),
    "silt": (191, 134, 114),
    "sandy clay loam": (257, 152, 114),
    "clay loam": (309, 161, 113),
    "silty clay loam": (327, 161, 111),
    "sandy clay": (301, 165, 119),
    "silty clay": (346, 170, 116),
    "clay": (332, 170, 118),
}
WHOLE_POUND = 0.51

# WORKED by hand for the loam, from the strengths in CLASS_MEANS: wet over moist
# is √(1.12 / 1.38 × 1.00 / 1.44) = 0.751; the pounds above say 111 / 147 = 0.755.
LOAM_WET = 0.751


def load_lb(sand, clay, share):
    return 675 * LB_PER_N * texture_ratio(clay) * moisture_ratio(sand, clay, share)


@pytest.mark.parametrize("texture", LOADS_LB)
def test_the_table_of_textures(texture):
    values = [load_lb(*CLASS_POINT[texture], share) for share in AVAILABLE_SHARE.values()]
    assert values == pytest.approx(LOADS_LB[texture], abs=WHOLE_POUND)


def test_a_wet_loam_by_hand():
    assert moisture_ratio(0.40, 0.20, 1.0) == pytest.approx(LOAM_WET, abs=0.006)


def test_the_ends_of_the_texture_ratio():
    # WORKED: .88 + .24 × (clay − 5) / 40; a quarter along at 15 %, flat past both ends.
    assert [round(texture_ratio(clay / 100), 4) for clay in (0, 5, 15, 25, 45, 80)] == [
        0.88,
        0.88,
        0.94,
        1.0,
        1.12,
        1.12,
    ]


def test_the_draft_standard_bounds_the_texture_ratio():
    # PUBLISHED (values from memory): ASABE D497.7 Table 1. Coarse over fine soil is .92 for a
    # seeding row and .78 for a disc harrow, medium over fine .96 and .88.
    coarse = texture_ratio(CLASS_POINT["sand"][1]) / texture_ratio(CLASS_POINT["clay"][1])
    medium = texture_ratio(CLASS_POINT["loam"][1]) / texture_ratio(CLASS_POINT["clay"][1])
    assert 0.78 <= coarse <= 0.92
    assert 0.78 <= medium <= 0.96
    assert coarse < medium < 1


def test_drier_is_harder_on_the_whole_triangle():
    for sand, clay in POINTS:
        dry, moist, wet = (moisture_ratio(sand, clay, s) for s in AVAILABLE_SHARE.values())
        assert moist == pytest.approx(1)
        assert dry > moist > wet, (sand, clay)


def test_dry_load_never_falls_with_clay():
    # Invariant 2, on the 20,100 steps of half a per cent.
    dry = [load_lb(sand, clay, 0.35) for sand, clay in POINTS]
    assert len(MORE_CLAY) == 20100
    assert [POINTS[here] for here, there in MORE_CLAY if dry[there] < dry[here] - 1e-9] == []


def test_moist_load_spreads_little_over_textures():
    # Invariant 4; WORKED: 1.12 / 0.88 = 1.273 since the moisture ratio is 1 there.
    moist = [load_lb(sand, clay, 0.75) for sand, clay in POINTS]
    assert max(moist) / min(moist) == pytest.approx(1.12 / 0.88)
    assert max(moist) / min(moist) <= 1.28


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.05, 1), st.floats(0.01, 0.5))
def test_a_drier_share_is_a_harder_soil(sand, clay, share, drier):
    sand *= 1 - clay
    before = max(share - drier, 0.0)
    assert moisture_ratio(sand, clay, before) > moisture_ratio(sand, clay, share)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 0.5))
def test_more_clay_is_no_softer_when_dry(sand, clay, more):
    sand *= 1 - clay
    clayier = min(clay + more, 1 - sand)
    assert load_lb(sand, clayier, 0.35) >= load_lb(sand, clay, 0.35) - 1e-9


def test_clay_past_the_models_is_held_at_their_edge():
    # WORKED: at 10 % sand, 37 % clay and more are one soil to both models, and 6 % and less.
    assert moisture_ratio(0.10, 0.50, 0.35) == moisture_ratio(0.10, 0.37, 0.35)
    assert moisture_ratio(0.40, 0.02, 0.35) == moisture_ratio(0.40, 0.06, 0.35)
    assert moisture_ratio(0.10, 0.36, 0.35) != moisture_ratio(0.10, 0.37, 0.35)


@pytest.mark.parametrize(("sand", "clay"), [(0.7, 0.4), (40, 20), (-0.1, 0.2), (math.nan, 0.2)])
def test_what_is_no_soil_is_refused(sand, clay):
    with pytest.raises(OutOfRangeError, match="not shares of one soil"):
        moisture_ratio(sand, clay, 0.35)
