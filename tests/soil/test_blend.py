"""Several soils into one: means of what is known, the commonest of what is named."""

import pytest

from tests.telling import remark, sentences
from zoneplan.soil.blend import blend
from zoneplan.soil.texture import SoilFacts


def soil(sand, silt, clay, **more):
    return SoilFacts(sand_frac=sand, silt_frac=silt, clay_frac=clay, **more)


LOAM = soil(0.40, 0.40, 0.20, texture="loam", rated_share=1.0)
CLAY = soil(0.20, 0.30, 0.50, texture="clay", rated_share=1.0)
FLOODS, STONY, STEEP, OPEN = map(remark, ("Floods", "Stony", "Steep", "Open water"))
WATER = SoilFacts(ground="water", named="Water", notes=(OPEN,))
PIT = SoilFacts(ground="not soil")


def test_one_part_gives_itself_back():
    assert blend([(LOAM, 60)]) is LOAM


def test_means_by_weight_and_texture_from_them():
    # WORKED: 2 loam to 1 clay. Sand (.8 + .2)/3, silt (.8 + .3)/3, clay (.4 + .5)/3 = 30 %.
    whole = blend([(LOAM, 60), (CLAY, 30)])
    assert (whole.sand_frac, whole.silt_frac, whole.clay_frac) == pytest.approx(
        (1.0 / 3, 1.1 / 3, 0.9 / 3)
    )
    assert whole.texture == "clay loam"
    assert whole.rated_share == 1.0
    assert whole.notes == ()


def test_the_survey_example_with_a_component_that_is_not_soil():
    # WORKED: (24 x 60 + 35 x 30) / 90 = 27.667 % clay; 90 % rated.
    a = soil(0.36, 0.40, 0.24, rated_share=1.0)
    b = soil(0.25, 0.40, 0.35, rated_share=1.0)
    whole = blend([(a, 60), (b, 30), (PIT, 10)])
    assert whole.clay_frac == pytest.approx(0.27667, abs=0.00001)
    assert whole.rated_share == pytest.approx(0.90)
    assert sentences(whole.notes) == ("10 % of it is not soil.",)


def test_what_is_missing_drops_out_of_both_sums():
    # WORKED: organic (3 x 60 + 6 x 30)/90 = 4, the 10 without is not a nought; density is
    # known in one part only; fragments in none.
    a = SoilFacts(organic_pct=3.0)
    b = SoilFacts(organic_pct=6.0, density_mg_m3=1.4)
    whole = blend([(a, 60), (b, 30), (SoilFacts(), 10)])
    assert whole.organic_pct == pytest.approx(4.0)
    assert whole.density_mg_m3 == pytest.approx(1.4)
    assert whole.fragments_frac is None


def test_every_number_is_averaged():
    # WORKED: 3 to 1.
    a = SoilFacts(organic_pct=2, density_mg_m3=1.2, fragments_frac=0.0, extensibility_pct=1)
    b = SoilFacts(organic_pct=6, density_mg_m3=1.6, fragments_frac=0.4, extensibility_pct=5)
    whole = blend([(a, 3), (b, 1)])
    assert (
        whole.organic_pct,
        whole.density_mg_m3,
        whole.fragments_frac,
        whole.extensibility_pct,
    ) == pytest.approx((3.0, 1.3, 0.1, 2.0))


def test_limits_are_means_over_the_parts_that_have_all_three():
    # WORKED: 60 and 30 parts: (40 x 60 + 31 x 30) / 90 = 37, (16 x 60 + 10 x 30) / 90 = 14,
    # (24 x 60 + 21 x 30) / 90 = 23. A part without water, and a sand that is not plastic and
    # weighs less, are left out: its nought is no limit.
    a = SoilFacts(liquid_limit_pct=40, plasticity_index_pct=16, third_bar_pct=24)
    b = SoilFacts(liquid_limit_pct=31, plasticity_index_pct=10, third_bar_pct=21)
    dry = SoilFacts(liquid_limit_pct=90, plasticity_index_pct=40)
    sand = SoilFacts(liquid_limit_pct=0, plasticity_index_pct=0, third_bar_pct=8)
    whole = blend([(a, 60), (b, 30), (dry, 50), (sand, 80)])
    assert whole.liquid_limit_pct == pytest.approx(37)
    assert whole.plasticity_index_pct == pytest.approx(14)
    assert whole.third_bar_pct == pytest.approx(23)


@pytest.mark.parametrize("sand", [{"liquid_limit_pct": 0}, {"plasticity_index_pct": 0}])
def test_mostly_non_plastic_ground_is_non_plastic(sand):
    loam = SoilFacts(liquid_limit_pct=40, plasticity_index_pct=16, third_bar_pct=24)
    whole = blend([(loam, 40), (SoilFacts(third_bar_pct=8, **sand), 60)])
    assert (whole.liquid_limit_pct, whole.plasticity_index_pct) == (0, 0)
    assert whole.third_bar_pct is None


def test_fractions_are_taken_only_where_all_three_are_known():
    half = SoilFacts(texture="clay", clay_frac=0.60)
    whole = blend([(LOAM, 1), (half, 2)])
    assert whole.clay_frac == pytest.approx(0.20)
    assert whole.texture == "loam"
    assert sentences(whole.notes) == (
        "67 % of it is known by texture class only: left out of sand, silt and clay.",
    )


