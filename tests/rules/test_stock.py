"""The stock rules give the tables they were written from.

These test our own rules, not nature: the tables are a synthesis of ours, bounded by the
sources that each rule names.
"""

import math
from dataclasses import replace

import pytest

from tests.rules.situations import GROUNDS, ONE_OF_EACH_GROUP, situation, warned
from zoneplan.rowunit import machine
from zoneplan.rules.choose import choose
from zoneplan.rules.read import read_rules
from zoneplan.rules.rule import TILLAGES
from zoneplan.rules.words import SYSTEMS
from zoneplan.say.notices import words
from zoneplan.soil.texture import TEXTURES
from zoneplan.soil.water import WETNESSES
from zoneplan.units import N_PER_LBF

RULES = read_rules()

# OUR TABLE (agronomy synthesis, 11.4), lb: tilled, 2 in deep, 5 mph. dry, moist, wet.
MARGIN_LB = {
    "sand": (90, 75, 55),
    "loamy sand": (90, 75, 55),
    "sandy loam": (110, 90, 60),
    "loam": (130, 100, 60),
    "silt loam": (130, 100, 60),
    "silt": (130, 100, 60),
    "sandy clay loam": (145, 110, 60),
    "clay loam": (145, 110, 60),
    "silty clay loam": (145, 110, 60),
    "sandy clay": (155, 115, 55),
    "silty clay": (155, 115, 55),
    "clay": (155, 115, 55),
}
# OUR TABLE (agronomy synthesis, 11.6), share of the closing range. dry, moist, wet.
CLOSING = {
    "sand": (0.65, 0.45, 0.25),
    "loamy sand": (0.65, 0.45, 0.25),
    "sandy loam": (0.60, 0.40, 0.20),
    "loam": (0.55, 0.35, 0.10),
    "silt loam": (0.55, 0.35, 0.10),
    "silt": (0.55, 0.35, 0.10),
    "sandy clay loam": (0.55, 0.30, 0.05),
    "clay loam": (0.55, 0.30, 0.05),
    "silty clay loam": (0.55, 0.30, 0.05),
    "sandy clay": (0.50, 0.25, 0),
    "silty clay": (0.50, 0.25, 0),
    "clay": (0.50, 0.25, 0),
}


def margin_lb(at):
    return choose(RULES.margin, at).value / N_PER_LBF


def adds_lb(at):
    return {r.rule: round(r.adds / N_PER_LBF, 6) for r in choose(RULES.margin, at).reasons}


@pytest.mark.parametrize("texture", TEXTURES)
def test_base_values_are_those_of_the_tables(texture):
    for n, wetness in enumerate(WETNESSES):
        at = situation(texture, wetness)
        assert margin_lb(at) == pytest.approx(MARGIN_LB[texture][n])
        assert choose(RULES.closing, at).value == pytest.approx(CLOSING[texture][n])


# WORKED (agronomy case 40): 130 + 16 + 15 + 15 = 176, rounded to 175 lb = 778 N.
def test_silt_loam_dry_no_till_fast_under_residue():
    choice = choose(RULES.margin, situation("silt loam", "dry", "no-till", mph=7, residue_pct=70))
    assert choice.value == pytest.approx(175 * 4.4482216152605)
    assert round(choice.value) == 778
    assert [(r.rule, r.kind, round(r.adds / N_PER_LBF, 6)) for r in choice.reasons] == [
        ("medium-dry", "base", 130),
        ("speed", "adjust", 16),
        ("no-till", "adjust", 15),
        ("residue-heavy", "adjust", 15),
        ("rounding", "rounding", -1),
    ]
    assert choice.notices == ()


# WORKED (agronomy case 41): 55 lb, the cap not hit; closing wheels float.
def test_wet_clay_no_till_takes_the_least():
    at = situation("clay", "wet", "no-till")
    choice = choose(RULES.margin, at)
    assert choice.value / N_PER_LBF == pytest.approx(55)
    assert [r.kind for r in choice.reasons] == ["base"]
    assert choice.notices == ()
    assert choose(RULES.closing, at).value == 0


