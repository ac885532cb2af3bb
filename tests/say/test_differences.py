from dataclasses import replace

import pytest

from tests.export.plans import small_plan
from zoneplan.rowunit.machine_file import read_machine
from zoneplan.rules.read import RulesFile, read_rules
from zoneplan.say.differences import differences

OWN = """
decides = "aim"
unit = "lbf"
revised = 2026-12-01

[[base]]
id = "aim-coarse-dry"
title = "Coarse soil, dry"
when = { texture_group = ["coarse"], moisture = ["dry"] }
aim = 105
why = "Our sand is finer."
confidence = "judged"
source = [{ cite = "judgement" }]
"""


DROP = """
decides = "stop"
unit = "lbf"
revised = 2026-12-01
drop = ["stony"]
"""


@pytest.fixture(scope="module")
def own_rules():
    return read_rules([RulesFile("ours.toml", OWN.encode()), RulesFile("less", DROP.encode())])


def test_a_plan_does_not_differ_from_itself():
    assert differences(small_plan(), small_plan()) == []


def test_the_day_and_the_number_of_zones_are_told():
    plan = small_plan()
    day = replace(plan.conditions, tillage="tilled", speed_mps=2.68224, residue_frac=0.3)
    other = replace(plan, conditions=day, settings=plan.settings[:2])
    # WORKED: 2.2352 and 2.68224 m/s / 0.44704
    assert differences(plan, other) == [
        ("tillage", "no-till", "tilled"),
        ("speed", "5 mph", "6 mph"),
        ("ground covered by residue", "60 %", "30 %"),
        ("zones", "3", "2"),
    ]


def test_machines_are_told_apart_line_by_line():
    plan = small_plan()
    by_name = {
        difference.what: difference[1:]
        for difference in differences(plan, replace(plan, machine=read_machine("hydraulic")))
    }
    assert by_name["machine"] == ("Eight rows on springs", "Generic planter, hydraulic")
    assert by_name["downforce"] == (
        "springs at fixed positions",
        "hydraulic cylinder on each row",
    )
    assert by_name["positions"] == ("0 lb, 125 lb, 250 lb, 375 lb", "–")
    # Two of one name that are built otherwise are not the same.
    heavier = replace(plan.machine, unit_weight_n=1500.0)
    assert [
        difference.what for difference in differences(plan, replace(plan, machine=heavier))
    ] == ["row unit, hopper empty"]


def test_rules_are_told_apart_one_by_one(own_rules):
    plan = replace(small_plan(), rules=read_rules())
    by_name = {
        difference.what: difference[1:]
        for difference in differences(plan, replace(plan, rules=own_rules))
    }
    assert by_name["rules revised"] == ("2026-11-28", "2026-12-01")
    assert by_name["rule aim-coarse-dry"] == ("110 lb; stock", "105 lb; ours.toml")
    assert by_name["rule stony"][1] == "–"
    assert len(by_name) == 3


def test_a_rule_that_only_stands_in_another_file_is_the_same():
    plan = replace(small_plan(), rules=read_rules())
    moved = [replace(rule, origin="ours.toml") for rule in plan.rules.aim.rules]
    aim = replace(plan.rules.aim, rules=tuple(moved))
    assert differences(plan, replace(plan, rules=replace(plan.rules, aim=aim))) == []


def test_a_rule_that_holds_elsewhere_says_where():
    plan = replace(small_plan(), rules=read_rules())
    first, *others = plan.rules.aim.rules
    when = {"texture_group": ("coarse",), "moisture": ("dry", "moist")}
    aim = replace(plan.rules.aim, rules=(replace(first, when=when), *others))
    [difference] = differences(plan, replace(plan, rules=replace(plan.rules, aim=aim)))
    assert difference == (
        "rule aim-coarse-dry",
        "sand or loamy sand; dry; stock",
        "sand or loamy sand; dry or moist; stock",
    )


def test_tile_is_a_difference():
    plan = small_plan()
    tiled = replace(plan, conditions=replace(plan.conditions, tiled=True))
    assert differences(plan, tiled) == [("tile-drained", "no", "yes")]
