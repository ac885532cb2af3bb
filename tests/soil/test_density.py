"""Where bulk density begins to hold roots back."""

import pytest

from zoneplan.soil.density import dense, excess_density_mg_m3, particle_size_family
from zoneplan.soil.texture import SoilFacts

# PUBLISHED: National Soil Survey Handbook 618.7, figure 618-A2, "restriction starts", Mg/m³.
# The soils, (sand, silt, clay) in %, are ours: one inside each family.
STARTS = {
    "sandy": ((85, 10, 5), 1.69),
    "coarse-loamy": ((60, 30, 10), 1.63),
    "fine-loamy": ((40, 35, 25), 1.60),
    "coarse-silty": ((10, 80, 10), 1.60),
    "fine-silty": ((10, 65, 25), 1.54),
    "clayey, 35 to 45 % clay": ((20, 40, 40), 1.49),
    "clayey, over 45 % clay": ((20, 30, 50), 1.39),
}


def soil(sand, silt, clay, density):
    return SoilFacts(
        sand_frac=sand / 100, silt_frac=silt / 100, clay_frac=clay / 100, density_mg_m3=density
    )


@pytest.mark.parametrize("family", STARTS)
def test_restriction_starts_at_the_printed_density(family):
    fractions, starts = STARTS[family]
    assert particle_size_family(*(part / 100 for part in fractions)) == family
    assert dense(soil(*fractions, starts)) is True
    assert dense(soil(*fractions, starts - 0.01)) is False


# From memory of Soil Taxonomy: 18 % clay is fine, 15 % sand is loamy, 35 % clay is clayey, and
# 45 % is still the lower of the two clayey rows. Loamy sand ends at silt + 2 clay = 30.
EDGES = {
    (40, 42, 18): "fine-loamy",
    (40, 43, 17): "coarse-loamy",
    (15, 65, 20): "fine-loamy",
    (14, 66, 20): "fine-silty",
    (40, 25, 35): "clayey, 35 to 45 % clay",
    (30, 25, 45): "clayey, 35 to 45 % clay",
    (29, 25, 46): "clayey, over 45 % clay",
    (80, 10, 10): "coarse-loamy",
    (81, 10, 9): "sandy",
}


@pytest.mark.parametrize("fractions", EDGES)
def test_families_at_their_edges(fractions):
    assert particle_size_family(*(part / 100 for part in fractions)) == EDGES[fractions]


def test_a_fine_silty_soil_at_1_60():
    # PUBLISHED rows: past 1.54, where restriction starts.
    assert dense(soil(10, 65, 25, 1.60)) is True


def test_what_a_density_lies_over_its_limit():
    # PUBLISHED rows: fine-silty starts at 1.54, sandy at 1.69.
    assert excess_density_mg_m3(1.60, 0.10, 0.25) == pytest.approx(0.06)
    assert excess_density_mg_m3(1.79, 0.90, 0.05) == pytest.approx(0.10)
    assert excess_density_mg_m3(1.20, 0.10, 0.25) == 0.0


@pytest.mark.parametrize(
    "facts",
    [
        SoilFacts(sand_frac=0.4, silt_frac=0.4, clay_frac=0.2),
        SoilFacts(texture="loam", density_mg_m3=1.7),
        SoilFacts(sand_frac=0.4, clay_frac=0.2, density_mg_m3=1.7),
    ],
)
def test_unknown_stays_unknown(facts):
    assert dense(facts) is None