# WORKED (agronomy case 42): 145 + 40 + 15 + 15 + 10 + 10 = 235, capped at 200 lb, warned.
def test_clay_loam_with_everything_against_it_meets_the_cap():
    at = situation("clay loam", "dry", "no-till", mph=10, residue_pct=80, inches=3, headland=True)
    choice = choose(RULES.margin, at)
    assert choice.value / N_PER_LBF == pytest.approx(200)
    assert adds_lb(at) == {
        "moderately-fine-dry": 145,
        "speed": 40,
        "no-till": 15,
        "residue-heavy": 15,
        "headland": 10,
        "deep": 10,
        "band-dry-moist": -35,
    }
    assert "235 lb" in words(choice.notices[0])
    assert "200 lb" in words(choice.notices[0])


# WORKED (agronomy case 44): past the plastic limit there is no target, only "wait".
@pytest.mark.parametrize("rule_set", [RULES.margin, RULES.closing])
def test_past_the_plastic_limit_there_is_no_number(rule_set):
    choice = choose(rule_set, situation("clay", "wet", past_plastic_limit=True, mph=9))
    assert choice.stopped
    assert (choice.value, choice.least, choice.most) == (None, None, None)
    [reason] = choice.reasons
    assert (reason.kind, reason.adds) == ("stop", None)
    assert "plastic limit" in reason.why
    assert "wait" in words(choice.notices[0])


# Agronomy case 45: never more load on wetter ground, whatever else is so.
@pytest.mark.parametrize("texture", TEXTURES)
@pytest.mark.parametrize("tillage", TILLAGES)
@pytest.mark.parametrize("system", SYSTEMS)
def test_wetter_ground_never_gets_more(texture, tillage, system):
    for mph, inches, residue, stones in [(5, 2, 0, 0), (9, 1.25, 45, 20), (14, 4, 90, 40)]:
        for flags in ({}, {"dense": True}, {"headland": True}):
            loads = [
                [
                    choose(rules, situation(
                        texture, wetness, tillage, mph=mph, inches=inches, residue_pct=residue,
                        fragments_pct=stones, system=system, **flags,
                    )).value
                    for wetness in WETNESSES
                ]
                for rules in (RULES.margin, RULES.closing)
            ]  # fmt: skip
            assert all(dry >= moist >= wet for dry, moist, wet in loads)


# WORKED from the adders of the synthesis (11.4), clay loam, in lb.
@pytest.mark.parametrize(
    ("wetness", "changes", "rule", "adds"),
    [
        ("dry", {"mph": 6}, "speed", 8),
        ("moist", {"mph": 9.5}, "speed", 36),
        ("moist", {"mph": 11}, "speed", 40),  # 48, held at 40
        ("wet", {"mph": 7}, "speed-wet", 8),
        ("wet", {"mph": 10}, "speed-wet", 15),  # 20, held at 15
        ("moist", {"tillage": "no-till"}, "no-till", 15),
        ("moist", {"residue_pct": 30}, "residue", 5),
        ("moist", {"residue_pct": 59}, "residue", 5),
        ("moist", {"residue_pct": 61}, "residue-heavy", 15),
        ("wet", {"residue_pct": 61}, "residue-heavy-wet", 5),
        ("dry", {"headland": True}, "headland", 10),
        ("dry", {"headland": True, "system": "set-air"}, "headland", 10),
        ("dry", {"inches": 2.5}, "deep", 5),
        ("dry", {"inches": 4}, "deep", 15),  # 20, held at 15
        ("dry", {"fragments_pct": 15}, "stony", 10),
    ],
)
def test_what_adds_how_much(wetness, changes, rule, adds):
    found = adds_lb(situation("clay loam", wetness, **changes))
    found.pop("rounding", None)
    assert list(found)[1:] == [rule]
    assert found[rule] == adds


