"""The rulebook as HTML, from bare values."""

from dataclasses import replace

import pytest

from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.pages.rulebook import acting_in, acting_in_words, implied, rule_list
from zoneplan.plan.model import Setting, Wait
from zoneplan.rules.read import RulesFile, read_rules
from zoneplan.rules.rule import Amount
from zoneplan.units import N_PER_LBF

RULES = read_rules()


@pytest.fixture(scope="module")
def plan():
    return plan_demo(DEMOS["bottom"])


def test_a_rule_acts_where_it_stands_in_the_chain_or_warns(plan):
    acting = acting_in(plan)
    chains = {"aim": "reasons", "swing": "reasons", "closing": "closing_reasons"}
    for rule_set in plan.rules.sets:
        for rule in rule_set.rules if rule_set.decides in chains else ():
            for setting in plan.settings:
                for moisture, instruction in setting.moistures.items():
                    chain = getattr(
                        instruction, chains[rule_set.decides], ()
                    )  # ground may have none
                    acts = rule.id in {reason.rule for reason in (*chain, *instruction.notices)}
                    where = acting.get((rule_set.decides, rule.id), {})
                    assert acts == (setting.zone.id in where.get(moisture, ()))
    waits = [zoned for zoned in plan.settings if isinstance(zoned.moistures["wet"], Wait)]
    assert waits
    assert {zoned.zone.id for zoned in waits} == set(acting["stop", "too-wet"]["wet"])


@pytest.mark.parametrize("decides", ["aim", "most", "closing"])
def test_every_zone_with_a_number_has_base_rules_acting_and_no_other_zone_has(plan, decides):
    acting = acting_in(plan)
    (rule_set,) = (candidate for candidate in plan.rules.sets if candidate.decides == decides)
    bases = [(decides, rule.id) for rule in rule_set.rules if rule.kind == "base"]
    for moisture in ("dry", "moist", "wet"):
        zones = {zone for key in bases for zone in acting.get(key, {}).get(moisture, ())}
        assert zones == {
            zoned.zone.id
            for zoned in plan.settings
            if isinstance(zoned.moistures[moisture], Setting)
        }


# WORKED: read aloud.
@pytest.mark.parametrize(
    ("where", "words"),
    [
        ({}, ""),
        ({"wet": (1, 3)}, "zones 1, 3 when wet"),
        ({"moist": (1, 2, 3, 7), "wet": (4,)}, "zones 1 to 3, 7 when moist; zone 4 when wet"),
    ],
)
def test_where_a_rule_acts_in_words(where, words):
    assert acting_in_words(where) == words


def test_a_rule_opens_on_all_that_it_rests_on():
    speed = [RULES.by_id["swing-speed"]]
    where = {("swing", "swing-speed"): {"wet": (2, 5)}}
    text = rule_list(speed, "swing", "lbf", where)
    for words in (
        "<b>Faster or slower than 5 mph (8 km/h)</b>",
        "5 % more swing for every 1 mph of speed above 5 mph, never below 85 %",
        "A faster unit bounces more",
        "To the landowner: the faster the planter runs",
        "Judged, 2 sources",
        '<a href="https://doi.org/10.1007/s11119-020-09775-7" rel="noreferrer">',
        "In this plan: zones 2, 5 when wet.",
        "swing-speed, from stock",
    ):
        assert words in text
    assert "In this plan: nowhere." in rule_list(speed, "swing", "lbf", {})


def test_loads_are_in_the_unit_that_is_asked_for():
    dense = [RULES.by_id["most-dense"]]
    assert "at most 150 lb" in rule_list(dense, "most", "lbf", {})
    assert "at most 667 N" in rule_list(dense, "most", "N", {})  # WORKED: 150 × 4.44822


def test_every_base_aim_tells_the_contact_that_it_implies():
    # WORKED: dry sand: R 184 lb, swing √(50² + 27.6²) = 57.1 lb; Φ(110 / 57.1 = 1.926) = 97.3 %
    assert implied(RULES, RULES.by_id["aim-coarse-dry"]) == ("97 %", False)


def test_an_aim_that_keeps_too_little_contact_says_so():
    weak = replace(RULES.by_id["aim-coarse-dry"], amount=Amount(80 * N_PER_LBF))
    # WORKED: Φ(80 / 57.1 = 1.401) = 91.9 %
    assert implied(RULES, weak) == ("92 %", True)


def test_a_link_leads_only_to_a_web_page():
    rule = (
        'decides = "aim"\nunit = "N"\nrevised = 2026-12-01\n[[adjust]]\nid = "ours"\nadd = 1\n'
        'title = "Ours"\nwhy = "We dug."\nconfidence = "judged"\n'
        'source = [{ cite = "Us", link = "javascript:alert(1)", backs = "direction" }]\n'
    )
    rules = read_rules([RulesFile("coop.toml", rule.encode())]).aim
    text = rule_list([rule for rule in rules.rules if rule.id == "ours"], "aim", "N", {})
    assert "Us (backs the direction), javascript:alert(1)" in text
    assert "href" not in text
    assert "<mark>coop.toml</mark>" in text
