"""Soil strength: the two models' published forms."""

import pytest

from zoneplan.errors import OutOfRangeError
from zoneplan.soil.reference import reference_soil
from zoneplan.soil.strength import (
    organic_carbon_pct,
    strength_by_clay_kpa,
    strength_by_suction_kpa,
)
from zoneplan.soil.texture import CLASS_POINT
from zoneplan.soil.water import suction_kpa

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
