"""Soil strength: the two models' published forms, and the ratio between states."""

import pytest

from tests.telling import codes
from zoneplan.errors import OutOfRangeError
from zoneplan.soil.complete import complete
from zoneplan.soil.strength import (
    REFERENCE,
    strength_by_clay_kpa,
    strength_by_suction_kpa,
    strength_ratio,
)
from zoneplan.soil.texture import TEXTURES, SoilFacts
from zoneplan.soil.water import WETNESSES, suction_kpa

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


@pytest.mark.parametrize("soil", BY_CLAY)
def test_strength_by_clay(soil):
    clay, carbon, water, density = soil
    mpa, within = BY_CLAY[soil]
    found = strength_by_clay_kpa(clay / 100, carbon * CARBON, water, density) / 1000
    assert found == pytest.approx(mpa, abs=within)


# WORKED: water at which the same model gives 2 MPa, where roots stop. (clay, carbon, density)
AT_2_MPA = {(10, 1.5, 1.45): 0.1296, (20, 2.0, 1.30): 0.1906, (30, 2.0, 1.30): 0.2393}


@pytest.mark.parametrize("soil", AT_2_MPA)
def test_water_at_the_root_limit(soil):
    clay, carbon, density = soil
    drier, wetter = AT_2_MPA[soil] - 0.0005, AT_2_MPA[soil] + 0.0005
    assert strength_by_clay_kpa(clay / 100, carbon * CARBON, drier, density) > 2000
    assert strength_by_clay_kpa(clay / 100, carbon * CARBON, wetter, density) < 2000


@pytest.mark.parametrize(
    ("clay_frac", "organic_pct", "said"),
    [
        (0.45, 2.5, "45 % clay"),
        (0.38, 2.5, "38 % clay"),
        (0.03, 2.5, "3 % clay"),
        (0.2, 7.5, "7.5 %"),
    ],
)
def test_strength_by_clay_is_refused_outside_its_soils(clay_frac, organic_pct, said):
    with pytest.raises(OutOfRangeError, match=said):
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
    soil = complete(SoilFacts(texture=texture, organic_pct=2.5))
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


def test_the_reference_state_is_one():
    # WORKED: anything over itself.
    found = strength_ratio(REFERENCE, "moist")
    assert (found.ratio, found.least, found.most) == (1.0, 1.0, 1.0)


# WORKED from CLASS_MEANS, over the moist loam's 1.38 by suction and 1.44 by clay; what is past
# 3 MPa or under .3 is clipped first, and the ratio then to 0.5 to 2.7. (ratio, least, most)
RATIOS = {
    ("loam", "dry"): (2.34 / 1.38, 2.34 / 1.38, 3.00 / 1.44),
    ("loam", "wet"): (1.12 / 1.38, 1.00 / 1.44, 1.12 / 1.38),
    ("sandy loam", "dry"): (2.07 / 1.38, 2.07 / 1.38, 2.70 / 1.44),
    ("sandy clay loam", "dry"): (2.96 / 1.38, 3.00 / 1.44, 2.96 / 1.38),
    ("silty clay loam", "wet"): (0.90 / 1.38, 0.50, 0.90 / 1.38),  # .30 / 1.44 is below 0.5
    ("clay", "dry"): (2.41 / 1.38, 2.41 / 1.38, 2.41 / 1.38),
}


@pytest.mark.parametrize(("texture", "wetness"), RATIOS)
def test_ratio_and_how_far_the_models_differ(texture, wetness):
    found = strength_ratio(SoilFacts(texture=texture, organic_pct=2.5), wetness)
    assert (found.ratio, found.least, found.most) == pytest.approx(
        RATIOS[texture, wetness], abs=0.01
    )


def test_ground_that_is_wetter_by_its_lie_is_softer():
    # WORKED by suction, loam at .75 + .15 of its available water, .2653: 33 kPa times
    # (.2796/.2653)^5.35 is 43.7 kPa, .5774 of the pores are full; .35 x log10(25.2) + .93 x
    # 1.4324 + 1.2623 = 3.0851, 1.217 MPa over 1.38 when moist. By clay the table has 1.44 at .75
    # and 1.00 at 1; the model is a power of water, so (.2653/.2440)^-2.66 = .80.
    found = strength_ratio(REFERENCE, "moist", 0.15)
    assert (found.ratio, found.least) == (
        pytest.approx(0.88, abs=0.01),
        pytest.approx(0.80, abs=0.01),
    )
    drier = strength_ratio(REFERENCE, "moist", -0.10)
    assert drier.ratio > 1 > found.ratio
    # Wet is field capacity, and stays that.
    assert strength_ratio(REFERENCE, "wet", 0.15) == strength_ratio(REFERENCE, "wet")


def test_it_says_when_one_model_stands_alone():
    alone = "one-strength-model"
    assert alone in codes(strength_ratio(SoilFacts(texture="clay"), "dry").notes)
    assert alone not in codes(strength_ratio(SoilFacts(texture="loam"), "dry").notes)


def test_it_says_what_was_assumed():
    facts = SoilFacts(texture="loam")
    assert strength_ratio(facts, "dry").notes == complete(facts).notes != ()


def test_packing_by_a_tenth_shows():
    # WORKED by suction: wet at 33 kPa either way, density 1.4324 and 1.5756, pores full
    # .6085 and .2688/.4054 = .6630: 10^(.93 x .1432) x (.6630/.6085)^.35 = 1.400.
    usual = strength_ratio(SoilFacts(texture="loam", organic_pct=2.5), "wet").ratio
    tight = strength_ratio(
        SoilFacts(texture="loam", organic_pct=2.5, density_mg_m3=1.5756), "wet"
    ).ratio
    assert tight / usual == pytest.approx(1.400, abs=0.001)


@pytest.mark.parametrize("texture", TEXTURES)
def test_drier_is_never_softer_at_any_class(texture):
    dry, moist, wet = (strength_ratio(SoilFacts(texture=texture), wetness) for wetness in WETNESSES)
    assert dry.ratio > moist.ratio > wet.ratio
    assert dry.least >= moist.least >= wet.least
    assert dry.most >= moist.most >= wet.most


def test_drier_is_never_softer_anywhere():
    # Over the whole triangle, bare to mucky and loose to tight, known and unknown density.
    for sand in range(0, 101, 10):
        for clay in range(0, 101 - sand, 10):
            for organic in (0.0, 2.5, 8.0, 20.0):
                for density in (None, 0.9, 1.8):
                    facts = SoilFacts(
                        sand_frac=sand / 100,
                        silt_frac=(100 - sand - clay) / 100,
                        clay_frac=clay / 100,
                        organic_pct=organic,
                        density_mg_m3=density,
                    )
                    dry, moist, wet = (strength_ratio(facts, wetness) for wetness in WETNESSES)
                    assert dry.least >= moist.least >= wet.least > 0
                    assert dry.ratio >= moist.ratio >= wet.ratio
                    assert all(r.least <= r.ratio <= r.most for r in (dry, moist, wet))
