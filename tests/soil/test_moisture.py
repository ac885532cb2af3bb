"""Water at dry, moist and wet, and the plastic limit."""

import pytest

from zoneplan.soil.complete import complete
from zoneplan.soil.moisture import (
    liquid_limit_pct,
    moisture_shift,
    organic_carbon_pct,
    past_plastic_limit,
    plastic_limit_pct,
    plasticity_index_pct,
    water_content,
)
from zoneplan.soil.texture import TEXTURES, SoilFacts
from zoneplan.soil.water import WETNESSES


def test_carbon_is_a_share_of_organic_matter():
    # WORKED: 2.5 / 1.724 (National Soil Survey Handbook 618.44).
    assert organic_carbon_pct(2.5) == pytest.approx(1.450, abs=0.0005)


# WORKED from the equations of the National Soil Survey Handbook, 618.86. 15-bar water,
# organic carbon, linear extensibility, clay to liquid limit, plasticity index, plastic limit:
# 11.6 + 1.49 x 16.6 + 1.35 x 2 + .6 x 5 + .26 x 35 = 51.13 for the first.
LIMITS = {
    (16.6, 2.0, 5.0, 0.35): (51.13, 24.31, 26.82),
    (10.0, 1.5, 1.5, 0.20): (34.63, 12.85, 21.78),
}


@pytest.mark.parametrize("soil", LIMITS)
def test_liquid_and_plastic_limit(soil):
    liquid, index, plastic = LIMITS[soil]
    assert liquid_limit_pct(*soil) == pytest.approx(liquid, abs=0.01)
    assert plasticity_index_pct(*soil) == pytest.approx(index, abs=0.01)
    assert plastic_limit_pct(*soil) == pytest.approx(plastic, abs=0.01)


def test_a_sand_has_no_plastic_limit():
    # WORKED: -1.86 + .69 x 1.5 - 1.19 x 1 + .13 x .5 + .47 x 2 = -1.01, under .5: not plastic.
    assert plasticity_index_pct(1.5, 1.0, 0.5, 0.02) == 0
    assert plastic_limit_pct(1.5, 1.0, 0.5, 0.02) is None
    # WORKED: 11.6 + 1.49 x 1 + 1.35 x .1 + 0 + .26 x 5 = 14.5, under 15: no liquid limit.
    assert liquid_limit_pct(1.0, 0.1, 0.0, 0.05) == 0
    sand = SoilFacts(sand_frac=0.96, silt_frac=0.02, clay_frac=0.02, organic_pct=3.0)
    assert not any(past_plastic_limit(sand, wetness) for wetness in WETNESSES)


# WORKED, apart from this code, for the class points at 2.5 % organic matter: plastic limit at
# the linear extensibility in the first place, and water at field capacity, both % by weight.
AT_FIELD_CAPACITY = {
    "sandy loam": (0.5, 19.7, 12.3),
    "loam": (1.5, 21.3, 19.5),
    "silt loam": (1.5, 21.1, 22.1),
    "clay loam": (4.5, 24.5, 25.8),
    "silty clay loam": (5.0, 25.4, 29.5),
    "clay": (8.0, 28.3, 31.6),
}


@pytest.mark.parametrize("texture", AT_FIELD_CAPACITY)
def test_from_silt_loam_on_soil_at_field_capacity_smears(texture):
    extensibility, limit, water = AT_FIELD_CAPACITY[texture]
    facts = SoilFacts(texture=texture, organic_pct=2.5, extensibility_pct=extensibility)
    soil = complete(facts)
    found = plastic_limit_pct(
        100 * soil.wilting / soil.density_mg_m3,
        organic_carbon_pct(2.5),
        extensibility,
        soil.clay_frac,
    )
    assert found == pytest.approx(limit, abs=0.05)
    assert 100 * soil.capacity / soil.density_mg_m3 == pytest.approx(water, abs=0.06)
    assert past_plastic_limit(facts, "wet") == (water > limit)