@pytest.mark.parametrize(
    ("wetness", "changes"),
    [
        ("dry", {"mph": 4}),
        ("dry", {"tillage": "strip-till"}),
        ("dry", {"residue_pct": 29}),
        ("dry", {"inches": 1.5}),
        ("dry", {"fragments_pct": 14}),
        ("dry", {"headland": True, "system": "closed-loop-air"}),
        ("dry", {"headland": True, "system": "hydraulic"}),
        ("wet", {"headland": True}),
        ("wet", {"tillage": "no-till"}),
        ("wet", {"residue_pct": 45}),
        ("wet", {"inches": 3}),
    ],
)
def test_what_adds_nothing_is_not_in_the_chain(wetness, changes):
    choice = choose(RULES.margin, situation("clay loam", wetness, **changes))
    assert [reason.kind for reason in choice.reasons] == ["base"]
    assert choice.notices == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"inches": 1.4}, ["shallower than 1.5 in"]),
        ({"fragments_pct": 15}, ["Stony ground"]),
        ({"fragments_pct": 35}, ["Stony ground", "do not apply"]),
        ({"dense": True}, ["no more than 150 lb"]),
    ],
)
@pytest.mark.parametrize("wetness", WETNESSES)
def test_what_warns(wetness, changes, words):
    warnings = warned(choose(RULES.margin, situation("loam", wetness, **changes)))
    assert len(warnings) == len(words)
    for warning, word in zip(warnings, words, strict=True):
        assert word in warning


def test_a_shallow_seed_warns_of_closing_too_and_changes_no_number():
    choice = choose(RULES.closing, situation("loam", "moist", inches=1))
    assert choice.value == pytest.approx(0.35)
    assert [(r.rule, r.adds) for r in choice.reasons][1] == ("closing-shallow", 0)
    assert "Do not firm" in words(choice.notices[0])


def test_dry_cloddy_clay_is_to_be_checked_for_closing():
    assert "closes" in warned(choose(RULES.closing, situation("clay", "dry")))[0]


# WORKED: caps 60 to 200 lb dry and moist, 40 to 110 lb wet, 150 lb where already dense.
@pytest.mark.parametrize(
    ("wetness", "dense", "least", "most"),
    [
        ("dry", False, 60, 200),
        ("moist", False, 60, 200),
        ("wet", False, 40, 110),
        ("dry", True, 60, 150),
        ("wet", True, 40, 110),
    ],
)
def test_caps(wetness, dense, least, most):
    choice = choose(RULES.margin, situation("loam", wetness, dense=dense))
    assert choice.least == pytest.approx(least * N_PER_LBF)
    assert choice.most == pytest.approx(most * N_PER_LBF)


def test_dense_ground_is_held_at_150_lb():
    at = situation("clay", "dry", dense=True)
    assert adds_lb(at) == {"fine-dry": 155, "dense": -5}
    assert margin_lb(at) == pytest.approx(150)


def test_closing_runs_from_nothing_to_seven_tenths():
    choice = choose(RULES.closing, situation("loam", "dry"))
    assert (choice.least, choice.most) == (0, 0.70)


@pytest.mark.parametrize(("texture", "wetness", "tillage"), GROUNDS)
def test_every_chain_adds_up_and_stays_within_its_caps(texture, wetness, tillage):
    for mph in (3, 5, 6.3, 8.05, 12):
        for inches in (1, 1.75, 2.2, 3.1, 5):
            for residue in (0, 33.3, 80):
                at = situation(
                    texture, wetness, tillage,
                    mph=mph, inches=inches, residue_pct=residue, headland=True,
                )  # fmt: skip
                for rule_set in (RULES.margin, RULES.closing):
                    choice = choose(rule_set, at)
                    total = math.fsum(reason.adds for reason in choice.reasons)
                    assert total == pytest.approx(choice.value, abs=1e-9)
                    assert choice.least <= choice.value <= choice.most
                margin = margin_lb(at)
                assert margin == pytest.approx(5 * round(margin / 5))


def test_more_speed_never_gives_less():
    for texture, wetness, tillage in GROUNDS:
        at = situation(texture, wetness, tillage)
        loads = [
            choose(RULES.margin, replace(at, speed_mps=step / 20)).value for step in range(20, 160)
        ]
        assert loads == sorted(loads)


def test_no_stock_number_claims_more_than_judgement():
    # Every cited source gives a direction at most; the day one gives a number, this changes.
    for rule in (*RULES.margin.rules, *RULES.closing.rules):
        assert rule.confidence == "judged"
        assert all(source.backs == "direction" for source in rule.sources)
        assert rule.origin == "stock"


def test_rules_and_row_units_name_the_same_systems():
    assert SYSTEMS == machine.SYSTEMS


def test_one_texture_stands_for_each_group():
    assert {MARGIN_LB[t] for t in ONE_OF_EACH_GROUP} == set(MARGIN_LB.values())
