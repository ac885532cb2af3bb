"""The Saxton & Rawls water equations against the paper's own table and two packages."""

import math

import numpy
import pytest

from zoneplan.errors import OutOfRangeError
from zoneplan.soil.texture import CLASS_POINT, TEXTURES
from zoneplan.soil.water import (
    drainable_water,
    field_capacity,
    reference_soil,
    retention_exponent,
    saturation,
    suction_kpa,
    wilting_point,
)

# PUBLISHED. Saxton & Rawls (2006), Soil Sci. Soc. Am. J. 70:1569-1578, Table 3, at 2.5 %
# organic matter. Printed values from memory, each found equal to the equations of Table 1
# within its rounding. Wilting point, field capacity and saturation in whole percent, then
# matric density [Mg/m³].
TABLE_3 = {
    "sand": (5, 10, 46, 1.43),
    "loamy sand": (5, 12, 46, 1.43),
    "sandy loam": (8, 18, 45, 1.46),
    "loam": (14, 28, 46, 1.43),
    "silt loam": (11, 31, 48, 1.38),
    "silt": (6, 30, 48, 1.38),
    "sandy clay loam": (17, 27, 43, 1.50),
    "clay loam": (22, 36, 48, 1.39),
    "silty clay loam": (22, 38, 51, 1.30),
    "silty clay": (27, 41, 52, 1.26),
    "sandy clay": (25, 36, 44, 1.47),
    "clay": (30, 42, 50, 1.33),
}
# WORKED from the equations, apart from this code: the first three again to 0.1 %, and lambda.
TABLE_3_FINER = {
    "sand": (5.0, 10.3, 46.2, 0.1878),
    "loamy sand": (5.1, 12.0, 46.0, 0.2249),
    "sandy loam": (8.1, 17.9, 45.0, 0.2087),
    "loam": (13.7, 28.0, 45.9, 0.1869),
    "silt loam": (11.0, 30.5, 47.9, 0.2677),
    "silt": (5.7, 30.5, 47.9, 0.4371),
    "sandy clay loam": (16.6, 26.7, 43.4, 0.1250),
    "clay loam": (21.8, 35.8, 47.7, 0.1299),
    "silty clay loam": (21.5, 38.2, 51.1, 0.1503),
    "silty clay": (26.8, 40.9, 52.3, 0.1111),
    "sandy clay": (24.9, 36.1, 44.4, 0.0978),
    "clay": (29.8, 42.1, 49.8, 0.0904),
}
WHOLE_PERCENT = 0.005 + 1e-9  # the roundings of the table
TENTH = 0.05 + 1e-9
# WORKED: silt's field capacity comes out at 30.5 and is printed 30, the only entry that
# needs more than its own rounding.
SILT_CAPACITY = 0.0055


def water_at(sand, clay, organic=2.5):
    return (
        wilting_point(sand, clay, organic),
        field_capacity(sand, clay, organic),
        saturation(sand, clay, organic),
    )


@pytest.mark.parametrize("texture", TABLE_3)
def test_water_matches_the_published_table(texture):
    wilting, capacity, saturated = water_at(*CLASS_POINT[texture])
    print_wp, print_fc, print_sat, _ = TABLE_3[texture]
    assert wilting == pytest.approx(print_wp / 100, abs=WHOLE_PERCENT)
    within = SILT_CAPACITY if texture == "silt" else WHOLE_PERCENT
    assert capacity == pytest.approx(print_fc / 100, abs=within)
    assert saturated == pytest.approx(print_sat / 100, abs=WHOLE_PERCENT)


@pytest.mark.parametrize("texture", TABLE_3_FINER)
def test_water_to_a_tenth_of_a_percent(texture):
    wilting, capacity, saturated = water_at(*CLASS_POINT[texture])
    wp, fc, sat, slope = TABLE_3_FINER[texture]
    assert (100 * wilting, 100 * capacity, 100 * saturated) == pytest.approx(
        (wp, fc, sat), abs=TENTH
    )
    assert 1 / retention_exponent(wilting, capacity) == pytest.approx(slope, abs=0.00005)


# WORKED from the equations, apart from this code: (sand, clay, organic) to WP, FC, SAT.
OTHER_SOILS = {
    (0.40, 0.20, 2.5): (0.13702, 0.27961, 0.45948),
    (0.20, 0.25, 3.0): (0.16536, 0.34093, 0.49941),
    (0.20, 0.15, 4.0): (0.1185, 0.3228, 0.5316),
}


@pytest.mark.parametrize("soil", OTHER_SOILS)
def test_other_soils(soil):
    assert water_at(*soil) == pytest.approx(OTHER_SOILS[soil], abs=0.00005)


@pytest.mark.parametrize("texture", TEXTURES)
def test_suction_meets_its_two_ends_and_falls_between(texture):
    # WORKED: by definition 1500 kPa at the wilting point and 33 kPa at field capacity.
    wilting, capacity, _ = water_at(*CLASS_POINT[texture])
    assert suction_kpa(wilting, wilting, capacity) == pytest.approx(1500)
    assert suction_kpa(capacity, wilting, capacity) == pytest.approx(33)
    middle = suction_kpa((wilting + capacity) / 2, wilting, capacity)
    assert 33 < middle < 1500