def test_fractions_are_scaled_to_one():
    # WORKED: two of 41, 40 and 20 %, which is 101, mean 41/101 sand.
    heavy = soil(0.41, 0.40, 0.20)
    whole = blend([(heavy, 1), (heavy, 1)])
    assert whole.sand_frac == pytest.approx(0.41 / 1.01)
    assert whole.sand_frac + whole.silt_frac + whole.clay_frac == pytest.approx(1.0)


def test_without_fractions_the_commonest_class_is_taken():
    # WORKED: silt loam 40, clay 30 + 20 = 50.
    parts = [
        (SoilFacts(texture="clay"), 30),
        (SoilFacts(texture="silt loam"), 40),
        (SoilFacts(texture="clay"), 20),
        (SoilFacts(), 90),
    ]
    whole = blend(parts)
    assert whole.texture == "clay"
    assert whole.sand_frac is None


def test_categories_go_to_the_largest_sum_and_ties_to_the_first_name():
    # WORKED: poorly 25 + 20 = 45 to well 45, a tie by name; B 45 to C 25; the name of most.
    parts = [
        (SoilFacts(drainage="well drained", hydrologic_group="B", named="Clay hill"), 45),
        (SoilFacts(drainage="poorly drained", hydrologic_group="C", named="Low"), 25),
        (SoilFacts(drainage="poorly drained", named="Low"), 20),
    ]
    for order in (parts, parts[::-1]):
        whole = blend(order)
        assert whole.drainage == "poorly drained"
        assert whole.hydrologic_group == "B"
        assert whole.named == "Clay hill"


def test_ground_is_the_largest_sum_and_only_its_numbers_count():
    # WORKED: soil 30 + 25 = 55 to water 45, though water is the largest part.
    whole = blend([(WATER, 45), (LOAM, 30), (CLAY, 25)])
    assert whole.ground == "soil"
    assert whole.named is None
    assert whole.rated_share == pytest.approx(0.55)
    assert sentences(whole.notes) == ("Open water.", "45 % of it is water.")


def test_where_water_has_the_most_it_is_water_without_numbers():
    whole = blend([(WATER, 60), (LOAM, 40)])
    assert (whole.ground, whole.named, whole.texture, whole.sand_frac) == (
        "water",
        "Water",
        None,
        None,
    )
    assert whole.rated_share == pytest.approx(0.40)
    assert sentences(whole.notes)[-1] == "40 % of it is soil."


@pytest.mark.parametrize("order", [1, -1])
def test_a_tie_of_grounds_goes_by_their_order(order):
    # GROUNDS puts soil before water before not soil.
    assert blend([(WATER, 50), (LOAM, 50)][::order]).ground == "soil"
    assert blend([(PIT, 50), (WATER, 50)][::order]).ground == "water"


def test_notes_are_joined_in_order_once_and_name_the_whole_where_it_has_one():
    a = soil(0.4, 0.4, 0.2, named="5 Muck bend", notes=(FLOODS, STONY))
    b = soil(0.4, 0.4, 0.2, named="5 Muck bend", notes=(STONY, STEEP))
    c = SoilFacts(ground="organic", named="5 Muck bend")
    d = SoilFacts(ground="no data", named="5 Muck bend")
    whole = blend([(a, 80.0), (b, 10.0), (c, 9.5), (d, 0.5)])
    assert sentences(whole.notes) == (
        "Floods.",
        "Stony.",
        "Steep.",
        "10 % of 5 Muck bend is organic.",
        "Less than 1 % of 5 Muck bend has no data.",
    )


def test_blending_twice_is_blending_once():
    # WORKED: means of means by weight are means, where everything is known.
    third = soil(0.60, 0.25, 0.15, rated_share=0.5)
    once = blend([(LOAM, 2), (CLAY, 1), (third, 3)])
    twice = blend([(blend([(LOAM, 2), (CLAY, 1)]), 3), (third, 3)])
    assert twice.sand_frac == pytest.approx(once.sand_frac)
    assert twice.clay_frac == pytest.approx(once.clay_frac)
    assert twice.rated_share == pytest.approx(once.rated_share)


def test_a_measured_density_stays_measured_and_is_not_averaged_with_a_surveys():
    # WORKED: (1.6 × 1 + 1.7 × 3) / 4 = 1.675; the survey's 1.2 is left out.
    first = soil(0.4, 0.4, 0.2, density_mg_m3=1.6, density_measured=True)
    second = soil(0.3, 0.4, 0.3, density_mg_m3=1.7, density_measured=True)
    surveyed = soil(0.2, 0.4, 0.4, density_mg_m3=1.2)
    whole = blend([(first, 1), (second, 3), (surveyed, 4)])
    assert whole.density_measured
    assert whole.density_mg_m3 == pytest.approx(1.675)
    assert not blend([(surveyed, 1), (LOAM, 1)]).density_measured


@pytest.mark.parametrize("parts", [[], [(LOAM, 0.0)], [(LOAM, 2), (CLAY, -1)]])
def test_weights_must_be_positive(parts):
    with pytest.raises(ValueError, match="weights must be positive"):
        blend(parts)
