"""What the ground says reaches the person who plants: humus, peat, and a second opinion."""

from dataclasses import replace

import pytest

from tests.helpers.jobs import demo_job, plan_of
from tests.plan.square import CLAY_LOAM, LOAM, RULES, TILLED, layer
from zoneplan.plan.model import NoNumbers, Setting
from zoneplan.plan.plan_field import plan_field
from zoneplan.plan.requirement import plannable
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.say.summary import rule_warnings
from zoneplan.soil.texture import SoilFacts
from zoneplan.terms import Fitness, Ground, Moisture


def planned(field, *halves):
    return plan_field(field, [layer(*halves)], read_machine("hydraulic"), RULES, TILLED)


def zone_notices(plan, code):
    return [zone_notice for zone_notice in plan.zone_notices if zone_notice.code == code]


def test_ground_rich_in_humus_is_warned_of_on_the_cab_sheet(square):
    plan = planned(square, replace(LOAM, organic_pct=12.0))
    result = " ".join(text for _, text in rule_warnings(plan, "us"))
    assert "Much organic matter (8 % or more)" in result
    assert not zone_notices(plan, "part-warned")


def test_humus_of_a_part_is_not_lost_in_the_mean_of_its_zone(square):
    # WORKED: half has 3 % and half 12 %: 7.5 % on the mean, which warns of nothing.
    plan = planned(square, replace(LOAM, organic_pct=3.0), replace(LOAM, organic_pct=12.0))
    assert len(plan.settings) == 1
    assert not [part for part in zone_notices(plan, "rule-warns") if part.rule == "much-humus"]
    result = zone_notices(plan, "part-warned")
    assert {(part.rule, round(part["share"], 3)) for part in result} == {("much-humus", 0.5)}
    [(_, text)] = rule_warnings(plan, "us")
    assert text.startswith("50 % of this zone: Much organic matter (8 % or more)")


def test_peat_beside_soil_has_no_numbers_and_no_soil_takes_it_in(square):
    peat = replace(LOAM, ground="organic", texture=None, organic_pct=40.0)
    plan = planned(square, LOAM, peat)
    grounds = {setting.zone.facts.ground: setting for setting in plan.settings}
    assert set(grounds) == {"soil", "organic"}
    assert all(
        isinstance(moisture, NoNumbers) for moisture in grounds["organic"].moistures.values()
    )
    assert grounds["organic"].zone.area_ha == pytest.approx(plan.field.area_ha / 2, rel=0.01)


def surveyed(facts, water_pct):
    """Limits of 40 % and 16 %: the plastic limit is 24 %."""
    return replace(facts, liquid_limit_pct=40.0, plasticity_index_pct=16.0, third_bar_pct=water_pct)


def test_a_survey_that_thinks_fit_soil_wet_asks_for_a_test(square):
    # WORKED: 34 % of water over a limit of 24 % is two of its errors of 5 %: .977.
    coarse = surveyed(replace(LOAM, sand_frac=0.60, silt_frac=0.32, clay_frac=0.08), 34.0)
    coarse = replace(coarse, texture="sandy loam")
    wet = planned(square, coarse).settings[0].moistures[Moisture.WET]
    assert wet.wait_chance < 0.2
    assert wet.survey_wait_chance == pytest.approx(0.977, abs=0.001)
    assert wet.state is Fitness.TEST
    assert [stop_reason.rule for stop_reason in wet.stop_reasons] == ["test-survey"]
    [differs] = [notice for notice in wet.notices if notice.code == "survey-differs"]
    assert differs["survey_chance"] == pytest.approx(0.977, abs=0.001)


@pytest.mark.parametrize("water_pct", [14.0, None])
def test_a_survey_never_clears_what_the_texture_doubts(square, water_pct):
    plan = planned(square, surveyed(CLAY_LOAM, water_pct))
    wet = plan.settings[0].moistures[Moisture.WET]
    alone = planned(square, CLAY_LOAM).settings[0].moistures[Moisture.WET]
    assert (wet.state, wet.wait_chance) == (alone.state, alone.wait_chance)
    assert bool(zone_notices(plan, "survey-differs")) == (water_pct is not None)


def test_only_soil_of_a_known_texture_gets_numbers():
    assert plannable(SoilFacts(ground=Ground.SOIL, texture="loam"))
    assert not plannable(SoilFacts(ground=Ground.SOIL))
    assert not plannable(SoilFacts(ground=Ground.ORGANIC, texture="loam"))


def test_the_cab_is_told_the_downforce_in_the_middle_of_the_hopper():
    plan = plan_of(demo_job("creek", machine="hydraulic"))
    values = [moisture for zone in plan.settings for moisture in zone.moistures.values()]
    settings = [part for part in values if isinstance(part, Setting)]
    assert settings
    for setting in settings:
        # WORKED: seed goes evenly, so half of it is gone half way.
        middle_n = (
            setting.downforce_full_n + (setting.downforce_refill_n - setting.downforce_full_n) / 2
        )
        assert setting.command_n == pytest.approx(middle_n)