def test_suction_in_between():
    # WORKED, loam: at the geometric mean of the two waters, the geometric mean of the suctions.
    wilting, capacity, _ = water_at(0.40, 0.20)
    assert suction_kpa(math.sqrt(wilting * capacity), wilting, capacity) == pytest.approx(
        math.sqrt(1500 * 33)
    )


@pytest.mark.parametrize(
    "equation",
    [wilting_point, field_capacity, drainable_water, saturation],
)
@pytest.mark.parametrize(
    ("sand", "clay", "organic"),
    [(0.10, 0.61, 2.5), (0.40, 0.20, 8.1), (0.70, 0.40, 2.5), (-0.1, 0.2, 2.5), (0.4, 0.2, -1)],
)
def test_soils_outside_the_equations_are_refused(equation, sand, clay, organic):
    with pytest.raises(OutOfRangeError, match="do not hold for"):
        equation(sand, clay, organic)


SPREAD = [
    (sand / 100, clay / 100, organic)
    for sand in range(0, 101, 10)
    for clay in range(0, min(60, 100 - sand) + 1, 5)
    for organic in (0.5, 2.5, 5.0, 8.0)
]


def test_an_independent_package_has_the_same_equations():
    # PUBLISHED: ptfkit, the same paper coded by others; over the whole range of soils.
    saxton = pytest.importorskip("ptfkit.saxton2006")
    for sand, clay, organic in SPREAD:
        with numpy.errstate(invalid="ignore"):  # its conductivity of clays that do not drain
            theirs = saxton.calc_ptf_saxton2006(sand=sand, clay=clay, organic_matter=organic)
        wilting, capacity, saturated = water_at(sand, clay, organic)
        assert wilting == pytest.approx(float(theirs.theta_1500))
        assert capacity == pytest.approx(float(theirs.theta_33))
        assert saturated == pytest.approx(float(theirs.theta_s))


@pytest.mark.parametrize("texture", TEXTURES)
def test_the_same_package_agrees_on_suction(texture):
    # PUBLISHED: ptfkit, as above.
    saxton = pytest.importorskip("ptfkit.saxton2006")
    wilting, capacity, _ = water_at(*CLASS_POINT[texture])
    middle = (wilting + capacity) / 2
    assert suction_kpa(middle, wilting, capacity) == pytest.approx(
        float(
            saxton.calc_tension_dry_saxton2006(theta=middle, theta_1500=wilting, theta_33=capacity)
        )
    )


def test_another_regression_on_other_soils_lands_nearby():
    """Rosetta 3 predicts a retention curve from texture and density with a neural network.

    PUBLISHED: its van Genuchten parameters, read at 33 and 1500 kPa, against eqs. 1 and 2 at
    the class points. Two regressions on two sets of soils: eq. 2 alone has a standard error
    of .05, so this catches a slip in a coefficient or a unit, not in a decimal. The wilting
    point of soils from 40 % clay is left out: there the two are up to .09 apart.
    """
    rosetta = pytest.importorskip("rosetta")
    soils = [
        (100 * sand, 100 * (1 - sand - clay), 100 * clay, 2.65 * (1 - saturation(sand, clay, 2.5)))
        for sand, clay in CLASS_POINT.values()
    ]
    parameters, _, _ = rosetta.rosetta(3, rosetta.SoilData.from_iter(soils))
    for (sand, clay), (residual, full, alpha, n, *_) in zip(
        CLASS_POINT.values(), parameters, strict=True
    ):

        def at(suction, residual=residual, full=full, alpha=alpha, n=n):
            suction_cm = suction / 0.0980665  # kPa to cm of water
            return residual + (full - residual) * (1 + (alpha * suction_cm) ** n) ** (1 / n - 1)

        assert field_capacity(sand, clay, 2.5) == pytest.approx(at(33), abs=0.06)
        if clay < 0.40:
            assert wilting_point(sand, clay, 2.5) == pytest.approx(at(1500), abs=0.05)


@pytest.mark.parametrize("texture", TEXTURES)
def test_the_reference_soil_is_that_of_the_published_table(texture):
    # PUBLISHED. Saxton & Rawls (2006), Table 3 at 2.5 % organic matter.
    wilting, capacity, saturated, density = TABLE_3[texture]
    soil = reference_soil(*CLASS_POINT[texture])
    assert soil.density_mg_m3 == pytest.approx(density, abs=0.005 + 1e-9)
    assert soil.wilting == pytest.approx(wilting / 100, abs=WHOLE_PERCENT)
    within = SILT_CAPACITY if texture == "silt" else WHOLE_PERCENT
    assert soil.capacity == pytest.approx(capacity / 100, abs=within)
    assert soil.saturated == pytest.approx(saturated / 100, abs=WHOLE_PERCENT)
    assert soil.water(0.0) == soil.wilting
    assert soil.water(1.0) == pytest.approx(soil.capacity)
