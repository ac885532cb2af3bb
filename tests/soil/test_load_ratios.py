"""The two ratios of the opener load: the table they were built for, and their directions."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.soil.triangle import MORE_CLAY, POINTS
from zoneplan.errors import OutOfRangeError
from zoneplan.soil.load_ratios import moisture_ratio, texture_ratio
from zoneplan.soil.reference import AVAILABLE_SHARE, reference_soil, texture_point
from zoneplan.soil.texture import CLASS_POINT, TEXTURES, SoilFacts

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

# WORKED by hand for the loam, from the strengths in test_strength.CLASS_MEANS: wet over moist
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


@pytest.mark.parametrize("texture", TEXTURES)
def test_the_reference_soil_is_that_of_the_published_table(texture):
    # PUBLISHED. Saxton & Rawls (2006), Table 3 at 2.5 % organic matter: its table is that
    # of test_water, which is imported to keep one.
    from tests.soil.test_water import SILT_CAPACITY, TABLE_3, WHOLE_PERCENT

    wilting, capacity, saturated, density = TABLE_3[texture]
    soil = reference_soil(*CLASS_POINT[texture])
    assert soil.density_mg_m3 == pytest.approx(density, abs=0.005 + 1e-9)
    assert soil.wilting == pytest.approx(wilting / 100, abs=WHOLE_PERCENT)
    within = SILT_CAPACITY if texture == "silt" else WHOLE_PERCENT
    assert soil.capacity == pytest.approx(capacity / 100, abs=within)
    assert soil.saturated == pytest.approx(saturated / 100, abs=WHOLE_PERCENT)
    assert soil.water(0.0) == soil.wilting
    assert soil.water(1.0) == pytest.approx(soil.capacity)


def test_the_point_that_stands_for_a_soil():
    # WORKED: 40, 41 and 20 % are scaled by 1 / 1.01; a class alone stands at its point.
    measured = SoilFacts(sand_frac=0.40, silt_frac=0.41, clay_frac=0.20)
    assert texture_point(measured) == pytest.approx((0.39604, 0.19802), abs=0.00001)
    assert texture_point(SoilFacts(sand_frac=0.4, clay_frac=0.2)) == (0.4, 0.2)
    assert texture_point(SoilFacts(texture="silty clay")) == (0.10, 0.45)
    with pytest.raises(OutOfRangeError, match="no texture"):
        texture_point(SoilFacts())