def test_what_we_assume_of_extensibility_does_not_turn_those_answers():
    for texture, (_, limit, water) in AT_FIELD_CAPACITY.items():
        assert past_plastic_limit(SoilFacts(texture=texture), "wet") == (water > limit)


def test_a_denser_soil_holds_less_water_by_weight():
    # WORKED: clay loam, FC .358 at 1.39 is 25.8 %, past 24.5 %. At 1.55: factor 1.119, SAT
    # 1 - .523 x 1.119 = .415, FC .358 - .2 x (.477 - .415) = .346 = 22.3 % by weight; WP
    # 21.8/1.55 = 14.1 %, so PL = 13.46 + .8 x 14.1 + 2.54 x 1.45 + .47 x 4.5 - .21 x 35 = 23.2.
    usual = SoilFacts(texture="clay loam", organic_pct=2.5, extensibility_pct=4.5)
    tight = SoilFacts(
        texture="clay loam", organic_pct=2.5, extensibility_pct=4.5, density_mg_m3=1.55
    )
    assert past_plastic_limit(usual, "wet")
    assert not past_plastic_limit(tight, "wet")


def test_shrinking_clay_may_take_more_water():
    # WORKED: clay loam at field capacity, 25.8 %: 22.37 + .47 x 4.5 = 24.5 is passed,
    # 22.37 + .47 x 9 = 26.6 is not.
    assert past_plastic_limit(SoilFacts(texture="clay loam", extensibility_pct=4.5), "wet")
    assert not past_plastic_limit(SoilFacts(texture="clay loam", extensibility_pct=9.0), "wet")


def test_loam_at_the_three_wetnesses():
    # WORKED: WP .1370, FC .2796: .1370 + .25 x .1426, + .75 x .1426, + .1426.
    loam = SoilFacts(texture="loam")
    assert [water_content(loam, wetness) for wetness in WETNESSES] == pytest.approx(
        [0.1727, 0.2440, 0.2796], abs=0.0001
    )


def test_the_lie_of_the_land_shifts_the_water_between_wilting_point_and_field_capacity():
    # WORKED: loam, shares .25, .75 and 1 of .1426 over .1370: .40, .90 and no more than 1 where
    # water gathers, .15, .65 and .90 on a slope.
    loam = SoilFacts(texture="loam")
    gathered = moisture_shift(gathers_water=True, steep=False)
    shed = moisture_shift(gathers_water=False, steep=True)
    assert [water_content(loam, wetness, gathered) for wetness in WETNESSES] == pytest.approx(
        [0.1940, 0.2653, 0.2796], abs=0.0001
    )
    assert [water_content(loam, wetness, shed) for wetness in WETNESSES] == pytest.approx(
        [0.1584, 0.2297, 0.2653], abs=0.0001
    )
    assert water_content(loam, "dry", -0.4) == pytest.approx(0.1370, abs=0.0001)
    assert moisture_shift(gathers_water=False, steep=False) == 0


def test_ground_that_sheds_water_may_not_smear_when_the_rest_does():
    # WORKED: silt loam smears at 21.1 % by weight and holds 22.1 % at field capacity. Its
    # available water is .195 at 1.38 Mg/m³, so a tenth of it less leaves 20.7 %.
    silt_loam = SoilFacts(texture="silt loam", organic_pct=2.5, extensibility_pct=1.5)
    assert past_plastic_limit(silt_loam, "wet")
    assert not past_plastic_limit(silt_loam, "wet", -0.10)
    # WORKED: clay loam crumbles at 75 % of its available water and smears at 24.5 %, which it
    # has at 87 %: .218 + .87 x .140 = .340 at 1.39 Mg/m³.
    clay_loam = SoilFacts(texture="clay loam", organic_pct=2.5, extensibility_pct=4.5)
    assert not past_plastic_limit(clay_loam, "moist")
    assert past_plastic_limit(clay_loam, "moist", 0.15)


@pytest.mark.parametrize("texture", TEXTURES)
def test_wetter_is_wetter(texture):
    dry, moist, wet = (water_content(SoilFacts(texture=texture), wetness) for wetness in WETNESSES)
    assert dry < moist < wet
