"""Survey weighting by hand."""

import pytest

from tests.telling import sentences
from zoneplan.field.survey.map_units import Component, Horizon, MapUnit, component_facts, weigh


def horizon(top, bottom, sand=None, silt=None, clay=None, *, name="Ap", organic=None, rocks=None):
    return Horizon(name, top, bottom, sand, silt, clay, organic, None, None, rocks)


def component(*horizons, name="Alpha", percent=100.0, kind="Series", order=None, drainage=None):
    return Component(name, kind, percent, drainage, None, order, horizons)


def unit(*components):
    return MapUnit("7A", "Alpha loam", components)


ROCK = component(name="Rock outcrop", percent=10, kind="Miscellaneous area")


def test_the_worked_check():
    # WORKED, from the survey-weighting check case: A 60 %, 0-18 cm clay 20, 18-30 clay 30;
    # B 30 %, 0-25 clay 35, 25-60 clay null; C 10 % miscellaneous. In 0-10 cm A has 20, B 35:
    # (20 x 60 + 35 x 30) / 90 = 25.0.
    a = component(horizon(0, 18, 40, 40, 20), horizon(18, 30, 35, 35, 30), percent=60)
    b = component(horizon(0, 25, 25, 40, 35), horizon(25, 60), percent=30)
    facts = weigh(unit(a, b, ROCK))
    assert facts.ground == "soil"
    assert facts.clay_frac == pytest.approx(0.25)
    assert facts.sand_frac == pytest.approx((40 * 60 + 25 * 30) / 90 / 100)
    assert facts.rated_share == pytest.approx(0.9)
    assert facts.named == "7A Alpha loam"
    assert sentences(facts.notes) == ("10 % of 7A Alpha loam is not soil.",)


def test_the_worked_check_over_two_horizons():
    # WORKED: the same case in 0-30 cm, drawn three times as shallow to fit our seed zone.
    # A: (18 x 20 + 12 x 30) / 30 = 24.0; B: 35.0; unit: (24 x 60 + 35 x 30) / 90 = 27.667.
    a = component(horizon(0, 6, 40, 40, 20), horizon(6, 10, 35, 35, 30), percent=60)
    b = component(horizon(0, 25 / 3, 25, 40, 35), horizon(25 / 3, 20), percent=30)
    assert component_facts(a).clay_frac == pytest.approx(0.24)
    assert component_facts(b).clay_frac == pytest.approx(0.35)
    assert weigh(unit(a, b, ROCK)).clay_frac == pytest.approx(0.27667, abs=1e-5)
    # The same with B all null: only A counts, and 60 % is rated.
    unknown = component(horizon(0, 25), name="Beta", percent=30)
    facts = weigh(unit(a, unknown, ROCK))
    assert facts.clay_frac == pytest.approx(0.24)
    assert facts.rated_share == pytest.approx(0.6)
    assert "30 % of 7A Alpha loam has no data." in sentences(facts.notes)


def test_what_the_components_leave_has_no_data():
    facts = weigh(unit(component(horizon(0, 20, 40, 40, 20), percent=80)))
    assert facts.rated_share == pytest.approx(0.8)
    assert sentences(facts.notes) == ("20 % of 7A Alpha loam has no data.",)
    assert weigh(unit()).ground == "no data"


def test_categories_go_by_dominant_condition():
    # WORKED: 40 % well drained, 30 + 30 % poorly drained.
    soil = horizon(0, 20, 40, 40, 20)
    parts = [
        component(soil, percent=percent, drainage=drainage)
        for percent, drainage in [
            (40, "Well drained"),
            (30, "Poorly drained"),
            (30, "Poorly drained"),
        ]
    ]
    assert weigh(unit(*parts)).drainage == "Poorly drained"


@pytest.mark.parametrize(
    ("part", "ground"),
    [
        (component(name="Water", kind="Miscellaneous area"), "water"),
        (component(name="Pits, gravel", kind="Miscellaneous area"), "not soil"),
        (component(horizon(0, 30, organic=70, name="Oap")), "organic"),
        (component(horizon(0, 30, organic=70, name="Hap")), "organic"),
        (component(horizon(0, 30, 30, 30, 40), order="Histosols"), "organic"),
        (component(horizon(0, 30), name="Waterloo"), "no data"),
        (component(horizon(0, 30, 0, 0, 0)), "no data"),  # noughts: texture does not signify
        (component(), "no data"),
    ],
)
def test_ground_that_gets_no_numbers(part, ground):
    facts = weigh(unit(part))
    assert (facts.ground, facts.texture, facts.rated_share) == (ground, None, 0.0)


