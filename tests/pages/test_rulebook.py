"""The rulebook as HTML, from bare values."""

import pytest

from tests.pages.uploads import DEMOS
from zoneplan.demo import plan_demo
from zoneplan.pages.rulebook.table import acting_in, acting_in_words, implied, picked, rules_table
from zoneplan.plan.model import Setting, Wait
from zoneplan.rules.read import RulesFile, read_rules

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
                for moisture, told in setting.moistures.items():
                    chain = getattr(told, chains[rule_set.decides], ())  # ground may have none
                    acts = rule.id in {it.rule for it in (*chain, *told.notices)}
                    where = acting.get((rule_set.decides, rule.id), {})
                    assert acts == (setting.zone.id in where.get(moisture, ()))
    waits = [it for it in plan.settings if isinstance(it.moistures["wet"], Wait)]
    assert waits
    assert {it.zone.id for it in waits} == set(acting["stop", "too-wet"]["wet"])


@pytest.mark.parametrize("decides", ["aim", "most", "closing"])
def test_every_zone_with_a_number_has_base_rules_acting_and_no_other_zone_has(plan, decides):
    acting = acting_in(plan)
    (rule_set,) = (it for it in plan.rules.sets if it.decides == decides)
    bases = [(decides, it.id) for it in rule_set.rules if it.kind == "base"]
    for moisture in ("dry", "moist", "wet"):
        zones = {zone for key in bases for zone in acting.get(key, {}).get(moisture, ())}
        assert zones == {
            it.zone.id for it in plan.settings if isinstance(it.moistures[moisture], Setting)
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


def ids(rules):
    return [it.id for it in rules]


def test_rules_are_picked_by_kind_words_and_what_acts():
    assert picked(RULES.aim, (), "") == list(RULES.aim.rules)
    assert ids(picked(RULES.stop, ["stop"], "")) == ["too-wet"]
    assert ids(picked(RULES.aim, ["base"], "aim-moderately-fine WET")) == [
        "aim-moderately-fine-wet"
    ]
    assert ids(picked(RULES.swing, (), "5 mph  LIGHTER")) == []
    assert ids(picked(RULES.swing, (), "strip-till")) == ["bounce-strip-till"]
    acting = {("swing", "swing-depth"): {}, ("aim", "swing-speed"): {}}
    assert ids(picked(RULES.swing, (), "", acting)) == ["swing-depth"]


def test_the_landowners_words_are_found_and_shown():
    (putty,) = picked(RULES.stop, (), "putty")  # a word of `plain` alone
    assert "putty" not in putty.why
    shown = rules_table(RULES.stop, [putty], {})
    assert "To the landowner: the soil smears like putty when wet" in shown


def test_a_table_shows_a_rule_with_all_that_it_rests_on():
    speed = picked(RULES.swing, (), "swing-speed")
    said = rules_table(RULES.swing, speed, {("swing", "swing-speed"): {"wet": (2, 5)}})
    for words in (
        f"For how far the gauge-wheel load swings: 1 of {len(RULES.swing.rules)} rules",
        "Faster or slower than 5 mph<small>factor, swing-speed</small>",
        "0.05 more for every 1 mph of speed above 5 mph, not below × 0.85",
        "A faster unit bounces more",
        "To the landowner: the faster the planter runs",
        "judged, 2 sources",
        '<a href="https://doi.org/10.1007/s11119-020-09775-7" rel="noreferrer">',
        "zones 2, 5 when wet",
        "<div>stock</div>",
    ):
        assert words in said
    assert rules_table(RULES.swing, [], {}).endswith(f": 0 of {len(RULES.swing.rules)} rules.</p>")


def test_every_base_aim_tells_the_contact_that_it_implies():
    means = implied(RULES)
    assert list(means) == [it.id for it in RULES.aim.rules if it.kind == "base"]
    # WORKED: dry sand: R 184 lb, swing √(50² + 27.6²) = 57.1 lb; Φ(110 / 57.1 = 1.926) = 97.3 %
    assert means["aim-coarse-dry"] == "keeps the wheels down 97 % of the time"
    shown = rules_table(RULES.aim, RULES.aim.rules[:1], {}, means)
    assert "keeps the wheels down 97 % of the time" in shown


def test_an_aim_that_keeps_too_little_contact_says_so():
    weak = (
        'decides = "aim"\nunit = "lbf"\nrevised = 2026-12-01\n[[base]]\nid = "aim-coarse-dry"\n'
        'title = "Ours"\nwhen = { texture_group = ["coarse"], moisture = ["dry"] }\naim = 80\n'
        'why = "We dug."\nconfidence = "judged"\nsource = [{ cite = "judgement" }]\n'
    )
    means = implied(read_rules([RulesFile("coop.toml", weak.encode())]))
    # WORKED: Φ(80 / 57.1 = 1.401) = 91.9 %
    assert means["aim-coarse-dry"] == (
        "keeps the wheels down 92 % of the time: less than the 96 % of common practice, the plan "
        "will lift it"
    )


def test_a_link_leads_only_to_a_web_page():
    rule = (
        'decides = "aim"\nunit = "N"\nrevised = 2026-12-01\n[[adjust]]\nid = "ours"\nadd = 1\n'
        'title = "Ours"\nwhy = "We dug."\nconfidence = "judged"\n'
        'source = [{ cite = "Us", link = "javascript:alert(1)", backs = "direction" }]\n'
    )
    rules = read_rules([RulesFile("coop.toml", rule.encode())]).aim
    said = rules_table(rules, picked(rules, (), "ours"), {})
    assert "Us (backs the direction), javascript:alert(1)" in said
    assert "href" not in said
    assert "<mark>coop.toml</mark>" in said
