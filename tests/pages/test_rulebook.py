"""The rulebook as HTML, from bare values."""

import pytest

from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.pages.rulebook import acting_in, acting_in_words, picked, rules_table
from zoneplan.plan.model import Setting
from zoneplan.rules.read import RulesFile, read_rules

RULES = read_rules()


@pytest.fixture(scope="module")
def plan():
    return plan_demo(DEMOS["bottom"])


def test_a_rule_acts_where_it_stands_in_the_chain_or_warns(plan):
    acting = acting_in(plan)
    for rule_set in (plan.rules.margin, plan.rules.closing):
        for rule in rule_set.rules:
            for setting in plan.settings:
                for wetness, told in setting.moistures.items():
                    margin = rule_set is plan.rules.margin
                    chain = "reasons" if margin else "closing_reasons"
                    links = [*getattr(told, chain, ()), *told.notices]  # ground may have no chain
                    acts = rule.id in {it.rule for it in links}
                    where = acting.get((rule_set.decides, rule.id), {})
                    assert acts == (setting.zone.id in where.get(wetness, ()))


def test_every_zone_with_a_number_has_one_base_rule_acting(plan):
    acting = acting_in(plan)
    bases = [("margin", it.id) for it in plan.rules.margin.rules if it.kind == "base"]
    for wetness in ("dry", "moist", "wet"):
        zones = [zone for key in bases for zone in acting.get(key, {}).get(wetness, ())]
        assert sorted(zones) == [
            it.zone.id for it in plan.settings if isinstance(it.moistures[wetness], Setting)
        ]


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


def ids(rules):
    return [it.id for it in rules]


def test_rules_are_picked_by_kind_words_and_what_acts():
    margin = RULES.margin
    assert picked(margin, (), "") == list(margin.rules)
    assert ids(picked(margin, ["stop"], "")) == ["too-wet"]
    assert ids(picked(margin, ["base"], "fine wet")) == ["moderately-fine-wet", "fine-wet"]
    assert ids(picked(margin, (), "5 mph  HEAVIER")) == []
    assert ids(picked(margin, (), "strip-till")) == ["no-till"]
    assert ids(picked(margin, (), "", {("margin", "deep"): {}, ("closing", "dense"): {}})) == [
        "deep"
    ]


def test_a_table_shows_a_rule_with_all_that_it_rests_on():
    speed = picked(RULES.margin, (), "speed-wet")
    said = rules_table(RULES.margin, speed, {("margin", "speed-wet"): {"wet": (2, 5)}})
    for words in (
        "For the margin target: 1 of 32 rules",
        "Speed above 5 mph, wet<small>adjust, speed-wet</small>",
        "add 4 lb for every 1 mph of speed above 5 mph, at most 15 lb",
        "slow down instead.",
        "judged, 3 sources",
        '<a href="https://doi.org/10.1007/s11119-020-09775-7" rel="noreferrer">',
        "zones 2, 5 when wet",
        "<div>stock</div>",
    ):
        assert words in said
    assert rules_table(RULES.margin, [], {}) == (
        '<p class="zp-rules-none">For the margin target: 0 of 32 rules.</p>'
    )


def test_a_link_leads_only_to_a_web_page():
    rule = (
        'decides = "margin"\nunit = "N"\nrevised = 2026-12-01\n[[adjust]]\nid = "ours"\nadd = 1\n'
        'title = "Ours"\nwhy = "We dug."\nconfidence = "judged"\n'
        'source = [{ cite = "Us", link = "javascript:alert(1)", backs = "direction" }]\n'
    )
    rules = read_rules([RulesFile("coop.toml", rule.encode())]).margin
    said = rules_table(rules, picked(rules, (), "ours"), {})
    assert "Us (backs the direction), javascript:alert(1)" in said
    assert "href" not in said
    assert "<mark>coop.toml</mark>" in said