@pytest.mark.parametrize(("organic", "ground"), [(22, "organic"), (19, "soil")])
def test_a_bog_with_a_texture_is_organic_ground(organic, ground):
    # A bog with 22 % of organic matter was planned as loamy sand.
    part = component(horizon(0, 30, 80, 15, 5, organic=organic))
    facts = component_facts(part)
    assert (facts.ground, facts.organic_pct) == (ground, organic)
    assert facts.texture == (None if ground == "organic" else "loamy sand")


def test_a_thin_organic_cover_is_left_out():
    part = component(
        horizon(0, 3, organic=80, name="Oi"), horizon(3, 20, 40, 40, 20, name="A", organic=4)
    )
    facts = component_facts(part)
    assert facts.ground == "soil"
    assert facts.organic_pct == pytest.approx(4)
    assert sentences(facts.notes) == ("Alpha: 3 cm of organic cover left out.",)


def limits_of(*, fragments_pct, density_mg_m3=1.3):
    layer = Horizon(
        "Ap", 0, 20, 40, 40, 20, 3.0, density_mg_m3, 1.5, fragments_pct, 38.0, 14.0, 26.0
    )
    facts = component_facts(component(layer))
    return facts.liquid_limit_pct, facts.plasticity_index_pct, facts.third_bar_pct


def test_water_is_by_weight_of_the_fine_earth():
    # WORKED: 26 % of the whole soil by volume, 20 % of it stones: 26 / 0.8 = 32.5 % of the fine
    # earth, over 1.3 Mg/m3: 25 % by weight. Without stones 20 %.
    assert limits_of(fragments_pct=20) == pytest.approx((38, 14, 25))
    assert limits_of(fragments_pct=0) == pytest.approx((38, 14, 20))


@pytest.mark.parametrize(
    "unknown",
    [{"fragments_pct": None}, {"fragments_pct": 100}, {"fragments_pct": 0, "density_mg_m3": None}],
)
def test_water_by_weight_is_not_guessed(unknown):
    assert limits_of(**unknown) == (None, None, None)


def test_fragments_are_weighed_by_depth():
    # WORKED: 28 % in 5 cm and none in 5 cm.
    part = component(horizon(0, 5, 40, 40, 20, rocks=28), horizon(5, 20, 40, 40, 20, rocks=0))
    assert component_facts(part).fragments_frac == pytest.approx(0.14)
    assert component_facts(component(horizon(0, 20, 40, 40, 20))).fragments_frac is None


@pytest.mark.parametrize(
    ("horizons", "words"),
    [
        ([horizon(0, 4, 40, 40, 20), horizon(6, 20, 40, 40, 20)], "no horizon from 4 cm to 6 cm"),
        ([horizon(0, 7, 40, 40, 20)], "no horizon from 7 cm to 10 cm"),
        ([horizon(2, 20, 40, 40, 20)], "no horizon from 0 cm to 2 cm"),
        ([horizon(0, 6, 40, 40, 20), horizon(4, 20, 40, 40, 20)], "overlap from 4 cm to 6 cm"),
        ([horizon(0, 20, 40, 40, 20), horizon(8, 5)], "horizon Ap runs from 8 cm up to 5 cm"),
        ([horizon(0, 20, 40, 40, 20), horizon(None, 5)], "horizon Ap has no depth"),
        ([horizon(0, 20, 40, 40, 23)], "add up to 103 %"),
    ],
)
def test_faults_of_the_seed_zone_are_told(horizons, words):
    (note,) = sentences(component_facts(component(*horizons)).notes)
    assert note.startswith("Alpha: ")
    assert words in note


def test_faults_below_the_seed_zone_are_not():
    part = component(horizon(0, 10, 40, 40, 20), horizon(15, 30, 90, 90, 90))
    assert component_facts(part).notes == ()


def test_shares_that_miss_100_are_told():
    soil = horizon(0, 20, 40, 40, 20)
    facts = weigh(unit(component(soil, percent=70), component(soil, percent=50)))
    assert "The components of 7A Alpha loam add up to 120 %; scaled to 100." in sentences(
        facts.notes
    )
    facts = weigh(unit(component(soil), component(soil, name="Beta", percent=None)))
    assert "Beta: its share of 7A Alpha loam is not known; left out." in sentences(facts.notes)
